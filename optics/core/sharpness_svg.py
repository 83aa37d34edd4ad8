"""How sharp a hole draws, as a plot: contrast against the fineness of detail above, the image of a point below."""

from collections.abc import Iterator
from html import escape

import numpy as np
from numpy.typing import NDArray

from .sharpness import Sharpness

Floats = NDArray[np.float64]

#: Units are CSS pixels on the narrowest phone, where the plot is drawn at its own size.
WIDTH, LEFT, RIGHT, PANEL, LETTER = 300.0, 34.0, 10.0, 130.0, 11.0
TOPS = (26.0, 232.0)
HEIGHT = TOPS[1] + PANEL + 40
#: Every so many of a curve's samples is drawn.
EVERY = 2


def sharpness_svg(found: Sharpness) -> str:
    """SVG of both curves, the frequencies of half and a tenth of the contrast marked."""
    transfer, spread = found.modulation_transfer, found.point_spread
    frequency, radius_um = transfer.frequency_cycles_per_mm, spread.radius_mm * 1000
    brightness = spread.relative_intensity / spread.relative_intensity.max()
    half, tenth = found.mtf50_cycles_per_mm, found.mtf10_cycles_per_mm
    said = (
        f"Contrast falls to a half at {half:.2f} and to a tenth at {tenth:.2f} cycles per mm on the film. "
        f"A point's image first falls to half of its brightness {_falls_to(radius_um, brightness, 0.5):.0f} µm from "
        "its middle."
    )
    lowest = min(0.0, float(transfer.contrast.min()))
    marks = [(half, 0.5, f"half at {half:.2f}"), (tenth, 0.1, f"a tenth at {tenth:.2f}")]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" '
        f'font-family="sans-serif" font-size="{LETTER:g}"><title>How sharp the hole draws</title>'
        f'<desc>{escape(said)}</desc><rect width="{WIDTH:g}" height="{HEIGHT:g}" fill="#fff"/>'
    )
    parts = [
        head,
        *_panel(TOPS[0], "Contrast of detail", "cycles per mm on the film", frequency, transfer.contrast),
        *(_mark(_across(x, frequency[-1]), _up(TOPS[0], lowest, y), words) for x, y, words in marks),
        *_panel(TOPS[1], "Brightness of a point's image", "µm from its middle", radius_um, brightness),
    ]
    return "".join(parts) + "</svg>"


def _panel(top: float, title: str, along: str, x: Floats, y: Floats) -> Iterator[str]:
    low = min(0.0, float(y.min()))
    bottom = top + PANEL
    yield f'<text x="{LEFT:g}" y="{top - 10:g}">{escape(title)}</text>'
    for level in (0.0, 0.5, 1.0):
        at = _up(top, low, level)
        yield (
            f'<path d="M{LEFT:g} {at:.1f}H{WIDTH - RIGHT:g}" stroke="#ccc"/>'
            f'<text x="{LEFT - 5:g}" y="{at + 4:.1f}" text-anchor="end">{level:g}</text>'
        )
    for tick in _ticks(float(x[-1])):
        yield f'<text x="{_across(tick, x[-1]):.1f}" y="{bottom + 14:g}" text-anchor="middle">{tick:g}</text>'
    yield f'<text x="{(LEFT + WIDTH - RIGHT) / 2:g}" y="{bottom + 29:g}" text-anchor="middle">{escape(along)}</text>'
    yield (
        f'<rect x="{LEFT:g}" y="{top:g}" width="{WIDTH - LEFT - RIGHT:g}" height="{PANEL:g}" fill="none" '
        'stroke="#333"/>'
    )
    drawn = zip(x[::EVERY], y[::EVERY], strict=True)
    points = " ".join(f"{_across(a, x[-1]):.1f},{_up(top, low, b):.1f}" for a, b in drawn)
    yield f'<polyline points="{points}" fill="none" stroke="#111" stroke-width="1.6"/>'


def _mark(across: float, up: float, words: str) -> str:
    """A dot on the curve, its figure above and to the right, where a falling curve leaves room, inside the plot."""
    starts = min(across + 6, WIDTH - RIGHT - 4 - 0.6 * LETTER * len(words))
    return (
        f'<circle cx="{across:.1f}" cy="{up:.1f}" r="3" fill="#111"/>'
        f'<text x="{starts:.1f}" y="{up - 5:.1f}">{escape(words)}</text>'
    )


def _across(x: float, most: float) -> float:
    return LEFT + (WIDTH - LEFT - RIGHT) * x / most


def _up(top: float, low: float, y: float) -> float:
    return top + PANEL * (1 - (y - low) / (1 - low))


def _falls_to(x: Floats, y: Floats, level: float) -> float:
    """The first x at which y, which begins above `level`, is no longer above it."""
    k = int(np.argmax(y <= level))
    share = (y[k - 1] - level) / (y[k - 1] - y[k])
    return float(x[k - 1] + share * (x[k] - x[k - 1]))


def _ticks(most: float) -> list[float]:
    """Some 3 to 6 round numbers from 0 up to `most`."""
    rough = most / 5
    ten = 10.0 ** np.floor(np.log10(rough))
    step = next(float(ten * digit) for digit in (1, 2, 5, 10) if ten * digit >= rough)
    return [float(f"{step * k:.6g}") for k in range(int(most / step * (1 + 1e-9)) + 1)]
