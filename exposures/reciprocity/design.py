"""From cells to the cross-products of the pooled model.

    y = x + (α_f + a_p) + (δ_f + d_p)·x + b_c + c_m + ε,      Var ε = σ_g²

for a log of paper p in family f with camera c by member m and evidence of grade g. α, δ are fixed; (a, d) of a paper
are jointly normal with a free 2×2 covariance; b and c are independent normals, crossed with the papers. The slope is
written as 1 + δ, so a slope that the logs cannot tell falls back to 1: no reciprocity failure.

Everything here is a sum over cells: nothing depends on the number of logs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exposures.reciprocity.cells import Cells, Floats, Ints, Keys, totals
from optics.core.faults import Impossible

#: Standard deviations taken for granted where the logs cannot tell one: stops, and stops per stop for the slope.
#: Design judgements, no source; a result that rests on them says so.
ASSUMED = {"speed": 0.5, "slope": 0.12, "camera": 0.3, "member": 0.3, "error": 0.5}
#: A family's slope is estimated from at least this many logs whose log₂ t spreads at least so much (sd, stops).
LEAST_LOGS_FOR_SLOPE = 3
LEAST_SPREAD_STOPS = 0.5
#: Grades with fewer logs than this share the error of the commonest grade.
LEAST_LOGS_FOR_GRADE = 8
#: Nobody reads a print to better than this (stops): the floor of every grade's error. Design judgement.
LEAST_ERROR_STOPS = 0.02
#: The cross-products of a `Design`, which add where logs are added.
TABLES = ("D", "B", "A", "c_eliminated", "c_rest", "yy", "weight")


@dataclass(frozen=True)
class Block:
    """One random factor: `width` effects for each of its levels, whose common Cholesky factor takes `theta`.

    `free` says which of its parameters the logs can tell; the others are held at `held`.
    """

    name: str
    levels: Keys
    width: int
    free: tuple[bool, ...]
    held: tuple[float, ...]

    @property
    def columns(self) -> int:
        return len(self.levels) * self.width


@dataclass(frozen=True)
class Design:
    """Cross-products by grade. `blocks[eliminated]` is the largest factor; the *rest* are the other blocks' columns,
    level by level, and then the fixed ones.

    Shapes, with G grades, L levels of width k eliminated, m columns in the rest: `D` (G, L, k, k), `B` (G, L, k, m),
    `A` (G, m, m), `c_eliminated` (G, L, k), `c_rest` (G, m), `yy` and `weight` (G,).
    """

    cells: Cells
    blocks: tuple[Block, ...]
    eliminated: int
    families: Keys
    paper_family: Ints
    sloped: bool
    #: (families, fixed columns): how a family's speed and slope are read off the fixed effects.
    speed_rows: Floats
    slope_rows: Floats
    slope_known: NDArray[np.bool_]
    #: Grades whose error is estimated, and which of them each grade in the cells takes its error from.
    grades: Keys
    grade_of: dict[Any, int]
    assumed_error: float
    least_error: float
    D: Floats
    B: Floats
    A: Floats
    c_eliminated: Floats
    c_rest: Floats
    yy: Floats
    weight: Floats

    def plus(self, more: Cells) -> Design:
        """With more logs added, whose papers, cameras, members and grades are all in it: what is estimated stays.

        Raises `Impossible` with the code `not_in_fit` where a key is new.
        """
        codes = [known_places(more, block.name, block.levels) for block in self.blocks]
        known_places(more, "grade", np.array(sorted(self.grade_of)))
        grade = np.array([self.grade_of[key] for key in more.grade.tolist()], dtype=np.int64)
        added = _sums(self, more, codes, grade)
        return replace(
            self, cells=self.cells + more, **{name: getattr(self, name) + table for name, table in added.items()}
        )

    @property
    def fixed(self) -> int:
        return int(self.speed_rows.shape[1])

    @property
    def freedom(self) -> float:
        """Logs, by weight, less the fixed effects."""
        return float(self.weight.sum()) - self.fixed

    def slices(self) -> dict[int, slice]:
        """Where each block but the eliminated one lies in the rest, by its index."""
        found, start = {}, 0
        for index, block in enumerate(self.blocks):
            if index != self.eliminated:
                found[index] = slice(start, start + block.columns)
                start += block.columns
        return found

    def level(self, name: str, key: Any) -> tuple[int, int] | None:
        """(block, level) of a camera, member or paper by its key; None where no log has it."""
        for index, block in enumerate(self.blocks):
            if block.name == name:
                at = int(np.searchsorted(block.levels, key)) if _comparable(block.levels, key) else len(block.levels)
                return (index, at) if at < len(block.levels) and block.levels[at] == key else None
        return None


def known_places(cells: Cells, name: str, levels: Keys) -> Ints:
    """The place of each cell's key among sorted `levels`; `Impossible` with the code `not_in_fit` where one is new."""
    keys = getattr(cells, name)
    places = np.minimum(np.searchsorted(levels, keys), len(levels) - 1)
    if not (levels[places] == keys).all():
        raise Impossible("not_in_fit", f"Some {name} of these logs has no log in the fit.", name)
    return places


def _comparable(levels: Keys, key: Any) -> bool:
    return bool(levels.dtype.kind in "US") == isinstance(key, str)


def design(
    cells: Cells,
    *,
    families: Mapping[Any, Any] | None = None,
    crossed: tuple[str, ...] = ("camera", "member"),
    sloped: bool = True,
    assumed: Mapping[str, float] = ASSUMED,
    least_spread_stops: float = LEAST_SPREAD_STOPS,
    least_logs_for_grade: float = LEAST_LOGS_FOR_GRADE,
    least_error_stops: float = LEAST_ERROR_STOPS,
) -> Design:
    """Cross-products of the model.

    `families` names each paper's family (default: all papers are one family); `crossed` the factors that enter as
    random intercepts; `sloped=False` leaves the slope out altogether (then z itself is modelled, nothing is taken
    off). A factor of one level, or a slope that too few papers show, is held at its `assumed` deviation.
    """
    if not len(cells):
        raise Impossible("no_logs", "There are no logs to fit.", "cells")
    papers, paper = cells.levels("paper")
    named = np.asarray([(families or {}).get(key, "") for key in papers.tolist()])
    family_names, paper_family = np.unique(named, return_inverse=True)
    grades, grade, grade_of = _grades(cells, least_logs_for_grade)
    family = paper_family[paper]
    slope_known = _shows_slope(cells, family, len(family_names), least_spread_stops) & sloped
    paper_shows = _shows_slope(cells, paper, len(papers), least_spread_stops)

    spare = len(papers) - len(family_names)
    slope_free = bool(slope_known.any()) and int(paper_shows.sum()) > int(slope_known.sum())
    width = 2 if sloped else 1
    blocks = [
        Block(
            "paper",
            papers,
            width,
            (spare > 0, *([spare > 0 and slope_free, slope_free] if sloped else [])),
            (assumed["speed"], *([0.0, assumed["slope"]] if sloped else [])),
        )
    ]
    codes = [paper]
    for name in crossed:
        levels, code = cells.levels(name)
        blocks.append(Block(name, levels, 1, (len(levels) > 1,), (assumed[name],)))
        codes.append(code)
    eliminated = int(np.argmax([block.columns for block in blocks]))

    speed_rows = np.eye(len(family_names), len(family_names) + int(slope_known.sum()))
    slope_rows = np.zeros_like(speed_rows)
    known = np.flatnonzero(slope_known)
    slope_rows[:, len(family_names) :] = 1 / max(len(known), 1)  # the mean of those that are known
    slope_rows[known] = np.eye(speed_rows.shape[1])[len(family_names) :]

    empty = Design(
        cells=cells,
        blocks=tuple(blocks),
        eliminated=eliminated,
        families=family_names,
        paper_family=paper_family,
        sloped=sloped,
        speed_rows=speed_rows,
        slope_rows=slope_rows,
        slope_known=slope_known,
        grades=grades,
        grade_of=grade_of,
        assumed_error=assumed["error"],
        least_error=least_error_stops,
        **dict.fromkeys(TABLES, np.empty(0)),
    )
    return replace(empty, **_sums(empty, cells, codes, grade))


def _sums(of: Design, cells: Cells, codes: list[Ints], grade: Ints) -> dict[str, Any]:
    """The `TABLES` of a design, from cells with these places among the blocks' levels and the grades."""
    weights = (cells.weight, cells.x, cells.xx)
    # Less the slope of 1 that every paper starts from: y − x.
    y = (cells.y - cells.x, cells.xy - cells.xx) if of.sloped else (cells.y, cells.xy)
    yy = cells.yy - 2 * cells.xy + cells.xx if of.sloped else cells.yy
    grades, blocks = len(of.grades), of.blocks
    #: A paper's own effects as those of its family: (papers, width, fixed columns).
    means = np.stack([of.speed_rows, of.slope_rows], axis=1)[of.paper_family, : blocks[0].width]

    def summed(place: Ints, values: Floats, *shape: int) -> Floats:
        return totals(place, values, int(np.prod(shape))).reshape(shape)

    own, with_y = [], []
    for block, code in zip(blocks, codes, strict=True):
        levels, atoms = len(block.levels), range(block.width)
        place = grade * levels + code
        of_pairs = [[summed(place, weights[i + j], grades, levels) for j in atoms] for i in atoms]
        own.append(np.moveaxis(np.array(of_pairs), (0, 1), (2, 3)))
        with_y.append(np.stack([summed(place, y[i], grades, levels) for i in atoms], -1))

    crossed: dict[tuple[int, int], Floats] = {}  # (G, columns of one block, columns of another)
    for one, other in combinations(range(len(blocks)), 2):
        levels, others = len(blocks[one].levels), len(blocks[other].levels)
        place = (grade * levels + codes[one]) * others + codes[other]
        atoms = range(blocks[one].width)  # only papers, which come first, have two
        pair = np.stack([summed(place, weights[i], grades, levels, others) for i in atoms], 2)
        pair = pair.reshape(grades, -1, others)
        crossed[one, other], crossed[other, one] = pair, np.swapaxes(pair, 1, 2)

    rest = [index for index in range(len(blocks)) if index != of.eliminated]

    def against_rest(one: int) -> Floats:
        """One block's columns with those of the rest, (G, columns, m)."""
        parts = [_on_diagonal(own[one]) if one == other else crossed[one, other] for other in rest]
        if one == 0:
            fixed = np.einsum("glij,ljf->glif", own[0], means).reshape(grades, -1, of.fixed)
        else:
            fixed = crossed[one, 0] @ means.reshape(-1, of.fixed)
        return np.concatenate([*parts, fixed], axis=-1)

    fixed_rows = means.reshape(-1, of.fixed).T @ against_rest(0)
    level, width = own[of.eliminated].shape[1:3]
    return {
        "D": own[of.eliminated],
        "B": against_rest(of.eliminated).reshape(grades, level, width, -1),
        "A": np.concatenate([*(against_rest(index) for index in rest), fixed_rows], axis=1),
        "c_eliminated": with_y[of.eliminated],
        "c_rest": np.concatenate(
            [*(with_y[index].reshape(grades, -1) for index in rest), np.einsum("gli,lif->gf", with_y[0], means)], axis=1
        ),
        "yy": totals(grade, yy, grades),
        "weight": totals(grade, cells.weight, grades),
    }


def _on_diagonal(blocks: Floats) -> Floats:
    """(G, L, k, k) as block-diagonal matrices, (G, L·k, L·k)."""
    grades, levels, width, _ = blocks.shape
    out = np.zeros((grades, levels, width, levels, width))
    at = np.arange(levels)
    out[:, at, :, at, :] = np.swapaxes(blocks, 0, 1)
    return out.reshape(grades, levels * width, levels * width)


def _grades(cells: Cells, least: float) -> tuple[Keys, Ints, dict[Any, int]]:
    """Grades with an error of their own, each cell's place among them, and that of every grade by its key."""
    names, code = cells.levels("grade")
    weight = np.bincount(code, weights=cells.weight)
    own = weight >= least
    own[np.argmax(weight)] = True
    place = np.where(own, np.cumsum(own) - 1, int(np.cumsum(own)[np.argmax(weight)]) - 1)
    return names[own], place[code], dict(zip(names.tolist(), place.tolist(), strict=True))


def _shows_slope(cells: Cells, code: Ints, levels: int, least_spread_stops: float) -> NDArray[np.bool_]:
    """For each level: are there logs enough, at times different enough, to tell a slope?"""
    n, w, x, xx = (
        np.bincount(code, weights=values, minlength=levels) for values in (cells.logs, cells.weight, cells.x, cells.xx)
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        variance = xx / w - (x / w) ** 2
    return (n >= LEAST_LOGS_FOR_SLOPE) & (w > 0) & (variance >= max(least_spread_stops, 1e-9) ** 2)
