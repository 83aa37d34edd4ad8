"""The opening in the wall against rays traced through the hole, the wall and to the film. All geometry [derived]."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.profiles import bowed, flat, half_drum
from optics.core.wall_opening import OpeningCheck, PlateSide, WallOpening, check_opening, wall_opening
from tests.physics.shapes import PLANES, film_planes

HOLE_MM, WALL_MM = 0.3, 3.0
SIDES: tuple[PlateSide, ...] = ("inside", "outside")
each_plane = pytest.mark.parametrize("plane", PLANES.values(), ids=PLANES.keys())
each_side = pytest.mark.parametrize("plate_side", SIDES)
derandomised = settings(derandomize=True, deadline=None, max_examples=40)


def rim(count: int = 72) -> NDArray:
    turn = 2 * np.pi * np.arange(count) / count
    return HOLE_MM / 2 * np.column_stack([np.cos(turn), np.sin(turn)])


def disc(count: int) -> NDArray:
    """Points spread evenly over the hole, in a sunflower's pattern."""
    k = np.arange(count) + 0.5
    reach, turn = HOLE_MM / 2 * np.sqrt(k / count), k * np.pi * (3 - np.sqrt(5))
    return np.column_stack([reach * np.cos(turn), reach * np.sin(turn)])


def film_points(plane: FilmPlane, s_mm: NDArray, y_mm: NDArray) -> NDArray:
    """x, y, z of the film's points, shape (len(y), len(s), 3)."""
    x, z, *_ = plane.profile.at(s_mm)
    return np.stack(np.broadcast_arrays(x, plane.rows(y_mm)[:, None], z), axis=-1)


def wall_crossings(points: NDArray, starts: NDArray, plate_side: PlateSide, wall_mm: float = WALL_MM) -> NDArray:
    """Where rays from the scene through `starts` in the hole to the film cross the wall's far face.

    A light ray is straight: from the hole's point H on to the film's P inside, or back from it outside. Shape
    (…, rays, 2).
    """
    away = wall_mm if plate_side == "outside" else -wall_mm
    ahead = points[..., None, :2] - starts
    return starts + ahead * (away / points[..., 2])[..., None, None]


def used_points(plane: FilmPlane, used_share: float = 1.0) -> NDArray:
    half = used_share / 2
    s, y = np.linspace(-half, half, 201) * plane.length_mm, np.linspace(-half, half, 11) * plane.height_mm
    return film_points(plane, s, y)


@each_plane
@each_side
def test_opening_clears_every_ray_and_is_no_larger_than_that(plane: FilmPlane, plate_side: PlateSide) -> None:
    found = wall_opening(
        plane, wall_thickness_mm=WALL_MM, hole_diameter_mm=HOLE_MM, plate_side=plate_side, used_share=0.9
    )
    points = used_points(plane, 0.9)
    reach = np.abs(wall_crossings(points, rim(), plate_side)).max(axis=(0, 1, 2))
    assert (reach <= np.array([found.width_mm, found.height_mm]) / 2 * (1 + 1e-9)).all()
    assert 2 * reach == pytest.approx([found.width_mm, found.height_mm], rel=2e-3)
    off_axis = np.arctan2(np.hypot(points[..., 0], points[..., 1]), points[..., 2])
    assert found.clear_angle_rad == pytest.approx(2 * off_axis.max(), rel=1e-4)
    assert found.clear_angle_rad >= 2 * off_axis.max() * (1 - 1e-9)


def test_opening_for_a_flat_film_in_closed_form() -> None:
    plane = FilmPlane(flat(width_mm=120, distance_mm=60, hole_offset_x_mm=10), 80, 5)
    found = wall_opening(plane, wall_thickness_mm=3, hole_diameter_mm=0.3)
    # [derived] The farther half, 70 mm across and 45 mm up, is seen at 70/60 and 45/60 of the wall's thickness.
    assert found.width_mm == pytest.approx(2 * (3 * 70 / 60 + 0.15 * (1 + 3 / 60)), rel=1e-12)
    assert found.height_mm == pytest.approx(2 * (3 * 45 / 60 + 0.15 * (1 + 3 / 60)), rel=1e-12)
    outside = wall_opening(plane, wall_thickness_mm=3, hole_diameter_mm=0.3, plate_side="outside")
    assert outside.width_mm == pytest.approx(2 * (3 * 70 / 60 + 0.15 * (1 - 3 / 60)), rel=1e-12)
    assert found.clear_angle_rad == pytest.approx(2 * np.arctan(np.hypot(70, 45) / 60), rel=1e-12)


def test_margin_stands_on_each_side() -> None:
    plane = PLANES["flat"]
    bare, wide = (
        wall_opening(plane, wall_thickness_mm=3, hole_diameter_mm=0.3, margin_mm=margin) for margin in (0, 1.5)
    )
    assert wide.width_mm == pytest.approx(bare.width_mm + 3)
    assert wide.height_mm == pytest.approx(bare.height_mm + 3)
    assert wide.clear_angle_rad == bare.clear_angle_rad


@derandomised
@given(film_planes(), st.floats(0.1, 0.5), st.floats(0.5, 0.9))
def test_more_wall_or_more_film_needs_no_smaller_an_opening(plane: FilmPlane, thin: float, share: float) -> None:
    def opening(wall_mm: float, used_share: float) -> WallOpening:
        return wall_opening(plane, wall_thickness_mm=wall_mm, hole_diameter_mm=HOLE_MM, used_share=used_share)

    base = opening(thin, share)
    for larger in (opening(2 * thin, share), opening(thin, share + 0.05)):
        assert larger.width_mm >= base.width_mm * (1 - 1e-9)
        assert larger.height_mm >= base.height_mm * (1 - 1e-9)


@pytest.mark.parametrize(
    "name", ["arc sprung in a deep box", "strip pressed by the back wall", "half circle round the hole"]
)
def test_film_that_reaches_the_holes_wall_cannot_be_cleared_by_a_thin_plate(name: str) -> None:
    with pytest.raises(Impossible) as refused:
        wall_opening(PLANES[name], wall_thickness_mm=WALL_MM, hole_diameter_mm=HOLE_MM)
    assert (refused.value.code, refused.value.field) == ("opening_unbounded", "film_plane")


@pytest.mark.parametrize("name", ["arc sprung in a deep box", "arc, hole to the left", "half circle round the hole"])
def test_thick_plate_bounds_the_opening(name: str) -> None:
    plane, plate_mm = PLANES[name], 0.1
    found = wall_opening(plane, wall_thickness_mm=WALL_MM, hole_diameter_mm=HOLE_MM, plate_thickness_mm=plate_mm)
    s = np.linspace(-0.5, 0.5, 8001) * plane.length_mm
    points = film_points(plane, s, np.linspace(-0.5, 0.5, 21) * plane.height_mm)
    lit = np.hypot(points[..., 0], points[..., 1]) * plate_mm < points[..., 2] * HOLE_MM
    reach = np.abs(wall_crossings(points[lit], rim(24), "inside")).max(axis=(0, 1))
    assert (2 * reach <= np.array([found.width_mm, found.height_mm]) * (1 + 1e-6)).all()
    assert 2 * reach == pytest.approx([found.width_mm, found.height_mm], rel=0.01)
    # [derived] No light beyond tan θ = d/t = 3.
    assert found.clear_angle_rad == pytest.approx(2 * np.arctan(3), rel=1e-9)


def test_wall_behind_the_plate_must_leave_room_for_the_film() -> None:
    plane = FilmPlane(flat(width_mm=100, distance_mm=50), 80)
    with pytest.raises(Impossible) as refused:
        wall_opening(plane, wall_thickness_mm=50, hole_diameter_mm=0.3, plate_side="outside")
    assert (refused.value.code, refused.value.field) == ("wall_too_thick", "wall_thickness")
    wall_opening(plane, wall_thickness_mm=50, hole_diameter_mm=0.3)


# ---------------------------------------------------------------------------------------------- checking an opening


def check(plane: FilmPlane, width_mm: float, height_mm: float, plate_side: PlateSide = "inside") -> OpeningCheck:
    return check_opening(
        plane,
        opening_width_mm=width_mm,
        opening_height_mm=height_mm,
        wall_thickness_mm=WALL_MM,
        hole_diameter_mm=HOLE_MM,
        plate_side=plate_side,
    )


@pytest.mark.parametrize("name", ["flat", "flat, hole to the right", "tin", "tin, hole to the right", "measured"])
@each_side
def test_opening_computed_clears_and_a_slightly_smaller_one_clips(name: str, plate_side: PlateSide) -> None:
    plane = PLANES[name]
    needed = wall_opening(plane, wall_thickness_mm=WALL_MM, hole_diameter_mm=HOLE_MM, plate_side=plate_side)
    enough = check(plane, needed.width_mm, needed.height_mm, plate_side)
    assert enough.clears
    assert (enough.clipped_share, enough.dark_share, enough.corner_stops) == (0, 0, 0)
    assert (enough.clear_width_mm, enough.clear_height_mm) == pytest.approx((plane.length_mm, plane.height_mm))
    for width, height in ((0.999, 1), (1, 0.999)):
        assert not check(plane, width * needed.width_mm, height * needed.height_mm, plate_side).clears
    smaller = check(plane, 0.97 * needed.width_mm, 0.97 * needed.height_mm, plate_side)
    assert smaller.clipped_share > 0
    assert smaller.corner_stops < 0


@each_plane
@each_side
@pytest.mark.parametrize(("width_mm", "height_mm"), [(6.0, 5.0), (3.0, 9.0)])
def test_shares_lost_agree_with_rays(
    plane: FilmPlane, plate_side: PlateSide, width_mm: float, height_mm: float
) -> None:
    found = check(plane, width_mm, height_mm, plate_side)
    s, y = (np.arange(200) + 0.5) / 200 - 0.5, (np.arange(60) + 0.5) / 60 - 0.5
    points = film_points(plane, s * plane.length_mm, y * plane.height_mm)
    crossings = np.abs(wall_crossings(points, np.concatenate([rim(24), disc(12)]), plate_side))
    through = (crossings <= np.array([width_mm, height_mm]) / 2).all(axis=-1)
    assert found.clipped_share == pytest.approx(np.mean(~through.all(axis=-1)), abs=0.01)
    assert found.dark_share == pytest.approx(np.mean(~through.any(axis=-1)), abs=0.01)
    assert found.clears == bool(through.all())


@each_plane
def test_clear_width_and_height_agree_with_rays(plane: FilmPlane) -> None:
    found = check(plane, 6, 5)
    s, y = np.linspace(-0.5, 0.5, 2001) * plane.length_mm, np.linspace(-0.5, 0.5, 2001) * plane.height_mm
    half = np.array([3, 2.5])
    row = wall_crossings(film_points(plane, s[1:-1], np.array([plane.hole_offset_y_mm]))[0], rim(), "inside")
    column = wall_crossings(film_points(plane, np.array([plane.axis_s_mm]), y)[:, 0], rim(), "inside")
    for length, crossings, clear in (
        (plane.length_mm, row, found.clear_width_mm),
        (plane.height_mm, column, found.clear_height_mm),
    ):
        passed = (np.abs(crossings) <= half).all(axis=(-1, -2))
        assert clear == pytest.approx(np.mean(passed) * length, abs=0.005 * length)


@pytest.mark.parametrize("width_mm", [5.7, 5.5, 5.4, 5.2])
@each_side
def test_light_left_in_the_corner_agrees_with_rays(width_mm: float, plate_side: PlateSide) -> None:
    plane = FilmPlane(flat(width_mm=127, distance_mm=70), 102)
    found = check(plane, width_mm, 50, plate_side)
    corner = film_points(plane, np.array([63.5]), np.array([51.0]))
    crossings = np.abs(wall_crossings(corner, disc(200_000), plate_side))
    passed = np.mean(crossings[..., 0] <= width_mm / 2)
    assert 0 < passed < 1
    assert found.corner_stops == pytest.approx(np.log2(passed), abs=0.02)


def test_light_left_in_the_corner_where_both_edges_cut() -> None:
    plane = FilmPlane(flat(width_mm=127, distance_mm=70), 102)
    found = check(plane, 5.5, 4.42)
    crossings = np.abs(wall_crossings(film_points(plane, np.array([63.5]), np.array([51.0])), disc(200_000), "inside"))
    passed = np.mean((crossings <= np.array([5.5, 4.42]) / 2).all(axis=-1))
    assert 0.2 < passed < 0.8
    assert 2**found.corner_stops == pytest.approx(passed, abs=0.03)


def test_corners_that_a_thick_plate_leaves_dark_are_not_blamed_on_the_wall() -> None:
    found = check_opening(
        FilmPlane(half_drum(radius_mm=80, length_mm=240), 60),
        opening_width_mm=60,
        opening_height_mm=60,
        wall_thickness_mm=4,
        hole_diameter_mm=0.3,
        plate_thickness_mm=0.3,
    )
    assert np.isnan(found.corner_stops)
    assert found.clears
    assert found.clipped_share == found.dark_share == 0


def test_unbounded_opening_never_clears() -> None:
    plane = FilmPlane(bowed(width_mm=171, depth_mm=60, length_mm=203), 60)
    assert not check(plane, 1000, 1000).clears
