"""What the fit says: degenerate clubs honestly, coverage in a short simulation, comparisons and plans."""

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from exposures.reciprocity.cells import NO_CELLS, Cells, Logs
from exposures.reciprocity.comparison import adjusted_stops, compare
from exposures.reciprocity.design import ASSUMED
from exposures.reciprocity.lines import Line
from exposures.reciprocity.next_tests import next_tests
from exposures.reciprocity.recommendation import recommend, strip_of
from exposures.reciprocity.result import ASSUMED_MEAN_SPEED, Fit, fit, refreshed, restored
from exposures.reciprocity.support import Support
from optics.core.faults import Impossible
from tests.exposures.reciprocity.coverage import measure
from tests.exposures.reciprocity.made import club


def codes(of: Fit) -> set[str]:
    return {flag.code for flag in of.flags}


def few(n: int, *, u: list[float], z: list[float], camera: list[int] | None = None) -> Cells:
    zero = np.zeros(n, dtype=int)
    return Cells.from_logs(Logs(zero, np.array(camera) if camera else zero, zero, zero, np.array(u), np.array(z)))


def test_short_simulation() -> None:
    """Twelve sets; `tests/bench/reciprocity_simulation.py` runs 200."""
    held = measure(12, papers=8, families=2, cameras=8, members=6, logs=150)
    assert 0.8 < held.time < 0.98
    assert 0.8 < held.slope < 0.98


def test_no_logs() -> None:
    found = fit(NO_CELLS)
    assert codes(found) == {"no_logs"}
    answer = recommend(found, paper=1, camera=2, indicated_s=60.0)
    assert answer.time_s == pytest.approx(60.0)
    assert answer.ninety[0] < 1
    assert answer.ninety[1] > 3600


def test_one_log() -> None:
    found = fit(few(1, u=[5.0], z=[5.5]))
    assert {"few_logs", "confounded", "slope_unknown"} <= codes(found)
    answer = recommend(found, paper=0, indicated_s=2**5.5)
    assert answer.time_s == pytest.approx(32.0)
    assert answer.ninety[1] / answer.ninety[0] > 4
    assert "few_logs" in {flag.code for flag in answer.flags}


def test_all_at_the_same_time_says_nothing_of_the_slope() -> None:
    rng = np.random.default_rng(2)
    found = fit(few(30, u=[4.0] * 30, z=rng.normal(4.2, 0.3, 30).tolist(), camera=[0, 1, 2] * 10))
    assert "slope_unknown" in codes(found)
    answer = found.paper(0)
    assert answer.exponent == pytest.approx(1.0, abs=0.02)
    assert answer.curve[4].time_s == pytest.approx(16 * 2**-0.2, rel=0.2)
    widths = [np.log2(point.ninety[1] / point.ninety[0]) for point in answer.curve]
    assert widths[12] > 2 * widths[4]
    assert answer.curve[12].extrapolating


def test_one_camera_is_confounded_and_its_offset_stays_unknown() -> None:
    made = club(3, cameras=1)
    found = fit(Cells.from_logs(made.logs), families=made.families)
    assert "confounded" in codes(found)
    assert found.offset("camera", 0).error_stops == pytest.approx(0.3, rel=0.1)


def test_papers_without_a_camera_in_common_are_confounded() -> None:
    made = club(3)
    odd = Logs(made.logs.paper, made.logs.paper % 2, made.logs.member, made.logs.grade, made.logs.u, made.logs.z)
    assert "confounded" in codes(fit(Cells.from_logs(odd), families=made.families))


def test_a_right_time_meets_its_line_and_so_do_its_ends() -> None:
    line = Line(0.3, 0.8, np.array([[0.04, -0.002], [-0.002, 0.0009]]))
    for indicated in (0.1, 0.9, 1.5, 60.0, 3000.0):
        y = np.log2(indicated)
        assert line.effect(np.log2(line.right_time_s(indicated))) == pytest.approx(y)
        low, high = (np.log2(t) for t in line.interval_s(indicated, quantile=1.645))
        assert line.effect(low) + 1.645 * line.error(low) == pytest.approx(y, abs=1e-9)
        assert line.effect(high) - 1.645 * line.error(high) == pytest.approx(y, abs=1e-9)


def test_a_slope_that_may_be_nothing_has_no_upper_end() -> None:
    line = Line(0.0, 0.2, np.diag([0.01, 0.04]))
    low, high = line.interval_s(60.0, quantile=1.645)
    assert high == np.inf
    assert 1 < low < line.right_time_s(60.0)


@pytest.mark.parametrize(("speed", "slope"), [(0.3, 0.8), (0.0, 0.2), (-1.0, -0.2), (0.0, 0.0)])
def test_many_times_at_once_are_each_by_itself(speed: float, slope: float) -> None:
    """Also where the error leaves no root, no end, or nothing to divide by."""
    times = np.array([0.01, 1.0, 1.5, 60.0, 3000.0, 1e7])
    for covariance in (np.diag([0.01, 0.04]), np.zeros((2, 2)), np.array([[4.0, -1.0], [-1.0, 0.3]])):
        line = Line(speed, slope, covariance)
        assert line.right_time_s(times).tolist() == [line.right_time_s(time) for time in times.tolist()]
        ends = [line.interval_s(time, quantile=1.645) for time in times.tolist()]
        assert np.transpose(line.interval_s(times, quantile=1.645)).tolist() == [list(each) for each in ends]
    assert line.interval_s(0.01, quantile=1.645)[0] < line.right_time_s(0.01)


def test_signs_of_cameras_and_members() -> None:
    """A camera whose hole passes a stop more than measured comes out over, with a hole √2 times as wide."""
    made = club(4)
    z = made.logs.z + np.where(made.logs.camera == 0, 1.0, 0.0)
    logs = Logs(made.logs.paper, made.logs.camera, made.logs.member, made.logs.grade, made.logs.u, z)
    before, after = (fit(Cells.from_logs(of), families=made.families).offset("camera", 0) for of in (made.logs, logs))
    assert after.stops - before.stops == pytest.approx(1.0, abs=0.15)
    assert after.diameter_ratio / before.diameter_ratio == pytest.approx(2**0.5, rel=0.06)


def test_a_refresh_after_one_more_log() -> None:
    made = club(5)
    found = fit(Cells.from_logs(made.logs), families=made.families)
    one = Logs(*(getattr(made.logs, name)[:1] for name in ("paper", "camera", "member", "grade", "u", "z")))
    more = refreshed(found, Cells.from_logs(one))
    assert more.theta == pytest.approx(found.theta)
    assert more.line(0).speed != found.line(0).speed
    kept = fit(more.cells, families=made.families, warm=found.theta, steps=False)
    assert more.criterion == pytest.approx(kept.criterion, rel=1e-12)
    anew = fit(more.cells, families=made.families)
    warm = refreshed(found, Cells.from_logs(one), steps=True)
    assert warm.criterion == pytest.approx(anew.criterion, abs=1e-6)
    assert warm.line(0).speed == pytest.approx(anew.line(0).speed, abs=1e-3)
    strange = Cells.from_logs(replace(one, camera=np.array([99])))
    joined = refreshed(found, strange, families=made.families)
    assert joined.offset("camera", 99).evidence.logs == 1
    assert refreshed(fit(NO_CELLS), strange).offset("camera", 99).evidence.logs == 1


def test_comparison_tells_apart_what_differs_and_nothing_else() -> None:
    made = club(6, cameras=6)
    z = made.logs.z + np.where(made.logs.camera == 5, 1.5, 0.0) - made.camera[made.logs.camera]
    logs = Logs(made.logs.paper, made.logs.camera, made.logs.member, made.logs.grade, made.logs.u, z)
    found = fit(Cells.from_logs(logs), families=made.families)
    table = compare(found, by="camera")
    assert table.offsets[0].key == 5
    assert {(d.one, d.other) for d in table.differences if d.distinguishable} == {(5, other) for other in range(5)}
    one_scale = adjusted_stops(found, logs, by="camera")
    assert np.mean(one_scale[logs.camera == 5]) - np.mean(one_scale[logs.camera != 5]) == pytest.approx(1.5, abs=0.25)
    for by in ("member", "paper"):
        assert len(compare(found, by=by).offsets) == len(np.unique(getattr(logs, by)))


@pytest.mark.parametrize("logs", [60, 700])
def test_a_comparison_errs_as_its_offsets_and_lines_do(logs: int) -> None:
    made = club(6, logs=logs)
    found = fit(Cells.from_logs(made.logs), families=made.families)
    for by in ("camera", "member"):
        for row in compare(found, by=by).offsets:
            alone = found.offset(by, row.key)
            assert (row.stops, row.error_stops) == pytest.approx((alone.stops, alone.error_stops), abs=1e-9)
            assert (row.evidence, row.flags) == (alone.evidence, alone.flags)
    alone, strange = found.line(0, family=0), found.line(0, family=0, camera=99)
    more = strange.covariance[0, 0] - alone.covariance[0, 0]
    assert found.offset("camera", 99).error_stops == pytest.approx(more**0.5)
    table = compare(found, by="paper", at_time_s=64.0)
    for row in table.offsets:
        line = found.line(row.key)
        assert (row.stops, row.error_stops) == pytest.approx((line.effect(6.0), line.error(6.0)), abs=1e-9)
    spread = found.effects(dict.fromkeys((table.differences[0].one, table.differences[0].other)))[1]
    apart = np.array([1.0, 6.0, -1.0, -6.0])
    assert table.differences[0].error_stops == pytest.approx(float(np.sqrt(apart @ spread @ apart)))


def test_the_next_test_is_the_one_that_narrows_most() -> None:
    """The plan's promise against a fit with that log really added, variances kept."""
    made = club(7, papers=4, families=1, cameras=3, members=3, logs=60)
    short = made.logs.u < 5
    logs = Logs(*(getattr(made.logs, name)[short] for name in ("paper", "camera", "member", "grade", "u", "z")))
    found = at_one_point(fit(Cells.from_logs(logs), families=made.families))
    plan = next_tests(found, papers=dict.fromkeys(range(4), 0), cameras=[0, 1, 2], count=3)
    assert len(plan) == 3
    assert all(test.after_stops < test.before_stops for test in plan)
    assert plan[1].before_stops == pytest.approx(plan[0].after_stops, abs=1e-9)
    assert plan[0].time_s >= 240  # all logs so far were shorter
    first = plan[0]
    added = Logs(*(np.array([value]) for value in (first.paper, first.camera, 0, 0, np.log2(first.time_s), 0.0)))
    asked: dict[str, Any] = {"papers": {first.paper: 0}, "cameras": [first.camera], "member": 0, "grade": 0}
    [alone] = next_tests(found, **asked)
    more = refreshed(found, Cells.from_logs(added))
    [again] = next_tests(at_one_point(more), **asked)
    assert alone.time_s == first.time_s
    assert again.before_stops == pytest.approx(alone.after_stops, abs=1e-9)


def at_one_point(found: Fit) -> Fit:
    """Variances taken as estimated, so that a log more can be reckoned with exactly."""
    assert found.point is not None
    return replace(found, kept_support=Support((found.point,), np.ones(1)))


def test_the_mean_error_is_that_of_the_lines() -> None:
    """Over papers and times, one by one; a paper and a camera without logs included."""
    made = club(7, papers=4, families=2, cameras=3, members=3, logs=60)
    found = fit(Cells.from_logs(made.logs), families=made.families)
    assert len(found.support.points) > 1
    papers = {0: 0, 1: 1, 99: 1}
    [test] = next_tests(found, papers=papers, cameras=[98])
    errors = [found.line(p, family=f).error(float(u)) for p, f in papers.items() for u in range(12)]
    assert test.before_stops == pytest.approx(np.sqrt(np.mean(np.square(errors))), rel=1e-9)
    assert test.paper == 99  # nobody knows anything of it
    [known] = next_tests(found, papers={99: 1}, cameras=[0])
    [strange] = next_tests(found, papers={99: 1}, cameras=[98])
    assert known.after_stops < strange.after_stops < strange.before_stops  # a camera that is known tells more


def test_no_test_needs_a_light_brighter_than_there_is() -> None:
    made = club(7, papers=4, families=1, cameras=3, members=3, logs=60)
    found = fit(Cells.from_logs(made.logs), families=made.families)
    asked: dict[str, Any] = {"papers": dict.fromkeys(range(4), 0), "cameras": [0, 1, 2], "member": 0}
    [free] = next_tests(found, **asked)
    line = found.line(free.paper, camera=free.camera, member=0)
    assert free.indicated_s == pytest.approx(2 ** line.effect(float(np.log2(free.time_s))))
    plan = next_tests(found, **asked, count=4, least_indicated_s=lambda _, camera: 50.0 if camera == 0 else 1e9)
    assert {test.camera for test in plan} == {0}
    assert min(test.indicated_s for test in plan) >= 50
    assert next_tests(found, **asked, least_indicated_s=lambda *_: 1e9) == ()


def test_the_first_test_of_all_is_one_of_speed_and_the_second_of_slope() -> None:
    plan = next_tests(fit(NO_CELLS), papers={0: "a", 1: "a"}, cameras=["one"], count=6)
    assert plan[0].before_stops == pytest.approx(
        np.sqrt(ASSUMED_MEAN_SPEED**2 + ASSUMED["speed"] ** 2 + ASSUMED["slope"] ** 2 * np.mean(np.arange(12.0) ** 2))
    )
    assert {test.paper for test in plan[:2]} == {0, 1}
    assert plan[-1].after_stops < plan[0].before_stops / 1.5
    assert next_tests(fit(NO_CELLS), papers={}, cameras=["one"]) == ()
    with pytest.raises(Impossible, match="at most"):
        next_tests(fit(NO_CELLS), papers=dict.fromkeys(range(30)), cameras=range(30))


def test_recommendation_says_why_and_plans_a_strip() -> None:
    made = club(8)
    found = fit(Cells.from_logs(made.logs), families=made.families)
    answer = recommend(found, paper=0, camera=0, member=1, indicated_s=120.0)
    assert answer.ninety[0] < answer.half[0] < answer.time_s < answer.half[1] < answer.ninety[1]
    assert len(answer.test_strip) in {3, 5, 7}
    totals = [step.total_s for step in answer.test_strip]
    assert totals[len(totals) // 2] == pytest.approx(answer.time_s)
    steps = np.diff([step.stops for step in answer.test_strip])
    assert steps == pytest.approx(np.full(len(steps), steps[0]))
    assert steps[0] >= 1 / 3 - 1e-9
    assert totals[0] <= answer.ninety[0]
    assert totals[-1] >= answer.ninety[1]
    assert "extrapolating" in {flag.code for flag in recommend(found, paper=0, indicated_s=1e5).flags}
    unknown = recommend(found, paper="new", indicated_s=120.0, family=0)
    assert unknown.ninety[1] / unknown.ninety[0] > answer.ninety[1] / answer.ninety[0]


def test_an_open_interval_gets_as_much_strip_as_one_can_show() -> None:
    line = Line(0.0, 0.8, np.diag([9.0, 0.04]))
    steps = strip_of(line, 100.0, line.interval_s(100.0, quantile=2.0))
    assert [step.stops for step in steps] == pytest.approx([-2, -4 / 3, -2 / 3, 0, 2 / 3, 4 / 3, 2])
    assert strip_of(Line(0.0, -0.1, np.eye(2)), 100.0, (1.0, np.inf)) == ()


def test_a_paper_at_another_nominal_index() -> None:
    """Twice the index halves the indicated time; the right time stays, and so does the index it really has."""
    made = club(8)
    found = fit(Cells.from_logs(made.logs), families=made.families)
    once = recommend(found, paper=0, camera=0, member=1, indicated_s=120.0, nominal_index=6.0)
    twice = recommend(found, paper=0, camera=0, member=1, indicated_s=60.0, nominal_index=12.0, index_stops=1.0)
    assert twice.time_s == pytest.approx(once.time_s, rel=1e-12)
    assert twice.ninety == pytest.approx(once.ninety, rel=1e-12)
    assert found.paper(0, index_stops=1.0).index_factor * 12 == pytest.approx(found.paper(0).index_factor * 6)
    assert fit(NO_CELLS).line(0, index_stops=1.0).right_time_s(0.5) == pytest.approx(1.0)


@pytest.mark.parametrize("logs", [4, 60, 700])
def test_a_kept_state_answers_the_same_without_a_search(logs: int) -> None:
    made = club(4, logs=logs)
    found = fit(Cells.from_logs(made.logs), families=made.families)
    state = json.loads(json.dumps(found.state()))
    again = restored(found.cells, state, families=made.families)
    assert again.criterion == pytest.approx(found.criterion, rel=1e-13)
    assert (again.record, again.flags, again.deviations) == (found.record, found.flags, found.deviations)
    one, two = (of.paper(0, family=0) for of in (found, again))
    assert (two.exponent, two.speed_error_stops) == pytest.approx((one.exponent, one.speed_error_stops), rel=1e-12)
    assert two.flags == one.flags
    assert again.offset("camera", 0).stops == pytest.approx(found.offset("camera", 0).stops, rel=1e-12)


def test_a_state_that_fits_no_longer_is_refused() -> None:
    made, other = club(4), club(4, logs=3)
    found = fit(Cells.from_logs(made.logs), families=made.families)
    state = found.state()
    assert state is not None
    few_cells = Cells.from_logs(other.logs)
    for cells, bad in ((found.cells, state | {"version": 0}), (few_cells, state), (NO_CELLS, state), (few_cells, None)):
        with pytest.raises(Impossible, match="made anew"):
            restored(cells, bad, families=made.families)
    assert restored(NO_CELLS, fit(NO_CELLS).state()).flags == fit(NO_CELLS).flags
