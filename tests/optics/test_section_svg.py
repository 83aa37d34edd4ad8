"""The section's drawing: well formed, to scale, with the figures computed, and nothing written over anything else."""

import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings

from optics.core.film_planes import FilmPlane
from optics.core.lettering import ON_PHONE, ON_SHEET, Shown
from optics.core.profiles import Profile, bowed, drum, flat
from optics.core.section_svg import section_svg
from tests.physics.shapes import BENT_SHEET, PLANES, film_planes

SVG = "{http://www.w3.org/2000/svg}"
#: No common sans-serif sets a line of these words wider than this many letter heights a letter.
LETTER_WIDTH = 0.6


def box(kind: str, profile: Profile, **sizes_mm: float) -> FilmPlane:
    return FilmPlane(profile, 60, 5, kind, {"hole_offset_x_mm": 0.0, **sizes_mm})


DRAWN = PLANES | {
    "strip in a deep box": box("bowed", bowed(width_mm=171, depth_mm=60, length_mm=203), width_mm=171, depth_mm=60),
    "strip in a box as deep": box("bowed", bowed(width_mm=171, depth_mm=47, length_mm=203), width_mm=171, depth_mm=47),
    "strip pressed": box("bowed", bowed(width_mm=171, depth_mm=35, length_mm=203), width_mm=171, depth_mm=35),
    "short strip in a tin": box("drum", drum(diameter_mm=100, length_mm=80), diameter_mm=100),
    "wide": box("flat", flat(width_mm=300, distance_mm=30), width_mm=300, distance_mm=30),
    "narrow": box("flat", flat(width_mm=36, distance_mm=240), width_mm=36, distance_mm=240),
    "matchbox": box("flat", flat(width_mm=36, distance_mm=15), width_mm=36, distance_mm=15),
    "room": box("flat", flat(width_mm=9000, distance_mm=4000), width_mm=9000, distance_mm=4000),
}
each_plane = pytest.mark.parametrize("plane", DRAWN.values(), ids=DRAWN.keys())


def view_box(root: ET.Element) -> tuple[float, float, float, float]:
    left, top, width, height = map(float, root.attrib["viewBox"].split())
    return left, top, width, height


def film(root: ET.Element) -> np.ndarray:
    line = root.find(f".//{SVG}polyline")
    assert line is not None
    return np.array([pair.split(",") for pair in line.attrib["points"].split()], dtype=float)


def words(root: ET.Element) -> list[str]:
    return [each.text or "" for each in root.iter(f"{SVG}text")]


def text_boxes(root: ET.Element) -> list[tuple[float, float, float, float]]:
    """Left, top, right and bottom of each line of writing, rather too large than too small."""
    letter, boxes = float(root.attrib["font-size"]), []
    for each in root.iter(f"{SVG}text"):
        width = LETTER_WIDTH * letter * len(each.text or "")
        x, y = float(each.attrib["x"]), float(each.attrib["y"])
        left = x - width / 2 if each.attrib["text-anchor"] == "middle" else x
        boxes.append((left, y - 0.75 * letter, left + width, y + 0.22 * letter))
    return boxes


@each_plane
def test_drawing_is_well_formed_and_needs_no_style(plane: FilmPlane) -> None:
    drawing = section_svg(plane)
    root = ET.fromstring(drawing)  # noqa: S314  (our own text)
    assert root.tag == f"{SVG}svg"
    assert root.attrib["role"] == "img"
    tags = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert tags <= {"svg", "title", "desc", "rect", "g", "path", "circle", "polyline", "text"}
    assert not any({"style", "class"} & element.attrib.keys() for element in root.iter())
    assert not re.search(r"\bnan\b|\binf\b", drawing)


@each_plane
def test_drawing_is_to_scale_in_millimetres(plane: FilmPlane) -> None:
    root = ET.fromstring(section_svg(plane))  # noqa: S314
    left, top, width, height = view_box(root)
    assert root.attrib["width"] == f"{width:.3f}mm"
    assert root.attrib["height"] == f"{height:.3f}mm"
    drawn = film(root)
    x, z, *_ = plane.profile.at(np.array([-0.5, 0.5]) * plane.length_mm)
    assert drawn[[0, -1]] == pytest.approx(np.column_stack([x, z]), abs=1e-3)
    assert np.hypot(*np.diff(drawn, axis=0).T).sum() == pytest.approx(plane.length_mm, rel=1e-3)
    deepest = plane.columns(np.linspace(-0.5, 0.5, 2001) * plane.length_mm).z_mm.max()
    assert drawn[:, 1].max() == pytest.approx(deepest, rel=1e-3)
    assert ((drawn > [left, top]) & (drawn < [left + width, top + height])).all()
    # The scale bar, the last dimension line drawn, is as long as it says.
    bar = next(float(line.split(" ")[0]) for line in words(root) if line.endswith("on a true print"))
    lengths = [abs(float(b) - float(a)) for a, b in re.findall(r'd="M([-\d.]+) [-\d.]+L([-\d.]+) ', section_svg(plane))]
    assert bar == pytest.approx(lengths[-1], abs=2e-3)


@each_plane
def test_figures_are_the_computed_ones(plane: FilmPlane) -> None:
    root = ET.fromstring(section_svg(plane))  # noqa: S314
    lines = words(root)
    assert f"film, {plane.length_mm:.1f} mm long" in lines
    assert f"{plane.axis_distance_mm:.1f} mm" in lines
    assert f"Nearest {plane.shortest_mm:.1f} mm," in lines
    assert f"farthest corner {plane.longest_mm:.1f} mm." in lines
    said = root.findtext(f"{SVG}desc") or ""
    for figure in (plane.length_mm, plane.height_mm, plane.axis_distance_mm, plane.shortest_mm, plane.longest_mm):
        assert f"{figure:.1f} mm" in said
    assert f"sees {np.degrees(plane.field_of_view.horizontal_rad):.0f}° across" in said


def writing_is_clear(plane: FilmPlane) -> None:
    root = ET.fromstring(section_svg(plane))  # noqa: S314
    left, top, width, height = view_box(root)
    boxes = text_boxes(root)
    drawn = film(root)
    ends = np.linspace(0, 1, 21)[:, None, None]
    points = (drawn[:-1] + ends * np.diff(drawn, axis=0)).reshape(-1, 2)
    for k, (x1, y1, x2, y2) in enumerate(boxes):
        assert left <= x1 < x2 <= left + width, words(root)[k]
        assert top <= y1 < y2 <= top + height, words(root)[k]
        assert not ((points >= [x1, y1]) & (points <= [x2, y2])).all(axis=1).any(), words(root)[k]
        for u1, v1, u2, v2 in boxes[k + 1 :]:
            assert x2 <= u1 or u2 <= x1 or y2 <= v1 or v2 <= y1, words(root)[k]


@each_plane
def test_nothing_is_written_over_anything_else_or_past_the_edge(plane: FilmPlane) -> None:
    writing_is_clear(plane)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(film_planes())
def test_writing_is_clear_on_any_drawing(plane: FilmPlane) -> None:
    writing_is_clear(plane)


def test_walls_are_drawn_where_they_are_known() -> None:
    tin = ET.fromstring(section_svg(DRAWN["short strip in a tin"]))  # noqa: S314
    circle = tin.find(f".//{SVG}circle")
    assert circle is not None
    assert circle.attrib == {"cx": "0", "cy": "50.000", "r": "50.000"}
    assert "100.0 mm across" in words(tin)
    unknown = FilmPlane(DRAWN["short strip in a tin"].profile, 60, kind="drum")
    assert ET.fromstring(section_svg(unknown)).find(f".//{SVG}circle") is None  # noqa: S314
    deep = section_svg(DRAWN["strip in a deep box"])
    assert 'd="M-85.500 0V60.000H85.500V0"' in deep
    assert "171.0 mm across" in words(ET.fromstring(deep))  # noqa: S314


def test_right_is_right_as_seen_from_behind_the_camera() -> None:
    # Seen from above with the scene at the top, as behind the camera looking out. A hole to the right of the film's
    # middle has more of the film on its left.
    drawn = film(ET.fromstring(section_svg(PLANES["flat, hole to the right"])))  # noqa: S314
    assert (drawn[:, 1] > 0).all()
    assert -drawn[:, 0].min() > drawn[:, 0].max() > 0


def test_bends_are_drawn_where_they_are() -> None:
    drawn = film(ET.fromstring(section_svg(PLANES["bent sheet"])))  # noqa: S314
    for x, z in BENT_SHEET - [5, 0]:
        assert np.hypot(*(drawn - [x, z]).T).min() < 2e-3


@pytest.mark.parametrize("shown", [ON_PHONE, ON_SHEET], ids=["on a phone", "on a sheet"])
@each_plane
def test_letters_can_be_read_where_it_is_shown(plane: FilmPlane, shown: Shown) -> None:
    root = ET.fromstring(section_svg(plane, shown=shown))  # noqa: S314
    *_, width, height = view_box(root)
    seen_mm = float(root.attrib["font-size"]) * shown.scale(width, height)
    assert 0.998 * shown.letter_mm <= seen_mm < 1.6 * shown.letter_mm


@each_plane
def test_lengths_are_told_in_inches(plane: FilmPlane) -> None:
    root = ET.fromstring(section_svg(plane, lengths="in"))  # noqa: S314
    assert f"film, {plane.length_mm / 25.4:.2f} in long" in words(root)
    assert not [line for line in words(root) if " mm" in line]
    bar = next(line for line in words(root) if line.endswith(" in on a true print"))
    drawn = re.findall(r'd="M([-\d.]+) [-\d.]+L([-\d.]+) ', section_svg(plane, lengths="in"))[-1]
    assert 25.4 * float(bar.split()[0]) == pytest.approx(float(drawn[1]) - float(drawn[0]), abs=2e-3)


def test_title_is_text_only() -> None:
    root = ET.fromstring(section_svg(PLANES["flat"], title='<b>&"box"</b>'))  # noqa: S314
    assert root.findtext(f"{SVG}title") == '<b>&"box"</b>'
