"""The demo's season: the same for the same seed, with one wrong entry, and the pooled model finds its truth."""

import numpy as np
import pytest

from exposures.demo.generator import (
    EXPOSURES,
    PAPERS,
    SCATTER_STOPS,
    SEED,
    Drawn,
    Season,
    TrueOffsets,
    draw_season,
)
from exposures.reciprocity.cells import Logs
from exposures.reciprocity.robust import robust_fit
from exposures.serializers import LogIn
from optics.core.light import Light

F_NUMBERS = {"A": 200.0, "B": 240.0, "C": 300.0, "D": 220.0, "E": 260.0}
MEMBERS = ["ada", "ben", "cleo", "dev"]


def test_the_season_is_the_same_for_the_same_seed() -> None:
    one, two, other = (draw_season(f_numbers=F_NUMBERS, members=MEMBERS, seed=seed) for seed in (SEED, SEED, SEED + 1))
    assert one == two
    assert one.exposures != other.exposures
    assert one.offsets != other.offsets
    assert len({drawn.body["id"] for drawn in one.exposures}) == EXPOSURES
    taken = [drawn.body["taken_at"] for drawn in one.exposures]
    assert taken == sorted(taken)


def test_one_entry_has_minutes_typed_for_seconds() -> None:
    season = draw_season(f_numbers=F_NUMBERS, members=MEMBERS)
    over = {drawn.body["id"]: over_the_truth(drawn, season.offsets) for drawn in season.exposures}
    wrong = over.pop(season.mistyped)
    assert np.nanmax(np.abs(list(over.values()))) < 5 * SCATTER_STOPS
    [drawn] = [drawn for drawn in season.exposures if drawn.body["id"] == season.mistyped]
    assert wrong + drawn.paper.slope * np.log2(60) == pytest.approx(0, abs=4 * SCATTER_STOPS)


def over_the_truth(drawn: Drawn, offsets: TrueOffsets) -> float:
    """How far a log's result lies over what the truth makes of its time, in stops; nan where it was not judged."""
    time_s, effect = told(drawn)
    off = offsets.cameras[drawn.body["camera"]] + offsets.members[drawn.member]
    return effect - drawn.paper.effect_stops(time_s) - off


def told(drawn: Drawn) -> tuple[float, float]:
    """The time that a log speaks of, in s, and its effect in stops; nan where it was not judged."""
    bound = LogIn(data=drawn.body | {"paper": "6f0c9f0e-8a3b-4d6c-9a52-0f2f5a3f7c11"})
    bound.is_valid(raise_exception=True)
    facts = bound.validated_data
    indicated = Light(facts["reading"]).time_s(
        f_number=F_NUMBERS[facts["camera"]], exposure_index=drawn.paper.nominal_exposure_index
    )
    result = facts["result"]
    if result is None:
        return np.nan, np.nan
    effect = np.log2(indicated) + facts["filter_stops"] + (result.stops or 0.0)
    return result.right_time_s or facts["exposure_time"], float(effect)


def errors_of(season: Season) -> tuple[np.ndarray, float]:
    """The pooled answers' errors over their standard errors, (n,): papers' two, cameras', members'; and t for 90 %."""
    rows = [(drawn, *told(drawn)) for drawn in season.exposures]
    judged = [(drawn, np.log2(time_s), effect) for drawn, time_s, effect in rows if np.isfinite(effect)]
    drawn, u, z = zip(*judged, strict=True)
    words = [
        [each.paper.name for each in drawn],
        [each.body["camera"] for each in drawn],
        [each.member for each in drawn],
        [next(iter(each.body["result"])) for each in drawn],
    ]
    logs = Logs(*(np.array(word) for word in words), np.array(u), np.array(z))
    fit = robust_fit([logs], families={paper.name: paper.family for paper in PAPERS}).fit
    errors = []
    for paper in PAPERS:
        line = fit.line(paper.name, family=paper.family)
        off = np.array([line.speed - paper.offset_stops, line.slope - paper.slope])
        errors += (off / np.sqrt(np.diag(line.covariance))).tolist()
    for name, truth in (("camera", season.offsets.cameras), ("member", season.offsets.members)):
        offsets = [fit.offset(name, key) for key in truth]
        errors += [(each.stops - truth[each.key]) / each.error_stops for each in offsets]
    return np.array(errors), fit.quantile(0.9)


def test_intervals_hold_the_generators_truth_nine_times_in_ten_season_after_season() -> None:
    seasons = [draw_season(f_numbers=F_NUMBERS, members=MEMBERS, seed=SEED + season) for season in range(12)]
    errors, quantiles = zip(*map(errors_of, seasons), strict=True)
    held = np.abs(errors) < np.array(quantiles)[:, None]
    assert held.size == 12 * (2 * len(PAPERS) + len(F_NUMBERS) + len(MEMBERS))
    assert 0.82 < held.mean() < 0.97
    assert 0.7 < np.sqrt(np.mean(np.square(errors))) < 1.3
