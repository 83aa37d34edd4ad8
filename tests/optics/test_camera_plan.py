"""The camera plan puts the parts together, and its advice stands exactly where its reason holds and quotes it."""

import re
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optics.core.advice import advise
from optics.core.camera_plan import (
    CLEARABLE_SHARE,
    Hole,
    choose_hole,
    flat_beside_bowed,
    light_of,
    longest_free_strip_mm,
    plan_camera,
)
from optics.core.exposure import exposure_table
from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.holes import f_number
from optics.core.illumination import illuminate
from optics.core.profiles import bowed, drum, flat, half_drum
from optics.core.reciprocity import PowerLaw
from optics.core.sheet_cuts import cut_sheet
from optics.core.wall_opening import wall_opening
from tests.physics.shapes import PLANES

derandomised = settings(derandomize=True, deadline=None, max_examples=60)

ALWAYS = {"needle_numbers_vary", "caution_blades"}
SHAPES: dict[str, Any] = {"flat": flat, "bowed": bowed, "drum": drum, "half_drum": half_drum}


def camera(kind: str, height_mm: float, off_y_mm: float = 0.0, **sizes_mm: float) -> FilmPlane:
    sizes = {"hole_offset_x_mm": 0.0, **sizes_mm}
    return FilmPlane(SHAPES[kind](**sizes), height_mm, off_y_mm, kind, sizes)


BOX = camera("flat", 60, width_mm=80, distance_mm=70)
STRIP = camera("bowed", 60, width_mm=171, depth_mm=60, length_mm=203)
TIN = camera("drum", 60, diameter_mm=100, length_mm=180)


def advice(plane: FilmPlane, **options: Any) -> dict[str, str]:
    flags = advise(plan_camera(plane, **options))
    assert len({flag.code for flag in flags}) == len(flags)
    return {flag.code: flag.text for flag in flags}


# ------------------------------------------------------------------------------------------------------- the plan


def test_plan_is_the_sum_of_its_parts() -> None:
    hole, law = Hole(0.3, 0.01, 0.05), PowerLaw(1.3)
    plan = plan_camera(
        BOX,
        hole=hole,
        rule="young_1971",
        wavelength_nm=445,
        sheet_mm=(203.2, 254),
        wall_thickness_mm=3,
        plate_side="outside",
        exposure_index=6,
        law=law,
        used_share=0.9,
    )
    light = illuminate(BOX, hole_diameter_mm=0.3, plate_thickness_mm=0.05, used_share=0.9)
    assert plan.hole_choice == choose_hole(focal_length_mm=BOX.mean_mm, wavelength_nm=445, rule="young_1971")
    assert plan.f_number == f_number(focal_length_mm=BOX.mean_mm, diameter_mm=0.3, diameter_uncertainty_mm=0.01)
    assert (plan.illumination.balanced, plan.illumination.flags) == (light.balanced, light.flags)
    assert plan.opening == wall_opening(
        BOX,
        wall_thickness_mm=3,
        hole_diameter_mm=0.3,
        plate_thickness_mm=0.05,
        plate_side="outside",
        used_share=0.9,
    )
    assert plan.opening_used_share == 0.9
    assert plan.sheet_cuts == cut_sheet(
        sheet_width_mm=203.2, sheet_height_mm=254, piece_width_mm=BOX.length_mm, piece_height_mm=60
    )
    assert plan.exposure_table == exposure_table(f_number=BOX.mean_mm / 0.3, exposure_index=6, law=law)
    assert (plan.hole, plan.hole_is_rule) == (hole, False)


def test_plan_answers_only_what_was_asked() -> None:
    plan = plan_camera(TIN)
    assert (plan.opening, plan.wall_thickness_mm, plan.sheet_mm, plan.sheet_cuts) == (None, None, None, None)
    assert plan.exposure_table == plan.comparison == ()
    assert plan.hole_is_rule
    assert plan.hole == Hole(plan.hole_choice.chosen.diameter_mm)
    assert plan.hole_choice.chosen.rule.name == "rayleigh_1891"


def test_faults_that_are_the_callers_pass_through() -> None:
    with pytest.raises(Impossible) as refused:
        plan_camera(BOX, rule="guess")
    assert refused.value.code == "unknown_rule"
    with pytest.raises(Impossible) as refused:
        plan_camera(BOX, wall_thickness_mm=80, plate_side="outside")
    assert refused.value.code == "wall_too_thick"
    with pytest.raises(Impossible) as refused:
        plan_camera(BOX, sheet_mm=(2600, 300))
    assert (refused.value.code, refused.value.field) == ("too_large", "sheet")


# --------------------------------------------------------------------------------------------- flat beside bowed


@derandomised
@given(st.floats(20, 500), st.floats(0.02, 2))
def test_longest_free_strip_agrees_with_trying(width: float, depth_share: float) -> None:
    depth = depth_share * width
    low, high = width * (1 + 1e-9), width * np.pi / 2
    for _ in range(60):
        middle = (low + high) / 2
        try:
            free = bowed(width_mm=width, depth_mm=depth, length_mm=middle).shape == "arc"
        except Impossible:
            free = False
        low, high = (middle, high) if free else (low, middle)
    assert longest_free_strip_mm(width_mm=width, depth_mm=depth) == pytest.approx(low, rel=1e-8)
    profile = bowed(width_mm=width, depth_mm=depth, length_mm=longest_free_strip_mm(width_mm=width, depth_mm=depth))
    assert profile.shape == "arc"
    assert profile.at(np.zeros(1))[1][0] == pytest.approx(min(depth, width / 2), rel=1e-7)


@pytest.mark.parametrize("offset", [0.0, 20.0])
def test_same_box_flat_and_bowed(offset: float) -> None:
    strip = camera("bowed", 60, 5, width_mm=171, depth_mm=60, length_mm=203, hole_offset_x_mm=offset)
    sheet, same = flat_beside_bowed(strip, light_of(strip, Hole(0.3), 0.9), hole=Hole(0.3), used_share=0.9)
    assert (sheet.name, same.name) == ("flat", "bowed")
    assert (sheet.plane.length_mm, sheet.plane.axis_distance_mm, sheet.plane.height_mm) == (171, 60, 60)
    assert sheet.plane.hole_offset_y_mm == same.plane.hole_offset_y_mm == 5
    assert same.plane.parameters == strip.parameters
    assert sheet.plane.parameters == {"width_mm": 171, "distance_mm": 60, "hole_offset_x_mm": offset}
    for arrangement, plane in ((same, strip), (sheet, sheet.plane)):
        alone = illuminate(plane, hole_diameter_mm=0.3, used_share=0.9)
        assert arrangement.illumination.balanced == alone.balanced
        assert arrangement.plane.longest_mm == pytest.approx(plane.longest_mm)


def test_flat_film_is_set_beside_the_strip_that_just_reaches_its_back_wall() -> None:
    sheet, strip = flat_beside_bowed(BOX, light_of(BOX, Hole(0.3)), hole=Hole(0.3))
    assert sheet.plane.length_mm == 80
    assert strip.plane.length_mm == pytest.approx(80 * np.pi / 2)
    assert strip.plane.profile.shape == "arc"
    shallow = camera("flat", 60, width_mm=171, distance_mm=30)
    strip = flat_beside_bowed(shallow, light_of(shallow, Hole(0.3)), hole=Hole(0.3))[1]
    assert strip.plane.axis_distance_mm == pytest.approx(30)


def test_other_shapes_have_no_such_pair() -> None:
    assert flat_beside_bowed(TIN, light_of(TIN, Hole(0.3)), hole=Hole(0.3)) == ()
    assert flat_beside_bowed(PLANES["measured"], light_of(PLANES["measured"], Hole(0.3)), hole=Hole(0.3)) == ()


# ------------------------------------------------------------------------------------------------- advice, by code


def test_plain_box_gets_no_more_than_the_usual_words() -> None:
    long = camera("flat", 45, width_mm=60, distance_mm=120)
    assert set(advice(long, hole=Hole(0.45), sheet_mm=(60, 90))) == ALWAYS


def test_caution_comes_last() -> None:
    flags = advise(plan_camera(STRIP, sheet_mm=(203.2, 254), wall_thickness_mm=3))
    assert flags[-1].code == "caution_blades"
    assert "away from the hand" in flags[-1].text
    assert "local codes" in flags[-1].text


def test_pressed_strip() -> None:
    pressed = camera("bowed", 60, width_mm=171, depth_mm=35, length_mm=203)
    flat_mm = 2 * pressed.profile.breaks_mm[1]
    assert (
        f"deeper than 35.0 mm, so the back wall presses its middle flat over {flat_mm:.0f} mm"
        in (advice(pressed)["strip_pressed_flat"])
    )
    # The hole far to one side, opposite the strip's arc and not its flat.
    aside = camera("bowed", 60, width_mm=171, depth_mm=35, length_mm=203, hole_offset_x_mm=75)
    assert aside.axis_distance_mm < 34
    assert "deeper than 35.0 mm" in advice(aside)["strip_pressed_flat"]
    assert "strip_pressed_flat" not in advice(STRIP)


def test_strip_that_just_touches_the_back_wall_is_not_pressed() -> None:
    for depth in np.linspace(10, 80, 29):
        length = longest_free_strip_mm(width_mm=171, depth_mm=depth)
        touching = camera("bowed", 60, width_mm=171, depth_mm=depth, length_mm=length)
        assert "strip_pressed_flat" not in advice(touching)


@pytest.mark.parametrize(("stops", "warned"), [(-1.99, False), (-2.01, True)])
def test_dark_corners(stops: float, warned: bool) -> None:
    # Flat film falls off as cos⁴: the corner at 2^(-stops/2) times the axis's square.
    diagonal2 = 70**2 * (2 ** (-stops / 2) - 1)
    plane = camera("flat", 60, width_mm=2 * np.sqrt(diagonal2 - 30**2), distance_mm=70)
    found = advice(plane, hole=Hole(0.37))
    assert ("corner_dark" in found) == warned
    if warned:
        share = plan_camera(plane).illumination.within_one_stop_share
        assert found["corner_dark"].startswith("The darkest corners are 2.0 stops darker than the middle")
        assert f"{share:.0%} of the negative" in found["corner_dark"]


def test_corners_without_light() -> None:
    found = advice(STRIP)
    assert "get no light at all" in found["corner_dark"]
    assert "no_light_at_edge" in found
    assert "no_light_at_edge" not in advice(STRIP, used_share=0.9)


def test_illuminations_own_flags_are_passed_on() -> None:
    wide = camera("flat", 100, width_mm=300, distance_mm=40)
    flags = {flag.code: flag.text for flag in plan_camera(wide).illumination.flags}
    assert set(flags) == {"focal_rules_disagree", "distance_hides_falloff"}
    assert flags.items() <= advice(wide).items()


def test_tin_is_even() -> None:
    assert "even to 0.00 stop" in advice(TIN)["drum_is_even"]
    off = camera("drum", 60, 10, diameter_mm=100, length_mm=150, hole_offset_x_mm=30)
    assert "even to 0.00 stop" in advice(off)["drum_is_even"]
    assert "drum_is_even" not in advice(camera("half_drum", 60, radius_mm=80, length_mm=180))


def test_thick_plate() -> None:
    # [derived] d/t = 3 lets nothing through beyond 71.6°.
    dark = advice(STRIP, hole=Hole(0.3, 0, 0.1))["plate_too_thick"]
    assert "0.100 mm thick with a hole 0.300 mm across lets nothing through beyond 72°" in dark
    share = found_share(dark)
    s = np.linspace(-0.5, 0.5, 20_001) * STRIP.length_mm
    line = STRIP.columns(s)
    assert share == pytest.approx(np.mean(np.hypot(line.x_mm, 30) >= 3 * line.z_mm), abs=0.01)
    # At t/d = 0.25 half a stop is gone from 53.6° off the axis on: T = 2^-½ where tan θ = 4·0.2322.
    tall = camera("flat", 120, width_mm=150, distance_mm=70)
    dim = advice(tall, hole=Hole(0.4, 0, 0.1))["plate_too_thick"]
    tangents = np.hypot(np.linspace(-75, 75, 20_001), 60) / 70
    x = tangents / 4
    lost = (np.arccos(x) - x * np.sqrt(1 - x * x)) * 2 / np.pi < 2**-0.5
    assert found_share(dim) == pytest.approx(lost.mean(), abs=0.01)
    assert f"from {np.degrees(np.arctan(tangents[lost].min())):.0f}° off the axis" in dim


def found_share(text: str) -> float:
    percent = re.search(r"(\d+)%", text)
    assert percent
    return int(percent[1]) / 100


@pytest.mark.parametrize("thickness", [0.0, 0.0005, 0.001])
def test_thin_plate_is_not_blamed_for_ends_that_are_dark_anyway(thickness: float) -> None:
    assert "plate_too_thick" not in advice(STRIP, hole=Hole(0.3, 0, thickness))
    assert "plate_too_thick" not in advice(BOX, hole=Hole(0.3, 0, 20 * thickness))


@pytest.mark.parametrize(("stops", "warned"), [(0.99, False), (1.01, True), (-0.99, False), (-1.01, True)])
def test_hole_far_from_the_rule(stops: float, warned: bool) -> None:
    rule = plan_camera(BOX).hole_choice.chosen.diameter_mm
    found = advice(BOX, hole=Hole(rule * 2 ** (stops / 2)))
    assert ("hole_far_from_rule" in found) == warned
    if warned:
        way = ("more", "wider") if stops > 0 else ("less", "narrower")
        assert (
            f"lets in 1.0 stops {way[0]} light than the {rule:.3f} mm of the rule rayleigh_1891"
            in (found["hole_far_from_rule"])
        )
        assert way[1] in found["hole_far_from_rule"]


@pytest.mark.parametrize(("relative", "warned"), [(0.115, False), (0.116, True)])
def test_hole_known_too_coarsely(relative: float, warned: bool) -> None:
    # [derived] A third of a stop is ln 2/6 = 0.11552 of the diameter.
    found = advice(BOX, hole=Hole(0.37, 0.37 * relative))
    assert ("measure_again" in found) == warned
    if warned:
        assert f"±{0.37 * relative:.3f} mm, ±0.3 stop" in found["measure_again"]


def test_drill_is_named_only_for_a_hole_still_to_be_made() -> None:
    choice = plan_camera(BOX).hole_choice
    text = advice(BOX)["nearest_drill"]
    assert f"drill {choice.drill} makes {choice.drill_mm:.3f} mm" in text
    assert f"{choice.chosen.diameter_mm:.3f} mm" in text
    assert "nearest_drill" not in advice(BOX, hole=Hole(0.37))
    assert "hole_far_from_rule" not in advice(BOX)


def test_wall() -> None:
    assert "wall_clips" not in advice(BOX)
    opening = plan_camera(BOX, wall_thickness_mm=3).opening
    assert opening
    text = advice(BOX, wall_thickness_mm=3)["wall_clips"]
    assert text.endswith(f"at least {opening.width_mm:.1f} × {opening.height_mm:.1f} mm.")
    assert "3 mm thick" in text


def test_wall_before_film_that_reaches_it() -> None:
    plan = plan_camera(STRIP, hole=Hole(0.3), wall_thickness_mm=3)
    assert plan.opening_used_share == CLEARABLE_SHARE
    assert plan.opening == wall_opening(STRIP, wall_thickness_mm=3, hole_diameter_mm=0.3, used_share=CLEARABLE_SHARE)
    assert "for the middle 95% of the negative" in advice(STRIP, hole=Hole(0.3), wall_thickness_mm=3)["wall_clips"]
    used = plan_camera(STRIP, hole=Hole(0.3), wall_thickness_mm=3, used_share=0.8)
    assert used.opening_used_share == 0.8


def test_sheet() -> None:
    def sheet_advice(plane: FilmPlane, sheet: tuple[float, float] | None) -> dict[str, str]:
        found = advice(plane, sheet_mm=sheet)
        return {code: text for code, text in found.items() if code in {"strip_too_long", "sheet_waste"}}

    assert sheet_advice(BOX, None) == sheet_advice(BOX, (160, 120)) == {}
    assert set(sheet_advice(BOX, (79, 59))) == {"strip_too_long"}
    assert "80.0 × 60.0 mm does not fit on a sheet of 79.0 × 59.0 mm" in sheet_advice(BOX, (79, 59))["strip_too_long"]
    # One piece of 80 × 60 leaves 24 % of 80 × 79, and 26 % of 80 × 81.
    assert sheet_advice(BOX, (80, 79)) == {}
    assert sheet_advice(BOX, (80, 81)) == {"sheet_waste": "1 negative to a sheet leaves 26% of it over."}
    assert sheet_advice(BOX, (160, 81)) == {"sheet_waste": "2 negatives to a sheet leave 26% of it over."}


@pytest.mark.parametrize("plane", [*PLANES.values(), BOX, STRIP, TIN])
@pytest.mark.parametrize("hole", [None, Hole(0.3, 0.05, 0.1), Hole(1.0)])
def test_advice_of_any_plan_is_whole_sentences_with_finite_figures(plane: FilmPlane, hole: Hole | None) -> None:
    found = advice(plane, hole=hole, sheet_mm=(203.2, 254), wall_thickness_mm=2, used_share=0.95)
    assert set(found) >= ALWAYS
    for text in found.values():
        assert text.endswith(".")
        assert "nan" not in text
        assert not re.search(r"\binf\b", text)
        assert "-0" not in text
