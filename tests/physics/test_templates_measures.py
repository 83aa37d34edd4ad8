"""Cutting templates against closed forms worked by hand. Marks as everywhere: [memory], [derived]."""

from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from optics.core.camera_plan import Hole
from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.profiles import bow_half_angle, bowed, drum, flat, half_drum, measured
from optics.core.templates.baffle import LAP_MM, baffle_template
from optics.core.templates.film_support import film_support_template
from optics.core.templates.liner import liner_template
from optics.core.templates.opening import wall_opening_template
from optics.core.templates.plate import plate_template
from optics.core.templates.template import Template
from optics.core.templates.tripod import tripod_template
from optics.core.wall_opening import PlateSide, wall_opening
from tests.physics.shapes import BENT_SHEET, PLANES

HOLE = Hole(0.4)


def of_kind(kind: str, height_mm: float = 90.0, offset_y_mm: float = 0.0, **sizes: float) -> FilmPlane:
    sizes = {"hole_offset_x_mm": 0.0} | sizes
    shapes = {"flat": flat, "bowed": bowed, "drum": drum, "half_drum": half_drum}
    return FilmPlane(shapes[kind](**sizes), height_mm, offset_y_mm, kind, sizes)


FLAT = of_kind("flat", width_mm=127, distance_mm=70)
CADDY = of_kind("bowed", width_mm=171, depth_mm=80, length_mm=203)
PRESSED = of_kind("bowed", width_mm=171, depth_mm=35, length_mm=203)
TIN = of_kind("drum", diameter_mm=100, length_mm=200)
HALF = of_kind("half_drum", radius_mm=80, length_mm=180)


def lengths(template: Template) -> dict[str, float]:
    return {length.name: length.drawn_mm for length in template.lengths}


def points_of(template: Template, name: str) -> NDArray[np.float64]:
    return np.array(next(length.points for length in template.lengths if length.name == name))


def loops(template: Template, role: str = "cut") -> list[NDArray[np.float64]]:
    return [np.array(line.points) for line in template.lines if line.closed and line.role == role]


def box(points: NDArray[np.float64]) -> tuple[float, float, float, float]:
    return (*points.min(axis=0), *points.max(axis=0))


# ------------------------------------------------------------------------------------------ opening and plate


def test_opening_of_a_flat_film() -> None:
    # [derived] the film's edge is 63.5 mm off the axis, 70 mm away; the wall's far face 2 mm before the plate.
    drawn = lengths(wall_opening_template(FLAT, hole=HOLE, wall_thickness_mm=2, margin_mm=1))
    rim = 0.2 * (1 + 2 / 70)
    assert drawn["opening width"] == pytest.approx(2 * (2 * 63.5 / 70 + rim + 1), abs=1e-9)
    assert drawn["opening height"] == pytest.approx(2 * (2 * 45 / 70 + rim + 1), abs=1e-9)


@pytest.mark.parametrize("side", ["inside", "outside"])
@pytest.mark.parametrize("plane", PLANES.values(), ids=PLANES.keys())
def test_opening_is_the_one_computed(plane: FilmPlane, side: PlateSide) -> None:
    where = {"wall_thickness_mm": 1.5, "plate_side": side, "margin_mm": 0.7, "used_share": 0.9}
    template = wall_opening_template(plane, hole=Hole(0.4, plate_thickness_mm=0.05), **where)
    known = wall_opening(plane, hole_diameter_mm=0.4, plate_thickness_mm=0.05, **where)
    left, top, right, bottom = box(loops(template)[0])
    assert (right - left, bottom - top) == pytest.approx((known.width_mm, known.height_mm), abs=1e-9)
    centres = [np.array(line.points) for line in template.lines if line.role == "centre"]
    for ends in centres:
        assert ends.mean(axis=0) == pytest.approx(((left + right) / 2, (top + bottom) / 2), abs=1e-9)
    across, down = centres
    assert across[0, 0] < left - 5
    assert across[1, 0] > right + 5
    assert down[0, 1] < top - 5
    assert down[1, 1] > bottom + 5


def test_plate_covers_the_opening() -> None:
    opening = wall_opening(FLAT, wall_thickness_mm=6, hole_diameter_mm=0.4, margin_mm=1)
    where = {"hole": HOLE, "wall_thickness_mm": 6, "margin_mm": 1}
    assert lengths(plate_template(FLAT, overlap_mm=8, **where))["plate width"] == pytest.approx(opening.width_mm + 16)
    assert lengths(plate_template(FLAT, overlap_mm=1, **where))["plate width"] == 20
    outline, diamond = loops(plate_template(FLAT, overlap_mm=8, **where))
    middle = outline.mean(axis=0)
    assert diamond.mean(axis=0) == pytest.approx(middle)
    # A square on its corner: four corners on the centre lines, equally far from the middle.
    assert np.sort(np.abs(diamond - middle), axis=1) == pytest.approx(np.array([[0.0, 5.0]] * 4))


# ------------------------------------------------------------------------------------------ support and liner


def curve(plane: FilmPlane) -> NDArray[np.float64]:
    """The drawn film, x and z from the hole: its axis point is straight behind the hole."""
    template = film_support_template(plane)
    film, axis = points_of(template, "film, laid flat"), points_of(template, "left end to axis point")[-1]
    return film - axis + (0, plane.axis_distance_mm)


def test_support_of_an_arc_round_the_hole() -> None:
    film = curve(HALF)
    assert np.hypot(*film.T) == pytest.approx(np.full(len(film), 80.0), abs=1e-9)
    assert film[-1] == pytest.approx((80 * np.sin(90 / 80), 80 * np.cos(90 / 80)))
    middles = (film[1:] + film[:-1]) / 2
    assert (80 - np.hypot(*middles.T)).max() <= 0.01


def test_support_of_a_sprung_strip() -> None:
    # [derived] sin α/α = 171/203, R = 203/2α: the middle lies R(1 - cos α) behind the hole's wall.
    alpha = bow_half_angle(171 / 203)
    radius = 203 / (2 * alpha)
    film = curve(CADDY)
    assert np.hypot(film[:, 0], film[:, 1] - radius * np.cos(np.pi - alpha)) == pytest.approx(
        np.full(len(film), radius), abs=1e-6
    )
    template = film_support_template(CADDY)
    drawn = lengths(template)
    assert drawn["end to end"] == pytest.approx(171)
    assert drawn["hole to film"] == pytest.approx(radius * (1 - np.cos(alpha)))
    # The box is 80 mm deep: card fills what the film leaves.
    assert drawn["card behind the film"] == pytest.approx(80 - radius * (1 - np.cos(alpha)))
    left, _, right, _ = box(loops(template)[0])
    assert right - left == pytest.approx(171)


def test_support_of_a_pressed_strip_shows_the_back_wall() -> None:
    template = film_support_template(PRESSED)
    hole, axis = points_of(template, "hole to film")
    assert axis[1] - hole[1] == pytest.approx(35)
    wide = [line for line in template.lines if line.role == "guide" and np.ptp(np.array(line.points)[:, 0]) > 170]
    assert [np.array(line.points)[:, 1] for line in wide] == [pytest.approx([axis[1], axis[1]])]
    assert any("back wall" in note for note in template.notes)


def test_support_of_a_tin() -> None:
    short = curve(of_kind("drum", diameter_mm=100, length_mm=150))
    assert np.hypot(short[:, 0], short[:, 1] - 50) == pytest.approx(np.full(len(short), 50.0), abs=1e-9)
    with pytest.raises(Impossible, match="half a turn") as refused:
        film_support_template(TIN)  # 200 mm of a tin 314 mm round
    assert refused.value.code == "support_folds"


def test_support_of_a_bent_sheet() -> None:
    plane = FilmPlane(measured(points_mm=BENT_SHEET, hole_offset_x_mm=5), 90, kind="profile")
    template = film_support_template(plane)
    assert lengths(template)["film, laid flat"] == pytest.approx(160, abs=1e-6)
    film = curve(plane)
    for bend in BENT_SHEET - (5, 0):
        assert np.hypot(*(film - bend).T).min() <= 1e-6


@pytest.mark.parametrize("plane", PLANES.values(), ids=PLANES.keys())
def test_support_is_as_long_as_the_film(plane: FilmPlane) -> None:
    curls = (np.diff(plane.columns(np.linspace(-0.5, 0.5, 999) * plane.length_mm).x_mm) < 0).any()
    if curls:
        with pytest.raises(Impossible, match="half a turn"):
            film_support_template(plane)
        return
    template = film_support_template(plane)
    assert lengths(template)["film, laid flat"] == pytest.approx(plane.length_mm, abs=1e-3)


def test_flat_film_is_drawn_as_seen_from_the_hole() -> None:
    # The hole 25 mm to the right of the middle as seen from behind is to the left as seen from the front; 8 mm up.
    plane = of_kind("flat", 90, 8, width_mm=127, distance_mm=40, hole_offset_x_mm=25)
    template = film_support_template(plane)
    left, top, right, bottom = box(loops(template)[0])
    assert (right - left, bottom - top) == pytest.approx((127, 90))
    across, _ = [np.array(line.points) for line in template.lines if line.role == "centre"]
    assert across.mean(axis=0) == pytest.approx(((left + right) / 2 - 25, (top + bottom) / 2 - 8))
    corners = [line for line in template.lines if line.role == "guide"]
    assert [len(line.points) for line in corners] == [3] * 4


def test_liner() -> None:
    template = liner_template(CADDY, clearance_mm=0.5)
    assert lengths(template) == pytest.approx(
        {"liner length": 202, "liner height": 89, "tab width": 25, "tab length": 18}
    )
    (fold,) = [line for line in template.lines if line.role == "fold"]
    left, right = fold.points
    # The fold runs along the liner's upper edge, across the tab's root.
    assert {left, right} <= {tuple(point) for point in loops(template)[0].tolist()}
    with pytest.raises(Impossible) as refused:
        liner_template(CADDY, clearance_mm=45)
    assert (refused.value.code, refused.value.field) == ("liner_too_small", "clearance")


# ------------------------------------------------------------------------------------------ sleeve and tripod


def test_sleeve_round_a_tin() -> None:
    assert lengths(baffle_template(TIN, overlap_mm=8, clearance_mm=0.5))["round the container"] == pytest.approx(
        np.pi * 101
    )
    drawn = lengths(baffle_template(TIN, overlap_mm=8, clearance_mm=0.5, wall_thickness_mm=0.25))
    assert drawn["round the container"] == pytest.approx(np.pi * 101.5)
    assert (drawn["sleeve height"], drawn["overlap"], drawn["glue lap"]) == pytest.approx((16, 8, LAP_MM))


@pytest.mark.parametrize(
    ("plane", "width", "depth"),
    [
        (FLAT, 127, 70),
        (CADDY, 171, 80),
        (HALF, 2 * 80 * np.sin(90 / 80), 80),
        (FilmPlane(measured(points_mm=BENT_SHEET), 90, kind="profile"), 120, 60),
    ],
    ids=["flat", "bowed", "half drum", "profile"],
)
def test_sleeve_round_a_box(plane: FilmPlane, width: float, depth: float) -> None:
    template = baffle_template(plane, overlap_mm=8, clearance_mm=0.5, wall_thickness_mm=1.5)
    drawn = lengths(template)
    assert (drawn["front"], drawn["back"]) == pytest.approx((width + 4, width + 4))
    assert (drawn["left side"], drawn["right side"]) == pytest.approx((depth + 4, depth + 4))
    assert drawn["round the container"] == pytest.approx(2 * (width + depth) + 16)
    folds = sorted(line.points[0][0] for line in template.lines if line.role == "fold")
    start = points_of(template, "round the container")[0, 0]
    assert np.array(folds) - start == pytest.approx(np.cumsum([width + 4, depth + 4, width + 4, depth + 4]))


@pytest.mark.parametrize("overlap", [0.0, np.nan, np.inf])
def test_overlap_must_be_a_length(overlap: float) -> None:
    with pytest.raises(Impossible) as refused:
        baffle_template(TIN, overlap_mm=overlap, clearance_mm=0.5)
    assert (refused.value.code, refused.value.field) == ("too_small", "overlap")


def test_tripod_block() -> None:
    template = tripod_template(CADDY, wall_thickness_mm=2)
    # 1/4 in and 7/16 in exactly (ISO 1222 and ASME B18.2.2, from memory).
    assert lengths(template) == pytest.approx(
        {"front to screw": 42, "block width": 40, "block length": 40, "screw": 6.35, "nut across flats": 11.1125}
    )
    assert lengths(tripod_template(CADDY, wall_thickness_mm=2, plate_side="outside"))["front to screw"] == 40
    bore = loops(template)[1]
    middle = points_of(template, "front to screw")[1]
    assert np.hypot(*(bore - middle).T) == pytest.approx(np.full(len(bore), 3.175))
    (nut,) = loops(template, "guide")
    for a, b in pairwise([*nut, nut[0]]):
        assert np.hypot(*((a + b) / 2 - middle)) == pytest.approx(11.1125 / 2)
    with pytest.raises(Impossible) as refused:
        tripod_template(of_kind("flat", 10, width_mm=20, distance_mm=30))
    assert refused.value.code == "no_room_for_block"
