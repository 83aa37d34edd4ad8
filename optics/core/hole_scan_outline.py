"""The outline of a hole in a picture of its coverage: where it runs, how round it is, where burrs stand in."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Floats = NDArray[np.float64]

RAYS = 360
STEP_RAD = 2.0 * np.pi / RAYS
ANGLES_RAD = np.arange(RAYS) * STEP_RAD
ORDERS = np.arange(RAYS // 2 + 1)
#: A burr stands in by at least this share of the mean radius, and by at least this many pixels.
BURR_DEPTH_SHARE = 0.02
BURR_DEPTH_PX = 0.35
#: An order of the outline is kept by as much as its power, pooled with its neighbours', exceeds this many times the
#: noise; what the blur took from it is given back up to a factor, and not at all where it took nearly everything.
POOLED_ORDERS = 7
NOISE_GATE = 1.5
LARGEST_SHARPENING = 3.0
LEAST_PASSED = 0.01
#: What the drawing of an outline on the pixel grid is worth at best, standard deviation of one pixel's coverage.
DRAWING_NOISE = 0.005


@dataclass(frozen=True, eq=False)
class Outline:
    """A closed outline as RAYS radii about a point, in pixels; the middle of the first pixel is (0, 0)."""

    x: float
    y: float
    radius: Floats

    @property
    def area(self) -> float:
        """Area enclosed, square pixels: ½ ∫ r² dθ."""
        return 0.5 * STEP_RAD * float(np.sum(self.radius**2))

    @property
    def length(self) -> float:
        """Length in pixels."""
        sides = np.diff(self.points(), axis=0, append=self.points()[:1])
        return float(np.sum(np.hypot(sides[:, 0], sides[:, 1])))

    def points(self) -> Floats:
        """The outline as RAYS rows of (x, y)."""
        return np.array([self.x, self.y]) + self.radius[:, None] * np.stack(
            [np.cos(ANGLES_RAD), np.sin(ANGLES_RAD)], axis=1
        )

    def depth(self, shape: tuple[int, ...]) -> Floats:
        """How far the middle of each pixel of a picture lies inside, in pixels along the normal; negative outside."""
        y, x = np.ogrid[: shape[0], : shape[1]]
        turn = np.arctan2(y - self.y, x - self.x)
        radius = np.interp(turn, ANGLES_RAD, self.radius, period=2.0 * np.pi)
        slope = np.gradient(np.pad(self.radius, 1, mode="wrap"), STEP_RAD)[1:-1] / self.radius
        tilt = np.interp(turn, ANGLES_RAD, slope, period=2.0 * np.pi)
        return np.asarray((radius - np.hypot(x - self.x, y - self.y)) / np.hypot(1.0, tilt))


def first_outline(mask: NDArray[np.bool_]) -> Outline:
    """The outline of the pixels of `mask`, to about a pixel: the outermost of them along each ray."""
    y, x = np.nonzero(mask)
    centre_x, centre_y = float(x.mean()), float(y.mean())
    away = np.arange(0.0, float(np.hypot(x - centre_x, y - centre_y).max()) + 1.0, 0.25)
    at = _ray_points(centre_x, centre_y, np.broadcast_to(away, (RAYS, away.size)))
    inside = ndimage.map_coordinates(mask.astype(float), at, order=1) > 0.5
    last = away.size - 1 - np.argmax(inside[:, ::-1], axis=1)
    return Outline(centre_x, centre_y, np.where(inside.any(axis=1), np.maximum(away[last], 0.5), 0.5))


def trace_outline(
    coverage: Floats, expected: Floats, near: Outline, *, half_band_px: float, blur_px: float, noise: float
) -> Outline:
    """A better outline than `near`, whose blurred coverage is `expected`, from the `coverage` seen.

    Along each ray the edge lies off by ∫ (C − E) E' dr / ∫ E'² dr, by least squares over ± `half_band_px`. A blur of
    `blur_px` (one standard deviation) moves area along the outline but neither adds nor takes any, so that half the
    square of the radius seen is the true one smeared over the blur's width. A Wiener filter over the angle undoes
    that as far as the noise allows (`noise`, the standard deviation of one pixel's coverage). It holds for outlines
    that a ray crosses once; detail finer than the blur is lost. [derived]
    """
    offsets, step = np.linspace(-half_band_px, half_band_px, int(np.ceil(8 * half_band_px)) + 1, retstep=True)
    at = _ray_points(near.x, near.y, np.maximum(near.radius[:, None] + offsets, 0.0))
    wanted = ndimage.map_coordinates(expected, at, order=1, mode="nearest")
    seen = ndimage.map_coordinates(coverage, at, order=1, mode="nearest")
    slope = np.gradient(wanted, step, axis=1)
    steepness = np.maximum(np.sum(slope**2, axis=1) * step, 1e-9)
    shift = -np.sum((seen - wanted) * slope, axis=1) * step / steepness
    radius = float(np.mean(near.radius))
    # Reading between pixels along straight lines smears by a sixth of a square pixel besides.
    passed = np.exp(-0.5 * np.square(ORDERS * np.sqrt(blur_px**2 + 1.0 / 6.0) / radius))
    smeared = np.fft.irfft(np.fft.rfft(near.radius**2) * passed, RAYS)
    smeared += 2.0 * near.radius * np.clip(shift, -half_band_px, half_band_px)
    # A ray stands for STEP_RAD · r pixels along the outline, which may be less than one.
    noise_power = (2.0 * radius) ** 2 * (noise**2 + DRAWING_NOISE**2) / float(np.mean(steepness)) / (STEP_RAD * radius)
    sharpened = _wiener(smeared, passed=passed, noise_power=noise_power)
    return _about_centroid(Outline(near.x, near.y, np.sqrt(np.maximum(sharpened, 0.25))))


def _wiener(values: Floats, *, passed: Floats, noise_power: float) -> Floats:
    """Undo a smear, of which `passed` says what it leaves of each order, where the signal exceeds white noise."""
    spectrum = np.fft.rfft(values)
    power = np.abs(spectrum) ** 2 / values.size
    power[1:] = ndimage.uniform_filter1d(power[1:], POOLED_ORDERS, mode="nearest")
    signal_share = np.clip(1.0 - NOISE_GATE * noise_power / np.maximum(power, 1e-30), 0.0, 1.0)
    gain = np.where(passed > LEAST_PASSED, np.minimum(1.0 / np.maximum(passed, LEAST_PASSED), LARGEST_SHARPENING), 0.0)
    return np.asarray(np.fft.irfft(spectrum * signal_share * gain, values.size))


def _ray_points(x: float, y: float, away: Floats) -> Floats:
    return np.stack([y + away * np.sin(ANGLES_RAD)[:, None], x + away * np.cos(ANGLES_RAD)[:, None]])


def _about_centroid(outline: Outline) -> Outline:
    """The same outline as radii about the centroid of what it encloses."""
    moment = outline.radius**3 * STEP_RAD / 3.0 / outline.area
    x = outline.x + float(np.sum(moment * np.cos(ANGLES_RAD)))
    y = outline.y + float(np.sum(moment * np.sin(ANGLES_RAD)))
    away_x, away_y = (outline.points() - (x, y)).T
    radius = np.interp(ANGLES_RAD, np.arctan2(away_y, away_x), np.hypot(away_x, away_y), period=2.0 * np.pi)
    return Outline(x, y, radius)


def roundness_share(outline: Outline) -> float:
    """Smallest over largest radius from the centroid, 0 to 1 (1 = a circle)."""
    return float(outline.radius.min() / outline.radius.max())


def burr_share(outline: Outline) -> float:
    """The share of the outline, by angle about the centroid, that stands in: 0 for any smooth oval.

    A point stands in when it is nearer to the centroid than the ellipse through the rest of the outline by more than
    BURR_DEPTH_SHARE of the mean radius, and by more than BURR_DEPTH_PX. The ellipse is the least-squares fit to 1/r²,
    which leaves out by turns what stands in by a quarter of that. [definition ours]
    """
    turn = ANGLES_RAD
    design = np.stack([np.ones(RAYS), np.cos(2 * turn), np.sin(2 * turn), np.cos(turn), np.sin(turn)], axis=1)
    limit = max(BURR_DEPTH_SHARE * float(np.mean(outline.radius)), BURR_DEPTH_PX)
    smooth = np.ones(RAYS, dtype=bool)
    for _ in range(20):
        fitted = np.linalg.lstsq(design[smooth], outline.radius[smooth] ** -2.0, rcond=None)[0]
        inward = np.maximum(design @ fitted, 1e-12) ** -0.5 - outline.radius
        rest = inward <= 0.25 * limit
        if np.array_equal(rest, smooth) or np.count_nonzero(rest) < RAYS // 4:
            break
        smooth = rest
    return float(np.mean(inward > limit))
