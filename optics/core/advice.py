"""Advice on a camera plan: each piece quotes the computed figure it comes from, and has a stable code."""

from collections.abc import Callable, Iterator

import numpy as np

from .camera_plan import CameraPlan
from .faults import Flag
from .holes import NEEDLE_WARNING
from .illumination import plate_transmission, stops_map

BLADE_CAUTION = Flag(
    "caution_blades",
    "Blades, awls and needles: cut away from the hand. Deburr the plate: thin shim cuts. "
    "Follow your local codes and the maker's safety data sheet.",
)


def advise(plan: CameraPlan) -> tuple[Flag, ...]:
    """All advice that applies to `plan`, the weightiest first, the caution last."""
    return tuple(flag for piece in _PIECES for flag in piece(plan))


def _lies(plan: CameraPlan) -> Iterator[Flag]:
    plane = plan.plane
    if plane.profile.shape == "pressed":
        yield Flag(
            "strip_pressed_flat",
            f"The strip would bow deeper than {plane.axis_distance_mm:.1f} mm, so the back wall presses its middle "
            f"flat over {2 * plane.profile.breaks_mm[1]:.0f} mm.",
        )


def _corners(plan: CameraPlan) -> Iterator[Flag]:
    light = plan.illumination
    yield from light.flags
    if light.darkest_stops < -2:
        if np.isinf(light.darkest_stops):
            dark = "get no light at all"
        else:
            dark = f"are {-light.darkest_stops:.1f} stops darker than the middle"
        yield Flag(
            "corner_dark",
            f"The darkest corners {dark}; {light.within_one_stop_share:.0%} of the negative lies within one stop of "
            "the middle.",
        )


def _plate(plan: CameraPlan) -> Iterator[Flag]:
    hole, plane = plan.hole, plan.plane
    if hole.plate_thickness_mm == 0:
        return
    share = hole.plate_thickness_mm / hole.diameter_mm
    s = np.linspace(-0.5, 0.5, 401) * plane.length_mm
    line = plane.columns(s)
    with np.errstate(divide="ignore"):
        tangent = np.hypot(line.x_mm, plane.row_range_mm()[1]) / line.z_mm
    let_through = plate_transmission(tan_angle=tangent, thickness_share=share)
    dark = float(np.mean(let_through == 0))
    made = f"A plate {hole.plate_thickness_mm:.3f} mm thick with a hole {hole.diameter_mm:.3f} mm across"
    if dark > 0:
        yield Flag(
            "plate_too_thick",
            f"{made} lets nothing through beyond {np.degrees(np.arctan(1 / share)):.0f}° off the axis: along the long "
            f"edge {dark:.0%} of the negative stays dark. A thinner plate sees farther.",
        )
    elif let_through.min() < 2**-0.5:
        yield Flag(
            "plate_too_thick",
            f"{made} takes {-np.log2(let_through.min()):.1f} stops from the corners, "
            f"{np.degrees(np.arctan(tangent.max())):.0f}° off the axis. A thinner plate takes less.",
        )


def _hole(plan: CameraPlan) -> Iterator[Flag]:
    chosen = plan.hole_choice.chosen
    if not plan.hole_is_rule:
        off = float(2 * np.log2(plan.hole.diameter_mm / chosen.diameter_mm))
        if abs(off) > 1:
            wide = "wider" if off > 0 else "narrower"
            yield Flag(
                "hole_far_from_rule",
                f"The hole, {plan.hole.diameter_mm:.3f} mm, lets in {abs(off):.1f} stops "
                f"{'more' if off > 0 else 'less'} light than the {chosen.diameter_mm:.3f} mm of the rule "
                f"{chosen.rule.name}; a hole so much {wide} costs sharpness.",
            )
        if plan.f_number.uncertainty_stops > 1 / 3:
            yield Flag(
                "measure_again",
                f"The hole is known to ±{plan.hole.uncertainty_mm:.3f} mm, ±{plan.f_number.uncertainty_stops:.1f} stop "
                "of exposure. Count it again, both ways.",
            )
    else:
        yield Flag(
            "nearest_drill",
            f"Number drill {plan.hole_choice.drill} makes {plan.hole_choice.drill_mm:.3f} mm, the rule asks for "
            f"{chosen.diameter_mm:.3f} mm.",
        )
    yield NEEDLE_WARNING


def _wall(plan: CameraPlan) -> Iterator[Flag]:
    if plan.wall_thickness_mm is None:
        return
    if plan.opening is None:
        yield Flag(
            "wall_clips",
            f"No opening in a wall {plan.wall_thickness_mm:g} mm thick clears this film: it reaches the hole's own "
            "wall. Thin the wall round the hole, or shorten the film.",
        )
        return
    size = f"{plan.opening.width_mm:.1f} × {plan.opening.height_mm:.1f} mm"
    ends = "" if plan.opening_used_share == 1 else f" for the middle {plan.opening_used_share:.0%} of the negative"
    yield Flag(
        "wall_clips",
        f"A wall {plan.wall_thickness_mm:g} mm thick clips the picture unless the opening in it is at least "
        f"{size}{ends}.",
    )


def _sheet(plan: CameraPlan) -> Iterator[Flag]:
    if plan.sheet_mm is None:
        return
    width, height = plan.sheet_mm
    if plan.sheet_cuts is None:
        yield Flag(
            "strip_too_long",
            f"A negative of {plan.plane.length_mm:.1f} × {plan.plane.height_mm:.1f} mm does not fit on a sheet of "
            f"{width:.1f} × {height:.1f} mm; take a larger sheet, or join two strips edge to edge.",
        )
    elif plan.sheet_cuts.waste_share > 0.25:
        yield Flag(
            "sheet_waste",
            f"{plan.sheet_cuts.count} negatives to a sheet leave {plan.sheet_cuts.waste_share:.0%} of it over.",
        )


def _evenness(plan: CameraPlan) -> Iterator[Flag]:
    if plan.plane.kind != "drum":
        return
    half = plan.plane.length_mm / 2
    row = stops_map(plan.plane, s_mm=np.linspace(-half, half, 101), y_mm=np.array([plan.plane.hole_offset_y_mm]))
    yield Flag(
        "drum_is_even",
        "On a round tin the slant of hole and film cancels: with a thin plate the middle row is even to "
        f"{np.ptp(row):.2f} stop from end to end.",
    )


def _blades(plan: CameraPlan) -> Iterator[Flag]:  # noqa: ARG001  (every plan means cutting)
    yield BLADE_CAUTION


_PIECES: tuple[Callable[[CameraPlan], Iterator[Flag]], ...] = (
    _lies,
    _corners,
    _evenness,
    _plate,
    _hole,
    _wall,
    _sheet,
    _blades,
)
