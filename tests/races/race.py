"""Eight processes that do one thing at the same moment, on a database of their own: see start.py and test_races.py."""

import multiprocessing
import os
import sys
from collections.abc import Callable
from datetime import timedelta
from math import isclose
from pathlib import Path
from typing import Any

os.environ["DJANGO_SETTINGS_MODULE"] = "pinpool.settings"
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import django

django.setup()

from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connections
from django.db.models import Sum
from django.utils import timezone
from rest_framework.test import APIClient

from clubs.models import Camera, CameraSpec, Club, Invitation, IssuedSheet, TrailEntry
from clubs.sheets import press
from exposures.evidence import summed
from exposures.models import EvidenceCell, ExposureLog, ImportBatch, Pool
from exposures.scopes import Scope
from tests.bodies import CLUB
from tests.clubs.sheets.printed import of_blocks
from tests.factories import AccountFactory, CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory

PROCESSES = 8


class World:
    """A club with a keeper, a camera T1 and a paper."""

    def __init__(self) -> None:
        self.keeper = MembershipFactory.create(role="keeper")
        self.club = self.keeper.club
        self.spec = CameraSpecFactory.create(camera__club=self.club, camera__code="T1")
        self.paper = PaperFactory.create(club=self.club)
        self.at = f"/api/v1/clubs/{self.club.slug}/"


def at_once(call: Callable[[APIClient, int], Any], *users: Any) -> list[int]:
    """The status that each process gets, all calling at the same moment, in turn as one of `users`."""
    connections.close_all()
    context = multiprocessing.get_context("fork")
    start, told = context.Barrier(PROCESSES), context.Queue()

    def one(number: int) -> None:
        client = APIClient(SERVER_NAME="localhost")
        client.default_format = "json"
        client.force_authenticate(users[number % len(users)])
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


def many_logs() -> dict[str, Any]:
    """The same twenty entries, in one order and the other, at once and one by one."""
    here = World()
    body = CLUB["exposures/"] | {"paper": str(here.paper.pk)}
    entries = [body | {"id": f"{number:08}-0b7e-4c8e-9d0e-6a1f0d1c2b3a"} for number in range(20)]

    def call(client: APIClient, number: int) -> Any:
        if number % 4 == 3:
            return [client.post(here.at + "exposures/", entry) for entry in entries][-1]
        return client.post(here.at + "exposures/bulk/", entries[:: -1 if number % 2 else 1])

    statuses = at_once(call, here.keeper.user)
    cells = list(EvidenceCell.objects.values_list("logs", flat=True))
    return {"failed": [each for each in statuses if each > 201], "stored": ExposureLog.objects.count(), "cells": cells}


def same_correction() -> dict[str, Any]:
    """Eight corrections of one entry."""
    here = World()
    log = ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=here.keeper.user)
    facts = CLUB["exposures/"] | {"paper": str(here.paper.pk), "reason": "It was 4 min."}
    body = {key: value for key, value in facts.items() if key != "id"}
    statuses = at_once(
        lambda client, number: client.post(f"{here.at}exposures/{log.id}/corrections/", body | {"note": str(number)}),
        here.keeper.user,
    )
    counted = EvidenceCell.objects.aggregate(logs=Sum("logs"))["logs"]
    return {"statuses": statuses, "stored": ExposureLog.objects.count(), "counted": counted}


def crossing_corrections() -> dict[str, Any]:
    """Eight entries of two papers, each corrected to the other paper."""
    here = World()
    papers = [here.paper, PaperFactory.create(club=here.club)]
    made = {"spec": here.spec, "member": here.keeper.user}
    logs = [ExposureLogFactory.create(**made, paper=papers[number % 2]) for number in range(PROCESSES)]
    facts = {key: value for key, value in CLUB["exposures/"].items() if key not in {"id", "visibility"}}

    def call(client: APIClient, number: int) -> Any:
        body = facts | {"paper": str(papers[1 - number % 2].pk), "reason": "The other paper."}
        return client.post(f"{here.at}exposures/{logs[number].id}/corrections/", body)

    statuses = at_once(call, here.keeper.user)
    kept = sorted(EvidenceCell.objects.values_list("paper", "logs", "longest_stops"))
    anew = sorted((row["paper_id"], row["logs"], row["longest_stops"]) for row in summed(ExposureLog.objects.all()))
    return {"statuses": statuses, "cells": [logs for _, logs, _ in kept], "right": kept == anew}


def same_record() -> dict[str, Any]:
    here = World()
    tag = {"If-Match": '"r1"'}
    statuses = at_once(lambda client, _: client.put(here.at + "pool/", {"joined": True}, headers=tag), here.keeper.user)
    return {"statuses": statuses, "revision": Pool.objects.get().revision}


def lend(tag: str) -> dict[str, Any]:
    """Eight keepers' hands lend one camera; the tag tells whether they know its revision."""
    here = World()

    def call(client: APIClient, _: int) -> Any:
        body = {"to": here.keeper.user.username, "until": "2099-12-31"}
        return client.put(here.at + "cameras/T1/loan/", body, headers={"If-Match": tag})

    statuses = at_once(call, here.keeper.user)
    told = TrailEntry.objects.filter(action="lend_camera").count()
    return {"statuses": statuses, "revision": Camera.objects.get().revision, "told": told}


def one_use() -> dict[str, Any]:
    """Eight accounts redeem an invitation for one."""
    here = World()
    ends = timezone.now() + timedelta(days=1)
    invitation = Invitation.objects.create(club=here.club, code="ACDE347HJK", role="guest", expires_at=ends)
    users = AccountFactory.create_batch(PROCESSES)
    statuses = at_once(lambda client, _: client.post("/api/v1/invitations/ACDE347HJK/accept/", {}), *users)
    invitation.refresh_from_db()
    guests = here.club.memberships.filter(role="guest").count()
    return {"statuses": statuses, "used": invitation.used, "guests": guests}


def keepers_leave() -> dict[str, Any]:
    """All eight keepers of a club leave it."""
    here = World()
    keepers = [here.keeper, *MembershipFactory.create_batch(PROCESSES - 1, club=here.club, role="keeper")]
    users = [keeper.user for keeper in keepers]
    statuses = at_once(lambda client, _: client.delete(here.at + "membership/", headers={"If-Match": "*"}), *users)
    return {"statuses": statuses, "keepers": here.club.memberships.filter(role="keeper").count()}


def guesses() -> dict[str, Any]:
    """Eight guesses at one password, of which an account is allowed three."""
    settings.PINPOOL["LOGIN_TRIES_PER_ACCOUNT"] = (3, 10**9)
    body = {"username": AccountFactory.create().username, "password": "wrong"}
    return {"statuses": at_once(lambda client, _: client.post("/api/v1/accounts/login/", body), None)}


def imports(first: str) -> dict[str, Any]:
    """Four hands bring a sheet of twenty rows in while four undo it, beside a log that stays; before it `first`."""
    here = World()
    ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=here.keeper.user)
    batches, client = here.at + "imports/", APIClient(SERVER_NAME="localhost")
    client.force_authenticate(here.keeper.user)
    rows = [f"T1,{here.paper.name},2026-05-01T12:00:00Z,13,{n + 60} s,0.5" for n in range(20)]
    data = "\n".join(["camera,paper,taken_at,reading.ev,exposure_time,result.judged_stops", *rows]).encode()
    sheet = {"file": SimpleUploadedFile("log.csv", data), "kind": "exposures"}
    batch = client.post(batches, sheet, format="multipart").json()
    bodies, at = {"apply": {"rows": "all"}, "undo": {}}, f"{batches}{batch['id']}/"

    def call(client: APIClient, number: int) -> Any:
        what = ("apply", "undo")[number % 2]
        return client.post(f"{at}{what}/", bodies[what], format="json", headers={"If-Match": "*"})

    if first == "imported":
        assert call(client, 0).status_code == 200
    statuses = at_once(call, here.keeper.user)
    stored = ImportBatch.objects.get()
    logs = ExposureLog.objects.filter(imported_in=stored).count()
    names = ("logs", "x", "xx", "y", "xy", "yy")
    kept = [list(row) for row in EvidenceCell.objects.values_list(*names)]
    anew = [[row[name] for name in names] for row in summed(ExposureLog.objects.all())]
    near = len(kept) == len(anew) == 1 and all(isclose(*pair, rel_tol=1e-12) for pair in zip(*kept, *anew, strict=True))
    states = sorted({row["state"] for row in stored.report})
    return {"statuses": sorted(set(statuses)), "state": stored.state, "rows": states, "logs": logs, "right": near}


def closing() -> dict[str, Any]:
    """A club's only member closes it with four hands, while two log in it and two let somebody in."""
    here = World()
    ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=here.keeper.user)
    names = [user.username for user in AccountFactory.create_batch(PROCESSES)]
    body = CLUB["exposures/"] | {"paper": str(here.paper.pk)}

    def call(client: APIClient, number: int) -> Any:
        if number % 4 == 1:
            return client.post(here.at + "exposures/", body | {"id": f"{number:08}-0b7e-4c8e-9d0e-6a1f0d1c2b3a"})
        if number % 4 == 3:
            return client.post(here.at + "members/", {"username": names[number], "role": "guest"})
        return client.delete(here.at, headers={"If-Match": "*"})

    statuses = at_once(call, here.keeper.user)
    members = here.club.memberships.count()
    tables = (Camera, CameraSpec, ExposureLog, EvidenceCell, Pool, TrailEntry)
    left = sorted({model._default_manager.exists() for model in tables})
    failed = [each for each in statuses if each >= 500]
    return {"failed": failed, "members": members, "left": left, "club": Club.objects.exists()}


def circle() -> dict[str, Any]:
    """Eight papers, each merged into the next one, the last into the first."""
    here = World()
    keys = [f"{name}|graded paper" for name in "abcdefgh"]
    for key in keys:
        PaperFactory.create(club=here.club, name=key[0])

    def call(client: APIClient, number: int) -> Any:
        body = {"key": keys[number], "into_key": keys[(number + 1) % PROCESSES]}
        return client.post(here.at + "paper-merges/", body)

    statuses = at_once(call, here.keeper.user)
    return {"statuses": statuses, "ends": len({Scope(here.club).root(key) for key in keys})}


def sheets() -> dict[str, Any]:
    """Sheets of one camera, issued and set as PDF in forked processes."""
    here = World()
    press.pdf(of_blocks({"kind": "fold"}))  # these processes are forked off one that set a sheet

    def call(client: APIClient, _number: int) -> Any:
        issued = client.post(here.at + "cameras/T1/sheets/", {"kind": "camera_spec", "wall_thickness": "2 mm"})
        return client.get(issued.json()["pdf"])

    statuses = at_once(call, here.keeper.user)
    press.close()
    rows = IssuedSheet.objects.order_by("number")
    return {
        "statuses": statuses,
        "numbers": list(rows.values_list("number", flat=True)),
        "since": [sheet.data.get("changes", {}).get("since") for sheet in rows],
        "digests": rows.values("digest").distinct().count(),
    }


RACES: dict[str, Callable[[], dict[str, Any]]] = {
    "same_log": same_log,
    "other_logs": other_logs,
    "many_logs": many_logs,
    "same_correction": same_correction,
    "crossing_corrections": crossing_corrections,
    "same_record": same_record,
    "circle": circle,
    "one_use": one_use,
    "keepers_leave": keepers_leave,
    "guesses": guesses,
    "import_and_undo": lambda: imports("tried"),
    "undo_and_import": lambda: imports("imported"),
    "closing": closing,
    "same_camera": lambda: lend('"r1"'),
    "same_camera_whatever_it_is": lambda: lend("*"),
    "sheets": sheets,
}
