"""Cameras: changed, handed on, lent, retired and found again; by whom, and told in the trail."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from clubs.models import Camera, TrailEntry
from tests.bodies import CLUB
from tests.factories import AccountFactory, CameraFactory, CameraSpecFactory, MembershipFactory
from tests.problems import but_for_its_id, faults_in, problem_of

SCRIPT = "<script>alert(1)</script>"


class Here:
    """A club with a camera OWN of `owner` and a camera CLUB of its own, and everybody's clients."""

    def __init__(self, as_user: Any) -> None:
        self.owner = MembershipFactory.create(user__username="owner")
        self.club = self.owner.club
        self.members = {"owner": self.owner}
        for role in ("guest", "member", "leader", "keeper"):
            self.members[role] = MembershipFactory.create(club=self.club, role=role, user__username=role)
        self.clients = {name: as_user(member.user) for name, member in self.members.items()}
        CameraSpecFactory.create(camera__club=self.club, camera__code="OWN", camera__owner=self.owner.user)
        CameraSpecFactory.create(camera__club=self.club, camera__code="CLUB")
        self.at = f"/api/v1/clubs/{self.club.slug}/"

    def camera(self, code: str) -> Camera:
        return Camera.objects.get(club=self.club, code=code)

    def call(self, method: str, path: str, body: Any = None, *, who: str = "keeper", tag: str | None = "*") -> Any:
        headers = {"If-Match": tag} if tag else {}
        return getattr(self.clients[who], method)(self.at + path, body, headers=headers)

    def done(self, method: str, path: str, body: Any = None, **how: Any) -> Any:
        response = self.call(method, path, body, **how)
        assert response.status_code in {200, 201}, response.content
        return response.json()

    def found(self, query: str) -> list[str]:
        response = self.clients["guest"].get(f"{self.at}cameras/?{query}")
        assert response.status_code == 200, response.content
        return [row["code"] for row in response.json()["results"]]


@pytest.fixture
def here(as_user: Any) -> Here:
    return Here(as_user)


def day(days: int) -> str:
    return (timezone.localdate() + timedelta(days=days)).isoformat()


# ---------------------------------------------------------------------------------------------------- changes


def test_a_change_of_name_and_note(here: Here) -> None:
    changed = here.done("patch", "cameras/own/", {"name": "Drum", "note": SCRIPT}, who="owner", tag='"r1"')
    assert (changed["name"], changed["note"], changed["revision"]) == ("Drum", SCRIPT, 2)
    assert here.clients["guest"].get(here.at + "cameras/OWN/").json() == changed
    entry = TrailEntry.objects.get()
    assert (entry.actor_name, entry.action, entry.subject) == ("owner", "change_camera", "camera OWN")
    assert entry.after == {"name": "Drum", "note": SCRIPT}
    assert entry.before is not None
    assert entry.before.keys() == entry.after.keys()


def test_what_is_the_same_is_no_change(here: Here) -> None:
    for body in ({}, {"name": here.camera("OWN").name, "retired": False, "owner": "owner"}):
        assert here.done("patch", "cameras/OWN/", body)["revision"] == 1
    assert not TrailEntry.objects.exists()


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("patch", "cameras/OWN/", {"name": "X"}),
        ("put", "cameras/OWN/loan/", {"to": "member", "until": "2099-01-01"}),
        ("delete", "cameras/OWN/loan/", None),
    ],
)
def test_a_change_names_the_revision_it_is_meant_for(here: Here, method: str, path: str, body: Any) -> None:
    if method == "delete":
        here.done("put", path, {"to": "member", "until": day(1)})
    before = here.camera("OWN").revision
    problem_of(here.call(method, path, body, tag=None), 428)
    problem_of(here.call(method, path, body, tag='"r99"'), 412)
    assert here.camera("OWN").revision == before
    response = here.call(method, path, body, tag=f'W/"r{before}"')  # as a proxy that compresses passes it on
    assert (response.status_code, response["ETag"]) == (200, f'"r{before + 1}"')
    problem_of(here.call(method, path, body, tag=f'"r{before}"'), 412)


@pytest.mark.parametrize(
    ("path", "may", "may_not"),
    [
        ("cameras/OWN/", {"owner", "keeper"}, {"guest", "member", "leader"}),
        ("cameras/CLUB/", {"keeper"}, {"guest", "member", "leader", "owner"}),
        ("cameras/OWN/loan/", {"owner", "keeper"}, {"guest", "member", "leader"}),
        ("cameras/CLUB/loan/", {"leader", "keeper"}, {"guest", "member", "owner"}),
    ],
)
def test_who_may(here: Here, path: str, may: set[str], may_not: set[str]) -> None:
    loan = path.endswith("loan/")
    method, body = ("put", {"to": "guest", "until": day(3)}) if loan else ("patch", {"note": "lid sticks"})
    for who in may_not:
        problem_of(here.call(method, path, body, who=who), 403)
        assert not TrailEntry.objects.exists()
    for who in may:
        here.done(method, path, body | ({} if loan else {"note": who}), who=who)
        if loan:
            for other in may_not:
                problem_of(here.call("delete", path, who=other), 403)
            here.done("delete", path, who=who)


def test_a_refusal_says_what_it_takes(here: Here) -> None:
    refused = here.call("put", "cameras/CLUB/loan/", {"to": "guest", "until": day(3)}, who="member")
    assert problem_of(refused, 403)["detail"] == "This camera belongs to the club; doing this takes a leader."
    refused = here.call("patch", "cameras/OWN/", {}, who="leader")
    assert "belongs to somebody else" in problem_of(refused, 403)["detail"]


@pytest.mark.parametrize(
    "body",
    [{"code": "X9"}, {"club": "creek"}, {"revision": 9}, {"lent_to": "owner"}, {"retired_at": None}, {"id": 1},
     {"club_owned": True}, {"spec": {}}, {"registered_at": "2020-01-01T00:00:00Z"}, {"loan": None}],
)  # fmt: skip
def test_nothing_else_can_be_set(here: Here, body: dict[str, Any]) -> None:
    [(pointer, code)] = faults_in(here.call("patch", "cameras/OWN/", body))
    assert (pointer, code) == (f"/{next(iter(body))}", "unknown_key")


@pytest.mark.parametrize(
    "body",
    [{"name": ""}, {"name": None}, {"name": "x" * 101}, {"note": "x" * 2001}, {"note": None}, {"owner": ""},
     {"owner": 5}, {"retired": "yes"}, {"retired": None}, {"name": "a\x00b"}],
)  # fmt: skip
def test_values_that_are_none(here: Here, body: dict[str, Any]) -> None:
    assert {pointer.partition("/")[2] for pointer, _ in faults_in(here.call("patch", "cameras/OWN/", body))} <= {
        next(iter(body)), ""
    }  # fmt: skip
    assert here.camera("OWN").revision == 1


# ----------------------------------------------------------------------------------------------------- owners


def test_a_camera_passes_to_a_member_and_to_the_club(here: Here) -> None:
    assert here.done("patch", "cameras/OWN/", {"owner": "member"}, who="owner")["owner"] == "member"
    problem_of(here.call("patch", "cameras/OWN/", {"name": "Mine"}, who="owner"), 403)
    assert here.done("patch", "cameras/OWN/", {"owner": None}, who="member")["owner"] is None
    problem_of(here.call("patch", "cameras/OWN/", {"owner": "member"}, who="member"), 403)
    told = [(entry.before, entry.after) for entry in TrailEntry.objects.order_by("id")]
    assert told == [({"owner": "owner"}, {"owner": "member"}), ({"owner": "member"}, {"owner": None})]


def test_nobody_outside_the_club_is_given_anything_nor_shown_to_exist(here: Here) -> None:
    """The answer to an account elsewhere, to none, and to a guest, who may own no camera, is the same."""
    AccountFactory.create(username="elsewhere")
    answers = set()
    for name in ("elsewhere", "nobody", "guest"):
        response = here.call("patch", "cameras/OWN/", {"owner": name})
        assert faults_in(response, 422) == {("/owner", "unknown_member")}
        answers.add(but_for_its_id(response))
    for name in ("elsewhere", "nobody"):
        response = here.call("put", "cameras/OWN/loan/", {"to": name, "until": day(1)})
        assert faults_in(response, 422) == {("/to", "unknown_member")}
    assert len(answers) == 1


# ------------------------------------------------------------------------------------------------------ loans


def test_lending_and_bringing_back(here: Here) -> None:
    until = day(14)
    lent = here.done("put", "cameras/CLUB/loan/", {"to": "guest", "until": until}, who="leader")
    assert lent["loan"] == {"to": "guest", "until": until}
    assert here.clients["guest"].get(here.at + "cameras/CLUB/").json() == lent
    back = here.done("delete", "cameras/CLUB/loan/", who="keeper")
    assert (back["loan"], back["revision"]) == (None, 3)
    told = [(entry.action, entry.before, entry.after) for entry in TrailEntry.objects.order_by("id")]
    loan = {"to": "guest", "until": until}
    assert told == [("lend_camera", None, loan), ("bring_back_camera", loan, None)]


def test_what_is_lent_is_not_lent_again(here: Here) -> None:
    here.done("put", "cameras/CLUB/loan/", {"to": "guest", "until": day(7)})
    refused = here.call("put", "cameras/CLUB/loan/", {"to": "member", "until": day(3)})
    assert day(7) in problem_of(refused, 409)["detail"]
    here.done("delete", "cameras/CLUB/loan/")
    problem_of(here.call("delete", "cameras/CLUB/loan/"), 409)
    assert here.camera("CLUB").loan is None


def test_a_day_that_is_past_and_a_borrower_who_is_none_are_told_together(here: Here) -> None:
    response = here.call("put", "cameras/CLUB/loan/", {"to": "nobody", "until": day(-1)})
    assert faults_in(response, 422) == {("/to", "unknown_member"), ("/until", "day_past")}
    here.done("put", "cameras/CLUB/loan/", {"to": "guest", "until": day(0)})


@pytest.mark.parametrize(
    "until",
    ["", "tomorrow", "2099-13-01", "2099-02-30", "20990101", "2099-W01-1", "2099-01-01T00:00:00Z", "2101-01-01",
     "0001-01-01", "2099-1-1", " 2099-01-01", "2099-01-01\n", "٢٠٩٩-٠١-٠١", 20990101, None, True, ["2099-01-01"]],
)  # fmt: skip
def test_days_that_are_none(here: Here, until: Any) -> None:
    response = here.call("put", "cameras/CLUB/loan/", {"to": "guest", "until": until})
    assert {pointer for pointer, _ in faults_in(response)} == {"/until"}


def test_a_loan_outlives_the_borrowers_account(here: Here) -> None:
    here.done("put", "cameras/CLUB/loan/", {"to": "guest", "until": day(7)})
    here.members["guest"].user.delete()
    assert here.done("get", "cameras/CLUB/")["loan"] == {"to": None, "until": day(7)}
    assert Camera.objects.filter(club=here.club, lent_until=None).count() == 1
    here.done("delete", "cameras/CLUB/loan/")


# --------------------------------------------------------------------------------------------------- retiring


def test_a_retired_camera_keeps_its_history_and_takes_no_loan(here: Here) -> None:
    retired = here.done("patch", "cameras/CLUB/", {"retired": True})
    assert retired["retired_at"] is not None
    assert retired["spec"]["number"] == 1
    refused = here.call("put", "cameras/CLUB/loan/", {"to": "guest", "until": day(1)})
    assert "retired" in problem_of(refused, 409)["detail"]
    again = here.done("patch", "cameras/CLUB/", {"retired": True, "note": "split"})
    assert again["retired_at"] == retired["retired_at"]
    assert here.done("patch", "cameras/CLUB/", {"retired": False})["retired_at"] is None
    here.done("put", "cameras/CLUB/loan/", {"to": "guest", "until": day(1)})
    assert "lent" in problem_of(here.call("patch", "cameras/CLUB/", {"retired": True}), 409)["detail"]


# ----------------------------------------------------------------------------------------------------- search


def test_finding_a_camera(here: Here) -> None:
    for code, more in {
        "A1": {"name": "Biscuit drum", "note": "the lid sticks"},
        "B1": {"name": "Tea caddy 100%", "owner": here.members["keeper"].user},
        "C1": {"name": "Slide box", "retired_at": timezone.now()},
        "D1": {"name": "Slide drum", "lent_until": timezone.localdate()},
    }.items():
        CameraSpecFactory.create(camera=CameraFactory.create(club=here.club, code=code, **more))
    CameraSpecFactory.create(camera__name="Biscuit drum")  # another club's
    everything = ["A1", "B1", "C1", "CLUB", "D1", "OWN"]
    assert here.found("") == everything
    for query, codes in {
        "search=drum": ["A1", "D1"],
        "search=DRUM%20biscuit": ["A1"],
        "search=sticks": ["A1"],
        "search=a1": ["A1"],
        "search=keep": ["B1"],
        "search=%25": ["B1"],
        "search=_": [],
        "search=drum%20caddy": [],
        "owner=keeper": ["B1"],
        "owner=keep": [],
        "club_owned=true&lent=false&retired=false": ["A1", "CLUB"],
        "club_owned=false": ["B1", "OWN"],
        "lent=true": ["D1"],
        "lent=false": [code for code in everything if code != "D1"],
        "retired=true": ["C1"],
        "retired=false&search=slide": ["D1"],
    }.items():
        assert here.found(query) == codes, query


@pytest.mark.parametrize(
    ("query", "fault"),
    [
        ("lent=yes", ("/lent", "invalid_choice")),
        ("retired=", ("/retired", "blank")),
        ("search=", ("/search", "blank")),
        ("search=" + "x" * 101, ("/search", "max_length")),
        ("search=a%00b", ("/search", "null_characters_not_allowed")),
        ("owner=a&owner=b", ("/owner", "repeated_query")),
        ("lended=true", ("/lended", "unknown_query")),
    ],
)
def test_filters_that_are_none(here: Here, query: str, fault: tuple[str, str]) -> None:
    assert faults_in(here.clients["guest"].get(f"{here.at}cameras/?{query}")) == {fault}


def test_a_page_of_two_hundred_costs_what_a_page_of_two_does(here: Here, django_assert_num_queries: Any) -> None:
    """The member with their club; the cameras with owners, borrowers, specs and the specs' authors."""
    with django_assert_num_queries(2):
        assert len(here.found("page_size=200")) == 2
    users = [AccountFactory.create() for _ in range(20)]
    for number in range(198):
        camera = CameraFactory.create(club=here.club, owner=users[number % 20], lent_to=users[number % 7],
                                      lent_until=timezone.localdate())  # fmt: skip
        CameraSpecFactory.create(camera=camera, author=users[number % 13])
    with django_assert_num_queries(2):
        assert len(here.found("page_size=200")) == 200


# ---------------------------------------------------------------------------------------------- registering


def test_a_registration_is_told_and_a_note_kept(here: Here) -> None:
    made = here.done("post", "cameras/", CLUB["cameras/"], who="member")
    assert made["note"] == "lid sticks"
    entry = TrailEntry.objects.get()
    assert (entry.action, entry.subject, entry.before) == ("register_camera", "camera K7", None)
    assert entry.after == {"name": "Biscuit tin", "note": "lid sticks", "owner": None, "retired": False}
    here.done("post", "cameras/K7/specs/", CLUB["cameras/"]["spec"], who="member")
    last = TrailEntry.objects.latest("id")
    assert (last.action, last.before, last.after) == ("add_spec", {"spec": 1}, {"spec": 2})
    assert last.actor_name == "member"
