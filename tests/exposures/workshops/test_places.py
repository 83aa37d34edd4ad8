"""A place by its claim code: what it shows, what may be changed, and that nothing else is opened by it."""

import re
from collections import Counter
from typing import Any

import numpy as np
import pytest
from django.urls import get_resolver
from rest_framework.test import APIClient

from exposures.workshops.codes import CODE_LENGTH, new_claim_code, read_code, shown_code
from tests.bodies import PLACES
from tests.clubs.test_api import routes
from tests.exposures.workshops.conftest import ANY, Day
from tests.pinpool.test_refusals import check_missing_keys, check_unknown_keys, check_wrong_types
from tests.problems import but_for_its_id, faults_in, problem_of

NEVER = "ACDEFGHJKMNPQR"


# ------------------------------------------------------------------------------------------------------- codes


def test_a_code_is_read_in_any_spelling() -> None:
    code = new_claim_code()
    assert len(code) == CODE_LENGTH
    for text in (
        code,
        code.lower(),
        shown_code(code),
        f" {code[:3]} {code[3:7]} – {code[7:]}\n",
        shown_code(code).lower(),
    ):
        assert read_code(text) == code
    for text in (
        "",
        code[:-1],
        code + "A",
        code[:-1] + "0",
        code[:-1] + "\u212a",
        code[:-1] + "ſ",
        "A" * 10**6,
        code + "\0",
    ):
        assert read_code(text) is None


def test_codes_differ_and_use_every_letter_alike() -> None:
    """63 bits: log₂ 23^14. Of 2000 codes each letter has its share within five standard deviations of a binomial."""
    codes = {new_claim_code() for _ in range(2000)}
    assert len(codes) == 2000
    counts = Counter("".join(codes))
    share = 28_000 / 23
    assert all(abs(counts[letter] - share) < 5 * (share * 22 / 23) ** 0.5 for letter in "34679ACDEFGHJKMNPQRTWXY")


@pytest.mark.parametrize("spelt", [str.lower, shown_code, lambda code: f"{code[:4]}%20{code[4:]}"])
def test_the_address_takes_any_spelling(day: Day, spelt: Any) -> None:
    assert APIClient().get(f"/api/v1/places/{spelt(day.place(1).code)}/").json()["number"] == 1


def wrong_codes(day: Day) -> dict[str, str]:
    """Codes that open nothing, and why."""
    day.client.delete(day.at + "places/2/code/", headers=ANY)
    old = day.place(3).code
    day.client.post(day.at + "places/3/code/", {}, headers=ANY)
    near = day.place(1).code
    return {"withdrawn": day.place(2).code, "replaced": old, "never": NEVER, "short": "ACDE", "letters": "0" * 14,
            "one off": near[:-1] + ("3" if near[-1] != "3" else "4"), "long": "A" * 500,
            "odd": "%00%F0%9F%98%80"}  # fmt: skip


def test_what_opens_nothing_is_answered_alike_to_the_byte(day: Day, settings: Any) -> None:
    """On every route and with every method, with and without a body, whatever the reason."""
    settings.PINPOOL = {"PLACE_TRIES_PER_ADDRESS": (10_000, 900)}
    told: dict[Any, set[Any]] = {}
    for code in wrong_codes(day).values():
        for route, view in place_routes():
            at = "/" + route.replace("<str:claim_code>", code).replace("<uuid:id>", PLACES["exposures/"]["id"])
            client = day.client if "claim/" in route else APIClient()
            for method in view.cls().operations:
                form = {"format": "multipart" if "scan" in route else "json"} if method != "GET" else {}
                for body in ({}, {"name": 5, "colour": 1}):
                    response = getattr(client, method.lower())(at, body if form else {}, **form)
                    seen = (response.status_code, but_for_its_id(response))
                    headers = tuple(sorted(each for each in response.headers.items() if each[0] != "X-Request-ID"))
                    told.setdefault((route, method), set()).add((*seen, headers))
                    told.setdefault("everywhere", set()).add(seen)
    assert {key: seen for key, seen in told.items() if len(seen) > 1} == {}
    assert next(iter(told["everywhere"]))[0] == 404


def place_routes() -> list[tuple[str, Any]]:
    return [(route, view) for route, view in routes(get_resolver()) if route.startswith("api/v1/places/")]


def test_guessing_soon_has_to_wait_and_success_never(day: Day, settings: Any) -> None:
    settings.PINPOOL = {"PLACE_TRIES_PER_ADDRESS": (3, 10**9)}
    phone = day.phone(1)
    for _ in range(10):
        phone.get()
    for _ in range(3):
        problem_of(APIClient().get(f"/api/v1/places/{NEVER}/"), 404)
    refused = phone.client.get(phone.at)
    assert int(refused["Retry-After"]) > 0
    problem_of(refused, 429)  # or trying would tell a right code from a wrong one
    wrong = APIClient().get(f"/api/v1/places/{NEVER}/")
    said, refusal = (re.sub(rb"\d+ seconds", b"", but_for_its_id(each)) for each in (wrong, refused))
    assert said == refusal
    assert phone.client.get(phone.at, REMOTE_ADDR="192.0.2.7").status_code == 200


def test_a_code_opens_its_own_place_and_nothing_else(day: Day, settings: Any) -> None:
    """Every call of the service with a code in each place of its address, by nobody: only its own place is there."""
    settings.PINPOOL = {"PLACE_TRIES_PER_ADDRESS": (10_000, 900), "INVITATION_TRIES_PER_ADDRESS": (10_000, 900)}
    code, other = day.place(1).code, day.phone(2)
    note = other.note().json()
    opened = set()
    for route, view in routes(get_resolver()):
        if not route.startswith("api/v1/") or not re.search("<(str|slug):", route):
            continue
        at = re.sub(r"<(str|slug):\w+>", code, route)
        at = "/" + re.sub(r"<uuid:\w+>", note["id"], re.sub(r"<int:\w+>", "1", at))
        for method in view.cls().operations:
            for spelt in (at, at.replace(code, shown_code(code)), at.replace(code, code.lower())):
                response = getattr(APIClient(), method.lower())(
                    spelt, {}, **({} if method == "GET" else {"format": "json"})
                )
                if response.status_code not in {401, 404}:
                    opened.add((route.removeprefix("api/v1/places/<str:claim_code>/"), method, response.status_code))
    assert opened == {
        ("", "GET", 200), ("", "PATCH", 428), ("hole/", "PUT", 428), ("hole-scan/", "POST", 428),
        ("exposure-table/", "GET", 409), ("exposures/", "GET", 200), ("exposures/", "POST", 400),
        ("exposures/<uuid:id>/", "PATCH", 428),  # which is asked for before any entry is looked up
    }  # fmt: skip
    mine = day.phone(1)
    assert mine.get("exposures/")["results"] == []
    problem_of(mine.client.get(f"{mine.at}exposures/{note['id']}/"), 404)
    problem_of(mine.client.patch(f"{mine.at}exposures/{note['id']}/", {"note": "mine"}, headers=ANY), 404)
    seen = mine.client.get(mine.at).content.decode()
    for told in (day.club.name, day.leader.user.get_username(), other.code):
        assert told not in seen


class Sends:
    """A phone's client that sends every body by one method."""

    def __init__(self, method: str) -> None:
        self.method, self.client = method, APIClient()
        self.client.default_format = "json"

    def post(self, address: str, body: Any) -> Any:
        return getattr(self.client, self.method)(address, body, headers=ANY)


@pytest.mark.parametrize(
    ("path", "method"), [("", "patch"), ("hole/", "put"), ("exposures/", "post"), ("exposures/<uuid:id>/", "patch")]
)
def test_bodies_bent_everywhere(day: Day, settings: Any, path: str, method: str) -> None:
    settings.PINPOOL = {"CHANGES_PER_PLACE": (10_000, 900)}
    phone = day.phone(1)
    at = phone.at + path.replace("<uuid:id>", phone.note().json()["id"])
    body = {name: value for name, value in PLACES[path].items() if name != "id"}
    for check in (check_wrong_types, check_unknown_keys, check_missing_keys):
        check(Sends(method), at, body)


# ------------------------------------------------------------------------------------------------------- place


def test_what_a_place_shows(day: Day) -> None:
    phone = day.phone(1)
    found = phone.get()
    assert found.keys() == {
        "workshop", "held_on", "closed", "number", "name", "paper", "design", "claimed", "camera", "hole", "f_number",
        "f_number_uncertainty", "revision",
    }  # fmt: skip
    assert (found["workshop"], found["held_on"], found["number"]) == ("Saltmarsh day", "2026-06-20", 1)
    assert (found["hole"], found["f_number"], found["closed"], found["claimed"]) == (None, None, False, False)
    design = found["design"]
    assert design["film_plane"]["kind"] == "drum"
    assert design["hole_diameter"] == {"value": 0.35, "unit": "mm"}
    assert design["f_number"] == pytest.approx(day.design.focal_length_mm / 0.35)
    # The hole is on the drum's own wall: it sees the film under half of the angle that the drum's middle does.
    assert design["field_of_view"]["horizontal"]["value"] == pytest.approx(np.rad2deg(150 / 50 / 2))
    assert phone.client.get(phone.at + "?lengths=in").json()["design"]["hole_diameter"]["unit"] == "in"
    told = phone.client.get(phone.at)
    assert phone.client.get(phone.at, headers={"If-None-Match": told["ETag"]}).status_code == 304


def test_when_it_was_opened_is_kept(day: Day) -> None:
    assert day.places()[0]["opened_at"] is None
    day.phone(1).get()
    first = day.places()[0]["opened_at"]
    assert first is not None
    day.phone(1).get()
    assert day.places()[0]["opened_at"] == first
    assert day.places()[1]["opened_at"] is None


def test_a_change_of_the_workshop_is_a_change_of_its_places(day: Day) -> None:
    phone = day.phone(1)
    tag = phone.client.get(phone.at)["ETag"]
    day.change(stations=4)
    assert phone.client.get(phone.at)["ETag"] == tag
    day.change(name="Evening")
    response = phone.client.get(phone.at, headers={"If-None-Match": tag})
    assert (response.status_code, response.json()["workshop"]) == (200, "Evening")


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "Åse “Fen” O'Malley", "=1+1", "👩‍🔬", ""])
def test_a_name_is_plain_text(day: Day, name: str) -> None:
    phone = day.phone(1)
    problem_of(phone.client.patch(phone.at, {"name": name}), 428)
    assert phone.named(name).json()["name"] == name
    assert phone.get()["name"] == name
    assert day.places()[0]["name"] == name


@pytest.mark.parametrize("name", ["a\x07b", "a\nb", "a\x7fb", "a\u202eb", "a\u2066b", "a\u2028b", "a\x85b"])
def test_names_with_control_characters(day: Day, name: str) -> None:
    assert faults_in(day.phone(1).named(name)) == {("/name", "control_character")}


def test_a_name_has_sixty_characters(day: Day) -> None:
    phone = day.phone(1)
    assert phone.named("ä" * 60).status_code == 200
    assert faults_in(phone.named("ä" * 61)) == {("/name", "max_length")}
    for body in ({"number": 7}, {"code": NEVER}, {"user": 1}, {"name": "x", "revision": 9}):
        faults = faults_in(phone.client.patch(phone.at, body, headers=ANY))
        assert "unknown_key" in {code for _, code in faults}


def test_two_phones_at_one_place_lose_nothing(day: Day) -> None:
    one, other = day.phone(1), day.phone(1)
    tag = {"If-Match": one.client.get(one.at)["ETag"]}
    assert one.client.patch(one.at, {"name": "Finn"}, headers=tag).status_code == 200
    problem_of(other.client.patch(other.at, {"name": "Åse"}, headers=tag), 412)
    assert day.place(1).name == "Finn"


def test_nobody_fills_the_trail(day: Day, settings: Any) -> None:
    settings.PINPOOL = {"CHANGES_PER_PLACE": (3, 10**9)}
    phone = day.phone(1)
    assert [phone.named(name).status_code for name in "abc"] == [200] * 3
    problem_of(phone.named("d"), 429)
    problem_of(phone.hole(), 429)
    note = phone.note().json()
    problem_of(phone.client.patch(f"{phone.at}exposures/{note['id']}/", {"note": "x"}, headers=ANY), 429)
    assert day.phone(2).named("d").status_code == 200
    assert phone.get()["name"] == "c"
