"""Lines to sight along: for the lid the picture's left and right edge, for the side its upper and lower edge.

The hole crosses over: what falls on the film's right end comes from the scene's left. A line is drawn from the hole
back to where the film ends; whoever looks along it towards the hole looks at that edge of the picture.
"""

import numpy as np

from optics.core.film_planes import FilmPlane

from .container import container
from .draft import LETTER_MM, LINE_STEP, Draft, words_width_mm
from .template import Point, Template

NAMED = ("sight_lines", "Sight lines for the lid and the side")

#: How far back along the axis the lines run, mm: as the container is deep, within these.
LEAST_REACH_MM, MOST_REACH_MM = 40.0, 65.0
#: No line is longer than this many times the reach: beyond 60 degrees off the axis lines end on a circle.
LONGEST = 2.0
#: Radius of the ring about a line's end, mm.
RING_MM = 0.8
#: How far the front edge and the centre lines run beyond the rest, mm, and the room between both drawings.
BEYOND_MM, GAP_MM = 5.0, 10.0


def sight_lines_template(plane: FilmPlane, *, used_share: float = 1.0) -> Template:
    """Both pairs of lines for the middle `used_share` in (0, 1] of the film; angles are true in the drawing.

    On the lid: from the hole to the used film's ends, seen from above. On the side: to the upper and lower end of the
    film's column at the hole's axis, seen from the left, the scene at the left. A line at the angle t off the axis
    ends min(reach·tan t, 2·reach·sin t) off the centre line, which is its named length: `lid, picture's left edge`,
    `lid, picture's right edge`, `side, picture's upper edge`, `side, picture's lower edge`; and `reach`.
    """
    ends = plane.columns(used_share * plane.length_mm * np.array([0.5, -0.5]))
    rows = plane.rows(used_share * plane.height_mm * np.array([-0.5, 0.5]))
    right_end_rad, left_end_rad = np.arctan2(ends.x_mm, ends.z_mm).tolist()
    lower_end_rad, upper_end_rad = np.arctan2(rows, plane.axis_distance_mm).tolist()
    reach = float(np.clip(container(plane).depth_mm, LEAST_REACH_MM, MOST_REACH_MM))
    draft = Draft()
    _lid(draft, reach, left_edge_rad=right_end_rad, right_edge_rad=left_end_rad)
    _side(draft, reach, upper_edge_rad=lower_end_rad, lower_edge_rad=upper_end_rad)
    share = "the whole film" if used_share == 1 else f"the middle {used_share:.0%} of the film"
    return draft.template(
        NAMED,
        "Glue the first drawing on the lid, its cut edge along the front and its point above the hole. Look along a "
        "line towards the point: what you see there is that edge of the picture.",
        "Glue the second on the camera's left side, its cut edge along the front and its point level with the hole; "
        "for the right side trace it through from the back of the paper.",
        "Instead of gluing, you may prick through the hole's point and the rings, and draw the lines from point to "
        "point.",
        "Left and right are those of the scene. The hole crosses the light over, so the line to the scene's left "
        "starts above the film's right end.",
        f"The lines show {share}; up and down they hold straight behind the hole.",
        "Caution: never look along them at the sun.",
    )


def _lid(draft: Draft, reach: float, *, left_edge_rad: float, right_edge_rad: float) -> None:
    """The hole at (0, 0), the scene at the top: bearings are positive to the right."""
    wide = BEYOND_MM + max(abs(_end(reach, bearing)[1]) for bearing in (left_edge_rad, right_edge_rad))
    draft.line("cut", (-wide, 0.0), (wide, 0.0))
    draft.line("centre", (0.0, -BEYOND_MM), (0.0, reach + BEYOND_MM))
    draft.length("reach", reach, (0.0, 0.0), (0.0, reach))
    for edge, bearing in (("left", left_edge_rad), ("right", right_edge_rad)):
        back, across = _end(reach, bearing)
        draft.line("guide", (0.0, 0.0), (across, back))
        draft.circle("guide", across, back, RING_MM)
        text = f"picture's {edge} edge, {np.degrees(abs(bearing)):.1f}°"
        # Under the line's end: towards the centre line where there is room, else away from it.
        inwards = abs(across) > words_width_mm(text)
        anchor = "start" if (edge == "left") != inwards else "end"
        draft.words(across, back + RING_MM, text, anchor="end" if anchor == "end" else "start")
        draft.length(f"lid, picture's {edge} edge", _off_axis(reach, bearing), (0.0, back), (across, back))
    draft.words(0.0, -BEYOND_MM - 2 * LINE_STEP * LETTER_MM, "lid, seen from above: the scene is this way")


def _side(draft: Draft, reach: float, *, upper_edge_rad: float, lower_edge_rad: float) -> None:
    """Below the lid's: the hole at the left, bearings positive upwards."""
    ends = [_end(reach, bearing) for bearing in (upper_edge_rad, lower_edge_rad)]
    high, low = (BEYOND_MM + max(0.0, *(sign * off for _, off in ends)) for sign in (1, -1))
    top = draft.box[3] + GAP_MM
    hole_y = top + high + LINE_STEP * LETTER_MM
    left = -reach / 2
    hole: Point = (left, hole_y)
    draft.line("cut", (left, hole_y - high), (left, hole_y + low))
    draft.line("centre", (left - BEYOND_MM, hole_y), (left + reach + BEYOND_MM, hole_y))
    named = (("upper", upper_edge_rad), ("lower", lower_edge_rad))
    for (edge, bearing), (back, up) in zip(named, ends, strict=True):
        end = (left + back, hole_y - up)
        draft.line("guide", hole, end)
        draft.circle("guide", *end, RING_MM)
        # The picture's lower edge has the upper line: its words stand above the line's end, the other's below it.
        above = edge == "lower"
        words_y = end[1] + (-(LINE_STEP + 1) * LETTER_MM if above else 0.0)
        draft.words(
            end[0] + 2 * RING_MM, words_y, f"picture's {edge} edge, {np.degrees(abs(bearing)):.1f}°", anchor="start"
        )
        draft.length(f"side, picture's {edge} edge", _off_axis(reach, bearing), (end[0], hole_y), end)
    draft.words(left, top - LINE_STEP * LETTER_MM, "side, seen from the left: the scene is to the left")


def _end(reach: float, bearing_rad: float) -> tuple[float, float]:
    """Where a line ends, along the axis and off it (signed), mm."""
    length = min(reach / max(np.cos(bearing_rad), 1 / (2 * LONGEST)), LONGEST * reach)
    return length * float(np.cos(bearing_rad)), length * float(np.sin(bearing_rad))


def _off_axis(reach: float, bearing_rad: float) -> float:
    """How far off the centre line a line ends, mm."""
    off = abs(bearing_rad)
    straight = off < np.arccos(1 / LONGEST)
    return float(reach * np.tan(off)) if straight else float(LONGEST * reach * np.sin(off))
