"""Exposures under changing light, against closed forms."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optics.core.light import Light
from optics.core.progress import Segment, progress
from optics.core.reciprocity import NoFailure, PowerLaw

CAMERA = {"f_number": 226.0, "exposure_index": 6.0}


def whole(ev100: float, law: PowerLaw | NoFailure) -> float:
    return float(law.correct(Light(ev100).time_s(**CAMERA)))


@given(st.floats(4, 15), st.floats(0.01, 0.99), st.floats(1, 1.5), st.integers(1, 6))
@settings(derandomize=True)
def test_under_steady_light_the_rest_is_the_law_s_time_less_what_was_given(
    ev100: float, share: float, exponent: float, parts: int
) -> None:
    law = PowerLaw(exponent)
    time = whole(ev100, law)
    found = progress([Segment(ev100, share * time / parts)] * parts, ev100_now=ev100, law=law, **CAMERA)
    assert found.share == pytest.approx(share)
    assert found.remaining_s == pytest.approx((1 - share) * time)
    assert found.soonest_s == found.latest_s == found.remaining_s
    assert found.flags == ()


def test_light_falling_by_a_steady_rate_matches_the_integral() -> None:
    """Without failure the rate of exposure is 2^EV/N² …: with EV = e₀ + βt the share is an exponential [derived]."""
    rate, start = -1 / 600, 12.0  # a stop in ten minutes
    parts, each = 60, 2.0
    middles = (np.arange(parts) + 0.5) * each
    now = start + rate * parts * each
    found = progress([Segment(start + rate * t, each) for t in middles], ev100_now=now, f_number=226, exposure_index=6)
    whole_now = whole(now, NoFailure())
    k = rate * np.log(2)
    expected = np.log1p((1 - found.share) * whole_now * k) / k
    assert found.latest_s == pytest.approx(expected, rel=1e-5)
    assert found.soonest_s == found.remaining_s == pytest.approx((1 - found.share) * whole_now)


def test_light_that_fails_never_completes_and_says_so() -> None:
    found = progress([Segment(9, 60), Segment(5, 60)], ev100_now=1, **CAMERA)
    assert found.latest_s == np.inf
    assert [flag.code for flag in found.flags] == ["light_fails"]


def test_rising_light_can_only_bring_the_end_nearer() -> None:
    found = progress([Segment(9, 60), Segment(10, 60)], ev100_now=11, **CAMERA)
    assert found.soonest_s < found.remaining_s == found.latest_s


def test_a_complete_exposure_says_by_how_much_it_is_over() -> None:
    law = PowerLaw(1.3)
    found = progress([Segment(12, 2 * whole(12, law))], ev100_now=12, law=law, **CAMERA)
    assert found.share == pytest.approx(2)
    assert found.remaining_s == found.latest_s == 0
    assert found.flags[0].code == "complete"
    assert "+1 stop over" in found.flags[0].text


@given(st.permutations([(12.0, 30.0), (10.0, 60.0), (7.5, 200.0)]))
@settings(derandomize=True)
def test_the_share_does_not_depend_on_the_order(parts: list[tuple[float, float]]) -> None:
    shares = [progress([Segment(*p) for p in order], ev100_now=8, **CAMERA).share for order in (parts, sorted(parts))]
    assert shares[0] == pytest.approx(shares[1])


def test_a_filter_slows_everything_by_its_factor() -> None:
    plain = progress([Segment(12, 30)], ev100_now=12, **CAMERA)
    filtered = progress([Segment(12, 30)], ev100_now=12, filter_stops=2, **CAMERA)
    assert filtered.share == pytest.approx(plain.share / 4)
