"""What is checked of film planes, hole rules, receptors, laws and readings: shapes, limits, and what physics asks."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import numpy as np
from django.contrib.auth.models import AnonymousUser
from rest_framework.exceptions import ValidationError
from rest_framework.serializers import Field

from optics import contributed
from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.profiles import Floats
from optics.core.reciprocity import Law
from optics.inputs import FilmPlaneField, ReadingField, ReciprocityField, readings_told
from pinpool.http.problems import PluginFailed, faults_of
from pinpool.plugins import checking

Bodies = Sequence[Mapping[str, Any]]
Check = Callable[[Any], Iterable[str] | None]

#: A flag of this code is how a law says that it may ask for less than the indicated time.
SHORTENS = "shortens"
#: How closely a curve must keep to its own length and normals, and its light to the flux between its ends.
CLOSE = 1e-4
#: Points of a grid along the film, and the step of a derivative as a share of its length.
POINTS, STEP = 401, 1e-6
_TIMES_S = np.geomspace(1e-3, 1e5, 161)
_FOCAL_LENGTHS_MM = np.geomspace(10.0, 2000.0, 24)


def contribute_all() -> None:
    """Offer these checks to `pinpool.testing`."""
    checking.contribute("film_planes", film_plane)
    checking.contribute("reciprocity_laws", law)
    checking.contribute("hole_rules", hole_rule)
    checking.contribute("receptors", receptor)
    checking.contribute("light_readings", light_reading)


def read_examples(field: Field, bodies: Bodies, fixed: Mapping[str, str], check: Check) -> Iterator[str]:
    """The faults that `check` finds in what `field` reads of each body, and what the field or the core refuses."""
    field._context = {"request": SimpleNamespace(user=AnonymousUser())}  # type: ignore[attr-defined]
    for body in bodies:
        try:
            found = [*(check(field.run_validation({**fixed, **body})) or ())]
        except ValidationError as refused:
            found = [f"{pointer or 'it'}: {text}" for pointer, text in faults_of(refused.detail)]
        except PluginFailed as fault:
            found = [checking.said(fault)]
        yield from (f"with {dict(body)} {text}" for text in found)


# ------------------------------------------------------------------------------------------------- film planes


def film_plane(name: str, bodies: Bodies) -> Iterator[str]:
    """Faults of a film plane in each of its examples."""
    yield from read_examples(FilmPlaneField(), bodies, {"kind": name}, _film_plane_faults)


def _film_plane_faults(plane: FilmPlane) -> Iterator[str]:
    s = _inside(plane)
    parts = np.array(plane.profile.at(s))
    backwards = np.array(plane.profile.at(s[::-1]))[:, ::-1]
    one = np.array(plane.profile.at(s[7:8]))[:, 0]
    if not (np.allclose(parts, backwards, rtol=0, atol=1e-9) and np.allclose(parts[:, 7], one, rtol=0, atol=1e-9)):
        yield "its curve at one s depends on what else is asked for: let each point follow from its own s alone."
        return
    yield from _curve_faults(plane, s, parts)
    yield from _light_faults(plane)
    yield from _offset_faults(plane, s, parts)


def _inside(plane: FilmPlane) -> Floats:
    """Positions along the film that keep off its ends and breaks by more than a derivative's step."""
    length = plane.length_mm
    s = np.linspace(-0.499, 0.499, POINTS) * length
    breaks = np.array([*plane.profile.breaks_mm, length])
    return s[np.abs(s[:, None] - breaks).min(axis=1) > 4 * STEP * length]


def _curve_faults(plane: FilmPlane, s: Floats, parts: Floats) -> Iterator[str]:
    step = STEP * plane.length_mm
    x, z, nx, nz = parts
    after, before = plane.profile.at(s + step), plane.profile.at(s - step)
    dx, dz = (after[0] - before[0]) / (2 * step), (after[1] - before[1]) / (2 * step)
    speed = np.hypot(dx, dz)
    if (worst := _worst(speed - 1)) > CLOSE:
        at = s[np.abs(speed - 1).argmax()]
        yield (
            f"at s = {at:.4g} mm its curve runs {1 + worst:.6g} mm for each mm of s: s is the film's own length, so "
            "divide by the speed, or correct length_mm."
        )
    if (worst := _worst(np.hypot(nx, nz) - 1)) > CLOSE:
        yield f"its normals are up to {abs(worst):.3g} longer or shorter than 1: divide them by their length."
    elif np.abs(nx * dx + nz * dz).max() > CLOSE * max(1.0, float(speed.max())):
        yield "its normals are not square to its curve: (nx, nz) is (x', z') turned by a right angle."
    if (np.diff(np.arctan2(x, z)) <= 0).any():
        yield "it does not run from left to right all along, seen from the hole: let its bearing rise with s."


def _worst(off: Floats) -> float:
    return float(off[np.abs(off).argmax()])


def _light_faults(plane: FilmPlane) -> Iterator[str]:
    """Extruded without end, a film catches (π/2)(sin b₂ - sin b₁) between the bearings of its ends. [derived]"""
    nodes, weights = np.polynomial.legendre.leggauss(12)
    ends = np.unique([-plane.length_mm / 2, *plane.profile.breaks_mm, plane.length_mm / 2])
    flux = 0.0
    for low, high in (each for a, b in pairwise(ends) for each in pairwise(np.linspace(a, b, 33))):
        line = plane.columns((low + high) / 2 + (high - low) / 2 * nodes)
        light = np.pi / 2 * line.z_mm * line.facing_mm / line.reach2_mm2**1.5
        flux += float(light @ weights) * (high - low) / 2
    x, z, *_ = plane.profile.at(np.array([ends[0], ends[-1]]))
    expected = np.pi / 2 * float(np.diff(np.sin(np.arctan2(x, z)))[0])
    if not abs(flux - expected) <= 10 * CLOSE * expected:
        yield (
            f"it catches {flux / expected:.4f} of the light between its ends: its curve, its normals or its breaks_mm "
            "are not those of the film."
        )


def _offset_faults(plane: FilmPlane, s: Floats, parts: Floats) -> Iterator[str]:
    offset = float(plane.parameters["hole_offset_x_mm"])
    given = {key: value for key, value in plane.parameters.items() if key != "hole_offset_x_mm"}
    for shift in (0.01 * plane.length_mm, -0.01 * plane.length_mm):
        try:
            other = contributed.film_plane(
                plane.kind, height_mm=plane.height_mm, hole_offset_x_mm=offset + shift, **given
            )
        except Impossible:
            continue
        if other.length_mm == plane.length_mm and np.allclose(np.array(other.profile.at(s)), parts, rtol=0, atol=1e-9):
            yield "hole_offset_x_mm changes nothing: x counts from the hole, so a hole to the right moves film left."
        return


# ------------------------------------------------------------------------------------------ laws, rules, light


def law(name: str, bodies: Bodies) -> Iterator[str]:
    """Faults of a reciprocity law in each of its examples."""
    yield from read_examples(ReciprocityField(), bodies, {"law": name}, _law_faults)


def _law_faults(found: Law) -> Iterator[str]:
    try:
        times = np.asarray(found.correct(_TIMES_S), dtype=float)
        again = np.asarray(found.correct(_TIMES_S.reshape(7, 23)), dtype=float).ravel()
        singly = [float(found.correct(float(time))) for time in _TIMES_S[::40]]
    except Impossible as fault:
        yield f"it refuses some time between 1 ms and 28 hours ({fault}): answer, and say in `flags` what is doubtful."
        return
    if not (np.allclose(times, again, rtol=1e-9) and np.allclose(times[::40], singly, rtol=1e-9)):
        yield "it gives one time for a number and another in an array: let each time follow from its own alone."
        return
    if not (np.diff(times) > 0).all():
        at = _TIMES_S[1:][np.diff(times) <= 0][0]
        yield f"about {at:.3g} s a longer indicated time asks for no longer exposure: it must rise all along."
    short = times < _TIMES_S * (1 - 1e-9)
    if short.any() and SHORTENS not in {flag.code for flag in getattr(found, "flags", ())}:
        yield (
            f"at {_TIMES_S[short][0]:.3g} s it asks for less than the indicated time; if it is meant to, say so by a "
            f"flag of the code “{SHORTENS}”."
        )


def hole_rule(name: str, _bodies: Bodies) -> Iterator[str]:
    """Faults of a hole rule over focal lengths from 10 mm to 2 m, wavelengths of light, and near and far subjects."""

    rule = contributed.hole_rule(name)
    for wavelength_nm, subject_distance_mm in ((400.0, np.inf), (550.0, np.inf), (700.0, np.inf), (550.0, 500.0)):
        values = {"wavelength_nm": wavelength_nm, "subject_distance_mm": subject_distance_mm}
        found = np.array([rule.diameter_mm(focal_length_mm=float(focal), **values) for focal in _FOCAL_LENGTHS_MM])
        where = f"at {wavelength_nm:g} nm, for a subject {subject_distance_mm / 1000:g} m away,"
        if not (np.diff(found) > 0).all():
            yield f"{where} its hole does not grow with the focal length: the farther the film, the wider the hole."
        if (found >= _FOCAL_LENGTHS_MM).any():
            yield f"{where} its hole is wider than its distance from the film: give the diameter in mm."


def receptor(name: str, _bodies: Bodies) -> Iterator[str]:
    """Faults of a receptor."""
    found = contributed.receptor(name)
    if not (found.band_nm[0] >= 200 and found.band_nm[1] <= 1500):
        yield "its band reaches beyond 200 to 1500 nm, which no photographic material sees: give wavelengths in nm."


def light_reading(name: str, bodies: Bodies) -> Iterator[str]:
    """Faults of a light reading in each of its examples."""
    for body in bodies:
        if (told := readings_told(body)) != [name]:
            yield f"with {dict(body)} it is taken for {told or 'no reading'}: give just the keys that it must have."
            continue
        found: list[float] = []
        yield from read_examples(ReadingField(), [body, body], {}, found.append)
        if len(found) == 2 and found[0] != found[1]:
            yield f"with {dict(body)} it gives another EV each time: let it follow from what was read alone."
