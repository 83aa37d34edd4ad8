"""The light's map: lines where the core finds the stops they name, figures clear of each other, greys in order."""

import re
from itertools import combinations, pairwise
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings

from optics.core.film_planes import FilmPlane
from optics.core.illumination import illuminate, stops_map
from optics.core.illumination_svg import DEEPEST, HIGH_MM, WIDE_MM, illumination_svg, levels, say
from optics.core.lettering import ON_PHONE, ON_SHEET, Shown
from optics.core.profiles import bowed, flat
from tests.physics.shapes import PLANES, film_planes

SVG = "{http://www.w3.org/2000/svg}"
MAPPED = PLANES | {
    "shallow box": FilmPlane(flat(width_mm=200, distance_mm=40), 100, 10),
    "hole below the film": FilmPlane(flat(width_mm=120, distance_mm=60), 40, -30),
    "deep box": FilmPlane(flat(width_mm=36, distance_mm=240), 100),
    "strip": FilmPlane(bowed(width_mm=171, depth_mm=60, length_mm=203), 61),
}
each_plane = pytest.mark.parametrize("plane", MAPPED.values(), ids=MAPPED.keys())


def drawn(plane: FilmPlane, thickness_share: float = 0.0, shown: Shown = ON_PHONE) -> ET.Element:
    return ET.fromstring(illumination_svg(plane, thickness_share=thickness_share, shown=shown))  # noqa: S314


def scale_of(plane: FilmPlane) -> float:
    return min(WIDE_MM / plane.length_mm, HIGH_MM / plane.height_mm)


def outlines(root: ET.Element) -> list[np.ndarray]:
    """Corners of each region, darkest first, in the map's mm."""
    paths = [path.attrib["d"] for path in root.iter(f"{SVG}path") if path.attrib["fill"] != "none"]
    return [np.array(re.findall(r"[ML]([-\d.]+) ([-\d.]+)", path), dtype=float) for path in paths]


def stops_about(
    plane: FilmPlane, outline: np.ndarray, thickness_share: float, within_mm: float
) -> tuple[np.ndarray, np.ndarray]:
    """The core's least and most stops within `within_mm` of those corners of an outline that lie inside the film."""
    scale = scale_of(plane)
    corner = np.array([plane.length_mm, plane.height_mm]) / 2
    places = (outline / scale - corner) * [1, -1]
    places = places[(np.abs(places) < corner - (within_mm + 0.05) / scale).all(axis=1)]
    s, y = (
        (places[:, None, :] + np.array([[-1, -1], [-1, 1], [1, -1], [1, 1], [0, 0]]) * within_mm / scale)
        .reshape(-1, 2)
        .T
    )
    found = [
        stops_map(plane, s_mm=s[k : k + 1], y_mm=y[k : k + 1], thickness_share=thickness_share)[0, 0]
        for k in range(len(s))
    ]
    near = np.reshape(found, (-1, 5))
    return near.min(axis=1), near.max(axis=1)


@pytest.mark.parametrize("thickness_share", [0.0, 0.2])
@each_plane
def test_lines_run_where_the_light_is_as_they_say(plane: FilmPlane, thickness_share: float) -> None:
    light = illuminate(plane, hole_diameter_mm=1.0, plate_thickness_mm=thickness_share, columns=201, rows=101)
    steps = levels(float(light.stops.min()), float(light.stops.max()))
    found = outlines(drawn(plane, thickness_share))
    assert len(found) == len(steps)
    for outline, level in zip(found, steps, strict=True):
        least, most = stops_about(plane, outline, thickness_share, 0.2 if level > -6 else 1.0)
        assert (least - 0.01 <= level).all()
        assert (level <= most + 0.01).all()


@each_plane
def test_regions_lie_inside_the_film_and_grow_lighter(plane: FilmPlane) -> None:
    root = drawn(plane)
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    assert (width, height) == pytest.approx(
        (plane.length_mm * scale_of(plane), plane.height_mm * scale_of(plane)), abs=1e-3
    )
    for outline in outlines(root):
        assert (outline >= -0.06).all()
        assert (outline <= [width + 0.06, height + 0.06]).all()
    greys = [int(path.attrib["fill"][1:3], 16) for path in root.iter(f"{SVG}path") if path.attrib["fill"] != "none"]
    assert all(darker < lighter for darker, lighter in pairwise(greys))
    assert all(grey > 125 for grey in greys)


def writing_is_clear(plane: FilmPlane, shown: Shown) -> None:
    root = drawn(plane, shown=shown)
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    letter = float(root.attrib["font-size"])
    assert letter * shown.scale(width, height) >= 0.99 * shown.letter_mm
    boxes = []
    for text in root.iter(f"{SVG}text"):
        half = 0.3 * letter * len(text.text or "")
        x, y = float(text.attrib["x"]), float(text.attrib["y"])
        boxes.append((x - half, y - 0.8 * letter, x + half, y + 0.1 * letter))
    for x1, y1, x2, y2 in boxes:
        assert -0.02 <= x1 < x2 <= width + 0.02
        assert -0.02 <= y1 < y2 <= height + 0.02
    for one, other in combinations(boxes, 2):
        assert one[0] >= other[2] - 0.02 or other[0] >= one[2] - 0.02 or one[1] >= other[3] or other[1] >= one[3]


@pytest.mark.parametrize("shown", [ON_PHONE, ON_SHEET], ids=["on a phone", "on a sheet"])
@each_plane
def test_figures_keep_clear_of_each_other(plane: FilmPlane, shown: Shown) -> None:
    writing_is_clear(plane, shown)


@settings(derandomize=True, deadline=None, max_examples=40)
@given(film_planes())
def test_figures_keep_clear_on_any_map(plane: FilmPlane) -> None:
    writing_is_clear(plane, ON_PHONE)


def test_ordinary_maps_have_every_figure() -> None:
    root = drawn(MAPPED["flat"])
    assert [text.text for text in root.iter(f"{SVG}text")] == ["−2.5", "−2.0", "−1.5", "−1.0", "−0.5"]


def test_whole_stops_are_drawn_through_and_halves_dashed() -> None:
    paths = [path for path in drawn(MAPPED["flat"]).iter(f"{SVG}path") if path.attrib["fill"] != "none"]
    assert ["stroke-dasharray" in path.attrib for path in paths] == [True, False, True, False, True]


def test_an_even_film_is_white_and_says_so() -> None:
    root = drawn(MAPPED["deep box"])
    assert outlines(root) == []
    rect = root.find(f"{SVG}rect")
    assert rect is not None
    assert rect.attrib["fill"] == "#ffffff"
    assert "even to half a stop" in (root.findtext(f"{SVG}desc") or "")


def test_it_needs_no_style_and_says_what_it_shows() -> None:
    root = drawn(MAPPED["strip"], 0.2)
    assert not any({"style", "class"} & element.attrib.keys() for element in root.iter())
    assert root.attrib["role"] == "img"
    assert root.findtext(f"{SVG}title") == "Light on the film"
    assert "to dark. Lines at −1.0, −2.0" in (root.findtext(f"{SVG}desc") or "")


@pytest.mark.parametrize(
    ("lowest", "highest", "lines"),
    [
        (-1.2, 0.0, [-1.0, -0.5]),
        (-0.3, 0.2, [0.0]),
        (-0.3, -0.1, []),
        (-6.2, 0.0, [-6.0, -5.0, -4.0, -3.0, -2.0, -1.0]),
        (-np.inf, 0.5, [-8.0, -7.0, -6.0, -5.0, -4.0, -3.0, -2.0, -1.0, 0.0]),
        (-1.0, 1.0, [-0.5, 0.0, 0.5]),
    ],
)
def test_levels_between_two_stops(lowest: float, highest: float, lines: list[float]) -> None:
    assert levels(lowest, highest) == lines
    assert min(lines, default=0) >= -DEEPEST


def test_words_for_stops() -> None:
    told = [(-1.26, "−1.3"), (0.0, "0.0"), (-0.04, "0.0"), (0.21, "+0.2"), (-np.inf, "dark")]
    assert [say(stops) for stops, _ in told] == [text for _, text in told]
