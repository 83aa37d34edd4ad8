"""Film seen from its hole: closed forms, brute force and the trade's figures.

Marks as everywhere: [read], [memory], [derived].
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optics.core.film_planes import FilmPlane
from optics.core.profiles import Profile, bowed, drum, flat, half_drum, measured
from tests.physics.shapes import PLANES, film_planes, profiles, scaled

derandomised = settings(derandomize=True, deadline=None, max_examples=60)
each_plane = pytest.mark.parametrize("plane", PLANES.values(), ids=PLANES.keys())


# ------------------------------------------------------------------------------------------ the trade's figures


def test_half_of_shortest_and_longest_is_the_focal_length() -> None:
    # Common practice, no source: 45 mm at the nearest and 100 mm to the corner make 72.5 mm.
    half_diagonal2 = 100**2 - 45**2
    plane = FilmPlane(flat(width_mm=2 * np.sqrt(half_diagonal2 - 50**2), distance_mm=45), 100)
    assert (plane.shortest_mm, plane.longest_mm) == pytest.approx((45, 100), rel=1e-12)
    assert plane.mean_mm == pytest.approx(72.5, rel=1e-12)


# ------------------------------------------------------------------------------------------ distances and angles


@each_plane
def test_shortest_and_longest_agree_with_a_dense_search(plane: FilmPlane) -> None:
    s = np.linspace(-plane.length_mm / 2, plane.length_mm / 2, 200_001)
    reach = np.sqrt(plane.columns(s).reach2_mm2)
    heights = np.abs(plane.rows(np.linspace(-45, 45, 901)))
    assert plane.shortest_mm == pytest.approx(np.hypot(reach.min(), heights.min()), rel=1e-9)
    assert plane.longest_mm == pytest.approx(np.hypot(reach.max(), heights.max()), rel=1e-9)
    assert plane.shortest_mm <= plane.axis_distance_mm * (1 + 1e-12)


@derandomised
@given(film_planes())
def test_no_point_of_the_film_is_nearer_than_the_shortest_or_farther_than_the_longest(plane: FilmPlane) -> None:
    reach2 = plane.columns(np.linspace(-0.5, 0.5, 4001) * plane.length_mm).reach2_mm2
    nearest, farthest = plane.row_range_mm()
    assert plane.shortest_mm <= np.hypot(np.sqrt(reach2.min()), nearest) * (1 + 1e-9)
    assert plane.longest_mm >= np.hypot(np.sqrt(reach2.max()), farthest) * (1 - 1e-9)
    assert float(plane.columns(np.array([plane.axis_s_mm])).x_mm[0]) == pytest.approx(0, abs=1e-9 * plane.length_mm)


def test_nearest_point_may_be_a_bend() -> None:
    # A ridge towards the hole, 50 mm away; its sides fall back at 30°, so both still face the hole.
    back = 100 * np.tan(np.pi / 6)
    ridge = measured(points_mm=np.array([[-100.0, 50 + back], [0, 50], [70, 50 + 0.7 * back]]))
    assert FilmPlane(ridge, 20).shortest_mm == pytest.approx(50, rel=1e-12)


def test_row_range() -> None:
    profile = flat(width_mm=100, distance_mm=50)
    assert FilmPlane(profile, 80).row_range_mm() == (0, 40)
    assert FilmPlane(profile, 80, 10).row_range_mm() == (0, 50)
    assert FilmPlane(profile, 80, 10).row_range_mm(0.5) == (0, 30)
    assert FilmPlane(profile, 80, -70).row_range_mm() == (30, 110)


@pytest.mark.parametrize("x_off", [0.0, 30.0])
@pytest.mark.parametrize("y_off", [0.0, -15.0])
def test_field_of_view_of_a_flat_film(x_off: float, y_off: float) -> None:
    view = FilmPlane(flat(width_mm=120, distance_mm=50, hole_offset_x_mm=x_off), 90, y_off).field_of_view
    left, right, top, bottom = -60 - x_off, 60 - x_off, 45 - y_off, -45 - y_off
    assert view.horizontal_rad == pytest.approx(np.arctan(right / 50) - np.arctan(left / 50), rel=1e-12)
    assert view.vertical_rad == pytest.approx(np.arctan(top / 50) - np.arctan(bottom / 50), rel=1e-12)
    corners = [np.array([x, y, 50]) / np.linalg.norm([x, y, 50]) for x in (left, right) for y in (bottom, top)]
    assert view.diagonal_rad == pytest.approx(
        max(np.arccos(corners[0] @ corners[3]), np.arccos(corners[1] @ corners[2])), rel=1e-9
    )


def test_field_of_view_of_curved_film() -> None:
    # [derived] An angle at the wall of a circle is half the one at its centre.
    def across(profile: Profile) -> float:
        return FilmPlane(profile, 60).field_of_view.horizontal_rad

    assert across(half_drum(radius_mm=80, length_mm=200)) == pytest.approx(200 / 80, rel=1e-12)
    assert across(drum(diameter_mm=100, length_mm=200)) == pytest.approx(200 / 100, rel=1e-12)
    assert across(bowed(width_mm=171, depth_mm=60, length_mm=203)) == pytest.approx(np.pi, rel=1e-12)


def test_hole_off_the_middle() -> None:
    plane = FilmPlane(flat(width_mm=100, distance_mm=60, hole_offset_x_mm=10), 80, hole_offset_y_mm=5)
    assert plane.axis_s_mm == pytest.approx(10, abs=1e-9)
    assert plane.rows(5.0) == 0
    assert plane.longest_mm == pytest.approx(np.sqrt(60**2 + 60**2 + 45**2), rel=1e-12)
    edge = FilmPlane(flat(width_mm=100, distance_mm=60, hole_offset_x_mm=50), 80)
    assert edge.axis_s_mm == pytest.approx(50, abs=1e-9)


def test_hole_moved_along_a_tins_wall_is_the_strip_moved_the_other_way() -> None:
    moved, still = (drum(diameter_mm=100, length_mm=180, hole_offset_x_mm=off) for off in (20, 0))
    s = np.linspace(-70, 90, 33)
    assert np.array(moved.at(s)) == pytest.approx(np.array(still.at(s - 20)), abs=1e-9)


@derandomised
@given(profiles(), st.floats(0.01, 100))
def test_camera_of_any_size_is_the_same_camera(profile: Profile, k: float) -> None:
    plane = FilmPlane(profile, profile.length_mm / 2)
    large = FilmPlane(scaled(profile, k), k * profile.length_mm / 2)
    for distance in ("shortest_mm", "longest_mm", "mean_mm", "axis_distance_mm"):
        assert getattr(large, distance) == pytest.approx(k * getattr(plane, distance), rel=1e-9)
    assert vars(large.field_of_view) == pytest.approx(vars(plane.field_of_view), rel=1e-9)


def test_sizes_given_larger_make_the_camera_larger() -> None:
    small, large = (FilmPlane(bowed(width_mm=k * 171, depth_mm=k * 45, length_mm=k * 203), k * 60) for k in (1, 3))
    assert (large.shortest_mm, large.longest_mm) == pytest.approx(
        (3 * small.shortest_mm, 3 * small.longest_mm), rel=1e-9
    )


# ---------------------------------------------------------------------------------------------- rays and the film


@derandomised
@given(film_planes(), st.floats(-0.499, 0.499), st.floats(-0.499, 0.499), st.floats(1e-3, 1e3))
def test_ray_to_a_film_point_meets_it(plane: FilmPlane, across: float, up: float, scale: float) -> None:
    s, y = across * plane.length_mm, up * plane.height_mm
    x, z, *_ = (float(part[0]) for part in plane.profile.at(np.array([s])))
    found = plane.meet(scale * x, scale * plane.rows(y), scale * z)
    assert found == pytest.approx((s, y), abs=1e-9 * max(plane.longest_mm, 1))


@each_plane
def test_many_rays_at_once(plane: FilmPlane) -> None:
    rng = np.random.default_rng(7)
    s = rng.uniform(-0.5, 0.5, 500) * plane.length_mm * 0.9999
    y = rng.uniform(-0.5, 0.5, (40, 1)) * plane.height_mm
    x, z, *_ = plane.profile.at(s)
    found_s, found_y = plane.meet(x, plane.rows(y), z)
    assert found_s.shape == found_y.shape == (40, 500)
    assert np.abs(found_s - s).max() < 1e-9
    assert np.abs(found_y - y).max() < 1e-9
    one_s, one_y = plane.meet(x[3], plane.rows(y[4, 0]), z[3])
    assert (one_s, one_y) == (found_s[4, 3], found_y[4, 3])


@each_plane
def test_ray_past_the_film_meets_nothing(plane: FilmPlane) -> None:
    ends = np.arctan2(*plane.profile.at(np.array([-0.5, 0.5]) * plane.length_mm)[:2])
    past = np.array([ends[0] - 1e-6, ends[1] + 1e-6, 0.0, 0.0, np.pi])
    up = np.array([0, 0, 1e6, -1e6, 0])
    assert np.isnan(plane.meet(np.sin(past), up, np.cos(past))).all()
