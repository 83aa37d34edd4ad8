"""The trail: every change of what a club keeps, by whom, from what to what; only ever added to."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db.models import QuerySet

from clubs.models import TrailEntry
from clubs.trail import record
from tests.factories import AccountFactory, MembershipFactory
from tests.problems import faults_in, problem_of

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


# --------------------------------------------------------------------------------------------------- endpoint


@pytest.fixture
def keeper(as_user: Any) -> tuple[Any, str]:
    """A keeper's client and the address of a trail of three entries; another club has one of its own."""
    actor = MembershipFactory.create(role="keeper", user__username="ann")
    other = AccountFactory.create(username="<b>bo</b>")
    facts = [(actor.user, "lend_camera", "camera T1"), (other, "add_spec", "camera T1"), (None, "lend_camera", "T2")]
    for user, action, subject in facts:
        record(club=actor.club, actor=user, action=action, subject=subject, before={"a": 1}, after={"a": "<script>"})
    record(club=MembershipFactory.create().club, actor=actor.user, action="lend_camera", subject="camera T1")
    return as_user(actor.user), f"/api/v1/clubs/{actor.club.slug}/trail/"


def test_the_newest_comes_first(keeper: Any) -> None:
    client, at = keeper
    rows = client.get(at).json()["results"]
    assert [(row["actor"], row["action"], row["subject"]) for row in rows] == [
        ("", "lend_camera", "T2"), ("<b>bo</b>", "add_spec", "camera T1"), ("ann", "lend_camera", "camera T1"),
    ]  # fmt: skip
    assert rows[0].keys() == {"id", "at", "actor", "action", "subject", "before", "after"}
    assert (rows[0]["before"], rows[0]["after"]) == ({"a": 1}, {"a": "<script>"})
    page = client.get(at + "?page_size=1").json()
    assert page["results"] == rows[:1]
    assert client.get(page["next"]).json()["results"] == rows[1:2]


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("actor=ann", 1),
        ("actor=an", 0),
        ("action=lend_camera", 2),
        ("subject=t1", 2),
        ("subject=T2&action=add_spec", 0),
    ],
)
def test_filters(keeper: Any, query: str, found: int) -> None:
    client, at = keeper
    assert len(client.get(f"{at}?{query}").json()["results"]) == found


@pytest.mark.parametrize("name", ["who", "before", "club"])
def test_filters_that_are_none(keeper: Any, name: str) -> None:
    client, at = keeper
    assert faults_in(client.get(f"{at}?{name}=x")) == {(f"/{name}", "unknown_query")}


def test_nobody_writes_to_it(keeper: Any, as_user: Any) -> None:
    client, at = keeper
    for method in ("post", "put", "patch", "delete"):
        problem_of(getattr(client, method)(at, {}), 405)
    club = TrailEntry.objects.earliest("id").club
    problem_of(as_user(MembershipFactory.create(club=club, role="leader").user).get(at), 403)


def test_a_page_of_two_hundred_costs_what_a_page_of_two_does(keeper: Any, django_assert_num_queries: Any) -> None:
    client, at = keeper
    with django_assert_num_queries(2):
        assert len(client.get(at + "?page_size=2").json()["results"]) == 2
    first = TrailEntry.objects.earliest("id")
    TrailEntry.objects.bulk_create(
        TrailEntry(club=first.club, actor=first.actor, action="add_spec", subject="camera T3") for _ in range(200)
    )
    with django_assert_num_queries(2):
        assert len(client.get(at + "?page_size=200").json()["results"]) == 200
