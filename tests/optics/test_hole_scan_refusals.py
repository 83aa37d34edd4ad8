"""Pictures that hold no hole, hold it badly, or come with a scale that cannot be."""

from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optics.core.faults import Impossible
from optics.core.hole_scan import measure_hole_scan
from optics.core.hole_scan_scale import scale_from_dpi, scale_from_marks
from optics.core.hole_scan_svg import outline_svg
from tests.optics.synthetic_scans import Recipe, render
from tests.optics.test_hole_scan import field, measure


@settings(max_examples=60, derandomize=True, deadline=None)
@given(seed=st.integers(0, 10**6), rows=st.integers(16, 60), columns=st.integers(16, 60), patches=st.integers(0, 6))
def test_any_picture_is_measured_or_refused(seed, rows, columns, patches):
    """Random blocks on random ground: an answer of finite figures or a refusal, never anything else."""
    rng = np.random.default_rng(seed)
    image = np.full((rows, columns), rng.random()) + rng.choice([0, 0.003, 0.1]) * rng.normal(size=(rows, columns))
    for _ in range(patches):
        top, left = rng.integers(rows), rng.integers(columns)
        image[top : top + rng.integers(1, 40), left : left + rng.integers(1, 40)] = rng.random()
    try:
        measured = measure_hole_scan(image=np.clip(image, 0, 1), mm_per_pixel=0.01)
    except Impossible:
        return
    assert np.isfinite([measured.diameter_mm, measured.uncertainty_mm, *measured.centre_px]).all()
    assert np.isfinite(measured.outline_px).all()
    assert 0 <= measured.roundness_share <= 1
    assert 0 <= measured.burr_share <= 1


def test_stored_depth_makes_no_difference():
    shape = Recipe(diameter_mm=0.4, srgb=True, noise_level=0.004)
    eight, sixteen = measure(render(shape)), measure(render(replace(shape, bits=16)))
    assert eight.diameter_mm == pytest.approx(sixteen.diameter_mm, rel=2e-4)


# Refusals


@pytest.mark.parametrize(
    ("image", "code"),
    [
        (np.full((100, 100), 0.5), "no_hole_found"),
        (np.zeros((100, 100), np.uint8), "no_hole_found"),
        (np.linspace(0, 1, 10_000).reshape(100, 100), "no_hole_found"),
        (np.random.default_rng(3).random((300, 300)), "no_hole_found"),
        (field(), "no_hole_found"),
        (field((100, 80, 11.5)), "too_few_pixels"),
        (field((100, 80, 6)), "too_few_pixels"),
        (np.full((10, 100), 0.5), "image_shape"),
        (np.full((100, 100, 3), 0.5), "image_shape"),
        (np.full((100, 100), 1.5), "image_values"),
        (np.full((100, 100), np.nan), "image_values"),
        (np.zeros((100, 100), np.int32), "image_values"),
    ],
)
def test_refused_pictures(image, code):
    with pytest.raises(Impossible) as refusal:
        measure_hole_scan(image=image, mm_per_pixel=0.01)
    assert refusal.value.code == code
    assert refusal.value.field == "image"


def test_too_few_pixels_says_what_resolution_would_do():
    with pytest.raises(Impossible, match=r"about 10\.\d pixels across .* 2900 dpi"):
        measure_hole_scan(image=field((100, 80, 10)), mm_per_pixel=25.4 / 1200, tone_curve="linear")


def test_a_hole_of_the_wrong_polarity_is_not_found():
    with pytest.raises(Impossible) as refusal:
        measure_hole_scan(image=field((100, 80, 50)), mm_per_pixel=0.01, polarity="bright_hole")
    assert refusal.value.code == "no_hole_found"


@pytest.mark.parametrize(
    ("told", "code"),
    [
        ({"mm_per_pixel": 0.0}, "mm_per_pixel"),
        ({"mm_per_pixel": np.inf}, "mm_per_pixel"),
        ({"mm_per_pixel_uncertainty": -1.0}, "mm_per_pixel_uncertainty"),
        ({"mm_per_pixel_uncertainty": np.nan}, "mm_per_pixel_uncertainty"),
        ({"polarity": "grey"}, "polarity"),
        ({"tone_curve": "gamma"}, "tone_curve"),
        ({"focal_length_mm": 0.0}, "focal_length"),
    ],
)
def test_refused_parameters(told, code):
    with pytest.raises(Impossible) as refusal:
        measure_hole_scan(**({"image": field((100, 80, 50)), "mm_per_pixel": 0.01} | told))
    assert refusal.value.code == refusal.value.field == code


# Scale


def test_scale_from_dpi():
    assert scale_from_dpi(resolution_dpi=2540) == pytest.approx((0.01, 0))
    with pytest.raises(Impossible, match="resolution"):
        scale_from_dpi(resolution_dpi=0)


def test_scale_from_marks_agrees_with_a_trial_of_many_marks():
    first, second = np.array([10.0, 20.0]), np.array([310.0, 420.0])
    scale = scale_from_marks(
        first_px=(10, 20), second_px=(310, 420), distance_mm=5, marking_uncertainty_px=2, distance_uncertainty_mm=0.02
    )
    rng = np.random.default_rng(1)
    marks = rng.normal(scale=2, size=(20_000, 2, 2)) + np.stack([first, second])
    tried = (5 + 0.02 * rng.normal(size=20_000)) / np.hypot(*(marks[:, 1] - marks[:, 0]).T)
    assert scale.mm_per_pixel == pytest.approx(0.01)
    assert scale.mm_per_pixel_uncertainty == pytest.approx(tried.std(), rel=0.03)


@pytest.mark.parametrize(
    ("told", "code"),
    [
        ({"second_px": (3.0, 4.0)}, "marks_too_close"),
        ({"second_px": (np.nan, 4.0)}, "marks_too_close"),
        ({"distance_mm": -1.0}, "distance"),
        ({"marking_uncertainty_px": np.inf}, "marking_uncertainty"),
        ({"distance_uncertainty_mm": -1.0}, "distance_uncertainty"),
    ],
)
def test_refused_marks(told, code):
    with pytest.raises(Impossible) as refusal:
        scale_from_marks(**({"first_px": (0.0, 0.0), "second_px": (300.0, 400.0), "distance_mm": 5.0} | told))
    assert refusal.value.code == code


# The drawing


def test_the_drawing_lies_over_the_picture():
    scan = render(Recipe(offset_px=(7, -4)))
    measured = measure(scan)
    height, width = scan.image.shape
    drawing = ET.fromstring(outline_svg(measured, width_px=width, height_px=height))  # noqa: S314  # our own text
    space = "{http://www.w3.org/2000/svg}"
    assert drawing.get("viewBox") == f"0 0 {width} {height}"
    assert [child.tag for child in drawing][:2] == [space + "title", space + "desc"]
    assert not any("style" in element.attrib for element in drawing.iter())
    polygons = list(drawing.iter(space + "polygon"))
    assert {p.get("stroke") for p in polygons} == {"white", "black"}
    points = np.array([pair.split(",") for pair in polygons[0].get("points").split()], float)
    assert points.mean(axis=0) == pytest.approx(scan.centre_px, abs=0.1)
    assert np.ptp(points, axis=0) * scan.mm_per_pixel == pytest.approx([0.3, 0.3], rel=0.01)
