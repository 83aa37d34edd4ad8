"""Lines to sight along: for the lid the picture's left and right edge, for the side its upper and lower edge.

The hole crosses over: what falls on the film's right end comes from the scene's left. A line is drawn from the hole
back to where the film ends; whoever looks along it towards the hole looks at that edge of the picture.
"""

import numpy as np

from optics.core.film_planes import FilmPlane

from .container import container
from .draft import LETTER_MM, LINE_STEP, Draft
from .template import Template

NAMED = ("sight_lines", "Sight lines for the lid and the side")
LID = ("sight_lines_lid", "Sight lines for the lid")
SIDE = ("sight_lines_side", "Sight lines for the side")

#: How far back along the axis the lines run, mm: as the container is deep, within these.
LEAST_REACH_MM, MOST_REACH_MM = 40.0, 60.0
#: No line is longer than this many times the reach: beyond 45 degrees off the axis lines end on a circle. So the widest
#: drawing still fits a page of A4 or letter.
LONGEST = float(np.sqrt(2))
#: Half of the tick that ends the reach, and the radius of the ring about a line's end, mm.
TICK_MM, RING_MM = 1.5, 0.8
#: How far the front edge and the centre lines run beyond the rest, mm.
BEYOND_MM = 5.0

SUN_CAUTION = "Caution: never look along the lines at the sun."


def sight_lines_templates(plane: FilmPlane, *, used_share: float = 1.0) -> tuple[Template, Template]:
    """The lid's and the side's pair of lines for the middle `used_share` in (0, 1] of the film; angles are true.

    On the lid: from the hole to the used film's ends, seen from above. On the side: to the upper and lower end of the
    film's column at the hole's axis, seen from the left, the scene at the left. A line at the angle t off the axis
    ends min(reach·tan t, √2·reach·sin t) off the centre line, which is its named length: `lid, picture's left edge`,
    `lid, picture's right edge`, `side, picture's upper edge`, `side, picture's lower edge`; and, on the lid, `reach`.
    """
    ends = plane.columns(used_share * plane.length_mm * np.array([0.5, -0.5]))
    rows = plane.rows(used_share * plane.height_mm * np.array([-0.5, 0.5]))
    right_end_rad, left_end_rad = np.arctan2(ends.x_mm, ends.z_mm).tolist()
    lower_end_rad, upper_end_rad = np.arctan2(rows, plane.axis_distance_mm).tolist()
    reach = float(np.clip(container(plane).depth_mm, LEAST_REACH_MM, MOST_REACH_MM))
    shown = "The lines show " + ("the whole film" if used_share == 1 else f"the middle {used_share:.0%} of the film")
    lid = _lid(reach, left_edge_rad=right_end_rad, right_edge_rad=left_end_rad).template(
        LID,
        "Glue it on the lid, its cut edge along the front and its point above the hole. Look along a line towards the "
        "point: what you see there is that edge of the picture.",
        "Instead of gluing this and the side's, you may prick through the hole's point and the rings, and draw the "
        "lines from point to point.",
        "Left and right are those of the scene. The hole crosses the light over, so the line to the scene's left "
        "starts above the film's right end.",
        f"{shown}.",
        SUN_CAUTION,
    )
    side = _side(reach, upper_edge_rad=lower_end_rad, lower_edge_rad=upper_end_rad).template(
        SIDE,
        "Glue it on the camera's left side, its cut edge along the front and its point level with the hole; for the "
        "right side trace it through from the back of the paper.",
        f"{shown}; up and down they hold straight behind the hole.",
        SUN_CAUTION,
    )
    return lid, side


def _lid(reach: float, *, left_edge_rad: float, right_edge_rad: float) -> Draft:
    """The hole at (0, 0), the scene at the top: bearings are positive to the right."""
    wide = BEYOND_MM + max(abs(_end(reach, bearing)[1]) for bearing in (left_edge_rad, right_edge_rad))
    draft = Draft()
    draft.line("cut", (-wide, 0.0), (wide, 0.0))
    draft.line("centre", (0.0, -BEYOND_MM), (0.0, reach + BEYOND_MM))
    draft.line("guide", (-TICK_MM, reach), (TICK_MM, reach))
    draft.length("reach", reach, (0.0, 0.0), (0.0, reach))
    named = (("left", left_edge_rad), ("right", right_edge_rad))
    row_y = -np.inf
    for edge, bearing in sorted(named, key=lambda each: _end(reach, each[1])[0]):
        back, across = _end(reach, bearing)
        draft.line("guide", (0.0, 0.0), (across, back))
        draft.circle("guide", across, back, RING_MM)
        # Under the line's end, towards the centre line, and clear of the other line's words.
        row_y = max(back + RING_MM, row_y)
        text = f"picture's {edge} edge, {np.degrees(abs(bearing)):.1f}°"
        draft.words(across, row_y, text, anchor="end" if across > 0 else "start")
        row_y += LINE_STEP * LETTER_MM
        draft.length(f"lid, picture's {edge} edge", _off_axis(reach, bearing), (0.0, back), (across, back))
    draft.words(0.0, -BEYOND_MM - 2 * LINE_STEP * LETTER_MM, "lid, seen from above: the scene is this way")
    return draft


def _side(reach: float, *, upper_edge_rad: float, lower_edge_rad: float) -> Draft:
    """The hole at (0, 0), the scene at the left: bearings are positive upwards."""
    ends = [_end(reach, bearing) for bearing in (upper_edge_rad, lower_edge_rad)]
    high, low = (BEYOND_MM + max(0.0, *(sign * off for _, off in ends)) for sign in (1, -1))
    draft = Draft()
    draft.line("cut", (0.0, -high), (0.0, low))
    draft.line("centre", (-BEYOND_MM, 0.0), (reach + BEYOND_MM, 0.0))
    named = (("upper", upper_edge_rad), ("lower", lower_edge_rad))
    for (edge, bearing), (back, up) in zip(named, ends, strict=True):
        end = (back, -up)
        draft.line("guide", (0.0, 0.0), end)
        draft.circle("guide", *end, RING_MM)
        # The picture's lower edge has the upper line: its words stand above the line's end, the other's below it.
        above = edge == "lower"
        words_y = -up - ((LINE_STEP + 1) * LETTER_MM if above else 0.0)
        text = f"picture's {edge} edge, {np.degrees(abs(bearing)):.1f}°"
        draft.words(back + 2 * RING_MM, words_y, text, anchor="start")
        draft.length(f"side, picture's {edge} edge", _off_axis(reach, bearing), (back, 0.0), end)
    draft.words(0.0, -high - 2 * LINE_STEP * LETTER_MM, "side, seen from the left: the scene is to the left")
    return draft


def _end(reach: float, bearing_rad: float) -> tuple[float, float]:
    """Where a line ends, along the axis and off it (signed), mm."""
    length = min(reach / max(np.cos(bearing_rad), 1 / (2 * LONGEST)), LONGEST * reach)
    return length * float(np.cos(bearing_rad)), length * float(np.sin(bearing_rad))


def _off_axis(reach: float, bearing_rad: float) -> float:
    """How far off the centre line a line ends, mm."""
    off = abs(bearing_rad)
    straight = off < np.arccos(1 / LONGEST)
    return float(reach * np.tan(off)) if straight else float(LONGEST * reach * np.sin(off))
