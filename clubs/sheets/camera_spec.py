"""The camera-spec sheet: everything about one camera that is worth having beside it, on paper."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from clubs.sheets.camera import SheetCamera
from clubs.sheets.drawings import framed
from optics.core.camera_plan import CameraPlan, plan_camera
from optics.core.film_planes import FilmPlane
from optics.core.holes import f_number
from optics.core.illumination import Illumination, stops_map
from optics.core.illumination_svg import illumination_svg, say
from optics.core.lettering import ON_SHEET
from optics.core.say import say_f_number
from optics.core.section_svg import section_svg
from optics.core.sheet_cuts import CAUTION
from optics.core.sheet_cuts_svg import sheet_cuts_svg
from optics.core.wall_opening import WallOpening

Floats = NDArray[np.float64]

TITLE = "Camera specification"
_MEASURED = {
    "given": "as its maker gave it",
    "counted": "by counting how many stand side by side in a known length",
    "scanned": "from a scan",
    "several": "in several ways, taken together",
    "planned": "as planned; measure what you made",
}
_LIES = {
    "flat": "flat",
    "bowed": "sprung between two walls",
    "drum": "along a round wall with the hole in it",
    "half_drum": "on an arc about the hole",
    "profile": "along a measured curve",
}
#: Hurts more people than anything else in making such a camera. Common practice, no source.
HOLE_CAUTION = (
    "Needles and shim stock are sharp: pierce on a block of wood, never towards a hand, and file burrs off before you "
    "run a finger over the plate."
)
SUN_CAUTION = "Do not look through the hole, or through a finder, at the sun."


def camera_spec(camera: SheetCamera, *, sheet_mm: tuple[float, float] | None = None) -> list[dict[str, Any]]:
    """The sections; with `sheet_mm`, width and height of a sheet of paper, also how to cut negatives from it.

    Raises `Impossible` for a sheet that cannot be cut at all, and for a film that no opening clears.
    """
    plane, hole, wall = camera.film_plane, camera.hole, camera.wall_thickness_mm
    plan = plan_camera(plane, hole=hole, sheet_mm=sheet_mm, wall_thickness_mm=wall)
    sections = [_what(camera), _film(camera), _light(camera, plan.illumination)]
    if plan.opening:
        sections.append(_opening(camera, plan.opening, plan.opening_used_share))
    return [*sections, *([_cuts(plan)] if sheet_mm else [])]


def _what(camera: SheetCamera) -> dict[str, Any]:
    hole = camera.hole
    number = f_number(
        focal_length_mm=camera.focal_length_mm,
        diameter_mm=hole.diameter_mm,
        diameter_uncertainty_mm=hole.uncertainty_mm,
    )
    known = f"{say_f_number(camera.f_number)}, how well is not known"
    diameter = f"{hole.diameter_mm:.3f} mm, how well is not known"
    if hole.uncertainty_mm:
        spread = max(camera.f_number_uncertainty, 0.1)
        known = f"{say_f_number(camera.f_number)} ± {spread:.2g}, which is ± {number.uncertainty_stops:.2f} stops"
        diameter = f"{hole.diameter_mm:.3f} mm ± {hole.uncertainty_mm:.2g} mm (one standard deviation)"
    rows = [
        ["Club", camera.club.name],
        ["Camera", f"{camera.code}, {camera.name}"],
        ["Revision", camera.revision + (f", of {camera.since}" if camera.since else "")],
        ["Hole", diameter],
        ["Measured", _MEASURED.get(camera.measured_by, camera.measured_by)],
        ["Plate", f"{hole.plate_thickness_mm:.3g} mm thick" if hole.plate_thickness_mm else "thin"],
        ["Focal length", f"{camera.focal_length_mm:.1f} mm"],
        ["f-number", known],
        ["On a meter", _from_f22(-number.stops_from_f22)],
    ]
    code = {"kind": "code", "text": camera.url, "alt": "Read this camera as it stands in the registry today."}
    return {"title": "What it is", "blocks": [{"kind": "facts", "rows": rows}, *([code] if camera.url else [])]}


def _film(camera: SheetCamera) -> dict[str, Any]:
    plane, view = camera.film_plane, camera.film_plane.field_of_view
    across, upright, corners = (
        f"{np.degrees(angle):.0f}°" for angle in (view.horizontal_rad, view.vertical_rad, view.diagonal_rad)
    )
    rows = [
        ["Film", f"{plane.length_mm:.1f} × {plane.height_mm:.1f} mm laid flat"],
        ["In the camera", _LIES.get(plane.kind, plane.kind)],
        ["From the hole", f"{plane.axis_distance_mm:.1f} mm along its axis"],
        ["Nearest and farthest", f"{plane.shortest_mm:.1f} mm and {plane.longest_mm:.1f} mm"],
        ["Field of view", f"{across} across, {upright} up and down, {corners} from corner to corner"],
        ["Hole off the middle", _offset(camera)],
    ]
    drawing = framed(section_svg(plane, shown=ON_SHEET), caption="The film plane, seen from above.")
    return {"title": "How the film lies", "blocks": [{"kind": "facts", "rows": rows}, drawing]}


def _offset(camera: SheetCamera) -> str:
    x, y = camera.film_plane.parameters.get("hole_offset_x_mm", 0.0), camera.film_plane.hole_offset_y_mm
    if not (x or y):
        return "no"
    sides = (f"{abs(x):.1f} mm to the {'right' if x > 0 else 'left'}", f"{abs(y):.1f} mm {'up' if y > 0 else 'down'}")
    told = [side for side, size in zip(sides, (x, y), strict=True) if size]
    return f"{' and '.join(told)}, seen from behind the camera"


def marked_points(plane: FilmPlane, *, thickness_share: float) -> tuple[Floats, Floats, Floats]:
    """x (5,) and y (3,) in mm along the film laid flat, y up, and the stops there (3, 5), top row first."""
    x = np.linspace(-0.5, 0.5, 5) * plane.length_mm
    y = np.array([0.5, 0.0, -0.5]) * plane.height_mm
    return x, y, stops_map(plane, s_mm=x, y_mm=y, thickness_share=thickness_share)


def _light(camera: SheetCamera, light: Illumination) -> dict[str, Any]:
    plane, share = camera.film_plane, camera.hole.plate_thickness_mm / camera.hole.diameter_mm
    x, y, stops = marked_points(plane, thickness_share=share)
    drawing = framed(
        illumination_svg(plane, thickness_share=share, shown=ON_SHEET),
        caption="Stops against the hole's axis, the cross; − is less light. The dot marks the darkest corner.",
    )
    table = {
        "kind": "table",
        "columns": ["Up from the middle", *(_signed(along, 0) + " mm" for along in x)],
        "rows": [[_signed(up, 0) + " mm", *map(say, line)] for up, line in zip(y, stops, strict=True)],
        "note": "Stops at the marked points of the film laid flat, by geometry: no scene is this even.",
    }
    rows = [
        [
            "Darkest",
            "some of it gets no light" if np.isinf(light.darkest_stops) else f"{say(light.darkest_stops)} stops",
        ],
        ["Within one stop of the axis", f"{light.within_one_stop_share:.0%} of the area"],
    ]
    if light.balanced:
        even = f"as for {say_f_number(light.balanced.f_number)}: then nothing is further off than "
        rows.append(["To split the difference, expose", f"{even}{light.balanced.error_stops:.1f} stops"])
    doubts = [{"kind": "text", "text": flag.text} for flag in light.flags]
    return {"title": "Light on the film", "blocks": [drawing, table, {"kind": "facts", "rows": rows}, *doubts]}


def _opening(camera: SheetCamera, opening: WallOpening, share: float) -> dict[str, Any]:
    width, height = opening.width_mm, opening.height_mm
    rows = [
        ["Wall", f"{camera.wall_thickness_mm:.3g} mm thick, the plate behind it"],
        ["Opening at least", f"{width:.1f} × {height:.1f} mm, square to the wall, the hole in its middle"],
        ["Light must pass within", f"{np.degrees(opening.clear_angle_rad):.0f}° in all"],
    ]
    if share < 1:
        rows.append(["For", f"the middle {share:.0%} of the film; no opening clears its very ends"])
    large = width > _LARGEST_OPENING_MM or height > _LARGEST_OPENING_MM
    told = {"kind": "text", "text": "Where the container has no room for it, the ends of the film get less light."}
    cautions = [{"kind": "caution", "text": text} for text in (HOLE_CAUTION, SUN_CAUTION)]
    drawn = told if large else _opening_drawing(width, height)
    return {"title": "The opening in the wall", "blocks": [{"kind": "facts", "rows": rows}, drawn, *cautions]}


#: A larger opening is not drawn: a sheet of paper would not hold it.
_LARGEST_OPENING_MM = 160.0


def _opening_drawing(width: float, height: float) -> dict[str, Any]:
    """The opening in true scale, its edges the outer edges of a thin line, the hole's place a cross."""
    line, room = 0.2, 6.0
    all_width, all_height = width + 2 * room, height + 2 * room
    x, y = all_width / 2, all_height / 2
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {all_width:.3f} {all_height:.3f}">'
        f'<rect x="{room + line / 2:.3f}" y="{room + line / 2:.3f}" width="{width - line:.3f}" '
        f'height="{height - line:.3f}" fill="none" stroke="#000" stroke-width="{line}"/>'
        f'<path d="M0 {y:.3f}H{all_width:.3f}M{x:.3f} 0V{all_height:.3f}" stroke="#000" stroke-width="0.1" '
        f'stroke-dasharray="2 1" fill="none"/></svg>'
    )
    block = {"kind": "drawing", "svg": svg, "width_mm": all_width, "height_mm": all_height, "true_scale": True}
    alt = f"A rectangle {width:.1f} mm wide and {height:.1f} mm high, the hole's axis through its middle."
    return block | {"alt": alt, "caption": "The opening; its size is to the outer edge of the line."}


def _cuts(plan: CameraPlan) -> dict[str, Any]:
    title = "Negatives from a sheet"
    caution = {"kind": "caution", "text": CAUTION}
    cuts, (wide, high) = plan.sheet_cuts, plan.sheet_mm or (0.0, 0.0)
    if cuts is None:
        size = f"{plan.plane.length_mm:.1f} × {plan.plane.height_mm:.1f} mm"
        return {
            "title": title,
            "blocks": [{"kind": "text", "text": f"A negative of {size} does not fit on the sheet."}],
        }
    rows = [
        ["Sheet", f"{wide:.1f} × {high:.1f} mm"],
        ["Negatives", f"{cuts.count}, {cuts.waste_share:.0%} of the sheet left over"],
    ]
    drawn = sheet_cuts_svg(cuts, shown=ON_SHEET, captioned=False)
    drawing = framed(drawn, caption="Cut in the order of the numbers, each from edge to edge.")
    steps = {"kind": "steps", "items": [cut.text for cut in cuts.cuts[:200]]}
    return {"title": title, "blocks": [{"kind": "facts", "rows": rows}, caution, drawing, steps]}


def _from_f22(stops: float) -> str:
    if stops < 0:
        return f"halve the time for f/22 {-stops:.1f} times"
    return f"double the time for f/22 {stops:.1f} times"


def _signed(value: float, digits: int) -> str:
    text = f"{abs(value):.{digits}f}"
    return text if float(text) == 0 else ("+" if value > 0 else "−") + text
