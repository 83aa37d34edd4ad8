"""Eight at once at a workshop: it is closed once, a place is claimed once, and nothing that was noted is lost."""

from collections.abc import Callable
from typing import Any


def test_one_of_eight_closes_a_workshop(run: Callable[[str], Any]) -> None:
    told = {"cameras": 8, "logs": 16, "people": 8, "closings": 1, "right": True}
    assert run("closings") == {"statuses": [200] + [409] * 7, **told}


def test_one_of_eight_claims_a_place(run: Callable[[str], Any]) -> None:
    """And only that one joins the club by it."""
    told = {"cameras": 0, "logs": 0, "people": 0, "closings": 0, "right": True}
    found = run("claims")
    assert found == {"statuses": [200] + [409] * 7, "members": 1, "theirs": 0, "owned": 0, **told}


def test_one_of_eight_claims_what_became_of_a_place(run: Callable[[str], Any]) -> None:
    told = {"cameras": 8, "logs": 16, "people": 7, "closings": 1, "right": True}
    found = run("claims_after_closing")
    assert found == {"statuses": [200] + [409] * 7, "members": 1, "theirs": 2, "owned": 1, **told}


def test_what_is_noted_while_somebody_closes_is_logged_or_refused(run: Callable[[str], Any]) -> None:
    """Whoever was told that it is stored finds it in the log, with the result that they were told of."""
    told = {"cameras": 8, "closings": 1, "right": True, "claimed": 1, "closed": True, "all": True}
    assert run("closing_meanwhile") == {"statuses": [], **told}
