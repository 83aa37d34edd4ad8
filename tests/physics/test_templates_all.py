"""What holds for every cutting template of every camera."""

from itertools import chain

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optics.core.camera_plan import Hole
from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.profiles import bowed, drum, flat, half_drum, measured
from optics.core.templates.all_of_them import templates
from optics.core.templates.packing import fits
from optics.core.templates.template import LEAST_LETTER_MM, Label, LeftOut, Line, Point, Template
from optics.core.wall_opening import wall_opening
from tests.physics.shapes import PLANES, wobbly_arc

derandomised = settings(derandomize=True, deadline=None, max_examples=60)
each_plane = pytest.mark.parametrize("plane", PLANES.values(), ids=PLANES.keys())
#: Each in its order, with the names of its templates where it has several.
NAMES = {
    "opening": ["opening"],
    "film_support": ["film_support"],
    "liner": ["liner"],
    "baffle": ["baffle"],
    "shutter": ["shutter_base", "shutter_front", "shutter_slide"],
    "plate": ["plate"],
    "sight_lines": ["sight_lines_lid", "sight_lines_side"],
    "tripod": ["tripod"],
}
#: What an A4 and a letter page have room for at true scale, mm.
PAGES = {"A4": (176.0, 220.0), "letter": (181.9, 202.4)}
ANCHOR = {"start": 0.0, "middle": 0.5, "end": 1.0}


@st.composite
def cameras(draw: st.DrawFn) -> FilmPlane:
    """Of every kind, from 3 mm to 3 m, the hole off the middle both ways."""

    def share(low: float, high: float) -> float:
        return draw(st.floats(low, high))

    size, off = 3 * 10 ** share(0, 3), share(-0.8, 0.8)
    kind = draw(st.sampled_from(["flat", "bowed", "drum", "half_drum", "profile"]))
    sizes: dict[str, float]
    match kind:
        case "flat":
            sizes = {"width_mm": size, "distance_mm": size * share(0.1, 3), "hole_offset_x_mm": off * size / 2}
            profile = flat(**sizes)
        case "bowed":
            depth = size * share(0.05, 1)
            length = size + min(depth, size / 2) * (np.pi - 2) * share(0.01, 1)
            sizes = {"width_mm": size, "depth_mm": depth, "length_mm": length, "hole_offset_x_mm": off * size / 2}
            profile = bowed(**sizes)
        case "drum":
            length = np.pi * size * share(0.05, 0.98)
            room = min((np.pi * size - length) / 2, length / 2)
            sizes = {"diameter_mm": size, "length_mm": length, "hole_offset_x_mm": off * room}
            profile = drum(**sizes)
        case "half_drum":
            length = np.pi * size * share(0.05, 1)
            sizes = {"radius_mm": size, "length_mm": length, "hole_offset_x_mm": off * size * np.sin(length / 2 / size)}
            profile = half_drum(**sizes)
        case _:
            points = wobbly_arc(size, share(0, 0.15), draw(st.integers(7, 20)), share(0.3, 1.4))
            sizes = {}
            profile = measured(points_mm=points, hole_offset_x_mm=off * min(-points[0, 0], points[-1, 0]) / 4)
    height = profile.length_mm * share(0.1, 2)
    return FilmPlane(profile, height, height * share(-0.7, 0.7), kind, sizes)


def made(plane: FilmPlane, used_share: float = 0.9, plate_mm: float = 0.0) -> tuple[Template | LeftOut, ...]:
    hole = Hole(0.35, plate_thickness_mm=plate_mm)
    return templates(plane, hole=hole, wall_thickness_mm=1.5, used_share=used_share)


def room(label: Label) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of what a label takes at 0.6 of its height a letter, mm."""
    width = 0.6 * label.letter_mm * len(label.text)
    left = label.x_mm - ANCHOR[label.anchor] * width
    return left, label.y_mm - label.letter_mm, left + width, label.y_mm


def crosses(line: Line, box: tuple[float, float, float, float]) -> bool:
    """Whether any of 200 points on each of a line's pieces lies in the box."""
    points = np.array([*line.points, line.points[0]] if line.closed else line.points)
    share = np.linspace(0, 1, 200)[:, None, None]
    x, y = np.moveaxis(points[:-1] + share * np.diff(points, axis=0), -1, 0)
    left, top, right, bottom = box
    return bool(((x > left) & (x < right) & (y > top) & (y < bottom)).any())


def to_nearest_line(template: Template, point: Point) -> float:
    """How far a point lies off the nearest drawn line, mm."""

    def to(line: Line) -> float:
        points = np.array([*line.points, line.points[0]] if line.closed else line.points)
        start, step = points[:-1], np.diff(points, axis=0)
        share = ((point - start) * step).sum(axis=1) / np.maximum((step**2).sum(axis=1), np.finfo(float).tiny)
        nearest = start + np.clip(share, 0, 1)[:, None] * step
        return float(np.hypot(*(nearest - point).T).min())

    return min(map(to, template.lines))


def check(template: Template) -> None:
    names = [length.name for length in template.lengths]
    assert names
    assert len(set(names)) == len(names)
    for length in template.lengths:
        assert length.drawn_mm == pytest.approx(length.mm, abs=1e-3), length.name
        for end in (length.points[0], length.points[-1]):
            assert to_nearest_line(template, end) < 1e-6, length.name
    size = np.array([template.width_mm, template.height_mm])
    points = np.array([point for drawn in (*template.lines, *template.lengths) for point in drawn.points])
    assert np.isfinite(points).all()
    assert (points >= 0).all()
    assert (points <= size).all()
    assert all(len(line.points) >= 2 for line in template.lines)
    assert template.labels
    rooms = [room(label) for label in template.labels]
    assert (np.array(rooms) >= 0).all()
    assert (np.array(rooms)[:, 2:] <= size).all()
    for k, (label, (left, top, right, bottom)) in enumerate(zip(template.labels, rooms, strict=True)):
        assert label.letter_mm >= LEAST_LETTER_MM
        assert label.text.replace("°", "").isascii()
        assert not any(crosses(line, rooms[k]) for line in template.lines if line.role == "cut"), label.text
        for other in rooms[:k]:
            assert left >= other[2] or other[0] >= right or top >= other[3] or other[1] >= bottom, label.text


@derandomised
@given(cameras(), st.sampled_from([1.0, 0.95, 0.7]), st.sampled_from([0.0, 0.1]))
def test_every_template_keeps_its_promises(plane: FilmPlane, used_share: float, plate_mm: float) -> None:
    all_of_them = made(plane, used_share, plate_mm)
    left_out = {each.name for each in all_of_them if isinstance(each, LeftOut)}
    expected = [[name] if name in left_out else several for name, several in NAMES.items()]
    assert [each.name for each in all_of_them] == list(chain(*expected))
    for each in all_of_them:
        if isinstance(each, LeftOut):
            assert each.reason.endswith(".")
        else:
            check(each)
            assert each.notes
            assert all(note.endswith(".") for note in each.notes)


@each_plane
def test_every_template_of_the_usual_cameras(plane: FilmPlane) -> None:
    for each in made(plane):
        if isinstance(each, Template):
            check(each)


@each_plane
@pytest.mark.parametrize("page", PAGES.values(), ids=PAGES.keys())
def test_every_part_of_shutter_and_sight_lines_fits_a_page(plane: FilmPlane, page: tuple[float, float]) -> None:
    parts = [each for each in made(plane) if each.name in NAMES["shutter"] + NAMES["sight_lines"]]
    assert len(parts) == 5
    for part in parts:
        assert isinstance(part, Template)
        assert fits(part, page_width_mm=page[0], page_height_mm=page[1]), part.name


def test_no_length_of_a_group_bears_another_s_name() -> None:
    for names in NAMES.values():
        group = [each for each in made(PLANES["flat"]) if isinstance(each, Template) and each.name in names]
        lengths = [length.name for template in group for length in template.lengths]
        assert len(set(lengths)) == len(lengths) > 0


@each_plane
def test_the_film_laid_flat_runs_along_a_drawn_line(plane: FilmPlane) -> None:
    support = made(plane)[1]
    if isinstance(support, Template):
        film = next(length.points for length in support.lengths if length.name == "film, laid flat")
        assert any(line.points[: len(film)] == film for line in support.lines)


def test_what_is_left_out_says_the_cores_own_sentence() -> None:
    plane = PLANES["arc sprung in a deep box"]
    by_name = {each.name: each for each in made(plane, used_share=1.0)}
    with pytest.raises(Impossible) as refused:
        wall_opening(plane, wall_thickness_mm=1.5, hole_diameter_mm=0.35)
    opening = by_name["opening"]
    assert isinstance(opening, LeftOut)
    assert opening.reason == str(refused.value)
    assert [name for name, each in by_name.items() if isinstance(each, LeftOut)] == ["opening", "shutter", "plate"]


def test_blades_and_needles_carry_a_caution() -> None:
    for each in made(PLANES["flat"]):
        assert isinstance(each, Template)
        assert "workshop's own rules" in " ".join(each.notes) or each.name in NAMES["sight_lines"]
