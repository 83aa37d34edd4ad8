"""Claiming a place with an account: before closing or after, once, by whoever may."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from clubs.models import Camera, Membership, Person, TrailEntry
from exposures.models import EvidenceCell, ExposureLog
from tests.accounts import PASSWORD, Statements, by_token
from tests.bodies import CLUB, PLACES
from tests.exposures.workshops.conftest import ANY, Day, cells_are_the_logs
from tests.factories import AccountFactory, MembershipFactory
from tests.problems import faults_in, problem_of


def claim(day: Day, number: int, user: Any) -> Any:
    phone = day.phone(number, user)
    return phone.client.post(phone.at + "claim/", {})


def test_it_takes_an_account(day: Day, api: APIClient) -> None:
    response = api.post(f"/api/v1/places/{day.place(1).code}/claim/", {})
    problem_of(response, 401)
    assert response["WWW-Authenticate"] == "Bearer"


@pytest.mark.parametrize(("scope", "status"), [("read", 403), ("log", 403), ("manage", 200)])
def test_a_token_takes_the_largest_scope(day: Day, scope: str, status: int) -> None:
    client = by_token(day.member.user, scope=scope)
    assert client.post(f"/api/v1/places/{day.place(1).code}/claim/", {}).status_code == status


def test_before_closing(day: Day) -> None:
    response = claim(day, 1, day.member.user)
    assert response.status_code == 200, response.content
    told = response.json()
    assert told == {"club": "marsh", "club_name": "Saltmarsh club", "role": "member", "place": 1, "camera": None,
                    "owned": False, "exposures": 0, "revision": 2}  # fmt: skip
    assert response["ETag"] == day.phone(1).client.get(day.phone(1).at)["ETag"] == '"r2"'
    assert day.phone(1).get()["claimed"] is True
    place = day.places()[0]
    assert place["claimed_by"] == day.member.user.get_username()
    entry = TrailEntry.objects.get(action="claim_place")
    assert (entry.actor, entry.subject) == (day.member.user, f"place 1 of workshop {day.made['number']}")
    phone = day.phone(1)  # which goes on without an account
    assert phone.note(result={"judged_stops": 0}).status_code == 201
    day.close()
    log = ExposureLog.objects.get()
    assert (log.member, log.person, log.spec.camera.owner) == (day.member.user, None, day.member.user)
    assert not Person.objects.exists()


def test_after_closing_camera_and_logs_become_theirs(day: Day) -> None:
    for number in (1, 2):
        day.phone(number).named(f"n{number}")
        for stops in (0, 1):
            day.phone(number).note(result={"judged_stops": stops})
    code = day.close().json()["cameras"][0]["code"]
    before = day.client.get(day.club_at + "reciprocity/model/").json()
    log = ExposureLog.objects.filter(spec__camera__code=code).first()
    assert log is not None
    # One was corrected meanwhile: both stay with whoever made it.
    body = CLUB["exposures/"] | {"camera": code, "paper": str(day.paper.pk), "reason": "It was 5 min.",
                                 "visibility": "club"}  # fmt: skip
    del body["id"]
    assert day.keepers.post(f"{day.club_at}exposures/{log.id}/corrections/", body).status_code == 201
    assert cells_are_the_logs()
    response = claim(day, 1, day.member.user)
    assert response.status_code == 200, response.content
    told = response.json()
    assert (told["camera"], told["owned"], told["exposures"]) == (code, True, 3)
    assert Camera.objects.get(code=code).owner == day.member.user
    assert ExposureLog.objects.filter(member=day.member.user, person=None, spec__camera__code=code).count() == 3
    assert [person.name for person in Person.objects.all()] == ["n2"]
    assert cells_are_the_logs()
    assert EvidenceCell.objects.get(member=day.member.user).logs == 2  # the corrected one counts no longer
    after = day.client.get(day.club_at + "reciprocity/model/").json()
    assert after["fingerprint"] != before["fingerprint"]
    assert after["evidence"]["members"] == before["evidence"]["members"] == 2
    changed = TrailEntry.objects.get(action="change_camera")
    assert (changed.subject, changed.after) == (f"camera {code}", {"owner": day.member.user.get_username()})
    [tag] = {entry["revision"] for entry in day.client.get(f"{day.club_at}exposures/?camera={code}").json()["results"]}
    assert tag == 2  # its author is another one: what was read before is not what stands there now


def test_it_is_claimed_once(day: Day) -> None:
    assert claim(day, 1, day.member.user).status_code == 200
    assert "already" in problem_of(claim(day, 1, day.member.user), 409)["detail"]
    detail = problem_of(claim(day, 1, day.keeper.user), 409)["detail"]
    assert day.member.user.get_username() not in detail
    assert day.place(1).user == day.member.user
    assert TrailEntry.objects.filter(action="claim_place").count() == 1


def test_a_stranger_needs_an_invitation_unless_the_keeper_lets_them_in(day: Day) -> None:
    user = AccountFactory.create(username="finn")
    detail = problem_of(claim(day, 1, user), 409)["detail"]
    assert "invitation" in detail
    assert not Membership.objects.filter(user=user).exists()
    assert day.place(1).user is None
    day.change(day.keepers, joins_as="member")
    assert claim(day, 1, user).json()["role"] == "member"
    told = TrailEntry.objects.filter(action="claim_place").order_by("id")
    assert [entry.subject for entry in told] == ["member finn", f"place 1 of workshop {day.made['number']}"]
    # Who belongs to the club already stays what they are.
    assert claim(day, 2, day.keeper.user).json()["role"] == "keeper"
    day.change(day.keepers, joins_as=None)
    problem_of(claim(day, 3, AccountFactory.create()), 409)


def test_a_guest_owns_no_camera(day: Day) -> None:
    day.change(day.keepers, joins_as="guest")
    day.phone(1).note()
    day.close()
    user = AccountFactory.create()
    told = claim(day, 1, user).json()
    assert (told["role"], told["owned"], told["exposures"]) == ("guest", False, 1)
    assert Camera.objects.get().owner is None
    assert ExposureLog.objects.get().member == user


def test_a_camera_that_somebody_has_by_now_stays_theirs(day: Day) -> None:
    day.phone(1).note()
    code = day.close().json()["cameras"][0]["code"]
    body = {"owner": day.leader.user.get_username()}
    assert day.keepers.patch(f"{day.club_at}cameras/{code}/", body, headers=ANY).status_code == 200
    told = claim(day, 1, day.member.user).json()
    assert (told["camera"], told["owned"], told["exposures"]) == (code, False, 1)
    assert Camera.objects.get().owner == day.leader.user


def test_a_withdrawn_code_claims_nothing(day: Day) -> None:
    phone = day.phone(1, day.member.user)
    day.client.delete(day.at + "places/1/code/", headers=ANY)
    problem_of(phone.client.post(phone.at + "claim/", {}), 404)
    assert day.place(1).user is None


def test_claiming_takes_no_words(day: Day) -> None:
    phone = day.phone(1, day.member.user)
    assert faults_in(phone.client.post(phone.at + "claim/", {"username": "keeper"})) == {("/username", "unknown_key")}
    assert phone.client.post(phone.at + "claim/").status_code == 200


def test_a_place_where_nothing_was_made_can_be_claimed_after_closing(day: Day) -> None:
    day.close()
    assert claim(day, 1, day.member.user).json()["camera"] is None
    assert day.place(1).user == day.member.user


def test_ones_own_logs_elsewhere_are_left_alone(day: Day) -> None:
    """A claimed log joins the cell of its own camera, and no other."""
    other = MembershipFactory.create(club=day.club)
    day.phone(1).client.post(day.phone(1).at + "exposures/", PLACES["exposures/"])
    code = day.close().json()["cameras"][0]["code"]
    body = CLUB["exposures/"] | {"camera": code, "paper": str(day.paper.pk), "visibility": "club"}
    for user, last in ((day.member.user, "a"), (other.user, "b")):
        sent = day.as_user(user).post(day.club_at + "exposures/", body | {"id": body["id"][:-1] + last})
        assert sent.status_code == 201, sent.content
    claim(day, 1, day.member.user)
    assert cells_are_the_logs()
    assert sorted(EvidenceCell.objects.values_list("member__username", "logs")) == sorted(
        [(day.member.user.get_username(), 2), (other.user.get_username(), 1)]
    )


# -------------------------------------------------------------------------------------------------- one's own data


def test_ones_places_are_among_ones_own_data(day: Day) -> None:
    claim(day, 1, day.member.user)
    phone = day.phone(1)
    phone.named("Finn")
    phone.hole()
    noted = phone.note().json()
    day.phone(2).note()
    client, at = day.as_user(day.member.user), "/api/v1/accounts/me/data/"
    [place] = client.get(at).json()["parts"]["places"]
    assert (place["club"], place["workshop"], place["number"], place["name"]) == ("marsh", "Saltmarsh day", 1, "Finn")
    assert place["hole"] == phone.get()["hole"]
    assert place["exposures"] == [noted]
    assert phone.code not in client.get(at).content.decode()
    assert day.keepers.get(at).json()["parts"]["places"] == []
    counts = []
    for number in (2, 3):
        phone = day.phone(number, day.member.user)
        phone.client.post(phone.at + "claim/", {})
        with Statements() as ran:
            assert len(client.get(at).json()["parts"]["places"]) == number
        counts.append(ran.count)
    assert counts[0] == counts[1]


@pytest.mark.parametrize("closed", [False, True])
def test_a_deleted_account_leaves_what_was_made_and_no_name(day: Day, closed: bool) -> None:
    user = day.member.user
    user.set_password(PASSWORD)
    user.save()
    claim(day, 1, user)
    day.phone(1).named("Finn")
    day.phone(1).note(result={"judged_stops": 0})
    if closed:
        day.close()
    deleted = day.as_user(user).post("/api/v1/accounts/me/deletion/", {"password": PASSWORD})
    assert deleted.status_code == 200, deleted.content
    place = day.place(1)
    assert (place.user, place.name, place.exposures.count()) == (None, "", 1)
    if not closed:
        assert day.close().json()["exposures"] == 1
    assert ExposureLog.objects.get().author in {None, "somebody without an account"}
    assert cells_are_the_logs()
