"""Diffraction of a round hole against closed forms, series, published tables and high-precision quadrature.

The marks are those of SCIENCE.md: [read], [memory], [derived].
"""

import mpmath as mp
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.special import j0, j1, jv, roots_legendre

from optics.core.diffraction import (
    GEOMETRIC_FROM,
    contrast,
    contrast_curve,
    encircled_share,
    intensity_curve,
    relative_intensity,
)

BAND = np.linspace(400.0, 700.0, 31) / 400.0
BAND_WEIGHTS = np.hanning(33)[1:-1] / np.hanning(33).sum()


def intensity_by_quadrature(number: float, v: float) -> float:
    """|u ∫₀¹ exp(ius²/2) J₀(vs) s ds|² in 25 digits, the formula as it stands in Born and Wolf §8.8 [memory]."""
    with mp.workdps(25):
        u, v = 2 * mp.pi * number, mp.mpf(v)
        parts = int(max(2, (u / 2 + v) / 8))
        amplitude = mp.quad(
            lambda s: mp.expj(u * s * s / 2) * mp.besselj(0, v * s) * s,
            [mp.mpf(k) / parts for k in range(parts + 1)],
            method="gauss-legendre",
        )
        return float(abs(u * amplitude) ** 2)


def intensity_by_lommel(number: float, v: float) -> float:
    """Lommel's series, each order by itself: outside the shadow U₁² + U₂², inside it by V₀ and V₁ [memory]."""
    u = 2 * np.pi * number
    ratio = min(u / v, v / u)
    terms = int(np.ceil(20 / -np.log(ratio))) + 2

    def series(first: int) -> float:
        n = first + 2 * np.arange(terms)
        return float((np.resize([1.0, -1.0], terms) * ratio**n * jv(n, v)).sum())

    if v > u:
        return series(1) ** 2 + series(2) ** 2
    turn = (u + v * v / u) / 2
    v0, v1 = series(0), series(1)
    return float(1 + v0**2 + v1**2 - 2 * v0 * np.cos(turn) - 2 * v1 * np.sin(turn))


def contrast_by_quadrature(number: float, s: float) -> float:
    """(4/π) ∫₀^{1−s/2} √(1−(x+s/2)²) cos(2πN_F s x) dx in 20 digits."""
    with mp.workdps(20):
        end, turn = 1 - mp.mpf(s) / 2, 2 * mp.pi * number * mp.mpf(s)
        parts = int(turn * end / 6) + 1
        integral = mp.quad(
            lambda x: mp.sqrt(max(mp.mpf(0), 1 - (x + mp.mpf(s) / 2) ** 2)) * mp.cos(turn * x),
            [end * k / parts for k in range(parts + 1)],
        )
        return float(4 / mp.pi * integral)


@pytest.mark.parametrize(
    ("number", "expected"), [(0.25, 0.58578644), (0.5, 2.0), (1.0, 4.0), (2.0, 0.0)]
)  # SCIENCE §2, 4 sin²(πN_F/2) [derived]
def test_on_axis_table(number: float, expected: float) -> None:
    assert relative_intensity(number, 0.0) == pytest.approx(expected, abs=1e-8)


def test_on_axis_closed_form_at_every_fresnel_number() -> None:
    number = np.geomspace(1e-3, 200, 3001)
    closed = 4 * np.sin(np.pi * number / 2) ** 2
    np.testing.assert_allclose(relative_intensity(number, 0.0), closed, rtol=1e-10, atol=1e-10)


@pytest.mark.parametrize(("number", "expected"), [(0.5, 0.12101974), (1.0, 0.15199202)])  # SCIENCE §2 [derived]
def test_at_the_edge_of_the_shadow_table(number: float, expected: float) -> None:
    assert relative_intensity(number, 2 * np.pi * number) == pytest.approx(expected, abs=1e-8)


def test_at_the_edge_of_the_shadow_closed_form() -> None:
    number = np.geomspace(1e-3, 200, 301)
    u = 2 * np.pi * number
    closed = (1 - 2 * j0(u) * np.cos(u) + j0(u) ** 2) / 4
    np.testing.assert_allclose(relative_intensity(number, u), closed, rtol=1e-8, atol=1e-11)


def test_lommel_functions_as_tabled() -> None:
    """U₁(π, 4) and U₂(π, 4), SCIENCE §2."""
    expected = 0.2234964702**2 + 0.1285970826**2
    assert relative_intensity(0.5, 4.0) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("number", [0.001, 0.1, 0.7, 1.0, 3.3])
@pytest.mark.parametrize("v", [0.3, 4.0, 11.5, 59.0])
def test_intensity_against_independent_quadrature(number: float, v: float) -> None:
    assert relative_intensity(number, v) == pytest.approx(intensity_by_quadrature(number, v), rel=1e-9)


@pytest.mark.parametrize(
    ("number", "v"),
    [
        (0.001, 61.0),
        (0.001, 1e4),
        (0.5, 4.0),
        (0.5, 100.0),
        (1.0, 6.0),
        (1.0, 2e5),
        (5.0, 33.0),
        (5.0, 70.0),
        (20.0, 60.0),
        (20.0, 200.0),
        (20.0, 260.0),
        (200.0, 10.0),
        (200.0, 1200.0),
        (200.0, 1350.0),
        (200.0, 2500.0),
        (200.0, 2600.0),
    ],
)
def test_intensity_against_lommel_series(number: float, v: float) -> None:
    expected = intensity_by_lommel(number, v)
    assert relative_intensity(number, v) == pytest.approx(expected, rel=1e-7, abs=1e-12)


@pytest.mark.parametrize(
    ("number", "s", "expected"),
    [(0.5, 0.2, 0.838860), (0.5, 0.6, 0.501570), (0.5, 1.0, 0.287468), (1.0, 0.6, 0.229264)],
)  # SCIENCE §2 [derived]
def test_contrast_table(number: float, s: float, expected: float) -> None:
    assert contrast(number, s) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("number", [0.001, 0.5, 1.0, 4.0, 30.0, 200.0])
@pytest.mark.parametrize("s", [0.01, 0.37, 1.0, 1.6, 1.999])
def test_contrast_against_independent_quadrature(number: float, s: float) -> None:
    assert contrast(number, s) == pytest.approx(contrast_by_quadrature(number, s), abs=1e-11)


def test_contrast_of_a_tiny_hole_is_that_of_a_perfect_lens() -> None:
    """(2/π)(acos x − x√(1−x²)), x = s/2: the textbook transfer function [memory]."""
    s = np.linspace(0, 2.5, 101)
    x = np.minimum(s / 2, 1)
    np.testing.assert_allclose(contrast(1e-9, s), 2 / np.pi * (np.arccos(x) - x * np.sqrt(1 - x * x)), atol=1e-13)


def test_contrast_of_a_large_hole_nears_that_of_a_disc() -> None:
    q = np.linspace(0.01, 12, 200)
    off = [np.abs(contrast(n, q / (2 * np.pi * n)) - 2 * j1(q) / q).max() for n in (20, 50, 200, 399)]
    assert off[0] < 0.025
    np.testing.assert_array_less(off[1:], off[:-1])
    beyond = 2 * GEOMETRIC_FROM
    np.testing.assert_allclose(contrast(beyond, q / (2 * np.pi * beyond)), 2 * j1(q) / q, rtol=1e-12)


@pytest.mark.parametrize(("number", "tolerance"), [(20.0, 0.06), (200.0, 0.02), (2 * GEOMETRIC_FROM, 1e-12)])
def test_a_large_hole_throws_a_disc(number: float, tolerance: float) -> None:
    shadow_share = np.linspace(0, 1.3, 40)
    u = 2 * np.pi * number
    np.testing.assert_allclose(
        encircled_share(number, u * shadow_share), np.minimum(shadow_share, 1) ** 2, atol=tolerance
    )
    outside = relative_intensity(number, u * np.array([1.2, 1.5, 2.0]))
    assert (outside <= tolerance / 2).all()


def test_airy_rings_of_a_tiny_hole() -> None:
    """Dark rings at 3.8317, 7.0156, 10.1735, with 0.8378, 0.9099, 0.9376 of the light inside [memory]."""
    number = 0.01
    for zero, share in ((3.8317, 0.8378), (7.0156, 0.9099), (10.1735, 0.9376)):
        dark = minimize_scalar(
            lambda v: relative_intensity(number, v), bounds=(zero - 0.5, zero + 0.5), method="bounded"
        )
        assert dark.x == pytest.approx(zero, abs=2e-3)
        assert encircled_share(number, zero) == pytest.approx(share, abs=1e-4)


@pytest.mark.parametrize("number", [0.01, 0.5, 1.0, 6.0])
def test_all_the_light_arrives(number: float) -> None:
    """∫₀^V I v dv is the share that `encircled_share` has from the contrast, and what is left goes as 2/(πV)."""
    u, last = 2 * np.pi * number, 400.0
    node, weight = roots_legendre(800)
    v = last * (1 + node) / 2
    inside = (weight * v * relative_intensity(number, v)).sum() * last / 2 / (u * u / 2)
    assert inside == pytest.approx(float(encircled_share(number, last)), abs=1e-10)
    assert 1 - inside == pytest.approx(2 / (np.pi * last), rel=0.01)


@pytest.mark.parametrize("number", [0.02, 1.0, 12.0])
def test_encircled_share_is_the_integral_of_the_intensity(number: float) -> None:
    u = 2 * np.pi * number
    node, weight = roots_legendre(400)
    for last in (0.5 * u, u, 59.0, 61.0, 160.0):
        v = last * (1 + node) / 2
        integral = (weight * v * relative_intensity(number, v)).sum() * last / (u * u)
        assert encircled_share(number, last) == pytest.approx(integral, abs=1e-10)


@pytest.mark.parametrize("number", [0.05, 0.5, 1.0])
def test_contrast_is_the_transform_of_the_point_spread(number: float) -> None:
    """C(s) = ∫ I J₀(sv) v dv / (u²/2), cut off where what is left of the light is 5e-4."""
    u, last = 2 * np.pi * number, 1200.0
    node, weight = roots_legendre(2000)
    v = last * (1 + node) / 2
    light = weight * v * relative_intensity(number, v) * last / (u * u)
    s = np.array([0.0, 0.3, 0.9, 1.5])
    np.testing.assert_allclose(j0(s[:, None] * v) @ light, contrast(number, s), atol=6e-4)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(
    number=st.floats(1e-3, 200),
    reach=st.floats(0.1, 3000),
    count=st.sampled_from([1, 40, 256, 1500]),
    colours=st.sampled_from([1, 3, 31]),
)
def test_curves_agree_with_points(number: float, reach: float, count: int, colours: int) -> None:
    if count * colours * max(reach, number) > 3e6:
        count = 40
    ratios = BAND[:colours] / BAND[0]
    weights = BAND_WEIGHTS[:colours] / BAND_WEIGHTS[:colours].sum()
    places = np.sqrt(np.linspace(0, 1, count + 1)[1:])
    intensity = intensity_curve(number, reach, places, ratios, weights)
    points = [weights @ relative_intensity(number / ratios, reach * p / ratios) for p in places[::17]]
    np.testing.assert_allclose(intensity[::17], points, rtol=1e-8, atol=1e-11)
    s_reach = reach / 1000  # to past the cut-off, 2
    contrasts = contrast_curve(number, s_reach, places, ratios, weights)
    points = [weights @ contrast(number / ratios, s_reach * p * ratios) for p in places[::17]]
    np.testing.assert_allclose(contrasts[::17], points, atol=1e-11)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(number=st.floats(1e-6, 1e4), v=st.floats(0, 1e6), s=st.floats(0, 5))
def test_every_value_is_possible(number: float, v: float, s: float) -> None:
    if number < 20:  # beyond, the nodes grow many
        assert -1e-9 <= float(relative_intensity(number, v)) <= 4.001
        assert -1e-9 <= float(encircled_share(number, v)) <= 1 + 1e-9
    assert -0.2 < float(contrast(number, s)) <= 1 + 1e-12


@pytest.mark.parametrize("s_reach", [0.7, 2.0, 2.0000001, 2.4, 2.6])
@pytest.mark.parametrize("number", [0.01, 0.5, 1.0, 2.0])
def test_contrast_curve_near_and_past_the_cut_off(number: float, s_reach: float) -> None:
    even, ratios = np.linspace(0, 1, 256), BAND / BAND[0]
    points = contrast(number / ratios, s_reach * even[:, None] * ratios) @ BAND_WEIGHTS
    np.testing.assert_allclose(contrast_curve(number, s_reach, even, ratios, BAND_WEIGHTS), points, atol=1e-11)


def test_scalars_and_arrays_agree() -> None:
    number = np.array([[0.3], [1.0], [4.0]])
    v = np.array([0.0, 2.0, 30.0, 90.0])
    for function, place in ((relative_intensity, v), (encircled_share, v), (contrast, v / 60)):
        together = function(number, place)
        assert together.shape == (3, 4)
        one_by_one = [[float(function(n, p)) for p in place] for n in number[:, 0]]
        np.testing.assert_allclose(together, one_by_one, rtol=1e-10, atol=1e-12)


def test_light_never_rises_above_that_of_the_first_zone() -> None:
    """At N_F = 1 the hole is the first Fresnel zone: four times the open light in the middle [memory]."""
    number, share = np.meshgrid(np.linspace(0.05, 4, 60), np.linspace(0, 1.2, 40))
    assert relative_intensity(number, 2 * np.pi * number * share).max() <= 4 + 1e-9
