"""What hole was really made: counted against a scale, measured on a screen, or given; several readings pooled."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .faults import Flag, Impossible
from .holes import LN2

#: A count of hole-widths is good to about a quarter of a width unless the reader says otherwise.
COUNT_UNCERTAINTY = 0.25
#: Each of two edges is placed within half a pixel either way: √2 · 0.5/√3. (JCGM 100:2008 §4.3.7)
PIXEL_UNCERTAINTY = float(np.sqrt(1 / 6))
#: Assumed for a bare diameter with no uncertainty given, and flagged.
ASSUMED_SHARE = 0.05


@dataclass(frozen=True)
class Reading:
    """One diameter with its standard uncertainty, both mm; `direction` names the way it was measured, if told."""

    diameter_mm: float
    uncertainty_mm: float
    direction: str = ""
    assumed: bool = False


def counted(
    *,
    holes_across: float,
    span_mm: float,
    holes_across_uncertainty: float = COUNT_UNCERTAINTY,
    direction: str = "",
) -> Reading:
    """d = span/n where n hole-widths fit between two lines `span_mm` apart; u(d) = d·u(n)/n."""
    diameter = span_mm / holes_across
    return Reading(diameter, diameter * holes_across_uncertainty / holes_across, direction)


def scanned(*, pixels: float, resolution_dpi: float, direction: str = "") -> Reading:
    """A hole `pixels` across at `resolution_dpi` pixels to the inch."""
    return Reading(pixels * 25.4 / resolution_dpi, PIXEL_UNCERTAINTY * 25.4 / resolution_dpi, direction)


def given(*, diameter_mm: float, uncertainty_mm: float | None = None, direction: str = "") -> Reading:
    """A diameter measured elsewhere; without an uncertainty 5 % is assumed and flagged."""
    if uncertainty_mm is None:
        return Reading(diameter_mm, ASSUMED_SHARE * diameter_mm, direction, assumed=True)
    return Reading(diameter_mm, uncertainty_mm, direction)


@dataclass(frozen=True)
class HoleMeasurement:
    """Diameter of equal area and one standard deviation, mm; `roundness_share` = narrow/wide, None in one way."""

    diameter_mm: float
    uncertainty_mm: float
    roundness_share: float | None
    flags: tuple[Flag, ...]


def combine(readings: Sequence[Reading]) -> HoleMeasurement:
    """Pool readings: the weighted mean within each direction, then √(d₁·d₂…) over the directions.

    Readings of one direction are weighted by 1/u². Their uncertainty is the larger of what the weights promise and
    what the readings' scatter shows (the Birge ratio; R. T. Birge, Phys. Rev. 40, 207 (1932) [memory]). Readings
    that name no direction form one of their own. An ellipse of widths d₁ and d₂ has the area of a circle √(d₁·d₂)
    across.
    """
    if not readings:
        raise Impossible("no_readings", "Give at least one reading.", "readings")
    groups: dict[str, list[Reading]] = {}
    for reading in readings:
        groups.setdefault(reading.direction, []).append(reading)
    means = [_weighted_mean(group) for group in groups.values()]
    sizes = np.array([size for size, _ in means])
    relative = np.array([u / size for size, u in means])
    diameter = float(np.exp(np.log(sizes).mean()))
    uncertainty = float(diameter * np.sqrt((relative**2).sum()) / len(means))
    roundness = float(sizes.min() / sizes.max()) if len(means) > 1 else None

    flags = []
    if any(reading.assumed for reading in readings):
        flags.append(
            Flag(
                "uncertainty_assumed",
                f"No uncertainty was given; {ASSUMED_SHARE:.0%} of the diameter is assumed.",
            )
        )
    if roundness is not None and roundness < 0.9:
        flags.append(
            Flag(
                "hole_far_from_round",
                f"The narrow way is {roundness:.0%} of the wide way; sharpness will differ with direction.",
            )
        )
    if uncertainty > 0.1 * diameter:
        flags.append(
            Flag(
                "measurement_coarse",
                f"The diameter is known to {uncertainty / diameter:.0%}, {2 / LN2 * uncertainty / diameter:.1f} stop "
                "of exposure: count more widths, along a longer span, and more than once.",
            )
        )
    return HoleMeasurement(diameter, uncertainty, roundness, tuple(flags))


def _weighted_mean(readings: Sequence[Reading]) -> tuple[float, float]:
    sizes = np.array([r.diameter_mm for r in readings])
    sigma = np.array([r.uncertainty_mm for r in readings])
    if (sigma == 0).any():
        sizes, sigma = sizes[sigma == 0], sigma[sigma == 0]
        return float(sizes.mean()), float(sizes.std(ddof=1) / np.sqrt(len(sizes))) if len(sizes) > 1 else 0.0
    weights = (sigma.min() / sigma) ** 2
    mean = float((weights * sizes).sum() / weights.sum())
    internal = sigma.min() / np.sqrt(weights.sum())
    if len(readings) == 1:
        return mean, float(internal)
    scatter = np.sqrt((weights * (sizes - mean) ** 2).sum() / (weights.sum() * (len(readings) - 1)))
    return mean, float(max(internal, scatter))


@dataclass(frozen=True)
class RankedTry:
    """One of several holes against the target: how far off, positive = lets in more light."""

    label: str
    measurement: HoleMeasurement
    off_target_stops: float


def rank_tries(tries: Sequence[tuple[str, HoleMeasurement]], *, target_mm: float) -> list[RankedTry]:
    """Best first: nearest the target in stops, a quarter of a stop charged for each tenth out of round."""

    def cost(ranked: RankedTry) -> float:
        roundness = ranked.measurement.roundness_share
        return abs(ranked.off_target_stops) + (0.0 if roundness is None else 2.5 * (1 - roundness))

    ranked = [RankedTry(label, m, float(2 * np.log2(m.diameter_mm / target_mm))) for label, m in tries]
    return sorted(ranked, key=cost)
