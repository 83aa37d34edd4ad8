"""The plate that carries the hole, with a diamond to centre it by eye."""

from optics.core.camera_plan import Hole
from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.wall_opening import PlateSide, wall_opening

from .container import container
from .draft import Draft, at_least, say_mm
from .template import Template

NAMED = ("plate", "Plate for the hole, with a centring diamond")

#: The smallest plate that is easily held and taped, mm.
LEAST_SIDE_MM = 20.0
#: From the diamond's middle to each of its corners, mm: small enough to see a hole off its middle.
HALF_DIAGONAL_MM = 5.0
#: How far the centre lines run beyond the plate, mm.
CENTRE_REACH_MM = 6.0


def plate_template(
    plane: FilmPlane,
    *,
    hole: Hole,
    wall_thickness_mm: float,
    overlap_mm: float,
    plate_side: PlateSide = "inside",
    margin_mm: float = 0.0,
    used_share: float = 1.0,
) -> Template:
    """A square that covers the wall's opening and `overlap_mm` ≥ 1 more on each side, 20 mm at least.

    Raises the `Impossible` of `wall_opening`, and `Impossible("plate_too_large")` where it would be wider than the
    container and higher than the film. Lengths: `plate width`, `plate height`, `half diagonal` of the diamond.
    """
    at_least(1.0, overlap_mm=overlap_mm)
    opening = wall_opening(
        plane,
        wall_thickness_mm=wall_thickness_mm,
        hole_diameter_mm=hole.diameter_mm,
        plate_thickness_mm=hole.plate_thickness_mm,
        plate_side=plate_side,
        margin_mm=margin_mm,
        used_share=used_share,
    )
    side = max(LEAST_SIDE_MM, max(opening.width_mm, opening.height_mm) + 2 * overlap_mm)
    front = container(plane).width_mm, plane.height_mm
    if side > max(LEAST_SIDE_MM, *front):
        raise Impossible(
            "plate_too_large",
            f"Light comes in so steeply that a plate over the opening would be {say_mm(side, side)}, larger than the "
            f"camera's front, {say_mm(*front)}. Take a thinner wall or a smaller used share.",
            "wall_thickness",
        )
    half, corner = side / 2, HALF_DIAGONAL_MM
    draft = Draft()
    draft.rectangle("cut", (-half, -half, half, half))
    draft.line("cut", (0.0, -corner), (corner, 0.0), (0.0, corner), (-corner, 0.0), closed=True)
    draft.centre_lines(0, 0, half + CENTRE_REACH_MM, half + CENTRE_REACH_MM)
    draft.length("plate width", side, (-half, -half), (half, -half))
    draft.length("plate height", side, (half, -half), (half, half))
    draft.length("half diagonal", HALF_DIAGONAL_MM, (0.0, 0.0), (corner, 0.0))
    draft.words(
        0, half + CENTRE_REACH_MM, f"plate {say_mm(side, side)}", f"hole {hole.diameter_mm:.2f} mm in its middle"
    )
    return draft.template(
        NAMED,
        "Cut the diamond out of the paper. Lay the paper over the pierced shim and move it until the hole stands in "
        "the middle of the diamond, where all four corners point at it; then draw round the outline and cut the shim.",
        "Carry the centre lines onto the plate's edges: they meet those of the wall's opening.",
        "Caution: shim has sharp edges and a needle slips. Wear gloves when you cut, push away from your hand, onto "
        "a board, smooth the edges, and follow your workshop's own rules.",
    )
