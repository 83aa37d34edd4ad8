"""Invented scans of pinholes whose true shape is known, for the tests and the bench.

A shape is an ellipse with burrs standing in; its coverage of every pixel is supersampled with soft edges, blurred,
lit unevenly, dusted, made noisy and stored as a scanner or a phone would store it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

ANGLES = np.arange(7200) * (2 * np.pi / 7200)


@dataclass(frozen=True, kw_only=True)
class Burr:
    """A tongue of metal standing into the hole: where, how wide (one standard deviation), how deep."""

    angle_rad: float
    width_rad: float
    depth_share: float


@dataclass(frozen=True, kw_only=True)
class Speck:
    """Dust: its middle from the hole's middle in hole diameters, its own diameter likewise, and how much it hides."""

    x_diameters: float
    y_diameters: float
    size_diameters: float
    opacity_share: float


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """Everything that makes one scan. Levels are linear light, 0 to 1."""

    diameter_mm: float = 0.3
    dpi: float = 2400.0
    blur_px: float = 0.6
    noise_level: float = 0.004
    shot_noise: float = 0.0
    axis_ratio: float = 1.0
    axis_angle_rad: float = 0.3
    burrs: tuple[Burr, ...] = ()
    specks: tuple[Speck, ...] = ()
    vignetting_share: float = 0.0
    gradient_share: float = 0.0
    tilt_rad: float = 0.0
    bright_hole: bool = True
    hole_level: float = 0.75
    background_level: float = 0.04
    srgb: bool = False
    bits: int = 8
    across_diameters: float = 2.4
    offset_px: tuple[float, float] = (0.0, 0.0)
    seed: int = 0


@dataclass(frozen=True)
class Scan:
    """A rendered recipe and the truth about it. Pixel coordinates count from the corner of the first pixel."""

    image: NDArray[np.uint8] | NDArray[np.uint16]
    mm_per_pixel: float
    diameter_mm: float
    roundness_share: float
    centre_px: tuple[float, float]
    radius_px: NDArray[np.float64]
    recipe: Recipe

    @property
    def polarity(self) -> str:
        return "bright_hole" if self.recipe.bright_hole else "dark_hole"

    @property
    def tone_curve(self) -> str:
        return "srgb" if self.recipe.srgb else "linear"


def true_radius(recipe: Recipe) -> NDArray[np.float64]:
    """Radius at every one of ANGLES for a shape of unit equal-area diameter, about the ellipse's middle."""
    turned = ANGLES - recipe.axis_angle_rad
    ratio = recipe.axis_ratio
    radius = 1.0 / np.sqrt(np.cos(turned) ** 2 + (np.sin(turned) / ratio) ** 2)
    for burr in recipe.burrs:
        away = np.angle(np.exp(1j * (ANGLES - burr.angle_rad)))
        radius = radius * (1.0 - burr.depth_share * np.exp(-0.5 * (away / burr.width_rad) ** 2))
    area = 0.5 * float(np.sum(radius**2)) * (2 * np.pi / ANGLES.size)
    return np.asarray(radius * np.sqrt(np.pi / 4.0 / area))


def true_roundness(radius: NDArray[np.float64]) -> float:
    """Smallest over largest radius about the centroid of the shape."""
    area = np.sum(radius**2) / 2
    x = np.sum(radius**3 * np.cos(ANGLES)) / 3 / area
    y = np.sum(radius**3 * np.sin(ANGLES)) / 3 / area
    away = np.hypot(radius * np.cos(ANGLES) - x, radius * np.sin(ANGLES) - y)
    return float(away.min() / away.max())


def coverage(recipe: Recipe) -> tuple[NDArray[np.float64], tuple[float, float]]:
    """Share of each pixel that the hole covers after the blur, and the middle of the shape in pixels."""
    diameter_px = recipe.diameter_mm * recipe.dpi / 25.4
    side = int(np.ceil(diameter_px * recipe.across_diameters + 8 * recipe.blur_px + 8))
    centre = (side / 2 + recipe.offset_px[0], side / 2 + recipe.offset_px[1])
    fine = int(np.clip(np.ceil(240 / side), 2, 6))
    at = (np.arange(side * fine) + 0.5) / fine
    x = (at[None, :] - centre[0]) / np.cos(recipe.tilt_rad)
    y = at[:, None] - centre[1]
    away = np.hypot(x, y)
    radius = true_radius(recipe) * diameter_px
    index = np.rint(np.arctan2(y, x) / (2 * np.pi) * ANGLES.size).astype(int) % ANGLES.size
    slope = np.hypot(1.0, np.gradient(radius, ANGLES) / radius)
    soft = np.clip((radius[index] - away) * fine / slope[index] + 0.5, 0.0, 1.0)
    soft = gaussian_filter(soft, recipe.blur_px * fine, mode="nearest") if recipe.blur_px else soft
    return soft.reshape(side, fine, side, fine).mean(axis=(1, 3)), centre


def render(recipe: Recipe) -> Scan:
    """The scan of a recipe, as the integers a file would hold."""
    rng = np.random.default_rng(recipe.seed)
    covered, centre = coverage(recipe)
    side = covered.shape[0]
    diameter_px = recipe.diameter_mm * recipe.dpi / 25.4
    at = np.arange(side) + 0.5
    x = (at[None, :] - centre[0]) / diameter_px
    y = (at[:, None] - centre[1]) / diameter_px
    half = recipe.across_diameters / 2
    light = recipe.background_level + (recipe.hole_level - recipe.background_level) * covered
    light = light * (1 - recipe.vignetting_share * ((x - 0.2) ** 2 + (y + 0.1) ** 2) / (2 * half**2))
    light = light * (1 + recipe.gradient_share * (0.8 * x + 0.6 * y) / half)
    for speck in recipe.specks:
        away = np.hypot(x - speck.x_diameters, y - speck.y_diameters)
        soft = np.clip((speck.size_diameters / 2 - away) * diameter_px + 0.5, 0, 1)
        light = light * (1 - speck.opacity_share * gaussian_filter(soft, max(recipe.blur_px, 0.3)))
    noise = np.sqrt(recipe.noise_level**2 + recipe.shot_noise**2 * np.maximum(light, 0))
    light = np.clip(light + rng.normal(size=light.shape) * noise, 0.0, 1.0)
    if recipe.srgb:
        light = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    full = 2**recipe.bits - 1
    image = np.rint(light * full).astype(np.uint8 if recipe.bits == 8 else np.uint16)
    shape = true_radius(recipe)
    return Scan(
        image=image,
        mm_per_pixel=25.4 / recipe.dpi,
        diameter_mm=recipe.diameter_mm,
        roundness_share=true_roundness(shape),
        centre_px=centre,
        radius_px=shape * diameter_px,
        recipe=recipe,
    )


def random_recipe(seed: int) -> Recipe:
    """One of the many scans a club might make, by its number: 12 pixels across or more, nothing clipped."""
    rng = np.random.default_rng([20, seed])
    dpi = float(rng.choice([1200, 2400, 3200, 4800, 6400]))
    smallest_mm = max(0.15, 13 * 25.4 / dpi)
    bright_hole = bool(rng.random() < 0.5)
    dark, light = float(rng.uniform(0.01, 0.08)), float(rng.uniform(0.45, 0.8))
    blur_px = float(rng.uniform(0.3, 1.0)) * max(1.0, dpi / 2400)
    diameter_mm = float(np.exp(rng.uniform(np.log(smallest_mm), np.log(0.8))))
    burrs = tuple(
        Burr(
            angle_rad=float(rng.uniform(0, 2 * np.pi)),
            width_rad=float(rng.uniform(0.10, 0.30)),
            depth_share=float(rng.uniform(0.02, 0.15)),
        )
        for _ in range(int(rng.choice([0, 0, 1, 2, 3])))
    )
    specks = [
        Speck(
            x_diameters=float(np.cos(angle) * away),
            y_diameters=float(np.sin(angle) * away),
            size_diameters=float(rng.uniform(0.03, 0.15)),
            opacity_share=float(rng.uniform(0.3, 0.9)),
        )
        for angle, away in rng.uniform((0, 0.75), (2 * np.pi, 1.4), size=(int(rng.integers(0, 5)), 2))
    ]
    if rng.random() < 0.15:
        specks.append(Speck(x_diameters=0.1, y_diameters=-0.05, size_diameters=0.08, opacity_share=0.8))
    return Recipe(
        diameter_mm=diameter_mm,
        dpi=dpi,
        blur_px=blur_px,
        noise_level=float(rng.uniform(0.001, 0.008)),
        shot_noise=float(rng.uniform(0.0, 0.008)),
        axis_ratio=float(rng.uniform(0.85, 1.0)),
        axis_angle_rad=float(rng.uniform(0, np.pi)),
        burrs=burrs,
        specks=tuple(specks),
        vignetting_share=float(rng.uniform(0.0, 0.3)),
        gradient_share=float(rng.uniform(-0.1, 0.1)),
        tilt_rad=float(np.deg2rad(rng.uniform(0, 3))),
        bright_hole=bright_hole,
        hole_level=light if bright_hole else dark,
        background_level=dark if bright_hole else light,
        srgb=bool(rng.random() < 0.5),
        bits=int(rng.choice([8, 16])),
        across_diameters=float(rng.uniform(1.8, 2.4)),
        offset_px=(float(rng.uniform(-3, 3)), float(rng.uniform(-3, 3))),
        seed=seed,
    )
