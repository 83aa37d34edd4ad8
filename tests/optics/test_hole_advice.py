"""What to do with a hole as measured: the figures quoted are right, and no work is advised that could only harm."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rest_framework.test import APIClient

from optics.core.hole_advice import NEAR_ENOUGH_STOPS, ROUND_ENOUGH_SHARE, MadeHole, advise_hole
from optics.core.holes import DEFAULT_RULE, HOLE_RULES
from tests.answers import ask, mm

VERDICTS = {"go_on", "leave_it", "measure_again", "start_again"}


def codes(hole: MadeHole, wanted_mm: float | None = None) -> list[str]:
    return [flag.code for flag in advise_hole(hole, wanted_mm=wanted_mm)]


@pytest.mark.parametrize(
    ("hole", "wanted_mm", "said"),
    [
        (MadeHole(0.30, 0.002, 0.97, 0.0), 0.30, ["leave_it", "right_size"]),
        (MadeHole(0.22, 0.002, 0.97, 0.0), 0.30, ["go_on", "too_narrow", "caution_blades"]),
        (MadeHole(0.40, 0.002, 0.97, 0.0), 0.30, ["start_again", "too_wide", "caution_blades"]),
        (MadeHole(0.22, 0.002, 0.80, 0.0), 0.30, ["go_on", "too_narrow", "out_of_round", "caution_blades"]),
        (MadeHole(0.30, 0.002, 0.80, 0.0), 0.30, ["start_again", "right_size", "out_of_round", "caution_blades"]),
        (MadeHole(0.30, 0.002, 0.95, 0.2), 0.30, ["go_on", "right_size", "burr", "caution_blades"]),
        (MadeHole(0.30, 0.05, None, None), 0.30, ["measure_again", "right_size"]),
        (MadeHole(0.345, 0.01, 0.95, 0.0), 0.30, ["measure_again", "too_wide"]),
        (MadeHole(0.30, 0.002), None, ["leave_it", "no_target"]),
        (MadeHole(0.30, 0.002, 0.95, 0.2), None, ["go_on", "no_target", "burr", "caution_blades"]),
        (
            MadeHole(0.30, 0.002, 0.80, 0.2),
            None,
            ["go_on", "no_target", "out_of_round", "burr", "caution_blades"],
        ),
    ],
)
def test_each_verdict_has_its_reasons(hole: MadeHole, wanted_mm: float | None, said: list[str]) -> None:
    assert codes(hole, wanted_mm) == said


def test_reasons_quote_the_figures() -> None:
    """(0.36/0.30)² of the light is 0.53 stop more; a tenth of the diameter is 2/ln 2 · 0.1 = 0.29 stop [derived]."""
    _, size, round_, burr, _ = advise_hole(MadeHole(0.40, 0.04, 0.8, 0.25), wanted_mm=0.30)
    assert "0.400 mm across and 0.300 mm is wanted: 0.8 stop more light, known to ±0.3 stop" in size.text
    _, same = advise_hole(MadeHole(0.301, 0.001), wanted_mm=0.30)
    assert same.text.endswith("wanted: the same light, known to better than 0.1 stop.")
    assert "80% of the wide way" in round_.text
    assert "25% of the outline" in burr.text


made = st.builds(
    MadeHole,
    st.floats(0.05, 2.0),
    st.floats(0.0, 0.1),
    st.none() | st.floats(0.3, 1.0),
    st.none() | st.floats(0.0, 1.0),
)


@settings(derandomize=True, deadline=None)
@given(made, st.none() | st.floats(0.05, 2.0))
def test_no_work_is_advised_that_could_only_harm(hole: MadeHole, wanted_mm: float | None) -> None:
    said = codes(hole, wanted_mm)
    assert said[0] in VERDICTS
    assert not VERDICTS & set(said[1:])
    assert ("caution_blades" in said) == (said[0] in {"go_on", "start_again"})
    if wanted_mm is None:
        return
    off = 2 * np.log2(hole.diameter_mm / wanted_mm)
    if said[0] == "go_on":  # work only widens
        assert off < NEAR_ENOUGH_STOPS
    if said[0] == "leave_it":
        assert abs(off) <= NEAR_ENOUGH_STOPS
        assert hole.roundness_share is None or hole.roundness_share >= ROUND_ENOUGH_SHARE


@settings(derandomize=True, deadline=None)
@given(st.floats(0.05, 2.0), st.floats(0.05, 2.0))
def test_verdicts_come_in_order_as_a_hole_is_worked_wider(wanted_mm: float, diameter_mm: float) -> None:
    holes = [MadeHole(diameter_mm * step, 0.01 * diameter_mm) for step in (1.0, 1.3, 1.7)]
    sizes = [{"go_on": -1, "start_again": 1}.get(codes(hole, wanted_mm)[0], 0) for hole in holes]
    assert sizes == sorted(sizes)


def test_the_api_advises_against_a_target_or_a_focal_length(api: APIClient) -> None:
    body = {"readings": [{"diameter": "0.22 mm", "uncertainty": "2 µm"}]}
    found = ask(api, "hole-measurement", body | {"target": "0.30 mm"})
    assert mm(found["target"]) == 0.3
    assert [each["code"] for each in found["advice"]] == ["go_on", "too_narrow", "caution_blades"]
    found = ask(api, "hole-measurement", body | {"focal_length": "60 mm"})
    rule = next(rule for rule in HOLE_RULES if rule.name == DEFAULT_RULE)
    assert mm(found["target"]) == rule.diameter_mm(focal_length_mm=60.0, wavelength_nm=550.0)
    found = ask(api, "hole-measurement", body)
    assert found["target"] is None
    assert [each["code"] for each in found["advice"]] == ["leave_it", "no_target"]
