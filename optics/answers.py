"""From a validated body to a result of the core; the names of an endpoint's keys end here."""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from types import SimpleNamespace
from typing import Any

from optics import contributed
from optics.core import exposure as core_exposure
from optics.core.advice import advise
from optics.core.camera_plan import CameraPlan, Hole, HoleChoice, choose_hole, plan_camera
from optics.core.faults import Flag
from optics.core.film_planes import FilmPlane
from optics.core.hole_advice import MadeHole, advise_hole
from optics.core.hole_measurement import HoleMeasurement, Reading, combine, counted, given, rank_tries, scanned
from optics.core.holes import NEEDLE_WARNING, FNumber, f_number
from optics.core.illumination import illuminate
from optics.core.illumination_svg import illumination_svg
from optics.core.light import Light
from optics.core.progress import Progress, Segment, progress
from optics.core.reciprocity import Law
from optics.core.sheet_cuts import CAUTION, SheetCuts, cut_sheet
from optics.core.wall_opening import PlateSide, check_opening, wall_opening

#: The f-numbers that the light endpoint gives times for: a meter's, then a pinhole's.
TIMES_AT = (8, 16, 22, 64, 128, 180, 256, 360)


def film_plane(*, film_plane: FilmPlane) -> FilmPlane:
    return film_plane


def hole_diameter(*, focal_length: float, wavelength: float, subject_distance: float, rule: str) -> dict[str, Any]:
    values = {"focal_length_mm": focal_length, "wavelength_nm": wavelength, "subject_distance_mm": subject_distance}
    rules, flags = contributed.hole_rules(chosen=rule, **values)
    return _hole_choice(choose_hole(rule=rule, rules=rules, **values), flags)


def _hole_choice(choice: HoleChoice, flags: tuple[Flag, ...]) -> dict[str, Any]:
    return {**vars(choice), "flags": (NEEDLE_WARNING, *flags)}


def f_number_of(*, focal_length: float, diameter: float, diameter_uncertainty: float) -> FNumber:
    return f_number(focal_length_mm=focal_length, diameter_mm=diameter, diameter_uncertainty_mm=diameter_uncertainty)


def read_hole(reading: dict[str, Any]) -> Reading:
    """One reading of a hole as a diameter with its uncertainty."""
    direction = reading["direction"]
    match reading["way"]:
        case "holes_across":
            own = {k: reading[k] for k in ("holes_across", "holes_across_uncertainty") if k in reading}
            return counted(span_mm=reading["span"], direction=direction, **own)
        case "pixels":
            return scanned(pixels=reading["pixels"], resolution_dpi=reading["resolution"], direction=direction)
        case _:
            uncertainty = reading.get("uncertainty")
            return given(diameter_mm=reading["diameter"], uncertainty_mm=uncertainty, direction=direction)


def measure(readings: list[dict[str, Any]]) -> HoleMeasurement:
    """Pool the readings of one hole."""
    return combine([read_hole(reading) for reading in readings])


def hole_measurement(
    *,
    readings: list[dict[str, Any]] | None = None,
    tries: Sequence[dict[str, Any]] = (),
    target: float | None = None,
    focal_length: float | None = None,
) -> dict[str, Any]:
    if readings is not None:
        found = measure(readings)
        answer: dict[str, Any] = asdict(found) | {"flags": found.flags}
    else:
        measured = [(each["label"], measure(each["readings"])) for each in tries]
        assert target is not None  # noqa: S101  (the question saw to it)
        ranking = rank_tries(measured, target_mm=target)
        found = ranking[0].measurement
        answer = asdict(found) | {"flags": found.flags, "ranking": ranking}
    if focal_length is not None:
        answer["f_number"] = f_number(
            focal_length_mm=focal_length,
            diameter_mm=found.diameter_mm,
            diameter_uncertainty_mm=found.uncertainty_mm,
        )
    made = MadeHole(found.diameter_mm, found.uncertainty_mm, found.roundness_share)
    return answer | advised(made, target=target, focal_length=focal_length)


def advised(hole: MadeHole, *, target: float | None, focal_length: float | None) -> dict[str, Any]:
    """What to do with a measured hole, and the diameter it was held against: the target, or the focal length's own."""
    if target is None and focal_length is not None:
        target = choose_hole(focal_length_mm=focal_length).chosen.diameter_mm
    return {"target_mm": target, "advice": advise_hole(hole, wanted_mm=target)}


def illumination(*, film_plane: FilmPlane, hole: Hole, columns: int, rows: int, used_share: float) -> Any:
    found = illuminate(
        film_plane,
        hole_diameter_mm=hole.diameter_mm,
        plate_thickness_mm=hole.plate_thickness_mm,
        used_share=used_share,
        columns=columns,
        rows=rows,
    )
    return SimpleNamespace(**vars(found), svg=_light_map(film_plane, hole))


def _light_map(plane: FilmPlane, hole: Hole) -> str:
    return illumination_svg(plane, thickness_share=hole.plate_thickness_mm / hole.diameter_mm)


def light(*, reading: float) -> dict[str, Any]:
    found = Light(reading)
    times = [{"f_number": n, "time_s": found.time_s(f_number=n)} for n in TIMES_AT]
    return {
        "ev100": reading,
        "illuminance_lx": found.illuminance_lx,
        "luminance_cd_m2": found.luminance_cd_m2,
        "times": times,
    }


def exposure(
    *,
    reading: float,
    f_number: float,
    exposure_index: float,
    filter_stops: float,
    correction_stops: float,
    reciprocity: Law,
) -> dict[str, Any]:
    found = core_exposure.expose(
        ev100=reading,
        f_number=f_number,
        exposure_index=exposure_index,
        filter_stops=filter_stops,
        correction_stops=correction_stops,
        law=reciprocity,
    )
    flags = (*found.flags, *getattr(reciprocity, "flags", ()))
    return {
        **vars(replace(found, flags=flags)),
        "strip_totals_s": [step.total_s for step in found.test_strip],
    }


def exposure_table(
    *,
    f_number: float,
    exposure_index: float,
    reciprocity: Law,
    ev_from: float,
    ev_to: float,
    step: float,
) -> dict[str, Any]:
    rows = core_exposure.exposure_table(
        f_number=f_number,
        exposure_index=exposure_index,
        law=reciprocity,
        ev_from=ev_from,
        ev_to=ev_to,
        step=step,
    )
    return {"rows": rows}


def exposure_progress(
    *,
    segments: Sequence[Segment],
    reading: float,
    f_number: float,
    exposure_index: float,
    filter_stops: float,
    reciprocity: Law,
) -> Progress:
    return progress(
        segments,
        ev100_now=reading,
        f_number=f_number,
        exposure_index=exposure_index,
        filter_stops=filter_stops,
        law=reciprocity,
    )


def sheet_cuts(*, sheet: tuple[float, float], piece: dict[str, float], kerf: float, grain: Any) -> dict[str, Any]:
    found = cut_sheet(
        sheet_width_mm=sheet[0],
        sheet_height_mm=sheet[1],
        piece_width_mm=piece["width"],
        piece_height_mm=piece["height"],
        kerf_mm=kerf,
        grain=grain,
    )
    return _shown_cuts(found)


def _shown_cuts(cuts: SheetCuts) -> dict[str, Any]:
    return {**vars(cuts), "plan": cuts, "caution": CAUTION}


def opening(
    *,
    film_plane: FilmPlane,
    hole: Hole,
    wall_thickness: float,
    margin: float,
    plate_side: PlateSide,
    used_share: float,
    opening: dict[str, float] | None = None,
) -> dict[str, Any]:
    common: dict[str, Any] = {
        "wall_thickness_mm": wall_thickness,
        "hole_diameter_mm": hole.diameter_mm,
        "plate_thickness_mm": hole.plate_thickness_mm,
        "plate_side": plate_side,
        "used_share": used_share,
    }
    answer = dict(vars(wall_opening(film_plane, margin_mm=margin, **common)))
    if opening is not None:
        answer["check"] = check_opening(
            film_plane, opening_width_mm=opening["width"], opening_height_mm=opening["height"], **common
        )
    return answer


@dataclass(frozen=True)
class PlannedCamera:
    """A plan with what is said and drawn of it."""

    plan: CameraPlan
    hole_choice: dict[str, Any]
    sheet_cuts: dict[str, Any] | None
    advice: tuple[Flag, ...]
    light_svg: str


def camera_plan(
    *,
    film_plane: FilmPlane,
    hole: Hole | None,
    rule: str,
    receptor: float,
    sheet: tuple[float, float] | None,
    wall_thickness: float | None,
    plate_side: PlateSide,
    exposure_index: float | None,
    reciprocity: Law,
    used_share: float,
) -> PlannedCamera:
    rules, rule_flags = contributed.hole_rules(
        chosen=rule, focal_length_mm=film_plane.mean_mm, wavelength_nm=receptor, subject_distance_mm=math.inf
    )
    plan = plan_camera(
        film_plane,
        hole=hole,
        rule=rule,
        rules=rules,
        wavelength_nm=receptor,
        sheet_mm=sheet,
        wall_thickness_mm=wall_thickness,
        plate_side=plate_side,
        exposure_index=exposure_index,
        law=reciprocity,
        used_share=used_share,
    )
    cuts = plan.sheet_cuts
    return PlannedCamera(
        plan=plan,
        hole_choice=_hole_choice(plan.hole_choice, rule_flags),
        sheet_cuts=None if cuts is None else _shown_cuts(cuts),
        advice=advise(plan),
        light_svg=_light_map(film_plane, plan.hole),
    )
