"""A pinhole measured from a scan, against invented scans whose true shape is known."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.ndimage import gaussian_filter
from scipy.special import ndtr

from optics.core.hole_scan import HoleScan, measure_hole_scan
from optics.core.hole_scan_light import linear_light
from optics.core.hole_scan_outline import ANGLES_RAD, Outline, burr_share
from tests.optics.synthetic_scans import ANGLES, Burr, Recipe, Scan, Speck, random_recipe, render

SCANS = 300


def measure(scan: Scan, **told: object) -> HoleScan:
    known = {"image": scan.image, "mm_per_pixel": scan.mm_per_pixel, "tone_curve": scan.tone_curve}
    return measure_hole_scan(**(known | told))


def codes(measured: HoleScan) -> set[str]:
    return {flag.code for flag in measured.flags}


def true_centroid(scan: Scan) -> tuple[float, float]:
    """The centroid of the true shape, from the middle of its ellipse, in pixels."""
    moment = scan.radius_px**3 / 3 / np.sum(scan.radius_px**2 / 2)
    return float(np.sum(moment * np.cos(ANGLES))), float(np.sum(moment * np.sin(ANGLES)))


def field(*holes: tuple[float, float, float], shape=(160, 200), metal=0.7, hole=0.05, blur=0.8, noise=0.004):
    """Round holes (x, y, diameter in pixels) in even light, linear, as floats."""
    y, x = np.mgrid[: shape[0], : shape[1]] + 0.5
    covered = np.zeros(shape)
    for at_x, at_y, diameter in holes:
        covered = np.maximum(covered, np.clip(diameter / 2 - np.hypot(x - at_x, y - at_y) + 0.5, 0, 1))
    light = metal + (hole - metal) * gaussian_filter(covered, blur)
    return np.clip(light + noise * np.random.default_rng(5).normal(size=shape), 0, 1)


# The many scans


@dataclass(frozen=True)
class Many:
    scans: list[Scan]
    measured: list[HoleScan]

    @property
    def errors(self) -> NDArray[np.float64]:
        pairs = zip(self.scans, self.measured, strict=True)
        return np.array([measured.diameter_mm / scan.diameter_mm - 1 for scan, measured in pairs])


@pytest.fixture(scope="module")
def many() -> Many:
    scans = [render(random_recipe(number)) for number in range(SCANS)]
    return Many(scans, [measure(scan) for scan in scans])


def test_diameters_of_many_scans(many):
    errors = np.abs(many.errors)
    assert np.median(errors) <= 0.001
    assert np.quantile(errors, 0.95) <= 0.005
    assert errors.max() <= 0.01


def test_two_standard_deviations_cover_what_they_should(many):
    stated = np.array([measured.uncertainty_mm / measured.diameter_mm for measured in many.measured])
    assert 0.90 <= np.mean(np.abs(many.errors) <= 2 * stated) <= 0.99
    assert np.median(stated) < 0.0005


def test_roundness_of_many_scans(many):
    pairs = zip(many.scans, many.measured, strict=True)
    assert max(abs(measured.roundness_share - scan.roundness_share) for scan, measured in pairs) <= 0.02


def test_polarity_of_many_scans(many):
    assert [m.polarity for m in many.measured] == [s.polarity for s in many.scans]


def test_centroids_of_many_scans(many):
    for scan, measured in zip(many.scans, many.measured, strict=True):
        true = np.add(scan.centre_px, true_centroid(scan))
        assert measured.centre_px == pytest.approx(true, abs=0.25)


def test_the_outline_encloses_the_area_that_was_summed(many):
    for measured in many.measured:
        x, y = measured.outline_mm.T
        area = 0.5 * abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
        assert area == pytest.approx(np.pi / 4 * measured.diameter_mm**2, rel=2e-3)


def test_the_outline_lies_on_the_edge(many):
    """The true radius along each outline point's direction, in pixels, against the point's."""
    for scan, measured in zip(many.scans, many.measured, strict=True):
        if scan.recipe.blur_px > 1:
            continue
        x, y = (measured.outline_px - scan.centre_px).T
        true = np.interp(np.arctan2(y, x), ANGLES, scan.radius_px, period=2 * np.pi)
        assert np.abs(np.hypot(x, y) - true).max() < 0.6 + 0.01 * true.mean()


def test_of_flags_many_scans_raise_only_dust_where_dust_is(many):
    dusty = 0
    for scan, measured in zip(many.scans, many.measured, strict=True):
        inside = any(np.hypot(s.x_diameters, s.y_diameters) < 0.4 for s in scan.recipe.specks)
        may = {"dust_in_hole"} if inside and scan.recipe.bright_hole else set()
        assert codes(measured) <= may
        dusty += bool(codes(measured))
    assert dusty >= 10


def test_burrs_of_many_scans_are_those_of_the_true_outline(many):
    """The same definition applied to the true shape; only burrs that the scan resolves can be told."""
    for scan, measured in zip(many.scans, many.measured, strict=True):
        if scan.radius_px.mean() < 25:
            continue
        x, y = (scan.radius_px * np.cos(ANGLES), scan.radius_px * np.sin(ANGLES)) - np.array([true_centroid(scan)]).T
        true = Outline(0, 0, np.interp(ANGLES_RAD, np.arctan2(y, x), np.hypot(x, y), period=2 * np.pi))
        assert measured.burr_share == pytest.approx(burr_share(true), abs=0.03)


# Closed forms


@pytest.mark.parametrize("dpi", [1200, 2400, 4800, 6400])
@pytest.mark.parametrize("bright_hole", [True, False])
def test_a_clean_linear_scan_is_right_to_a_thousandth(dpi, bright_hole):
    levels = (
        {"hole_level": 0.7, "background_level": 0.05} if bright_hole else {"hole_level": 0.03, "background_level": 0.6}
    )
    for diameter_mm in (0.3, 0.437, 0.8):
        scan = render(
            Recipe(diameter_mm=diameter_mm, dpi=dpi, bright_hole=bright_hole, bits=16, noise_level=0.001, **levels)
        )
        measured = measure(scan)
        assert measured.diameter_mm == pytest.approx(diameter_mm, rel=1e-3)
        assert measured.roundness_share > 0.99
        assert measured.burr_share == 0
        assert measured.flags == ()


def test_an_ellipse_is_as_round_as_its_axes():
    measured = measure(render(Recipe(axis_ratio=0.8, diameter_mm=0.5)))
    assert measured.roundness_share == pytest.approx(0.8, abs=0.005)
    assert measured.burr_share == 0


def test_a_tilted_hole_shrinks_as_the_root_of_the_cosine():
    """An unseen tilt is part of the uncertainty, not of the answer."""
    measured = measure(render(Recipe(diameter_mm=0.6, dpi=4800, tilt_rad=np.deg2rad(10))))
    assert measured.diameter_mm / 0.6 == pytest.approx(np.sqrt(np.cos(np.deg2rad(10))), abs=3e-4)


def test_the_tone_curve_is_the_published_one():
    """IEC 61966-2-1 [memory]: half of full code is 21.4 % of the light; the two branches meet."""
    assert linear_light(0.5, "srgb") == pytest.approx(0.2140411, abs=1e-6)
    assert linear_light([0.0, 1.0], "srgb") == pytest.approx([0, 1])
    assert linear_light(0.04045, "srgb") == pytest.approx(linear_light(0.040450001, "srgb"), abs=1e-6)
    assert linear_light(0.3, "linear") == 0.3


@pytest.mark.parametrize("blur_px", [1.0, 2.0, 4.0])
def test_the_blur_is_found(blur_px):
    """∫ C(1 − C) across a Gaussian edge is σ/√π, by quadrature; a pixel adds 1/12 to its variance."""
    across = quad(lambda t: ndtr(t / blur_px) * (1 - ndtr(t / blur_px)), -50, 50)[0]
    assert across == pytest.approx(blur_px / np.sqrt(np.pi), rel=1e-6)
    measured = measure(render(Recipe(diameter_mm=0.6, blur_px=blur_px)))
    assert measured.blur_px == pytest.approx(np.hypot(blur_px, 12**-0.5), rel=0.02)


def test_a_burr_is_the_share_that_stands_in():
    """A round hole with a tongue whose profile crosses the stated depth at known angles."""
    depth, width = 0.15, 0.15
    scan = render(Recipe(diameter_mm=0.6, dpi=4800, burrs=(Burr(angle_rad=2, width_rad=width, depth_share=depth),)))
    half = width * np.sqrt(2 * np.log(depth / 0.02))
    assert measure(scan).burr_share == pytest.approx(2 * half / (2 * np.pi), abs=0.02)


@pytest.mark.parametrize("size", [0.05, 0.12])
def test_dust_in_the_hole_counts_as_open(size):
    speck = Speck(x_diameters=0.15, y_diameters=0.1, size_diameters=size, opacity_share=0.9)
    measured = measure(render(Recipe(diameter_mm=0.5, specks=(speck,))))
    assert measured.diameter_mm == pytest.approx(0.5, rel=1e-3)
    assert codes(measured) == {"dust_in_hole"}


def test_dust_and_hairs_elsewhere_do_not_count():
    light = field((100, 80, 50))
    light[20:23, 5:190] = 0.1
    light[130:136, 30:36] = 0.05
    measured = measure_hole_scan(image=light, mm_per_pixel=0.01, tone_curve="linear")
    assert measured.diameter_mm == pytest.approx(0.5, rel=1e-3)
    assert measured.centre_px == pytest.approx((100, 80), abs=0.05)
    assert measured.flags == ()


# Flags


def test_two_holes():
    measured = measure_hole_scan(image=field((60, 80, 50), (140, 80, 40)), mm_per_pixel=0.01, tone_curve="linear")
    assert codes(measured) == {"two_holes"}
    assert measured.diameter_mm == pytest.approx(0.5, rel=1e-3)


@pytest.mark.parametrize("x", [26, 20, 5])
def test_at_the_edge_of_the_picture(x):
    measured = measure_hole_scan(image=field((x, 80, 50)), mm_per_pixel=0.01, tone_curve="linear")
    assert codes(measured) == {"touches_edge"}
    assert abs(measured.diameter_mm - 0.5) < 3 * measured.uncertainty_mm


@pytest.mark.parametrize(
    ("metal", "hole", "gain", "offset"), [(0.05, 0.7, 1.6, 0), (0.7, 0.05, 1.6, 0), (0.7, 0.05, 1, -0.15)]
)
def test_clipped(metal, hole, gain, offset):
    light = np.clip(gain * field((100, 80, 50), metal=metal, hole=hole) + offset, 0, 1)
    measured = measure_hole_scan(image=light, mm_per_pixel=0.01, tone_curve="linear")
    assert codes(measured) == {"clipped"}
    assert abs(measured.diameter_mm - 0.5) < 2 * measured.uncertainty_mm


@pytest.mark.parametrize("blur", [1, 3, 6, 8])
def test_blurred(blur):
    measured = measure_hole_scan(image=field((100, 80, 50), blur=blur), mm_per_pixel=0.01, tone_curve="linear")
    assert codes(measured) == ({"blurred"} if blur > 5 else set())
    assert measured.diameter_mm == pytest.approx(0.5, rel=3e-3)


@pytest.mark.parametrize("srgb", [True, False])
def test_an_unknown_tone_curve_gives_the_mean_and_half_the_difference(srgb):
    scan = render(Recipe(diameter_mm=0.4, srgb=srgb))
    both = [measure(scan, tone_curve=curve).diameter_mm for curve in ("linear", "srgb")]
    measured = measure(scan, tone_curve="unknown")
    assert measured.diameter_mm == pytest.approx(np.mean(both))
    assert measured.uncertainty_mm == pytest.approx(abs(both[0] - both[1]) / 2, rel=0.02)
    assert abs(measured.diameter_mm - 0.4) < 2 * measured.uncertainty_mm
    assert codes(measured) == {"tone_curve_unknown"}


# Pictures of other kinds


def test_a_phone_through_a_loupe():
    """A lit disc in a black frame, falling off towards its rim, with the hole off its middle."""
    y, x = np.mgrid[:450, :600] + 0.5
    away = np.hypot(x - 300, y - 225)
    lens = gaussian_filter(np.clip(215 - away, 0, 1), 2) * np.clip(1 - 0.3 * (away / 210) ** 2, 0, 1)
    light = field((330, 210, 40), shape=(450, 600)) * lens
    measured = measure_hole_scan(image=light, mm_per_pixel=0.01, tone_curve="linear", polarity="dark_hole")
    assert measured.diameter_mm == pytest.approx(0.4, rel=2e-3)
    assert measured.flags == ()


def test_a_hole_that_nearly_fills_the_picture():
    measured = measure_hole_scan(image=field((60, 60, 100), shape=(120, 120)), mm_per_pixel=0.01, tone_curve="linear")
    assert measured.diameter_mm == pytest.approx(1, rel=1e-3)
    assert measured.polarity == "dark_hole"


def test_a_large_hole_is_averaged_down_and_a_small_one_found_in_a_large_picture():
    large = field((620, 600, 900), shape=(1200, 1300), blur=3).astype(np.float32)
    small = field((1020, 600, 14.5), shape=(1600, 2000)).astype(np.float32)
    assert measure_hole_scan(image=large, mm_per_pixel=0.001, tone_curve="linear").diameter_mm == pytest.approx(
        0.9, rel=5e-4
    )
    assert measure_hole_scan(image=small, mm_per_pixel=0.02, tone_curve="linear").diameter_mm == pytest.approx(
        0.29, rel=5e-3
    )


# Properties


@settings(max_examples=15, derandomize=True, deadline=None)
@given(turns=st.integers(0, 3), flipped=st.booleans())
def test_turning_the_picture_changes_nothing(turns, flipped):
    image = render(random_recipe(61)).image
    turned = np.rot90(image[:, ::-1] if flipped else image, turns)
    one, other = (measure_hole_scan(image=i, mm_per_pixel=0.01, tone_curve="linear") for i in (image, turned))
    assert other.diameter_mm == pytest.approx(one.diameter_mm, abs=0.5 * one.uncertainty_mm)
    assert other.roundness_share == pytest.approx(one.roundness_share, abs=0.003)
    assert other.burr_share == pytest.approx(one.burr_share, abs=0.02)


@settings(max_examples=15, derandomize=True, deadline=None)
@given(gain=st.floats(0.3, 0.9), offset=st.floats(0.0, 0.1), negative=st.booleans())
def test_levels_of_linear_light_do_not_matter(gain, offset, negative):
    light = field((100, 80, 50))
    other = offset + gain * (1 - light if negative else light)
    one, two = (measure_hole_scan(image=i, mm_per_pixel=0.01, tone_curve="linear") for i in (light, other))
    assert two.diameter_mm == pytest.approx(one.diameter_mm, rel=1e-6)
    assert two.polarity == ("bright_hole" if negative else "dark_hole")


@settings(max_examples=10, derandomize=True, deadline=None)
@given(mm_per_pixel=st.floats(1e-4, 1), scale_share=st.floats(0, 0.1), focal_length_mm=st.floats(1, 1000))
def test_scale_and_focal_length(mm_per_pixel, scale_share, focal_length_mm):
    image = field((100, 80, 50))
    bare = measure_hole_scan(image=image, mm_per_pixel=1, tone_curve="linear")
    measured = measure_hole_scan(
        image=image,
        mm_per_pixel=mm_per_pixel,
        mm_per_pixel_uncertainty=scale_share * mm_per_pixel,
        tone_curve="linear",
        focal_length_mm=focal_length_mm,
    )
    assert measured.diameter_mm == pytest.approx(bare.diameter_mm * mm_per_pixel)
    own, whole = bare.uncertainty_mm / bare.diameter_mm, measured.uncertainty_mm / measured.diameter_mm
    assert whole == pytest.approx(np.hypot(own, scale_share))
    assert measured.f_number == pytest.approx(focal_length_mm / measured.diameter_mm)
    assert bare.f_number is None
