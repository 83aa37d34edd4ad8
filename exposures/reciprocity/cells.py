"""Additive statistics of logs: all that the pooled model needs to know of a million rows.

A log gives u = log₂(given time / 1 s) and z = result in stops + log₂(indicated time / 1 s). Below 1 s there is no
reciprocity failure, so the model's slope is 1 there; both halves become one straight line in

    x = max(u, 0),    y = z − min(u, 0).

A *cell* sums the logs of one paper × camera × member × grade of evidence. Cells add and subtract, so a new log, a
withdrawn one or another club's table is O(1) work on its own cell.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optics.core.faults import Impossible

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
#: Whole numbers or strings, one kind per array.
Keys = NDArray[Any]

KEYS = ("paper", "camera", "member", "grade")
#: Sums over a cell's logs, each with its weight w: Σw, Σwx, Σwx², Σwy, Σwxy, Σwy². An unweighted log has w = 1.
SUMS = ("weight", "x", "xx", "y", "xy", "yy")
#: So few cells are added to many in their places, instead of summing all anew.
FEW = 100
#: Whole-numbered keys are looked up in a table of at most so many places for each.
DENSE = 16
#: What a row of an already summed table must hold, by name: the keys; COUNT(*); the six sums; MIN(u) and MAX(u).
COLUMNS = (*KEYS, "logs", *SUMS, "shortest_u", "longest_u")


@dataclass(frozen=True)
class Logs:
    """Single logs, each array of shape (n,): the four keys, u in log₂ s, z in stops."""

    paper: Keys
    camera: Keys
    member: Keys
    grade: Keys
    u: Floats
    z: Floats

    def __post_init__(self) -> None:
        for column in fields(self):
            object.__setattr__(self, column.name, np.asarray(getattr(self, column.name)))
        if len({len(getattr(self, column.name)) for column in fields(self)}) > 1:
            raise Impossible("lengths_differ", "Every column of the logs must be equally long.", "logs")
        if not (np.isfinite(np.asarray(self.u, float)).all() and np.isfinite(np.asarray(self.z, float)).all()):
            raise Impossible("not_finite", "Every log needs a finite time and a finite result.", "logs")

    def __len__(self) -> int:
        return len(self.u)

    def where(self, chosen: NDArray[np.bool_] | Ints) -> Logs:
        """The chosen ones."""
        return Logs(*(getattr(self, field.name)[chosen] for field in fields(self)))

    @property
    def x(self) -> Floats:
        return np.maximum(self.u, 0.0)

    @property
    def y(self) -> Floats:
        return self.z - np.minimum(self.u, 0.0)


@dataclass(frozen=True)
class Cells:
    """Summed logs, one row per cell, each array of shape (cells,); sorted by key, no key twice.

    `logs` counts rows; the `SUMS` carry weights, so `weight` falls below `logs` where logs are doubted. `shortest_u`
    and `longest_u` bound the given times; they are the only columns that do not add: subtracting leaves them as they
    were, which can only overstate the range.
    """

    paper: Keys
    camera: Keys
    member: Keys
    grade: Keys
    logs: Floats
    weight: Floats
    x: Floats
    xx: Floats
    y: Floats
    xy: Floats
    yy: Floats
    shortest_u: Floats
    longest_u: Floats
    #: What `levels` answers, where summing has found it already.
    coded: Mapping[str, tuple[Keys, Ints]] = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def from_logs(cls, logs: Logs, weights: Floats | None = None) -> Cells:
        """Sum single logs; `weights` of shape (n,), 0 to 1, default 1."""
        w = np.ones(len(logs)) if weights is None else np.asarray(weights, float)
        x, y = logs.x, logs.y
        sums = (np.ones(len(logs)), w, w * x, w * x * x, w * y, w * x * y, w * y * y)
        return _summed(tuple(getattr(logs, key) for key in KEYS), sums, logs.u, logs.u)

    @classmethod
    def from_columns(cls, columns: Mapping[str, Any]) -> Cells:
        """Take a table summed elsewhere, such as by GROUP BY: a sequence under each name of `COLUMNS`."""
        missing = [name for name in COLUMNS if name not in columns]
        if missing:
            raise Impossible("column_missing", f"A table of cells also needs {', '.join(missing)}.", missing[0])
        sums = tuple(np.asarray(columns[name], float) for name in ("logs", *SUMS))
        ends = (np.asarray(columns[name], float) for name in ("shortest_u", "longest_u"))
        return _summed(tuple(np.asarray(columns[key]) for key in KEYS), sums, *ends)

    @classmethod
    def from_rows(cls, rows: Iterable[tuple[Any, ...]]) -> Cells:
        """Take summed rows, each a tuple in the order of `COLUMNS`."""
        columns: Iterable[Any] = list(zip(*rows, strict=True)) or [()] * len(COLUMNS)
        return cls.from_columns(dict(zip(COLUMNS, columns, strict=True)))

    def __len__(self) -> int:
        return len(self.weight)

    def levels(self, name: str) -> tuple[Keys, Ints]:
        """The distinct keys of one column, sorted, and the place of each cell's key among them."""
        return self.coded.get(name) or levels_of(getattr(self, name))

    def __add__(self, other: Cells) -> Cells:
        if not len(self) or not len(other):
            return self if len(self) else other
        if len(other) <= FEW and (rows := self._rows_of(other)) is not None:
            return self._with_more_in(rows, other)
        joined = {name: np.concatenate([getattr(self, name), getattr(other, name)]) for name in COLUMNS}
        return Cells.from_columns(joined)

    def _rows_of(self, other: Cells) -> Ints | None:
        """The row of each of the other's cells, found by bisection key after key; None where one is new."""
        rows = []
        for keys in zip(*(getattr(other, name).tolist() for name in KEYS), strict=True):
            start, stop = 0, len(self)
            for name, key in zip(KEYS, keys, strict=True):
                column = getattr(self, name)[start:stop]
                ends = np.searchsorted(column, key, "left"), np.searchsorted(column, key, "right")
                start, stop = start + int(ends[0]), start + int(ends[1])
            if start == stop:
                return None
            rows.append(start)
        return np.array(rows)

    def _with_more_in(self, rows: Ints, other: Cells) -> Cells:
        more: dict[str, Any] = {name: getattr(self, name).copy() for name in COLUMNS if name not in KEYS}
        for name in ("logs", *SUMS):
            more[name][rows] += getattr(other, name)
        more["shortest_u"][rows] = np.minimum(more["shortest_u"][rows], other.shortest_u)
        more["longest_u"][rows] = np.maximum(more["longest_u"][rows], other.longest_u)
        return replace(self, **more)

    def __sub__(self, other: Cells) -> Cells:
        """Take logs out again. Cells left without a log vanish; taking out what is not there is refused."""
        negative: dict[str, Any] = {name: -getattr(other, name) for name in ("logs", *SUMS)}
        negative |= {"shortest_u": np.full(len(other), np.inf), "longest_u": np.full(len(other), -np.inf)}
        minus = Cells(**{key: getattr(other, key) for key in KEYS}, **negative)
        left = self + minus
        if (left.logs < -0.5).any() or np.isinf(left.shortest_u).any():
            raise Impossible("not_in_cells", "Only logs that were added before can be taken out.", "cells")
        return left.where(left.logs > 0.5)

    def where(self, chosen: NDArray[np.bool_] | Ints) -> Cells:
        """The chosen rows."""
        return Cells(**{name: getattr(self, name)[chosen] for name in COLUMNS})

    def rows(self) -> list[tuple[Any, ...]]:
        """Tuples in the order of `COLUMNS`, as plain Python numbers and strings."""
        return list(zip(*(getattr(self, name).tolist() for name in COLUMNS), strict=True))


#: No logs at all.
_EMPTY: dict[str, Any] = {name: np.empty(0, dtype=np.int64 if name in KEYS else np.float64) for name in COLUMNS}
NO_CELLS = Cells(**_EMPTY)


def totals(place: Ints, values: Floats, size: int) -> Floats:
    """Sums of `values` over equal places 0 … size − 1."""
    return np.asarray(np.bincount(place, weights=values, minlength=size), dtype=np.float64)


def levels_of(keys: Keys) -> tuple[Keys, Ints]:
    """The distinct keys, sorted, and the place of each key among them."""
    if keys.dtype.kind in "iu" and len(keys):
        low, high = int(keys.min()), int(keys.max())
        if high - low < DENSE * len(keys):  # looked up in a table, which is faster than sorting
            seen = np.zeros(high - low + 1, dtype=bool)
            seen[keys - low] = True
            return np.flatnonzero(seen) + low, (np.cumsum(seen) - 1)[keys - low]
    return np.unique(keys, return_inverse=True)


def _summed(keys: tuple[Keys, ...], sums: tuple[Floats, ...], shortest: Floats, longest: Floats) -> Cells:
    """Rows of equal keys added up, sorted by key."""
    if not len(shortest):
        return NO_CELLS
    levels, places = zip(*(levels_of(key) for key in keys), strict=True)
    code = _joined(levels, places)
    columns: dict[str, Any] = dict(zip(COLUMNS, (*keys, *sums, shortest, longest), strict=True))
    if (np.diff(code) > 0).all():  # nothing to add up
        return Cells(**columns, coded=dict(zip(KEYS, zip(levels, places, strict=True), strict=True)))
    used, cell = levels_of(code)
    cells = len(used)
    first = np.empty(cells, dtype=np.int64)
    first[cell[::-1]] = np.arange(len(cell) - 1, -1, -1)
    columns |= {name: columns[name][first] for name in KEYS}
    columns |= {name: totals(cell, columns[name], cells) for name in ("logs", *SUMS)}
    columns |= {"shortest_u": np.full(cells, np.inf), "longest_u": np.full(cells, -np.inf)}
    np.minimum.at(columns["shortest_u"], cell, shortest)
    np.maximum.at(columns["longest_u"], cell, longest)
    found = zip(levels, (place[first] for place in places), strict=True)
    return Cells(**columns, coded=dict(zip(KEYS, found, strict=True)))


def _joined(levels: tuple[Keys, ...], places: tuple[Ints, ...]) -> Ints:
    """One number for each combination of keys, in their order."""
    code, size = np.zeros(len(places[0]), dtype=np.int64), 1
    for level, place in zip(levels, places, strict=True):
        if size * len(level) >= 2**62:
            used, code = levels_of(code)
            size = len(used)
        code, size = code * len(level) + place, size * len(level)
    return code
