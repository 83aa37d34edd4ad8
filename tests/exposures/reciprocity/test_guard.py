"""Wrong logs must not bend a curve: 2 % of them off by ±4 stops, minutes typed for seconds, a camera's only log."""

from dataclasses import replace

import numpy as np
import pytest

from exposures.reciprocity.cells import Cells, Logs
from exposures.reciprocity.lines import cell_lines
from exposures.reciprocity.result import Fit, fit
from exposures.reciprocity.robust import doubt, hold, robust_fit, weights
from tests.exposures.reciprocity.made import club


def moved_stops(before: Fit, after: Fit, papers: list[int]) -> float:
    """How far the median paper's right time for 300 s indicated moves, stops."""
    times = [[of.line(paper).right_time_s(300.0) for paper in papers] for of in (before, after)]
    return float(np.median(np.abs(np.log2(np.array(times[1]) / np.array(times[0])))))


def test_two_per_cent_wrong_logs_move_no_curve() -> None:
    made = club(11)
    rng = np.random.default_rng(4)
    wrong = rng.choice(len(made.logs), len(made.logs) // 50, replace=False)
    z = made.logs.z.copy()
    z[wrong] += rng.choice([-4.0, 4.0], len(wrong))
    dirty = replace(made.logs, z=z)
    papers = np.unique(made.logs.paper).tolist()
    clean = robust_fit([made.logs], families=made.families)
    guarded = robust_fit([dirty], families=made.families)
    bare = moved_stops(
        fit(Cells.from_logs(made.logs), families=made.families),
        fit(Cells.from_logs(dirty), families=made.families),
        papers,
    )
    kept = moved_stops(clean.fit, guarded.fit, papers)
    assert kept < 0.1
    assert bare > 2 * kept
    assert (guarded.weights[0][wrong] < 0.5).mean() > 0.95
    assert guarded.doubtful_logs < len(wrong) + 0.01 * len(made.logs)
    assert "outliers" in [flag.code for flag in guarded.fit.flags]


def test_clean_logs_keep_their_weight() -> None:
    made = club(12)
    found = robust_fit([made.logs], families=made.families)
    assert (found.weights[0] > 0.999).mean() > 0.97
    plain = fit(Cells.from_logs(made.logs), families=made.families)
    assert moved_stops(plain, found.fit, list(range(5))) < 0.03


def test_minutes_typed_for_seconds_are_doubted_and_guessed_not_deleted() -> None:
    made = club(13)
    long = int(np.flatnonzero((made.logs.u > 6.5) & (made.logs.u < 8))[0])
    u = made.logs.u.copy()
    u[long] -= np.log2(60)  # 3 min came in as 3 s
    typed = replace(made.logs, u=u)
    found = robust_fit([typed], families=made.families)
    assert found.weights[0][long] < 0.05
    told = doubt(found.fit, typed, found.weights[0])[long]
    assert told is not None
    assert told.code == "doubtful"
    assert "minutes" in told.text
    assert float(found.fit.cells.logs.sum()) == len(typed)


def test_the_only_log_of_a_camera_is_held_against_everybody_else() -> None:
    made = club(14)
    logs = made.logs
    one = Logs(
        *(
            np.append(getattr(logs, name), value)
            for name, value in zip(
                ("paper", "camera", "member", "grade", "u", "z"),
                (0, 99, 0, 0, 5.0, made.speed[0] + 5 * made.slope[0] + 5),
                strict=True,
            )
        )
    )
    found = robust_fit([one], families=made.families)
    assert found.weights[0][-1] < 0.2


def test_deletion_residual_is_that_of_a_fit_without_the_log() -> None:
    made = club(15, papers=5, cameras=4, members=4, logs=80)
    keep = np.arange(80) != 17
    without = Logs(*(getattr(made.logs, n)[keep] for n in ("paper", "camera", "member", "grade", "u", "z")))
    whole = fit(Cells.from_logs(made.logs), families=made.families)
    less = fit(Cells.from_logs(without), families=made.families, warm=whole.theta, steps=False)
    one = Logs(*(getattr(made.logs, n)[~keep] for n in ("paper", "camera", "member", "grade", "u", "z")))
    inside, outside = hold(whole, made.logs), hold(less, one, np.zeros(1))
    assert inside.off_stops[17] == pytest.approx(outside.off_stops[0], abs=1e-9)
    assert inside.t[17] == pytest.approx(outside.t[0], abs=1e-9)


def test_chunks_are_as_good_as_one() -> None:
    made = club(16, logs=200)
    cut = [
        Logs(*(getattr(made.logs, n)[part] for n in ("paper", "camera", "member", "grade", "u", "z")))
        for part in (slice(0, 90), slice(90, None))
    ]
    one, two = robust_fit([made.logs], families=made.families), robust_fit(cut, families=made.families)
    assert one.fit.criterion == pytest.approx(two.fit.criterion, abs=1e-6)
    assert np.concatenate(two.weights) == pytest.approx(one.weights[0], abs=1e-4)


def test_weights_are_flat_then_fall_to_nothing() -> None:
    assert weights(np.array([0.0, 2.5, -2.5, 3.75, 5.0, -9.0])) == pytest.approx([1, 1, 1, 0.5625, 0, 0])


@pytest.mark.parametrize("papers", [4, 60])
def test_lines_of_cells_are_lines_of_papers(papers: int) -> None:
    made = club(17, papers=papers, cameras=9, members=5, logs=300)
    found = fit(Cells.from_logs(made.logs), families=made.families)
    assert found.point is not None
    lines = cell_lines(found.point, found.cells)
    alone = replace(found)
    object.__setattr__(alone, "support", type(found.support)((found.point,), np.ones(1)))
    for row in (0, 7, len(found.cells) - 1):
        line = alone.line(found.cells.paper[row], camera=found.cells.camera[row], member=found.cells.member[row])
        assert lines.speed[row] == pytest.approx(line.speed, abs=1e-9)
        assert lines.slope[row] == pytest.approx(line.slope, abs=1e-9)
        assert [lines.speed_variance[row], lines.mixed[row], lines.slope_variance[row]] == pytest.approx(
            line.covariance[[0, 0, 1], [0, 1, 1]], abs=1e-9
        )


@pytest.mark.parametrize("key", ["member", "camera"])
def test_a_newcomers_wrong_log_does_not_say_that_all_differ_so_much(key: str) -> None:
    """The first log of a member, or with a camera, six stops off: seen although that offset could explain it."""
    made = club(3, papers=4, families=1, cameras=5, members=4, logs=60)
    first = {name: np.append(getattr(made.logs, name), 0) for name in ("paper", "camera", "member", "grade")}
    first[key][-1] = 99
    logs = Logs(**first, u=np.append(made.logs.u, 6.0), z=np.append(made.logs.z, made.speed[0] + 6 * 0.85 - 6))
    found = robust_fit([logs], families=made.families)
    assert found.weights[0][-1] < 0.05
    assert found.fit.deviations[key] < 0.6
    assert doubt(found.fit, logs, found.weights[0])[-1] is not None
