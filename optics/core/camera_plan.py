"""One container, everything: how the film lies, what hole, what f-number, how dark the corners, what to cut."""

from dataclasses import dataclass

import numpy as np

from .exposure import TableRow, exposure_table
from .faults import Impossible
from .film_planes import FilmPlane
from .holes import (
    DEFAULT_RULE,
    HOLE_RULES,
    FNumber,
    HoleRule,
    f_number,
    nearest_drill,
)
from .illumination import Illumination, illuminate
from .profiles import bowed, flat
from .reciprocity import Law
from .sheet_cuts import SheetCuts, cut_sheet
from .wall_opening import PlateSide, WallOpening, wall_opening

#: The used share that an opening is planned for where the film's very ends cannot be cleared.
CLEARABLE_SHARE = 0.95


@dataclass(frozen=True)
class Hole:
    """A hole as made, mm; `uncertainty_mm` one standard deviation, `plate_thickness_mm` 0 for a thin plate."""

    diameter_mm: float
    uncertainty_mm: float = 0.0
    plate_thickness_mm: float = 0.0


@dataclass(frozen=True)
class RuleDiameter:
    """What one rule asks for at this focal length."""

    rule: HoleRule
    diameter_mm: float
    f_number: float


@dataclass(frozen=True)
class HoleChoice:
    """Every rule's diameter, the one chosen, and the nearest number drill."""

    rules: tuple[RuleDiameter, ...]
    chosen: RuleDiameter
    drill: int
    drill_mm: float


def choose_hole(
    *,
    focal_length_mm: float,
    wavelength_nm: float = 550.0,
    subject_distance_mm: float = np.inf,
    rule: str = DEFAULT_RULE,
    rules: tuple[HoleRule, ...] = HOLE_RULES,
) -> HoleChoice:
    """The hole by each of `rules`; raises `Impossible("unknown_rule")` for a `rule` that is not among them."""
    found = []
    for each in rules:
        diameter = each.diameter_mm(
            focal_length_mm=focal_length_mm,
            wavelength_nm=wavelength_nm,
            subject_distance_mm=subject_distance_mm,
        )
        found.append(RuleDiameter(each, diameter, focal_length_mm / diameter))
    chosen = next((r for r in found if r.rule.name == rule), None)
    if chosen is None:
        names = ", ".join(each.name for each in rules)
        raise Impossible("unknown_rule", f"There is no hole rule “{rule}”; there are {names}.", "rule")
    return HoleChoice(tuple(found), chosen, *nearest_drill(chosen.diameter_mm))


@dataclass(frozen=True)
class Arrangement:
    """One way to lay film in a box, for comparison."""

    name: str
    plane: FilmPlane
    illumination: Illumination


def flat_beside_bowed(
    plane: FilmPlane, light: Illumination, *, hole: Hole, used_share: float = 1.0
) -> tuple[Arrangement, ...]:
    """The same box with the film flat on its back wall and with a strip sprung in; empty for other shapes.

    `light` is that of `plane` as it is, for the same hole and share: one of the two is not reckoned again.
    For a flat film the strip compared is the one whose middle just reaches the back wall, or the longest that
    springs in at all.
    """
    sizes = plane.parameters
    if plane.kind == "bowed":
        width, depth, length = sizes["width_mm"], sizes["depth_mm"], sizes["length_mm"]
    elif plane.kind == "flat":
        width, depth = sizes["width_mm"], sizes["distance_mm"]
        length = longest_free_strip_mm(width_mm=width, depth_mm=depth)
    else:
        return ()
    offset = sizes["hole_offset_x_mm"]
    sheet = {"width_mm": width, "distance_mm": depth, "hole_offset_x_mm": offset}
    strip = {"width_mm": width, "depth_mm": depth, "length_mm": length, "hole_offset_x_mm": offset}
    arrangements = []
    for name, profile, parameters in (("flat", flat(**sheet), sheet), ("bowed", bowed(**strip), strip)):
        laid = FilmPlane(profile, plane.height_mm, plane.hole_offset_y_mm, name, parameters)
        if name == plane.kind:
            arrangements.append(Arrangement(name, plane, light))
            continue
        arrangements.append(Arrangement(name, laid, light_of(laid, hole, used_share)))
    return tuple(arrangements)


def light_of(plane: FilmPlane, hole: Hole, used_share: float = 1.0) -> Illumination:
    """How even the light of `hole` is over the film; `used_share` as in `illuminate`."""
    return illuminate(
        plane,
        hole_diameter_mm=hole.diameter_mm,
        plate_thickness_mm=hole.plate_thickness_mm,
        used_share=used_share,
    )


def longest_free_strip_mm(*, width_mm: float, depth_mm: float) -> float:
    """The longest strip that springs between walls `width_mm` apart on one arc no deeper than `depth_mm`.

    A chord W with sagitta D belongs to an arc of half angle 2·atan(2D/W), at most a half circle.
    """
    half_angle = min(2 * float(np.arctan(2 * depth_mm / width_mm)), np.pi / 2)
    return width_mm * half_angle / float(np.sin(half_angle))


@dataclass(frozen=True)
class CameraPlan:
    """The whole answer for one container; parts that were not asked for are None or empty.

    `opening` clears the middle `opening_used_share` of the negative. `sheet_cuts` is None, too, where the negative
    does not fit on the sheet.
    """

    plane: FilmPlane
    hole_choice: HoleChoice
    hole: Hole
    hole_is_rule: bool
    f_number: FNumber
    illumination: Illumination
    opening: WallOpening | None
    opening_used_share: float
    wall_thickness_mm: float | None
    sheet_mm: tuple[float, float] | None
    sheet_cuts: SheetCuts | None
    exposure_table: tuple[TableRow, ...]
    comparison: tuple[Arrangement, ...]


def plan_camera(
    plane: FilmPlane,
    *,
    hole: Hole | None = None,
    rule: str = DEFAULT_RULE,
    rules: tuple[HoleRule, ...] = HOLE_RULES,
    wavelength_nm: float = 550.0,
    sheet_mm: tuple[float, float] | None = None,
    wall_thickness_mm: float | None = None,
    plate_side: PlateSide = "inside",
    exposure_index: float | None = None,
    law: Law | None = None,
    used_share: float = 1.0,
) -> CameraPlan:
    """Plan a camera. The nominal focal length is the trade's, half of shortest + longest; without a `hole` the
    rule's own is taken."""
    choice = choose_hole(focal_length_mm=plane.mean_mm, wavelength_nm=wavelength_nm, rule=rule, rules=rules)
    made = hole or Hole(choice.chosen.diameter_mm)
    opening: WallOpening | None = None
    opening_share = used_share
    if wall_thickness_mm is not None:
        opening, opening_share = _plan_opening(plane, made, wall_thickness_mm, plate_side, used_share)
    table: tuple[TableRow, ...] = ()
    number = f_number(
        focal_length_mm=plane.mean_mm,
        diameter_mm=made.diameter_mm,
        diameter_uncertainty_mm=made.uncertainty_mm,
    )
    if exposure_index is not None:
        table = exposure_table(f_number=number.f_number, exposure_index=exposure_index, law=law)
    light = light_of(plane, made, used_share)
    return CameraPlan(
        plane=plane,
        hole_choice=choice,
        hole=made,
        hole_is_rule=hole is None,
        f_number=number,
        illumination=light,
        opening=opening,
        opening_used_share=opening_share,
        wall_thickness_mm=wall_thickness_mm,
        sheet_mm=sheet_mm,
        sheet_cuts=_plan_cuts(plane, sheet_mm),
        exposure_table=table,
        comparison=flat_beside_bowed(plane, light, hole=made, used_share=used_share),
    )


def _plan_opening(
    plane: FilmPlane, hole: Hole, wall_thickness_mm: float, plate_side: PlateSide, used_share: float
) -> tuple[WallOpening, float]:
    """The opening for the used share, or for `CLEARABLE_SHARE` of it where the very ends cannot be cleared."""

    def opening(share: float) -> WallOpening:
        return wall_opening(
            plane,
            wall_thickness_mm=wall_thickness_mm,
            hole_diameter_mm=hole.diameter_mm,
            plate_thickness_mm=hole.plate_thickness_mm,
            plate_side=plate_side,
            used_share=share,
        )

    try:
        return opening(used_share), used_share
    except Impossible as fault:
        if fault.code != "opening_unbounded":
            raise
    return opening(CLEARABLE_SHARE * used_share), CLEARABLE_SHARE * used_share


def _plan_cuts(plane: FilmPlane, sheet_mm: tuple[float, float] | None) -> SheetCuts | None:
    if sheet_mm is None:
        return None
    try:
        return cut_sheet(
            sheet_width_mm=sheet_mm[0],
            sheet_height_mm=sheet_mm[1],
            piece_width_mm=plane.length_mm,
            piece_height_mm=plane.height_mm,
        )
    except Impossible as fault:
        if fault.code == "piece_larger_than_sheet":
            return None
        raise Impossible(fault.code, str(fault), "sheet") from fault
