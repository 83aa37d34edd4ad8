"""The pooled estimate against scipy's least squares, against invented papers it must recover, and at its edges."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import linregress, t

from exposures.reciprocity.estimate import (
    LEAST_SCATTER_STOPS,
    LONGEST_REACH_STOPS,
    UNKNOWN_SLOPE_SPREAD,
    PaperEstimate,
    estimate,
)


def logs(
    *,
    exponent: float,
    offset_stops: float,
    times_s: object,
    noise_stops: float = 0.0,
    seed: int = 1,
) -> tuple[np.ndarray, np.ndarray]:
    """(u, z) of an invented paper whose law is t = (tᵢ·2^-offset)^exponent above 1 s, judged with some noise."""
    u = np.log2(np.asarray(times_s, dtype=float))
    exact = offset_stops + np.where(u > 0, u / exponent, u)
    return u, exact + noise_stops * np.random.default_rng(seed).standard_normal(u.shape)


def codes(found: PaperEstimate) -> list[str]:
    return [flag.code for flag in found.flags]


# --------------------------------------------------------------------------------- against a reference program

DATA = {
    "spread": logs(exponent=1.3, offset_stops=0.4, times_s=np.geomspace(2, 4000, 12), noise_stops=0.3),
    "few": logs(exponent=1.2, offset_stops=-0.2, times_s=[5, 60, 900], noise_stops=0.8, seed=2),
    "repeated": logs(exponent=1.4, offset_stops=1.0, times_s=[10, 10, 10, 300, 300, 300], noise_stops=0.5, seed=3),
    "many": logs(exponent=1.25, offset_stops=0.1, times_s=np.geomspace(1.5, 9000, 300), noise_stops=0.4, seed=4),
}


@pytest.mark.parametrize("name", DATA)
def test_least_squares_as_scipy_has_it(name: str) -> None:
    """scipy.stats.linregress gives slope, intercept and both standard errors; all times here are above 1 s."""
    u, z = DATA[name]
    found, reference = estimate(u, z), linregress(u, z)
    assert found.slope == pytest.approx(reference.slope, rel=1e-10)
    assert found.offset_stops == pytest.approx(reference.intercept, rel=1e-9)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx([reference.intercept_stderr, reference.stderr], rel=1e-9)
    residual = z - reference.intercept - reference.slope * u
    assert found.residual_stops == pytest.approx(np.sqrt(residual @ residual / (len(u) - 2)), rel=1e-9)
    assert found.logs == len(u)
    assert found.exponent == pytest.approx(1 / reference.slope, rel=1e-10)
    # First order: u(1/q) = u(q)/q² (JCGM 100:2008 §5.1.2).
    assert found.exponent_error == pytest.approx(reference.stderr / reference.slope**2, rel=1e-9)


@pytest.mark.parametrize("name", DATA)
@pytest.mark.parametrize("time_s", [2.0, 30.0, 5000.0])
def test_the_error_of_the_curve(name: str, time_s: float) -> None:
    """The textbook's s·√(1/n + (u - ū)²/Sxx) [derived]."""
    u, z = DATA[name]
    found, x = estimate(u, z), np.log2(time_s)
    expected = found.residual_stops * np.sqrt(1 / len(u) + (x - u.mean()) ** 2 / ((u - u.mean()) ** 2).sum())
    assert found.stops_error(time_s) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("share", [0.5, 0.9, 0.99])
def test_the_interval_is_students(share: float) -> None:
    u, z = DATA["spread"]
    found, indicated = estimate(u, z), 120.0
    reach = t.ppf((1 + share) / 2, len(u) - 2) * found.stops_error(float(found.correct(indicated)))
    low, high = found.interval(indicated, share=share)
    assert [low, high] == pytest.approx([found.correct(indicated * 2**s) for s in (-reach, reach)], rel=1e-9)
    assert low < found.correct(indicated) < high


def test_another_error_is_added_in_squares() -> None:
    u, z = DATA["spread"]
    found = estimate(u, z)
    alone, more = found.interval(120.0), found.interval(120.0, more_stops=2.0)
    error = found.stops_error(float(found.correct(120.0)))
    both = t.ppf(0.95, len(u) - 2) * np.hypot(error, 2.0)
    assert more[1] == pytest.approx(found.correct(120.0 * 2**both), rel=1e-9)
    assert more[0] < alone[0] < alone[1] < more[1]


def test_intervals_hold_what_they_promise() -> None:
    """Of 400 invented sets of logs nine in ten put the true time inside; 4.4 sd of a binomial is 26."""
    inside = 0
    truth = 300.0
    indicated = truth ** (1 / 1.3) * 2**0.4
    for seed in range(400):
        sample = logs(exponent=1.3, offset_stops=0.4, times_s=np.geomspace(3, 2000, 9), noise_stops=0.4, seed=seed)
        low, high = estimate(*sample).interval(indicated)
        inside += low <= truth <= high
    assert abs(inside - 360) <= 26


# ------------------------------------------------------------------------------------------------- recovery


@settings(derandomize=True, max_examples=60)
@given(
    exponent=st.floats(1.0, 2.5),
    offset=st.floats(-4, 4),
    times=arrays(float, st.integers(3, 30), elements=st.floats(1e-3, 1e6)),
)
def test_an_exact_paper_is_recovered(exponent: float, offset: float, times: np.ndarray) -> None:
    u, z = logs(exponent=exponent, offset_stops=offset, times_s=times)
    assume(np.maximum(u, 0).std() >= 0.51)
    found = estimate(u, z)
    assert found.slope_estimated
    assert found.exponent == pytest.approx(exponent, rel=1e-6)
    assert found.offset_stops == pytest.approx(offset, abs=1e-6)
    # Logs that agree exactly agree by chance; the error stays what an eye can judge.
    assert found.residual_stops == pytest.approx(LEAST_SCATTER_STOPS)
    # The logged times are the right ones for what they indicate.
    assert found.correct(np.exp2(z)) == pytest.approx(times, rel=1e-4)


def test_noise_shrinks_with_logs() -> None:
    errors = []
    for count in (10, 40, 160, 640):
        sample = logs(exponent=1.3, offset_stops=0.4, times_s=np.geomspace(2, 4000, count), noise_stops=0.3)
        found = estimate(*sample)
        assert abs(1 / found.slope - 1.3) < 5 * found.exponent_error
        errors.append(found.exponent_error)
    assert errors == sorted(errors, reverse=True)
    assert errors[0] / errors[3] == pytest.approx(8, rel=0.5)  # √64


def test_the_index_is_the_nominal_one_moved_by_the_offset() -> None:
    found = estimate(*logs(exponent=1.0, offset_stops=1.0, times_s=[0.1, 1, 10, 100]))
    assert found.exposure_index(6.0) == pytest.approx(12.0)
    assert found.correct(8.0) == pytest.approx(4.0)  # twice as fast: half the time


def test_below_a_second_nothing_fails() -> None:
    found = estimate(*logs(exponent=1.5, offset_stops=0.0, times_s=[0.01, 0.1, 1, 10, 100]))
    assert found.correct(np.array([0.01, 0.5, 1.0, 4.0])) == pytest.approx([0.01, 0.5, 1.0, 8.0])


def test_scalars_in_scalars_out_and_arrays_by_shape() -> None:
    found = estimate(*DATA["spread"])
    assert np.ndim(found.correct(3.0)) == 0
    assert np.shape(found.correct(np.ones((2, 3)))) == (2, 3)


# ---------------------------------------------------------------------------------------------------- edges


def test_no_logs() -> None:
    found = estimate(np.array([]), np.array([]))
    assert (found.logs, found.exponent, found.offset_stops, found.slope_estimated) == (0, 1.0, 0.0, False)
    assert codes(found) == ["no_logs"]
    assert found.correct(40.0) == pytest.approx(40.0)
    assert np.isinf(found.stops_error(40.0))
    assert found.flags_at(40.0) == found.flags


def test_one_log_tells_the_speed_alone() -> None:
    found = estimate(np.log2([60.0]), np.log2([60.0]) + 0.5)
    assert (found.offset_stops, found.exponent, found.slope_estimated) == (0.5, 1.0, False)
    assert codes(found) == ["slope_unknown", "few_logs"]
    assert found.residual_stops == 1.0  # assumed: one log shows no scatter
    low, high = found.interval(60.0)
    assert low < found.correct(60.0) < high


def test_two_logs_tell_the_speed_alone() -> None:
    found = estimate(np.log2([60.0, 600.0]), np.log2([60.0, 600.0]) + np.array([0.2, 0.6]))
    assert found.offset_stops == pytest.approx(0.4)
    assert found.residual_stops == pytest.approx(np.std([0.2, 0.6], ddof=1))
    # At the logs' middle the mean's own error; away from it that of a slope nobody measured [derived].
    own = np.std([0.2, 0.6], ddof=1) / np.sqrt(2)
    assert found.stops_error(np.sqrt(60.0 * 600.0)) == pytest.approx(own)
    away = UNKNOWN_SLOPE_SPREAD * np.log2(10) / 2
    assert found.stops_error(60.0) == pytest.approx(np.hypot(own, away))
    assert codes(found) == ["slope_unknown", "few_logs"]


def test_logs_all_at_one_time_tell_no_slope() -> None:
    found = estimate(np.log2(np.full(10, 60.0)), np.log2(60.0) + np.linspace(-0.5, 0.5, 10))
    assert not found.slope_estimated
    assert found.offset_stops == pytest.approx(0.0)
    assert codes(found) == ["slope_unknown"]


def test_logs_all_below_a_second_tell_no_slope() -> None:
    found = estimate(*logs(exponent=1.4, offset_stops=0.3, times_s=np.geomspace(0.01, 0.9, 10)))
    assert not found.slope_estimated
    assert found.offset_stops == pytest.approx(0.3)


def test_logs_that_contradict_each_other() -> None:
    """A long time that came out no darker than a short one is no reciprocity failure that a power law knows."""
    found = estimate(np.log2([10.0, 100.0, 1000.0] * 3), np.full(9, 5.0))
    assert not found.slope_estimated
    assert codes(found) == ["slope_odd", "slope_unknown"]
    assert found.exponent == 1.0


def test_a_paper_that_gains_speed_is_doubted() -> None:
    found = estimate(*logs(exponent=1 / 1.5, offset_stops=0.0, times_s=np.geomspace(2, 2000, 10), noise_stops=0.05))
    assert found.slope == pytest.approx(1.5, abs=0.05)
    assert codes(found) == ["slope_odd"]


def test_few_logs_are_flagged_until_there_are_eight() -> None:
    for count, few in ((3, True), (7, True), (8, False)):
        found = estimate(*logs(exponent=1.3, offset_stops=0, times_s=np.geomspace(2, 900, count)))
        assert ("few_logs" in codes(found)) is few


@pytest.mark.parametrize(("time_s", "flagged"), [(7.0, True), (7.2, False), (100, False), (1410, False), (1420, True)])
def test_extrapolating_begins_half_a_stop_outside(time_s: float, flagged: bool) -> None:
    found = estimate(*logs(exponent=1.3, offset_stops=0, times_s=np.geomspace(10, 1000, 9)))
    assert ("extrapolating" in [flag.code for flag in found.flags_at(time_s)]) is flagged


def test_an_interval_that_says_nothing_stays_a_number() -> None:
    found = estimate(np.log2([2.0, 3.0, 2.5]), np.array([60.0, -60.0, 60.0]))
    low, high = found.interval(1e6, more_stops=1e5)
    assert 0 < low < high < np.inf
    assert np.log2(high / low) <= 2 * LONGEST_REACH_STOPS / found.slope + 1e-9


@settings(derandomize=True, max_examples=150)
@given(
    data=arrays(float, st.tuples(st.integers(0, 12), st.just(3)), elements=st.floats(0, 1)),
    indicated_stops=st.floats(-43, 127),
)
def test_whatever_can_be_logged_gives_numbers(data: np.ndarray, indicated_stops: float) -> None:
    """Times 1 µs to ten years, indicated times as far as light and cameras reach, ± 15 stops: nothing overflows."""
    u = -20 + 48 * data[:, 0]
    z = (-43 + 153 * data[:, 1]) + (-15 + 30 * data[:, 2])
    found = estimate(u, z)
    time = found.correct(2.0**indicated_stops)
    assert np.isfinite(time)
    assert time > 0
    assert found.correct(2.0 ** (indicated_stops + 1)) > time
    assert found.exposure_index(6.0) < np.inf
    if found.logs:
        low, high = found.interval(2.0**indicated_stops, more_stops=1e5)
        assert 0 <= low <= time <= high < np.inf
