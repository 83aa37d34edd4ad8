"""Sharpness on the axis: units, bands, figures and doubts. The physics beneath is in tests/physics."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import j1, roots_legendre

from optics.core.diffraction import contrast, relative_intensity
from optics.core.faults import Impossible
from optics.core.resolution import resolved_detail
from optics.core.sharpness import (
    cutoff_frequency,
    encircled_energy,
    fresnel_number,
    modulation_transfer,
    point_spread,
    resolved_frequency,
    sharpness,
)
from optics.core.spectral_bands import band_weights, spectral_band

HOLE = {"hole_diameter_mm": 0.4, "distance_mm": 100.0, "wavelengths_nm": 550.0}
BLUE = {"wavelengths_nm": [420.0, 450.0, 490.0], "weights": [1.0, 2.0, 0.5]}


def codes(result) -> set[str]:
    return {flag.code for flag in result.flags}


def test_fresnel_number_of_the_first_zone_rule() -> None:
    """d = 2√(λF) makes N_F = 1; 0.46904 mm for 100 mm and 550 nm, SCIENCE §1 [memory]."""
    assert fresnel_number(hole_diameter_mm=0.46904, distance_mm=100, wavelength_nm=550) == pytest.approx(1, abs=1e-4)
    near = fresnel_number(hole_diameter_mm=0.46904, distance_mm=100, wavelength_nm=550, subject_distance_mm=100)
    assert near == pytest.approx(2, abs=1e-4)


def test_point_spread_in_units() -> None:
    number, v_per_mm = 0.2**2 / (550e-6 * 100), 2 * np.pi * 0.2 / (550e-6 * 100)
    radius = np.linspace(0, 1, 256)
    spread = point_spread(**HOLE, radius_mm=radius)
    np.testing.assert_allclose(
        spread.relative_intensity, relative_intensity(number, v_per_mm * radius), rtol=1e-9, atol=1e-12
    )
    assert spread.relative_intensity[0] == pytest.approx(4 * np.sin(np.pi * number / 2) ** 2)
    assert spread.flags == ()


def test_contrast_in_units() -> None:
    """s = νλf/a: 20 cycles per mm here is s = 5.5e-4·100·ν/0.2."""
    frequency = np.linspace(0, 9, 100)
    transfer = modulation_transfer(**HOLE, frequency_cycles_per_mm=frequency)
    expected = contrast(0.2**2 / (550e-6 * 100), frequency * 550e-6 * 100 / 0.2)
    np.testing.assert_allclose(transfer.contrast, expected, atol=1e-11)
    cutoff = cutoff_frequency(hole_diameter_mm=0.4, distance_mm=100, wavelength_nm=550)
    assert cutoff == pytest.approx(0.4 / 0.055)
    assert modulation_transfer(**HOLE, frequency_cycles_per_mm=1.0001 * cutoff).contrast == 0


@pytest.mark.parametrize("subject_distance_mm", [np.inf, 300.0, 60.0])
def test_share_per_mm2_is_all_the_light_and_the_encircled_energy(subject_distance_mm: float) -> None:
    node, weight = roots_legendre(300)
    for last in (0.15, 0.6, 3.0):
        radius = last * (1 + node) / 2
        spread = point_spread(**HOLE, subject_distance_mm=subject_distance_mm, radius_mm=radius)
        inside = (weight * spread.share_per_mm2 * 2 * np.pi * radius).sum() * last / 2
        share = encircled_energy(**HOLE, subject_distance_mm=subject_distance_mm, radius_mm=last)
        assert share == pytest.approx(inside, abs=1e-9)


@pytest.mark.parametrize("subject_distance_mm", [np.inf, 500.0])
def test_a_large_hole_shows_its_plain_shadow(subject_distance_mm: float) -> None:
    """2J₁(q)/q with q = πdν(1 + f/g), SCIENCE §2 [derived]."""
    frequency = np.linspace(0.01, 0.6, 50)
    q = np.pi * 4.0 * frequency * (1 + 100 / subject_distance_mm)
    transfer = modulation_transfer(
        hole_diameter_mm=4.0,
        distance_mm=100.0,
        wavelengths_nm=550.0,
        subject_distance_mm=subject_distance_mm,
        frequency_cycles_per_mm=frequency,
    )
    np.testing.assert_allclose(transfer.contrast, 2 * j1(q) / q, atol=0.01)


@settings(derandomize=True, max_examples=40, deadline=None)
@given(scale=st.floats(0.01, 100), diameter=st.floats(0.1, 2), subject=st.floats(50, 1e5))
def test_scaling_all_lengths_scales_the_picture(scale: float, diameter: float, subject: float) -> None:
    """Lengths times k with the wavelength too; or hole and radii times √k with the distances times k."""
    radius = np.array([0.0, 0.1, 0.5, 1.0])

    def spread(across: float, along: float, wave: float) -> np.ndarray:
        return point_spread(
            hole_diameter_mm=diameter * across,
            distance_mm=100 * along,
            wavelengths_nm=np.array([450.0, 550.0]) * wave,
            subject_distance_mm=subject * along,
            radius_mm=radius * across,
        ).relative_intensity

    once = spread(1, 1, 1)
    np.testing.assert_allclose(spread(scale, scale, scale), once, rtol=1e-7, atol=1e-10)
    np.testing.assert_allclose(spread(np.sqrt(scale), scale, 1), once, rtol=1e-7, atol=1e-10)


def test_a_band_is_the_weighted_mean_of_its_wavelengths() -> None:
    case = {"hole_diameter_mm": 0.35, "distance_mm": 80.0, "subject_distance_mm": 900.0}
    shares = np.array(BLUE["weights"]) / 3.5
    radius, frequency = np.linspace(0, 1, 300), np.linspace(0, 8, 300)
    each = [point_spread(**case, wavelengths_nm=w, radius_mm=radius) for w in BLUE["wavelengths_nm"]]
    both = point_spread(**case, **BLUE, radius_mm=radius)
    mean = shares @ [spread.relative_intensity for spread in each]
    np.testing.assert_allclose(both.relative_intensity, mean, atol=1e-12)
    np.testing.assert_allclose(both.share_per_mm2, shares @ [spread.share_per_mm2 for spread in each], atol=1e-10)
    each = [
        modulation_transfer(**case, wavelengths_nm=w, frequency_cycles_per_mm=frequency) for w in BLUE["wavelengths_nm"]
    ]
    both = modulation_transfer(**case, **BLUE, frequency_cycles_per_mm=frequency)
    np.testing.assert_allclose(both.contrast, shares @ [transfer.contrast for transfer in each], atol=1e-11)
    each = [encircled_energy(**case, wavelengths_nm=w, radius_mm=radius) for w in BLUE["wavelengths_nm"]]
    np.testing.assert_allclose(encircled_energy(**case, **BLUE, radius_mm=radius), shares @ each, atol=1e-12)


def test_scalars_in_scalars_out_and_arrays_agree() -> None:
    diameters, distances = np.array([[0.2], [0.5]]), np.array([50.0, 100.0, 150.0])
    for function, place in (
        (lambda **k: point_spread(**k).relative_intensity, {"radius_mm": 0.2}),
        (encircled_energy, {"radius_mm": 0.2}),
        (lambda **k: modulation_transfer(**k).contrast, {"frequency_cycles_per_mm": 1.5}),
        (resolved_frequency, {}),
    ):
        together = function(hole_diameter_mm=diameters, distance_mm=distances, **BLUE, **place)
        assert together.shape == (2, 3)
        for (i, j), value in np.ndenumerate(together):
            one = function(hole_diameter_mm=diameters[i, 0], distance_mm=distances[j], **BLUE, **place)
            assert np.ndim(one) == 0
            assert one == pytest.approx(value, rel=1e-8)


@pytest.mark.parametrize("diameter", [0.05, 0.2, 0.4, 0.45, 0.47, 0.6, 2.0, 6.0])
@pytest.mark.parametrize("level", [0.5, 0.1])
def test_resolved_frequency_is_the_first_fall_to_the_level(diameter: float, level: float) -> None:
    case = {"hole_diameter_mm": diameter, "distance_mm": 100.0, **BLUE}
    resolved = resolved_frequency(**case, at_contrast=level)
    assert modulation_transfer(**case, frequency_cycles_per_mm=resolved).contrast == pytest.approx(level, abs=1e-9)
    before = modulation_transfer(**case, frequency_cycles_per_mm=np.linspace(0, 0.9999 * resolved, 2000))
    assert before.contrast.min() > level


def test_a_perfect_lens_resolves_what_its_aperture_allows() -> None:
    """For N_F → 0: (2/π)(acos x − x√(1−x²)) = 0.1 at x = 0.8054 of the cut-off, 0.5 at 0.4040 [derived]."""
    case = {"hole_diameter_mm": 0.02, "distance_mm": 1000.0, "wavelengths_nm": 550.0}
    cutoff = cutoff_frequency(hole_diameter_mm=0.02, distance_mm=1000.0, wavelength_nm=550.0)
    for level in (0.1, 0.5):
        x = resolved_frequency(**case, at_contrast=level) / cutoff
        assert 2 / np.pi * (np.arccos(x) - x * np.sqrt(1 - x * x)) == pytest.approx(level, abs=1e-5)
    assert x == pytest.approx(0.4040, abs=1e-4)


@settings(derandomize=True, max_examples=40, deadline=None)
@given(
    numbers=st.floats(0.1, 8),
    wavelengths=st.lists(st.floats(1, 3), min_size=1, max_size=4),
    data=st.data(),
)
def test_contrast_once_below_a_tenth_stays_below(numbers: float, wavelengths: list[float], data: st.DataObject) -> None:
    """What the search for the first fall relies on, for any weights and wavelengths up to a factor of three."""
    ratios = np.array(wavelengths) / min(wavelengths)
    weights = np.array(data.draw(st.lists(st.floats(0.01, 1), min_size=len(ratios), max_size=len(ratios))))
    weights /= weights.sum()
    s = np.linspace(0, 2, 800)
    mean = contrast(numbers / ratios, s[:, None] * ratios) @ weights
    below = mean < 0.1
    assert below[np.argmax(below) :].all()
    assert resolved_detail(numbers, 0.1, ratios, weights) == pytest.approx(s[np.argmax(below)], abs=0.0026)


@pytest.mark.parametrize("level", [0.1, 0.3, 0.5])
def test_the_kept_table_agrees_with_the_search(level: float) -> None:
    band = band_weights(low_nm=400, high_nm=560)
    numbers = np.geomspace(2e-3, 200, 1200)
    together = resolved_detail(numbers, level, band.ratios, band.weights)
    separate = resolved_detail(numbers[::5], level, band.ratios, band.weights)
    np.testing.assert_allclose(together[::5], separate, rtol=1e-5)


def test_sharpness_gives_it_all() -> None:
    result = sharpness(**HOLE)
    spread, transfer = result.point_spread, result.modulation_transfer
    assert spread.radius_mm.shape == spread.relative_intensity.shape == (256,)
    assert transfer.frequency_cycles_per_mm.shape == transfer.contrast.shape == (256,)
    assert spread.radius_mm[0] == transfer.frequency_cycles_per_mm[0] == 0
    assert transfer.contrast[0] == pytest.approx(1, abs=1e-12)
    assert transfer.contrast[-1] == pytest.approx(0, abs=1e-12)
    assert encircled_energy(**HOLE, radius_mm=spread.radius_mm[-1]) > 0.93
    assert result.mtf50_cycles_per_mm == resolved_frequency(**HOLE, at_contrast=0.5)
    assert result.mtf10_cycles_per_mm == resolved_frequency(**HOLE)
    assert "Fresnel" in result.approximation
    assert result.flags == ()


@pytest.mark.parametrize(
    ("case", "code"),
    [
        ({"hole_diameter_mm": 0.8}, "spurious_resolution"),
        ({"subject_distance_mm": 60.0}, "subject_closer_than_film"),
        ({"hole_diameter_mm": 3.0, "distance_mm": 20.0}, "hole_wide_for_distance"),
        ({"hole_diameter_mm": 0.005}, "hole_near_wavelength"),
        ({"hole_diameter_mm": 0.005}, "radius_wide"),
        ({"hole_diameter_mm": 10.0}, "geometric_shadow"),
        ({"hole_diameter_mm": 0.455}, "mtf10_on_plateau"),
    ],
)
def test_doubts_are_flagged(case: dict, code: str) -> None:
    result = sharpness(**{**HOLE, **case})
    assert code in codes(result)
    assert len(codes(result)) == len(result.flags)


@pytest.mark.parametrize(
    ("case", "field"),
    [
        ({"hole_diameter_mm": 0.0}, "hole_diameter"),
        ({"hole_diameter_mm": np.nan}, "hole_diameter"),
        ({"distance_mm": np.inf}, "distance"),
        ({"distance_mm": -1.0}, "distance"),
        ({"subject_distance_mm": 0.0}, "subject_distance"),
        ({"wavelengths_nm": []}, "wavelengths"),
        ({"wavelengths_nm": [550.0, np.inf]}, "wavelengths"),
        ({"wavelengths_nm": [-550.0]}, "wavelengths"),
        ({"wavelengths_nm": [[550.0]]}, "wavelengths"),
        ({"wavelengths_nm": [300.0, 1000.0]}, "wavelengths"),
        ({"weights": [1.0, 2.0]}, "weights"),
        ({"weights": [-1.0]}, "weights"),
        ({"weights": [0.0]}, "weights"),
        ({"radius_mm": [-0.1]}, "radius"),
        ({"radius_mm": np.nan}, "radius"),
    ],
)
def test_impossible_cases_are_refused(case: dict, field: str) -> None:
    with pytest.raises(Impossible) as fault:
        point_spread(**{**HOLE, "radius_mm": 0.1, **case})
    assert fault.value.field == field


def test_impossible_frequency_and_level_are_refused() -> None:
    with pytest.raises(Impossible, match="zero or more"):
        modulation_transfer(**HOLE, frequency_cycles_per_mm=[-1.0])
    with pytest.raises(Impossible, match=r"between 0\.1 and 0\.9"):
        resolved_frequency(**HOLE, at_contrast=0.05)
    with pytest.raises(Impossible, match="upper end"):
        band_weights(low_nm=500, high_nm=400)


def test_band_weights_follow_planck() -> None:
    """Wien: the power per nm of a black body of 5500 K peaks at 2 897 771.955 nm·K / 5500 K = 526.87 nm [read: SI]."""
    wide = band_weights(low_nm=400, high_nm=660, count=200)
    _, even = np.polynomial.legendre.leggauss(200)
    power = wide.weights / even
    assert wide.wavelengths_nm[np.argmax(power)] == pytest.approx(526.87, abs=1.5)
    fit = np.polynomial.Chebyshev.fit(wide.wavelengths_nm, power, 12).deriv()
    assert fit.roots()[np.abs(fit.roots() - 526.87).argmin()].real == pytest.approx(526.87, abs=0.01)
    # λ⁻⁵/(exp(c₂/λT) − 1) at 400 and 660 nm, c₂ = 14 387 768.77 nm·K
    ratio = (660 / 400) ** 5 * (np.exp(14387768.77 / 660 / 5500) - 1) / (np.exp(14387768.77 / 400 / 5500) - 1)
    ends = np.polynomial.Chebyshev.fit(wide.wavelengths_nm, power, 12)(np.array([400.0, 660.0]))
    assert ends[0] / ends[1] == pytest.approx(ratio, rel=1e-8)


@pytest.mark.parametrize(("low_nm", "high_nm"), [(400.0, 500.0), (400.0, 660.0)])
def test_seven_wavelengths_do(low_nm: float, high_nm: float) -> None:
    few, many = band_weights(low_nm=low_nm, high_nm=high_nm), band_weights(low_nm=low_nm, high_nm=high_nm, count=60)
    assert few.weights.sum() == pytest.approx(1)
    case = {"hole_diameter_mm": np.array([0.2, 0.4, 0.6, 0.75]), "distance_mm": 100.0}
    resolved = [
        resolved_frequency(**case, wavelengths_nm=band.wavelengths_nm, weights=band.weights) for band in (few, many)
    ]
    np.testing.assert_allclose(resolved[0], resolved[1], rtol=1e-4)


def test_equal_weights_if_none_are_given() -> None:
    assert spectral_band([400, 500]).weights.tolist() == [0.5, 0.5]
    assert spectral_band(550.0).ratios.tolist() == [1.0]
