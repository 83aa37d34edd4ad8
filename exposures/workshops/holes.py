"""The hole that somebody made beside the one that was planned: what it lets in, and what it draws."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from exposures.catalogue import plain_words
from exposures.models import Paper
from exposures.recommending import hole_error_stops
from exposures.workshops.models import Place, Workshop
from optics import contributed
from optics.core.film_detail import film_detail
from optics.core.spectral_bands import SpectralBand, band_weights, spectral_band
from pinpool.plugins.switches import offered
from pinpool.quantities import read_quantity

#: A third of a stop: what a print shows, and a meter's dial is marked in. Common practice, no source.
FAR_OFF_STOPS = 1 / 3
#: And so many of its own standard deviations, or the measurement may be what is off.
FAR_OFF_DEVIATIONS = 2.0


@dataclass(frozen=True)
class HoleBesidePlan:
    """A measured hole against the planned one.

    `off_stops` is the light it lets in more (+) or less, with one standard deviation; `line_pairs` and
    `planned_line_pairs` are what each resolves across and down the whole negative, multiplied, down to a contrast of
    0.1, and `sharpness_share` the one over the other.
    """

    off_stops: float
    uncertainty_stops: float
    far_off: bool
    line_pairs: float
    planned_line_pairs: float
    sharpness_share: float | None
    text: str


def f_number_of(place: Place) -> float:
    """By the hole as measured, or as planned where it is not."""
    design = place.workshop.design
    return design.focal_length_mm / (place.hole_diameter_mm or design.hole_diameter_mm)


def plate_thickness_mm(place: Place) -> float:
    """What was said of the plate with the hole, or the plan's."""
    typed: dict[str, Any] = place.typed or {}
    if "plate_thickness" in typed:
        return read_quantity(typed["plate_thickness"], "length").value
    return place.workshop.design.plate_thickness_mm


def beside_plan(workshop: Workshop, places: Sequence[Place]) -> dict[int, HoleBesidePlan]:
    """What the holes of a workshop's places cost, by the number of the place; only of those that are measured."""
    measured = [place for place in places if place.hole_diameter_mm is not None]
    if not measured:
        return {}
    design = workshop.design
    made = np.array([place.hole_diameter_mm for place in measured], dtype=float)
    detail = film_detail(
        design.as_film_plane(),
        hole_diameters_mm=np.append(made, design.hole_diameter_mm),
        band=band_of(workshop.paper),
    )
    *pairs, planned = detail.picture.tolist()
    return {
        place.number: _beside(place, design.hole_diameter_mm, resolved, planned)
        for place, resolved in zip(measured, pairs, strict=True)
    }


def band_of(paper: Paper) -> SpectralBand:
    """The wavelengths that a paper sees, by what its family is called; 550 nm alone where no receptor is called so."""
    name = plain_words(paper.family).replace(" ", "_")
    if name not in offered("receptors", paper.club.plugins):
        return spectral_band(550.0)
    low, high = contributed.receptor(name).band_nm
    return band_weights(low_nm=low, high_nm=high)


def _beside(place: Place, planned_mm: float, pairs: float, planned_pairs: float) -> HoleBesidePlan:
    diameter, uncertainty = float(place.hole_diameter_mm or 0.0), float(place.hole_uncertainty_mm or 0.0)
    off = 2 * float(np.log2(diameter / planned_mm))
    error = hole_error_stops(diameter, uncertainty)
    far = abs(off) > FAR_OFF_STOPS and abs(off) > FAR_OFF_DEVIATIONS * error
    share = pairs / planned_pairs if planned_pairs > 0 else None
    return HoleBesidePlan(off, error, far, pairs, planned_pairs, share, _say(off, far, share))


def _say(off: float, far: bool, share: float | None) -> str:
    """What the hole costs, in a sentence."""
    light = f"{abs(off):.1f} stops {'more' if off > 0 else 'less'} light than planned"
    if f"{abs(off):.1f}" == "0.0":
        light = "as much light as planned"
    detail = "" if share is None else f" and holds {share:.0%} of the planned detail"
    ends = "; measure it again, and give the time of its own f-number, not of the plan's" if far else ""
    return f"It lets in {light}{detail}{ends}."
