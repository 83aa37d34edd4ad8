"""What lies between two specs of a camera, in stops and in words."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from clubs.models import CameraSpec
from optics.core.holes import LN2
from optics.core.illumination import extreme_stops
from optics.core.say import say_f_number, say_stops

#: Less than this, in stops, makes no difference that a print would show.
NOTHING = 0.05


@dataclass(frozen=True)
class SpecDifference:
    """The way from one spec to another; all stops positive where the film gets more light."""

    old: CameraSpec
    new: CameraSpec

    @property
    def hole_stops(self) -> float:
        """2·log₂ of the ratio of the diameters: the light goes by the hole's area."""
        return float(2 * np.log2(self.new.hole_diameter_mm / self.old.hole_diameter_mm))

    @property
    def focal_length_stops(self) -> float:
        """−2·log₂ of the ratio of the focal lengths: the light falls with the distance squared."""
        return float(-2 * np.log2(self.new.focal_length_mm / self.old.focal_length_mm))

    @property
    def stops(self) -> float:
        return self.hole_stops + self.focal_length_stops

    @property
    def uncertainty_stops(self) -> float | None:
        """One standard deviation of `hole_stops`: (2/ln 2)·√(Σ(u(d)/d)²), None where one is unknown or none is new."""
        old, new = (spec.hole_uncertainty_mm / spec.hole_diameter_mm for spec in (self.old, self.new))
        if old == 0 or new == 0 or self.old.hole_diameter_mm == self.new.hole_diameter_mm:
            return None
        return float(2 / LN2 * np.hypot(old, new))

    @property
    def time_share(self) -> float:
        """The new exposure time over the old one, before reciprocity failure."""
        return float(2**-self.stops)

    @cached_property
    def old_darkest_stops(self) -> float:
        """The darkest point of the negative against the one on the hole's axis; −inf where it gets no light."""
        return _darkest(self.old)

    @cached_property
    def new_darkest_stops(self) -> float:
        return _darkest(self.new)

    @property
    def text(self) -> list[str]:
        return [*self._exposure(), *self._corner()] or ["Nothing that the light depends on differs."]

    def _exposure(self) -> Iterator[str]:
        old, new = self.old, self.new
        if old.hole_diameter_mm != new.hole_diameter_mm:
            change = f"from {old.hole_diameter_mm:.3g} mm to {new.hole_diameter_mm:.3g} mm"
            yield f"The hole goes {change}: {say_stops(self.hole_stops)}."
        if old.focal_length_mm != new.focal_length_mm:
            change = f"from {old.focal_length_mm:.4g} mm to {new.focal_length_mm:.4g} mm"
            yield f"The focal length goes {change}: {say_stops(self.focal_length_stops)}."
        numbers = f"{say_f_number(old.f_number)} becomes {say_f_number(new.f_number)}"
        if abs(self.stops) >= NOTHING:
            more = "more" if self.stops > 0 else "less"
            yield (
                f"{numbers}, {abs(self.stops):.1f} stops {more} light: give {self.time_share:.2g} times the time, "
                "before reciprocity failure."
            )
        elif old.f_number != new.f_number:
            yield f"{numbers}: no difference that a print would show."
        error = self.uncertainty_stops
        if error is not None and abs(self.hole_stops) < 2 * error:
            yield (
                f"The two measurements of the hole together are good to {error:.1f} stops (one standard deviation), so "
                "this may be no change at all."
            )

    def _corner(self) -> Iterator[str]:
        old, new = self.old_darkest_stops, self.new_darkest_stops
        if not (np.isfinite(old) or np.isfinite(new)) or abs(new - old) < NOTHING:
            return
        yield f"The darkest corner {_said(old)} before, and {_said(new)} after."


def _said(stops: float) -> str:
    return f"lies {-stops:.1f} stops under the middle" if np.isfinite(stops) else "gets no light"


def _darkest(spec: CameraSpec) -> float:
    share = spec.plate_thickness_mm / spec.hole_diameter_mm
    return extreme_stops(spec.as_film_plane(), thickness_share=share)[1]
