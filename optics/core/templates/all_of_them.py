"""All cutting templates of a camera, in the order they are needed."""

from collections.abc import Callable

from optics.core.camera_plan import Hole
from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.wall_opening import PlateSide

from . import baffle, film_support, liner, opening, plate, shutter, sight_lines, tripod
from .draft import Named
from .template import LeftOut, Template

#: What is taken where nobody says otherwise, mm (common practice, no source).
MARGIN_MM, MATERIAL_MM, OVERLAP_MM, CLEARANCE_MM = 1.0, 1.5, 8.0, 0.5


def templates(
    plane: FilmPlane,
    *,
    hole: Hole,
    wall_thickness_mm: float,
    plate_side: PlateSide = "inside",
    margin_mm: float = MARGIN_MM,
    material_mm: float = MATERIAL_MM,
    overlap_mm: float = OVERLAP_MM,
    clearance_mm: float = CLEARANCE_MM,
    used_share: float = 1.0,
) -> tuple[Template | LeftOut, ...]:
    """Opening, film support, liner, baffle, shutter, plate, sight lines and tripod block, always these in this order.

    The shutter has three templates and the sight lines two, which follow each other; either is one `LeftOut`, with the
    reason, where this camera cannot have it, as any other. `margin_mm` is what openings get beyond the
    least, `material_mm` how thick the shutter's card is, `overlap_mm` how far a part covers what it keeps dark,
    `clearance_mm` the play on each side of what slides. `used_share` in (0, 1] is that of the film to be cleared.
    """

    def wall_opening() -> Template:
        return opening.wall_opening_template(
            plane,
            hole=hole,
            wall_thickness_mm=wall_thickness_mm,
            plate_side=plate_side,
            margin_mm=margin_mm,
            used_share=used_share,
        )

    def sleeve() -> Template:
        return baffle.baffle_template(
            plane, overlap_mm=overlap_mm, clearance_mm=clearance_mm, wall_thickness_mm=wall_thickness_mm
        )

    def slide() -> tuple[Template, ...]:
        return shutter.shutter_templates(
            plane,
            hole=hole,
            wall_thickness_mm=wall_thickness_mm,
            material_mm=material_mm,
            overlap_mm=overlap_mm,
            clearance_mm=clearance_mm,
            plate_side=plate_side,
            margin_mm=margin_mm,
            used_share=used_share,
        )

    def hole_plate() -> Template:
        return plate.plate_template(
            plane,
            hole=hole,
            wall_thickness_mm=wall_thickness_mm,
            overlap_mm=overlap_mm,
            plate_side=plate_side,
            margin_mm=margin_mm,
            used_share=used_share,
        )

    return (
        *_made(opening.NAMED, wall_opening),
        *_made(film_support.NAMED, lambda: film_support.film_support_template(plane)),
        *_made(liner.NAMED, lambda: liner.liner_template(plane, clearance_mm=clearance_mm)),
        *_made(baffle.NAMED, sleeve),
        *_made(shutter.NAMED, slide),
        *_made(plate.NAMED, hole_plate),
        *_made(sight_lines.NAMED, lambda: sight_lines.sight_lines_templates(plane, used_share=used_share)),
        *_made(
            tripod.NAMED,
            lambda: tripod.tripod_template(plane, wall_thickness_mm=wall_thickness_mm, plate_side=plate_side),
        ),
    )


def _made(named: Named, make: Callable[[], Template | tuple[Template, ...]]) -> tuple[Template | LeftOut, ...]:
    try:
        made = make()
    except Impossible as fault:
        name, title = named
        return (LeftOut(name, title, str(fault)),)
    return made if isinstance(made, tuple) else (made,)
