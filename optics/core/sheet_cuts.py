"""Equal rectangular pieces from one sheet of photographic paper on a guillotine or rotary trimmer.

Every cut runs from edge to edge of the part in hand. Positions count from the sheet's left (x) and top (y).

Lengths become whole nanometres, rounded down all alike: what fits in real numbers then fits in whole ones too
(four strips of 2.5 in from 10 in, seven of a seventh), and nothing is let in that is more than 1 µm a piece
too large. A blade that eats a kerf k is dealt with by growing: pieces w + k by h + k out of a sheet W + k by
H + k, cut without loss. `_Layout` takes the kerf off again.
"""

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from optics.core.faults import Flag, Impossible
from optics.core.sheet_cuts_search import Search, Size, halves

Grain = Literal["any", "along_width", "along_height"]

#: name -> (width, height) in mm. Inch sizes are exact; metric ones are those of ISO 1008 for paper [memory].
#: Nominal sizes: measure your own sheet before you rely on a layout without waste.
NAMED_SHEETS: dict[str, tuple[float, float]] = {
    "4x5 in": (101.6, 127.0),
    "5x7 in": (127.0, 177.8),
    "8x10 in": (203.2, 254.0),
    "11x14 in": (279.4, 355.6),
    "16x20 in": (406.4, 508.0),
    "20x24 in": (508.0, 609.6),
    "9x12 cm": (90.0, 120.0),
    "13x18 cm": (130.0, 180.0),
    "18x24 cm": (180.0, 240.0),
    "24x30.5 cm": (240.0, 305.0),
}

#: Goes beside every plan that is shown to a person.
CAUTION = "Keep fingers clear of the blade and its guard in place. Cut unexposed paper under its safelight only."

MOST_PIECES = 1000
_LONGEST_MM = 2500.0
_WIDEST_KERF_MM = 50.0
_LEAST_PIECE_MM = 0.01
_NM_PER_MM = 1_000_000
_SHAVING_NM = 3000  # no cut takes less off the sheet


@dataclass(frozen=True)
class Part:
    """A loose rectangle of paper: its top left corner and its size as it lies on the sheet."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class Piece(Part):
    """One finished piece; `turned` where its own width lies along the sheet's height."""

    turned: bool


@dataclass(frozen=True)
class Cut:
    """One straight cut right across `part`, a rectangle that the cuts before have freed.

    The line (x1, y1)–(x2, y2) is the blade's edge towards the sheet's left or top; the kerf lies beyond it.
    `step` counts from 1.
    """

    step: int
    x1_mm: float
    y1_mm: float
    x2_mm: float
    y2_mm: float
    part: Part
    text: str


@dataclass(frozen=True)
class SheetCuts:
    """A cutting plan.

    `waste_share` (0 to 1) is what of the sheet's area ends in no piece. `pieces` run in reading order, `cuts`
    in working order, `offcuts` (what is left over) from the largest down. `optimal`: no guillotine layout
    holds more pieces, proven. Where it is false, the flag `not_proven_best` says how many the area could
    hold.
    """

    sheet_width_mm: float
    sheet_height_mm: float
    kerf_mm: float
    count: int
    waste_share: float
    pieces: tuple[Piece, ...]
    cuts: tuple[Cut, ...]
    offcuts: tuple[Part, ...]
    optimal: bool
    flags: tuple[Flag, ...]


def cut_sheet(
    *,
    sheet_width_mm: float,
    sheet_height_mm: float,
    piece_width_mm: float,
    piece_height_mm: float,
    kerf_mm: float = 0.0,
    grain: Grain = "any",
) -> SheetCuts:
    """As many equal pieces as edge-to-edge cuts can take from a sheet, and the cuts in order.

    `kerf_mm` is the width each cut destroys: 0 for a guillotine or rotary trimmer. Pieces may lie both ways
    unless `grain` forbids it, for paper curls along one direction, and a strip sprung into a curve wants its
    grain one way: `"along_width"` lays every piece's width along the sheet's width, `"along_height"` along
    the sheet's height.

    The count is the greatest possible (`optimal`) for every plan of up to 40 pieces, and in trials for all up
    to 150. Past that it is a very good one, proven only where the area leaves no room for another. Of the
    plans with that count, one with the fewest cuts is taken, and of those one with the largest off-cut; above
    40 pieces that choice is made among many plans, not always all. The same question gets the same plan.

    Lengths are mm, above 0 (pieces: 0.01) and up to 2500, a kerf 0 to 50. Raises `Impossible` with code
    `not_positive`, `negative`, `too_large`, `piece_too_small`, `unknown_grain`, `piece_larger_than_sheet` or
    `too_many_pieces` (the area would hold more than 1000).
    """
    _check_lengths(sheet_width_mm, sheet_height_mm, piece_width_mm, piece_height_mm, kerf_mm)
    kerf = _whole_nm(kerf_mm)
    sheet = _whole_nm(sheet_width_mm) + kerf, _whole_nm(sheet_height_mm) + kerf
    piece = _commensurate((_whole_nm(piece_width_mm) + kerf, _whole_nm(piece_height_mm) + kerf))
    shapes = _fitting_shapes(sheet, piece, grain)
    room = sheet[0] * sheet[1] // math.prod(piece)
    if room > MOST_PIECES:
        raise Impossible(
            "too_many_pieces",
            f"The sheet has room for about {room} such pieces; a plan stops at {MOST_PIECES}. "
            "Take larger pieces or a smaller sheet.",
            "piece",
        )
    search = Search(sheet=sheet, shapes=shapes, kerf=kerf, shaving=_SHAVING_NM)
    layout = _Layout(search, kerf=kerf, upright=None if grain == "along_height" else piece)
    layout.lay_out()
    count = len(layout.pieces)
    waste_share = 1 - count * piece_width_mm * piece_height_mm / (sheet_width_mm * sheet_height_mm)
    optimal = search.exact or count == search.bound
    return SheetCuts(
        sheet_width_mm=sheet_width_mm,
        sheet_height_mm=sheet_height_mm,
        kerf_mm=kerf_mm,
        count=count,
        waste_share=max(0.0, waste_share),
        pieces=tuple(sorted(layout.pieces, key=lambda piece: (piece.y_mm, piece.x_mm))),
        cuts=tuple(layout.cuts),
        offcuts=tuple(sorted(layout.offcuts, key=lambda part: -part.width_mm * part.height_mm)),
        optimal=optimal,
        flags=() if optimal else (_not_proven(count, search.bound),),
    )


class _Layout:
    """Writes a search's splits down as pieces, off-cuts and cuts in working order."""

    def __init__(self, search: Search, *, kerf: int, upright: Size | None) -> None:
        self.search = search
        self.kerf = kerf
        self.upright = upright  # a piece that is not turned; None where all are
        self.pieces: list[Piece] = []
        self.cuts: list[Cut] = []
        self.offcuts: list[Part] = []

    def lay_out(self) -> None:
        """Go through the parts depth first, so that a part taken in hand is finished before the next."""
        loose = [((0, 0), self.search.sheet)]
        while loose:
            corner, size = loose.pop()
            split = self.search.split(size)
            if split.axis is not None:
                loose += reversed(self._cut_up(corner, size, split.axis))
            elif split.count:
                self.pieces.append(Piece(*self._rectangle_mm(corner, size), turned=size != self.upright))
            elif split.offcut:
                self.offcuts.append(Part(*self._rectangle_mm(corner, size)))

    def _cut_up(self, corner: Size, size: Size, axis: int) -> list[tuple[Size, Size]]:
        """All the cuts of one part that run the same way, from the left or top; waste comes last."""
        slices = self._slices(size, axis)
        slices.sort(key=lambda slice_: (self.search.split(slice_).count == 0, -slice_[axis]))
        freed = []
        for slice_ in slices[:-1]:
            self._cut(corner, size, axis, slice_[axis])
            freed.append((corner, slice_))
            corner, size = _moved(corner, axis, slice_[axis]), _moved(size, axis, -slice_[axis])
        return [*freed, (corner, size)]

    def _slices(self, size: Size, axis: int) -> list[Size]:
        slices, uncut = [], [size]
        while uncut:
            size = uncut.pop()
            split = self.search.split(size)
            if split.axis == axis:
                uncut += reversed(halves(size, axis, split.at))
            else:
                slices.append(size)
        return slices

    def _cut(self, corner: Size, size: Size, axis: int, at: int) -> None:
        part = Part(*self._rectangle_mm(corner, size))
        distance_mm = (at - self.kerf) / _NM_PER_MM
        step = len(self.cuts) + 1
        x1, y1, x2, y2 = part.x_mm, part.y_mm, part.x_mm + part.width_mm, part.y_mm + part.height_mm
        if axis == 0:
            x1 = x2 = x1 + distance_mm
        else:
            y1 = y2 = y1 + distance_mm
        self.cuts.append(Cut(step, x1, y1, x2, y2, part, _say_cut(step, part, distance_mm, axis)))

    def _rectangle_mm(self, corner: Size, size: Size) -> tuple[float, float, float, float]:
        x, y, width, height = *corner, size[0] - self.kerf, size[1] - self.kerf
        return x / _NM_PER_MM, y / _NM_PER_MM, width / _NM_PER_MM, height / _NM_PER_MM


def _moved(pair: Size, axis: int, by: int) -> Size:
    return (pair[0] + by, pair[1]) if axis == 0 else (pair[0], pair[1] + by)


def _say_cut(step: int, part: Part, distance_mm: float, axis: int) -> str:
    edge = "left" if axis == 0 else "top"
    if step == 1:
        return f"Cut 1: right across the sheet, {distance_mm:.1f} mm from its {edge} edge."
    return (
        f"Cut {step}: right across the {part.width_mm:.1f} × {part.height_mm:.1f} mm part that lay "
        f"{part.x_mm:.1f} mm from the left and {part.y_mm:.1f} mm from the top of the sheet, "
        f"{distance_mm:.1f} mm from the part's {edge} edge."
    )


def _whole_nm(length_mm: float) -> int:
    """Rounded down, but for the noise of binary fractions."""
    return math.floor(length_mm * _NM_PER_MM + 1e-3)


def _commensurate(piece: Size) -> Size:
    """Sides in a simple ratio, but for rounding, made to be exactly so: three of one then match four of the other."""
    short, long = sorted(piece)
    ratio = Fraction(short, long).limit_denominator(1000)
    p, q = ratio.as_integer_ratio()
    if p == 0 or abs(short * q - long * p) >= p + q:
        return piece
    measure = min(short // p, long // q)
    return (measure * p, measure * q) if piece[0] == short else (measure * q, measure * p)


def _check_lengths(
    sheet_width_mm: float,
    sheet_height_mm: float,
    piece_width_mm: float,
    piece_height_mm: float,
    kerf_mm: float,
) -> None:
    for field, length_mm in (
        ("sheet.width", sheet_width_mm),
        ("sheet.height", sheet_height_mm),
        ("piece.width", piece_width_mm),
        ("piece.height", piece_height_mm),
        ("kerf", kerf_mm),
    ):
        if field != "kerf" and not length_mm > 0:
            raise Impossible("not_positive", "This length must be more than zero.", field)
        if not length_mm >= 0:
            raise Impossible("negative", "The kerf is the width a cut destroys: zero or more.", field)
        if length_mm > (_WIDEST_KERF_MM if field == "kerf" else _LONGEST_MM):
            raise Impossible("too_large", "Sheets and pieces may run to 2.5 m, a kerf to 50 mm.", field)
        if field.startswith("piece") and length_mm < _LEAST_PIECE_MM:
            raise Impossible("piece_too_small", "A piece must measure at least 0.01 mm each way.", field)


def _fitting_shapes(sheet: Size, piece: Size, grain: Grain) -> list[Size]:
    """The ways a piece may lie on the sheet."""
    turned = piece[1], piece[0]
    allowed = {"any": [piece, turned], "along_width": [piece], "along_height": [turned]}.get(grain)
    if allowed is None:
        raise Impossible("unknown_grain", "The grain is any, along_width or along_height.", "grain")
    fitting = [shape for shape in dict.fromkeys(allowed) if _fits(shape, sheet)]
    if fitting:
        return fitting
    if _fits(piece, sheet) or _fits(turned, sheet):
        text = "The piece fits this sheet only across the grain: allow any grain, or take a larger sheet."
    else:
        text = "The piece is larger than the sheet either way round: take a larger sheet or a smaller piece."
    raise Impossible("piece_larger_than_sheet", text, "piece")


def _fits(shape: Size, sheet: Size) -> bool:
    return shape[0] <= sheet[0] and shape[1] <= sheet[1]


def _not_proven(count: int, bound: int) -> Flag:
    return Flag(
        "not_proven_best",
        f"This plan holds {count} pieces. The area would hold {bound}, and not every layout was tried.",
    )
