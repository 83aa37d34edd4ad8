"""Eight processes that do one thing at the same moment, on a database of their own: see test_races.py.

python tests/races/race.py NAME prints as JSON what each was told and what is stored afterwards.
"""

import json
import multiprocessing
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

os.environ["DJANGO_SETTINGS_MODULE"] = "pinpool.settings"
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import django

django.setup()

from django.core.management import call_command
from django.db import connections
from django.db.models import Sum
from rest_framework.test import APIClient

from exposures.models import EvidenceCell, ExposureLog, Pool
from tests.bodies import CLUB
from tests.factories import CameraSpecFactory, MembershipFactory, PaperFactory

PROCESSES = 8


class World:
    """A club with a keeper, a camera T1 and a paper."""

    def __init__(self) -> None:
        self.keeper = MembershipFactory.create(role="keeper")
        self.club = self.keeper.club
        CameraSpecFactory.create(camera__club=self.club, camera__code="T1")
        self.paper = PaperFactory.create(club=self.club)
        self.at = f"/api/v1/clubs/{self.club.slug}/"


def at_once(call: Callable[[APIClient, int], Any], user: Any) -> list[int]:
    """The status that each process gets, all calling at the same moment."""
    connections.close_all()
    context = multiprocessing.get_context("fork")
    start, told = context.Barrier(PROCESSES), context.Queue()

    def one(number: int) -> None:
        client = APIClient(SERVER_NAME="localhost")
        client.default_format = "json"
        client.force_authenticate(user)
        client.get("/api/v1/clubs/")  # everything is loaded and the database connected
        start.wait()
        told.put(call(client, number).status_code)

    processes = [context.Process(target=one, args=(number,)) for number in range(PROCESSES)]
    for process in processes:
        process.start()
    statuses = [told.get(timeout=60) for _ in processes]
    for process in processes:
        process.join()
    return sorted(statuses)


def same_log() -> dict[str, Any]:
    here = World()
    body = CLUB["exposures/"] | {"paper": str(here.paper.pk)}
    statuses = at_once(lambda client, _: client.post(here.at + "exposures/", body), here.keeper.user)
    counted = EvidenceCell.objects.aggregate(logs=Sum("logs"))["logs"]
    return {"statuses": statuses, "stored": ExposureLog.objects.count(), "counted": counted}


def other_logs() -> dict[str, Any]:
    """Different logs of one kind: all are stored, and all counted in one cell."""
    here = World()
    body = CLUB["exposures/"] | {"paper": str(here.paper.pk)}

    def call(client: APIClient, number: int) -> Any:
        return client.post(here.at + "exposures/", body | {"id": f"{number:08}-0b7e-4c8e-9d0e-6a1f0d1c2b3a"})

    statuses = at_once(call, here.keeper.user)
    cells = list(EvidenceCell.objects.values_list("logs", flat=True))
    return {"statuses": statuses, "stored": ExposureLog.objects.count(), "cells": cells}


def same_record() -> dict[str, Any]:
    here = World()
    tag = {"If-Match": '"r1"'}
    statuses = at_once(lambda client, _: client.put(here.at + "pool/", {"joined": True}, headers=tag), here.keeper.user)
    return {"statuses": statuses, "revision": Pool.objects.get().revision}


RACES: dict[str, Callable[[], dict[str, Any]]] = {
    "same_log": same_log,
    "other_logs": other_logs,
    "same_record": same_record,
}

if __name__ == "__main__":
    call_command("migrate", verbosity=0)
    print(json.dumps(RACES[sys.argv[1]]()))
