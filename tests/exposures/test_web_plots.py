"""Plots of the log: every point where its numbers say, every number in words, nothing of a name that could run."""

import re
from typing import Any

import numpy as np
import pytest
from defusedxml.ElementTree import fromstring
from hypothesis import given
from hypothesis import strategies as st

from exposures.reciprocity.result import CURVE_S, CurvePoint
from exposures.web.comparison_plot import Dot, across, comparison_svg, reach_of
from exposures.web.plots import LEFT, PANEL, RIGHT, TOP, WIDTH, Mark, paper_svg, scales_of
from optics.core.say import say_time

SVG = "{http://www.w3.org/2000/svg}"


def curve_of(exponent: float = 1.3, spread: float = 1.5, logged_s: tuple[float, float] = (4, 600)) -> list[CurvePoint]:
    """t = indicated^exponent, 90 % within a factor of `spread`², 50 % within `spread`."""
    return [
        CurvePoint(
            indicated_s=time,
            time_s=time**exponent,
            half=(time**exponent / spread, time**exponent * spread),
            ninety=(time**exponent / spread**2, time**exponent * spread**2),
            extrapolating=not logged_s[0] <= time**exponent <= logged_s[1],
        )
        for time in CURVE_S
    ]


def points_of(svg: Any, name: str) -> np.ndarray:
    found = next(each for each in svg.iter() if each.get("class") == name)
    return np.array([[float(part) for part in pair.split(",")] for pair in str(found.get("points")).split()])


def test_a_power_law_s_correction_is_a_straight_line() -> None:
    """t = T^p adds (p − 1)·log₂ T stops."""
    curve = curve_of()
    scales = scales_of(curve, ())
    line = points_of(fromstring(paper_svg("Glasswort", curve)), "beyond")
    octaves = (line[:, 0] - LEFT) / (WIDTH - RIGHT - LEFT) * 12  # 1 s to 4096 s
    stops = scales.low_stops + (TOP + PANEL - line[:, 1]) / PANEL * (scales.high_stops - scales.low_stops)
    assert octaves == pytest.approx(range(13), abs=0.01)
    assert stops == pytest.approx(0.3 * np.arange(13), abs=0.01)


def test_the_solid_line_is_where_times_were_logged() -> None:
    curve = curve_of()
    scales = scales_of(curve, ())
    told = [scales.x(point.indicated_s) for point in curve if not point.extrapolating]
    assert points_of(fromstring(paper_svg("Glasswort", curve)), "best")[:, 0] == pytest.approx(told, abs=0.06)


@pytest.mark.parametrize(("name", "factor"), [("half", 1.5), ("ninety", 1.5**2)])
def test_bands_lie_about_the_line_by_their_factor(name: str, factor: float) -> None:
    curve = curve_of()
    scales = scales_of(curve, ())
    band = points_of(fromstring(paper_svg("Glasswort", curve)), name)
    upper, lower = band[: len(curve), 1], band[len(curve) :, 1][::-1]
    stops = (lower - upper) / PANEL * (scales.high_stops - scales.low_stops)
    assert stops == pytest.approx(2 * np.log2(factor), abs=0.01)


def test_logs_stand_where_they_were_told_and_each_grade_has_its_shape() -> None:
    curve = curve_of()
    marks = [Mark(4, 6, "judged", doubtful=False), Mark(64, 200, "bracketed", doubtful=False),
             Mark(256, 1000, "densitometer", doubtful=True), Mark(0.01, 1, "judged", doubtful=False)]  # fmt: skip
    text = paper_svg("Glasswort", curve, marks=marks, published_s=[[1, 2], [100, 700]])
    svg = fromstring(text)
    scales = scales_of(curve, marks)
    drawn = [each for each in svg.findall(f"{SVG}g") if str(each.get("class")).startswith("log")]
    assert len(drawn) == 3
    ring = drawn[0].find(f"{SVG}circle")
    assert ring is not None
    assert (float(str(ring.get("cx"))), float(str(ring.get("cy")))) == pytest.approx(
        (scales.x(4), scales.y(np.log2(6 / 4))), abs=0.06
    )
    square = drawn[1].find(f"{SVG}rect")
    assert square is not None
    assert float(str(square.get("x"))) + 3 == pytest.approx(scales.x(64), abs=0.06)
    assert [len(each.findall(f"{SVG}path")) for each in drawn] == [0, 0, 2]
    diamonds = [each for each in svg.iter(f"{SVG}path") if each.get("class") == "published"]
    assert len(diamonds) == 3  # two times of the table, and one in the legend
    said = svg.findtext(f"{SVG}desc") or ""
    assert "3 of 4 logs are drawn." in said
    words = [each.text for each in svg.iter(f"{SVG}text")]
    assert {"a log, judged by eye", "a log, read off a strip", "a log, measured", "a log that looks wrong",
            "the data sheet's table", "beyond what was logged"} <= set(words)  # fmt: skip


def test_the_description_says_the_times() -> None:
    curve = curve_of()
    said = fromstring(paper_svg("Glasswort", curve)).findtext(f"{SVG}desc") or ""
    for point in curve:
        if point.indicated_s in {4.0, 64.0, 1024.0}:
            assert f"Where {say_time(point.indicated_s)} is indicated, give {say_time(point.time_s)}" in said
            assert f"from {say_time(point.ninety[0])} to {say_time(point.ninety[1])}" in said


@given(
    st.floats(0.05, 6.0),
    st.floats(1.01, 50.0),
    st.lists(st.tuples(st.floats(1e-3, 1e7), st.floats(1e-3, 1e9)), max_size=5),
    st.sampled_from([np.inf, 3.0]),
)
def test_whatever_is_drawn_lies_on_the_paper(
    exponent: float, spread: float, logs: list[tuple[float, float]], last: float
) -> None:
    curve = curve_of(exponent, spread)
    end = curve[-1]
    high = end.ninety[1] * last
    curve[-1] = CurvePoint(end.indicated_s, end.time_s * last, end.half, (end.ninety[0], high), extrapolating=True)
    marks = [Mark(a, b, "judged", doubtful=False) for a, b in logs]
    svg = fromstring(paper_svg("Glasswort", curve, marks=marks))
    for name in ("ninety", "half", "beyond"):
        points = points_of(svg, name)
        assert ((points >= [LEFT - 0.1, TOP - 0.1]) & (points <= [WIDTH - RIGHT + 0.1, TOP + PANEL + 0.1])).all()


def test_names_are_words() -> None:
    name = '"><script>alert(1)</script>'
    for text in (paper_svg(name, curve_of()), comparison_svg(name, [Dot(name, 0, -1, 1)])):
        assert "<script" not in text
        assert name in "".join(fromstring(text).itertext())


def test_colour_is_the_page_s_and_nothing_is_styled_inline() -> None:
    for text in (paper_svg("Glasswort", curve_of()), comparison_svg("Members", [Dot("ada", 0.2, -0.1, 0.5, [0.3])])):
        assert "style=" not in text
        assert set(re.findall(r'(?:fill|stroke)="([^"]*)"', text)) == {"currentColor", "none"}


# -------------------------------------------------------------------------------------------------- comparison


DOTS = [Dot("ada", 0.8, 0.3, 1.3, [0.5, 1.0]), Dot("ben", -0.4, -1.6, 0.8), Dot("cleo", -0.4, -9.0, 8.0)]


def test_dots_lines_and_logs_stand_at_their_stops() -> None:
    svg = fromstring(comparison_svg("Members", DOTS))
    reach = reach_of(DOTS)
    assert reach == 5
    dots = [float(str(each.get("cx"))) for each in svg.iter(f"{SVG}circle") if each.get("class") == "offset"]
    assert dots == pytest.approx([across(dot.stops, reach) for dot in DOTS], abs=0.06)
    logs = [float(str(each.get("cx"))) for each in svg.iter(f"{SVG}circle") if each.get("class") == "log"]
    assert logs == pytest.approx([across(0.5, reach), across(1.0, reach)], abs=0.06)
    lines = [str(each.get("d")) for each in svg.iter(f"{SVG}path") if each.get("class") == "interval"]
    ends = [(float(d[1:].split(" ")[0]), float(re.findall(r"H([\d.]+)", d)[0])) for d in lines]
    assert ends[0] == pytest.approx((across(0.3, reach), across(1.3, reach)), abs=0.06)
    assert ends[2] == pytest.approx((across(-reach, reach), across(reach, reach)), abs=0.06)
    assert "ada: +0.8 stops, from +0.3 to +1.3." in (svg.findtext(f"{SVG}desc") or "")


def test_a_long_name_is_cut_short() -> None:
    svg = fromstring(comparison_svg("Members", [Dot("a" * 150, 0, -1, 1)]))
    assert max(len(each.text or "") for each in svg.iter(f"{SVG}text")) <= 44
