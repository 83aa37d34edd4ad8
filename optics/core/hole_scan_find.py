"""Where the hole is in a scan, before anything is measured."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from .faults import Impossible
from .hole_scan_levels import fit_robustly, mean_of_squares

SEARCH_PIXELS = 1_000_000
LARGEST_BIN_PX = 4
FIT_PIXELS = 10_000
SMALLEST_SEEN_PX = 5.0
SMALLEST_MEASURED_PX = 12.0
CONTRAST_TO_NOISE = 3.0
SMALLEST_CONTRAST = 0.005
SECOND_HOLE_DIAMETER_SHARE = 0.5
SECOND_HOLE_CONTRAST_SHARE = 0.5


@dataclass(frozen=True)
class Patch:
    """A connected patch unlike the background. `x_px`, `y_px` count from the picture's top left corner."""

    x_px: float
    y_px: float
    diameter_px: float
    contrast: float
    bright: bool
    touches_edge: bool
    holds_corner: bool


@dataclass(frozen=True)
class Found:
    """The patch taken for the hole, and whether another would do as well."""

    hole: Patch
    two_holes: bool


def find_hole(image: NDArray[np.floating], *, signs: tuple[int, ...]) -> Found:
    """The hole in a picture: the compact patch with the largest product of contrast and diameter.

    `image` is 2-D, 0 to 1, any tone curve (only the order and the rough size of the levels matter); `signs` holds +1
    where a bright hole may be looked for and −1 where a dark one may. Hairs, ragged shadows and shadows that hold a
    corner of the picture are passed over. The background is first taken near the picture's median level; only where
    that shows no hole near the level along the border, for a picture that the hole all but fills; and, if there is
    but one sign, near the picture's own light or dark, for a lit field smaller than the shadow about it.

    Raises `Impossible` with code `no_hole_found`.
    """
    binned, bin_px = _binned(image)
    smooth = ndimage.gaussian_filter(binned, 1.0, mode="nearest")
    seen: list[Patch] = []
    for level in _background_levels(binned, signs):
        patches = _patches(binned, smooth, level, bin_px, signs)
        inner = [p for p in patches if not p.holds_corner and p.diameter_px >= SMALLEST_MEASURED_PX]
        if inner:
            return _choose(inner, patches)
        seen += patches
    if seen:
        return _choose([p for p in seen if not p.holds_corner] or seen, seen)
    raise Impossible(
        "no_hole_found",
        "No hole stands out in this picture. It would have to be evenly lit, with the hole clearly brighter or "
        "clearly darker than the metal around it.",
        "image",
    )


def _choose(candidates: list[Patch], patches: list[Patch]) -> Found:
    hole = max(candidates, key=lambda patch: patch.contrast * patch.diameter_px)
    return Found(hole=hole, two_holes=any(_rivals(patch, hole) for patch in patches))


def _rivals(patch: Patch, hole: Patch) -> bool:
    """Whether `patch` lies apart from the hole and might be one as well."""
    return (
        np.hypot(patch.x_px - hole.x_px, patch.y_px - hole.y_px) > 0.5 * hole.diameter_px
        and patch.bright == hole.bright
        and not patch.touches_edge
        and patch.diameter_px >= SECOND_HOLE_DIAMETER_SHARE * hole.diameter_px
        and patch.contrast >= SECOND_HOLE_CONTRAST_SHARE * hole.contrast
    )


def _background_levels(binned: NDArray[np.floating], signs: tuple[int, ...]) -> Iterator[float]:
    yield float(np.median(binned))
    depth = max(1, min(binned.shape) // 20)
    border = np.ones(binned.shape, dtype=bool)
    border[depth:-depth, depth:-depth] = False
    yield float(np.median(binned[border]))
    if len(signs) == 1:
        yield float(np.quantile(binned, 0.05 if signs[0] > 0 else 0.95))


def _binned(image: NDArray[np.floating]) -> tuple[NDArray[np.floating], int]:
    """The picture small enough to search, yet with the smallest measurable hole still three pixels across."""
    bin_px = int(np.clip(np.ceil(np.sqrt(image.size / SEARCH_PIXELS)), 1, LARGEST_BIN_PX))
    bin_px = min(bin_px, *image.shape)
    return mean_of_squares(image, bin_px), bin_px


def _patches(
    binned: NDArray[np.floating],
    smooth: NDArray[np.floating],
    level: float,
    bin_px: int,
    signs: tuple[int, ...],
) -> list[Patch]:
    """The compact patches that stand out, with the signs asked for, from the background nearest to `level`."""
    background, noise = _background(binned, level)
    least = max(CONTRAST_TO_NOISE * noise, SMALLEST_CONTRAST)
    # The excess that all pixels of the middle of the smallest measurable hole reach.
    rank = min(binned.size - 1, 40 // bin_px**2 + 2)
    found: list[Patch] = []
    for sign in signs:
        excess = sign * (smooth - background)
        peak = float(-np.partition(-excess, rank, axis=None)[rank])
        # The smoothing takes up to half of the contrast of so small a hole.
        if peak > 0.5 * least:
            found += _labelled(excess, 0.5 * peak, bin_px=bin_px, bright=sign > 0)
    return [patch for patch in found if patch.contrast > least]


def _background(binned: NDArray[np.floating], level: float) -> tuple[NDArray[np.floating], float]:
    """A quadratic through the pixels near `level`, over the whole picture, and the noise about it."""
    rows, columns = binned.shape
    step = max(1, int(np.sqrt(binned.size / FIT_PIXELS)))
    y, x = np.mgrid[0:rows:step, 0:columns:step]
    values = binned[::step, ::step].astype(float)
    spread = np.abs(np.quantile(values, (0.002, 0.998)) - level).max()
    near = np.abs(values - level) <= 0.5 * spread + 1e-9
    fit = fit_robustly(x[near], y[near], values[near])
    # Neighbours show the noise that taking only the pixels near the level has cut short.
    noise = 1.4826 * float(np.median(np.abs(np.diff(binned[::step], axis=1)))) / np.sqrt(2.0)
    return fit.at(np.arange(columns)[None, :], np.arange(rows)[:, None]), max(fit.noise, noise)


def _labelled(excess: NDArray[np.floating], threshold: float, *, bin_px: int, bright: bool) -> list[Patch]:
    labels, _ = ndimage.label(excess > threshold)
    patches = []
    for index, box in enumerate(ndimage.find_objects(labels), start=1):
        if bin_px * min(part.stop - part.start for part in box) < 0.5 * SMALLEST_SEEN_PX:
            continue
        inside = labels[box] == index
        inside &= excess[box] > 0.5 * np.quantile(excess[box][inside], 0.8)
        filled = ndimage.binary_fill_holes(inside)
        y, x = np.nonzero(filled)
        diameter_px = 2.0 * bin_px * float(np.sqrt(x.size / np.pi))
        surrounds = x.size > 2 * np.count_nonzero(inside)
        if diameter_px < SMALLEST_SEEN_PX or surrounds or not _is_compact(x, y):
            continue
        sides = [(part.start == 0, part.stop == length) for part, length in zip(box, excess.shape, strict=True)]
        corners = labels[:: max(1, labels.shape[0] - 1), :: max(1, labels.shape[1] - 1)]
        patches.append(
            Patch(
                x_px=bin_px * (box[1].start + float(x.mean()) + 0.5),
                y_px=bin_px * (box[0].start + float(y.mean()) + 0.5),
                diameter_px=diameter_px,
                contrast=float(np.median(excess[box][inside])),
                bright=bright,
                touches_edge=any(map(any, sides)),
                holds_corner=bool(np.any(corners == index)),
            )
        )
    return patches


def _is_compact(x: NDArray[np.intp], y: NDArray[np.intp]) -> bool:
    """Whether the pixels fill the ellipse of their own second moments, and that ellipse is no hair."""
    # A square pixel's own moment is 1/12.
    small, large = np.sqrt(np.linalg.eigvalsh(np.cov(x, y, bias=True) + np.eye(2) / 12.0))
    return bool(x.size > 0.7 * 4.0 * np.pi * small * large and small > 0.3 * large)
