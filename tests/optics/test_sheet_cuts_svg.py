"""The drawing of a cutting plan: true scale, no inline style, labels that never overlap."""

from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from optics.core.faults import Flag
from optics.core.lettering import ON_PHONE, ON_SHEET, Shown
from optics.core.sheet_cuts import CAUTION, SheetCuts, cut_sheet
from optics.core.sheet_cuts_svg import sheet_cuts_svg

SVG = "{http://www.w3.org/2000/svg}"


def plan_for(width: float, height: float, w: float, h: float, kerf_mm: float = 0.0) -> SheetCuts:
    return cut_sheet(sheet_width_mm=width, sheet_height_mm=height, piece_width_mm=w, piece_height_mm=h, kerf_mm=kerf_mm)


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 - our own text


def drawn(plan: SheetCuts) -> ET.Element:
    return parsed(sheet_cuts_svg(plan))


plans = pytest.mark.parametrize(
    "plan",
    [
        plan_for(203.2, 254.0, 63.5, 203.2),
        plan_for(203.2, 254.0, 50, 70),
        plan_for(508.0, 609.6, 61, 150, 3),
        plan_for(508.0, 609.6, 61, 100),
        plan_for(508.0, 609.6, 25.4, 25.4),
        plan_for(700, 60, 38, 50),
        plan_for(60, 500, 38, 50, 1),
        plan_for(203.2, 254.0, 8, 250),
        plan_for(101.6, 127.0, 101.6, 127.0),
    ],
)


def numbers(element: ET.Element) -> list[float]:
    return [float(element.get(name, "nan")) for name in ("x", "y", "width", "height")]


def label_boxes(drawing: ET.Element) -> list[tuple[float, float, float, float]]:
    """Boxes of cut numbers by their lozenges, and of piece numbers by their letters, in mm on the sheet."""
    boxes = []
    group = drawing.find(f"{SVG}g")
    for rect in group.iter(f"{SVG}rect"):
        if rect.get("rx"):
            x, y, width, height = numbers(rect)
            boxes.append((x, y, x + width, y + height))
    for text in group.iter(f"{SVG}text"):
        if text.get("fill") == "#000":
            size, x, y = (float(text.get(name)) for name in ("font-size", "x", "y"))
            half = 0.3 * size * len(text.text)
            boxes.append((x - half, y - 0.8 * size, x + half, y + 0.1 * size))
    return boxes


@plans
def test_drawn_to_true_scale(plan):
    drawing = drawn(plan)
    width, height = (drawing.get(side) for side in ("width", "height"))
    assert drawing.get("viewBox") == f"0 0 {width.removesuffix('mm')} {height.removesuffix('mm')}"
    rectangles = [numbers(rect) for rect in drawing.find(f"{SVG}g").iter(f"{SVG}rect") if rect.get("rx") is None]
    assert rectangles[0] == [0, 0, plan.sheet_width_mm, plan.sheet_height_mm]
    parts = [[p.x_mm, p.y_mm, p.width_mm, p.height_mm] for p in plan.offcuts + plan.pieces]
    assert sorted(rectangles[1:]) == sorted(parts)
    lines = [[float(line.get(end)) for end in ("x1", "y1", "x2", "y2")] for line in drawing.iter(f"{SVG}line")]
    assert lines == [pytest.approx([c.x1_mm, c.y1_mm, c.x2_mm, c.y2_mm], abs=6e-4) for c in plan.cuts]


@plans
def test_labels_keep_clear_of_each_other_and_inside_the_drawing(plan):
    drawing = drawn(plan)
    boxes = label_boxes(drawing)
    for one, other in combinations(boxes, 2):
        assert one[0] >= other[2] or other[0] >= one[2] or one[1] >= other[3] or other[1] >= one[3]
    moved_x, moved_y = map(float, drawing.find(f"{SVG}g").get("transform")[10:-1].split())
    width, height = map(float, drawing.get("viewBox").split()[2:])
    for x1, y1, x2, y2 in boxes:
        assert 0 <= x1 + moved_x < x2 + moved_x <= width
        assert 0 <= y1 + moved_y < y2 + moved_y <= height


@plans
def test_numbers_are_complete_or_the_caption_says_they_are_not(plan):
    text = sheet_cuts_svg(plan)
    drawing = parsed(text)
    complete = len(label_boxes(drawing)) == len(plan.pieces) + len(plan.cuts)
    assert complete == ("see the list of cuts" not in text)


def test_ordinary_plans_have_every_number():
    for plan in (plan_for(203.2, 254.0, 50, 70), plan_for(406.4, 508.0, 100, 150, 3), plan_for(127.0, 177.8, 35, 60)):
        shown = [t.text for t in drawn(plan).find(f"{SVG}g").iter(f"{SVG}text")]
        expected = [str(n) for last in (plan.count, len(plan.cuts)) for n in range(1, last + 1)]
        assert sorted(shown) == sorted(expected)


@plans
def test_strict_policy_and_readers(plan):
    """A strict content security policy forbids inline styles; a screen reader starts at title and desc."""
    text = sheet_cuts_svg(plan)
    drawing = parsed(text)
    assert not any("style" in element.attrib for element in drawing.iter())
    assert {e.tag.removeprefix(SVG) for e in drawing.iter()} <= {
        "svg", "title", "desc", "rect", "g", "path", "line", "text"
    }  # fmt: skip
    title, description = drawing[0], drawing[1]
    assert (title.tag, description.tag, drawing.get("role")) == (f"{SVG}title", f"{SVG}desc", "img")
    assert str(plan.count) in title.text
    assert CAUTION in description.text


@plans
@pytest.mark.parametrize(
    ("shown", "captioned"),
    [(ON_PHONE, True), (ON_PHONE, False), (ON_SHEET, False)],
    ids=["on a phone", "on a phone, bare", "on a sheet"],
)
def test_all_writing_can_be_read_where_it_is_shown(plan: SheetCuts, shown: Shown, captioned: bool) -> None:
    drawing = parsed(sheet_cuts_svg(plan, shown=shown, captioned=captioned))
    width, height = map(float, drawing.get("viewBox").split()[2:])
    sizes = [float(drawing.get("font-size"))]
    sizes += [float(text.get("font-size")) for text in drawing.iter(f"{SVG}text") if text.get("font-size")]
    room = replace(shown, high_mm=np.inf) if captioned else shown
    assert min(sizes) * room.scale(width, height) >= 0.998 * shown.letter_mm
    written = [text.text for text in drawing if text.tag == f"{SVG}text"]
    assert bool(written) == captioned
    assert max((0.6 * len(line) * sizes[0] for line in written), default=0) < 1.2 * width
    assert CAUTION in drawing[1].text


def test_off_cuts_are_hatched_inside_their_outline():
    plan = plan_for(203.2, 254.0, 50, 70)
    paths = list(drawn(plan).iter(f"{SVG}path"))
    assert len(paths) == len(plan.offcuts) > 1
    for path, part in zip(paths, plan.offcuts, strict=True):
        for point in path.get("d").replace("L", "M").split("M")[1:]:
            x, y = map(float, point.split())
            assert part.x_mm - 1e-3 <= x <= part.x_mm + part.width_mm + 1e-3
            assert part.y_mm - 1e-3 <= y <= part.y_mm + part.height_mm + 1e-3


def test_text_is_escaped():
    hostile = 'a < b & "c" <script>alert(1)</script>'
    plan = replace(plan_for(203.2, 254.0, 50, 70), flags=(Flag("x", hostile),))
    drawing = drawn(plan)
    assert drawing.find(f".//{SVG}script") is None
    assert hostile in drawing[1].text
