"""A cutting plan drawn to true scale: pieces and cuts numbered, what is left over hatched."""

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import NamedTuple

from optics.core.lettering import ON_PHONE, Shown
from optics.core.say import Lengths, say_in
from optics.core.sheet_cuts import CAUTION, Cut, Part, SheetCuts

_DIGIT_WIDTH = 0.6  # of the text size, for a sans serif face
# Sizes of numbers as shares of the least that can be read: the largest for pieces; in the order to try for cuts.
_LARGEST_PIECE_NUMBER = 1.8
_CUT_SCALES = (1.1, 1.0)
# Sixteenths of a cut's length, in the order to try.
_PLACES_ALONG_CUT = (8, 4, 12, 2, 14, 6, 10, 1, 15, 3, 13, 5, 11, 7, 9)
_MOST_CUTS_NUMBERED = 99
# Of a line of the caption, as shares of the text size.
_LETTER_WIDTH, _LINE = 0.5, 1.35
_SAME_MM = 0.005

Point = tuple[float, float]
Box = tuple[float, float, float, float]


class Place(NamedTuple):
    """Where a number stands, its text size, and the room it takes."""

    middle: Point
    size: float
    box: Box


def sheet_cuts_svg(plan: SheetCuts, *, shown: Shown = ON_PHONE, captioned: bool = True, lengths: Lengths = "mm") -> str:
    """The plan as an SVG document: one unit is 1 mm, width and height are true, no inline style.

    All its writing can be read where it is `shown`, the caption below taking what height it needs. Numbers of pieces
    (plain) and of cuts (white on black) never overlap; one that finds no room is left out, and the caption says so.
    Reads in black and white. Without the caption drawn, the same words still stand in `desc`.
    """
    letter_mm = shown.letter(lambda letter: _Page(plan, (), letter).size)
    numbers, all_numbered = _numbers(plan, letter_mm)
    sentences = [say_in(line, lengths) for line in _caption(plan, all_numbered)]
    page = _Page(plan, sentences if captioned else [], letter_mm)
    width, height = page.size
    x, y = page.margin_mm + (page.across_mm - plan.sheet_width_mm) / 2, page.margin_mm
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{_mm(width)}mm" height="{_mm(height)}mm" '
        f'viewBox="0 0 {_mm(width)} {_mm(height)}" font-family="sans-serif" font-size="{_mm(letter_mm)}">'
    )
    lines = [
        head,
        f"<title>{escape(say_in(_title(plan), lengths))}</title>",
        f"<desc>{escape(' '.join(sentences))}</desc>",
        f'<rect width="{_mm(width)}" height="{_mm(height)}" fill="#fff"/>',
        f'<g transform="translate({_mm(x)} {_mm(y)})">',
        *_shapes(plan, letter_mm),
        *numbers,
        "</g>",
    ]
    for row, line in enumerate(page.lines):
        baseline = plan.sheet_height_mm + 1.5 * page.margin_mm + _LINE * letter_mm * (row + 0.75)
        lines.append(f'<text x="{_mm(page.margin_mm)}" y="{_mm(baseline)}">{escape(line)}</text>')
    return "\n".join([*lines, "</svg>\n"])


@dataclass(frozen=True)
class _Page:
    """How the sheet and the caption below it are laid out for letters of a height."""

    plan: SheetCuts
    caption: Sequence[str]
    letter_mm: float

    @property
    def across_mm(self) -> float:
        """Of the sheet, or as wide as a caption needs where the sheet is narrow."""
        return max(self.plan.sheet_width_mm, 0.6 * self.plan.sheet_height_mm, 22 * self.letter_mm)

    @property
    def margin_mm(self) -> float:
        return 2.5 * self.letter_mm

    @property
    def lines(self) -> list[str]:
        letters = int(self.across_mm / (_LETTER_WIDTH * self.letter_mm))
        return [line for text in self.caption for line in textwrap.wrap(text, letters)]

    @property
    def size(self) -> tuple[float, float]:
        caption_mm = _LINE * self.letter_mm * (len(self.lines) + 0.5) if self.caption else 0.5 * self.margin_mm
        return self.across_mm + 2 * self.margin_mm, self.plan.sheet_height_mm + 1.5 * self.margin_mm + caption_mm


def _title(plan: SheetCuts) -> str:
    first = plan.pieces[0]
    size = (first.height_mm, first.width_mm) if first.turned else (first.width_mm, first.height_mm)
    pieces = "1 piece" if plan.count == 1 else f"{plan.count} pieces"
    return f"{pieces} of {_size(*size)} from a sheet of {_size(plan.sheet_width_mm, plan.sheet_height_mm)}"


def _caption(plan: SheetCuts, all_numbered: bool) -> Iterator[str]:
    yield _title(plan) + "."
    cuts = "1 cut" if len(plan.cuts) == 1 else f"{len(plan.cuts)} cuts"
    if not plan.cuts:
        yield "No cut is needed."
    elif len(plan.cuts) > _MOST_CUTS_NUMBERED:
        yield f"{cuts}, too many to number here: see the list of cuts."
    else:
        yield f"{cuts}, in the order of the numbers on black."
        if not all_numbered:
            yield "Numbers that found no room are left out: see the list of cuts."
    if plan.kerf_mm:
        yield f"Each cut destroys {plan.kerf_mm:.1f} mm (dark), beyond its line."
    if plan.offcuts:
        largest = plan.offcuts[0]
        yield f"Hatched: left over; largest part {_size(largest.width_mm, largest.height_mm)}."
    if plan.waste_share >= 0.0005:
        yield f"In no piece: {100 * plan.waste_share:.1f} % of the sheet."
    yield from (flag.text for flag in plan.flags)
    yield CAUTION


def _shapes(plan: SheetCuts, text_mm: float) -> Iterator[str]:
    thin, thick = _mm(0.04 * text_mm), _mm(0.1 * text_mm)
    sheet = Part(0, 0, plan.sheet_width_mm, plan.sheet_height_mm)
    yield _rectangle(sheet, f'fill="{"#777" if plan.kerf_mm else "#fff"}" stroke="#000" stroke-width="{thick}"')
    for offcut in plan.offcuts:
        yield _rectangle(offcut, 'fill="#eee"')
        yield f'<path d="{_hatching(offcut, 0.5 * text_mm)}" stroke="#000" stroke-width="{thin}"/>'
    for piece in plan.pieces:
        yield _rectangle(piece, f'fill="#fff" stroke="#000" stroke-width="{thin}"')
    for cut in plan.cuts:
        ends = f'x1="{_mm(cut.x1_mm)}" y1="{_mm(cut.y1_mm)}" x2="{_mm(cut.x2_mm)}" y2="{_mm(cut.y2_mm)}"'
        yield f'<line {ends} stroke="#000" stroke-width="{thick}"/>'


def _hatching(part: Part, gap_mm: float) -> str:
    """Slanted lines x + y = constant, a multiple of the gap so that neighbours match, clipped to the part."""
    right, bottom = part.x_mm + part.width_mm, part.y_mm + part.height_mm
    first, last = int((part.x_mm + part.y_mm) / gap_mm) + 1, int((right + bottom) / gap_mm)
    path = []
    for total in (gap_mm * n for n in range(first, last + 1)):
        x1, x2 = max(part.x_mm, total - bottom), min(right, total - part.y_mm)
        path.append(f"M{_mm(x1)} {_mm(total - x1)}L{_mm(x2)} {_mm(total - x2)}")
    return "".join(path)


def _numbers(plan: SheetCuts, text_mm: float) -> tuple[list[str], bool]:
    """The numbers as drawn, and whether each found a place clear of those before it."""
    digits = len(str(plan.count))
    room = 0.8 * min(plan.pieces[0].width_mm, plan.pieces[0].height_mm)
    size = min(_LARGEST_PIECE_NUMBER * text_mm, room, room / (_DIGIT_WIDTH * digits))
    taken: list[Box] = []
    drawn = []
    for number, piece in enumerate(plan.pieces if size >= text_mm else (), 1):
        middle = piece.x_mm + piece.width_mm / 2, piece.y_mm + piece.height_mm / 2
        taken.append(_around(middle, _DIGIT_WIDTH * size * digits, size))
        drawn.append(_text(number, middle, size, "#000"))
    for cut in plan.cuts if len(plan.cuts) <= _MOST_CUTS_NUMBERED else ():
        lines = [(other.x1_mm, other.y1_mm, other.x2_mm, other.y2_mm) for other in plan.cuts if other != cut]
        place = _clear_place(cut, plan, text_mm, taken + lines) or _clear_place(cut, plan, text_mm, taken)
        if place:
            taken.append(place.box)
            drawn += _badge(cut, place)
    return drawn, len(taken) == len(plan.pieces) + len(plan.cuts)


def _clear_place(cut: Cut, plan: SheetCuts, text_mm: float, taken: list[Box]) -> Place | None:
    places = (place for scale in _CUT_SCALES for place in _places(cut, plan, scale * text_mm))
    return next((place for place in places if not any(_overlap(place.box, box) for box in taken)), None)


def _places(cut: Cut, plan: SheetCuts, size: float) -> Iterator[Place]:
    """Places for a cut's number: along its line, or in the margin where the line leaves the sheet."""
    width, height = (0.8 + _DIGIT_WIDTH * len(str(cut.step))) * size, 1.4 * size
    dx, dy = cut.x2_mm - cut.x1_mm, cut.y2_mm - cut.y1_mm
    middles = []
    if dx >= width or dy >= height:
        middles += [(cut.x1_mm + share / 16 * dx, cut.y1_mm + share / 16 * dy) for share in _PLACES_ALONG_CUT]
    beside, above = 0.6 * width, 0.7 * height
    if dy and cut.y1_mm == 0:
        middles.append((cut.x1_mm, -above))
    if dx and cut.x1_mm == 0:
        middles.append((-beside, cut.y1_mm))
    if dy and plan.sheet_height_mm - cut.y2_mm < _SAME_MM:
        middles.append((cut.x2_mm, cut.y2_mm + above))
    if dx and plan.sheet_width_mm - cut.x2_mm < _SAME_MM:
        middles.append((cut.x2_mm + beside, cut.y2_mm))
    return (Place(middle, size, _around(middle, width, height)) for middle in middles)


def _badge(cut: Cut, place: Place) -> list[str]:
    x1, y1, x2, y2 = place.box
    lozenge = (
        f'<rect x="{_mm(x1)}" y="{_mm(y1)}" width="{_mm(x2 - x1)}" height="{_mm(y2 - y1)}" '
        f'rx="{_mm(0.7 * place.size)}" stroke="#fff" stroke-width="{_mm(0.1 * place.size)}"/>'
    )
    return [lozenge, _text(cut.step, place.middle, place.size, "#fff")]


def _text(number: int, middle: Point, size: float, fill: str) -> str:
    x, y = middle
    return (
        f'<text x="{_mm(x)}" y="{_mm(y + 0.36 * size)}" font-size="{_mm(size)}" text-anchor="middle" '
        f'fill="{fill}">{number}</text>'
    )


def _around(middle: Point, width: float, height: float) -> Box:
    x, y = middle
    return x - width / 2, y - height / 2, x + width / 2, y + height / 2


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _rectangle(part: Part, attributes: str) -> str:
    place = f'x="{_mm(part.x_mm)}" y="{_mm(part.y_mm)}"'
    return f'<rect {place} width="{_mm(part.width_mm)}" height="{_mm(part.height_mm)}" {attributes}/>'


def _size(width_mm: float, height_mm: float) -> str:
    """With spaces that no line breaks at."""
    return f"{width_mm:.1f}\N{NO-BREAK SPACE}×\N{NO-BREAK SPACE}{height_mm:.1f}\N{NO-BREAK SPACE}mm"


def _mm(length_mm: float) -> str:
    return f"{length_mm:.3f}".rstrip("0").rstrip(".")
