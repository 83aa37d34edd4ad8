"""What the log says: the pooled law of a paper, the time it recommends, how sure it is, and why."""

from typing import Any

import numpy as np
import pytest
from rest_framework.test import APIClient

from exposures.models import evidence
from exposures.reciprocity.estimate import estimate
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in

KEYS = {"ev100", "indicated_time", "exposure_time", "interval", "test_strip", "test_strip_plan", "because", "flags"}
KNOWN_KEYS = {
    "paper", "logs", "exposure_index", "exponent", "exponent_error", "residual_stops", "shortest", "longest", "flags",
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
    assert found["interval"] is None
    assert codes(found) == ["no_logs"]
    assert "Nobody has logged Glasswort yet" in " ".join(found["because"])


def test_with_logs_the_time_is_the_laws(here: Any) -> None:
    here.judged(exponent=1.3, offset=0.5)
    found = here.recommend()
    indicated = here.spec.f_number**2 * INDICATED_PER_F2
    assert found["indicated_time"]["value"] == pytest.approx(indicated, rel=1e-12)
    assert found["exposure_time"]["value"] == pytest.approx((indicated * 2**-0.5) ** 1.3, rel=1e-6)
    assert codes(found) == []
    because = " ".join(found["because"])
    assert "9 logs of Glasswort, from 5 s to 50 min" in because
    assert "exponent at 1.30 ± 0.02" in because
    assert found["exposure_time"]["text"] in because
    assert [step["total"] for step in found["test_strip_plan"]] == found["test_strip"]
    assert found["test_strip"][2] == found["exposure_time"]


def test_the_interval_is_the_estimates_with_the_holes_own_error(here: Any) -> None:
    rng = np.random.default_rng(1)
    for time in np.geomspace(5, 3000, 12):
        effect = 0.5 + np.log2(time) / 1.3 + 0.4 * rng.standard_normal()
        ExposureLogFactory.create(spec=here.spec, paper=here.paper, exposure_time_s=time, indicated_time_s=2**effect)
    found, pooled = here.recommend(), estimate(*evidence(here.paper))
    hole_stops = 2 / np.log(2) * 0.01 / 0.35  # the factory's hole, JCGM 100:2008 §5.1.2
    expected = pooled.interval(found["indicated_time"]["value"], more_stops=hole_stops)
    interval = found["interval"]
    assert interval.keys() == {"low", "high"}
    assert (interval["low"]["value"], interval["high"]["value"]) == pytest.approx(expected, rel=1e-12)
    assert interval["low"]["value"] < found["exposure_time"]["value"] < interval["high"]["value"]
    assert f"The hole is known to ±{hole_stops:.2f} stop, which is in the interval." in found["because"]
    CameraSpecFactory.create(camera=here.spec.camera, number=2, hole_uncertainty_mm=0.1)
    assert here.recommend()["interval"]["high"]["value"] > interval["high"]["value"]


def test_a_hole_nobody_measured_still_gets_a_time(here: Any) -> None:
    here.judged()
    CameraSpecFactory.create(camera=here.spec.camera, number=2, hole_uncertainty_mm=0)
    assert not any("hole" in line for line in here.recommend()["because"])
    CameraSpecFactory.create(camera=here.spec.camera, number=3, hole_uncertainty_mm=20.0)
    found = here.recommend()
    assert 0 < found["interval"]["low"]["value"] < found["interval"]["high"]["value"]


def test_few_logs_and_logs_elsewhere_are_doubts(here: Any) -> None:
    here.judged(count=3)
    assert codes(here.recommend()) == ["few_logs"]
    assert codes(here.recommend(reading={"ev": 3})) == ["longer_than_a_day", "few_logs", "extrapolating"]
    [text] = [flag["text"] for flag in here.recommend(reading={"ev": 20})["flags"] if flag["code"] == "extrapolating"]
    assert text.startswith("The logs run from 5 s to 50 min; ")


def test_a_filter_takes_light(here: Any) -> None:
    bare, filtered = here.recommend(), here.recommend(filter_stops=2)
    assert filtered["indicated_time"]["value"] == pytest.approx(4 * bare["indicated_time"]["value"])


def test_any_reading_will_do(here: Any) -> None:
    """EV 13 at ISO 100 is f/16 at 1/32 s, and 2.5·2^13 lx on a flat receptor (ISO 2720)."""
    times = [
        here.recommend(reading=reading)["exposure_time"]["value"]
        for reading in ({"ev": 14, "iso": 200}, {"time": "1/32 s", "f_number": 16}, {"illuminance": "20480 lx"})
    ]
    assert times == pytest.approx([here.recommend()["exposure_time"]["value"]] * 3)


def test_the_answer_is_that_of_the_stateless_endpoint(here: Any) -> None:
    here.judged()
    asked = exposure(here.client, here, {"paper": str(here.paper.id)}).json()
    recommended = here.recommend()
    for key in ("ev100", "indicated_time", "exposure_time", "test_strip", "test_strip_plan"):
        assert asked[key] == recommended[key]


# -------------------------------------------------------------------------------------------------------- evidence


def test_three_ways_to_say_it_came_out_half_a_stop_over(here: Any) -> None:
    """Judged, by density, and by the time that would have been right: the first two speak of the time given."""
    here.log(result={"judged_stops": 0.5})
    here.log(result={"density": 0.9, "target": 0.6, "gradient": 0.6 / np.log10(2)})
    here.log(result={"right_time": "3 min"})
    u, z = evidence(here.paper)
    indicated = np.log2(here.spec.f_number**2 * INDICATED_PER_F2)
    assert np.exp2(u) == pytest.approx([240.0, 240.0, 180.0])
    assert z == pytest.approx([indicated + 0.5, indicated + 0.5, indicated])


def test_only_judged_logs_of_this_paper_are_evidence(here: Any) -> None:
    here.log()
    here.log(result=None)
    ExposureLogFactory.create(spec=here.spec, paper=PaperFactory.create(club=here.club))
    assert [part.shape for part in evidence(here.paper)] == [(0,), (0,)]
    here.log(result={"judged_stops": 0})
    assert [part.shape for part in evidence(here.paper)] == [(1,), (1,)]


def test_what_the_logs_say_of_each_paper(here: Any) -> None:
    here.judged(exponent=1.25, offset=1.0)
    PaperFactory.create(club=here.club, name="Unlogged", nominal_exposure_index=3)
    PaperFactory.create()
    known, unknown = here.client.get(here.at + "reciprocity/").json()["results"]
    assert known.keys() == unknown.keys() == KNOWN_KEYS
    assert (known["paper"]["name"], known["logs"]) == ("Glasswort", 9)
    assert known["exposure_index"] == pytest.approx(12.0)
    assert known["exponent"] == pytest.approx(1.25)
    assert known["shortest"]["value"] == pytest.approx(5)
    assert known["longest"]["text"] == "50 min"
    assert (unknown["logs"], unknown["exposure_index"], unknown["exponent"]) == (0, 3.0, 1.0)
    assert unknown["residual_stops"] is unknown["shortest"] is unknown["longest"] is None
    assert (codes(known), codes(unknown)) == ([], ["no_logs"])


def test_wild_logs_break_nothing(here: Any) -> None:
    """The extremes of what may be logged, on both sides at once."""
    for time in ({"value": 1e-6, "unit": "s"}, {"value": 3.2e8, "unit": "s"}, "1 s"):
        for reading in ({"ev": 30}, {"ev": -20}):
            for result in ({"judged_stops": 15}, {"judged_stops": -15}, {"right_time": time}):
                here.log(exposure_time=time, reading=reading, result=result, filter_stops=30)
                assert here.client.get(here.at + "reciprocity/").status_code == 200
                assert here.recommend()["exposure_time"]["value"] > 0
    assert here.recommend(reading={"ev": -20}, filter_stops=30)["interval"]["high"]["value"] > 0


# ------------------------------------------------------------------------------------------- the law, elsewhere


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
    assert len({response.content for response in refused}) == 1  # whether it exists is nobody's business


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
