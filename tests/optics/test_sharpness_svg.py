"""The plot of sharpness: its curves are the core's, its marks lie on them, its writing stays inside."""

from itertools import combinations
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from optics.core.sharpness import Sharpness, sharpness
from optics.core.sharpness_svg import HEIGHT, LEFT, LETTER, PANEL, RIGHT, TOPS, WIDTH, sharpness_svg

SVG = "{http://www.w3.org/2000/svg}"
each_hole = pytest.mark.parametrize(("diameter_mm", "distance_mm"), [(0.1, 60), (0.3, 60), (1.0, 60), (0.35, 120)])


def drawn(diameter_mm: float, distance_mm: float) -> tuple[ET.Element, Sharpness]:
    found = sharpness(hole_diameter_mm=diameter_mm, distance_mm=distance_mm, wavelengths_nm=550.0)
    return ET.fromstring(sharpness_svg(found)), found  # noqa: S314


def curve(line: ET.Element) -> np.ndarray:
    return np.array([pair.split(",") for pair in line.attrib["points"].split()], dtype=float)


@each_hole
def test_curves_and_marks_are_the_computed_ones(diameter_mm: float, distance_mm: float) -> None:
    root, found = drawn(diameter_mm, distance_mm)
    transfer = found.modulation_transfer
    contrast, spread = (curve(line) for line in root.iter(f"{SVG}polyline"))
    low = min(0.0, transfer.contrast.min())
    assert contrast[0] == pytest.approx([LEFT, TOPS[0]], abs=0.1)
    assert 1 - (contrast[:, 1] - TOPS[0]) / PANEL * (1 - low) == pytest.approx(transfer.contrast[::2], abs=2e-3)
    light = found.point_spread.relative_intensity
    assert 1 - (spread[:, 1] - TOPS[1]) / PANEL == pytest.approx(light[::2] / light.max(), abs=2e-3)
    across = [float(dot.attrib["cx"]) for dot in root.iter(f"{SVG}circle")]
    share = (np.array(across) - LEFT) / (WIDTH - LEFT - RIGHT)
    marked = [found.mtf50_cycles_per_mm, found.mtf10_cycles_per_mm]
    assert share * transfer.frequency_cycles_per_mm[-1] == pytest.approx(marked, rel=0.01)
    said = root.findtext(f"{SVG}desc") or ""
    assert all(f"{value:.2f}" in said for value in marked)


@each_hole
def test_writing_is_clear_of_other_writing_and_of_the_edge(diameter_mm: float, distance_mm: float) -> None:
    root, _ = drawn(diameter_mm, distance_mm)
    boxes = []
    for text in root.iter(f"{SVG}text"):
        wide, x, y = 0.55 * LETTER * len(text.text or ""), float(text.attrib["x"]), float(text.attrib["y"])
        left = {"middle": x - wide / 2, "end": x - wide}.get(text.attrib.get("text-anchor", ""), x)
        boxes.append((left, y - 0.75 * LETTER, left + wide, y + 0.2 * LETTER))
    assert all(x1 >= 0 and y1 >= 0 and x2 <= WIDTH and y2 <= HEIGHT for x1, y1, x2, y2 in boxes)
    for one, other in combinations(boxes, 2):
        assert one[0] >= other[2] or other[0] >= one[2] or one[1] >= other[3] or other[1] >= one[3]


def test_it_needs_no_style() -> None:
    root, _ = drawn(0.3, 60)
    assert root.attrib["role"] == "img"
    assert not any({"style", "class"} & element.attrib.keys() for element in root.iter())
