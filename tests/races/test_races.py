"""Eight at once: one does it, the others are told so, and nothing is counted twice. On the database of the run."""

from collections.abc import Callable
from typing import Any

import pytest


def test_the_same_log_is_stored_and_counted_once(run: Callable[[str], Any]) -> None:
    assert run("same_log") == {"statuses": [200] * 7 + [201], "stored": 1, "counted": 1}


def test_different_logs_are_all_counted_in_one_cell(run: Callable[[str], Any]) -> None:
    assert run("other_logs") == {"statuses": [201] * 8, "stored": 8, "cells": [8]}


def test_many_logs_at_once_are_stored_once_and_nobody_waits_for_ever(run: Callable[[str], Any]) -> None:
    assert run("many_logs") == {"failed": [], "stored": 20, "cells": [20]}


def test_one_of_eight_corrects_an_entry(run: Callable[[str], Any]) -> None:
    assert run("same_correction") == {"statuses": [201] + [409] * 7, "stored": 2, "counted": 1}


def test_corrections_that_cross_leave_the_cells_right(run: Callable[[str], Any]) -> None:
    assert run("crossing_corrections") == {"statuses": [201] * 8, "cells": [4, 4], "right": True}


def test_one_of_eight_changes_a_record(run: Callable[[str], Any]) -> None:
    assert run("same_record") == {"statuses": [200] + [412] * 7, "revision": 2}


@pytest.mark.parametrize(("race", "told"), [("same_camera", 412), ("same_camera_whatever_it_is", 409)])
def test_one_of_eight_lends_a_camera(run: Callable[[str], Any], race: str, told: int) -> None:
    assert run(race) == {"statuses": [200] + [told] * 7, "revision": 2, "told": 1}


def test_one_of_eight_redeems_the_last_use_of_an_invitation(run: Callable[[str], Any]) -> None:
    assert run("one_use") == {"statuses": [201] + [404] * 7, "used": 1, "guests": 1}


def test_of_eight_keepers_who_leave_one_stays(run: Callable[[str], Any]) -> None:
    assert run("keepers_leave") == {"statuses": [200] * 7 + [409], "keepers": 1}


def test_eight_guesses_at_once_are_eight_guesses(run: Callable[[str], Any]) -> None:
    assert run("guesses") == {"statuses": [401] * 3 + [429] * 5}


@pytest.mark.parametrize("race", ["import_and_undo", "undo_and_import"])
def test_an_import_that_is_undone_meanwhile_ends_in_one_state(run: Callable[[str], Any], race: str) -> None:
    """All of its rows are in the log or none, its report says which, and the cells are the log summed."""
    found = run(race)
    assert set(found["statuses"]) <= {200, 409}
    assert found["rows"] == [found["state"]]
    assert found["logs"] == {"imported": 20, "undone": 0}[found["state"]]
    assert found["right"]


def test_a_club_that_is_closed_meanwhile_is_gone_or_whole(run: Callable[[str], Any]) -> None:
    """Nothing of it is left behind, and whoever was let in before still finds all of it."""
    found = run("closing")
    assert found["failed"] == []
    assert found["club"] is (found["members"] > 1)
    assert found["left"] == [found["club"]]
    assert found["members"] != 1


def test_merges_never_close_a_circle(run: Callable[[str], Any]) -> None:
    """Whichever comes last is told that the two are one paper already."""
    assert run("circle") == {"statuses": [201] * 7 + [422], "ends": 1}


def test_sheets_issued_at_once_are_numbered_in_turn_and_set(run: Callable[[str], Any]) -> None:
    numbers = list(range(1, 9))
    assert run("sheets") == {
        "statuses": [200] * 8, "numbers": numbers, "since": [None, *numbers[:-1]], "digests": 1,
    }  # fmt: skip
