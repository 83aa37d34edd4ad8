"""Sight lines as drawn, against rays from the film's edges through the hole."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from optics.core.film_planes import FilmPlane
from optics.core.profiles import bowed, flat, half_drum
from optics.core.templates.sight_lines import sight_lines_template
from optics.core.templates.template import Template
from tests.physics.shapes import PLANES, film_planes, mirrored

derandomised = settings(derandomize=True, deadline=None, max_examples=60)
each_plane = pytest.mark.parametrize("plane", PLANES.values(), ids=PLANES.keys())

LEFT, RIGHT = "lid, picture's left edge", "lid, picture's right edge"
UPPER, LOWER = "side, picture's upper edge", "side, picture's lower edge"


def drawn(template: Template, name: str) -> NDArray[np.float64]:
    """From the hole to where an edge's line ends, as drawn: mm to the right and mm down; a guide line joins them."""
    end = next(length for length in template.lengths if length.name == name).points[1]
    (line,) = (each for each in template.lines if each.role == "guide" and not each.closed and each.points[-1] == end)
    return np.subtract(line.points[-1], line.points[0])


def sighted(template: Template, name: str) -> NDArray[np.float64]:
    """The unit direction, on the paper, in which somebody looks who looks along a line towards the hole."""
    line = drawn(template, name)
    return -line / np.hypot(*line)


def unit(*vector: float) -> NDArray[np.float64]:
    return np.array(vector) / np.hypot(*vector)


def lengths(template: Template) -> dict[str, float]:
    return {length.name: length.drawn_mm for length in template.lengths}


@derandomised
@given(film_planes(), st.sampled_from([1.0, 0.9, 0.5]))
def test_they_point_where_light_to_the_films_edges_comes_from(plane: FilmPlane, used_share: float) -> None:
    # A ray to a film point (x, y, z) comes from the scene's (-x, -y, -z), seen from the hole.
    template = sight_lines_template(plane, used_share=used_share)
    x, z, *_ = plane.profile.at(used_share * plane.length_mm * np.array([-0.5, 0.5]))
    # On the lid right is right and the scene is up.
    assert sighted(template, LEFT) == pytest.approx(unit(-x[1], -z[1]), abs=1e-9)
    assert sighted(template, RIGHT) == pytest.approx(unit(-x[0], -z[0]), abs=1e-9)
    # On the camera's left side the scene is to the left and up is up.
    top, bottom = (sign * used_share * plane.height_mm / 2 - plane.hole_offset_y_mm for sign in (1, -1))
    assert sighted(template, UPPER) == pytest.approx(unit(-plane.axis_distance_mm, bottom), abs=1e-9)
    assert sighted(template, LOWER) == pytest.approx(unit(-plane.axis_distance_mm, top), abs=1e-9)


@derandomised
@given(film_planes())
def test_between_them_lies_the_field_of_view(plane: FilmPlane) -> None:
    template = sight_lines_template(plane)

    def between(one: str, other: str) -> float:
        (ax, ay), (bx, by) = sighted(template, one), sighted(template, other)
        return float(abs(np.arctan2(ax * by - ay * bx, ax * bx + ay * by)))

    assert between(LEFT, RIGHT) == pytest.approx(plane.field_of_view.horizontal_rad, abs=1e-9)
    assert between(UPPER, LOWER) == pytest.approx(plane.field_of_view.vertical_rad, abs=1e-9)


@each_plane
def test_a_ray_along_a_line_meets_the_films_end(plane: FilmPlane) -> None:
    template = sight_lines_template(plane, used_share=0.8)
    for name, end in ((LEFT, 0.4), (RIGHT, -0.4)):
        across, back = drawn(template, name)
        s, _ = plane.meet(across, 0.0, back)
        assert float(s) == pytest.approx(end * plane.length_mm, abs=1e-6)


@each_plane
def test_a_mirrored_camera_exchanges_left_and_right(plane: FilmPlane) -> None:
    template = sight_lines_template(plane)
    mirror = sight_lines_template(replace(plane, profile=mirrored(plane.profile)))
    flip = np.array([-1.0, 1.0])
    assert sighted(mirror, LEFT) == pytest.approx(flip * sighted(template, RIGHT), abs=1e-9)
    assert sighted(mirror, RIGHT) == pytest.approx(flip * sighted(template, LEFT), abs=1e-9)
    assert sighted(mirror, UPPER) == pytest.approx(sighted(template, UPPER), abs=1e-9)


def test_half_widths_are_tangents_up_to_sixty_degrees() -> None:
    # [derived] the film reaches 30 mm to the right of the axis and 70 to the left, 25 up and 35 down, 50 mm behind.
    # What is on its left comes from the scene's right, what is on its lower half from above.
    template = sight_lines_template(FilmPlane(flat(width_mm=100, distance_mm=50, hole_offset_x_mm=20), 60, 5))
    assert lengths(template) == pytest.approx({"reach": 50, LEFT: 30, RIGHT: 70, UPPER: 35, LOWER: 25})
    assert drawn(template, RIGHT)[0] < 0 < drawn(template, LEFT)[0]


def test_lines_along_the_front_stay_on_the_paper() -> None:
    # A strip sprung right up to the hole's wall: both lines run at 90° and are twice as long as the reach.
    template = sight_lines_template(FilmPlane(bowed(width_mm=171, depth_mm=80, length_mm=203), 90.0))
    reach = lengths(template)["reach"]
    for name in (LEFT, RIGHT):
        assert np.abs(drawn(template, name)) == pytest.approx([2 * reach, 0], abs=1e-9)


def test_an_arcs_lines_are_its_own_angles() -> None:
    # 180 mm on a radius of 80 mm is 2.25 rad, half of it 64.458°: beyond 60°, so on the circle of twice the reach.
    template = sight_lines_template(FilmPlane(half_drum(radius_mm=80, length_mm=180), 90.0))
    assert lengths(template)[LEFT] == pytest.approx(2 * lengths(template)["reach"] * np.sin(180 / 80 / 2))
    assert "64.5°" in " ".join(label.text for label in template.labels)
