"""Light across the film: closed forms, energy and brute force. Marks as everywhere: [read], [memory], [derived].

The law under test, E = L·A·cos θ_plate·cos θ_film/r²·T, is [derived]; the sums over all light and the solid angles
below check it without using it.
"""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from optics.core.film_planes import FilmPlane
from optics.core.illumination import (
    USED_SHARES,
    extreme_stops,
    illuminate,
    light_stops,
    plate_transmission,
    stops_map,
)
from optics.core.profiles import Profile, bowed, drum, flat, half_drum, measured
from tests.physics.shapes import PLANES, PROFILES, film_planes, mirrored, profiles, scaled

derandomised = settings(derandomize=True, deadline=None, max_examples=40)
each_profile = pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES.keys())
PRESSED = PROFILES["strip pressed by the back wall"]
each_plane = pytest.mark.parametrize("plane", PLANES.values(), ids=PLANES.keys())


def plain_light(plane: FilmPlane, s_mm: NDArray, y_mm: NDArray, thickness_share: float = 0.0) -> NDArray:
    """Illuminance over L·A at laid-flat points, from whole vectors and the overlap of two discs."""
    x, z, nx, nz = plane.profile.at(s_mm)
    point = np.stack(np.broadcast_arrays(x, plane.rows(y_mm), z), axis=-1)
    normal = np.stack(np.broadcast_arrays(nx, 0 * y_mm, nz), axis=-1)
    reach = np.linalg.norm(point, axis=-1)
    cos_plate = point[..., 2] / reach
    cos_film = -(point * normal).sum(axis=-1) / reach
    light = cos_plate * cos_film / reach**2
    if thickness_share > 0:
        # [derived] Two discs of radius 1 whose middles are `apart` share 2 acos(apart/2) - apart/2·√(4 - apart²).
        with np.errstate(divide="ignore"):
            apart = np.minimum(2 * thickness_share * np.sqrt(1 / cos_plate**2 - 1), 2)
        light = light * (2 * np.arccos(apart / 2) - apart / 2 * np.sqrt(4 - apart**2)) / np.pi
    return light


def relative_light(plane: FilmPlane, s_mm: float, y_mm: float) -> float:
    """Illuminance against the axis point, from the map."""
    return float(2 ** stops_map(plane, s_mm=np.array([s_mm]), y_mm=np.array([y_mm]))[0, 0])


# -------------------------------------------------------------------------------------------------- closed forms


def test_flat_film_falls_off_with_the_fourth_power_of_the_cosine() -> None:
    # Textbook law; [derived] here too.
    plane = FilmPlane(flat(width_mm=200, distance_mm=70), 150)
    s, y = np.linspace(-100, 100, 21), np.linspace(-75, 75, 11)
    cos = 70 / np.sqrt(70**2 + s**2 + y[:, None] ** 2)
    assert stops_map(plane, s_mm=s, y_mm=y) == pytest.approx(4 * np.log2(cos), abs=1e-12)


@pytest.mark.parametrize("length", [100.0, 200, 310, 314])
def test_middle_line_of_a_round_tin_is_even_from_end_to_end(length: float) -> None:
    # [derived] The azimuth cancels.
    plane = FilmPlane(drum(diameter_mm=100, length_mm=length), 90)
    row = stops_map(plane, s_mm=np.linspace(-length / 2, length / 2, 401), y_mm=np.zeros(1))
    assert np.abs(row).max() < 1e-9


def test_point_in_a_round_tin() -> None:
    # [derived] cos⁴ψ alone. Radius 50 mm, 30° off the axis at the hole, 20 mm up: 0.901298.
    plane = FilmPlane(drum(diameter_mm=100, length_mm=200), 90)
    assert relative_light(plane, 50 * np.radians(60), 20) == pytest.approx(0.901298, abs=5e-7)
    elevation = np.arctan(20 / (100 * np.cos(np.radians(30))))
    assert relative_light(plane, 50 * np.radians(60), 20) == pytest.approx(np.cos(elevation) ** 4, rel=1e-12)


@derandomised
@given(st.floats(-1.5, 1.5), st.floats(-1.4, 1.4))
def test_arc_round_the_hole(bearing: float, elevation: float) -> None:
    # [derived] cos θ · cos⁴ψ.
    plane = FilmPlane(half_drum(radius_mm=80, length_mm=80 * 3.1), 2000)
    found = relative_light(plane, 80 * bearing, 80 * np.tan(elevation))
    assert found == pytest.approx(np.cos(bearing) * np.cos(elevation) ** 4, rel=1e-9)


def test_thick_plate() -> None:
    # [derived] d = 0.3 mm, t = 0.1 mm.
    tangents = np.tan(np.radians([0, 30, 50, 60]))
    let_through = plate_transmission(tan_angle=tangents, thickness_share=1 / 3)
    assert let_through == pytest.approx([1, 0.756486, 0.507841, 0.308068], abs=5e-7)
    assert np.degrees(np.arctan(3)) == pytest.approx(71.565, abs=5e-4)
    just_lit, dark, past = plate_transmission(tan_angle=np.array([2.999, 3, 4]), thickness_share=1 / 3)
    assert just_lit > 0 == dark == past
    assert plate_transmission(tan_angle=np.tan(np.radians(30)), thickness_share=1 / 3) == pytest.approx(let_through[1])


@derandomised
@given(st.floats(0, 1))
def test_plate_never_lets_through_less_than_nothing_nor_more_than_all(x: float) -> None:
    near_the_end = 1 - x * 1e-9
    for tangent in (x, near_the_end):
        assert 0 <= plate_transmission(tan_angle=tangent, thickness_share=1.0) <= 1


# ------------------------------------------------------------------------------------------------ all the light


def gauss(low: float, high: float, count: int) -> tuple[NDArray, NDArray]:
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return (low + high) / 2 + (high - low) / 2 * nodes, (high - low) / 2 * weights


def flux_at_any_height(profile: Profile) -> float:
    """∫E dS/(L·A) over the profile, extruded without end: Gauss–Legendre in s and in ψ with y = ρ tan ψ."""
    plane = FilmPlane(profile, 1e6)
    psi, d_psi = gauss(-np.pi / 2, np.pi / 2, 40)
    total = 0.0
    ends = np.unique([-profile.length_mm / 2, *profile.breaks_mm, profile.length_mm / 2])
    for a, b in pairwise(ends):
        for low, high in pairwise(np.linspace(a, b, 21)):
            s, ds = gauss(low, high, 20)
            line = plane.columns(s)
            reach = np.sqrt(line.reach2_mm2)
            height = reach * np.tan(psi)[:, None]
            light = 2 ** light_stops(line, height**2)
            total += (light * reach / np.cos(psi[:, None]) ** 2 * d_psi[:, None] * ds).sum()
    return float(total)


@pytest.mark.parametrize(
    "profile",
    [
        bowed(width_mm=171, depth_mm=80, length_mm=203),
        bowed(width_mm=171, depth_mm=80, length_mm=203, hole_offset_x_mm=40),
        PRESSED,
        half_drum(radius_mm=80, length_mm=80 * np.pi),
        half_drum(radius_mm=80, length_mm=80 * np.pi, hole_offset_x_mm=-30),
        drum(diameter_mm=100, length_mm=100 * np.pi * (1 - 3e-4)),
        measured(points_mm=np.transpose(PRESSED.at(np.linspace(-101.5, 101.5, 25))[:2])),
        measured(points_mm=np.array([[-80.0, 0], [-80, 60], [80, 60], [80, 0]]), hole_offset_x_mm=12),
    ],
    ids=["arc", "arc, hole off", "pressed", "half circle", "half circle, hole off", "tin", "measured", "box"],
)  # fmt: skip
def test_film_that_closes_the_box_catches_all_the_light(profile: Profile) -> None:
    # [derived] A hole of area A towards a scene of even luminance L lets in π·L·A, wherever it lands.
    assert flux_at_any_height(profile) == pytest.approx(np.pi, rel=1e-6)


def test_flat_film_without_end_catches_all_the_light() -> None:
    plane = FilmPlane(flat(width_mm=1e6, distance_mm=70), 1e6)
    (bearing, d_bearing), (psi, d_psi) = gauss(-np.pi / 2, np.pi / 2, 60), gauss(-np.pi / 2, np.pi / 2, 40)
    line = plane.columns(70 * np.tan(bearing))
    reach = np.sqrt(line.reach2_mm2)
    light = 2 ** light_stops(line, (reach * np.tan(psi)[:, None]) ** 2)
    steps = reach / np.cos(psi[:, None]) ** 2 * d_psi[:, None] * 70 / np.cos(bearing) ** 2 * d_bearing
    assert (light * steps).sum() == pytest.approx(np.pi, rel=1e-9)


@each_profile
def test_film_catches_the_light_between_its_ends(profile: Profile) -> None:
    # [derived] Extruded without end, between bearings b₁ and b₂: (π/2)(sin b₂ - sin b₁).
    x, z, *_ = profile.at(np.array([-0.5, 0.5]) * profile.length_mm)
    between = np.pi / 2 * np.diff(np.sin(np.arctan2(x, z)))[0]
    assert flux_at_any_height(profile) == pytest.approx(between, rel=1e-6)


def corner_view_factor(a: float, b: float, c: float) -> float:
    """From a small plane element to a parallel rectangle a × b, c away, one corner straight over the element.

    Closed form of radiation heat-transfer textbooks (R. Siegel, J. R. Howell, Thermal Radiation Heat Transfer,
    configuration factors) [memory].
    """
    x, y = a / c, b / c
    x_root, y_root = np.hypot(1, x), np.hypot(1, y)
    return float((x / x_root * np.arctan(y / x_root) + y / y_root * np.arctan(x / y_root)) / (2 * np.pi))


@pytest.mark.parametrize(
    ("width", "height", "distance", "x_off", "y_off"),
    [(127, 102, 70, 0, 0), (300, 60, 40, 50, -10), (50, 50, 200, 20, 20), (400, 400, 30, 0, 0)],
)
def test_flat_sheet_catches_its_view_factor(
    width: float, height: float, distance: float, x_off: float, y_off: float
) -> None:
    plane = FilmPlane(flat(width_mm=width, distance_mm=distance, hole_offset_x_mm=x_off), height, y_off)
    (s, ds), (y, dy) = gauss(-width / 2, width / 2, 80), gauss(-height / 2, height / 2, 80)
    caught = 2 ** light_stops(plane.columns(s), plane.rows(y)[:, None] ** 2)
    factor = sum(
        corner_view_factor(width / 2 + across * x_off, height / 2 + up * y_off, distance)
        for across in (1, -1)
        for up in (1, -1)
    )
    assert (caught * dy[:, None] * ds).sum() == pytest.approx(np.pi * factor, rel=1e-8)


@derandomised
@given(film_planes(), st.floats(-0.49, 0.49), st.floats(-0.49, 0.49))
def test_light_on_a_patch_is_the_scene_it_sees(plane: FilmPlane, across: float, up: float) -> None:
    """E dS = L·A·cos θ_plate dΩ, with dΩ from the directions of a small patch's corners."""
    s, y, step = across * plane.length_mm, up * plane.height_mm, 1e-4 * plane.shortest_mm
    corners_s, corners_y = s + step * np.array([-1, 1, 1, -1]), y + step * np.array([-1, -1, 1, 1])
    x, z, *_ = plane.profile.at(corners_s)
    a, b, c, d = np.column_stack([x, plane.rows(corners_y), z])

    def solid_angle(u: NDArray, v: NDArray, w: NDArray) -> float:
        # A. van Oosterom, J. Strackee, IEEE Trans. Biomed. Eng. 30, 125 (1983) [memory].
        nu, nv, nw = (np.linalg.norm(side) for side in (u, v, w))
        below = nu * nv * nw + (u @ v) * nw + (u @ w) * nv + (v @ w) * nu
        return 2 * abs(float(np.arctan2(u @ np.cross(v, w), below)))

    middle = (a + b + c + d) / 4
    seen = (solid_angle(a, b, c) + solid_angle(a, c, d)) * middle[2] / np.linalg.norm(middle)
    light = 2 ** light_stops(plane.columns(np.array([s])), plane.rows(y) ** 2)[0]
    assert light * (2 * step) ** 2 == pytest.approx(seen, rel=2e-3)


# --------------------------------------------------------------------------------------------- against plain sums


@each_plane
@pytest.mark.parametrize("thickness_share", [0.0, 0.25])
def test_map_agrees_with_whole_vectors(plane: FilmPlane, thickness_share: float) -> None:
    s, y = np.linspace(-0.499, 0.499, 41) * plane.length_mm, np.linspace(-45, 45, 13)
    found = 2 ** stops_map(plane, s_mm=s, y_mm=y, thickness_share=thickness_share)
    axis = plain_light(plane, np.array([plane.axis_s_mm]), np.array([plane.hole_offset_y_mm]))
    assert found == pytest.approx(plain_light(plane, s, y[:, None], thickness_share) / axis, rel=1e-8, abs=1e-14)


def dense_columns(plane: FilmPlane, used_share: float) -> NDArray:
    """Many columns of the used width, those with a bend and the axis among them."""
    half = used_share * plane.length_mm / 2
    special = np.array([plane.axis_s_mm, *plane.profile.breaks_mm])
    return np.union1d(np.linspace(-half, half, 2001), special[np.abs(special) <= half])


@each_plane
@pytest.mark.parametrize("thickness_share", [0.0, 0.25])
@pytest.mark.parametrize("used_share", [1.0, 0.6])
def test_extremes_agree_with_a_dense_search(plane: FilmPlane, thickness_share: float, used_share: float) -> None:
    s, y = dense_columns(plane, used_share), np.linspace(-0.5, 0.5, 201) * used_share * plane.height_mm
    y = np.append(y, plane.hole_offset_y_mm)
    stops = stops_map(plane, s_mm=s, y_mm=y, thickness_share=thickness_share)
    brightest, darkest = extreme_stops(plane, thickness_share=thickness_share, used_share=used_share)
    assert stops.max() == pytest.approx(brightest, abs=2e-4)
    assert stops.max() <= brightest + 1e-6
    if np.isinf(darkest):
        assert stops.min() == -np.inf
    else:
        assert stops.min() == pytest.approx(darkest, abs=1e-3)
        assert stops.min() >= darkest - 1e-6


@each_plane
def test_balanced_f_number_leaves_brightest_and_darkest_equally_far(plane: FilmPlane) -> None:
    found = illuminate(plane, hole_diameter_mm=0.3, used_share=0.8)
    balance = found.balanced
    assert balance is not None
    s, y = np.linspace(-0.4, 0.4, 1201) * plane.length_mm, np.linspace(-0.4, 0.4, 101) * plane.height_mm
    # A flat film facing the hole at the balanced distance would get L·A/f².
    off = np.log2(plain_light(plane, s, y[:, None]) * balance.focal_length_mm**2)
    assert off.max() == pytest.approx(balance.error_stops, abs=1e-3)
    assert off.min() == pytest.approx(-balance.error_stops, abs=1e-3)
    assert balance.f_number == pytest.approx(balance.focal_length_mm / 0.3, rel=1e-12)
    trade = np.log2(plain_light(plane, s, y[:, None]) * plane.mean_mm**2)
    assert (found.trade_brightest_stops, found.trade_darkest_stops) == pytest.approx(
        (trade.max(), trade.min()), abs=1e-3
    )
    assert (found.trade_focal_length_mm, found.trade_f_number) == (plane.mean_mm, plane.mean_mm / 0.3)


@each_plane
def test_shares_within_one_stop_agree_with_random_points(plane: FilmPlane) -> None:
    rng = np.random.default_rng(3)
    s, y = rng.uniform(-0.5, 0.5, (2, 200_000)) * [[plane.length_mm], [plane.height_mm]]
    light = plain_light(plane, s, y)
    found = illuminate(plane, hole_diameter_mm=0.3, used_share=0.8)
    axis = plain_light(plane, np.array([plane.axis_s_mm]), np.array([plane.hole_offset_y_mm]))
    assert found.within_one_stop_share == pytest.approx(np.mean(np.abs(np.log2(light / axis)) <= 1), abs=0.005)
    assert found.balanced
    off = np.abs(np.log2(light * found.balanced.focal_length_mm**2))
    assert found.balanced.within_one_stop_share == pytest.approx(np.mean(off <= 1), abs=0.005)


def test_map_and_axes_of_the_result() -> None:
    plane = PLANES["tin"]
    found = illuminate(plane, hole_diameter_mm=0.3, columns=7, rows=5)
    assert found.x_mm == pytest.approx(np.linspace(-100, 100, 7))
    assert found.y_mm == pytest.approx(np.linspace(-45, 45, 5))
    assert found.stops == pytest.approx(stops_map(plane, s_mm=found.x_mm, y_mm=found.y_mm), abs=0)
    assert found.distance_only_darkest_stops == pytest.approx(2 * np.log2(100 / plane.longest_mm))


# ------------------------------------------------------------------------------------------------- used share, flags


@pytest.mark.parametrize(
    "name", ["arc sprung in a deep box", "strip pressed by the back wall", "half circle round the hole"]
)
def test_film_that_reaches_the_holes_wall_has_no_balance_at_its_ends(name: str) -> None:
    found = illuminate(PLANES[name], hole_diameter_mm=0.3)
    assert found.balanced is None
    assert found.darkest_stops == found.trade_darkest_stops == -np.inf
    assert (found.stops[:, [0, -1]] == -np.inf).all()
    assert np.isfinite(found.stops[:, 1:-1]).all()
    assert [b.used_share for b in found.by_used_share] == [share for share in USED_SHARES if share < 1]
    errors = [b.error_stops for b in found.by_used_share]
    assert errors == sorted(errors)
    inside = illuminate(PLANES[name], hole_diameter_mm=0.3, used_share=0.9)
    assert inside.balanced == found.by_used_share[-1]


@each_plane
@pytest.mark.parametrize("used_share", [0.5, 0.9, 1.0])
@pytest.mark.parametrize("plate_thickness_mm", [0.0, 0.2])
def test_flags_stand_exactly_where_their_condition_holds(
    plane: FilmPlane, used_share: float, plate_thickness_mm: float
) -> None:
    found = illuminate(plane, hole_diameter_mm=0.3, plate_thickness_mm=plate_thickness_mm, used_share=used_share)
    heights = plane.rows(np.array([-1, 1]) * used_share * plane.height_mm / 2)
    reach2 = plane.columns(dense_columns(plane, used_share)).reach2_mm2[:, None] + heights**2
    distance_only = np.log2(plane.axis_distance_mm**2 / reach2.max())
    assert found.distance_only_darkest_stops == pytest.approx(distance_only, abs=1e-6)
    conditions = {
        "no_light_at_edge": found.darkest_stops == -np.inf,
        "focal_rules_disagree": found.balanced is not None
        and not 0.9 <= found.balanced.focal_length_mm / plane.mean_mm <= 1.1,
        "distance_hides_falloff": found.darkest_stops < distance_only - 0.5,
    }
    assert {flag.code for flag in found.flags} == {code for code, holds in conditions.items() if holds}


def test_flags_quote_what_was_computed() -> None:
    tin = illuminate(FilmPlane(flat(width_mm=300, distance_mm=40), 100), hole_diameter_mm=0.3)
    text = {flag.code: flag.text for flag in tin.flags}
    assert tin.balanced
    assert f"{tin.trade_focal_length_mm:.1f} mm" in text["focal_rules_disagree"]
    assert f"{tin.balanced.focal_length_mm:.1f} mm" in text["focal_rules_disagree"]
    assert f"{-tin.darkest_stops:.1f} stops" in text["distance_hides_falloff"]
    assert f"{-tin.distance_only_darkest_stops:.1f} stops" in text["distance_hides_falloff"]
    ends = illuminate(PLANES["arc sprung in a deep box"], hole_diameter_mm=0.3, plate_thickness_mm=0.3, used_share=0.9)
    assert "middle 90% of the negative gets no light" in ends.flags[0].text


# ---------------------------------------------------------------------------------------------------- properties


@derandomised
@given(profiles(), st.floats(0.05, 20))
def test_camera_of_any_size_has_the_same_stops(profile: Profile, k: float) -> None:
    height = profile.length_mm / 3
    plane, large = FilmPlane(profile, height), FilmPlane(scaled(profile, k), k * height)
    s, y = np.linspace(-0.49, 0.49, 9) * profile.length_mm, np.linspace(-0.5, 0.5, 5) * height
    assert stops_map(large, s_mm=k * s, y_mm=k * y) == pytest.approx(stops_map(plane, s_mm=s, y_mm=y), abs=1e-8)


@derandomised
@given(film_planes())
def test_light_in_the_mirror(plane: FilmPlane) -> None:
    image = FilmPlane(mirrored(plane.profile), plane.height_mm, -plane.hole_offset_y_mm)
    s, y = np.linspace(-0.49, 0.49, 9) * plane.length_mm, np.linspace(-0.5, 0.5, 5) * plane.height_mm
    assert stops_map(image, s_mm=-s, y_mm=-y) == pytest.approx(stops_map(plane, s_mm=s, y_mm=y), abs=1e-8)


@derandomised
@given(film_planes(), st.floats(0, 2), st.floats(0, 2))
def test_thicker_plate_lets_through_less(plane: FilmPlane, one: float, other: float) -> None:
    s, y = np.linspace(-0.5, 0.5, 9) * plane.length_mm, np.linspace(-0.5, 0.5, 5) * plane.height_mm
    thin, thick = (stops_map(plane, s_mm=s, y_mm=y, thickness_share=t) for t in sorted((one, other)))
    assert (thick <= thin).all()


@derandomised
@given(film_planes(), st.floats(0, 1))
def test_one_column_or_row_at_a_time(plane: FilmPlane, thickness_share: float) -> None:
    s, y = np.linspace(-0.5, 0.5, 7) * plane.length_mm, np.linspace(-0.5, 0.5, 5) * plane.height_mm
    together = stops_map(plane, s_mm=s, y_mm=y, thickness_share=thickness_share)
    for k in range(7):
        alone = stops_map(plane, s_mm=s[k : k + 1], y_mm=y[k % 5 : k % 5 + 1], thickness_share=thickness_share)
        assert alone[0, 0] == together[k % 5, k]


@derandomised
@given(film_planes(), st.sampled_from([0.05, 0.3, 0.99]))
def test_larger_used_part_is_never_more_even(plane: FilmPlane, smaller: float) -> None:
    bright, dark = extreme_stops(plane, thickness_share=0.0)
    inner_bright, inner_dark = extreme_stops(plane, thickness_share=0.0, used_share=smaller)
    assert bright >= inner_bright - 1e-6
    assert dark <= inner_dark + 1e-6
