"""The trail: every change of what a club keeps, by whom, from what to what; only ever added to."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db.models import QuerySet

from clubs.models import TrailEntry
from clubs.trail import record
from tests.factories import MembershipFactory

pytestmark = pytest.mark.django_db


# ------------------------------------------------------------------------------------------------- append-only


WAYS: dict[str, Callable[[QuerySet[TrailEntry]], Any]] = {
    "update": lambda rows: rows.update(action="nothing"),
    "filtered": lambda rows: rows.filter(action="lend_camera").update(actor_name=""),
    "delete": lambda rows: rows.delete(),
    "sliced": lambda rows: rows.all()[:1].delete(),
    "save": lambda rows: rows.get().save(),
    "own delete": lambda rows: rows.get().delete(),
    "bulk_update": lambda rows: rows.bulk_update([rows.get()], ["action"]),
    "update_or_create": lambda rows: rows.update_or_create(action="lend_camera", defaults={"action": "nothing"}),
    "upsert": lambda rows: rows.bulk_create(
        [rows.get()], update_conflicts=True, update_fields=["action"], unique_fields=["id"]
    ),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("of_the_club", [False, True], ids=["manager", "related"])
def test_nothing_is_changed_or_taken_away(way: str, of_the_club: bool) -> None:
    actor = MembershipFactory.create()
    record(club=actor.club, actor=actor.user, action="lend_camera", subject="camera T1", after={"to": "walker"})
    stored = list(TrailEntry.objects.values())
    with pytest.raises(TypeError, match="only ever added to"):
        WAYS[way](actor.club.trail.all() if of_the_club else TrailEntry.objects.all())
    assert list(TrailEntry.objects.values()) == stored


def test_it_outlives_the_account_and_goes_with_the_club() -> None:
    actor = MembershipFactory.create()
    record(club=actor.club, actor=actor.user, action="lend_camera", subject="camera T1")
    name = actor.user.username
    actor.user.delete()
    entry = TrailEntry.objects.get()
    assert (entry.actor, entry.actor_name) == (None, name)
    entry.club.delete()
    assert not TrailEntry.objects.exists()


def test_only_what_differs_is_kept_and_no_name_is_too_long() -> None:
    actor = MembershipFactory.create()
    before = {"name": "Tin", "note": "", "owner": None}
    record(club=actor.club, actor=None, action="change_camera", subject="x" * 300, before=before,
           after=before | {"note": "leaks", "retired": True})  # fmt: skip
    entry = TrailEntry.objects.get()
    assert (entry.before, entry.after) == ({"note": ""}, {"note": "leaks", "retired": True})
    assert (entry.actor_name, entry.subject) == ("", "x" * 200)
