"""Film planes, hole rules, receptors, laws and readings by name, whoever contributed them, checked on return."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from optics.core.faults import Flag, Impossible
from optics.core.film_planes import FilmPlane
from optics.core.holes import HoleRule, Receptor
from optics.core.profiles import Curve, Floats, Profile
from optics.core.reciprocity import Law
from pinpool.http.problems import PluginFailed
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
    if not _is_profile(profile):
        raise failure("film_planes", kind, "did not return a Profile with a length")
    checked = replace(profile, at=_checked_curve(kind, profile.at))
    return FilmPlane(checked, height_mm, hole_offset_y_mm, kind, parameters)


def _is_profile(made: Any) -> bool:
    try:
        return isinstance(made, Profile) and bool(0 < made.length_mm < np.inf and np.isfinite(made.breaks_mm).all())
    except (TypeError, ValueError):
        return False


def _checked_curve(kind: str, curve: Curve) -> Curve:
    def at(s_mm: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        try:
            x, z, nx, nz = curve(s_mm)
            good = all(np.shape(part) == np.shape(s_mm) and np.isfinite(part).all() for part in (x, z, nx, nz))
        except Exception as fault:
            raise failure("film_planes", kind, f"raised {type(fault).__name__} along its curve") from fault
        if not good:
            raise failure("film_planes", kind, "returned a curve that is not four finite arrays shaped like s")
        return x, z, nx, nz

    return at


def hole_rules(*, chosen: str, **values: Any) -> tuple[tuple[HoleRule, ...], tuple[Flag, ...]]:
    """Every hole rule that answers for these values, and a flag for each that fails, unless it is the `chosen` one.

    Each one's diameter is checked to be a length, now and when it is used.
    """
    rules, flags = [], []
    for name, contribution in contributions("hole_rules").items():
        rule = _checked_rule(name, contribution.source)
        try:
            rule.diameter_mm(**values)
        except PluginFailed as fault:
            if name == chosen:
                raise
            flags.append(Flag("plugin_failed", str(fault.detail)))
        else:
            rules.append(rule)
    return tuple(rules), tuple(flags)


def _checked_rule(name: str, source: str) -> HoleRule:
    def diameter_mm(**values: Any) -> float:
        diameter = call("hole_rules", name, **values)
        if not isinstance(diameter, int | float) or not np.isfinite(diameter) or diameter <= 0:
            raise failure("hole_rules", name, "did not return a diameter")
        return float(diameter)

    return HoleRule(name, source, diameter_mm)


def receptor(name: str) -> Receptor:
    """The receptor of this name."""
    made = call("receptors", name)
    try:
        low, high = made.band_nm
        good = isinstance(made, Receptor) and 0 < low <= made.wavelength_nm <= high < np.inf
    except (AttributeError, TypeError, ValueError):
        good = False
    if not good:
        raise failure("receptors", name, "did not return a Receptor with a wavelength inside its band")
    return made


def law(name: str, **parameters: Any) -> Law:
    """A reciprocity law; each corrected time is checked to be finite, positive and shaped like the indicated one."""
    made = call("reciprocity_laws", name, refusals=(Impossible,), **parameters)
    flags = getattr(made, "flags", ())
    if not (callable(getattr(made, "correct", None)) and isinstance(flags, tuple)):
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
