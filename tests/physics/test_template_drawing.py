"""Cutting templates as SVG: read back and measured, and taken by a printed sheet.

Marks as everywhere: [read], [memory], [derived].
"""

import re
from collections import Counter
from typing import Literal

import numpy as np
import pytest
from defusedxml.ElementTree import fromstring
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ImageFont

from clubs.sheets.drawings import SVG, read_drawing
from optics.core.templates.svg import CAPITAL_SHARE, MEANINGS, STROKES, label_box, legend, template_svg
from optics.core.templates.template import LEAST_LETTER_MM, Label, Length, Line, Template
from tests.physics.template_shapes import NASTY_TEXTS, template, templates

derandomised = settings(derandomize=True, deadline=None, max_examples=60)


def drawn_lines(svg: str) -> list[tuple[str, float, str, bool, np.ndarray]]:
    """Of each line in an SVG: colour, width, dashes, whether it is closed, and its points."""
    found = []
    for group in fromstring(svg).iter(f"{{{SVG}}}g"):
        for shape in group:
            if "points" in shape.attrib:
                points = np.array([pair.split(",") for pair in shape.attrib["points"].split()], float)
                closed = shape.tag == f"{{{SVG}}}polygon"
                dashes = group.get("stroke-dasharray", "")
                found.append((group.attrib["stroke"], float(group.attrib["stroke-width"]), dashes, closed, points))
    return found


@derandomised
@given(whole=templates())
def test_each_line_reads_back_where_it_is(whole: Template) -> None:
    svg = template_svg(whole)
    root = fromstring(svg)
    assert root.attrib["width"] == f"{whole.width_mm:.3f}mm"
    assert root.attrib["height"] == f"{whole.height_mm:.3f}mm"
    assert root.attrib["viewBox"] == f"0 0 {whole.width_mm:.3f} {whole.height_mm:.3f}"
    in_order = sorted(whole.lines, key=lambda line: list(STROKES).index(line.role))
    for line, (*stroke, closed, points) in zip(in_order, drawn_lines(svg), strict=True):
        assert (tuple(stroke), closed) == (STROKES[line.role], line.closed)
        assert points == pytest.approx(np.array(line.points), abs=1e-3)


@derandomised
@given(whole=templates(texts=st.sampled_from(NASTY_TEXTS) | st.text(max_size=20)))
def test_any_text_stays_text_and_a_sheet_takes_it(whole: Template) -> None:
    svg = template_svg(whole)
    _, faults = read_drawing(svg, width_mm=whole.width_mm, height_mm=whole.height_mm)
    assert faults == []
    # What XML cannot hold is replaced; what it can comes back, line ends as XML reads them.
    not_xml = "[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]"
    kept = [re.sub("\r\n?", "\n", re.sub(not_xml, "\ufffd", label.text)) for label in whole.labels]
    texts = [element.text or "" for element in fromstring(svg).iter(f"{{{SVG}}}text")]
    assert texts == kept


def test_it_says_in_words_what_it_promises() -> None:
    whole = template(
        100, 50, title="Plate <of> A & B", lengths=(Length("plate width", 40.04, ((10, 10), (50.04, 10))),)
    )
    root = fromstring(template_svg(whole))
    assert root.findtext(f"{{{SVG}}}title") == "Plate <of> A & B"
    said = root.findtext(f"{{{SVG}}}desc")
    assert said == "Plate <of> A & B, 100.0 × 50.0 mm in true scale. Lengths: plate width 40.0 mm."


def test_kinds_of_lines_differ_without_colour() -> None:
    """In width or in dashes, not in colour alone; none is over half a millimetre wide."""
    assert len({(width, dashes) for _, width, dashes in STROKES.values()}) == len(STROKES) == 4
    assert all(0 < width <= 0.5 for _, width, _ in STROKES.values())
    assert all(colour in {"#000", "#555"} for colour, *_ in STROKES.values())


def test_the_legend_shows_every_kind_with_its_meaning() -> None:
    shown = legend()
    assert Counter(line.role for line in shown.lines) == Counter(dict.fromkeys(STROKES, 1))
    for line, label in zip(shown.lines, shown.labels, strict=True):
        assert label.text == MEANINGS[line.role]
        left, top, right, bottom = label_box(label)
        assert top < line.points[0][1] < bottom
        assert line.points[-1][0] < left < right < shown.width_mm
        assert label.letter_mm >= LEAST_LETTER_MM


@pytest.mark.parametrize("text", ["film 127.0 x 90.0 mm, seen from the hole", "Opening in the wall", "A1-A2/1"])
def test_letters_are_as_high_as_asked_and_keep_to_their_room(text: str) -> None:
    """Against the sans-serif face that Pillow carries: capitals as high as asked or a little higher, within the box."""
    units = 1000
    face = ImageFont.load_default(units)
    size = 3.0 / CAPITAL_SHARE
    assert 3.0 <= -face.getbbox("H", anchor="ls")[1] / units * size <= 3.0 * 1.1
    left, top, right, bottom = label_box(Label(0, 0, text, 3.0, "start"))
    assert face.getlength(text) / units * size <= right - left
    assert face.getbbox(text, anchor="ls")[3] / units * size <= bottom
    assert (left, top) == (0, -3.0)


@pytest.mark.parametrize(
    ("anchor", "turned_deg", "box"),
    [
        # [derived] 3.3 mm letters are of size 5: 2.75 mm of room for each of 4, 1.2 mm below the baseline.
        ("start", 0, (10, 16.7, 21, 21.2)),
        ("middle", 0, (4.5, 16.7, 15.5, 21.2)),
        ("end", 0, (-1, 16.7, 10, 21.2)),
        ("start", 90, (8.8, 20, 13.3, 31)),
        ("start", 180, (-1, 18.8, 10, 23.3)),
        ("end", 270, (6.7, 20, 11.2, 31)),
    ],
)
def test_a_label_takes_its_room_as_it_is_turned(
    anchor: Literal["start", "middle", "end"], turned_deg: float, box: tuple[float, ...]
) -> None:
    assert label_box(Label(10, 20, "hole", 3.3, anchor, turned_deg)) == pytest.approx(box, abs=1e-9)


def test_lines_of_a_kind_share_one_stroke() -> None:
    both = (Line("cut", ((1, 1), (9, 1))), Line("fold", ((1, 2), (9, 2))), Line("cut", ((1, 3), (9, 3))))
    root = fromstring(template_svg(template(10, 10, lines=both)))
    assert [len(list(group)) for group in root.iter(f"{{{SVG}}}g") if group.get("stroke")] == [2, 1]
