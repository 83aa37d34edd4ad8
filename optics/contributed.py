"""Film planes, hole rules, receptors, laws and readings by name, whoever contributed them, checked on return."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.holes import HoleRule, Receptor
from optics.core.profiles import Profile
from optics.core.reciprocity import Law
from pinpool.plugins.registry import call, contributions, failure


def film_plane(
    kind: str,
    *,
    height_mm: float,
    hole_offset_x_mm: float = 0.0,
    hole_offset_y_mm: float = 0.0,
    **parameters: Any,
) -> FilmPlane:
    """The film plane of this `kind`; raises `Impossible` for sizes that cannot be."""
    parameters["hole_offset_x_mm"] = hole_offset_x_mm
    profile = call("film_planes", kind, refusals=(Impossible,), **parameters)
    if not isinstance(profile, Profile) or not np.isfinite(profile.length_mm) or profile.length_mm <= 0:
        raise failure("film_planes", kind, "did not return a Profile with a length")
    s = np.linspace(-0.5, 0.5, 9) * profile.length_mm
    curve = profile.at(s)
    if len(curve) != 4 or any(np.shape(part) != s.shape or not np.isfinite(part).all() for part in curve):
        raise failure("film_planes", kind, "returned a curve that is not four finite arrays shaped like s")
    return FilmPlane(profile, height_mm, hole_offset_y_mm, kind, parameters)


def hole_rules() -> tuple[HoleRule, ...]:
    """Every hole rule; each one's diameter is checked to be a length when it is used."""
    return tuple(_checked_rule(name, c.source) for name, c in contributions("hole_rules").items())


def _checked_rule(name: str, source: str) -> HoleRule:
    def diameter_mm(**values: Any) -> float:
        diameter = call("hole_rules", name, **values)
        if not isinstance(diameter, int | float) or not np.isfinite(diameter) or diameter <= 0:
            raise failure("hole_rules", name, "did not return a diameter")
        return float(diameter)

    return HoleRule(name, source, diameter_mm)


def receptors() -> dict[str, Receptor]:
    """Every receptor by name."""
    found = {name: call("receptors", name) for name in contributions("receptors")}
    return {name: r for name, r in found.items() if isinstance(r, Receptor) and np.isfinite(r.wavelength_nm)}


def law(name: str, **parameters: Any) -> Law:
    """A reciprocity law; each corrected time is checked to be finite, positive and shaped like the indicated one."""
    made = call("reciprocity_laws", name, refusals=(Impossible,), **parameters)
    if not callable(getattr(made, "correct", None)):
        raise failure("reciprocity_laws", name, "did not return a law with correct(time_s)")
    return _CheckedLaw(name, made)


class _CheckedLaw:
    def __init__(self, name: str, made: Law) -> None:
        self._name, self._made = name, made
        self.flags = getattr(made, "flags", ())

    def correct(self, time_s: Any) -> Any:
        try:
            corrected = self._made.correct(time_s)
            good = np.shape(corrected) == np.shape(time_s) and bool(np.all(np.isfinite(corrected)))
        except Impossible:
            raise
        except Exception as fault:
            raise failure("reciprocity_laws", self._name, f"raised {type(fault).__name__}") from fault
        if not good or np.any(np.asarray(corrected) <= 0):
            raise failure("reciprocity_laws", self._name, "returned what is not a time for each indicated time")
        return corrected


def ev100(name: str, values: Mapping[str, Any]) -> float:
    """EV at ISO 100 of a reading of the kind `name`."""
    ev = call("light_readings", name, refusals=(Impossible,), **values)
    if not isinstance(ev, int | float) or not np.isfinite(ev):
        raise failure("light_readings", name, "did not return an exposure value")
    if not -30 <= ev <= 30:
        raise Impossible("light_out_of_range", f"EV {ev:.1f} at ISO 100 is beyond any light on earth (−30 to 30).")
    return float(ev)


def stored(plane: FilmPlane) -> dict[str, Any]:
    """A film plane as it is kept in a database: canonical units, read back by `film_plane(**stored)`."""
    return {
        "kind": plane.kind,
        "height_mm": plane.height_mm,
        "hole_offset_y_mm": plane.hole_offset_y_mm,
        **plane.parameters,
    }
