"""Film-plane profiles: how paper lies in a container, as a curve in the horizontal section.

Coordinates: the hole's plate lies in the plane z = 0 and z points into the container; x points across. The
curve is parametrised by its own length s, which is the horizontal coordinate on the negative once it is laid
flat: s = 0 in the middle, s from -length/2 to +length/2, left to right as seen from behind the camera. The
unit normal (nx, nz) points from the film to the side where the hole is.

Each function below returns a `Profile`. To add a shape, write one more such function.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.optimize import brentq

from .faults import Impossible

Floats = NDArray[np.float64]
Curve = Callable[[Floats], tuple[Floats, Floats, Floats, Floats]]

#: A measured profile that turns by more than this at one of its points has a corner there.
CORNER_RAD = np.deg2rad(40.0)


@dataclass(frozen=True)
class Profile:
    """A curve of `length_mm`; `at(s_mm)` gives x, z (mm) and the normal's nx, nz, each shaped like s.

    `breaks_mm` are the s where the curvature or direction jumps; quadrature should not straddle them.
    `shape` says in a word how the film lies where the same measurements allow more than one way.
    """

    length_mm: float
    at: Curve
    breaks_mm: tuple[float, ...] = ()
    shape: str = ""


def _positive(**sizes_mm: float) -> None:
    for name, size in sizes_mm.items():
        if not (np.isfinite(size) and size > 0):
            raise Impossible("not_positive", "This length must be more than zero.", name.removesuffix("_mm"))


def _at_most(limit_mm: float) -> str:
    """A limit in words, rounded down to four digits, so that what the sentence allows is allowed."""
    unit = 10.0 ** (np.floor(np.log10(limit_mm)) - 3)
    return f"{np.floor(limit_mm / unit) * unit:.10g} mm"


def flat(*, width_mm: float, distance_mm: float, hole_offset_x_mm: float = 0.0) -> Profile:
    """A flat sheet `width_mm` wide at `distance_mm` behind the plate."""
    _positive(width_mm=width_mm, distance_mm=distance_mm)

    def at(s: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        one = np.ones_like(s)
        return s - hole_offset_x_mm, distance_mm * one, 0 * one, -one

    return Profile(width_mm, at, shape="flat")


def half_drum(*, radius_mm: float, length_mm: float, hole_offset_x_mm: float = 0.0) -> Profile:
    """A strip on an arc of `radius_mm` centred on the hole (before any offset); at most a half circle."""
    _positive(radius_mm=radius_mm, length_mm=length_mm)
    if length_mm > np.pi * radius_mm * (1 + 1e-12):
        raise Impossible(
            "strip_too_long",
            f"An arc of radius {radius_mm:g} mm in front of the hole's wall takes a strip of at most "
            f"{_at_most(np.pi * radius_mm)}; shorten the strip or widen the arc.",
            "length",
        )

    def at(s: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        sin, cos = np.sin(s / radius_mm), np.cos(s / radius_mm)
        cos = np.where(cos > 1e-11, cos, 0.0)  # the ends of a half circle lie in the hole's plane
        return radius_mm * sin - hole_offset_x_mm, radius_mm * cos, -sin, -cos

    return Profile(length_mm, at, shape="arc")


def drum(*, diameter_mm: float, length_mm: float, hole_offset_x_mm: float = 0.0) -> Profile:
    """A strip on the wall of a round tin, the hole in the wall opposite its middle.

    The offset runs along the tin's wall, with the plate lying on the wall where the hole is: that is the same
    as sliding the strip the other way.
    """
    _positive(diameter_mm=diameter_mm, length_mm=length_mm)
    radius = diameter_mm / 2
    room = 2 * (np.pi * radius - abs(hole_offset_x_mm))
    if length_mm >= room:
        raise Impossible(
            "strip_too_long",
            f"A tin {diameter_mm:g} mm across is {np.pi * diameter_mm:.1f} mm round; the strip would cover the "
            "hole. Shorten the strip"
            + (f" to less than {_at_most(room)}." if room > 0 else ", or move the hole nearer its middle."),
            "length",
        )

    def at(s: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        turn = (s - hole_offset_x_mm) / radius
        sin, cos = np.sin(turn), np.cos(turn)
        return radius * sin, radius * (1 + cos), -sin, -cos

    return Profile(length_mm, at, shape="arc")


def bow_half_angle(share: float) -> float:
    """The α in (0, π] with sin α / α = `share` in [0, 1): half the angle of an arc whose chord is that share."""
    return float(brentq(lambda a: np.sin(a) - share * a, 1e-9, 4.0, xtol=1e-15, rtol=1e-15))


def pressed_half_angle(slack: float) -> float:
    """The α in (0, π/2] with (α - sin α)/(1 - cos α) = `slack`, in (0, π/2 - 1]: each arc of a pressed strip."""
    # The left side lies between α/3 and α/2. For small α its difference drowns in rounding, and its series does not.
    if slack < 1e-3:
        return 3 * slack * (1 - 0.3 * slack**2)
    return float(brentq(lambda a: a - np.sin(a) - slack * (1 - np.cos(a)), 2 * slack, 3 * slack, xtol=1e-15))


def bowed(*, width_mm: float, depth_mm: float, length_mm: float, hole_offset_x_mm: float = 0.0) -> Profile:
    """A strip sprung between side walls, its ends at the hole's wall, its middle no deeper than `depth_mm`.

    Free, it lies on a circular arc with sin α/α = width/length, radius length/2α and depth R(1 - cos α). Where
    the back wall is nearer than that, its middle is pressed flat between two arcs tangent to the wall, with
    R(1 - cos α) = depth and R(α - sin α) = (length - width)/2. (SCIENCE §3, derived; the strip's stiffness is
    taken as even and its weight as nothing.) Valid while the arc meets the side walls, α ≤ π/2.
    """
    _positive(width_mm=width_mm, depth_mm=depth_mm, length_mm=length_mm)
    if length_mm <= width_mm:
        raise Impossible(
            "strip_too_short",
            f"A strip springs into a curve only if it is longer than the box is wide ({width_mm:g} mm); "
            "take a longer strip, or lay it flat.",
            "length",
        )
    longest = width_mm + min(depth_mm, width_mm / 2) * (np.pi - 2)
    if length_mm > longest * (1 + 1e-12):
        raise Impossible(
            "strip_too_long",
            f"Between walls {width_mm:g} mm apart, {depth_mm:g} mm deep, a strip of at most {_at_most(longest)} "
            f"springs into a curve; {length_mm:g} mm would bulge against the side walls. Shorten the strip.",
            "length",
        )
    half_angle = bow_half_angle(width_mm / length_mm)
    radius = length_mm / (2 * half_angle)
    depth, flat_half, shape = 2 * radius * np.sin(half_angle / 2) ** 2, 0.0, "arc"
    if depth > depth_mm * (1 + 1e-9):
        half_angle = pressed_half_angle((length_mm - width_mm) / (2 * depth_mm))
        radius = depth_mm / (2 * np.sin(half_angle / 2) ** 2)
        depth, flat_half, shape = depth_mm, max(0.0, width_mm / 2 - radius * float(np.sin(half_angle))), "pressed"

    def at(s: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        turn = np.sign(s) * np.maximum(np.abs(s) - flat_half, 0.0) / radius
        sin, cos = np.sin(turn), np.cos(turn)
        x = np.clip(s, -flat_half, flat_half) + radius * sin
        z = depth - 2 * radius * np.sin(turn / 2) ** 2
        z = np.where(z > 1e-12 * depth, z, 0.0)
        return x - hole_offset_x_mm, z, -sin, -cos

    return Profile(length_mm, at, (-flat_half, flat_half) if shape == "pressed" else (), shape)


def measured(*, points_mm: Floats, hole_offset_x_mm: float = 0.0) -> Profile:
    """A measured section: `points_mm`, shape (n ≥ 2, 2), of x and z in order along the film.

    A cubic spline in the chord's length runs through the points (straight for two, a parabola for three); it
    is split where the direction turns by more than `CORNER_RAD`, so a bent sheet keeps its bends. The spline
    invents what was not measured: five points on a quarter circle place it within about 0.1 %.
    """
    points = np.asarray(points_mm, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 2 or not np.isfinite(points).all():
        raise Impossible("points_shape", "Give at least two points, each as [x, z].", "points")
    if points[-1, 0] < points[0, 0]:
        points = points[::-1]
    if (points[:, 1] < 0).any():
        raise Impossible(
            "behind_the_hole", "Film cannot lie outside the hole's wall: every z must be 0 or more.", "points"
        )
    steps = np.diff(points, axis=0)
    chords = np.hypot(*steps.T)
    if (chords <= 1e-9 * chords.max()).any():
        raise Impossible("points_repeat", "Two neighbouring points are the same; leave one out.", "points")
    turns = np.abs(np.angle(np.exp(1j * np.diff(np.arctan2(steps[:, 1], steps[:, 0])))))
    corners = [0, *(np.flatnonzero(turns > CORNER_RAD) + 1), len(points) - 1]
    spans = [_Span(points[a : b + 1]) for a, b in pairwise(corners)]
    ends = np.cumsum([0.0, *(span.length for span in spans)])
    length = float(ends[-1])

    def at(s: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        along = np.clip(np.asarray(s, dtype=float) + length / 2, 0.0, length)
        which = np.clip(np.searchsorted(ends, along, side="right") - 1, 0, len(spans) - 1)
        out = np.empty((4, *along.shape))
        for k, span in enumerate(spans):
            mask = which == k
            out[:, mask] = span.at(along[mask] - ends[k])
        x, z, nx, nz = out
        z = np.where(np.abs(z) > 1e-12 * length, z, 0.0)  # a spline from z = 0 may start a rounding error outside
        return x - hole_offset_x_mm, z, nx, nz

    return Profile(length, at, tuple(ends[1:-1] - length / 2), "measured")


class _Span:
    """One smooth stretch of a measured profile, parametrised by its true length."""

    def __init__(self, points: Floats) -> None:
        knots = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        self._curve = CubicSpline(knots, points)
        self._slope = self._curve.derivative()
        fine = np.unique(np.concatenate([np.linspace(a, b, 33) for a, b in pairwise(knots)]))
        nodes, weights = np.polynomial.legendre.leggauss(5)
        middle, half = (fine[1:] + fine[:-1]) / 2, np.diff(fine) / 2
        speed = np.linalg.norm(self._slope(middle[:, None] + half[:, None] * nodes), axis=-1)
        lengths = np.concatenate([[0.0], np.cumsum(half * (speed @ weights))])
        self.length = float(lengths[-1])
        self._knot_at = PchipInterpolator(lengths, fine)

    def at(self, along: Floats) -> Floats:
        knot = self._knot_at(along)
        x, z = self._curve(knot).T
        dx, dz = self._slope(knot).T
        speed = np.hypot(dx, dz)
        return np.array([x, z, dz / speed, -dx / speed])
