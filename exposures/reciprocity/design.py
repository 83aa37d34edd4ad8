"""From cells to the cross-products of the pooled model.

    y = x + (α_f + a_p) + (δ_f + d_p)·x + b_c + c_m + ε,      Var ε = σ_g²

for a log of paper p in family f with camera c by member m and evidence of grade g. α, δ are fixed; (a, d) of a paper
are jointly normal with a free 2×2 covariance; b and c are independent normals, crossed with the papers. The slope is
written as 1 + δ, so a slope that the logs cannot tell falls back to 1: no reciprocity failure.

Everything here is a sum over cells: nothing depends on the number of logs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
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
    papers, paper = np.unique(cells.paper, return_inverse=True)
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
        levels, code = np.unique(getattr(cells, name), return_inverse=True)
        blocks.append(Block(name, levels, 1, (len(levels) > 1,), (assumed[name],)))
        codes.append(code)
    eliminated = int(np.argmax([block.columns for block in blocks]))

    speed_rows = np.eye(len(family_names), len(family_names) + int(slope_known.sum()))
    slope_rows = np.zeros_like(speed_rows)
    known = np.flatnonzero(slope_known)
    slope_rows[:, len(family_names) :] = 1 / max(len(known), 1)  # the mean of those that are known
    slope_rows[known] = np.eye(speed_rows.shape[1])[len(family_names) :]

    tables = _Tables(cells, grade, len(grades), sloped)
    columns: list[tuple[int, Ints, int]] = [
        (atom, code, len(block.levels))
        for block, code in zip(blocks, codes, strict=True)
        for atom in range(block.width)
    ]
    columns += [(atom, family, len(family_names)) for atom in range(width)]
    owner = [index for index, block in enumerate(blocks) for _ in range(block.width)] + [-1] * width
    pick = [j for j, index in enumerate(owner) if index == eliminated]
    rest = [j for index in range(len(blocks)) if index != eliminated for j in range(len(owner)) if owner[j] == index]
    fixed = [j for j, index in enumerate(owner) if index == -1]
    read_off = np.vstack([speed_rows, slope_rows]) if sloped else speed_rows

    def arrange(pieces: list[Floats], of: list[int]) -> Floats:
        """Columns of the rest in their final order, from one piece (…, levels) for each column list."""
        parts, at = [], 0
        while at < len(of):
            wide = blocks[owner[of[at]]].width
            parts.append(np.stack(pieces[at : at + wide], axis=-1).reshape(*pieces[at].shape[:-1], -1))
            at += wide
        parts.append(np.concatenate(pieces[len(of) :], axis=-1) @ read_off)
        return np.concatenate(parts, axis=-1)

    def against_rest(j: int) -> Floats:
        return arrange([tables.cross(columns[j], columns[i]) for i in rest + fixed], rest)

    across = [against_rest(j) for j in rest + fixed]  # each (G, levels, m)
    A = arrange([np.moveaxis(piece, 1, -1) for piece in across], rest)  # (G, m, m), columns last
    return Design(
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
        D=np.stack([np.stack([tables.own(columns[i], columns[j]) for j in pick], -1) for i in pick], -2),
        B=np.stack([against_rest(j) for j in pick], axis=2),
        A=(A + np.swapaxes(A, 1, 2)) / 2,
        c_eliminated=np.stack([tables.with_y(columns[j]) for j in pick], axis=-1),
        c_rest=arrange([tables.with_y(columns[j]) for j in rest + fixed], rest),
        yy=tables.by_grade(tables.yy),
        weight=tables.by_grade(tables.moments[0]),
    )


class _Tables:
    """Sums of a cell's moments by grade and by the levels of one or two factors. Atom 0 is 1, atom 1 is x."""

    def __init__(self, cells: Cells, grade: Ints, grades: int, sloped: bool) -> None:
        self.grade, self.grades = grade, grades
        self.moments = (cells.weight, cells.x, cells.xx)
        # Less the slope of 1 that every paper starts from: y − x.
        self.y = (cells.y - cells.x, cells.xy - cells.xx) if sloped else (cells.y, cells.xy)
        self.yy = cells.yy - 2 * cells.xy + cells.xx if sloped else cells.yy

    def by_grade(self, values: Floats) -> Floats:
        return totals(self.grade, values, self.grades)

    def with_y(self, column: tuple[int, Ints, int]) -> Floats:
        atom, code, levels = column
        flat = totals(self.grade * levels + code, self.y[atom], self.grades * levels)
        return flat.reshape(self.grades, levels)

    def own(self, one: tuple[int, Ints, int], two: tuple[int, Ints, int]) -> Floats:
        """Of one factor with itself: diagonal, (G, levels)."""
        code, levels = one[1], one[2]
        weights = self.moments[one[0] + two[0]]
        flat = totals(self.grade * levels + code, weights, self.grades * levels)
        return flat.reshape(self.grades, levels)

    def cross(self, one: tuple[int, Ints, int], two: tuple[int, Ints, int]) -> Floats:
        """(G, levels of one, levels of two)."""
        (atom, code, levels), (other_atom, other, others) = one, two
        place = (self.grade * levels + code) * others + other
        size = self.grades * levels * others
        return totals(place, self.moments[atom + other_atom], size).reshape(self.grades, levels, others)


def _grades(cells: Cells, least: float) -> tuple[Keys, Ints, dict[Any, int]]:
    """Grades with an error of their own, each cell's place among them, and that of every grade by its key."""
    names, code = np.unique(cells.grade, return_inverse=True)
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
