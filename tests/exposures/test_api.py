"""Papers, the shared log, what it says of a paper, and the time it recommends."""

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from clubs.models import CameraSpec
from exposures.models import ExposureLog, Paper
from tests.bodies import CLUB
from tests.factories import CameraSpecFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in, problem_of

LOG_KEYS = {
    "id", "camera", "spec", "paper", "member", "without_account", "taken_at", "reading", "ev100", "filter_stops",
    "f_number", "exposure_index", "indicated_time", "exposure_time", "result", "result_stops", "grade", "process",
    "note", "place", "visibility", "shared", "corrects", "corrected_by", "reason", "picture", "revision",
}  # fmt: skip


# --------------------------------------------------------------------------------------------------------- log


def test_logging_an_exposure(here: Any) -> None:
    sent = CLUB["exposures/"] | {"paper": str(here.paper.id), "reading": {"time": "1/60 s", "f_number": 16}}
    entry = here.client.post(here.at + "exposures/", sent).json()
    assert entry.keys() == LOG_KEYS
    same = ("id", "camera", "paper", "taken_at", "reading", "filter_stops", "result", "note", "visibility")
    assert {key: entry[key] for key in same} == {key: sent[key] for key in same}
    assert entry["exposure_time"] == {"value": 200.0, "unit": "s", "text": "3 min 20 s"}
    assert (entry["spec"], entry["f_number"], entry["exposure_index"]) == (1, here.spec.f_number, 6.0)
    assert entry["member"] == here.member.user.get_username()
    # t = N²/(2^EV·EI/100), twice that through a filter of one stop; EV = log₂(16²·60)
    indicated = here.spec.f_number**2 / (16**2 * 60 * 0.06) * 2
    assert entry["indicated_time"]["value"] == pytest.approx(indicated, rel=1e-12)
    assert here.client.get(f"{here.at}exposures/{entry['id']}/").json() == entry
    assert here.client.get(here.at + "exposures/").json()["results"] == [entry]


def test_what_was_typed_is_kept(here: Any) -> None:
    entry = here.log(reading={"illuminance": "32 klx"}, exposure_time={"value": 4, "unit": "min"})
    assert entry["reading"] == {"illuminance": "32 klx"}
    stored = ExposureLog.objects.get(id=entry["id"])
    assert stored.typed_time == {"value": 4, "unit": "min"}
    assert here.log(exposure_time="3 min  20.5 s")["exposure_time"]["value"] == 200.5
    assert ExposureLog.objects.order_by("number").last().typed_time == "3 min  20.5 s"  # type: ignore[union-attr]


def test_the_spec_in_force_is_the_one_logged(here: Any) -> None:
    """That of the day, also where the entry is written later; the first where it was taken before all of them."""
    then = datetime(2026, 6, 1, tzinfo=UTC)
    CameraSpecFactory.create(camera=here.spec.camera, number=2, hole_diameter_mm=0.3, created_at=then)
    CameraSpec.objects.filter(number=1).update(created_at=then - timedelta(days=30))
    early, before = here.log(taken_at="2026-01-01T12:00:00Z"), here.log(taken_at="2026-05-31T23:59:59Z")
    after = here.log(taken_at="2026-06-01T00:00:00Z")
    assert (early["spec"], before["spec"], after["spec"]) == (1, 1, 2)
    assert after["f_number"] == pytest.approx(before["f_number"] * 0.35 / 0.3)
    assert here.client.get(f"{here.at}exposures/{before['id']}/").json() == before


def test_an_instant_may_come_with_any_offset_but_not_without_one(here: Any) -> None:
    assert here.log(taken_at="2026-05-01T14:00:00+02:00")["taken_at"] == "2026-05-01T12:00:00Z"
    assert here.log(taken_at="2026-05-01T12:00:00.123456Z")["taken_at"] == "2026-05-01T12:00:00.123456Z"
    for wrong, code in (
        ("2026-05-01T12:00:00", "no_offset"), ("2026-05-01", "no_offset"), ("1 May", "invalid"), ("", "invalid"),
        ("1949-12-31T23:59:59Z", "out_of_range"), ("9999-12-31T23:59:59Z", "out_of_range"),
        ("2026-13-01T00:00:00Z", "invalid"),
    ):  # fmt: skip
        response = here.client.post(here.at + "exposures/", here.body(taken_at=wrong))
        assert faults_in(response) == {("/taken_at", code)}, wrong


def test_the_same_entry_again_is_the_same_entry(here: Any) -> None:
    """A phone that got no answer sends again; what is stored is compared, not how it was written."""
    chosen = str(uuid.uuid4())
    facts = {"id": chosen, "result": {"judged_stops": 0.5}, "note": "windy", "filter_stops": 1}
    first = here.log(**facts)
    assert first["id"] == chosen
    assert here.log(200, **facts) == first
    assert here.log(200, **facts | {"id": chosen.upper(), "taken_at": "2026-05-01T14:00:00+02:00"}) == first
    Paper.objects.update(nominal_exposure_index=3)
    CameraSpecFactory.create(camera=here.spec.camera, number=2)
    assert here.log(200, **facts) == first
    assert ExposureLog.objects.count() == 1


@pytest.mark.parametrize(
    "change",
    [
        {"exposure_time": "5 min"}, {"reading": {"ev": 12}}, {"note": "calm"}, {"shared": True}, {"filter_stops": 2},
        {"taken_at": "2026-05-01T12:00:01Z"}, {"result": None}, {"result": {"right_time": "6 min"}},
        {"camera": "T2"}, {"paper": "other"}, {"process": "tray"}, {"exposure_time": "240 s"},
    ],
    ids=str,
)  # fmt: skip
def test_another_entry_under_the_same_id_is_a_conflict(here: Any, change: dict[str, Any]) -> None:
    CameraSpecFactory.create(camera__club=here.club, camera__code="T2")
    facts = {"id": str(uuid.uuid4()), "result": {"judged_stops": 0.5}, "note": "windy", "filter_stops": 1}
    here.log(**facts)
    if "paper" in change:
        change = {"paper": str(PaperFactory.create(club=here.club).id)}
    response = here.client.post(here.at + "exposures/", here.body(**facts | change))
    assert facts["id"] in problem_of(response, 409)["detail"]
    assert ExposureLog.objects.count() == 1


def test_another_persons_id_is_a_conflict_that_tells_nothing(here: Any, as_user: Any) -> None:
    entry = here.log(note="mine")
    for member in (MembershipFactory.create(club=here.club), MembershipFactory.create()):
        body = here.body(id=entry["id"], note="mine")
        if member.club != here.club:
            CameraSpecFactory.create(camera__club=member.club, camera__code="T1")
            body["paper"] = str(PaperFactory.create(club=member.club).id)
        response = as_user(member.user).post(f"/api/v1/clubs/{member.club.slug}/exposures/", body)
        assert problem_of(response, 409).keys() - {"request_id"} == {"type", "title", "status", "detail"}


@pytest.mark.parametrize(
    ("result", "stops", "right_s"),
    [
        (None, None, None),
        ({"judged_stops": 0.5}, 0.5, None),
        ({"judged_stops": -1}, -1.0, None),
        ({"right_time": "6 min"}, None, 360.0),
        # ΔD/(γ·log₁₀ 2): 0.3 of density at a gradient of 2 is 0.15 of log exposure, half a stop
        ({"density": 0.9, "target": 0.6, "gradient": 2}, 0.3 / (2 * np.log10(2)), None),
        ({"density": 0.3, "target": 0.6, "gradient": 1}, -0.3 / np.log10(2), None),
    ],
)
def test_results(here: Any, result: Any, stops: float | None, right_s: float | None) -> None:
    entry = here.log(result=result)
    assert entry["result"] == result
    assert entry["result_stops"] == (stops if stops is None else pytest.approx(stops, rel=1e-12))
    assert ExposureLog.objects.get().right_time_s == right_s


@pytest.mark.parametrize(
    ("result", "status", "fault"),
    [
        ({}, 400, ("/result/judged_stops", "required")),
        ({"judged_stops": 0.5, "right_time": "6 min"}, 400, ("/result/judged_stops", "ambiguous")),
        ({"judged_stops": "+½"}, 400, ("/result/judged_stops", "not_a_number")),
        ({"judged_stops": 15.1}, 400, ("/result/judged_stops", "out_of_range")),
        ({"judged_stops": 0.5, "target": 0.6}, 400, ("/result/target", "unknown_key")),
        ({"right_time": 6}, 400, ("/result/right_time", "unit_missing")),
        ({"density": 0.9}, 400, ("/result/gradient", "required")),
        ({"density": 5, "target": 0, "gradient": 0.05}, 422, ("/result/density", "stops_out_of_range")),
        ({"density": 0.9, "target": 0.6, "gradient": 0}, 400, ("/result/gradient", "out_of_range")),
        ("good", 400, ("/result", "invalid")),
    ],
)
def test_results_that_are_none(here: Any, result: Any, status: int, fault: Any) -> None:
    assert fault in faults_in(here.client.post(here.at + "exposures/", here.body(result=result)), status)


def test_what_is_not_in_the_club_is_a_fault_in_the_body(here: Any) -> None:
    """Also what is in another club: whether it exists is nobody's business."""
    elsewhere = PaperFactory.create()
    CameraSpecFactory.create(camera__code="ELSEWHERE")
    for path in ("exposures/", "recommendation/"):
        for name, value in (("camera", "NONE"), ("camera", "ELSEWHERE"), ("paper", str(elsewhere.id))):
            keys = here.body().keys() if path == "exposures/" else ("camera", "paper", "reading")
            body = {key: here.body()[key] for key in keys}
            response = here.client.post(here.at + path, body | {name: value})
            assert faults_in(response, 422) == {(f"/{name}", f"unknown_{name}")}


def test_an_entry_is_never_changed_in_place(here: Any) -> None:
    entry = here.log()
    for method in ("put", "patch", "delete", "post"):
        problem_of(getattr(here.client, method)(f"{here.at}exposures/{entry['id']}/", {}), 405)
    stored = ExposureLog.objects.get()
    stored.note = "changed"
    with pytest.raises(TypeError, match="never changed"):
        stored.save()
    assert ExposureLog.objects.get().note == ""
    assert str(stored) == "T1 on Glasswort, 2026-05-01"
