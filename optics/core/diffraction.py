"""Diffraction of a round hole: scalar theory, Fresnel's approximation, free of units.

Two numbers say everything about a round hole and one wavelength λ. With the hole's radius a, the hole-to-film
distance f, the subject-to-hole distance g and 1/F = 1/f + 1/g:

    Fresnel number      N_F = a²/(λF), and u = 2πN_F
    place on the film   v = 2πaρ/(λf), ρ being the distance from the geometric image point
    detail on the film  s = νλf/a, ν being a spatial frequency on the film; the cut-off is s = 2

`relative_intensity`, `encircled_share` and `contrast` take arrays of any shape. `intensity_curve` and
`contrast_curve` give the same for one hole along a whole curve and over a band of wavelengths, much faster.

Stops being valid where Fresnel's approximation does (see `sharpness.hole_scales`), and for holes only a few
wavelengths wide, where the material of the plate matters. Above `GEOMETRIC_FROM` the geometric shadow is
returned instead.

Sources: M. Born and E. Wolf, Principles of Optics, §8.8 [memory]; energy outside the shadow: E. Wolf,
Proc. R. Soc. A 204, 533 (1951) [memory]; contrast as an overlap integral: H. H. Hopkins, Proc. R. Soc. A 231,
91 (1955) [memory]. All are checked against independent quadrature in the tests.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import j0, j1, roots_jacobi, roots_legendre

Floats = NDArray[np.float64]

#: Fresnel number above which the geometric shadow stands in: the encircled share is then within 0.013 of it, the
#: contrast within 0.002, and the hole is millimetres across.
GEOMETRIC_FROM = 400.0
#: From this v on, and outside twice the shadow, Lommel's series converges within orders below v.
_FAR = 60.0


def relative_intensity(fresnel_number: ArrayLike, v: ArrayLike) -> Floats:
    """Return I/I_free, the intensity relative to that at the same place with the plate taken away.

    I/I_free = |u ∫₀¹ exp(ius²/2) J₀(vs) s ds|², exact within the scalar Fresnel theory: absolute error below
    1e-10, relative error below 1e-8 away from dark rings. `fresnel_number` (> 0) and `v` (≥ 0) broadcast.
    """
    number, v = np.asarray(fresnel_number, dtype=np.float64), np.asarray(v, dtype=np.float64)
    u = 2 * np.pi * _diffracting(number)
    far = v > np.maximum(2 * u, _FAR)
    intensity = np.array(_intensity_near(u, np.where(far, 0.0, v)))
    if far.any():
        u, v = np.broadcast_arrays(u, v)
        intensity[far] = _intensity_far(u[far], v[far])
    if np.any(number > GEOMETRIC_FROM):
        intensity = np.where(number > GEOMETRIC_FROM, v <= 2 * np.pi * number, intensity)
    return intensity


def encircled_share(fresnel_number: ArrayLike, v: ArrayLike) -> Floats:
    """Return the share (0–1) of the light through the hole that falls within the circle `v`.

    The share is ∫₀ᵛ I v dv / (u²/2). Near the shadow it comes from the contrast C,
    share = v ∫₀² C(s) J₁(sv) ds; far outside from Wolf's series. Absolute error below 1e-10. Broadcasts.
    """
    number, v = np.asarray(fresnel_number, dtype=np.float64), np.asarray(v, dtype=np.float64)
    u = 2 * np.pi * _diffracting(number)
    far = v > np.maximum(2 * u, _FAR)
    share = np.array(_share_near(u, np.where(far, 0.0, v)))
    if far.any():
        u, v = np.broadcast_arrays(u, v)
        share[far] = _share_far(u[far], v[far])
    if np.any(number > GEOMETRIC_FROM):
        shadow = np.minimum(1.0, v / (2 * np.pi * number)) ** 2
        share = np.where(number > GEOMETRIC_FROM, shadow, share)
    return share


def contrast(fresnel_number: ArrayLike, s: ArrayLike, skew: ArrayLike = 0.0) -> Floats:
    """Return the optical transfer function: image contrast over subject contrast, real, 1 at s = 0.

    Negative values are reversed contrast (spurious resolution): light bars print where dark ones belong.

    C(s) = (4/π) ∫₀^{1−s/2} √(1−(x+s/2)²) cos(2πN_F s x) dx, zero from s = 2 on. Absolute error below 1e-11.
    `fresnel_number` (> 0), `s` (≥ 0) and `skew` broadcast. `skew` is 0 for a round hole. Along a direction
    between the axes of an elliptical hole the phase also runs across the overlap of the two displaced holes,
    `skew` times as fast as along it (see `off_axis.hole_along`).
    """
    number, s = np.asarray(fresnel_number, dtype=np.float64), np.asarray(s, dtype=np.float64)
    h = np.maximum(1 - s / 2, 0.0)
    turn = 2 * np.pi * _diffracting(number) * np.minimum(s, 2.0)
    result = h * np.sqrt(h) * _overlap(turn, h, turn * skew)
    if np.any(number > GEOMETRIC_FROM):
        result = np.where(number > GEOMETRIC_FROM, _geometric_contrast(number, s), result)
    return result


def intensity_curve(
    fresnel_number: float, v_reach: float, positions: Floats, wavelength_ratios: Floats, weights: Floats
) -> Floats:
    """Return `relative_intensity` of one hole along a radius, averaged over a band of wavelengths.

    `fresnel_number` and `v_reach`, the `v` of the outermost radius, are those of the shortest wavelength;
    `positions` (R,) are the radii as shares (0–1) of the outermost one; `wavelength_ratios` (W,) (≥ 1) the
    wavelengths in terms of the shortest; `weights` (W,) sum to 1. Shape (R,); no loss of accuracy.

    The amplitude is an even, band-limited function of the radius, so it is found on Chebyshev points in its
    square, with one table of J₀ for all wavelengths, and carried to the radii by matrices that depend only on
    `positions` and `wavelength_ratios` and are kept.
    """
    u = 2 * np.pi * fresnel_number / wavelength_ratios[:, None]
    points = _count(v_reach / 2, 8, 2.0)
    if 2 * points >= len(positions) or fresnel_number > GEOMETRIC_FROM:
        v = v_reach * positions / wavelength_ratios[:, None]
        return weights @ relative_intensity(fresnel_number / wavelength_ratios[:, None], v)
    t, factors = _amplitude_rule(u, v_reach)
    x, _ = _chebyshev(points)
    amplitude = np.array((factors.real, factors.imag)) @ j0(v_reach * np.sqrt(t[:, None] * x))
    if len(wavelength_ratios) > 1:
        shrunk = _shrinking(points, wavelength_ratios.tobytes())
        amplitude = (amplitude[:, :, None, :] @ shrunk)[:, :, 0, :]
    amplitude = amplitude @ _interpolation(points, (positions * positions).tobytes())
    amplitude *= amplitude
    return weights @ (amplitude[0] + amplitude[1])


def contrast_curve(
    fresnel_number: float, s_reach: float, positions: Floats, wavelength_ratios: Floats, weights: Floats
) -> Floats:
    """Return `contrast` of one hole along a range of frequencies, averaged over a band of wavelengths.

    As `intensity_curve`, `s_reach` being the `s` of the highest frequency for the shortest wavelength and
    `positions` the frequencies as shares (0–1) of the highest. All but the factor h^{3/2} of the overlap
    integral is smooth in the frequency, past the cut-off too, and is what the Chebyshev points carry.
    """
    s = s_reach * positions * wavelength_ratios[:, None]
    reach = float(wavelength_ratios.max()) * s_reach
    points = _count(np.pi * fresnel_number * s_reach * max(1.0, reach - 1), 14, 2.4)
    if 2 * points >= len(positions) or s_reach > 2.5 or fresnel_number > GEOMETRIC_FROM:
        return weights @ contrast(fresnel_number / wavelength_ratios[:, None], s)
    sampled = s_reach * _chebyshev(points)[0]
    smooth = _overlap(2 * np.pi * fresnel_number * sampled, 1 - sampled * wavelength_ratios[:, None] / 2, 0.0)
    h = np.maximum(1 - s / 2, 0.0)
    return weights @ (h * np.sqrt(h) * (smooth @ _interpolation(points, positions.tobytes())))


def _diffracting(number: Floats) -> Floats:
    """The Fresnel numbers, with some small one where the geometric shadow is going to stand in."""
    return np.where(number > GEOMETRIC_FROM, 1.0, number)


def _amplitude_rule(u: Floats, widest: float) -> tuple[Floats, NDArray[np.complex128]]:
    """Nodes in t = s², where the integrand has no singularity, and what J₀(v√t) is to be multiplied by."""
    t, weight = _legendre(_count(float(u.max(initial=0.0)) / 8 + widest / 4, 5, 2.4))
    return t, 0.5 * u * weight * np.exp(0.5j * u * t)


def _intensity_near(u: Floats, v: Floats) -> Floats:
    t, factors = _amplitude_rule(u[..., None], float(v.max(initial=0.0)))
    bessel = j0(v[..., None] * np.sqrt(t))
    return np.vecdot(bessel, factors.real) ** 2 + np.vecdot(bessel, factors.imag) ** 2


def _intensity_far(u: Floats, v: Floats) -> Floats:
    """Lommel's U₁² + U₂² with U_n = Σ(−1)^k (u/v)^(n+2k) J_{n+2k}(v); `u`, `v` (K,), v ≥ max(2u, 60)."""
    ratio = u / v
    orders = 2 + 2 * int(np.ceil(18 / -np.log(ratio.max())))
    terms = _bessel_orders(v, orders + 1)[1:] * ratio ** np.arange(1, orders + 1)[:, None]
    signs = np.resize([1.0, -1.0], orders // 2)
    return (signs @ terms[0::2]) ** 2 + (signs @ terms[1::2]) ** 2


def _overlap(turn: Floats, h: Floats, across: ArrayLike) -> Floats:
    """The overlap integral without its factor h^{3/2}: (4/π) ∫₀¹ √z √(2−hz) cos(turn·h(1−z)) dz.

    It is C(s) after h = 1 − s/2 and x = h(1−z). Gauss–Jacobi nodes for the weight √z take care of the only
    singular factor. `turn` and `across` are radians per hole radius along and across the overlap.
    """
    phase = turn * h
    z, weight = _jacobi(_count(float(np.abs(phase).max(initial=0.0)) / 4, 8, 1.8), 0.5)
    depth = h[..., None] * z
    values = np.cos(phase[..., None] * (1 - z))
    values *= np.sqrt(2 - depth)
    if np.any(across):
        values = values * np.sinc(np.asarray(across)[..., None] / np.pi * np.sqrt(depth * (2 - depth)))
    return (4 / np.pi) * (values @ weight)


def _geometric_contrast(number: Floats, s: Floats) -> Floats:
    q = np.maximum(2 * np.pi * number * s, 1e-9)
    return np.where(s < 2, 2 * j1(q) / q, 0.0)


def _share_near(u: Floats, v: Floats) -> Floats:
    widest = float(u.max(initial=0.0) + v.max(initial=0.0))
    h, weight = _jacobi(_count(widest / 2, 8, 1.8), 1.5)
    s = 2 * (1 - h)
    smooth = 2 * weight * _overlap(u[..., None] * s, h, 0.0)
    return v * np.vecdot(j1(v[..., None] * s), smooth)


def _share_far(u: Floats, v: Floats) -> Floats:
    """1 − Σ (−1)^k (u/v)^{2k} Q_{2k}(v)/(2k+1), Q_m = Σ_{p≤m} (−1)^p (J_p J_{m−p} + J_{p+1} J_{m+1−p})."""
    ratio = u / v
    terms = 1 + int(np.ceil(14 / -np.log(ratio.max())))
    bessel = _bessel_orders(v, 2 * terms)
    alternating = bessel * np.resize([1.0, -1.0], 2 * terms)[:, None]
    outside = np.zeros_like(v)
    for k in range(terms):
        m = 2 * k
        q = (alternating[: m + 1] * bessel[m::-1]).sum(axis=0)
        q -= (alternating[1 : m + 2] * bessel[m + 1 : 0 : -1]).sum(axis=0)
        outside += (-1) ** k * ratio**m * q / (m + 1)
    return 1 - outside


def _bessel_orders(v: Floats, count: int) -> Floats:
    """J_0 … J_{count−1} at `v`, by upward recurrence: stable because every order stays below v."""
    orders = np.empty((count, *v.shape))
    orders[0], orders[1] = j0(v), j1(v)
    for n in range(1, count - 1):
        orders[n + 1] = 2 * n / v * orders[n] - orders[n - 1]
    return orders


def _count(oscillation: float, floor: int, margin: float) -> int:
    """Nodes for an integrand that swings so much, rounded up so that few rules need be kept.

    The margins were found by trial: with them the error stays at rounding for Fresnel numbers to 400.
    """
    count = int(np.ceil(oscillation + margin * np.sqrt(oscillation))) + floor
    step = max(1, 2 ** (count.bit_length() - 4))
    return -(-count // step) * step


@lru_cache(maxsize=256)
def _legendre(count: int) -> tuple[Floats, Floats]:
    """Nodes and weights on [0, 1]."""
    x, weight = roots_legendre(count)
    return (1 + x) / 2, weight / 2


@lru_cache(maxsize=256)
def _jacobi(count: int, power: float) -> tuple[Floats, Floats]:
    """Nodes and weights on [0, 1] for the weight z^power."""
    x, weight = roots_jacobi(count, 0.0, power)
    return (1 + x) / 2, weight / 2 ** (1 + power)


@lru_cache(maxsize=256)
def _chebyshev(count: int) -> tuple[Floats, Floats]:
    """Chebyshev points of the first kind on [0, 1] and their barycentric weights."""
    angle = (np.arange(count) + 0.5) * np.pi / count
    return (1 + np.cos(angle)) / 2, np.sin(angle) * np.resize([1.0, -1.0], count)


def _barycentric(count: int, positions: Floats) -> Floats:
    """The matrix from values at `count` Chebyshev points to values at `positions`, one column each."""
    points, weight = _chebyshev(count)
    gap = positions - points[:, None]
    gap[gap == 0] = 1e-300
    matrix = weight[:, None] / gap
    return matrix / matrix.sum(axis=0)


@lru_cache(maxsize=64)
def _interpolation(count: int, positions: bytes) -> Floats:
    """`_barycentric` for positions that come again and again."""
    return _barycentric(count, np.frombuffer(positions))


@lru_cache(maxsize=64)
def _shrinking(count: int, wavelength_ratios: bytes) -> Floats:
    """For each wavelength the matrix from the points of the shortest one's reach to those of its own."""
    points, _ = _chebyshev(count)
    ratios = np.frombuffer(wavelength_ratios)
    return np.stack([_barycentric(count, points / ratio**2) for ratio in ratios])
