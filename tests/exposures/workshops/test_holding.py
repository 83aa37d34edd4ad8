"""Workshops held and changed by leaders: their places, codes and limits, and what nobody else learns."""

import json
from typing import Any

import pytest

from clubs.codes import ALPHABET
from clubs.models import TrailEntry
from exposures.workshops.models import Place
from tests.exposures.workshops.conftest import ANY, Day
from tests.factories import DesignFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in, problem_of


def test_places_and_their_codes_are_made_at_once(day: Day) -> None:
    assert day.made.keys() == {
        "number", "name", "held_on", "design", "paper", "places", "process", "stations", "note", "joins_as", "leader",
        "created_at", "closed_at", "revision",
    }  # fmt: skip
    assert (day.made["places"], day.made["stations"], day.made["joins_as"], day.made["revision"]) == (3, 1, None, 1)
    assert day.made["design"] == {"id": day.design.pk, "name": "Biscuit drum"}
    assert day.made["leader"] == day.leader.user.get_username()
    codes = [place["code"] for place in day.places()]
    assert [place["number"] for place in day.places()] == [1, 2, 3]
    assert len(set(codes)) == 3
    for code in codes:
        first, dash, last = code.partition("-")
        assert (len(first), dash, len(last)) == (7, "-", 7)
        assert set(first + last) <= set(ALPHABET)


def test_codes_are_shown_to_leaders_alone(day: Day) -> None:
    codes = list(Place.objects.values_list("code", flat=True))
    client = day.as_user(day.member.user)
    for path in ("places/", "places/1/"):
        problem_of(client.get(day.at + path), 403)
    day.phone(1).note()
    day.close()
    read = [day.client.get(day.at), client.get(day.at), client.get(day.at + "results/"),
            client.get(day.club_at + "workshops/"), day.keepers.get(day.club_at + "trail/?page_size=200")]  # fmt: skip
    for response in read:
        assert response.status_code == 200
        text = response.content.decode()
        assert not any(code in text or code[:7] in text for code in codes)


@pytest.mark.parametrize(
    ("change", "fault"),
    [({"places": 0}, ("/places", "min_value")), ({"places": 61}, ("/places", "max_value")),
     ({"name": ""}, ("/name", "blank")), ({"held_on": "20.6.2026"}, ("/held_on", "invalid")),
     ({"stations": 0}, ("/stations", "min_value")), ({"joins_as": "member"}, ("/joins_as", "unknown_key")),
     ({"design": "1"}, ("/design", "invalid")), ({"process": {"time": "2"}}, ("/process/time", "unit_missing"))],
)  # fmt: skip
def test_workshops_that_are_none(day: Day, change: Any, fault: Any) -> None:
    assert faults_in(day.client.post(day.club_at + "workshops/", day.body() | change)) == {fault}


def test_by_a_design_and_on_a_paper_of_the_club_in_use(day: Day) -> None:
    other = DesignFactory.create(), PaperFactory.create()
    body = day.body(design=other[0].pk, paper=str(other[1].pk))
    faults = {("/design", "unknown_design"), ("/paper", "unknown_paper")}
    assert faults_in(day.client.post(day.club_at + "workshops/", body), 422) == faults
    for row in (day.design, day.paper):
        row.retired_at = day.workshop.created_at
        row.save()
    faults = {("/design", "design_retired"), ("/paper", "paper_retired")}
    assert faults_in(day.client.post(day.club_at + "workshops/", day.body()), 422) == faults
    assert day.change(design=day.design.pk, name="Evening").status_code == 200  # it stays what it was


def test_a_club_has_only_so_many_open(day: Day, settings: Any) -> None:
    settings.PINPOOL = {"MAX_OPEN_WORKSHOPS": 2}
    at = day.club_at + "workshops/"
    assert day.client.post(at, day.body()).status_code == 201
    problem_of(day.client.post(at, day.body()), 409)
    assert day.close().status_code == 200
    assert day.client.post(at, day.body()).status_code == 201


def test_changing_one(day: Day) -> None:
    paper = PaperFactory.create(club=day.club)
    problem_of(day.client.patch(day.at, {"name": "Evening"}), 428)
    facts = {"name": "Evening", "held_on": "2026-06-21", "paper": str(paper.pk), "places": 5, "stations": 2,
             "process": {"developer": "Bladderwrack", "time": "2 min"}, "note": "bring a lid"}  # fmt: skip
    response = day.client.patch(day.at, facts, headers={"If-Match": '"r1"'})
    assert response.status_code == 200, response.content
    changed = response.json()
    assert response["ETag"] == '"r2"'
    assert (changed["name"], changed["places"], changed["paper"]["id"]) == ("Evening", 5, str(paper.pk))
    assert (changed["process"]["developer"], changed["process"]["time"]["value"]) == ("Bladderwrack", 120)
    assert [place["number"] for place in day.places()] == [1, 2, 3, 4, 5]
    problem_of(day.client.patch(day.at, {"name": "Night"}, headers={"If-Match": '"r1"'}), 412)
    again = day.client.patch(day.at, facts, headers={"If-Match": '"r2"'})
    assert again["ETag"] == '"r2"'  # nothing differs
    entry = TrailEntry.objects.filter(action="hold_workshop").latest("id")
    assert (entry.before["places"], entry.after["places"], entry.after["name"]) == (3, 5, "Evening")
    assert TrailEntry.objects.filter(action="hold_workshop").count() == 2


def test_places_are_never_fewer(day: Day) -> None:
    assert faults_in(day.change(places=2), 422) == {("/places", "places_fewer")}
    assert Place.objects.count() == 3


@pytest.mark.parametrize("begun", ["measured", "noted"])
def test_design_and_paper_stay_once_it_has_begun(day: Day, begun: str) -> None:
    phone = day.phone(2)
    assert (phone.hole() if begun == "measured" else phone.note()).status_code in {200, 201}
    other = {"design": DesignFactory.create(club=day.club).pk, "paper": str(PaperFactory.create(club=day.club).pk)}
    assert faults_in(day.change(**other), 422) == {("/design", "workshop_begun"), ("/paper", "workshop_begun")}
    assert day.change(design=day.design.pk, paper=str(day.paper.pk), name="Evening").status_code == 200


def test_who_joins_by_a_code_is_the_keepers_to_say(day: Day) -> None:
    problem_of(day.change(joins_as="guest"), 403)
    problem_of(day.change(joins_as=None), 403)
    assert day.change(day.keepers, joins_as="member").json()["joins_as"] == "member"
    for role in ("leader", "keeper", "owner", ""):
        assert faults_in(day.change(day.keepers, joins_as=role)) == {("/joins_as", "invalid_choice")}
    day.close()
    assert day.change(day.keepers, joins_as=None).json()["joins_as"] is None  # also once it is history
    problem_of(day.change(day.keepers, joins_as="guest", name="Evening"), 409)
    assert [entry.after for entry in TrailEntry.objects.filter(action="hold_workshop").order_by("id")[1:]] == [
        {"joins_as": "member"}, {"joins_as": None}
    ]  # fmt: skip


def test_a_lost_code_is_drawn_anew(day: Day) -> None:
    old, at = day.phone(2), day.at + "places/2/code/"
    assert old.named("Finn").status_code == 200
    problem_of(day.client.post(at, {}), 428)
    problem_of(day.client.post(at, {}, headers={"If-Match": '"r1"'}), 412)
    drawn = day.client.post(at, {}, headers={"If-Match": '"r2"'})
    assert drawn["ETag"] == '"r3"'
    problem_of(old.client.get(old.at), 404)
    assert day.phone(2).get()["name"] == "Finn"
    withdrawn = day.client.delete(at, headers={"If-Match": '"r3"'}).json()
    assert withdrawn["code"] is None
    assert withdrawn["withdrawn_at"] is not None
    problem_of(day.phone(2).client.get(day.phone(2).at), 404)
    problem_of(day.client.delete(at, headers=ANY), 409)
    assert day.client.post(at, {}, headers=ANY).json()["withdrawn_at"] is None
    assert day.phone(2).get()["name"] == "Finn"
    told = TrailEntry.objects.filter(action="change_place", actor=day.leader.user).order_by("id")
    subject = f"place 2 of workshop {day.made['number']}"
    assert [(entry.subject, entry.after["code"]) for entry in told] == [
        (subject, "drawn anew"), (subject, "withdrawn"), (subject, "drawn anew")
    ]  # fmt: skip
    problem_of(day.client.get(day.at + "places/4/"), 404)


def test_workshops_of_other_clubs_are_not_there(day: Day) -> None:
    elsewhere = day.as_user(MembershipFactory.create(role="keeper", club__slug="fen").user)
    at = day.at.replace("/marsh/", "/fen/")
    for path in ("", "places/", "places/1/", "results/"):
        problem_of(elsewhere.get(at + path), 404)
    problem_of(elsewhere.post(at + "closing/", {}, headers=ANY), 404)
    problem_of(elsewhere.patch(at, {"name": "Mine"}, headers=ANY), 404)
    problem_of(elsewhere.post(at + "places/1/code/", {}, headers=ANY), 404)
    assert json.loads(elsewhere.get("/api/v1/clubs/fen/workshops/").content)["results"] == []


def test_numbers_beyond_any_are_not_there(day: Day) -> None:
    for path in (f"places/{10**30}/", "places/0/"):
        problem_of(day.client.get(day.at + path), 404)
    problem_of(day.client.get(f"{day.club_at}workshops/{10**30}/"), 404)
    body = day.body(design=10**40)
    assert faults_in(day.client.post(day.club_at + "workshops/", body), 422) == {("/design", "unknown_design")}
    assert faults_in(day.change(stations=10**20)) == {("/stations", "max_value")}
