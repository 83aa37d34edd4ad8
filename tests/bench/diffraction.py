"""Point spread, contrast and line pairs of a round hole, against yardsticks measured in the same run.

uv run --with lightpipes python tests/bench/diffraction.py

Yardsticks: scipy's adaptive quadrature, radius by radius and all radii at once; FFT propagation of a 2048² field by
LightPipes; a Hankel transform of the sampled point spread. Ratios say how many times as fast as the yardstick. Errors
are against the adaptive quadrature at 1e-12, relative where the value is above 1e-4 of the greatest for intensities,
absolute for contrasts.
"""

import time
import warnings
from collections.abc import Callable, Iterator

import numpy as np
from figures import Figure, print_table
from numpy.polynomial.legendre import leggauss
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import IntegrationWarning, quad, quad_vec
from scipy.optimize import brentq
from scipy.special import j0

from optics.core.diffraction import contrast_curve, intensity_curve, relative_intensity
from optics.core.off_axis import line_geometry, line_pairs
from optics.core.sharpness import modulation_transfer, point_spread
from optics.core.spectral_bands import band_weights

Floats = NDArray[np.float64]

COMMAND = "uv run --with lightpipes python tests/bench/diffraction.py"
DISTANCE_MM = 100.0
WAVELENGTH_NM = 550.0
EVEN = np.linspace(0.0, 1.0, 256)
ONE = np.ones(1)


def best_of(call: Callable[[], object], seconds: float = 0.4) -> float:
    """The shortest of as many calls as fit into the time, of five at least."""
    call()
    took, end = [], time.perf_counter() + seconds
    while time.perf_counter() < end or len(took) < 5:
        start = time.perf_counter()
        call()
        took.append(time.perf_counter() - start)
    return min(took)


def worst(found: Floats, truth: Floats, *, relative: bool) -> float:
    if relative:
        light = truth > 1e-4 * truth.max()
        return float(np.abs(found[light] / truth[light] - 1).max())
    return float(np.abs(found - truth).max())


def row(name: str, seconds: float, yardstick: float, error: float | None = None, least: float | None = None) -> Figure:
    """How many times as fast as the yardstick; at least so many times where that is a goal."""
    said = [] if least is None else [f"≥ {least:g} × as fast"]
    said += [] if error is None else [f"error {error:.0e}"]
    ratio = yardstick / seconds
    met = None if least is None else ratio >= least
    return Figure(name, 1e6 * seconds, "µs", 1e6 * yardstick, ratio, ", ".join(said), met, COMMAND)


def against_one(name: str, many: float, one: float, most: float) -> Figure:
    """What many wavelengths take, of what one takes."""
    ratio = many / one
    return Figure(name, 1e6 * many, "µs", 1e6 * one, ratio, f"≤ {most:g} × one wavelength", ratio <= most, COMMAND)


def intensity_one_by_one(u: float, v: Floats) -> Floats:
    result = np.empty(v.shape)
    for i, x in enumerate(v):
        re = quad(lambda s, x=x: np.cos(u * s * s / 2) * j0(x * s) * s, 0, 1, epsabs=0, epsrel=1e-8)[0]
        im = quad(lambda s, x=x: np.sin(u * s * s / 2) * j0(x * s) * s, 0, 1, epsabs=0, epsrel=1e-8)[0]
        result[i] = u * u * (re * re + im * im)
    return result


def intensity_at_once(u: float, v: Floats, tolerance: float = 1e-8) -> Floats:
    integral, _ = quad_vec(
        lambda s: np.exp(0.5j * u * s * s) * j0(v * s) * s, 0, 1, epsabs=tolerance * 1e-3, epsrel=tolerance
    )
    return u * u * np.abs(integral) ** 2


def contrast_one_by_one(number: float, s: Floats, tolerance: float = 1e-9) -> Floats:
    def overlap(x: float, shift: float) -> float:
        return 4 / np.pi * np.sqrt(max(0.0, 1 - (x + shift / 2) ** 2)) * np.cos(2 * np.pi * number * shift * x)

    return np.array([quad(overlap, 0, 1 - c / 2, args=(c,), epsabs=tolerance, epsrel=tolerance)[0] for c in s])


def fft_intensity(diameter_mm: float, radius_mm: Floats) -> Floats | None:
    try:
        import LightPipes as lp  # noqa: N813, PLC0415
    except ImportError:
        return None
    size_mm, points = 8.0, 2048
    field = lp.Begin(size_mm * 1e-3, WAVELENGTH_NM * 1e-9, points)
    field = lp.CircAperture(field, diameter_mm / 2 * 1e-3)
    intensity = lp.Intensity(lp.Forvard(field, DISTANCE_MM * 1e-3), 0)
    middle = points // 2
    return np.interp(radius_mm, np.arange(middle) * size_mm / points, intensity[middle, middle:])


def bench_point_spread(number: float) -> Iterator[Figure]:
    u = 2 * np.pi * number
    diameter_mm = 2 * np.sqrt(number * WAVELENGTH_NM * 1e-6 * DISTANCE_MM)
    v = 2 * (u + 3.83) * EVEN
    radius_mm = v * WAVELENGTH_NM * 1e-6 * DISTANCE_MM / (np.pi * diameter_mm)
    hole = {"hole_diameter_mm": diameter_mm, "distance_mm": DISTANCE_MM, "radius_mm": radius_mm}
    truth = intensity_at_once(u, v, 1e-12)
    slow = best_of(lambda: intensity_one_by_one(u, v))
    what = f"point spread, 256 radii, N_F {number:g}"

    def curve() -> Floats:
        return intensity_curve(number, float(v[-1]), EVEN, ONE, ONE)

    def spread(wavelengths_nm: ArrayLike = WAVELENGTH_NM) -> Floats:
        return point_spread(**hole, wavelengths_nm=wavelengths_nm).relative_intensity

    mono = best_of(spread)
    yield row(f"{what}, beside quad", mono, slow, worst(spread(), truth, relative=True), 150)
    yield row(f"{what}, bare curve beside quad", best_of(curve), slow, worst(curve(), truth, relative=True))
    at_once = best_of(lambda: intensity_at_once(u, v))
    yield row(
        f"{what}, scipy quad_vec beside quad", at_once, slow, worst(intensity_at_once(u, v), truth, relative=True)
    )
    found = fft_intensity(diameter_mm, radius_mm)
    name = f"{what}, beside an FFT of 2048²"
    if found is None:
        yield Figure(name, float("nan"), goal="not measured: LightPipes is not installed here", command=COMMAND)
    else:
        yield row(name, mono, best_of(lambda: fft_intensity(diameter_mm, radius_mm), 4.0), least=1000)
    for count in (15, 31):
        wavelengths = np.linspace(400, 700, count)
        many = best_of(lambda wavelengths=wavelengths: spread(wavelengths))
        yield against_one(f"{what}, {count} wavelengths", many, mono, 8)


def bench_contrast(number: float) -> Iterator[Figure]:
    diameter_mm = 2 * np.sqrt(number * WAVELENGTH_NM * 1e-6 * DISTANCE_MM)
    s = 2 * EVEN
    frequency = s * diameter_mm / (2e-6 * WAVELENGTH_NM * DISTANCE_MM)
    hole = {"hole_diameter_mm": diameter_mm, "distance_mm": DISTANCE_MM, "frequency_cycles_per_mm": frequency}
    truth = contrast_one_by_one(number, s, 1e-12)
    what = f"contrast, 256 frequencies, N_F {number:g}"
    transforms = {}
    for samples in (2048, 16384):
        # sampled as finely as the point spread needs, so that the error is what is cut off: 2/(πv)
        node, weight = leggauss(64)
        v = (0.7 * 64 * (np.arange(samples // 64)[:, None] + (1 + node) / 2)).ravel()
        light = np.tile(0.35 * 64 * weight, samples // 64) * v * relative_intensity(number, v)
        light /= 2 * (np.pi * number) ** 2
        transforms[samples] = lambda v=v, light=light: np.concatenate(
            [j0(part[:, None] * v) @ light for part in s.reshape(16, -1)]
        )
    slow = best_of(transforms[16384])

    def curve() -> Floats:
        return contrast_curve(number, 2.0, EVEN, ONE, ONE)

    def transfer(wavelengths_nm: ArrayLike = WAVELENGTH_NM) -> Floats:
        return modulation_transfer(**hole, wavelengths_nm=wavelengths_nm).contrast

    mono, error = best_of(transfer), worst(transfer(), truth, relative=False)
    yield row(f"{what}, beside a Hankel transform of 16384 samples", mono, slow, error, 500)
    short = transforms[2048]
    yield row(f"{what}, beside one of 2048 samples, error {worst(short(), truth, relative=False):.0e}", mono,
              best_of(short), error)  # fmt: skip
    yield row(f"{what}, beside quad", mono, best_of(lambda: contrast_one_by_one(number, s)), error)
    yield row(f"{what}, bare curve beside the long transform", best_of(curve), slow,
              worst(curve(), truth, relative=False))  # fmt: skip
    for count in (15, 31):
        wavelengths = np.linspace(400, 700, count)
        many = best_of(lambda wavelengths=wavelengths: transfer(wavelengths))
        yield against_one(f"{what}, {count} wavelengths", many, mono, 8)


def bench_line_pairs() -> Iterator[Figure]:
    x = np.linspace(-50, 50, 50)
    diameters = np.linspace(0.2, 0.6, 20)[:, None]

    def lines(f_mm: float, offset_mm: float = 0.0) -> list[dict[str, Floats]]:
        across = np.stack([x, np.full_like(x, offset_mm), np.full_like(x, f_mm)], axis=-1)
        down = np.stack([np.zeros_like(x), x - offset_mm, np.full_like(x, f_mm)], axis=-1)
        return [
            {"s_mm": x, **vars(line_geometry(ray_mm=ray, film_normal=(0, 0, 1), line=line))}
            for ray, line in ((across, (1, 0, 0)), (down, (0, 1, 0)))
        ]

    def compare(offset_mm: float) -> None:
        for f_mm in (40, 60, 80, 100, 150, 200):
            for line in lines(f_mm, offset_mm):
                line_pairs(**line, hole_diameter_mm=diameters, **seven)

    def one_root() -> float:
        return brentq(lambda s: contrast_one_by_one(0.7, np.array([s]))[0] - 0.1, 0, 2, xtol=1e-9)

    bands = (band_weights(low_nm=400, high_nm=500, count=count) for count in (7, 15))
    seven, fifteen = ({"wavelengths_nm": band.wavelengths_nm, "weights": band.weights} for band in bands)
    root = best_of(one_root)
    one = best_of(lambda: line_pairs(**lines(60.0)[0], hole_diameter_mm=0.35, **fifteen))
    yield row("line pairs: 50 points, 15 wavelengths, beside brentq on quad", one, 50 * 15 * root)
    roots = 20 * 6 * 2 * 50 * 7
    start = time.perf_counter()
    compare(0.0)
    first = time.perf_counter() - start
    yield row("line pairs: 20 holes × 6 formats × 2 lines, 7 wavelengths, first time", first, roots * root)
    yield row("line pairs: the same again", best_of(lambda: compare(0.0)), roots * root)
    yield row("line pairs: the same, hole 20 mm off the middle", best_of(lambda: compare(20.0)), roots * root)


def measure() -> list[Figure]:
    with warnings.catch_warnings():  # the yardstick's own remarks on its tolerance near zeros
        warnings.simplefilter("ignore", IntegrationWarning)
        spreads = [figure for number in (1.0, 0.25) for figure in bench_point_spread(number)]
        return [*spreads, *bench_contrast(1.0), *bench_line_pairs()]


if __name__ == "__main__":
    print_table(measure())
