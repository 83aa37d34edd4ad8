"""Sight lines as drawn, against rays from the film's edges through the hole."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from optics.core.film_planes import FilmPlane
from optics.core.profiles import bowed, flat, half_drum
from optics.core.templates.sight_lines import sight_lines_templates
from optics.core.templates.template import Template
from tests.physics.shapes import PLANES, film_planes, mirrored

derandomised = settings(derandomize=True, deadline=None, max_examples=60)
each_plane = pytest.mark.parametrize("plane", PLANES.values(), ids=PLANES.keys())

Sheets = tuple[Template, ...]
LEFT, RIGHT = "lid, picture's left edge", "lid, picture's right edge"
UPPER, LOWER = "side, picture's upper edge", "side, picture's lower edge"


def drawn(sheets: Sheets, name: str) -> NDArray[np.float64]:
    """From the hole to where an edge's line ends, as drawn: mm to the right and mm down; a guide line joins them."""
    (template,) = (sheet for sheet in sheets if any(length.name == name for length in sheet.lengths))
    end = next(length for length in template.lengths if length.name == name).points[1]
    (line,) = (each for each in template.lines if each.role == "guide" and not each.closed and each.points[-1] == end)
    return np.subtract(line.points[-1], line.points[0])


def sighted(sheets: Sheets, name: str) -> NDArray[np.float64]:
    """The unit direction, on the paper, in which somebody looks who looks along a line towards the hole."""
    line = drawn(sheets, name)
    return -line / np.hypot(*line)


def unit(*vector: float) -> NDArray[np.float64]:
    return np.array(vector) / np.hypot(*vector)


def lengths(sheets: Sheets) -> dict[str, float]:
    return {length.name: length.drawn_mm for sheet in sheets for length in sheet.lengths}


@derandomised
@given(film_planes(), st.sampled_from([1.0, 0.9, 0.5]))
def test_they_point_where_light_to_the_films_edges_comes_from(plane: FilmPlane, used_share: float) -> None:
    # A ray to a film point (x, y, z) comes from the scene's (-x, -y, -z), seen from the hole.
    sheets = sight_lines_templates(plane, used_share=used_share)
    x, z, *_ = plane.profile.at(used_share * plane.length_mm * np.array([-0.5, 0.5]))
    # On the lid right is right and the scene is up.
    assert sighted(sheets, LEFT) == pytest.approx(unit(-x[1], -z[1]), abs=1e-9)
    assert sighted(sheets, RIGHT) == pytest.approx(unit(-x[0], -z[0]), abs=1e-9)
    # On the camera's left side the scene is to the left and up is up.
    top, bottom = (sign * used_share * plane.height_mm / 2 - plane.hole_offset_y_mm for sign in (1, -1))
    assert sighted(sheets, UPPER) == pytest.approx(unit(-plane.axis_distance_mm, bottom), abs=1e-9)
    assert sighted(sheets, LOWER) == pytest.approx(unit(-plane.axis_distance_mm, top), abs=1e-9)


@derandomised
@given(film_planes())
def test_between_them_lies_the_field_of_view(plane: FilmPlane) -> None:
    sheets = sight_lines_templates(plane)

    def between(one: str, other: str) -> float:
        (ax, ay), (bx, by) = sighted(sheets, one), sighted(sheets, other)
        return float(abs(np.arctan2(ax * by - ay * bx, ax * bx + ay * by)))

    assert between(LEFT, RIGHT) == pytest.approx(plane.field_of_view.horizontal_rad, abs=1e-9)
    assert between(UPPER, LOWER) == pytest.approx(plane.field_of_view.vertical_rad, abs=1e-9)


@each_plane
def test_a_ray_along_a_line_meets_the_films_end(plane: FilmPlane) -> None:
    sheets = sight_lines_templates(plane, used_share=0.8)
    for name, end in ((LEFT, 0.4), (RIGHT, -0.4)):
        across, back = drawn(sheets, name)
        s, _ = plane.meet(across, 0.0, back)
        assert float(s) == pytest.approx(end * plane.length_mm, abs=1e-6)


@each_plane
def test_a_mirrored_camera_exchanges_left_and_right(plane: FilmPlane) -> None:
    sheets = sight_lines_templates(plane)
    mirror = sight_lines_templates(replace(plane, profile=mirrored(plane.profile)))
    flip = np.array([-1.0, 1.0])
    assert sighted(mirror, LEFT) == pytest.approx(flip * sighted(sheets, RIGHT), abs=1e-9)
    assert sighted(mirror, RIGHT) == pytest.approx(flip * sighted(sheets, LEFT), abs=1e-9)
    assert sighted(mirror, UPPER) == pytest.approx(sighted(sheets, UPPER), abs=1e-9)


def test_half_widths_are_tangents_up_to_45_degrees() -> None:
    # [derived] the film reaches 32 mm to the right of the axis and 48 to the left, 25 up and 35 down, 50 mm behind.
    # What is on its left comes from the scene's right, what is on its lower half from above.
    sheets = sight_lines_templates(FilmPlane(flat(width_mm=80, distance_mm=50, hole_offset_x_mm=8), 60, 5))
    assert lengths(sheets) == pytest.approx({"reach": 50, LEFT: 32, RIGHT: 48, UPPER: 35, LOWER: 25})
    assert drawn(sheets, RIGHT)[0] < 0 < drawn(sheets, LEFT)[0]


def test_lines_along_the_front_stay_on_the_paper() -> None:
    # A strip sprung right up to the hole's wall: both lines run at 90° and are √2 times as long as the reach.
    sheets = sight_lines_templates(FilmPlane(bowed(width_mm=171, depth_mm=80, length_mm=203), 90.0))
    reach = lengths(sheets)["reach"]
    for name in (LEFT, RIGHT):
        assert np.abs(drawn(sheets, name)) == pytest.approx([np.sqrt(2) * reach, 0], abs=1e-9)


def test_an_arcs_lines_are_its_own_angles() -> None:
    # 180 mm on a radius of 80 mm is 2.25 rad, half of it 64.458°: beyond 45°, so on the circle through √2 reaches.
    sheets = sight_lines_templates(FilmPlane(half_drum(radius_mm=80, length_mm=180), 90.0))
    assert lengths(sheets)[LEFT] == pytest.approx(np.sqrt(2) * lengths(sheets)["reach"] * np.sin(180 / 80 / 2))
    assert "64.5°" in " ".join(label.text for label in sheets[0].labels)
