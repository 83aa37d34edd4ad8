"""Races by name, each in a process of its own that is forked off this one, which has loaded everything once.

python tests/races/start.py prepares an empty database, then reads from its input lines of a race's name and a copy of
that database, and prints for each as JSON what each process was told and what is stored afterwards, or null.
"""

import json
import os
import sys
import traceback
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.races import race, race_workshops  # which set Django up

# isort: split
from django.conf import settings
from django.core.management import call_command
from django.db import connections
from django.urls import resolve

RACES = race.RACES | race_workshops.RACES


def run(name: str, database: str) -> None:
    """Fork, run the race on that database, print what came of it."""
    if runner := os.fork():
        if os.waitpid(runner, 0)[1]:
            print("null", flush=True)
        return
    settings.DATABASES["default"]["NAME"] = database
    try:
        print(json.dumps(RACES[name]()), flush=True)
    except BaseException:  # noqa: BLE001  (whatever it was, this process ends here)
        traceback.print_exc()
        os._exit(1)
    os._exit(0)


if __name__ == "__main__":
    call_command("migrate", verbosity=0)
    connections.close_all()
    resolve("/api/v1/clubs/")  # loads every view
    print("ready", flush=True)
    for line in sys.stdin:
        run(*line.split())
