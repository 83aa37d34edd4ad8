"""Eight at once: one does it, the others are told so, and nothing is counted twice. On the database of the run."""

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

RACE = Path(__file__).with_name("race.py")


@pytest.fixture
def run(own_database: dict[str, str]) -> Callable[[str], Any]:
    """`run(name)`: what came of a race, in processes and a database of its own."""

    def race(which: str) -> Any:
        command = [sys.executable, str(RACE), which]
        done = subprocess.run(command, env=own_database, capture_output=True, text=True, check=False, timeout=120)
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout.splitlines()[-1])

    return race


def test_the_same_log_is_stored_and_counted_once(run: Callable[[str], Any]) -> None:
    assert run("same_log") == {"statuses": [200] * 7 + [201], "stored": 1, "counted": 1}


def test_different_logs_are_all_counted_in_one_cell(run: Callable[[str], Any]) -> None:
    assert run("other_logs") == {"statuses": [201] * 8, "stored": 8, "cells": [8]}


def test_one_of_eight_changes_a_record(run: Callable[[str], Any]) -> None:
    assert run("same_record") == {"statuses": [200] + [412] * 7, "revision": 2}
