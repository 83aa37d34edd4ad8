"""How the light falls off over a negative, as a drawing: grey by stops, with figures at marked points."""

from html import escape
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optics.core.film_planes import FilmPlane
from optics.core.illumination import stops_map

Floats = NDArray[np.float64]

#: The drawing's largest measures in mm, its cells, and the greys of a stop: light enough to write on.
WIDE_MM, HIGH_MM = 130.0, 72.0
COLUMNS, ROWS = 60, 36
_LIGHTEST, _DARKEST, _STEP = 255, 150, 26


def marked_points(plane: FilmPlane, *, thickness_share: float) -> tuple[Floats, Floats, Floats]:
    """x (5,) and y (3,) in mm along the film laid flat, y up, and the stops there (3, 5), top row first."""
    x = np.linspace(-0.5, 0.5, 5) * plane.length_mm
    y = np.array([0.5, 0.0, -0.5]) * plane.height_mm
    return x, y, stops_map(plane, s_mm=x, y_mm=y, thickness_share=thickness_share)


def light_svg(plane: FilmPlane, *, thickness_share: float) -> str:
    """The film laid flat, 1 unit = 1 mm on paper: a grey for every half stop, figures at the marked points."""
    share = min(WIDE_MM / plane.length_mm, HIGH_MM / plane.height_mm)
    width, height = plane.length_mm * share, plane.height_mm * share
    s = ((np.arange(COLUMNS) + 0.5) / COLUMNS - 0.5) * plane.length_mm
    rows = (0.5 - (np.arange(ROWS) + 0.5) / ROWS) * plane.height_mm
    stops = stops_map(plane, s_mm=s, y_mm=rows, thickness_share=thickness_share)
    x, y, marked = marked_points(plane, thickness_share=thickness_share)
    cells = "".join(_row(levels, at, width / COLUMNS, height / ROWS) for at, levels in enumerate(_greys(stops)))
    figures = "".join(
        _figure(stop, (across / plane.length_mm + 0.5) * width, (0.5 - up / plane.height_mm) * height, width, height)
        for up, line in zip(y, marked, strict=True)
        for across, stop in zip(x, line, strict=True)
    )
    axis = (plane.axis_s_mm / plane.length_mm + 0.5) * width, (0.5 - plane.hole_offset_y_mm / plane.height_mm) * height
    said = f"From {say(float(marked.max()))} to {say(float(marked.min()))} stops against the hole's axis."
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.3f} {height:.3f}" role="img" '
        f'font-family="sans-serif" font-size="3.2"><title>Light on the film</title><desc>{escape(said)}</desc>'
        f'{cells}<rect x="0.1" y="0.1" width="{width - 0.2:.3f}" height="{height - 0.2:.3f}" fill="none" stroke="#000" '
        f'stroke-width="0.2"/>{_cross(*axis)}{figures}</svg>'
    )


def say(stops: float) -> str:
    """“−1.3”, “0.0”, “+0.2”; “dark” where no light falls."""
    if not np.isfinite(stops):
        return "dark"
    text = f"{abs(stops):.1f}"
    return text if text == "0.0" else ("+" if stops > 0 else "−") + text


def _greys(stops: Floats) -> NDArray[np.int64]:
    """A grey for every half stop under the brightest, 255 = white; black would hide the figures."""
    halves = np.floor(2 * (np.max(stops) - np.where(np.isfinite(stops), stops, -np.inf)) + 1e-9)
    return np.maximum(_LIGHTEST - _STEP / 2 * np.minimum(halves, 99), _DARKEST).astype(int)


def _row(greys: NDArray[np.int64], at: int, wide: float, high: float) -> str:
    """Cells of one grey drawn as one; each reaches a little under its neighbours, so that no seam shows."""
    starts = [0, *(np.flatnonzero(np.diff(greys)) + 1), len(greys)]
    return "".join(
        f'<rect x="{a * wide:.3f}" y="{at * high:.3f}" width="{(b - a) * wide + 0.02:.3f}" height="{high + 0.02:.3f}" '
        f'fill="#{3 * f"{greys[a]:02x}"}"/>'
        for a, b in pairwise(starts)
        if greys[a] < _LIGHTEST
    )


def _figure(stops: float, x: float, y: float, width: float, height: float) -> str:
    """A dot at its point and the figure beside it, inside the frame."""
    anchor = "start" if x < 1 else "end" if x > width - 1 else "middle"
    to_x = min(max(x, 1.4), width - 1.4)
    to_y = 4.4 if y < 1 else height - 1.8 if y > height - 1 else y - 2.2
    return (
        f'<circle cx="{min(max(x, 0.6), width - 0.6):.3f}" cy="{min(max(y, 0.6), height - 0.6):.3f}" r="0.6"/>'
        f'<text x="{to_x:.3f}" y="{to_y:.3f}" text-anchor="{anchor}">{say(stops)}</text>'
    )


def _cross(x: float, y: float) -> str:
    d = f"M{x - 1.8:.3f} {y:.3f}h3.6M{x:.3f} {y - 1.8:.3f}v3.6"
    return f'<path d="{d}" stroke="#000" stroke-width="0.2" fill="none"/>'
