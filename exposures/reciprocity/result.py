"""A fit of the pooled model, and what it answers about papers, cameras and members.

Signs: a camera's offset b > 0 means that its negatives come out with b stops more light than its f-number promises:
the hole passes 2^b times the light, so its diameter is 2^(b/2) times the measured one. b < 0: the hole is smaller than
measured. A member's offset c > 0 means that this member's logs come out c stops over what others get: the meter asks
for more time than theirs, or the eye judges darker.

Intervals use Student's t with the degrees of freedom of the logs and means over likely variances (`support`), and
suppose normal errors; `tests/bench/reciprocity_simulation.py` measures how often they hold.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from scipy.special import stdtrit

from exposures.reciprocity.cells import Cells, Floats
from exposures.reciprocity.design import ASSUMED, Design, design
from exposures.reciprocity.doubts import (
    LEAST_FREEDOM,
    NO_LOGS,
    fit_flags,
    level_flags,
    paper_flags,
    time_flags,
)
from exposures.reciprocity.lines import Line, add_effect, covariances, no_sums, values
from exposures.reciprocity.objective import Objective, Point
from exposures.reciprocity.optimiser import Run, is_singular, optimise, scales
from exposures.reciprocity.support import Support, support
from optics.core.faults import Flag, Impossible

#: How far a paper nobody has logged may be off its nominal speed (sd, stops). Design judgement, no source.
ASSUMED_MEAN_SPEED = 1.0
#: Grows whenever the same θ would mean something else.
STATE_VERSION = 1
#: Indicated times at which a curve is tabled: 1 s to 1 h 8 min in whole stops.
CURVE_S = tuple(float(2**n) for n in range(13))


@dataclass(frozen=True)
class Fit:
    """The model at its optimum. `point` is None where there are no logs at all: then everything is assumed."""

    cells: Cells
    point: Point | None
    record: tuple[Run, ...]
    flags: tuple[Flag, ...]
    #: Where it is known already; else it is looked for when first needed.
    kept_support: Support | None = None

    @property
    def theta(self) -> Floats | None:
        """What a warm start needs, and what is stored with a fingerprint of the data."""
        return None if self.point is None else self.point.theta

    @property
    def criterion(self) -> float | None:
        return None if self.point is None else self.point.criterion

    @cached_property
    def errors_stops(self) -> dict[Any, float]:
        """Standard deviation of a single log, by grade of evidence."""
        if self.point is None:
            return {}
        errors = np.exp(self.point.theta[self.point.objective.grade_place])
        return {grade: float(errors[place]) for grade, place in self.point.design.grade_of.items()}

    @cached_property
    def deviations(self) -> dict[str, float]:
        """Standard deviations between papers (`speed`, `slope`, their `correlation`), cameras and members."""
        if self.point is None:
            return {}
        found: dict[str, float] = {}
        for block, factor in zip(self.point.design.blocks, self.point.factors, strict=True):
            spread = factor @ factor.T
            names = ("speed", "slope") if block.name == "paper" else (block.name,)
            found |= {name: float(np.sqrt(v)) for name, v in zip(names, np.diag(spread), strict=False)}
            if block.width > 1:
                product = found["speed"] * found["slope"]
                found["correlation"] = float(spread[0, 1] / product) if product > 0 else 0.0
        return found

    def state(self) -> dict[str, Any] | None:
        """What `restored` needs to answer the same without a search, as plain numbers for JSON; None without logs."""
        if self.point is None:
            return None
        return {
            "version": STATE_VERSION,
            "theta": self.point.theta.tolist(),
            "support": [point.theta.tolist() for point in self.support.points],
            "weights": self.support.weights.tolist(),
            "record": [asdict(run) for run in self.record],
            "flags": [asdict(flag) for flag in self.flags],
        }

    def quantile(self, share: float) -> float:
        """Student's t for a two-sided interval that holds `share`."""
        freedom = 1.0 if self.point is None else max(self.point.design.freedom, 1.0)
        return float(stdtrit(freedom, (1 + share) / 2))

    def line(
        self, paper: Any, *, camera: Any = None, member: Any = None, family: Any = None, index_stops: float = 0.0
    ) -> Line:
        """The line of a paper. Without a camera: one that is as its f-number says; without a member: the average one.

        A camera or member without logs adds the spread between cameras or members to the error. A paper without logs
        is its `family`'s mean, or the mean of all families where that has none either. `index_stops` is log₂ of the
        nominal index that indicated times will be reckoned with, over the one that the cells' effects count from.
        """
        known = [key is not None for key in (camera, member)]
        mean, spread = self.effects({paper: family}, [camera][: known[0]], [member][: known[1]])
        rows = np.zeros((2, len(mean)))
        rows[:, :2] = np.eye(2)
        rows[0, 2:] = 1
        speed, slope = (rows @ mean).tolist()
        return Line(speed - index_stops, 1.0 + slope, rows @ spread @ rows.T)

    @cached_property
    def support(self) -> Support:
        """The fits over which answers are means; see `support`."""
        assert self.point is not None  # noqa: S101  (asked only where there is a fit)
        return self.kept_support or support(self.point.objective, self.point)

    def effects(
        self, papers: Mapping[Any, Any], cameras: Sequence[Any] = (), members: Sequence[Any] = ()
    ) -> tuple[Floats, Floats]:
        """Means and joint covariance of effects, in stops: (n,), (n, n).

        Of each paper (with its family) the speed and what its slope is over 1, one after the other; then cameras; then
        members. What has no logs is at its mean, as unsure as others of its kind differ.
        """
        keys = [*(("camera", key) for key in cameras), *(("member", key) for key in members)]
        size = 2 * len(papers) + len(keys)
        if self.point is None:
            speeds = np.arange(size) < 2 * len(papers)
            speeds[1::2] = False
            own = [ASSUMED["speed"], ASSUMED["slope"]] * len(papers) + [ASSUMED[name] for name, _ in keys]
            return np.zeros(size), ASSUMED_MEAN_SPEED**2 * np.outer(speeds, speeds) + np.diag(np.square(own))
        of, sums = self.point.design, no_sums(self.point, size)
        fixed = slice(sums.rest.shape[1] - of.fixed, None)
        strange: list[tuple[int, int]] = []  # row and block of what has no logs
        for row, (key, family) in zip(range(0, size, 2), papers.items(), strict=False):
            speed, slope = sums.rest[row : row + 2, fixed]
            at = of.level("paper", key)
            if at is None:
                families = np.flatnonzero(of.families == family) if family is not None else np.empty(0, int)
                families = families if len(families) else np.arange(len(of.families))
                strange.append((row, 0))
            else:
                families = of.paper_family[[at[1]]]
                for atom in range(of.blocks[0].width):
                    add_effect(self.point, sums, row + atom, 0, at[1], atom=atom)
            speed += of.speed_rows[families].mean(axis=0)
            slope += of.slope_rows[families].mean(axis=0)
        blocks = {block.name: index for index, block in enumerate(of.blocks)}
        for row, (name, key) in enumerate(keys, 2 * len(papers)):
            at = of.level(name, key)
            if at is not None:
                add_effect(self.point, sums, row, *at)
            elif name in blocks:
                strange.append((row, blocks[name]))
        points = self.support.points
        spreads = covariances(points, sums)
        for row, block in strange:
            factors = np.array([point.factors[block] for point in points])
            where = slice(row, row + factors.shape[1])
            spreads[:, where, where] += factors @ np.swapaxes(factors, 1, 2)
        return self.support.mixed(values(points, sums), spreads)

    def paper(self, key: Any, *, family: Any = None, index_stops: float = 0.0) -> PaperAnswer:
        """What is known of one paper by itself, camera and member allowed for; `index_stops` as in `line`."""
        line = self.line(key, family=family, index_stops=index_stops)
        rests_on = Evidence.of(self.cells.where(self.cells.paper == key) if len(self.cells) else self.cells)
        slope_error = float(np.sqrt(line.covariance[1, 1]))
        slopes = [line.slope + side * self.quantile(0.9) * slope_error for side in (-1, 1)]
        half, ninety = (zip(*line.interval_s(CURVE_S, quantile=self.quantile(q)), strict=True) for q in (0.5, 0.9))
        curve = tuple(
            CurvePoint(*row, bool(time_flags(rests_on.shortest_s, rests_on.longest_s, row[1])))
            for row in zip(CURVE_S, line.right_time_s(CURVE_S), half, ninety, strict=True)
        )
        return PaperAnswer(
            paper=key,
            line=line,
            speed_stops=line.speed,
            speed_error_stops=float(np.sqrt(line.covariance[0, 0])),
            index_factor=float(2**line.speed),
            exponent=1 / line.slope if line.slope > 0 else np.inf,
            exponent_interval=tuple(1 / s if s > 0 else np.inf for s in reversed(slopes)),  # type: ignore[arg-type]
            curve=curve,
            evidence=rests_on,
            flags=(*self.flags, *paper_flags(self.point, rests_on.logs, line.slope, slope_error)),
        )

    def offset(self, name: str, key: Any) -> Offset:
        """How far a camera or member (`name`) lies off the others, in stops, with its prediction error."""
        return self.offsets(name, [key])[0]

    def offsets(self, name: str, keys: Sequence[Any]) -> list[Offset]:
        """`offset` of many at once."""
        spread = self.deviations.get(name, ASSUMED[name])
        mean, covariance = self.effects({}, **{f"{name}s": keys})
        found = []
        for key, stops, error in zip(keys, mean.tolist(), np.sqrt(np.diag(covariance)).tolist(), strict=True):
            rests_on = Evidence.of(
                self.cells.where(getattr(self.cells, name) == key) if len(self.cells) else self.cells
            )
            known = rests_on.logs > 0
            flags = (*self.flags, *level_flags(error, spread, rests_on.logs)) if known else (NO_LOGS, *self.flags)
            found.append(Offset(name, key, stops, error, spread, rests_on, flags))
        return found


@dataclass(frozen=True)
class Evidence:
    """What an answer rests on. Times in s, nan without logs."""

    logs: int
    cameras: int
    members: int
    shortest_s: float
    longest_s: float

    @classmethod
    def of(cls, cells: Cells) -> Evidence:
        if not len(cells):
            return cls(0, 0, 0, np.nan, np.nan)
        return cls(
            logs=round(float(cells.logs.sum())),
            cameras=len(np.unique(cells.camera)),
            members=len(np.unique(cells.member)),
            shortest_s=float(2 ** cells.shortest_u.min()),
            longest_s=float(2 ** cells.longest_u.max()),
        )


@dataclass(frozen=True)
class CurvePoint:
    """One row of a paper's table: the right time, and where it lies with 50 % and 90 %, in s."""

    indicated_s: float
    time_s: float
    half: tuple[float, float]
    ninety: tuple[float, float]
    extrapolating: bool


@dataclass(frozen=True)
class PaperAnswer:
    """One paper. `index_factor` times the nominal exposure index is the effective one; t = indicated^exponent."""

    paper: Any
    line: Line
    speed_stops: float
    speed_error_stops: float
    index_factor: float
    exponent: float
    exponent_interval: tuple[float, float]
    curve: tuple[CurvePoint, ...]
    evidence: Evidence
    flags: tuple[Flag, ...]


@dataclass(frozen=True)
class Offset:
    """A camera's or member's offset in stops; `spread_stops` is the deviation between all of its kind."""

    name: str
    key: Any
    stops: float
    error_stops: float
    spread_stops: float
    evidence: Evidence
    flags: tuple[Flag, ...]

    @property
    def told_apart(self) -> bool:
        """Whether zero lies outside its 90 % interval."""
        return abs(self.stops) > 1.645 * self.error_stops

    @property
    def diameter_ratio(self) -> float:
        """For a camera: the hole's diameter as its negatives tell, over the measured one."""
        return float(2 ** (self.stops / 2))


def fit(
    cells: Cells,
    *,
    families: Mapping[Any, Any] | None = None,
    warm: Floats | None = None,
    doubtful_logs: int = 0,
    steps: bool = True,
    **options: Any,
) -> Fit:
    """Fit the pooled model to cells; `options` as in `design`.

    With fewer than `LEAST_FREEDOM` logs to spare, every variance is assumed and a flag says so. `warm` is an earlier
    fit's θ; with `steps=False` its variances are kept (the assumed ones without it) and only effects and predictions
    are renewed.
    """
    if not len(cells) or not float(cells.weight.sum()) > 0:
        return Fit(cells, None, (), (NO_LOGS,))
    return _fitted(design(cells, families=families, **options), warm=warm, doubtful_logs=doubtful_logs, steps=steps)


def _fitted(of: Design, *, warm: Floats | None, doubtful_logs: int, steps: bool) -> Fit:
    objective = Objective(of)
    if warm is not None and np.shape(warm) != objective.held.shape:
        warm = None
    too_few = of.freedom < LEAST_FREEDOM
    if too_few or not steps:
        point = objective.at(objective.held if too_few or warm is None else warm)
        record: tuple[Run, ...] = ()
    else:
        best = optimise(objective, warm=warm)
        point, record = best.point, best.record
    if point is None:
        raise np.linalg.LinAlgError("The equations of the pooled model cannot be solved at the stored variances.")
    singular = not too_few and is_singular(objective, point, scales(objective))
    flags = fit_flags(of, too_few=too_few, singular=singular, record=record, doubtful_logs=doubtful_logs)
    return Fit(of.cells, point, record, flags)


def restored(
    cells: Cells, state: Mapping[str, Any] | None, *, families: Mapping[Any, Any] | None = None, **options: Any
) -> Fit:
    """The fit whose `state` was kept, over the same cells: nothing is searched for, the equations are solved again.

    Raises `Impossible` with the code `state_stale` where the state is another version's or does not fit the cells.
    """
    stale = Impossible("state_stale", "The stored fit is of another kind; it must be made anew.", "state")
    if state is None or not len(cells):
        if state is not None or len(cells):
            raise stale
        return fit(cells)
    if state.get("version") != STATE_VERSION:
        raise stale
    objective = Objective(design(cells, families=families, **options))
    thetas = [np.array(theta, dtype=float) for theta in (state["theta"], *state["support"])]
    if any(theta.shape != objective.held.shape for theta in thetas):
        raise stale
    point, solved = objective.at(thetas[0]), Support.at(objective, thetas[1:], np.array(state["weights"]))
    if point is None or solved is None:
        raise stale
    record = tuple(Run(**run) for run in state["record"])
    return Fit(cells, point, record, tuple(Flag(**flag) for flag in state["flags"]), solved)


def refreshed(last: Fit, more: Cells, *, steps: bool = False, doubtful_logs: int = 0, **options: Any) -> Fit:
    """The last fit with more logs, whose sums are `more`: what they change at once, before the next full fit.

    Variances and how likely others are (`support`) are kept, or with `steps=True` searched for anew from the last
    ones. Where all papers, cameras, members and grades of the new logs are in the last fit, they join its tables, and
    which slopes and grades are estimated stays; else all is summed again with `options` as in `fit`.
    """
    if last.point is None:
        return fit(last.cells + more, doubtful_logs=doubtful_logs, **options)
    try:
        of = last.point.design.plus(more)
    except Impossible:
        return fit(last.cells + more, warm=last.theta, doubtful_logs=doubtful_logs, steps=steps, **options)
    found = _fitted(of, warm=last.theta, doubtful_logs=doubtful_logs, steps=steps)
    if steps or found.point is None:
        return found
    kept = last.support
    if len(kept.points) > 1:
        again = Support.at(found.point.objective, [point.theta for point in kept.points], kept.weights)
    else:
        again = Support((found.point,), kept.weights)
    return replace(found, record=last.record, kept_support=again)
