"""The results of all places side by side, beside what the club would have given."""

from typing import Any

import numpy as np
import pytest

from tests.exposures.workshops.conftest import Day
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory
from tests.problems import problem_of


def results(day: Day, query: str = "") -> list[Any]:
    response = day.as_user(day.member.user).get(day.at + "results/" + query)
    assert response.status_code == 200, response.content
    return response.json()["results"]


def logged(day: Day, exponent: float = 1.25) -> None:
    """Logs that follow t = indicated^exponent exactly, each by another member with another camera."""
    for time in np.geomspace(2, 4000, 40):
        member, spec = MembershipFactory.create(club=day.club), CameraSpecFactory.create(camera__club=day.club)
        facts = {"exposure_time_s": float(time), "indicated_time_s": float(time ** (1 / exponent))}
        ExposureLogFactory.create(spec=spec, paper=day.paper, member=member.user, **facts)


def test_guests_and_strangers_see_none(day: Day) -> None:
    problem_of(day.as_user(MembershipFactory.create(club=day.club, role="guest").user).get(day.at + "results/"), 403)
    problem_of(day.as_user().get(day.at + "results/"), 404)


def test_every_place_beside_the_clubs_time(day: Day) -> None:
    """An exact power law: t = N²/(2^EV·index/100) raised to 1.25, and what is given and judged against it."""
    logged(day)
    for number, diameter in ((1, "0.35 mm"), (2, "0.495 mm")):
        phone = day.phone(number)
        phone.hole(diameter)
        phone.named(f"<b>{number}</b>")
        phone.note(exposure_time="4 min", result={"judged_stops": -0.5})
    day.phone(3).note(exposure_time="4 min")  # by the plan's hole, and not judged
    plan, wide, own = results(day)
    assert [each["place"] for each in (own, wide, plan)] == [1, 2, 3]
    assert own["name"] == "<b>1</b>"
    n = day.design.focal_length_mm / 0.35
    assert (own["f_number"], plan["f_number"]) == (pytest.approx(n), pytest.approx(n))
    indicated = n**2 / (2**13 * 0.06)
    assert own["indicated_time"]["value"] == pytest.approx(indicated)
    assert own["recommended_time"]["value"] == pytest.approx(indicated**1.25, rel=0.02)
    given = np.log2(240) / 1.25 - np.log2(indicated)  # in effect, which grows as the time to 1/1.25
    assert own["given_stops"] == pytest.approx(given, abs=0.03)
    assert own["off_stops"] == pytest.approx(-0.5 - given, abs=0.03)
    assert wide["given_stops"] == pytest.approx(own["given_stops"] + 1, abs=0.01)  # √2 as wide: a stop more light
    assert (plan["off_stops"], plan["exposure"]["result"]) == (None, None)
    assert own["exposure"]["exposure_time"]["text"] == "4 min"


def test_a_right_time_and_a_judgement_that_mean_the_same_agree(day: Day) -> None:
    logged(day)
    phone = day.phone(1)
    phone.hole()
    phone.note(exposure_time="100 s", result={"right_time": "200 s"})
    # A right time twice as long is 1/1.25 stop under, by the law.
    phone.note(exposure_time="100 s", result={"judged_stops": -0.8})
    judged, bracketed = results(day)
    assert judged["off_stops"] == pytest.approx(bracketed["off_stops"], abs=0.02)


def test_a_data_sheet_stands_in_while_nobody_has_logged(day: Day) -> None:
    day.paper.published_rows_s = [[1.0, 1.0], [10.0, 20.0], [100.0, 400.0]]
    day.paper.published_typed, day.paper.published_source = [], "an invented sheet"
    day.paper.save()
    phone = day.phone(1)
    phone.hole()
    phone.note(reading={"ev": 15}, exposure_time="20 s", result={"judged_stops": 0})
    [found] = results(day)
    # The table makes 20 s right for 10 s indicated.
    assert found["given_stops"] == pytest.approx(np.log2(10 / found["indicated_time"]["value"]), abs=1e-3)
    assert found["off_stops"] == pytest.approx(-found["given_stops"])
    table = phone.get("exposure-table/")
    assert "an invented sheet" in table["because"][1]
    assert "published_law" in {flag["code"] for flag in table["flags"]}


def test_logs_that_contradict_each_other_give_no_time(day: Day) -> None:
    for time in np.geomspace(2, 4000, 12):
        member, spec = MembershipFactory.create(club=day.club), CameraSpecFactory.create(camera__club=day.club)
        facts = {"exposure_time_s": float(time), "indicated_time_s": float(time**-2.0)}
        ExposureLogFactory.create(spec=spec, paper=day.paper, member=member.user, **facts)
    phone = day.phone(1)
    phone.hole()
    phone.note(result={"judged_stops": 1})
    [found] = results(day)
    assert (found["recommended_time"], found["given_stops"], found["off_stops"]) == (None, None, None)
    assert phone.get("exposure-table/")["rows"][-1]["exposure_time"] is None


def test_page_by_page(day: Day) -> None:
    for number in (1, 2, 3):
        day.phone(number).note()
    client = day.as_user(day.member.user)
    page = client.get(day.at + "results/?page_size=2").json()
    assert [each["place"] for each in page["results"]] == [3, 2]
    assert [each["place"] for each in client.get(page["next"]).json()["results"]] == [1]


@pytest.mark.parametrize("published", [False, True])
def test_exposures_at_the_edge_of_what_may_be_told(day: Day, published: bool) -> None:
    """The darkest light behind the strongest filter, the shortest and the longest time: each is answered and logged."""
    if published:
        day.paper.published_rows_s, day.paper.published_typed = [[1.0, 1.0], [2.0, 10.0]], []
        day.paper.save()
    else:
        logged(day)
    phone = day.phone(1)
    phone.hole("0.005 mm")
    for ev in (-20, 30):
        for time in ({"value": 1e-6, "unit": "s"}, {"value": 3.2e8, "unit": "s"}):
            told = {"reading": {"ev": ev}, "exposure_time": time, "filter_stops": 30 if ev < 0 else 0}
            assert phone.note(**told, result={"right_time": time}).status_code == 201
            assert phone.note(**told, result={"judged_stops": 15}).status_code == 201
    assert len(results(day)) == 8
    assert day.close().json()["exposures"] == 8
    assert len(results(day)) == 8
