"""A template larger than a page, cut into tiles that overlap and carry marks to join them by.

Rows have letters and columns numbers, A1 being the upper left tile. All tiles of a template are equally large. At a
joint the tile to the right, or below, is cut along its own edge and laid over its neighbour, up to a line there; each
register mark in the strip that both show then lies over its twin.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from optics.core.faults import Impossible
from optics.core.lettering import ON_SHEET
from optics.core.templates.clipping import clipped, holds
from optics.core.templates.moving import moved_label, moved_points, turned
from optics.core.templates.register_marks import Mark, joint_marks
from optics.core.templates.svg import CAPITAL_SHARE, LETTER_WIDTH, Box, document, label_box, strokes, words
from optics.core.templates.template import Label, Line, Point, Template

MOST_PAGES = 100
#: Less could not be glued, nor hold the letters beside a mark.
LEAST_OVERLAP_MM = 5.0
#: Where tiles join, the paper is made at least so long along the joint that the letters beside both marks have room.
LEAST_JOINT_MM = 48.0
#: How to join tiles.
JOINING = (
    "Where a page holds several parts, cut them apart first, between the drawings.",
    "Cut each part along the thin line at its left edge and at its upper edge, where it has one.",
    "Lay the cut edge on the thin line near the right or lower edge of the part before it.",
    "Against a window, or with a needle through the middle of the marks, bring each mark over the one of its name.",
    "Glue the parts together, rows first. Point needles and blades away from your hands.",
)

#: A point so little outside a tile counts as inside: rounding moves it less.
_SLACK_MM = 1e-6
#: The room of a letter as a share of its height.
_WIDE = LETTER_WIDTH / CAPITAL_SHARE
_TURNED = "Turned by a quarter turn, which saves pages; all lengths stay true."

#: A tile's row and column, from 0.
Place = tuple[int, int]


@dataclass(frozen=True)
class Tile:
    """One page's part of a template, from (`x_mm`, `y_mm`) of the whole on.

    Rows and columns count from 0. `template` is the part, moved to begin at (0, 0); its `lengths` are those that lie
    wholly on it. Where `turned`, the whole is the template turned clockwise by 90°, as `turned` does.
    """

    row: int
    column: int
    rows: int
    columns: int
    x_mm: float
    y_mm: float
    turned: bool
    overlap_mm: float
    template: Template
    marks: tuple[Mark, ...]

    @property
    def name(self) -> str:
        return _name((self.row, self.column))


@dataclass(frozen=True)
class _Grid:
    """How many tiles, how large each, and how far from one to the next; across and down."""

    columns: int
    rows: int
    width_mm: float
    height_mm: float
    overlap_mm: float

    def window(self, place: Place) -> Box:
        row, column = place
        left, top = column * (self.width_mm - self.overlap_mm), row * (self.height_mm - self.overlap_mm)
        return left, top, left + self.width_mm, top + self.height_mm

    def alone(self, place: Place) -> Box:
        """What of the window no neighbour shows too."""
        row, column = place
        left, top, right, bottom = self.window(place)
        return (
            left + self.overlap_mm * (column > 0),
            top + self.overlap_mm * (row > 0),
            right - self.overlap_mm * (column < self.columns - 1),
            bottom - self.overlap_mm * (row < self.rows - 1),
        )


def tiles(
    template: Template, *, page_width_mm: float, page_height_mm: float, overlap_mm: float = 10.0
) -> tuple[Tile, ...]:
    """The fewest tiles of at most `page_width_mm` × `page_height_mm` that cover the template, row by row.

    Neighbours share a strip `overlap_mm` wide. A template that fits is one tile without marks. It is turned by 90°
    only where that needs fewer pages. Every label is whole on at least one tile if it fits on any; one that lies on a
    joint is moved onto the tile that holds its anchor. Raises `Impossible`: `overlap_too_small` under
    `LEAST_OVERLAP_MM`, `overlap_too_large` where it is no less than the page, `too_many_pages` over `MOST_PAGES`.
    """
    if not overlap_mm >= LEAST_OVERLAP_MM:
        raise Impossible(
            "overlap_too_small",
            f"Pages must overlap by {LEAST_OVERLAP_MM:g} mm or more, to be glued and marked; not by {overlap_mm:g} mm.",
            "overlap",
        )
    if not overlap_mm < min(page_width_mm, page_height_mm):
        raise Impossible(
            "overlap_too_large",
            f"An overlap of {overlap_mm:g} mm leaves nothing of a page of {page_width_mm:g} × {page_height_mm:g} mm.",
            "overlap",
        )
    upright = _grid(template.width_mm, template.height_mm, page_width_mm, page_height_mm, overlap_mm)
    lying = _grid(template.height_mm, template.width_mm, page_width_mm, page_height_mm, overlap_mm)
    turn = lying.columns * lying.rows < upright.columns * upright.rows
    grid, whole = (lying, turned(template)) if turn else (upright, template)
    count = grid.columns * grid.rows
    if count > MOST_PAGES:
        raise Impossible(
            "too_many_pages",
            f"This template is {template.width_mm:.0f} × {template.height_mm:.0f} mm and would take {count} pages of "
            f"{page_width_mm:g} × {page_height_mm:g} mm; at most {MOST_PAGES} are made.",
            "page",
        )
    if count == 1:
        return (_tile(whole, grid, (0, 0), turn),)
    whole = replace(
        whole,
        width_mm=max(whole.width_mm, min(LEAST_JOINT_MM, page_width_mm)),
        height_mm=max(whole.height_mm, min(LEAST_JOINT_MM, page_height_mm)),
    )
    grid = _grid(whole.width_mm, whole.height_mm, page_width_mm, page_height_mm, overlap_mm)
    at = [(row, column) for row in range(grid.rows) for column in range(grid.columns)]
    labels = _labels_by_tile(whole.labels, grid, at)
    return tuple(
        _tile(_clipped(whole, grid, place, own), grid, place, turn) for place, own in zip(at, labels, strict=True)
    )


def drawn(tile: Tile) -> Template:
    """The tile's part with its register marks and the lines to cut along and lay up to, as a template to print."""
    part = tile.template
    wide, high = part.width_mm, part.height_mm
    across = _joints(tile.column, tile.columns, wide, tile.overlap_mm)
    down = _joints(tile.row, tile.rows, high, tile.overlap_mm)
    lines = [Line("guide", ((x, 0.0), (x, high))) for x in across]
    lines += [Line("guide", ((0.0, y), (wide, y))) for y in down]
    lines += [
        replace(line, points=moved_points(line.points, -tile.x_mm, -tile.y_mm))
        for mark in tile.marks
        for line in mark.lines
    ]
    names = [moved_label(mark.label, -tile.x_mm, -tile.y_mm) for mark in tile.marks]
    return replace(part, lines=(*part.lines, *lines), labels=(*part.labels, *names), turns=not tile.marks)


def assembly(template: Template, tiles: Sequence[Tile]) -> str:
    """An SVG overview, for a sheet, of which tile lies where: not to scale, overlaps darker."""
    whole = turned(template) if tiles[0].turned else template
    last = tiles[-1]
    paper = last.x_mm + last.template.width_mm, last.y_mm + last.template.height_mm
    scale = min(ON_SHEET.wide_mm / paper[0], ON_SHEET.high_mm / paper[1])
    frames, behind, names = [], [], []
    for tile in tiles:
        x, y, wide, high = (
            scale * length for length in (tile.x_mm, tile.y_mm, tile.template.width_mm, tile.template.height_mm)
        )
        frames.append(f'<rect x="{x:.3f}" y="{y:.3f}" width="{wide:.3f}" height="{high:.3f}"/>')
        letter = min(2 * ON_SHEET.letter_mm, high / 2, wide / (_WIDE * len(tile.name)))
        name = Label(x + wide / 2, y + high / 2 + letter / 2, tile.name, letter)
        left, top, right, bottom = label_box(name)
        behind.append(f'<rect x="{left:.3f}" y="{top:.3f}" width="{right - left:.3f}" height="{bottom - top:.3f}"/>')
        names.append(name)
    lines = (replace(line, points=tuple((scale * x, scale * y) for x, y in line.points)) for line in whole.lines)
    body = (
        f'<g fill="#000" fill-opacity="0.1" stroke="#555" stroke-width="0.18">{"".join(frames)}</g>'
        f'{strokes(lines)}<g fill="#fff" fill-opacity="0.8">{"".join(behind)}</g>{words(names)}'
    )
    said = (
        f"How the {len(tiles)} parts of {template.title} lie: rows of letters from the top down, numbered from left "
        f"to right; neighbours overlap by {tiles[0].overlap_mm:g} mm, drawn darker. "
    )
    return document(
        scale * paper[0],
        scale * paper[1],
        title=f"{template.title}: how its parts lie",
        said=said + (_TURNED if tiles[0].turned else ""),
        body=body,
    )


def _grid(width_mm: float, height_mm: float, page_width_mm: float, page_height_mm: float, overlap_mm: float) -> _Grid:
    """The fewest tiles of equal size; n of them and their n - 1 overlaps add up to the whole exactly."""

    def needed(whole_mm: float, page_mm: float) -> int:
        return max(1, int(np.ceil((whole_mm - overlap_mm) / (page_mm - overlap_mm) - 1e-9)))

    columns, rows = needed(width_mm, page_width_mm), needed(height_mm, page_height_mm)
    wide, high = (width_mm + (columns - 1) * overlap_mm) / columns, (height_mm + (rows - 1) * overlap_mm) / rows
    return _Grid(columns, rows, wide, high, overlap_mm)


def _tile(part: Template, grid: _Grid, place: Place, turn: bool) -> Tile:
    left, top, _, _ = grid.window(place)
    notes = (*part.notes, _TURNED) if turn else part.notes
    return Tile(
        row=place[0],
        column=place[1],
        rows=grid.rows,
        columns=grid.columns,
        x_mm=left,
        y_mm=top,
        turned=turn,
        overlap_mm=grid.overlap_mm,
        template=replace(part, notes=notes),
        marks=_marks(grid, place),
    )


def _clipped(whole: Template, grid: _Grid, place: Place, labels: Sequence[Label]) -> Template:
    """The part of the template on the tile at `place`, moved to begin at (0, 0)."""
    left, top, right, bottom = grid.window(place)
    window = left - _SLACK_MM, top - _SLACK_MM, right + _SLACK_MM, bottom + _SLACK_MM
    return replace(
        whole,
        name=f"{whole.name}_{_name(place).lower()}",
        title=f"{whole.title}, part {_name(place)} of {grid.columns * grid.rows}",
        width_mm=grid.width_mm,
        height_mm=grid.height_mm,
        lines=tuple(
            replace(piece, points=moved_points(piece.points, -left, -top))
            for line in whole.lines
            for piece in clipped(line, window)
        ),
        labels=tuple(moved_label(label, -left, -top) for label in labels),
        lengths=tuple(
            replace(length, points=moved_points(length.points, -left, -top))
            for length in whole.lengths
            if holds(window, length.points)
        ),
    )


def _labels_by_tile(labels: Sequence[Label], grid: _Grid, at: Sequence[Place]) -> list[list[Label]]:
    """For each place its labels: those whole there, and those whole nowhere that move least to become so there."""
    own: dict[Place, list[Label]] = {place: [] for place in at}
    for label in labels:
        box, anchor = label_box(label), ((label.x_mm, label.y_mm),)
        whole = [place for place in at if holds(grid.window(place), (box[:2], box[2:]))]
        for place in whole:
            own[place].append(label)
        if not whole:
            holders = [place for place in at if holds(grid.window(place), anchor)] or at
            moves = {place: _move_into(box, grid.window(place), grid.alone(place)) for place in holders}
            nearest = min(holders, key=lambda place: np.hypot(*moves[place]))
            own[nearest].append(moved_label(label, *moves[nearest]))
    return list(own.values())


def _move_into(box: Box, window: Box, alone: Box) -> Point:
    """How far to move a box across and down to lie in a window, clear of its joints where there is room."""
    return _shift(box[::2], window[::2], alone[::2]), _shift(box[1::2], window[1::2], alone[1::2])


def _shift(span: tuple[float, float], window: tuple[float, float], alone: tuple[float, float]) -> float:
    """The same along one axis; nothing where the span is in the window already, or too long for it."""
    low, high = span
    if window[0] <= low and high <= window[1]:
        return 0.0
    for first, last in (alone, window):
        if high - low <= last - first:
            return max(first - low, 0.0) + min(last - high, 0.0)
    return 0.0


def _marks(grid: _Grid, place: Place) -> tuple[Mark, ...]:
    """The marks of a tile's joints with its neighbours: above, left, right, below."""
    row, column = place
    before = [(row - 1, column)] * (row > 0) + [(row, column - 1)] * (column > 0)
    after = [(row, column + 1)] * (column < grid.columns - 1) + [(row + 1, column)] * (row < grid.rows - 1)
    joints = [(other, place) for other in before] + [(place, other) for other in after]
    return tuple(mark for first, second in joints for mark in _joint_marks(grid, first, second))


def _joint_marks(grid: _Grid, first: Place, second: Place) -> tuple[Mark, Mark]:
    """The marks that `first` shares with `second`, to its right or below it."""
    left, top, _, _ = grid.window(second)
    _, _, right, bottom = grid.window(first)
    side_by_side = first[0] == second[0]
    index, count = (first[0], grid.rows) if side_by_side else (first[1], grid.columns)
    crossed = index > 0, index < count - 1
    return joint_marks(f"{_name(first)}-{_name(second)}", (left, top, right, bottom), crossed=crossed)


def _joints(index: int, count: int, reach_mm: float, overlap_mm: float) -> list[float]:
    """Where on a tile its joints are along one axis: its own edge, and where the next tile's edge comes to lie."""
    return [0.0] * (index > 0) + [reach_mm - overlap_mm] * (index < count - 1)


def _name(place: Place) -> str:
    """“A1”; after row Z comes AA."""
    row, letters = place[0] + 1, ""
    while row:
        row, letter = divmod(row - 1, 26)
        letters = chr(ord("A") + letter) + letters
    return f"{letters}{place[1] + 1}"
