"""The opening to cut into the wall that the hole's plate is fixed to."""

from optics.core.camera_plan import Hole
from optics.core.film_planes import FilmPlane
from optics.core.wall_opening import PlateSide, wall_opening

from .container import container
from .draft import BLADE_CAUTION, Draft, say_mm
from .template import Template

NAMED = ("opening", "Opening in the hole's wall")

#: How far the centre lines run beyond the cut, mm.
CENTRE_REACH_MM = 12.0
#: Corner ticks stand off the cut and end so far from it, mm.
TICK_FROM_MM, TICK_TO_MM = 1.0, 6.0
#: Radius of the ring about the point to prick, mm.
PRICK_RING_MM = 1.0


def wall_opening_template(
    plane: FilmPlane,
    *,
    hole: Hole,
    wall_thickness_mm: float,
    plate_side: PlateSide = "inside",
    margin_mm: float = 0.0,
    used_share: float = 1.0,
) -> Template:
    """The rectangle of `wall_opening`, centred on the hole; lengths in mm, raises its `Impossible`.

    The same from both sides of the wall. Lengths: `opening width`, `opening height`.
    """
    opening = wall_opening(
        plane,
        wall_thickness_mm=wall_thickness_mm,
        hole_diameter_mm=hole.diameter_mm,
        plate_thickness_mm=hole.plate_thickness_mm,
        plate_side=plate_side,
        margin_mm=margin_mm,
        used_share=used_share,
    )
    width, height = opening.width_mm, opening.height_mm
    front = container(plane).width_mm, plane.height_mm
    right, bottom = width / 2, height / 2
    draft = Draft()
    draft.rectangle("cut", (-right, -bottom, right, bottom))
    draft.centre_lines(0, 0, right + CENTRE_REACH_MM, bottom + CENTRE_REACH_MM)
    draft.circle("guide", 0, 0, PRICK_RING_MM)
    for x in (-1, 1):
        for y in (-1, 1):
            from_x, to_x = x * (right + TICK_FROM_MM), x * (right + TICK_TO_MM)
            from_y, to_y = y * (bottom + TICK_FROM_MM), y * (bottom + TICK_TO_MM)
            draft.line("guide", (from_x, y * bottom), (to_x, y * bottom))
            draft.line("guide", (x * right, from_y), (x * right, to_y))
    draft.length("opening width", width, (-right, -bottom), (right, -bottom))
    draft.length("opening height", height, (right, -bottom), (right, bottom))
    draft.words(
        0,
        bottom + CENTRE_REACH_MM,
        f"opening {say_mm(width, height)}",
        f"wall {say_mm(wall_thickness_mm)}, plate {plate_side}",
    )
    larger = (
        f"This opening takes more than half of the camera's front, {say_mm(*front)}: see that the wall still holds. "
        "A thinner wall, thinned about the hole or cut away and closed with thin card, needs a smaller one."
    )
    return draft.template(
        NAMED,
        "Prick through the ring where the centre lines cross: the hole comes there. Prick the four corners, then "
        "cut from corner to corner.",
        "Hold the blade upright, so that the cut is square to the wall.",
        f"The plate goes on the {plate_side} of the wall, its hole at the middle of the opening.",
        f"Drawn for a wall {say_mm(wall_thickness_mm)} thick: a thicker one needs a larger opening.",
        *([larger] if width > front[0] / 2 or height > front[1] / 2 else []),
        BLADE_CAUTION,
    )
