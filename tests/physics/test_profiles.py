"""How film lies, as a curve: closed forms and limits. Marks as everywhere: [read], [memory], [derived].

The closed forms of a sprung strip, of an arc round the hole and of a round tin are [derived].
"""

import re
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optics.core.camera_plan import longest_free_strip_mm
from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.illumination import stops_map
from optics.core.profiles import Profile, bow_half_angle, bowed, drum, flat, half_drum, measured, pressed_half_angle
from tests.physics.shapes import BENT_SHEET, PROFILES, profiles, wobbly_arc

derandomised = settings(derandomize=True, deadline=None, max_examples=60)
each_profile = pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES.keys())


def along(profile: Profile, count: int) -> np.ndarray:
    return np.linspace(-profile.length_mm / 2, profile.length_mm / 2, count)


def place(profile: Profile, s_mm: float) -> np.ndarray:
    """x and z of one point."""
    return np.array(profile.at(np.array([s_mm]))[:2])[:, 0]


def test_eight_inch_strip_between_walls_six_and_three_quarters_apart() -> None:
    # [derived] It bows 46.4 mm deep, so that a box 45 mm deep presses its middle flat, and one 50 mm deep does not.
    inch = 25.4
    in_a_deep_box = bowed(width_mm=6.75 * inch, depth_mm=50, length_mm=8 * inch)
    assert place(in_a_deep_box, 0)[1] == pytest.approx(46.4, abs=0.05)
    assert in_a_deep_box.shape == "arc"
    pressed = bowed(width_mm=6.75 * inch, depth_mm=45, length_mm=8 * inch)
    assert pressed.shape == "pressed"
    assert place(pressed, 0)[1] == 45
    left, right = pressed.breaks_mm
    assert right == -left > 0
    assert place(pressed, right)[1] == pytest.approx(45, rel=1e-12)


# ---------------------------------------------------------------------------------------------- every profile


@each_profile
def test_curve_is_as_long_as_it_says(profile: Profile) -> None:
    ends = np.unique([-profile.length_mm / 2, *profile.breaks_mm, profile.length_mm / 2])
    s = np.concatenate([np.linspace(a, b, 20001) for a, b in pairwise(ends)])
    x, z, *_ = profile.at(s)
    assert np.hypot(np.diff(x), np.diff(z)).sum() == pytest.approx(profile.length_mm, rel=1e-7)


@derandomised
@given(profiles(), st.floats(-0.499, 0.499))
def test_normal_is_a_unit_vector_square_to_the_film_on_the_holes_side(profile: Profile, share: float) -> None:
    s, step = share * profile.length_mm, 1e-6 * profile.length_mm
    x, z, nx, nz = (float(part[0]) for part in profile.at(np.array([s])))
    tangent = (place(profile, s + step) - place(profile, s - step)) / (2 * step)
    assert np.hypot(nx, nz) == pytest.approx(1, abs=1e-12)
    assert np.hypot(*tangent) == pytest.approx(1, abs=1e-5)
    assert tangent @ [nx, nz] == pytest.approx(0, abs=1e-5)
    assert x * nx + z * nz < 0


@each_profile
def test_one_point_or_many_at_once(profile: Profile) -> None:
    s = along(profile, 9)
    together = np.array(profile.at(s))
    assert together == pytest.approx(np.column_stack([profile.at(each) for each in s]), abs=0)
    assert np.array(profile.at(s.reshape(3, 3))).reshape(4, 9) == pytest.approx(together, abs=0)


# ---------------------------------------------------------------------------------------------- a sprung strip


@derandomised
@given(st.floats(20, 500), st.floats(1.0001, np.pi / 2))
def test_free_strip_is_an_arc_through_both_ends(width: float, ratio: float) -> None:
    # [derived] sin α/α = W/L, R = L/2α, depth R(1 - cos α): here from the curve back to its circle.
    length = ratio * width
    profile = bowed(width_mm=width, depth_mm=width, length_mm=length)
    (x, z, *_), (_, depth) = profile.at(along(profile, 101)), place(profile, 0)
    radius = ((width / 2) ** 2 + depth**2) / (2 * depth)
    assert np.hypot(x, z - (depth - radius)) == pytest.approx(np.full(101, radius), rel=1e-9)
    assert [x[0], z[0], x[-1], z[-1]] == pytest.approx([-width / 2, 0, width / 2, 0], abs=1e-9 * width)
    half_angle = length / 2 / radius
    assert np.sin(half_angle) / half_angle == pytest.approx(width / length, rel=1e-9)


@derandomised
@given(st.floats(20, 500), st.floats(0.01, 0.5), st.floats(0.001, 1))
def test_pressed_strip_is_two_arcs_and_a_flat(width: float, depth_share: float, fullness: float) -> None:
    # [derived] R(1 - cos α) = depth and R(α - sin α) = (L - W)/2, tangent to the back wall.
    depth = depth_share * width
    free = longest_free_strip_mm(width_mm=width, depth_mm=depth)
    longest = width + depth * (np.pi - 2)
    length = free + fullness * (longest - free)
    profile = bowed(width_mm=width, depth_mm=depth, length_mm=length)
    if profile.shape == "arc":
        assert length == pytest.approx(free, rel=1e-7)
        return
    flat_half = profile.breaks_mm[1]
    half_angle = np.arctan2(-profile.at(np.array([length / 2]))[2][0], -profile.at(np.array([length / 2]))[3][0])
    radius = (length / 2 - flat_half) / half_angle
    assert radius * (1 - np.cos(half_angle)) == pytest.approx(depth, rel=1e-7)
    assert radius * (half_angle - np.sin(half_angle)) == pytest.approx((length - width) / 2, rel=1e-6)
    assert 0 <= half_angle <= np.pi / 2 + 1e-7
    x, z, *_ = profile.at(along(profile, 1001))
    assert z.max() <= depth
    assert np.abs(x).max() <= width / 2 * (1 + 1e-12)
    assert [x[-1], z[-1]] == pytest.approx([width / 2, 0], abs=1e-9 * width)


def test_pressed_strip_has_no_kink_where_it_leaves_the_wall() -> None:
    profile = PROFILES["strip pressed by the back wall"]
    for junction in profile.breaks_mm:
        before, after = (np.array(profile.at(np.array([junction + step]))) for step in (-1e-9, 1e-9))
        assert before == pytest.approx(after, abs=1e-8)


def test_strip_lies_alike_just_before_and_just_after_it_touches_the_back_wall() -> None:
    length = longest_free_strip_mm(width_mm=170, depth_mm=40)
    s = np.linspace(-length / 2, length / 2, 101)
    free, pressed = (
        bowed(width_mm=170, depth_mm=depth, length_mm=length) for depth in (40 * (1 + 1e-7), 40 * (1 - 1e-7))
    )
    assert (free.shape, pressed.shape) == ("arc", "pressed")
    assert np.array(free.at(s)) == pytest.approx(np.array(pressed.at(s)), abs=1e-3)
    exact = bowed(width_mm=170, depth_mm=40, length_mm=length)
    assert exact.shape == "arc"


@derandomised
@given(st.floats(-9, np.log10(np.pi / 2 - 1)))
def test_pressed_half_angle_solves_its_equation(exponent: float) -> None:
    # Series of the left side in α, [derived]: α/3 + α³/90 + α⁵/2520, for what rounding swallows.
    slack = 10**exponent
    a = pressed_half_angle(slack)
    left = a / 3 + a**3 / 90 + a**5 / 2520 if a < 0.01 else (a - np.sin(a)) / (1 - np.cos(a))
    assert left == pytest.approx(slack, rel=1e-11)


@derandomised
@given(st.floats(0, 1 - 1e-6))
def test_bow_half_angle_solves_its_equation(share: float) -> None:
    half_angle = bow_half_angle(share)
    assert np.sin(half_angle) / half_angle == pytest.approx(share, abs=1e-14)


# ------------------------------------------------------------------------------------------------- what cannot be


def length_limit(message: str) -> float:
    found = re.search(r"(?:at most|less than) ([0-9.]+) mm", message)
    assert found
    return float(found[1])


@pytest.mark.parametrize(
    ("make", "limit"),
    [
        # [derived] W + D(π - 2) while the back wall presses, a half circle from depth W/2 on.
        (lambda length: bowed(width_mm=171, depth_mm=45, length_mm=length), 171 + 45 * (np.pi - 2)),
        (lambda length: bowed(width_mm=171, depth_mm=120, length_mm=length), 171 * np.pi / 2),
        (lambda length: half_drum(radius_mm=80, length_mm=length), 80 * np.pi),
        (lambda length: half_drum(radius_mm=5000, length_mm=length), 5000 * np.pi),
        (lambda length: drum(diameter_mm=100, length_mm=length), 100 * np.pi),
        (lambda length: drum(diameter_mm=100, length_mm=length, hole_offset_x_mm=-20), 100 * np.pi - 40),
    ],
)
def test_strip_as_long_as_the_refusal_allows_is_allowed(make: object, limit: float) -> None:
    assert callable(make)
    make(limit * (1 - 1e-9))
    with pytest.raises(Impossible) as refused:
        make(limit * (1 + 1e-9))
    assert (refused.value.code, refused.value.field) == ("strip_too_long", "length")
    said = length_limit(str(refused.value))
    assert said == pytest.approx(limit, rel=1e-3)
    assert said < limit
    make(said)


@pytest.mark.parametrize("size", [20.0, 50.0, 77.7, 80.0, 1234.5])
def test_full_half_circle_ends_in_the_holes_plane(size: float) -> None:
    plane = FilmPlane(half_drum(radius_mm=size, length_mm=np.pi * size), size)
    assert plane.columns(np.array([-np.pi * size / 2, np.pi * size / 2])).z_mm.tolist() == [0, 0]


def test_tin_with_the_hole_round_the_back_gets_no_nonsense_limit() -> None:
    with pytest.raises(Impossible, match="nearer its middle"):
        drum(diameter_mm=100, length_mm=20, hole_offset_x_mm=200)


@pytest.mark.parametrize(
    ("make", "code", "field"),
    [
        (lambda: flat(width_mm=0, distance_mm=70), "not_positive", "width"),
        (lambda: flat(width_mm=100, distance_mm=np.nan), "not_positive", "distance"),
        (lambda: bowed(width_mm=100, depth_mm=-1, length_mm=120), "not_positive", "depth"),
        (lambda: bowed(width_mm=100, depth_mm=50, length_mm=100), "strip_too_short", "length"),
        (lambda: drum(diameter_mm=np.inf, length_mm=120), "not_positive", "diameter"),
        (lambda: half_drum(radius_mm=0, length_mm=120), "not_positive", "radius"),
        (lambda: measured(points_mm=np.array([[0.0, 50]])), "points_shape", "points"),
        (lambda: measured(points_mm=np.array([[0, 50], [np.nan, 50]])), "points_shape", "points"),
        (lambda: measured(points_mm=np.array([[-9.0, 50], [0, -1], [9, 50]])), "behind_the_hole", "points"),
        (lambda: measured(points_mm=np.array([[-9.0, 50], [0, 50], [0, 50], [9, 50]])), "points_repeat", "points"),
        (lambda: FilmPlane(flat(width_mm=100, distance_mm=70), 0), "not_positive", "height"),
        (lambda: FilmPlane(flat(width_mm=100, distance_mm=70, hole_offset_x_mm=51), 90),
         "axis_misses_film", "hole_offset"),
        (lambda: FilmPlane(measured(points_mm=np.array([[-50.0, 50], [50, 0]]), hole_offset_x_mm=49.999999), 90),
         "film_on_hole", ""),
        # Convex towards the hole, so that its wings turn away.
        (lambda: FilmPlane(measured(points_mm=np.array([[-60.0, 90], [-9, 20], [9, 20], [60, 200]])), 90),
         "film_turned_away", ""),
        # The spline through these dips behind the hole's wall though the points do not.
        (lambda: FilmPlane(measured(points_mm=np.array([[-60.0, 0], [-50, 0], [-40, 6], [0, 60], [60, 60]])), 90),
         "behind_the_hole", ""),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(make: object, code: str, field: str) -> None:
    assert callable(make)
    with pytest.raises(Impossible) as refused:
        make()
    assert (refused.value.code, refused.value.field) == (code, field)
    assert str(refused.value).endswith(".")


# ------------------------------------------------------------------------------------------- a measured section


@pytest.mark.parametrize("name", ["flat", "arc sprung in a deep box", "tin", "arc round the hole"])
def test_measured_section_of_a_known_shape_agrees_with_it(name: str) -> None:
    true = PROFILES[name]
    x, z, *_ = true.at(along(true, 15))
    found = measured(points_mm=np.column_stack([x, z]))
    assert found.length_mm == pytest.approx(true.length_mm, rel=2e-5)
    s = np.linspace(-0.5, 0.5, 201)
    assert np.array(found.at(s * found.length_mm)) == pytest.approx(
        np.array(true.at(s * true.length_mm)), abs=2e-3 * true.length_mm
    )
    was, now = FilmPlane(true, 90), FilmPlane(found, 90)
    for distance in ("shortest_mm", "longest_mm", "axis_distance_mm"):
        assert getattr(now, distance) == pytest.approx(getattr(was, distance), rel=2e-4)
    # And the light, away from ends where it falls to nothing.
    inner, y = 0.9 * s, np.linspace(-45, 45, 5)
    light_was, light_is = (stops_map(plane, s_mm=inner * plane.length_mm, y_mm=y) for plane in (was, now))
    assert light_is == pytest.approx(light_was, abs=0.01)


def test_five_points_on_a_quarter_circle_place_it_to_a_thousandth() -> None:
    bearing = np.linspace(-np.pi / 4, np.pi / 4, 5)
    profile = measured(points_mm=100 * np.column_stack([np.sin(bearing), np.cos(bearing)]))
    x, z, *_ = profile.at(along(profile, 501))
    assert np.hypot(x, z) == pytest.approx(np.full(501, 100), rel=1e-3)
    assert profile.length_mm == pytest.approx(50 * np.pi, rel=1e-3)


def test_two_points_are_a_straight_line_and_three_a_parabola() -> None:
    straight = measured(points_mm=np.array([[-50.0, 60], [50, 80]]))
    x, z, nx, nz = straight.at(along(straight, 11))
    assert straight.length_mm == pytest.approx(np.hypot(100, 20), rel=1e-12)
    assert z == pytest.approx(70 + x / 5, rel=1e-12)
    assert (nx, nz) == (pytest.approx(20 / np.hypot(100, 20)), pytest.approx(-100 / np.hypot(100, 20)))
    bow = measured(points_mm=np.array([[-50.0, 60], [0, 75], [50, 60]]))
    x, z, *_ = bow.at(along(bow, 101))
    assert z == pytest.approx(75 - 15 * (x / 50) ** 2, rel=1e-9)


def test_bent_sheet_keeps_its_bends() -> None:
    profile = measured(points_mm=BENT_SHEET)
    assert profile.length_mm == pytest.approx(160, rel=1e-12)
    assert profile.breaks_mm == pytest.approx((-40, 40), rel=1e-12)
    left, back, right = (np.array(profile.at(np.array([s])))[2:, 0] for s in (-41.0, 0.0, 41.0))
    assert back == pytest.approx([0, -1], abs=1e-12)
    assert right == pytest.approx([-np.sin(np.pi / 3), -np.cos(np.pi / 3)], abs=1e-12)
    assert left == pytest.approx([np.sin(np.pi / 3), -np.cos(np.pi / 3)], abs=1e-12)


def test_points_may_run_either_way() -> None:
    points = wobbly_arc()
    one_way, other_way = measured(points_mm=points), measured(points_mm=points[::-1])
    s = along(one_way, 51)
    assert np.array(one_way.at(s)) == pytest.approx(np.array(other_way.at(s)), abs=1e-9)


def test_measured_section_that_starts_in_the_holes_plane_is_accepted() -> None:
    for depth in (20.0, 33.3, 47.1, 60.0):
        x, z, *_ = bowed(width_mm=171, depth_mm=depth, length_mm=190).at(np.linspace(-95, 95, 15))
        plane = FilmPlane(measured(points_mm=np.column_stack([x, z])), 60)
        assert plane.columns(np.array([-0.5, 0.5]) * plane.length_mm).z_mm.tolist() == [0, 0]
