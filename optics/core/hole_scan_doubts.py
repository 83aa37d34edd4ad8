"""Why a measured hole may be doubtful: the flags, and what each adds to the uncertainty of the diameter."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .faults import Flag
from .hole_scan_area import HoleArea
from .hole_scan_find import Found
from .hole_scan_light import window
from .hole_scan_outline import Floats

#: 10 % to 90 % of a Gaussian edge, in standard deviations.
EDGE_WIDTH_SIGMAS = 2.563
BLURRED_SHARE = 0.25
CLIPPED_LIGHT_SHARE = 0.02
CLIPPED_DARK_SHARE = 0.8
DUST_SHARE = 0.001


class Doubt(NamedTuple):
    """A flag, and one standard deviation that it adds to the diameter, pixels."""

    flag: Flag
    uncertainty_px: float = 0.0


def doubts(levels: NDArray[np.floating], found: Found, hole: HoleArea) -> list[Doubt]:
    """All that the picture itself gives reason to doubt. `levels` as stored, 0 to 1; lengths in pixels."""
    diameter_px = 2.0 * float(np.sqrt(hole.area / np.pi))
    edge_share = EDGE_WIDTH_SIGMAS * hole.blur_px / diameter_px
    dust_share = hole.dust_area / hole.area
    said = _clipped(levels, found, hole) + _touching(levels.shape, found, hole)
    if found.two_holes:
        text = "More than one hole is in the picture; the most prominent was measured."
        said.append(Doubt(Flag("two_holes", text)))
    if edge_share > BLURRED_SHARE:
        text = f"The edge is {edge_share:.0%} of the diameter wide; focus better, or scan at a higher resolution."
        said.append(Doubt(Flag("blurred", text)))
    if dust_share > DUST_SHARE:
        text = f"Something hides {dust_share:.1%} of the hole; it was counted as open. Blow the hole clean."
        said.append(Doubt(Flag("dust_in_hole", text)))
    return said


def _clipped(levels: NDArray[np.floating], found: Found, hole: HoleArea) -> list[Doubt]:
    """Levels at an end of the scale: how far beyond it the light went is lost, and the edge shifts with it.

    Light goes over in flat patches at once. Black at 0 is no harm unless nearly all of it lies there: light does not
    go below nothing, so noise about black falls half on 0.
    """
    rows, columns = window(levels, found.hole)
    y, x = np.ogrid[rows, columns]
    away = np.hypot(x + 0.5 - hole.outline.x, y + 0.5 - hole.outline.y)
    said = []
    for name, where in (
        ("hole", away < 0.8 * hole.outline.radius.min()),
        ("background", away > 1.2 * hole.outline.radius.max() + 2.0 * hole.blur_px),
    ):
        part = levels[rows, columns][where]
        white, black = (float(np.mean(end)) if end.size else 0.0 for end in (part >= 1.0, part <= 0.0))
        if white > CLIPPED_LIGHT_SHARE:
            said.append(f"{white:.0%} of the {name} is at full white")
        if black > CLIPPED_DARK_SHARE:
            said.append(f"{black:.0%} of the {name} is at full black")
    if not said:
        return []
    # Light half as bright again as white moves the middle of the edge by about half the blur. [derived]
    return [Doubt(Flag("clipped", f"Clipped: {', '.join(said)}. Change the exposure until none is."), hole.blur_px)]


def _touching(shape: tuple[int, ...], found: Found, hole: HoleArea) -> list[Doubt]:
    points, margin_px = hole.outline.points(), max(1.0, 2.0 * hole.blur_px)
    if not found.hole.touches_edge and _is_clear(points, shape, margin_px).all():
        return []
    text = "The hole reaches the edge of the picture; only the part in the picture was measured."
    if _is_clear(points, shape, 0.75).all():
        return [Doubt(Flag("touches_edge", "The hole lies at the edge of the picture; leave background about it."))]
    # Near the cut the outline turns along it; the rest of it tells how large the whole hole may be.
    diameter_px = 2.0 * float(np.sqrt(hole.area / np.pi))
    rest = points[_is_clear(points, shape, margin_px + 0.12 * diameter_px)]
    missing_px = 0.25 * (1.0 - len(rest) / len(points)) * diameter_px
    if len(rest) > 20:
        missing_px = max(missing_px, abs(_circle_diameter(rest) - diameter_px))
    return [Doubt(Flag("touches_edge", text), missing_px)]


def _is_clear(points: Floats, shape: tuple[int, ...], margin_px: float) -> NDArray[np.bool_]:
    far_corner = np.array([shape[1], shape[0]])
    return np.asarray(np.all((points > margin_px) & (points < far_corner - margin_px), axis=1))


def _circle_diameter(points: Floats) -> float:
    """Diameter of the circle through points, by least squares of x² + y² = 2ax + 2by + c. (Kåsa's fit [memory])"""
    design = np.column_stack([2.0 * points, np.ones(len(points))])
    a, b, c = np.linalg.lstsq(design, np.sum(points**2, axis=1), rcond=None)[0]
    return 2.0 * float(np.sqrt(max(c + a**2 + b**2, 0.0)))
