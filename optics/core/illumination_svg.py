"""How the light falls off over a negative, as a map: a grey for every step, a line with its figure where it changes."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from .film_planes import FilmPlane
from .illumination import stops_map
from .lettering import ON_PHONE, Shown

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]

#: The map's largest measures in mm, and the points it is made from along and up the film.
WIDE_MM, HIGH_MM = 130.0, 72.0
COLUMNS, ROWS = 97, 65
#: Greys of the brightest and the darkest step, 255 = white.
LIGHTEST, DARKEST = 255, 125
#: Steps are half stops as long as there are at most this many, then whole ones; nothing is told apart below `DEEPEST`.
MOST_HALVES, DEEPEST = 8, 8.0
#: What differs by less is even: no line is drawn about it.
_EVEN = 0.02
_LETTER_WIDTH = 0.6


def illumination_svg(plane: FilmPlane, *, thickness_share: float, shown: Shown = ON_PHONE) -> str:
    """The film laid flat, y up: stops against the hole's axis, which is the cross.

    A line for every half or whole stop carries its figure, whole ones drawn through and halves dashed; a dot marks the
    darkest corner. It reads without colour, at the size at which it is `shown`. The axis point itself is 0.
    """
    scale = min(WIDE_MM / plane.length_mm, HIGH_MM / plane.height_mm)
    width, height = plane.length_mm * scale, plane.height_mm * scale
    letter = shown.letter(lambda _: (width, height))
    x, stops_at = _sampled(plane, thickness_share)
    lowest, highest = float(stops_at.min()), float(stops_at.max())
    steps = levels(lowest, highest)
    axis = (plane.axis_s_mm + plane.length_mm / 2) * scale, (plane.height_mm / 2 - plane.hole_offset_y_mm) * scale
    regions = [_Region(level, _brighter(plane, x, stops_at, level, scale)) for level in steps]
    shades = np.linspace(LIGHTEST, DARKEST, len(steps) + 1).round().astype(int)[::-1]
    thin = letter / 20
    fills = [
        f'<path d="{region.path}" fill="#{3 * f"{shade:02x}"}" stroke="#000" stroke-width="{thin:.2f}"{region.dashes}/>'
        for region, shade in zip(regions, shades[1:], strict=True)
        if region.path
    ]
    darkest = _darkest_place(plane, stops_at)
    cross = 0.6 * letter
    paper = _Paper(width, height, letter, [_around(*axis, 2 * cross, 2 * cross)])
    figures = [*_dot(paper, lowest, darkest)]
    for region in regions:
        figures += _figure(paper, region, axis)
    said = (
        f"Light on the film laid flat, in stops against the hole's axis: from {say(highest)} to {say(lowest)}. "
        f"Lines at {', '.join(say(level) for level in reversed(steps)) or 'none: it is even to half a stop'}."
    )
    frame = f'x="{thin:.2f}" y="{thin:.2f}" width="{width - 2 * thin:.2f}" height="{height - 2 * thin:.2f}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.3f} {height:.3f}" role="img" '
        f'font-family="sans-serif" font-size="{letter:.2f}"><title>Light on the film</title>'
        f'<desc>{escape(said)}</desc><rect width="{width:.2f}" height="{height:.2f}" fill="#{3 * f"{shades[0]:02x}"}"/>'
        f'{"".join(fills)}<rect {frame} fill="none" stroke="#000" stroke-width="{2 * thin:.2f}"/>'
        f'<path d="M{axis[0] - cross:.2f} {axis[1]:.2f}h{2 * cross:.2f}M{axis[0]:.2f} {axis[1] - cross:.2f}'
        f'v{2 * cross:.2f}" stroke="#000" stroke-width="{2 * thin:.2f}" fill="none"/>{"".join(figures)}</svg>'
    )


def say(stops: float) -> str:
    """“−1.3”, “0.0”, “+0.2”; “dark” where no light falls."""
    if not np.isfinite(stops):
        return "dark"
    text = f"{abs(stops):.1f}"
    return text if text == "0.0" else ("+" if stops > 0 else "−") + text


def levels(lowest: float, highest: float) -> list[float]:
    """The stops at which lines are drawn between two, darkest first: every half, or every whole where there are many.

    Both in stops, `lowest` possibly -inf; none lies below −`DEEPEST`.
    """
    bottom = max(lowest, -DEEPEST)
    step = 0.5 if highest - bottom <= MOST_HALVES / 2 else 1.0
    first, last = int(np.ceil(bottom / step)), int(np.floor(highest / step))
    return [step * k for k in range(first, last + 1) if lowest + _EVEN < step * k < highest - _EVEN]


def _sampled(plane: FilmPlane, thickness_share: float) -> tuple[Floats, Floats]:
    """Places along the film in mm, and the stops there, (heights over the axis as far as the film reaches, places)."""
    half = plane.length_mm / 2
    x = np.union1d(np.linspace(-half, half, COLUMNS), plane.profile.breaks_mm)
    return x, stops_map(plane, s_mm=x, y_mm=_heights(plane) + plane.hole_offset_y_mm, thickness_share=thickness_share)


def _heights(plane: FilmPlane) -> Floats:
    return np.linspace(*plane.row_range_mm(), ROWS)


@dataclass(frozen=True)
class _Region:
    """Where the light is brighter than a level: outlines in the map's mm."""

    level: float
    outlines: Sequence[Floats]

    @property
    def path(self) -> str:
        return "".join(
            "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in outline.tolist()) + "Z" for outline in self.outlines
        )

    @property
    def dashes(self) -> str:
        return "" if self.level == round(self.level) else ' stroke-dasharray="2 1.4"'


def _brighter(plane: FilmPlane, x: Floats, stops: Floats, level: float, scale: float) -> list[Floats]:
    """Outlines of what is brighter than `level`, in the map's mm.

    In a column light falls as the height over the axis grows, so the brighter part is one piece about the axis, up to
    a height found between two samples: light runs nearly straight against its square, down to none at all.
    """
    heights, low, high = _heights(plane), -plane.height_mm / 2, plane.height_mm / 2
    light = np.exp2(stops - level)
    count = (light > 1).sum(axis=0)
    k, columns = np.clip(count, 1, len(heights) - 1), np.arange(len(x))
    squares, share = heights**2, _share_to_one(light[k - 1, columns], light[k, columns])
    reach = np.sqrt(squares[k - 1] + share * (squares[k] - squares[k - 1]))
    reach = np.where(count == len(heights), heights[-1], reach)
    outlines = []
    for run in np.split(columns, np.flatnonzero(np.diff(count > 0)) + 1):
        if count[run[0]] == 0:
            continue
        at, tall = x[run], reach[run]
        for end, beyond in ((0, run[0] - 1), (-1, run[-1] + 1)):
            if 0 <= beyond < len(x):  # it ends between two columns, on the axis's row
                share = _share_to_one(light[0, run[end]], light[0, beyond])
                at = np.insert(at, len(at) if end else 0, x[run[end]] + share * (x[beyond] - x[run[end]]))
                tall = np.insert(tall, len(tall) if end else 0, heights[0])
        top = np.clip(plane.hole_offset_y_mm + tall, low, high)
        bottom = np.clip(plane.hole_offset_y_mm - tall, low, high)
        outline = np.column_stack([np.concatenate([at, at[::-1]]), np.concatenate([top, bottom[::-1]])])
        outlines.append((outline * [1, -1] + [plane.length_mm / 2, high]) * scale)
    return outlines


def _share_to_one(inner: Floats, outer: Floats) -> Floats:
    """How far on the way from `inner`, above 1, to `outer`, at most 1, a straight line passes 1."""
    return np.clip((inner - 1) / np.maximum(inner - outer, 1e-12), 0, 1)


def _darkest_place(plane: FilmPlane, stops: Floats) -> tuple[bool, bool]:
    """Whether the darkest corner is at the right, and at the top."""
    darkest = stops[-1]
    return bool(darkest[-1] <= darkest[0]), plane.hole_offset_y_mm <= 0


@dataclass(frozen=True)
class _Paper:
    """The map's size and letter height in mm, and where something is written already."""

    width: float
    height: float
    letter: float
    taken: list[Box]

    def has_room(self, box: Box) -> bool:
        inside = box[0] >= 0 and box[1] >= 0 and box[2] <= self.width and box[3] <= self.height
        return inside and not any(_overlap(box, other) for other in self.taken)


def _dot(paper: _Paper, lowest: float, place: tuple[bool, bool]) -> Iterator[str]:
    """A dot in the darkest corner with its figure, if the map has room for it."""
    right, top = place
    words, dot, letter = say(lowest), paper.letter / 5, paper.letter
    wide = _LETTER_WIDTH * letter * len(words)
    x, y = (paper.width - 1.5 * dot if right else 1.5 * dot), (1.5 * dot if top else paper.height - 1.5 * dot)
    at = x + (-1 if right else 1) * (wide / 2 + 1.5 * dot), y + (1 if top else -1) * (letter / 2 - 0.5 * dot)
    box = _around(*at, wide, letter)
    if paper.has_room(box):
        paper.taken.append(box)
        yield f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{dot:.2f}"/>'
        yield _written(words, *at, wide, letter)


def _figure(paper: _Paper, region: _Region, axis: tuple[float, float]) -> Iterator[str]:
    """The level's figure on its line, as near to the axis's row as there is room."""
    words = say(region.level)
    wide, edge = _LETTER_WIDTH * paper.letter * len(words), 1e-6 * paper.width
    corners = np.concatenate(region.outlines) if region.outlines else np.empty((0, 2))
    inside = (corners > edge) & (corners < np.array([paper.width, paper.height]) - edge)
    corners = corners[inside.all(axis=1)]
    nearest = np.lexsort([-corners[:, 0], np.abs(corners[:, 1] - axis[1])])
    for x, y in corners[nearest].tolist():
        box = _around(x, y, wide, paper.letter)
        if paper.has_room(box):
            paper.taken.append(box)
            yield _written(words, x, y, wide, paper.letter)
            return


def _written(words: str, x: float, y: float, wide: float, letter: float) -> str:
    return (
        f'<rect x="{x - wide / 2:.2f}" y="{y - letter / 2:.2f}" width="{wide:.2f}" height="{letter:.2f}" '
        f'rx="{letter / 4:.2f}" fill="#fff"/>'
        f'<text x="{x:.2f}" y="{y + 0.36 * letter:.2f}" text-anchor="middle" fill="#000">{words}</text>'
    )


def _around(x: float, y: float, wide: float, high: float) -> Box:
    return x - wide / 2, y - high / 2, x + wide / 2, y + high / 2


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
