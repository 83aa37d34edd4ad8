"""The shutter put together from its drawn parts: what it covers, where it moves, and where it stops."""

import numpy as np
import pytest
from numpy.typing import NDArray

from optics.core.camera_plan import Hole
from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.profiles import bowed, drum, flat, half_drum
from optics.core.templates.shutter import LEAST_WINDOW_MM, shutter, shutter_templates
from optics.core.templates.template import Length, Line, Template
from optics.core.wall_opening import PlateSide, WallOpening, check_opening, wall_opening

Points = NDArray[np.float64]

HOLE = Hole(0.4)
CAMERAS = {
    "flat": FilmPlane(flat(width_mm=127, distance_mm=70), 102.0),
    "wide, hole off the middle": FilmPlane(flat(width_mm=250, distance_mm=60, hole_offset_x_mm=20), 100.0, 15.0),
    "arc": FilmPlane(half_drum(radius_mm=80, length_mm=180), 90.0),
    "tin": FilmPlane(drum(diameter_mm=100, length_mm=150), 100.0, 0.0, "drum", {"diameter_mm": 100}),
}
SIZES = {"wall_thickness_mm": 2.0, "material_mm": 1.5, "overlap_mm": 7.0, "clearance_mm": 0.5}
PARTS = ("base", "base's window", "left rail", "right rail", "sill", "front", "front's window", "slide")


Sheets = tuple[Template, ...]


def cut_lines(sheets: Sheets) -> list[Line]:
    return [line for sheet in sheets for line in sheet.lines if line.role == "cut"]


def parts_of(sheets: Sheets) -> dict[str, Points]:
    """The outlines to cut, by what they are; each of shape (n, 2)."""
    return dict(zip(PARTS, (np.array(line.points) for line in cut_lines(sheets)), strict=True))


def length(sheets: Sheets, name: str) -> Length:
    (found,) = (each for sheet in sheets for each in sheet.lengths if each.name == name)
    return found


def mm(sheets: Sheets, name: str) -> float:
    return length(sheets, name).mm


def put_together(sheets: Sheets) -> dict[str, Points]:
    """Every part where it goes, the window's middle at (0, 0) and y down: the slide is shut, on the teeth."""
    parts = parts_of(sheets)
    base = parts["base"] - parts["base's window"].mean(axis=0)
    low, high = base.min(axis=0), base.max(axis=0)
    # The head's lower side rests on the teeth, which are at the top of the frame.
    neck = length(sheets, "neck length").points[0][1]
    slide, left, right, sill = (parts[name] for name in ("slide", "left rail", "right rail", "sill"))
    slide_x = (slide[:, 0].min() + slide[:, 0].max()) / 2
    sill_top = mm(sheets, "window height") / 2 + mm(sheets, "sill below the window")
    return {
        "base": base,
        "window": parts["base's window"] - parts["base's window"].mean(axis=0),
        "left rail": left - left.min(axis=0) + low,
        "right rail": right - [right[:, 0].max(), right[:, 1].min()] + [high[0], low[1]],
        "sill": sill - [sill[:, 0].mean(), sill[:, 1].min()] + [0, sill_top],
        "slide": slide - [slide_x, neck] + [0, low[1]],
    }


def inside(points: Points, outline: Points) -> NDArray[np.bool_]:
    """Whether points, shape (n, 2), lie within a closed outline, by the even-odd rule."""
    x, y = points[:, :1], points[:, 1:]
    (ax, ay), (bx, by) = outline.T, np.roll(outline, -1, axis=0).T
    crosses = (ay > y) != (by > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        right_of = x < ax + (y - ay) / (by - ay) * (bx - ax)
    return np.count_nonzero(crosses & right_of, axis=1) % 2 == 1


def grid(outline: Points, grow_mm: float) -> Points:
    """61 × 61 points over the outline's bounding box, grown by so much on every side."""
    low, high = outline.min(axis=0) - grow_mm, outline.max(axis=0) + grow_mm
    x, y = np.meshgrid(np.linspace(low[0], high[0], 61), np.linspace(low[1], high[1], 61))
    return np.column_stack([x.ravel(), y.ravel()])


@pytest.fixture(params=list(CAMERAS), name="sheets")
def _sheets(request: pytest.FixtureRequest) -> Sheets:
    return shutter_templates(CAMERAS[request.param], hole=HOLE, **SIZES)


def test_the_slide_fits_its_channel(sheets: Sheets) -> None:
    assert mm(sheets, "slide width") + 2 * 0.5 == pytest.approx(mm(sheets, "channel width"), abs=1e-9)
    assert mm(sheets, "travel") == pytest.approx(mm(sheets, "window height") + 7.0, abs=1e-9)


def test_shut_it_covers_the_window_and_the_overlap_on_every_side(sheets: Sheets) -> None:
    made = put_together(sheets)
    assert inside(grid(made["window"], 7.0 - 1e-6), made["slide"]).all()
    assert not inside(grid(made["window"], 7.0 + 0.1), made["slide"]).all()


def test_open_its_body_is_clear_of_the_window(sheets: Sheets) -> None:
    made = put_together(sheets)
    lifted = made["slide"] - [0, mm(sheets, "travel") + 1e-6]
    assert not inside(grid(made["window"], 0.0), lifted).any()


def test_it_slides_freely_between_its_stops_and_no_farther(sheets: Sheets) -> None:
    made, travel = put_together(sheets), mm(sheets, "travel")
    wood = ("left rail", "right rail", "sill")
    slide = made["slide"]
    corners_and_edges = np.concatenate(
        [slide + share * (np.roll(slide, -1, axis=0) - slide) for share in np.linspace(0, 1, 21)]
    )

    def bumps(lift: float) -> bool:
        moved = corners_and_edges - [0, lift]
        return any(inside(moved, made[part]).any() for part in wood) or any(
            inside(made[part], slide - [0, lift]).any() for part in wood
        )

    assert not any(bumps(lift) for lift in np.linspace(1e-6, travel - 1e-6, 40))
    assert bumps(-0.1)
    assert bumps(travel + 0.1)


def test_each_drawing_tells_of_its_own_parts(sheets: Sheets) -> None:
    assert [sheet.name for sheet in sheets] == ["shutter_base", "shutter_front", "shutter_slide"]
    assert [len(cut_lines((sheet,))) for sheet in sheets] == [5, 2, 1]
    parts = parts_of(sheets)
    assert np.ptp(parts["front"], axis=0) == pytest.approx(np.ptp(parts["base"], axis=0))
    assert np.ptp(parts["front's window"], axis=0) == pytest.approx(np.ptp(parts["base's window"], axis=0))
    told = [note for sheet in sheets for note in sheet.notes if "workshop's own rules" not in note]
    assert len(set(told)) == len(told)


def test_parts_on_one_sheet_lie_clear_of_each_other(sheets: Sheets) -> None:
    parts = parts_of(sheets)
    boxes = {name: (*parts[name].min(axis=0), *parts[name].max(axis=0)) for name in ("base", *PARTS[2:5])}
    for one, (left, top, right, bottom) in boxes.items():
        for other, (other_left, other_top, other_right, other_bottom) in boxes.items():
            if one < other:
                beside = right < other_left or other_right < left
                assert beside or bottom < other_top or other_bottom < top, (one, other)


@pytest.mark.parametrize("side", ["inside", "outside"])
def test_its_window_clips_no_ray_at_the_front_of_the_stack(side: PlateSide) -> None:
    plane = CAMERAS["wide, hole off the middle"]
    made = shutter(plane, hole=HOLE, plate_side=side, **SIZES)
    stack = 3 * 1.5 + (2.0 if side == "inside" else 0.0)
    sizes = {"opening_width_mm": made.window_width_mm, "opening_height_mm": made.window_height_mm}
    assert made.cleared_share == 1
    assert check_opening(plane, wall_thickness_mm=stack, hole_diameter_mm=0.4, **sizes).clears
    assert not check_opening(plane, wall_thickness_mm=1.01 * stack, hole_diameter_mm=0.4, **sizes).clears


def test_a_strip_sprung_up_to_the_wall_is_cleared_as_far_as_half_the_front_allows() -> None:
    plane = FilmPlane(bowed(width_mm=171, depth_mm=80, length_mm=203), 90.0)
    made = shutter(plane, hole=HOLE, used_share=0.95, **SIZES)
    assert made.window_height_mm <= 90 / 2
    assert made.window_width_mm <= 171 / 2
    assert made.cleared_share < 0.95

    def needed(share: float) -> WallOpening:
        return wall_opening(plane, wall_thickness_mm=6.5, hole_diameter_mm=0.4, used_share=share)

    assert made.window_width_mm == pytest.approx(needed(made.cleared_share).width_mm)
    one_more = needed(made.cleared_share + 0.01)
    assert one_more.width_mm > 171 / 2 or one_more.height_mm > 90 / 2
    base, *_ = shutter_templates(plane, hole=HOLE, used_share=0.95, **SIZES)
    notes = " ".join(base.notes)
    assert f"the middle {made.cleared_share:.0%} of the film passes freely" in notes
    assert "darker towards its edges" in notes


def test_its_window_is_no_smaller_than_the_wall_s_opening() -> None:
    plane = CAMERAS["flat"]
    made = shutter(plane, hole=HOLE, margin_mm=1.0, **SIZES)
    opening = wall_opening(plane, wall_thickness_mm=2.0, hole_diameter_mm=0.4, margin_mm=1.0)
    assert made.window_width_mm > opening.width_mm
    assert made.window_height_mm > opening.height_mm


def test_by_hand_for_a_flat_film() -> None:
    """A wall of 2 mm and three sheets of 1.5 mm: 6.5 mm from the plate; 63.5 mm of film to a side, 70 mm away."""
    made = shutter(CAMERAS["flat"], hole=HOLE, **SIZES)
    assert made.window_width_mm == pytest.approx(2 * (6.5 * 63.5 / 70 + 0.2 * (1 + 6.5 / 70)))
    assert made.window_height_mm == pytest.approx(2 * (6.5 * 51 / 70 + 0.2 * (1 + 6.5 / 70)))
    assert made.travel_mm == pytest.approx(made.window_height_mm + 7)


def test_a_narrow_view_still_gets_a_window_that_can_be_cut() -> None:
    made = shutter(FilmPlane(flat(width_mm=60, distance_mm=600), 45.0), hole=HOLE, **SIZES)
    assert (made.window_width_mm, made.window_height_mm) == (LEAST_WINDOW_MM, LEAST_WINDOW_MM)


@pytest.mark.parametrize(("width", "distance"), [(40, 2), (15, 60)], ids=["steep", "too small to cut in"])
def test_a_window_with_no_room_on_the_front_is_refused(width: float, distance: float) -> None:
    with pytest.raises(Impossible) as refused:
        shutter(FilmPlane(flat(width_mm=width, distance_mm=distance), width), hole=HOLE, **SIZES)
    assert refused.value.code == "shutter_too_large"


def test_a_thin_overlap_is_refused() -> None:
    with pytest.raises(Impossible) as refused:
        shutter(CAMERAS["flat"], hole=HOLE, **{**SIZES, "overlap_mm": 0.5})
    assert (refused.value.code, refused.value.field) == ("too_small", "overlap")
