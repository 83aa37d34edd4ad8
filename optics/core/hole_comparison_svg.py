"""The comparison of holes and formats as a plot: detail above, light below, one line a format."""

from collections.abc import Callable, Iterator, Sequence
from html import escape

import numpy as np

from .film_detail import HoleComparison, Pair

WIDTH, LEFT, RIGHT = 480.0, 64.0, 20.0
TOP, PANEL, GAP, KEY = 40.0, 190.0, 44.0, 18.0
#: Dashes, so that lines are told apart without colour.
DASHES = ("none", "10 5", "2 4", "12 4 2 4", "5 5", "16 6", "2 8", "10 3 2 3 2 3")


def hole_comparison_svg(comparison: HoleComparison) -> str:
    """SVG of line pairs in the picture and stops against hole diameter, both axes by ratio."""
    formats = [[p for p in comparison.pairs if p.format == k] for k in range(len(comparison.labels))]
    diameters = [pair.diameter_mm for pair in formats[0]]
    across = _scale(min(diameters), max(diameters), LEFT, WIDTH - RIGHT)
    height = TOP + 2 * PANEL + GAP + 46 + KEY * len(formats)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" role="img"',
        ' font-family="sans-serif" font-size="12"><title>Detail and light by hole and format</title>',
        f"<desc>{escape(' '.join(comparison.answer))}</desc>",
        f'<rect width="{WIDTH:g}" height="{height:g}" fill="#fff"/>',
    ]
    parts += _panel(
        formats,
        across=across,
        top=TOP,
        title="Line pairs across × down, in thousands",
        value=lambda p: max(p.picture, 1.0) / 1000,
        marks=_ratio_marks,
    )
    parts += _panel(
        formats,
        across=across,
        top=TOP + PANEL + GAP,
        title="Stops of light against f/22",
        value=lambda p: p.stops_from_f22,
        marks=None,
    )
    bottom = TOP + 2 * PANEL + GAP
    for mark in _ratio_marks(min(diameters), max(diameters)):
        parts.append(f'<text x="{across(mark):.1f}" y="{bottom + 16:g}" text-anchor="middle">{mark:g}</text>')
    middle = (LEFT + WIDTH - RIGHT) / 2
    parts.append(f'<text x="{middle:g}" y="{bottom + 34:g}" text-anchor="middle">hole diameter, mm</text>')
    for k, label in enumerate(comparison.labels):
        y = bottom + 52 + KEY * k
        parts.append(
            f'<line x1="{LEFT:g}" x2="{LEFT + 40:g}" y1="{y:g}" y2="{y:g}" {_stroke(k)}/>'
            f'<text x="{LEFT + 50:g}" y="{y + 4:g}">{escape(label)}</text>'
        )
    return "".join(parts) + "</svg>"


def _panel(
    formats: Sequence[Sequence[Pair]],
    *,
    across: Callable[[float], float],
    top: float,
    title: str,
    value: Callable[[Pair], float],
    marks: Callable[[float, float], list[float]] | None,
) -> Iterator[str]:
    """One panel; by ratio where `marks` gives its marks, else evenly, a mark a stop or more."""
    values = [value(pair) for pairs in formats for pair in pairs]
    low, high = min(values), max(values)
    if marks is None:
        step = max(1, round((high - low) / 6))
        low, high = np.floor(low), np.ceil(high)
        places = np.arange(low, high + 1, step).tolist()
        up = _scale(low, high, top + PANEL, top, even=True)
    else:
        low, high = low / 1.15, high * 1.15
        places, up = marks(low, high), _scale(low, high, top + PANEL, top)
    yield f'<text x="{LEFT:g}" y="{top - 10:g}">{escape(title)}</text>'
    for place in places:
        y = up(place)
        yield (
            f'<line x1="{LEFT:g}" x2="{WIDTH - RIGHT:g}" y1="{y:.1f}" y2="{y:.1f}" stroke="#ccc"/>'
            f'<text x="{LEFT - 6:g}" y="{y + 4:.1f}" text-anchor="end">{place:g}</text>'.replace(">-", ">−")
        )
    yield (
        f'<rect x="{LEFT:g}" y="{top:g}" width="{WIDTH - LEFT - RIGHT:g}" height="{PANEL:g}" fill="none" '
        'stroke="#333"/>'
    )
    for k, pairs in enumerate(formats):
        points = " ".join(f"{across(pair.diameter_mm):.1f},{up(value(pair)):.1f}" for pair in pairs)
        yield f'<polyline points="{points}" fill="none" {_stroke(k)}/>'
        for pair in pairs:
            yield f'<circle cx="{across(pair.diameter_mm):.1f}" cy="{up(value(pair)):.1f}" r="2" fill="#111"/>'


def _stroke(k: int) -> str:
    width = 1.4 + 1.2 * (k // len(DASHES))
    return f'stroke="#111" stroke-width="{width:g}" stroke-dasharray="{DASHES[k % len(DASHES)]}"'


def _scale(low: float, high: float, start: float, end: float, *, even: bool = False) -> Callable[[float], float]:
    """A map from low…high to start…end, by ratio or evenly; the middle where there is but one value."""
    if even:
        return lambda v: start + (end - start) * (v - low) / (high - low) if high > low else (start + end) / 2
    span = float(np.log(high / low))
    return lambda v: start + (end - start) * (float(np.log(v / low)) / span if span else 0.5)


def _ratio_marks(low: float, high: float) -> list[float]:
    """Round numbers between low and high: 1, 2, 5 of each ten, or every round digit where that gives too few."""
    for digits in ((1, 2, 5), (1, 1.5, 2, 3, 4, 5, 6, 8)):
        tens = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
        marks = [float(f"{digit * 10.0**ten:.3g}") for ten in tens for digit in digits]
        marks = [mark for mark in marks if low * 0.999 <= mark <= high * 1.001]
        if len(marks) >= 4:
            break
    return marks
