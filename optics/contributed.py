"""Film planes, hole rules, receptors, laws and readings by name, whoever contributed them, checked on return."""

from collections.abc import Mapping
from dataclasses import replace
from itertools import islice
from numbers import Real
from typing import Any

import numpy as np

from optics.core.faults import Flag, Impossible
from optics.core.film_planes import FilmPlane
from optics.core.holes import HoleRule, Receptor
from optics.core.profiles import Curve, Floats, Profile
from optics.core.reciprocity import Law
from pinpool.http.problems import PluginFailed
from pinpool.plugins.registry import Returned, call, contributions, failure, from_elsewhere, missing

#: Reasons to doubt it that a law may bring along, and breaks that a profile may have.
MOST_FLAGS, MOST_BREAKS = 20, 1000


def film_plane(
    kind: str,
    *,
    height_mm: float,
    hole_offset_x_mm: float = 0.0,
    hole_offset_y_mm: float = 0.0,
    contributed_by: str = "",
    **parameters: Any,
) -> FilmPlane:
    """The film plane of this `kind`; raises `Impossible` for sizes that cannot be.

    `contributed_by` names the plug-in of another package that a stored one came with.
    """
    if why := missing("film_planes", kind, contributed_by):
        raise PluginFailed(why)
    parameters["hole_offset_x_mm"] = hole_offset_x_mm
    made = call("film_planes", kind, refusals=(Impossible,), **parameters)
    inside = Returned("film_planes", kind)
    profile = inside(lambda: _profile(made))
    if profile is None:
        raise failure("film_planes", kind, "did not return a Profile with a length")
    checked = replace(profile, at=_checked_curve(kind, profile.at, inside))
    x, z, *_ = checked.at(np.array([-0.5, 0.5]) * checked.length_mm)
    if (z > 0).all() and x[0] * z[1] > x[1] * z[0]:
        raise failure("film_planes", kind, "returned a curve that runs from right to left")
    return FilmPlane(checked, height_mm, hole_offset_y_mm, kind, parameters)


def _profile(made: Any) -> Profile | None:
    """Whatever has a profile's attributes as one, or None."""
    try:
        breaks = tuple(_real(s) for s in islice(made.breaks_mm, MOST_BREAKS + 1))
        profile = Profile(_real(made.length_mm), made.at, breaks, str(made.shape))
    except _UNLIKE:
        return None
    good = 0 < profile.length_mm < np.inf and np.isfinite(breaks).all() and callable(profile.at)
    return profile if good and len(breaks) <= MOST_BREAKS else None


def _checked_curve(kind: str, curve: Curve, inside: Returned) -> Curve:
    def at(s_mm: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        def parts() -> Any:
            x, z, nx, nz = curve(_read_only(s_mm))
            return tuple(map(_floats, (x, z, nx, nz)))

        found = inside(parts, where=" along its curve")
        if not all(part.shape == np.shape(s_mm) and np.isfinite(part).all() for part in found):
            raise failure("film_planes", kind, "returned a curve that is not four finite arrays shaped like s")
        return found

    return at


def _read_only(values: Any) -> Any:
    """The array without the right to change it, which stays ours; a number as it is."""
    if isinstance(values, np.ndarray):
        values = values.view()
        values.flags.writeable = False
    return values


#: What reading an object that is not like what was asked for raises.
_UNLIKE = (AttributeError, TypeError, ValueError, OverflowError)


def _real(value: Any) -> float:
    """A number of whatever type as a float; `TypeError` for anything else."""
    if isinstance(value, bool) or not isinstance(value, Real):
        raise TypeError(value)
    return float(value)


def _floats(values: Any) -> Floats:
    """Numbers as an array of floats; `TypeError` for texts, complex numbers and what else could be made into some."""
    found = np.asarray(values)
    if found.dtype.kind not in "iuf":
        raise TypeError(f"an array of {found.dtype}")
    return found.astype(float, copy=False)


def _finite(value: Any) -> float | None:
    """A finite number, or None."""
    try:
        number = _real(value)
    except _UNLIKE:
        return None
    return number if np.isfinite(number) else None


def hole_rules(*, chosen: str, **values: Any) -> tuple[tuple[HoleRule, ...], tuple[Flag, ...]]:
    """Every hole rule that answers for these values, and a flag for each that fails, unless it is the `chosen` one.

    Each one's diameter is checked to be a length, now and when it is used.
    """
    rules, flags = [], []
    for name in contributions("hole_rules"):
        rule = hole_rule(name)
        try:
            rule.diameter_mm(**values)
        except PluginFailed as fault:
            if name == chosen:
                raise
            flags.append(Flag("plugin_failed", str(fault.detail)))
        else:
            rules.append(rule)
    return tuple(rules), tuple(flags)


def hole_rule(name: str) -> HoleRule:
    """The hole rule of this name; each diameter is checked to be a length."""

    def diameter_mm(**values: Any) -> float:
        diameter = _finite(call("hole_rules", name, **values))
        if diameter is None or diameter <= 0:
            raise failure("hole_rules", name, "did not return a diameter")
        return diameter

    return HoleRule(name, contributions("hole_rules")[name].source, diameter_mm)


def receptor(name: str) -> Receptor:
    """The receptor of this name."""
    made = call("receptors", name)
    found = Returned("receptors", name)(lambda: _receptor(name, made))
    if found is None:
        raise failure("receptors", name, "did not return a Receptor with a wavelength inside its band")
    return found


def _receptor(name: str, made: Any) -> Receptor | None:
    """Whatever has a receptor's wavelengths as one, or None."""
    contribution = contributions("receptors")[name]
    try:
        low, high = map(_real, made.band_nm)
        found = Receptor(name, contribution.label, _real(made.wavelength_nm), (low, high), contribution.source)
    except _UNLIKE:
        return None
    return found if 0 < low <= found.wavelength_nm <= high < np.inf else None


def law(name: str, **parameters: Any) -> Law:
    """A reciprocity law; each corrected time is checked to be finite, positive and shaped like the indicated one."""
    made = call("reciprocity_laws", name, refusals=(Impossible,), **parameters)
    inside = Returned("reciprocity_laws", name)
    correct, flags = inside(lambda: (getattr(made, "correct", None), getattr(made, "flags", ())))
    if not callable(correct) or not _are_flags(flags):
        raise failure("reciprocity_laws", name, "did not return a law with correct(time_s)")
    return _CheckedLaw(name, correct, flags, inside)


def _are_flags(flags: Any) -> bool:
    return (
        isinstance(flags, tuple)
        and len(flags) <= MOST_FLAGS
        and all(isinstance(flag, Flag) and isinstance(flag.code, str) and isinstance(flag.text, str) for flag in flags)
    )


class _CheckedLaw:
    def __init__(self, name: str, correct: Any, flags: tuple[Flag, ...], inside: Returned) -> None:
        self._name, self._correct, self._inside = name, correct, inside
        self.flags = flags

    def correct(self, time_s: Any) -> Any:
        def corrected() -> Any:
            return _floats(self._correct(_read_only(time_s)))

        found = self._inside(corrected, refusals=(Impossible,))
        if found.shape != np.shape(time_s) or not (np.isfinite(found).all() and (found > 0).all()):
            raise failure(
                "reciprocity_laws",
                self._name,
                "returned what is not a time for each indicated time: an array comes back in its shape",
            )
        return found[()]


def ev100(name: str, values: Mapping[str, Any]) -> float:
    """EV at ISO 100 of a reading of the kind `name`."""
    ev = _finite(call("light_readings", name, refusals=(Impossible,), **values))
    if ev is None:
        raise failure("light_readings", name, "did not return an exposure value")
    if not -30 <= ev <= 30:
        raise Impossible("light_out_of_range", f"EV {ev:.1f} at ISO 100 is beyond any light on earth (−30 to 30).")
    return ev


def stored(plane: FilmPlane) -> dict[str, Any]:
    """A film plane as it is kept in a database: canonical units, read back by `film_plane(**stored)`."""
    return {
        "kind": plane.kind,
        "height_mm": plane.height_mm,
        "hole_offset_y_mm": plane.hole_offset_y_mm,
        **plane.parameters,
        **({"contributed_by": plugin} if (plugin := from_elsewhere("film_planes", plane.kind)) else {}),
    }


def missing_for(film_plane: Mapping[str, Any]) -> str:
    """What keeps a stored film plane from being made now: a sentence that names the plug-in, or ""."""
    return missing("film_planes", film_plane["kind"], film_plane.get("contributed_by", ""))
