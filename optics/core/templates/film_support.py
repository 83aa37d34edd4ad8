"""The piece of card that holds the film in its curve, or a flat film's outline on the back wall."""

import numpy as np
from numpy.typing import NDArray

from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane

from .draft import BLADE_CAUTION, Draft, say_mm
from .template import SAGITTA_MM, Point, Template

NAMED = ("film_support", "Support that holds the film in place")

#: A curve drawn as a polyline may lose so much of its length, mm.
LOST_MM = 2e-4
#: Card left behind the film where it comes nearest to the back, mm, and as a share of the piece's width.
LEAST_BACK_MM, BACK_SHARE = 10.0, 0.05
#: How long marks are, and how far corner marks stand off a flat film, mm.
MARK_MM, PLAY_MM = 5.0, 1.0
#: Films whose ends lie nearer than this share of their length to a straight line are flat.
STRAIGHT = 1e-9

Floats = NDArray[np.float64]


def film_support_template(plane: FilmPlane) -> Template:
    """The film's horizontal section, seen from above with the scene at the top; a flat film's outline instead.

    The piece lies behind the film. Length `film, laid flat` is the curve's own, drawn within `SAGITTA_MM` of it; the
    paper's thickness is not taken off. Raises `Impossible("support_folds")` where the film curls round by more than
    half a turn, so that a piece behind it would have to reach in front of it.
    """
    ends = plane.columns(np.array([-0.5, 0.5]) * plane.length_mm)
    chord = float(np.hypot(np.diff(ends.x_mm), np.diff(ends.z_mm))[0])
    return _outline(plane) if chord > (1 - STRAIGHT) * plane.length_mm else _former(plane)


def _former(plane: FilmPlane) -> Template:
    s, x, z = _curve(plane)
    if (np.diff(x) < -1e-9 * plane.length_mm).any():
        raise Impossible(
            "support_folds",
            "The film curls round by more than half a turn, so no piece fits behind it; "
            "the container's own wall must hold it.",
        )
    width, deepest = float(x[-1] - x[0]), int(np.argmax(z))
    back_mm = max(LEAST_BACK_MM, BACK_SHARE * width)
    back = float(z[deepest]) + back_mm
    # A sprung strip reaches from wall to wall; any other leaves room for card beyond its ends.
    bowed = plane.kind == "bowed"
    side_mm = 0.0 if bowed else back_mm
    wall = float(plane.parameters["depth_mm"]) if bowed else back
    back = max(back, wall)
    left, right = float(x[0]) - side_mm, float(x[-1]) + side_mm
    film: tuple[Point, ...] = tuple(zip(x.tolist(), z.tolist(), strict=True))
    axis = int(np.searchsorted(s, plane.axis_s_mm))

    draft = Draft()
    outline = [(right, film[-1][1]), (right, back), (left, back), (left, film[0][1])]
    draft.line("cut", *film, *(outline if side_mm else outline[1:3]), closed=True)
    draft.line("centre", film[axis], (0.0, back + MARK_MM))
    for at in (film[0], film[-1]):
        draft.line("guide", at, (at[0], at[1] - MARK_MM))
    draft.length("film, laid flat", plane.length_mm, *film)
    draft.length("left end to axis point", plane.axis_s_mm + plane.length_mm / 2, *film[: axis + 1])
    draft.length("end to end", float(np.hypot(width, z[-1] - z[0])), film[0], film[-1])
    draft.length("card behind the film", back - z[deepest], film[deepest], (x[deepest], back))
    notes = [
        "Cut two, one for the film's upper edge and one for its lower.",
        "Seen from above, the scene at the top: the film lies along the curve, on the side of the hole.",
        "The centre line is straight behind the hole, the marks at the curve's ends are where the film ends.",
        "The curve is the film's own; paper's thickness is not taken off.",
    ]
    if float(z.min()) <= back - float(z.min()):
        draft.line("guide", (-MARK_MM, 0.0), (MARK_MM, 0.0))
        draft.line("guide", (0.0, -MARK_MM), film[axis])
        draft.length("hole to film", plane.axis_distance_mm, (0.0, 0.0), film[axis])
        draft.words(0, -2.2 * MARK_MM, "hole")
    if wall < back:
        draft.line("guide", (left, wall), (right, wall))
        notes.append(
            f"The box's back wall is at the thin line, {say_mm(wall)} from the hole. Cut along it too, and glue what "
            "is left into the corners."
        )
    if plane.kind == "drum":
        notes.append("In a round tin the wall holds the film by itself; this piece gives the same curve in a box.")
    draft.words(
        (left + right) / 2,
        back + MARK_MM,
        "film support, cut two",
        f"curve {say_mm(plane.length_mm)} long, hole to film {say_mm(plane.axis_distance_mm)}",
    )
    return draft.template(NAMED, *notes, BLADE_CAUTION)


def _outline(plane: FilmPlane) -> Template:
    """A flat film as it lies on the back wall, seen from the hole's side: the film's right end is at the left."""
    width, height = plane.length_mm, plane.height_mm
    axis_x, axis_y = -plane.axis_s_mm, -plane.hole_offset_y_mm
    right, bottom = width / 2, height / 2
    mark = min(MARK_MM, width / 4, height / 4)
    draft = Draft()
    draft.rectangle("cut", (-right, -bottom, right, bottom))
    for x in (-1, 1):
        for y in (-1, 1):
            corner = (x * (right + PLAY_MM), y * (bottom + PLAY_MM))
            draft.line("guide", (x * (right - mark), corner[1]), corner, (corner[0], y * (bottom - mark)))
    draft.centre_lines(axis_x, axis_y, mark, mark)
    draft.length("film, laid flat", width, (-right, -bottom), (right, -bottom))
    draft.length("film height", height, (right, -bottom), (right, bottom))
    level = min(max(axis_y, -bottom), bottom)
    draft.length("left edge to axis point", right + axis_x, (-right, level), (axis_x, level))
    draft.words(
        0,
        max(bottom, axis_y + mark),
        f"film {say_mm(width, height)}, seen from the hole",
        f"hole to film {say_mm(plane.axis_distance_mm)}",
    )
    return draft.template(
        NAMED,
        "Cut it out along the line between the corner marks. Lay it face up on the back wall, as you look in from "
        "the hole, so that its cross is straight behind the hole, and draw round it.",
        f"Glue card rails or photo corners along the corner marks, {say_mm(PLAY_MM)} outside the film; they hold it by "
        "its edge.",
        BLADE_CAUTION,
        "Paper's thickness is not taken off.",
    )


def _curve(plane: FilmPlane) -> tuple[Floats, Floats, Floats]:
    """Laid-flat positions and x, z of a polyline along the film, with its axis point and bends among them."""
    half = plane.length_mm / 2
    marks = (plane.axis_s_mm, *plane.profile.breaks_mm)
    for power in range(6, 15):
        s = np.union1d(np.linspace(-half, half, 2**power + 1), marks)
        x, z = _points(plane, s)
        chords = np.hypot(np.diff(x), np.diff(z))
        middle_x, middle_z = _points(plane, (s[1:] + s[:-1]) / 2)
        area2 = np.abs(np.diff(x) * (middle_z - z[:-1]) - np.diff(z) * (middle_x - x[:-1]))
        if plane.length_mm - chords.sum() <= LOST_MM and (area2 <= SAGITTA_MM * chords).all():
            break
    return s, x, z


def _points(plane: FilmPlane, s_mm: Floats) -> tuple[Floats, Floats]:
    line = plane.columns(s_mm)
    return line.x_mm, line.z_mm
