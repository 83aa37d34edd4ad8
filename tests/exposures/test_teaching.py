"""The next tests, the comparison and the offsets through the API: honest whatever the log holds, and worth reading."""

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from django.utils import timezone

from exposures import teaching
from exposures.pooled import pooled
from exposures.reciprocity import next_tests
from exposures.scopes import camera_key, member_key
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in

READS = (
    "reciprocity/", "reciprocity/cameras/", "reciprocity/members/", "reciprocity/model/", "next-tests/", "doubts/",
    "comparison/?by=camera", "comparison/?by=member", "comparison/?by=paper", "catalogue/", "pool/", "packets/own/",
)  # fmt: skip


def read(here: Any, path: str) -> Any:
    response = here.client.get(here.at + path)
    assert response.status_code == 200, response.content
    return response.json()


@pytest.fixture
def keeper(here: Any) -> Any:
    type(here.member).objects.filter(pk=here.member.pk).update(role="keeper")
    return here


# ------------------------------------------------------------------------------------ whatever the log holds


@pytest.mark.parametrize("logs", [0, 1, 2, 3, 9])
def test_few_logs_one_camera_one_paper_all_at_one_time(keeper: Any, logs: int) -> None:
    """An honest answer from every call, never a 500."""
    for _ in range(logs):
        ExposureLogFactory.create(
            spec=keeper.spec, paper=keeper.paper, member=keeper.member.user, exposure_time_s=100, indicated_time_s=60
        )
    answers = {path: read(keeper, path) for path in READS}
    [paper] = answers["reciprocity/"]["results"]
    flags = {flag["code"] for flag in paper["flags"]}
    assert flags & ({"no_logs"} if logs == 0 else {"few_logs", "confounded", "slope_unknown"})
    if logs:
        assert "slope_unknown" in flags
        assert paper["exponent"] == pytest.approx(1.0)
    found = keeper.recommend()
    assert found["interval"]["low"]["value"] < found["exposure_time"]["value"]
    assert found["interval"]["high"] is None or found["interval"]["high"]["value"] > found["exposure_time"]["value"]
    [test, *_] = answers["next-tests/"]["tests"]
    assert test["after_stops"] < test["before_stops"]
    verdict = answers["comparison/?by=camera"]["verdict"]
    assert verdict == ("There are no logs to compare." if not logs else "There is only one camera: nothing to compare.")


def test_logs_that_contradict_each_other(keeper: Any) -> None:
    """The longer the time, the less it did: no time follows from that, and none is given."""
    for time in np.geomspace(4, 4000, 30):
        ExposureLogFactory.create(
            spec=keeper.spec, paper=keeper.paper, member=keeper.member.user, exposure_time_s=time,
            indicated_time_s=2 ** (8 - 0.5 * np.log2(time)),
        )  # fmt: skip
    for path in READS:
        read(keeper, path)
    found = keeper.recommend(reading={"ev": 8})
    assert found["exposure_time"] is None
    assert found["test_strip"] == []
    assert "slope_odd" in {flag["code"] for flag in found["flags"]}
    assert "they contradict each other" in found["because"][-1]
    body = {"reading": {"ev": 13}, "f_number": 259, "exposure_index": 6, "reciprocity": {"paper": str(keeper.paper.id)}}
    assert faults_in(keeper.client.post("/api/v1/optics/exposure/", body), 422) == {("/reciprocity/paper", "no_law")}


# ------------------------------------------------------------------------------------------------------ next tests


def test_a_paper_nobody_has_logged_comes_first(here: Any) -> None:
    here.season()
    new = PaperFactory.create(club=here.club, name="Samphire 3")
    plan = read(here, "next-tests/?count=5")["tests"]
    assert len(plan) == 5
    assert plan[0]["paper"]["id"] == str(new.id)
    for before, after in pairwise(plan):
        assert after["before_stops"] == pytest.approx(before["after_stops"], rel=1e-9)
    first = plan[0]
    assert first["text"] == (
        f"Load {first['camera']} with Samphire 3, find a light where the meter asks for "
        f"{first['indicated_time']['text']} (about EV {first['ev100']:.0f}), and give {first['exposure_time']['text']}."
    )
    assert all(test["ev100"] <= 15 for test in plan)
    spec = here.club.cameras.get(code=first["camera"]).spec
    indicated = spec.f_number**2 / (2 ** first["ev100"] * 6 / 100)
    assert first["indicated_time"]["value"] == pytest.approx(indicated)


def test_not_with_what_is_retired(here: Any) -> None:
    here.season()
    old = PaperFactory.create(club=here.club, name="Samphire 3", retired_at=timezone.now())
    here.club.cameras.exclude(code="T1").update(retired_at=timezone.now())
    plan = read(here, "next-tests/?count=6")["tests"]
    assert {(test["camera"], test["paper"]["id"]) for test in plan} == {("T1", str(here.paper.id))}
    assert read(here, f"next-tests/?count=1&paper={old.id}")["tests"]  # unless it is asked for


def test_only_on_what_was_asked(here: Any) -> None:
    here.season()
    other = PaperFactory.create(club=here.club)
    plan = read(here, f"next-tests/?camera=t1&paper={here.paper.id}&count=4")["tests"]
    assert {(test["camera"], test["paper"]["id"]) for test in plan} == {("T1", str(here.paper.id))}
    assert len(read(here, f"next-tests/?paper={other.id}")["tests"]) == 3


@pytest.mark.parametrize(
    ("query", "status", "fault"),
    [
        ("count=0", 400, ("/count", "invalid")), ("count=21", 400, ("/count", "invalid")),
        ("count=2.5", 400, ("/count", "invalid")), ("count=٣", 400, ("/count", "invalid")),
        ("camera=NONE", 422, ("/camera", "unknown_camera")),
        ("paper=00000000-0000-0000-0000-000000000000", 422, ("/paper", "unknown_paper")),
        ("paper=glasswort", 400, ("/paper", "invalid")), ("times=3", 400, ("/times", "unknown_query")),
    ],
)  # fmt: skip
def test_what_cannot_be_planned(here: Any, query: str, status: int, fault: tuple[str, str]) -> None:
    assert faults_in(here.client.get(here.at + "next-tests/?" + query), status) == {fault}


def test_a_club_of_very_many_papers_and_cameras(here: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """More than can be weighed against each other: those with the most logs are."""
    here.season()
    for _ in range(5):
        PaperFactory.create(club=here.club)
        CameraSpecFactory.create(camera__club=here.club)
    monkeypatch.setattr(teaching, "MOST_PLANNED_PAPERS", 2)
    monkeypatch.setattr(next_tests, "MOST_CANDIDATES", 4 * 2 * len(next_tests.TEST_TIMES_S))
    tests = read(here, "next-tests/?count=20")["tests"]
    assert len(tests) == 20
    used = set(here.club.cameras.order_by("pk").values_list("code", flat=True)[:4])
    assert {test["camera"] for test in tests} <= used


def test_a_club_without_cameras_or_papers(as_user: Any) -> None:
    member = MembershipFactory.create()
    answer = as_user(member.user).get(f"/api/v1/clubs/{member.club.slug}/next-tests/").json()
    assert answer["tests"] == []


# ------------------------------------------------------------------------------------------- offsets, comparison


def test_a_hole_smaller_than_measured_shows(here: Any) -> None:
    """One camera of four whose negatives get half the light: √½ of the diameter, and its text says so."""
    here.season(scatter=0.2, count=120)
    specs = [camera.spec for camera in here.club.cameras.order_by("pk")]
    odd = CameraSpecFactory.create(camera__club=here.club, camera__code="ODD")
    rng = np.random.default_rng(5)
    for time in np.geomspace(10, 1000, 30):
        effect = 0.5 + np.log2(time) / 1.3 - 1.0 + 0.2 * rng.normal()
        ExposureLogFactory.create(
            spec=odd, paper=here.paper, member=here.member.user, exposure_time_s=time, indicated_time_s=2**effect
        )
    rows = {row["camera"]: row for row in read(here, "reciprocity/cameras/")["results"]}
    assert rows.keys() == {"ODD", *(spec.camera.code for spec in specs)}
    row = rows["ODD"]
    gap = row["offset_stops"] - np.mean([rows[spec.camera.code]["offset_stops"] for spec in specs])
    assert gap == pytest.approx(-1.0, abs=0.15)
    assert row["interval_stops"]["low"] < row["offset_stops"] < row["interval_stops"]["high"] < 0
    assert row["suggested_diameter"]["value"] == pytest.approx(0.35 * 2 ** (row["offset_stops"] / 2))
    assert row["suggested_low"]["value"] < row["suggested_diameter"]["value"] < row["suggested_high"]["value"]
    assert "less light than f/258 promises" in row["text"]
    assert row["text"].endswith("smaller than measured. Measure it again.")
    inches = {each["camera"]: each for each in read(here, "reciprocity/cameras/?lengths=in")["results"]}
    assert inches["ODD"]["hole_diameter"] == {"value": pytest.approx(0.35 / 25.4), "unit": "in"}
    compared = read(here, "comparison/?by=camera")
    assert compared["rows"][-1]["name"] == "ODD #1"
    assert {(pair["other"]) for pair in compared["distinguishable"]} == {"ODD #1"}
    assert compared["pairs"] == 10
    assert "pairs differ by more than their error" in compared["verdict"]


def test_a_hole_measured_anew_starts_anew(here: Any) -> None:
    here.season(scatter=0.2)
    CameraSpecFactory.create(camera=here.spec.camera, number=2, hole_diameter_mm=0.3)
    rows = {row["camera"]: row for row in read(here, "reciprocity/cameras/")["results"]}
    assert (rows["T1"]["spec"], rows["T1"]["evidence"]["logs"], rows["T1"]["offset_stops"]) == (2, 0, 0.0)
    assert rows["T1"]["text"].startswith("Nobody has logged anything with this hole yet")


def test_meter_and_eye_of_each_member(here: Any) -> None:
    here.season(scatter=0.2, count=120)
    biased = MembershipFactory.create(club=here.club, user__username="ursula")
    rng = np.random.default_rng(6)
    specs = [camera.spec for camera in here.club.cameras.order_by("pk")]
    for number, time in enumerate(np.geomspace(10, 1000, 40)):
        effect = 0.5 + np.log2(time) / 1.3 + 0.6 + 0.2 * rng.normal()
        ExposureLogFactory.create(
            spec=specs[number % 4], paper=here.paper, member=biased.user, exposure_time_s=time,
            indicated_time_s=2**effect,
        )  # fmt: skip
    rows = {row["member"]: row for row in read(here, "reciprocity/members/")["results"]}
    assert "results come out" in rows["ursula"]["text"]
    assert "stop over where others' are right" in rows["ursula"]["text"]
    others = [row["offset_stops"] for name, row in rows.items() if name != "ursula"]
    assert rows["ursula"]["offset_stops"] - np.mean(others) == pytest.approx(0.6, abs=0.15)
    fit = pooled(here.club).fit
    offset = fit.offset("member", member_key(biased.user_id))
    assert (rows["ursula"]["offset_stops"], rows["ursula"]["error_stops"]) == (offset.stops, offset.error_stops)


def test_logs_on_one_scale_scatter_about_their_own(here: Any) -> None:
    here.season(scatter=0.3)
    for by, count in (("camera", 4), ("member", 4), ("paper", 1)):
        compared = read(here, f"comparison/?by={by}")
        assert len(compared["rows"]) == count
        assert len(compared["logs"]) == 60
        for row in compared["rows"]:
            mine = [log["off_stops"] for log in compared["logs"] if log["name"] == row["name"]]
            assert abs(np.mean(mine) - row["offset_stops"]) < 0.25
            assert 0.1 < np.std(mine) < 0.6
    assert "can be told from another" in read(here, "comparison/?by=camera")["verdict"]


def test_a_former_member_is_one_without_a_name(here: Any) -> None:
    here.season()
    logs = read(here, "comparison/?by=member")["logs"]
    name = next(log["name"] for log in logs if log["name"] != here.member.user.get_username())
    here.club.memberships.get(user__username=name).user.delete()
    again = read(here, "comparison/?by=member")
    assert {
        log["name"] for log in again["logs"] if log["id"] in {each["id"] for each in logs if each["name"] == name}
    } == {"former member"}


def test_of_very_many_those_with_the_most_logs_are_compared(here: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    here.season()
    for _ in range(3):
        here.log(result={"judged_stops": 0})
    monkeypatch.setattr(teaching, "MOST_COMPARED", 1)
    assert [row["name"] for row in read(here, "comparison/?by=camera")["rows"]] == ["T1 #1"]


def test_logs_of_those_who_left_are_compared_with_nobody(here: Any) -> None:
    here.season()
    here.club.memberships.exclude(pk=here.member.pk).delete()
    rows = read(here, "comparison/?by=member")
    assert [row["name"] for row in rows["rows"]] == [here.member.user.get_username()]
    assert {log["name"] for log in rows["logs"]} == {here.member.user.get_username(), "former member"}


def test_a_comparison_of_nobody(here: Any) -> None:
    """All who logged anything have left."""
    ExposureLogFactory.create(spec=here.spec, paper=here.paper)
    compared = read(here, "comparison/?by=member")
    assert (compared["rows"], compared["verdict"]) == ([], "There are no logs to compare.")
    assert [log["name"] for log in compared["logs"]] == ["former member"]


def test_say_what_to_compare(here: Any) -> None:
    assert faults_in(here.client.get(here.at + "comparison/")) == {("/by", "required")}
    assert faults_in(here.client.get(here.at + "comparison/?by=colour")) == {("/by", "invalid_choice")}


def test_the_camera_of_a_recommendation_is_told_of(here: Any) -> None:
    here.season(scatter=0.2)
    offset = pooled(here.club).fit.offset("camera", camera_key(here.spec.pk))
    [line] = [line for line in here.recommend()["because"] if "This camera" in line]
    assert f"by {offset.evidence.logs} logs" in line
