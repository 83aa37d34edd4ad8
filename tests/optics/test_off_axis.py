"""Sharpness off the axis against overlap integrals with the exact paths, and line counts against closed forms."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import roots_legendre

from optics.core.diffraction import contrast
from optics.core.faults import Impossible
from optics.core.off_axis import hole_along, line_geometry, line_pairs, off_axis_sharpness
from optics.core.sharpness import modulation_transfer, resolved_frequency
from optics.core.spectral_bands import band_weights

GREEN_MM = 550e-6


def contrast_by_exact_paths(
    *, diameter_mm: float, ray_mm: float, angle_rad: float, azimuth_rad: float, frequency: float, subject_mm: float
) -> complex:
    """The overlap of a tilted round hole with itself, displaced, in the plate's own plane.

    The phase is that of the whole path subject – hole – film, by Pythagoras, so that it knows nothing of ellipses,
    Fresnel numbers or skew. [derived]
    """
    radius, theta = diameter_mm / 2, angle_rad
    ray = np.array([np.sin(theta), 0.0, np.cos(theta)])
    across = np.array([np.cos(theta), 0.0, -np.sin(theta)])
    # detail of `frequency` square to the ray displaces the hole by λ·r·ν, seen along the ray
    seen = GREEN_MM * ray_mm * frequency * np.array([np.cos(azimuth_rad), np.sin(azimuth_rad)])
    shift = np.array([seen[0] / across[0], seen[1]])
    length = np.hypot(*shift)
    along = shift / length
    side = np.array([-along[1], along[0]])
    half = radius - length / 2
    node, weight = roots_legendre(80)
    # across the lens by sines, where its edge is a square root
    p, wp = half * np.sin(np.pi / 2 * node), half * weight * np.pi / 2 * np.cos(np.pi / 2 * node)
    q_end = np.sqrt(radius**2 - (np.abs(p) + length / 2) ** 2)
    q = q_end[:, None] * node
    area = wp[:, None] * q_end[:, None] * weight

    def path(sign: float) -> np.ndarray:
        place = (p + sign * length / 2)[..., None, None] * along + q[..., None] * side
        place = np.concatenate([place, np.zeros((*place.shape[:-1], 1))], axis=-1)
        to_film = np.linalg.norm(ray_mm * ray - place, axis=-1)
        if subject_mm == np.inf:
            return to_film + place @ ray
        return to_film + np.linalg.norm(place + subject_mm * ray, axis=-1)

    # the image's own place is the linear part of the path, which the transfer function does not count
    turn = 2 * np.pi / GREEN_MM * (path(1.0) - path(-1.0))
    return (area * np.exp(1j * turn)).sum() / (np.pi * radius**2)


@pytest.mark.parametrize("subject_mm", [np.inf, 250.0])
@pytest.mark.parametrize("azimuth_deg", [0.0, 30.0, 45.0, 70.0, 90.0])
@pytest.mark.parametrize("angle_deg", [0.0, 20.0, 45.0, 60.0])
def test_tilted_hole_against_exact_paths(angle_deg: float, azimuth_deg: float, subject_mm: float) -> None:
    theta, azimuth, ray_mm = np.radians(angle_deg), np.radians(azimuth_deg), 70.0 / np.cos(np.radians(angle_deg))
    diameter, skew = hole_along(hole_diameter_mm=0.5, plate_angle_rad=theta, azimuth_rad=azimuth)
    number = (diameter / 2) ** 2 / GREEN_MM * (1 / ray_mm + 1 / subject_mm)
    for s in (0.2, 0.7, 1.3):
        frequency = s * diameter / 2 / (GREEN_MM * ray_mm)
        exact = contrast_by_exact_paths(
            diameter_mm=0.5,
            ray_mm=ray_mm,
            angle_rad=theta,
            azimuth_rad=azimuth,
            frequency=frequency,
            subject_mm=subject_mm,
        )
        assert contrast(number, s, skew) == pytest.approx(exact.real, abs=2e-4)
        assert abs(exact.imag) < 2e-3 * np.sin(theta) + 1e-9  # the third-order path left out


def test_along_the_axes_of_the_ellipse() -> None:
    for azimuth, diameter in ((0.0, 0.5 * np.cos(0.7)), (np.pi / 2, 0.5)):
        found, skew = hole_along(hole_diameter_mm=0.5, plate_angle_rad=0.7, azimuth_rad=azimuth)
        assert found == pytest.approx(diameter)
        assert skew == 0


def test_on_the_axis_both_directions_are_the_round_hole() -> None:
    case = {"hole_diameter_mm": 0.4, "distance_mm": 100.0, "wavelengths_nm": [450.0, 550.0]}
    frequency = np.linspace(0, 6, 50)
    on_axis = modulation_transfer(**case, frequency_cycles_per_mm=frequency)
    result = off_axis_sharpness(**case, plate_angle_rad=0.0, frequency_cycles_per_mm=frequency)
    for direction in (result.tangential, result.radial):
        np.testing.assert_allclose(direction.contrast, on_axis.contrast, atol=1e-12)
        assert direction.mtf10_cycles_per_mm == pytest.approx(resolved_frequency(**case), rel=1e-8)
        assert direction.mtf50_cycles_per_mm == pytest.approx(resolved_frequency(**case, at_contrast=0.5), rel=1e-8)


def test_corner_of_a_flat_back() -> None:
    """Radial: the whole hole at f/cos θ; tangential: cos θ narrower, and drawn 1/cos θ longer on the film."""
    theta, frequency = np.radians(40), np.linspace(0, 4, 30)
    case = {"distance_mm": 90 / np.cos(theta), "wavelengths_nm": 500.0}
    result = off_axis_sharpness(
        **case,
        hole_diameter_mm=0.4,
        plate_angle_rad=theta,
        film_angle_rad=theta,
        frequency_cycles_per_mm=frequency,
    )
    radial = modulation_transfer(**case, hole_diameter_mm=0.4, frequency_cycles_per_mm=frequency)
    narrow = {**case, "hole_diameter_mm": 0.4 * np.cos(theta)}
    tangential = modulation_transfer(**narrow, frequency_cycles_per_mm=frequency / np.cos(theta))
    np.testing.assert_allclose(result.radial.contrast, radial.contrast, atol=1e-12)
    np.testing.assert_allclose(result.tangential.contrast, tangential.contrast, atol=1e-12)
    expected = resolved_frequency(**narrow) * np.cos(theta)
    assert result.tangential.mtf10_cycles_per_mm == pytest.approx(expected, rel=1e-8)
    assert "ellipse" in result.approximation
    assert result.flags == ()


def test_geometry_of_lines_on_a_flat_back() -> None:
    x = np.linspace(-60, 60, 7)
    ray = np.stack([x, np.zeros(7), np.full(7, 80.0)], axis=-1)
    theta = np.arctan(np.abs(x) / 80)
    along = line_geometry(ray_mm=ray, film_normal=(0, 0, 1), line=(1, 0, 0))
    np.testing.assert_allclose(along.distance_mm, 80 / np.cos(theta))
    np.testing.assert_allclose(along.plate_angle_rad, theta, atol=1e-7)
    np.testing.assert_allclose(along.film_angle_rad, theta, atol=1e-7)
    np.testing.assert_allclose(along.azimuth_rad, 0, atol=1e-12)
    across = line_geometry(ray_mm=ray, film_normal=(0, 0, -1), line=(0, 1, 0))
    np.testing.assert_allclose(across.film_angle_rad, 0, atol=1e-7)
    np.testing.assert_allclose(across.azimuth_rad[x != 0], np.pi / 2)


def test_geometry_round_a_tin() -> None:
    """Hole in the wall: seen δ off the axis the film of a tin leans by δ too, and the ray is 2R cos δ long."""
    delta = np.radians([-35.0, 0.0, 20.0])
    ray = 2 * 50 * np.cos(delta)[:, None] * np.stack([np.sin(delta), np.zeros(3), np.cos(delta)], axis=-1)
    middle = np.array([0.0, 0.0, 50.0])
    normal = (ray - middle) / 50
    line = np.stack([normal[:, 2], np.zeros(3), -normal[:, 0]], axis=-1)
    found = line_geometry(ray_mm=ray, film_normal=normal, line=line)
    np.testing.assert_allclose(found.distance_mm, 100 * np.cos(delta))
    np.testing.assert_allclose(found.plate_angle_rad, np.abs(delta), atol=1e-7)
    np.testing.assert_allclose(found.film_angle_rad, np.abs(delta), atol=1e-7)


@settings(derandomize=True, max_examples=40, deadline=None)
@given(x=st.floats(-60, 60), y=st.floats(-60, 60), turn=st.floats(0, 3.1))
def test_geometry_of_any_line_by_projecting_bars(x: float, y: float, turn: float) -> None:
    """Bars square to a line in a flat film, cast along the ray on a plane square to it, by brute projection."""
    ray, line = np.array([x, y, 70.0]), np.array([np.cos(turn), np.sin(turn), 0.0])
    found = line_geometry(ray_mm=ray, film_normal=(0, 0, 1), line=line)
    along = ray / np.linalg.norm(ray)
    bar, step = np.cross([0, 0, 1.0], line), line

    def seen(vector: np.ndarray) -> np.ndarray:
        return vector - (vector @ along) * along

    apart = seen(step) - (seen(step) @ seen(bar)) / (seen(bar) @ seen(bar)) * seen(bar)
    assert np.cos(found.film_angle_rad) == pytest.approx(np.linalg.norm(apart), abs=1e-9)
    tangential = seen(np.array([0, 0, 1.0]))
    if np.linalg.norm(tangential) > 1e-3:
        cosine = abs(apart @ tangential) / np.linalg.norm(apart) / np.linalg.norm(tangential)
        assert np.cos(found.azimuth_rad) == pytest.approx(cosine, abs=1e-6)


def flat_line(half_mm: float, f_mm: float, count: int) -> dict:
    x = np.linspace(-half_mm, half_mm, count)
    theta = np.arctan(x / f_mm)
    return {"s_mm": x, "distance_mm": f_mm / np.cos(theta), "plate_angle_rad": theta, "film_angle_rad": theta}


def test_line_pairs_of_a_tiny_hole_on_a_flat_back() -> None:
    """N_F → 0: ν = x₁₀·d cos³θ/(λf), and ∫ν dx = x₁₀·(d/λ)·2 sin θ_max, x₁₀ = 0.80538 [derived]."""
    line = flat_line(60.0, 80.0, 400)
    found = line_pairs(**line, hole_diameter_mm=0.02, wavelengths_nm=550.0)
    assert found.count == pytest.approx(0.80538 * 0.02 / GREEN_MM * 2 * 0.6, rel=1e-4)
    fifty = line_pairs(**flat_line(60.0, 80.0, 50), hole_diameter_mm=0.02, wavelengths_nm=550.0)
    assert fifty.count == pytest.approx(found.count, rel=1e-3)


def test_line_pairs_on_an_arc_about_the_hole() -> None:
    """Film square to the ray all along, at one distance: only the hole's narrowing tells."""
    angle = np.linspace(-0.8, 0.8, 81)
    case = {"distance_mm": 60.0, "wavelengths_nm": 500.0}
    found = line_pairs(s_mm=60 * angle, plate_angle_rad=angle, film_angle_rad=0.0, hole_diameter_mm=0.3, **case)
    local = resolved_frequency(hole_diameter_mm=0.3 * np.cos(angle), **case)
    np.testing.assert_allclose(found.resolved_cycles_per_mm, local, rtol=1e-8)
    assert found.count == pytest.approx(np.trapezoid(local, 60 * angle), rel=1e-8)


def test_line_pairs_of_many_holes_at_once() -> None:
    band = band_weights(low_nm=400, high_nm=500)
    light = {"wavelengths_nm": band.wavelengths_nm, "weights": band.weights}
    diameters = np.linspace(0.2, 0.6, 20)[:, None]
    line = flat_line(50.0, 60.0, 51)
    together = line_pairs(**line, hole_diameter_mm=diameters, **light)
    assert together.count.shape == (20,)
    assert together.resolved_cycles_per_mm.shape == (20, 51)
    one_by_one = [line_pairs(**line, hole_diameter_mm=d, **light).count for d in diameters[:, 0]]
    np.testing.assert_allclose(together.count, one_by_one, rtol=2e-6)
    assert np.ndim(one_by_one[0]) == 0


def test_a_line_beside_the_hole_resolves_in_between() -> None:
    """A line that passes the axis at a distance: between what a leaning-along and a leaning-across ray resolve."""
    x = np.linspace(-40, 40, 21)
    ray = np.stack([x, np.full(21, 30.0), np.full(21, 70.0)], axis=-1)
    geometry = vars(line_geometry(ray_mm=ray, film_normal=(0, 0, 1), line=(1, 0, 0)))
    case = {"s_mm": x, "hole_diameter_mm": 0.35, "wavelengths_nm": 500.0}
    local = line_pairs(**case, **geometry).resolved_cycles_per_mm
    limits = [line_pairs(**case, **{**geometry, "azimuth_rad": a}).resolved_cycles_per_mm for a in (0.0, np.pi / 2)]
    assert (local <= np.maximum(*limits) + 1e-6).all()
    assert (local >= np.minimum(*limits) * 0.97).all()


def test_doubts_and_darkness() -> None:
    steep = line_pairs(**flat_line(200.0, 80.0, 50), hole_diameter_mm=0.3, wavelengths_nm=550.0)
    assert {flag.code for flag in steep.flags} == {"far_from_plate_normal", "far_from_film_normal"}
    dark = line_pairs(
        s_mm=[0.0, 10.0, 20.0],
        distance_mm=60.0,
        plate_angle_rad=[0.0, 1.0, 1.6],
        film_angle_rad=0.0,
        hole_diameter_mm=0.3,
        wavelengths_nm=550.0,
    )
    assert dark.resolved_cycles_per_mm[2] == 0
    assert [flag.code for flag in dark.flags] == ["line_partly_dark"]


def test_impossible_lines_are_refused() -> None:
    line = flat_line(50.0, 60.0, 5)
    with pytest.raises(Impossible, match="farther along"):
        line_pairs(**{**line, "s_mm": line["s_mm"][::-1]}, hole_diameter_mm=0.3, wavelengths_nm=550.0)
    with pytest.raises(Impossible, match="less than 90°"):
        off_axis_sharpness(
            hole_diameter_mm=0.3,
            distance_mm=60.0,
            plate_angle_rad=np.pi / 2,
            wavelengths_nm=550.0,
            frequency_cycles_per_mm=[1.0],
        )
