"""The search behind `sheet_cuts`: how a rectangle is best split by edge-to-edge cuts into equal pieces.

All lengths are whole numbers, and a cut loses nothing: the caller has grown pieces and sheet by the kerf.

Any guillotine layout can be pushed to the left and to the top without losing a piece. Then every part is a
sum of piece sides wide and high ("normal patterns": Herz 1972; Christofides & Whitlock 1977 [memory]), give
or take waste along its right and lower edge, and the recursion of Gilmore & Gomory (1965) [memory] over the
finite table of those sums yields the true greatest count. Trimming that waste off first never costs an extra
cut [derived], so the same table yields the fewest cuts. The tests check both against a search that tries
every cut at every whole number.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Size = tuple[int, int]

# A value stands for a count and the cuts it takes: count · _PIECE − cuts. More is better; 0 is waste.
_PIECE = 1 << 20
# All the sums are used while the table's work stays under these; beyond, the few that matter most.
_MOST_SUMS = 100_000
_MOST_STATES = 16_000
_MOST_ADDITIONS = 20_000_000
# Cuts weighed for the largest off-cut; beyond, the most even cut is taken.
_MOST_WEIGHED = 3_000


@dataclass(frozen=True)
class Split:
    """How a part is cut, and what comes of it.

    `value` stands for its pieces and cuts down to the last, `offcut` is the area of the largest part left
    over. `axis` is 0 for a cut `at` that far from the left edge, 1 from the top, None for a part left whole.
    """

    value: int
    offcut: int
    axis: int | None = None
    at: int = 0

    @property
    def count(self) -> int:
        return _count(self.value)


def halves(size: Size, axis: int, at: int) -> tuple[Size, Size]:
    """The two parts that a cut of a part leaves."""
    width, height = size
    return ((at, height), (width - at, height)) if axis == 0 else ((width, at), (width, height - at))


class Search:
    """The best splits of a sheet and its parts.

    `sheet` is the sheet, less what is thinner than `shaving`. `exact` says that no guillotine layout holds
    more pieces; `bound` is what the area would hold.
    """

    def __init__(self, *, sheet: Size, shapes: list[Size], kerf: int, shaving: int) -> None:
        self._shapes = shapes
        self._kerf = kerf
        self._piece_area = math.prod(shapes[0])
        self._sums, full = _grid(sheet, shapes)
        width, height = (int(sums[-1]) for sums in self._sums)
        self.sheet = (
            width if sheet[0] - width < shaving else sheet[0],
            height if sheet[1] - height < shaving else sheet[1],
        )
        self._table = _fill_table(*self._sums, shapes)
        self._known: dict[Size, Split] = {}
        self._weighed = 0
        self.bound = width * height // self._piece_area
        self.exact = full or _count(int(self._table[0, 0, -1, -1])) == self.bound

    def split(self, size: Size) -> Split:
        """The split with the most pieces, then the fewest cuts, then the largest off-cut."""
        if size not in self._known:
            self._known[size] = self._best_split(size)
        return self._known[size]

    def _best_split(self, size: Size) -> Split:
        if size in self._shapes:
            return Split(_PIECE, 0)
        best = Split(0, max(size[0] - self._kerf, 0) * max(size[1] - self._kerf, 0))
        for axis, at in self._best_cuts(size):
            if best.value and self._weighed > _MOST_WEIGHED:
                break
            self._weighed += 1
            one, other = (self.split(half) for half in halves(size, axis, at))
            split = Split(one.value + other.value - 1, max(one.offcut, other.offcut), axis, at)
            if (split.value, split.offcut) > (best.value, best.offcut):
                best = split
            if best.offcut == math.prod(size) - best.count * self._piece_area:  # all the waste in one part
                break
        return best

    def _best_cuts(self, size: Size) -> list[tuple[int, int]]:
        """Each cut (axis, at) that the table values highest; none if no piece fits.

        The most even cuts come first: that keeps the recursion shallow.
        """
        (i, wider), (j, higher) = (_floor(self._sums[axis], np.asarray(size[axis])) for axis in (0, 1))
        # Values of parts as high as this one by their width; of parts as wide as this one by their height.
        by_width, by_height = self._table[higher, :, :, j], self._table[:, wider, i]
        found = []
        for axis, values in (0, by_width), (1, by_height):
            length, sums = size[axis], self._sums[axis]
            cuts = np.arange(1, np.searchsorted(sums, length))
            rest, more = _floor(sums, length - sums[cuts])
            value = values[0, cuts] + values[more, rest] - 1
            evenness = np.abs(2 * sums[cuts] - length) / length
            found.append(np.stack([value, evenness, np.full(len(cuts), axis), sums[cuts]]))
        found.append(self._cuts_into_grids(size))
        value, evenness, axes, ats = np.concatenate(found, axis=1)
        best = np.flatnonzero(value == value.max(initial=1))
        best = best[np.argsort(evenness[best], kind="stable")]
        return list(zip(axes[best].astype(int).tolist(), ats[best].astype(int).tolist(), strict=True))

    def _cuts_into_grids(self, size: Size) -> NDArray[np.float64]:
        """Cuts that begin plain rows and columns: columns of value, evenness, axis, at, as in `_best_cuts`.

        They need no entry in the table, which for very many pieces lacks most sums.
        """
        cuts = []
        for w, h in self._shapes:
            columns, rows = size[0] // w, size[1] // h
            if columns * rows == 0:
                continue
            value = float(_grids_of_pieces(np.asarray(size[0]), np.asarray(size[1]), w, h))
            trims = [(axis, at) for axis, at in ((0, columns * w), (1, rows * h)) if at < size[axis]]
            middle = (0, columns // 2 * w) if columns > 1 else (1, rows // 2 * h)
            cuts += [(value, 0.0, axis, at) for axis, at in trims or [middle]]
        return np.array(cuts, dtype=float).reshape(-1, 4).T


def _grid(sheet: Size, shapes: list[Size]) -> tuple[tuple[Ints, Ints], bool]:
    """Widths and heights of the parts to look at, and whether they are all that could matter."""
    sides = [sorted({shape[axis] for shape in shapes}) for axis in (0, 1)]
    if all(_most_sums(sheet[axis], sides[axis]) <= _MOST_SUMS for axis in (0, 1)):
        xs, ys = (side_sums(sheet[axis], sides[axis]) for axis in (0, 1))
        if _quick(xs, ys):
            return (xs, ys), True
    most = 1000
    while True:
        xs, ys = (few_side_sums(sheet[axis], sides[axis], most) for axis in (0, 1))
        if _quick(xs, ys):
            return (xs, ys), False
        most = most * 3 // 4


def _most_sums(length: int, sides: list[int]) -> int:
    return math.prod(length // side + 1 for side in sides)


def _quick(xs: Ints, ys: Ints) -> bool:
    states = len(xs) * len(ys)
    return states <= _MOST_STATES and states * (len(xs) + len(ys)) <= _MOST_ADDITIONS


def side_sums(length: int, sides: list[int]) -> Ints:
    """All sums of piece sides up to `length`, 0 among them, rising."""
    sums = np.zeros(1, dtype=np.int64)
    for side in sides:
        sums = (sums[:, None] + _multiples(length, side)).ravel()
        sums = sums[sums <= length]
    return np.unique(sums)


def few_side_sums(length: int, sides: list[int], most: int) -> Ints:
    """The sums that matter most: multiples of one side, and the fullest sum that contains each multiple.

    Of each side some `most` multiples are taken, evenly spread, and the fullest sum of all.
    """
    found = [np.zeros(1, dtype=np.int64)]
    for side, other in zip(sides, reversed(sides), strict=True):
        multiples = _multiples(length, side)
        fullest = multiples + (length - multiples) // other * other
        step = len(multiples) // most + 1
        found += [multiples[::step], fullest[::step], fullest[[fullest.argmax()]]]
    return np.unique(np.concatenate(found))


def _multiples(length: int, side: int) -> Ints:
    return np.arange(length // side + 1, dtype=np.int64) * side


def _fill_table(xs: Ints, ys: Ints, shapes: list[Size]) -> Ints:
    """Highest values of parts, shape (2, 2, len(xs), len(ys)).

    `[0, 0, i, j]` is for a part of exactly `xs[i]` by `ys[j]`. A 1 in first place is for a part a little
    higher, a 1 in second place for one a little wider: waste that takes one more cut, unless there is nothing
    to keep. A part that can do no better is passed over: its area is used up, or all its waste is one
    off-cut.
    """
    table = np.zeros((2, 2, len(xs), len(ys)), dtype=np.int64)
    exact = table[0, 0]
    for w, h in shapes:
        np.maximum(exact, _grids_of_pieces(xs[:, None], ys, w, h), out=exact)
    # With an off-cut there are as many cuts as pieces; without, one fewer, which no other layout betters.
    ceiling = xs[:, None] * ys // math.prod(shapes[0]) * (_PIECE - 1)
    cuts_of_ys = [_cuts(ys, j) for j in range(len(ys))]
    for i in range(1, len(xs)):
        cuts, rest, more = _cuts(xs, i)
        np.maximum(exact[i], table[0, 1, i - 1], out=exact[i])
        if len(cuts):
            np.maximum(exact[i], (exact[cuts] + table[0, more, rest] - 1).max(axis=0), out=exact[i])
        _fill_row(table[:, 0, i], ceiling[i], cuts_of_ys)
        table[0, 1, i] = np.maximum(table[0, 1, i - 1], exact[i] - 1)
    table[1, 1] = np.maximum(np.maximum.accumulate(table[1, 0], axis=0) - 1, 0)
    return table


def _fill_row(row: Ints, ceiling: Ints, cuts_of_ys: list[tuple[Ints, Ints, Ints]]) -> None:
    """Improve parts of one width by cuts across it, the lowest first; `row` is (exact, a little higher)."""
    exact, higher = row
    for j in range(1, len(exact)):
        if exact[j] < ceiling[j]:
            cuts, rest, more = cuts_of_ys[j]
            exact[j] = max(exact[j], higher[j - 1])
            if len(cuts):
                exact[j] = max(exact[j], (exact[cuts] + row[more, rest]).max() - 1)
        higher[j] = max(higher[j - 1], exact[j] - 1)


def _grids_of_pieces(xs: Ints, ys: Ints, w: int, h: int) -> Ints:
    """The value of plain rows and columns of pieces, trimmed on the right and below."""
    columns, rows = xs // w, ys // h
    trims = (xs > columns * w).astype(np.int64) + (ys > rows * h)
    return np.where(columns * rows > 0, columns * rows * (_PIECE - 1) + 1 - trims, 0)


def _cuts(sums: Ints, index: int) -> tuple[Ints, Ints, Ints]:
    """Where `sums[index]` may be cut, up to its middle: index of each cut, and of its rest as by `_floor`."""
    cuts = np.arange(1, np.searchsorted(sums, sums[index] // 2, "right"))
    return cuts, *_floor(sums, sums[index] - sums[cuts])


def _floor(sums: Ints, lengths: Ints) -> tuple[Ints, Ints]:
    """Index of the largest sum within each length, and 1 where some length is left beyond it, else 0."""
    index = np.searchsorted(sums, lengths, "right") - 1
    return index, (sums[index] < lengths).astype(np.int64)


def _count(value: int) -> int:
    return -(-value // _PIECE)
