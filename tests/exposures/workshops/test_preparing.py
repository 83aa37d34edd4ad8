"""What a leader prepares: cutting, times and queues against where they are reckoned, the day block by block."""

import itertools
import math
from datetime import datetime, time, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exposures.darkroom import queue_for, steps_of
from exposures.workshops.day import ROUNDED_TO_S, order_of_day
from exposures.workshops.preparing import Asked, prepare
from optics import contributed
from optics.core.sheet_cuts import cut_sheet
from tests.factories import DesignFactory, MembershipFactory, PlaceFactory, WorkshopFactory
from tests.problems import faults_in, problem_of

PROCESS = {"time_s": 90.0, "dilution": "1+9", "volume_ml": 500.0, "method": "tray", "typed": {}}


@pytest.fixture
def workshop(here: Any) -> Any:
    """Twelve places at two stations, on a drum's 150 × 80 mm."""
    design = DesignFactory.create(club=here.club)
    facts = {"design": design, "paper": here.paper, "process": PROCESS, "stations": 2}
    made = WorkshopFactory.create(club=here.club, **facts)
    for _ in range(12):
        PlaceFactory.create(workshop=made)
    return made


def asked(here: Any, workshop: Any, query: str = "", status: int = 200) -> Any:
    response = here.client.get(f"{here.at}workshops/{workshop.pk}/preparation/{query}")
    assert response.status_code == status, response.content
    return response.json()


# ------------------------------------------------------------------------------------------------ against elsewhere


@pytest.mark.parametrize(("sheet", "size"), [("8x10 in", (203.2, 254.0)), ("18x24 cm", (180.0, 240.0))])
def test_the_cuts_are_those_of_the_core(here: Any, workshop: Any, sheet: str, size: tuple[float, float]) -> None:
    found = asked(here, workshop, f"?sheet={sheet.replace(' ', '+')}&negatives_per_place=3&spares=5")["paper"]
    cuts = cut_sheet(sheet_width_mm=size[0], sheet_height_mm=size[1], piece_width_mm=150.0, piece_height_mm=80.0)
    assert found["negatives_per_sheet"] == cuts.count == len(found["cuts"]["pieces"])
    assert [cut["text"] for cut in found["cuts"]["cuts"]] == [cut.text for cut in cuts.cuts]
    assert (found["negatives"], found["spares"]) == (36, 5)
    assert found["sheets"] == math.ceil(41 / cuts.count)
    assert found["negative"] == {
        side: {"value": value, "unit": "mm"} for side, value in (("width", 150), ("height", 80))
    }


def test_the_exposure_is_the_recommended_one(here: Any, as_user: Any, workshop: Any) -> None:
    """Of a camera and a member that nobody has logged, to whom a fresh camera of the planned hole is as good."""
    here.season(scatter=0.3)
    client = as_user(MembershipFactory.create(club=here.club).user)
    typed = {"kind": "drum", "height": "80 mm", "diameter": "100 mm", "length": "150 mm"}
    spec = {"film_plane": typed, "hole": {"diameter": "0.35 mm"}}
    made = here.client.post(here.at + "cameras/", {"code": "NEW", "name": "New", "spec": spec})
    assert made.status_code == 201, made.content
    for reading in (9, 13, 15.5):
        body = {"camera": "NEW", "paper": str(here.paper.id), "reading": {"ev": reading}}
        told = client.post(here.at + "recommendation/", body).json()["exposure_time"]
        found = asked(here, workshop, f"?ev100={reading}")
        assert found["exposure_time"]["value"] == pytest.approx(told["value"], rel=1e-9)


def test_the_queue_is_that_of_the_darkroom(here: Any, workshop: Any) -> None:
    """48 negatives at two stations: 24 each, the first after 220 s at the quickest, then one every 105 s."""
    found = asked(here, workshop)["darkroom"]
    assert found["queue"]["loads_per_station"] == 24
    assert found["queue"]["total"]["shortest"]["value"] == 220 + 23 * 105
    assert found["round"]["total"]["shortest"]["value"] == 220 + 5 * 105
    workshop.process = PROCESS | {"method": "tank"}
    workshop.save()
    tank = asked(here, workshop, "?together=4")["darkroom"]["queue"]
    reckoned = queue_for(steps_of(PROCESS), negatives=48, stations=2, together=4, one_vessel=True)
    assert tank["total"]["longest"]["value"] == reckoned.total_s[1] == 6 * reckoned.each_s[1]


def test_chemistry_by_area(here: Any, workshop: Any) -> None:
    """53 negatives of 0.012 m², 27 at a station: 0.5 l at 0.1 m² a litre takes 4, so it is made up seven times."""
    developer = asked(here, workshop, "?capacity=0.1")["darkroom"]["baths"][0]
    assert (developer["good_for"], developer["fillings"], developer["total_ml"]) == (4, 7, 7000)
    assert developer["mixes"] == [{"dilution": "1+9", "concentrate_ml": 700, "water_ml": 6300}]


# ------------------------------------------------------------------------------------------------ the day


def clock(text: str) -> datetime:
    return datetime.fromisoformat(text)


@pytest.mark.parametrize("query", ["", "?starts=23:15&negatives_per_place=9", "?building=3+h&ev100=8"])
def test_the_day_leaves_nothing_out(here: Any, workshop: Any, query: str) -> None:
    """Blocks follow each other without a gap, on full five minutes, each long enough, and every round has its three."""
    here.season()
    found = asked(here, workshop, query)
    blocks = found["day"]
    assert clock(blocks[0]["starts"]).time() == (time(23, 15) if "starts" in query else time(10, 0))
    for one, other in itertools.pairwise(blocks):
        assert one["ends"] == other["starts"]
    for block in blocks:
        lasts = clock(block["ends"]) - clock(block["starts"])
        assert timedelta(0) <= lasts - timedelta(seconds=block["lasts"]["value"]) < timedelta(minutes=5)
        assert lasts.total_seconds() % ROUNDED_TO_S == 0
    rounds = found["negatives_per_place"]
    for what in ("loading", "exposing", "developing"):
        assert sum(block["what"] == what for block in blocks) == rounds
    assert [block["what"] for block in blocks[:3]] == ["welcome", "building", "hole"]
    assert blocks[-1]["what"] == "tidying"
    exposing = next(block for block in blocks if block["what"] == "exposing")
    assert exposing["lasts"]["value"] == pytest.approx(600 + found["exposure_time"]["value"])


def test_nobody_works_more_than_three_hours_and_a_round(here: Any, workshop: Any) -> None:
    blocks = asked(here, workshop, "?negatives_per_place=12")["day"]
    pauses = [block for block in blocks if block["what"] == "pause"]
    assert len(pauses) >= 2
    assert "long_day" in {flag["code"] for flag in asked(here, workshop, "?negatives_per_place=12")["flags"]}


def test_how_long_each_block_lasts(here: Any, workshop: Any) -> None:
    """Twelve places load at two stations, 2 min each; the darkroom at its slowest; 4 min of wash and 30 of tidying."""
    found = asked(here, workshop)
    lasts = {block["what"]: block["lasts"]["value"] for block in found["day"]}
    assert lasts["loading"] == 6 * 120
    assert lasts["developing"] == found["darkroom"]["round"]["total"]["longest"]["value"]
    assert lasts["tidying"] == 240 + 1800
    assert lasts["building"] == 3600
    odd = asked(here, workshop, "?building=17+min")["day"][1]
    assert (odd["lasts"]["value"], odd["ends"]) == (17 * 60, "2026-05-01T10:35")


def test_a_pause_is_three_hours_from_the_last(here: Any, workshop: Any) -> None:
    """And comes as soon as it can between two rounds."""
    blocks = asked(here, workshop, "?negatives_per_place=12")["day"]
    rested = clock(blocks[0]["starts"])
    for before, block in itertools.pairwise(blocks):
        due = clock(block["starts"]) - rested >= timedelta(hours=3)
        if block["what"] == "pause":
            assert due
            rested = clock(block["ends"])
        elif block["what"] == "loading" and before["what"] != "pause":
            assert not due


def test_more_stations_make_a_shorter_day() -> None:
    ends = []
    for stations in (1, 2, 4, 12):
        facts: dict[str, Any] = {
            "places": 12,
            "rounds": 3,
            "building_s": 3600.0,
            "exposure_s": 240.0,
            "washing_s": 240.0,
        }
        developing = queue_for(steps_of(None), negatives=12, stations=stations).total_s[1]
        starts = clock("2026-05-01T09:00")
        day = order_of_day(starts=starts, stations=stations, developing_s=developing, **facts)
        ends.append(day[-1].ends)
    assert ends == sorted(ends, reverse=True)
    assert ends[0] > ends[-1]


# ------------------------------------------------------------------------------------------------ what else it says


def test_what_to_bring(here: Any, workshop: Any) -> None:
    here.paper.width_mm, here.paper.height_mm, here.paper.sheets_left = 180.0, 240.0, 7
    here.paper.save()
    found = asked(here, workshop)
    bring = {thing["what"]: thing for thing in found["bring"]}
    assert found["paper"]["sheet"]["width"]["value"] == 180
    assert bring["Sheets of Glasswort"]["amount"] == f"{found['paper']['sheets']} of 180 × 240 mm"
    assert found["paper"]["sheets_short"] == found["paper"]["sheets"] - 7
    assert f"so buy {found['paper']['sheets_short']}" in bring["Sheets of Glasswort"]["text"]
    assert bring["Hole plates"]["amount"] == "18"
    assert bring["Opaque tape"]["amount"] == "24 m"
    assert bring["Developer"]["amount"] == "1 l working solution"
    assert bring["Developer"]["text"].startswith("1+9: 100 ml + 900 ml water. 1 filling of 500 ml a station, ")
    assert "Darkroom Cookbook" in bring["Fixer"]["text"]
    assert {flag["code"] for flag in found["flags"]} >= {"paper_short"}
    said = " ".join(found["cautions"])
    for word in ("acid into water", "Needles", "blade", "mains", "silver", "ISO 12312-2"):
        assert word in said


def test_black_paper_by_the_box_that_holds_it(here: Any) -> None:
    """A flat back of 120 × 90 mm, 70 mm behind the hole: 2·(120·70 + 120·90 + 70·90) mm² a place, and a fifth."""
    flat = contributed.film_plane("flat", height_mm=90.0, width_mm=120.0, distance_mm=70.0)
    design = DesignFactory.create(club=here.club, film_plane=contributed.stored(flat))
    workshop = WorkshopFactory.create(club=here.club, design=design, paper=here.paper)
    found = prepare(actor=here.member, workshop=workshop, asked=Asked(), places=10)
    assert found.liner_m2 == pytest.approx(10 * 1.2 * 2 * (120 * 70 + 120 * 90 + 70 * 90) / 1e6)


def test_lengths_in_inches_and_chosen_keys(here: Any, workshop: Any) -> None:
    found = asked(here, workshop, "?lengths=in&fields=paper,flags")
    assert found.keys() == {"paper", "flags"}
    assert found["paper"]["sheet"] == {"width": {"value": 8, "unit": "in"}, "height": {"value": 10, "unit": "in"}}


@pytest.mark.parametrize(("ev100", "none"), [(-10, True), (0, True), (20, False)])
def test_any_light_has_a_day(here: Any, workshop: Any, ev100: int, none: bool) -> None:
    """By night the time would be weeks: the day then has none for it, and says so."""
    here.season()
    found = asked(here, workshop, f"?ev100={ev100}")
    assert (found["exposure_time"] is None) is none
    assert ("no_time" in {flag["code"] for flag in found["flags"]}) is none
    assert found["day"]


# ------------------------------------------------------------------------------------------------ refusals, limits


@pytest.mark.parametrize(
    ("query", "pointer", "code"),
    [
        ("?negatives_per_place=0", "negatives_per_place", "min_value"),
        ("?negatives_per_place=51", "negatives_per_place", "max_value"),
        ("?negatives_per_place=4.0", "negatives_per_place", "invalid"),
        ("?negatives_per_place=%D9%A3", "negatives_per_place", "invalid"),
        ("?spares=-1", "spares", "invalid"),
        ("?starts=24:00", "starts", "invalid"),
        ("?starts=9:30", "starts", "invalid"),
        ("?starts=10:00%0A", "starts", "invalid"),
        ("?ev100=nan", "ev100", "not_a_number"),
        ("?ev100=21", "ev100", "out_of_range"),
        ("?capacity=0", "capacity", "out_of_range"),
        ("?building=90", "building", "unit_missing"),
        ("?sheet=postcard", "sheet", "invalid_choice"),
        ("?seats=4", "seats", "unknown_query"),
    ],
)
def test_what_cannot_be_read_is_refused(here: Any, workshop: Any, query: str, pointer: str, code: str) -> None:
    response = here.client.get(f"{here.at}workshops/{workshop.pk}/preparation/{query}")
    assert faults_in(response, 400) == {(f"/{pointer}", code)}


def test_a_negative_larger_than_the_sheet(here: Any, workshop: Any) -> None:
    response = here.client.get(f"{here.at}workshops/{workshop.pk}/preparation/?sheet=9x12+cm")
    assert faults_in(response, 422) == {("/sheet", "piece_larger_than_sheet")}


def test_a_process_of_ten_years(here: Any, workshop: Any) -> None:
    """What a process may say, once and for 50 rounds of 60 places: a day that no calendar has is refused."""
    workshop.process, workshop.stations = PROCESS | {"time_s": 3.2e8}, 1
    workshop.save()
    for _ in range(48):
        PlaceFactory.create(workshop=workshop)
    assert "long_day" in {flag["code"] for flag in asked(here, workshop, "?negatives_per_place=1")["flags"]}
    at = f"{here.at}workshops/{workshop.pk}/"
    response = here.client.get(at + "preparation/?negatives_per_place=50")
    assert faults_in(response, 422) == {("/negatives_per_place", "no_such_day")}
    response = here.client.post(at + "sheets/", {"kind": "workshop_pack", "negatives_per_place": 50})
    assert faults_in(response, 422) == {("/negatives_per_place", "no_such_day")}


def test_guests_and_strangers(here: Any, as_user: Any, workshop: Any) -> None:
    at = f"{here.at}workshops/{workshop.pk}/preparation/"
    problem_of(as_user(MembershipFactory.create(club=here.club, role="guest").user).get(at), 403)
    problem_of(as_user(MembershipFactory.create(role="keeper").user).get(at), 404)
    problem_of(here.client.get(f"{here.at}workshops/{WorkshopFactory.create().pk}/preparation/"), 404)


def test_as_many_statements_for_sixty_places_as_for_none(here: Any, workshop: Any) -> None:
    here.season()
    counts = []
    for more in (0, 48):
        for _ in range(more):
            PlaceFactory.create(workshop=workshop)
        asked(here, workshop)
        with CaptureQueriesContext(connection) as queries:
            asked(here, workshop)
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 10


def test_a_workshop_without_places(here: Any) -> None:
    workshop = WorkshopFactory.create(club=here.club, paper=here.paper)
    found = asked(here, workshop)
    assert (found["places"], found["paper"]["negatives"], found["paper"]["sheets"]) == (0, 0, 0)
    assert found["darkroom"]["queue"]["total"]["longest"]["value"] == 0
