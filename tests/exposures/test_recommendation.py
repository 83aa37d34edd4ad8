"""What the log says: the pooled law of a paper, the time it recommends, how sure it is, and why."""

from typing import Any

import numpy as np
import pytest
from rest_framework.test import APIClient

from exposures.models import EvidenceCell, ExposureLog
from exposures.pooled import pooled
from exposures.scopes import camera_key, member_key
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory
from tests.problems import but_for_its_id, faults_in

KEYS = {
    "ev100", "indicated_time", "exposure_time", "interval_50", "interval", "test_strip", "test_strip_plan", "because",
    "flags",
}  # fmt: skip
KNOWN_KEYS = {
    "paper", "evidence", "exposure_index", "exposure_index_interval", "exponent", "exponent_interval", "curve", "flags",
}  # fmt: skip
#: t = N²/(2^EV·EI/100) of a reading of EV 13 with camera T1 and a paper of index 6.
INDICATED_PER_F2 = 1 / (2**13 * 0.06)


def codes(found: dict[str, Any]) -> list[str]:
    assert all(flag.keys() == {"code", "text"} for flag in found["flags"])
    return [flag["code"] for flag in found["flags"]]


def exposure(client: APIClient, here: Any, reciprocity: Any) -> Any:
    body = {"reading": {"ev": 13}, "f_number": here.spec.f_number, "exposure_index": 6, "reciprocity": reciprocity}
    return client.post("/api/v1/optics/exposure/", body)


# -------------------------------------------------------------------------------------------------- recommendation


def test_without_logs_the_nominal_index_is_all_there_is(here: Any) -> None:
    found = here.recommend()
    indicated = here.spec.f_number**2 * INDICATED_PER_F2
    assert found.keys() == KEYS
    assert found["exposure_time"]["value"] == pytest.approx(indicated, rel=1e-12)
    assert found["exposure_time"] == pytest.approx(found["indicated_time"])
    assert found["interval"]["low"]["value"] < indicated / 8
    assert codes(found) == ["no_logs"]
    assert "Nobody has logged this paper" in " ".join(found["because"])


def test_with_logs_the_time_is_the_laws(here: Any) -> None:
    """Logs of many cameras and members that follow a law to the letter: t = (2^-a · indicated)^exponent."""
    here.season(exponent=1.3, offset=0.5)
    found = here.recommend()
    indicated = here.spec.f_number**2 * INDICATED_PER_F2
    assert found["indicated_time"]["value"] == pytest.approx(indicated, rel=1e-12)
    assert found["exposure_time"]["value"] == pytest.approx((indicated * 2**-0.5) ** 1.3, rel=0.02)
    assert "few_logs" not in codes(found)
    because = " ".join(found["because"])
    assert "60 logs of this paper by 4 members with 4 cameras, from 5 s to 50 min, put its index at 8.5" in because
    assert "its exponent at 1.30" in because
    assert found["exposure_time"]["text"] in because
    assert [step["total"] for step in found["test_strip_plan"]] == found["test_strip"]
    assert found["test_strip"][len(found["test_strip"]) // 2]["value"] == pytest.approx(found["exposure_time"]["value"])
    assert found["test_strip"][0]["value"] <= found["interval"]["low"]["value"]
    assert found["test_strip"][-1]["value"] >= found["interval"]["high"]["value"]


def test_the_interval_is_the_models(here: Any) -> None:
    here.season(scatter=0.4)
    found, fit = here.recommend(), pooled(here.club).fit
    line = fit.line("glasswort|graded paper", camera=camera_key(here.spec.pk), member=member_key(here.member.user_id))
    for key, share in (("interval_50", 0.5), ("interval", 0.9)):
        low, high = line.interval_s(found["indicated_time"]["value"], quantile=fit.quantile(share))
        assert (found[key]["low"]["value"], found[key]["high"]["value"]) == pytest.approx((low, high), rel=1e-12)
    inner, outer = found["interval_50"], found["interval"]
    times = [outer["low"], inner["low"], found["exposure_time"], inner["high"], outer["high"]]
    assert [time["value"] for time in times] == sorted(time["value"] for time in times)


def test_a_hole_known_worse_than_cameras_vary_widens_the_interval(here: Any) -> None:
    here.season()
    CameraSpecFactory.create(camera=here.spec.camera, number=2, hole_uncertainty_mm=0.001)
    fresh = here.recommend()
    assert "Nobody has logged this camera" in " ".join(fresh["because"])
    CameraSpecFactory.create(camera=here.spec.camera, number=3, hole_uncertainty_mm=0.2)
    vague = here.recommend()
    assert vague["interval"]["high"]["value"] > 1.2 * fresh["interval"]["high"]["value"]
    CameraSpecFactory.create(camera=here.spec.camera, number=4, hole_uncertainty_mm=20.0)
    found = here.recommend()
    assert (
        found["interval"]["high"] is None or 0 < found["interval"]["low"]["value"] < found["interval"]["high"]["value"]
    )


def test_few_logs_and_logs_elsewhere_are_doubts(here: Any) -> None:
    here.judged(count=3)
    assert set(codes(here.recommend())) == {"few_logs", "confounded"}
    assert {"longer_than_a_day", "few_logs", "extrapolating"} <= set(codes(here.recommend(reading={"ev": 3})))
    [text] = [flag["text"] for flag in here.recommend(reading={"ev": 20})["flags"] if flag["code"] == "extrapolating"]
    assert text.startswith("The logs run from 5 s to 50 min; ")


def test_a_filter_takes_light(here: Any) -> None:
    bare, filtered = here.recommend(), here.recommend(filter_stops=2)
    assert filtered["indicated_time"]["value"] == pytest.approx(4 * bare["indicated_time"]["value"])


def test_a_light_that_no_time_is_long_enough_for(here: Any) -> None:
    here.season()
    body = {"camera": "T1", "paper": str(here.paper.id), "reading": {"ev": -15}, "filter_stops": 30}
    response = here.client.post(here.at + "recommendation/", body)
    assert faults_in(response, 422) == {("/reading", "indicated_time_odd")}


def test_a_paper_nobody_has_logged_leans_on_its_own_family(here: Any) -> None:
    """However its family is written: slower than nominal, as its kin are, and not as the other papers."""
    here.season(offset=1.5)
    film = PaperFactory.create(club=here.club, family="Sheet Film")
    for time in np.geomspace(5, 3000, 24):
        ExposureLogFactory.create(
            spec=here.spec, paper=film, exposure_time_s=time, indicated_time_s=2 ** (np.log2(time) / 1.3 - 1.5)
        )
    kin = PaperFactory.create(club=here.club, name="Unlogged", family="SHEET  film")
    times = {paper: here.recommend(paper=str(paper.id))["exposure_time"]["value"] for paper in (film, kin, here.paper)}
    assert times[kin] == pytest.approx(times[film], rel=0.2)
    assert times[film] > 8 * times[here.paper]


def test_any_reading_will_do(here: Any) -> None:
    """EV 13 at ISO 100 is f/16 at 1/32 s, and 2.5·2^13 lx on a flat receptor (ISO 2720)."""
    times = [
        here.recommend(reading=reading)["exposure_time"]["value"]
        for reading in ({"ev": 14, "iso": 200}, {"time": "1/32 s", "f_number": 16}, {"illuminance": "20480 lx"})
    ]
    assert times == pytest.approx([here.recommend()["exposure_time"]["value"]] * 3)


def test_the_stateless_endpoint_knows_the_paper_but_not_who_asks(here: Any) -> None:
    """The paper's own line: the average camera's and member's."""
    here.season(scatter=0.3)
    asked = exposure(here.client, here, {"paper": str(here.paper.id)}).json()
    line = pooled(here.club).fit.line("glasswort|graded paper")
    assert asked["exposure_time"]["value"] == pytest.approx(line.right_time_s(asked["indicated_time"]["value"]))


# -------------------------------------------------------------------------------------------------------- evidence


def test_three_ways_to_say_it_came_out_half_a_stop_over(here: Any) -> None:
    """Judged, by density, and by the time that would have been right: the first two speak of the time given."""
    here.log(result={"judged_stops": 0.5})
    here.log(result={"density": 0.9, "target": 0.6, "gradient": 0.6 / np.log10(2)})
    here.log(result={"right_time": "3 min"})
    logs = ExposureLog.objects.order_by("number")
    indicated = np.log2(here.spec.f_number**2 * INDICATED_PER_F2 * 6)  # effects count from an index of 1
    assert [log.grade for log in logs] == ["judged", "densitometer", "bracketed"]
    assert [2**log.time_stops for log in logs] == pytest.approx([240.0, 240.0, 180.0])
    assert [log.effect_stops for log in logs] == pytest.approx([indicated + 0.5, indicated + 0.5, indicated])


def test_only_judged_logs_are_evidence(here: Any) -> None:
    here.log()
    here.log(result=None)
    assert not EvidenceCell.objects.exists()
    here.log(result={"judged_stops": 0})
    assert EvidenceCell.objects.get().logs == 1


def test_what_the_logs_say_of_each_paper(here: Any) -> None:
    here.season(exponent=1.25, offset=1.0)
    PaperFactory.create(club=here.club, name="Unlogged", nominal_exposure_index=3)
    PaperFactory.create()
    known, unknown = here.client.get(here.at + "reciprocity/").json()["results"]
    assert known.keys() == unknown.keys() == KNOWN_KEYS
    assert known["paper"]["name"] == "Glasswort"
    evidence = known["evidence"]
    assert (evidence["logs"], evidence["cameras"], evidence["members"]) == (60, 4, 4)
    assert evidence["shortest"]["value"] == pytest.approx(5)
    assert evidence["longest"]["text"] == "50 min"
    assert known["exposure_index"] == pytest.approx(12.0, rel=0.02)
    assert known["exponent"] == pytest.approx(1.25, rel=0.005)
    for key in ("exposure_index", "exponent"):
        assert known[f"{key}_interval"]["low"] < known[key] < known[f"{key}_interval"]["high"]
    assert [row["indicated_time"]["value"] for row in known["curve"]] == [2.0**n for n in range(13)]
    row = known["curve"][6]
    assert row["exposure_time"]["value"] == pytest.approx((64 / 2) ** 1.25, rel=0.02)
    assert row["interval"]["low"]["value"] < row["interval_50"]["low"]["value"] < row["exposure_time"]["value"]
    # Nobody has logged the other: it leans on its family, and is less sure.
    assert unknown["evidence"]["logs"] == 0
    assert unknown["evidence"]["shortest"] is None
    assert unknown["exponent"] == pytest.approx(1.25, rel=0.01)
    wide = unknown["exposure_index_interval"]
    assert unknown["exposure_index"] == pytest.approx(6.0, rel=0.05)
    assert wide["low"] < unknown["exposure_index"] < wide["high"]
    assert "no_logs" in codes(unknown)


def test_a_members_law_and_nobody_elses(here: Any, as_user: Any, api: APIClient) -> None:
    here.judged()
    law = {"paper": str(here.paper.id)}
    guest = MembershipFactory.create(club=here.club, role="guest")
    assert exposure(as_user(guest.user), here, law).status_code == 200
    stranger = as_user(MembershipFactory.create().user)
    refused = [exposure(client, here, law) for client in (api, stranger)]
    refused.append(exposure(here.client, here, {"paper": "00000000-0000-0000-0000-000000000000"}))
    refused.append(exposure(here.client, here, {"paper": "Glasswort"}))
    for response in refused:
        assert faults_in(response, 422) == {("/reciprocity/paper", "unknown_paper")}
    assert len({but_for_its_id(response) for response in refused}) == 1  # whether it exists is nobody's business


def test_the_law_by_its_own_key_or_by_name(here: Any) -> None:
    here.judged()
    paper = str(here.paper.id)
    answers = [exposure(here.client, here, law).json() for law in ({"paper": paper}, {"law": "paper", "paper": paper})]
    assert answers[0] == answers[1]
    assert answers[0]["reciprocity_stops"] > 0
    response = exposure(here.client, here, {"paper": paper, "exponent": 1.3})
    assert faults_in(response) == {("/reciprocity/exponent", "unknown_key")}
    assert faults_in(exposure(here.client, here, {"law": "paper"})) == {("/reciprocity/paper", "required")}


def test_the_laws_doubts_come_with_it(here: Any) -> None:
    assert codes(exposure(here.client, here, {"paper": str(here.paper.id)}).json()) == ["no_logs"]


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("exposure-table/", {"f_number": 259, "exposure_index": 6}),
        ("camera-plan/", {"exposure_index": 6, "film_plane": {
            "kind": "flat", "width": "4 in", "height": "5 in", "distance": "61 mm"}}),
        ("exposure-progress/", {"segments": [{"reading": {"ev": 12}, "lasted": "1 min"}], "reading": {"ev": 12},
                                "f_number": 259, "exposure_index": 6}),
    ],
)  # fmt: skip
def test_wherever_a_law_may_be_given(here: Any, api: APIClient, path: str, body: dict[str, Any]) -> None:
    here.judged()
    body = body | {"reciprocity": {"paper": str(here.paper.id)}}
    assert here.client.post("/api/v1/optics/" + path, body).status_code == 200
    assert faults_in(api.post("/api/v1/optics/" + path, body), 422) == {("/reciprocity/paper", "unknown_paper")}
