"""The area of one hole in a crop of a scan, by grey coverage, with what makes it uncertain."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from .faults import Impossible
from .hole_scan_levels import Surface, fit_robustly, mean_of_squares
from .hole_scan_outline import Floats, Outline, first_outline, trace_outline

Mask = NDArray[np.bool_]

ROUNDS = 3
#: A pixel box is as wide as a Gaussian of this variance, square pixels.
PIXEL_VARIANCE = 1.0 / 12.0
#: The share of the blur's correction to the hole's level that is taken as its own uncertainty.
CORRECTION_DOUBT_SHARE = 0.3
#: Where on the pixel grid an edge lies is not quite averaged out: standard deviation of the mean radius, pixels.
EDGE_FLOOR_PX = 0.003
#: How much the light in a hole is likely to change from its middle to its rim, as a share of its contrast.
LIKELY_BEND_SHARE = 0.03
#: A hole too blurred to show how its level bends may do so by this share of its contrast (one standard deviation).
UNSEEN_BEND_SHARE = 0.006
#: Dust differs from what is expected by this many times the noise, and by at least this coverage ...
DUST_TO_NOISE, LEAST_DUST = 6.0, 0.1
#: ... and is not joined to the edge: what lies within this and one blur of the outline, pixels.
EDGE_PX = 1.0
#: Fewer background pixels than this cannot carry a quadratic.
LEAST_BACKGROUND = 40


@dataclass(frozen=True, eq=False)
class Crop:
    """A hole with some background: linear light, the step each pixel was stored in, and roughly where it lies.

    `sign` is +1 for a hole brighter than its background, −1 for a darker one; `x`, `y`, `diameter` in pixels, the
    middle of the first pixel at (0, 0).
    """

    light: Floats
    quantum: Floats
    sign: int
    x: float
    y: float
    diameter: float


@dataclass(frozen=True, eq=False)
class HoleArea:
    """`area` with one standard deviation and the dust left out of account, square pixels; the outline; the blur."""

    area: float
    uncertainty: float
    dust_area: float
    outline: Outline
    blur_px: float


@dataclass(frozen=True, eq=False)
class _Levels:
    """Background and hole levels about one outline, and the coverage they give.

    `expected` is what the outline and the blur alone would give; `coverage` is (I − B)/(H − B) about the edge but
    `expected` where dust lies, and 1 or 0 elsewhere. `noise` is one pixel's standard deviation of it. Dust is left out
    of `outside` and `band`.
    """

    background: Surface
    hole: Surface
    contrast: Floats
    expected: Floats
    coverage: Floats
    noise: float
    dust_area: float
    inner: Mask
    outside: Mask
    band: Mask
    half_band_px: float


def measure_area(crop: Crop) -> HoleArea:
    """Sum the coverage of every pixel: 1 well inside the outline, 0 well outside, (I − B)/(H − B) about the edge.

    B is a quadratic through the background, H one through the middle of the hole (a plane or a constant where it is
    small), so that uneven light falls out. What the blur takes from the middle of a small hole is put back from the
    outline, blurred. Dust is left out: outside because it is not joined to the hole, inside because the middle counts
    as open whatever lies in it; dust that touches the rim counts as rim. Outline, levels and blur depend on each
    other and are found in ROUNDS rounds.

    Raises `Impossible`: `no_hole_found` without a clear edge, `too_little_background` where none is left to fit.
    """
    outline, blur_px = _first_guess(crop)
    for _ in range(ROUNDS):
        levels = _levels(crop, outline, blur_px)
        outline = trace_outline(
            levels.coverage,
            levels.expected,
            outline,
            half_band_px=levels.half_band_px,
            blur_px=blur_px,
            noise=levels.noise,
        )
        blur_px = _blur_from(levels.coverage[levels.band], outline, noise=levels.noise)
    levels = _levels(crop, outline, blur_px)
    area = float(np.sum(levels.coverage))
    scaled = Outline(outline.x, outline.y, outline.radius * np.sqrt(max(area, 1.0) / outline.area))
    return HoleArea(
        area=area,
        uncertainty=float(np.sqrt(_variance(crop, levels, outline))),
        dust_area=levels.dust_area,
        outline=scaled,
        blur_px=blur_px,
    )


def _first_guess(crop: Crop) -> tuple[Outline, float]:
    """The outline at half of the hole's contrast, dust in it filled, and the blur of its edge."""
    y, x = np.ogrid[: crop.light.shape[0], : crop.light.shape[1]]
    away = np.hypot(x - crop.x, y - crop.y)
    ring = away > min(0.75 * crop.diameter, 0.9 * float(away.max()))
    middle = away <= max(0.25 * crop.diameter, 1.5)
    low, high = float(np.median(crop.light[ring])), float(np.median(crop.light[middle]))
    if crop.sign * (high - low) <= 0:
        raise _no_edge()
    coverage = np.clip((ndimage.gaussian_filter(crop.light, 0.6, mode="nearest") - low) / (high - low), 0.0, 1.0)
    labels, count = ndimage.label(coverage > 0.5)
    sizes = np.bincount(labels[away < 0.6 * crop.diameter], minlength=count + 1)
    sizes[0] = 0
    if sizes.max() == 0:
        raise _no_edge()
    outline = first_outline(ndimage.binary_fill_holes(labels == int(np.argmax(sizes))))
    depth = outline.depth(crop.light.shape)
    return outline, _blur_from(coverage[np.abs(depth) < 0.4 * crop.diameter], outline)


def _levels(crop: Crop, outline: Outline, blur_px: float) -> _Levels:
    light = crop.light
    depth = outline.depth(light.shape)
    half_band_px = 3.0 * blur_px + 1.0
    radius_px = float(np.sqrt(outline.area / np.pi))
    margin_px = min(half_band_px, 0.6 * radius_px)
    inner = depth > margin_px
    outside = depth < -half_band_px
    y, x = np.nonzero(outside)
    if x.size < LEAST_BACKGROUND:
        raise Impossible(
            "too_little_background",
            "Too little of the background is in the picture; leave half a hole's width of it on every side.",
            "image",
        )
    if not inner.any():
        raise _no_edge()
    background = fit_robustly(x, y, light[y, x], quantum=float(np.median(crop.quantum[y, x])))
    expected = _blurred(depth, blur_px)
    rows, columns = np.ogrid[: light.shape[0], : light.shape[1]]
    low = background.at(columns, rows)
    y, x = np.nonzero(inner)
    share = expected[inner]
    hole = fit_robustly(
        x,
        y,
        light[inner] - low[inner] * (1.0 - share),
        share=share,
        degree=2 if margin_px < 0.5 * radius_px else 0,
        bend_at=(radius_px, LIKELY_BEND_SHARE * abs(float(np.median(light[inner] - low[inner])))),
        quantum=float(np.median(crop.quantum[inner])),
    )
    contrast = hole.at(columns, rows) - low
    middle = float(np.median(contrast[inner]))
    if crop.sign * middle <= 2.0 * max(background.noise, 1e-9):
        raise _no_edge()
    # Far from the hole its polynomial means nothing; nothing is measured there, but nothing may overflow either.
    contrast = crop.sign * np.clip(crop.sign * contrast, 0.3 * abs(middle), 3.0 * abs(middle))
    band = ~outside & (depth <= half_band_px)
    seen = (light - low) / contrast
    variance = 0.5 * (background.noise**2 + hole.noise**2) + float(np.mean(crop.quantum[band] ** 2)) / 12.0
    noise = float(np.sqrt(variance)) / abs(middle)
    at_edge = np.abs(depth) < EDGE_PX + blur_px
    dust = _dust(np.abs(seen - expected) > max(DUST_TO_NOISE * noise, LEAST_DUST), at_edge)
    return _Levels(
        background=background,
        hole=hole,
        contrast=contrast,
        expected=expected,
        coverage=np.where(band, np.where(dust, expected, seen), (depth > 0.0).astype(float)),
        noise=noise,
        dust_area=float(np.sum((expected - seen)[dust & (depth > 0.0)])),
        inner=inner,
        outside=outside & ~dust,
        band=band & ~dust,
        half_band_px=half_band_px,
    )


def _no_edge() -> Impossible:
    return Impossible(
        "no_hole_found",
        "What stands out in this picture has no clear edge; focus on the rim of the hole.",
        "image",
    )


def _blurred(depth: Floats, blur_px: float) -> Floats:
    """The coverage of each pixel whose middle lies `depth` inside the edge, the edge being blurred."""
    sharp = np.clip(depth + 0.5, 0.0, 1.0)
    variance = max(blur_px**2 - PIXEL_VARIANCE, 0.0)
    if variance > 0.36:
        return np.asarray(ndimage.gaussian_filter(sharp, np.sqrt(variance), mode="nearest"))
    # A narrower Gaussian, sampled at the pixels, would lose its width; three weights keep it.
    weights = [variance / 2.0, 1.0 - variance, variance / 2.0]
    across = ndimage.correlate1d(sharp, weights, axis=1, mode="nearest")
    return np.asarray(ndimage.correlate1d(across, weights, axis=0, mode="nearest"))


def _dust(differs: Mask, at_edge: Mask) -> Mask:
    """Of the pixels unlike what is expected the patches not joined to the edge, with a margin."""
    labels, _ = ndimage.label(differs, structure=np.ones((3, 3)))
    loose = differs & ~np.isin(labels, np.unique(labels[at_edge]))
    return np.asarray(ndimage.binary_dilation(loose) & ~at_edge)


def _blur_from(coverage: Floats, outline: Outline, *, noise: float = 0.0) -> float:
    """Standard deviation of the edge's blur, pixels: ∫ C(1 − C) across a Gaussian edge is σ/√π. [derived]"""
    spread = float(np.sum(coverage * (1.0 - coverage))) + coverage.size * noise**2
    return float(np.clip(np.sqrt(np.pi) * spread / outline.length, 0.3, 0.4 * np.sqrt(outline.area)))


def _variance(crop: Crop, levels: _Levels, outline: Outline) -> float:
    """Variance of the area: noise of the edge's pixels and of both levels, and what no averaging takes away."""
    y, x = np.nonzero(levels.band)
    contrast, share = levels.contrast[levels.band], np.clip(levels.expected[levels.band], 0.0, 1.0)
    # How the area falls where the level of the background or of the hole is set too high at a pixel.
    by_background, by_hole = (1.0 - share) / contrast, share / contrast
    background_slopes = np.array([by_background @ term for term in levels.background.terms(x, y)])
    hole_slopes = np.array([by_hole @ term for term in levels.hole.terms(x, y)])
    pixels = share * levels.hole.noise**2 + (1.0 - share) * levels.background.noise**2
    noise = (
        float(np.sum(pixels / contrast**2))
        + float(background_slopes @ levels.background.covariance @ background_slopes)
        + float(hole_slopes @ levels.hole.covariance @ hole_slopes)
    )
    lasting = (
        np.sum(by_background) * _rounding(crop, levels.background, levels.outside),
        np.sum(by_hole) * _rounding(crop, levels.hole, levels.inner),
        EDGE_FLOOR_PX * outline.length,
        UNSEEN_BEND_SHARE * np.sum(share) if levels.hole.degree < 2 else 0.0,
        CORRECTION_DOUBT_SHARE * outline.area * float(np.mean(1.0 - levels.expected[levels.inner])),
    )
    return noise * _clumping(crop, levels) + float(np.sum(np.square(lasting)))


def _rounding(crop: Crop, level: Surface, where: Mask) -> float:
    """Standard deviation of the error left in a level by values stored in steps q.

    A sine of amplitude q/π·exp(−2π²s²/q²) over where the level lies between two steps, s the spread of the values
    about it, which dithers them. [derived: first term of the Fourier series of the rounding error]
    """
    quantum = float(np.median(crop.quantum[where]))
    spread = np.hypot(level.noise, float(np.std(crop.light[where])) if level.degree else 0.0)
    if quantum <= 0.0:
        return 0.0
    return float(quantum / (np.pi * np.sqrt(2.0)) * np.exp(-2.0 * np.pi**2 * min(spread / quantum, 5.0) ** 2))


def _clumping(crop: Crop, levels: _Levels) -> float:
    """How much larger the variance of a sum of neighbours is than if their noise were independent: 1 or more.

    From the means of squares of 4 × 4 and 8 × 8 background pixels, where there are enough to tell.
    """
    y, x = np.ogrid[: crop.light.shape[0], : crop.light.shape[1]]
    residual = crop.light - levels.background.at(x, y)
    usable = levels.outside & (np.abs(residual) < 4.0 * levels.background.noise)
    factors = [1.0]
    for side in (4, 8):
        whole = mean_of_squares(usable.astype(float), side) == 1.0
        count = int(np.count_nonzero(whole))
        if count < 20:
            continue
        means = mean_of_squares(residual, side)[whole]
        pixels = mean_of_squares(residual**2, side)[whole]
        if np.any(pixels > 0.0):
            factor = side**2 * float(np.mean(means**2) / np.mean(pixels))
            factors.append(factor if factor > 1.0 + 2.0 * np.sqrt(2.0 / count) else 1.0)
    return max(factors)
