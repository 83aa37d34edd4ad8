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

#: A plate's shadow is worth a word from this share of the long edge on. Film that nearly reaches the hole's own wall
#: loses its very ends to a plate of any thickness, and has no light to lose there.
NOTICEABLE_SHARE = 0.05


def advise(plan: CameraPlan) -> tuple[Flag, ...]:
    """All advice that applies to `plan`, the weightiest first, the caution last."""
    return tuple(flag for piece in _PIECES for flag in piece(plan))


def _lies(plan: CameraPlan) -> Iterator[Flag]:
    plane = plan.plane
    if plane.profile.shape == "pressed":
        depth = plane.columns(np.zeros(1)).z_mm[0]
        yield Flag(
            "strip_pressed_flat",
            f"The strip would bow deeper than {depth:.1f} mm, so the back wall presses its middle "
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
    line = plane.columns(((np.arange(400) + 0.5) / 400 - 0.5) * plane.length_mm)
    tangent = np.hypot(line.x_mm, plane.row_range_mm()[1]) / line.z_mm
    let_through = plate_transmission(tan_angle=tangent, thickness_share=share)
    dark, dimmed = float(np.mean(let_through == 0)), let_through < 2**-0.5
    made = f"A plate {hole.plate_thickness_mm:.3f} mm thick with a hole {hole.diameter_mm:.3f} mm across"
    if dark >= NOTICEABLE_SHARE:
        yield Flag(
            "plate_too_thick",
            f"{made} lets nothing through beyond {np.degrees(np.arctan(1 / share)):.0f}° off the axis: along the long "
            f"edge {dark:.0%} of the negative stays dark. A thinner plate sees farther.",
        )
    elif dimmed.mean() >= NOTICEABLE_SHARE:
        yield Flag(
            "plate_too_thick",
            f"{made} takes half a stop or more from {dimmed.mean():.0%} of the negative's long edge, from "
            f"{np.degrees(np.arctan(tangent[dimmed].min())):.0f}° off the axis on. A thinner plate takes less.",
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
    if plan.opening is None:
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
        count, waste = plan.sheet_cuts.count, plan.sheet_cuts.waste_share
        negatives = "1 negative to a sheet leaves" if count == 1 else f"{count} negatives to a sheet leave"
        yield Flag("sheet_waste", f"{negatives} {waste:.0%} of it over.")


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
