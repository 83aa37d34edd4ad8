"""Cameras for the tests: one or two of each shape in round figures, and random ones. All invented."""

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

from optics.core.film_planes import FilmPlane
from optics.core.profiles import Profile, bowed, drum, flat, half_drum, measured


def wobbly_arc(radius_mm: float = 80.0, wobble: float = 0.1, points: int = 11, reach_rad: float = 1.2) -> NDArray:
    """Points [x, z] on an arc round the hole that swells and shrinks by the share `wobble`."""
    bearing = np.linspace(-reach_rad, reach_rad, points)
    reach = radius_mm * (1 + wobble * np.sin(3 * bearing + 0.5))
    return np.column_stack([reach * np.sin(bearing), reach * np.cos(bearing)])


#: A sheet bent twice, as a liner in a box: two wings at 60° to the back wall. Each wing is 40 mm, the back 80 mm.
BENT_SHEET = np.array([[-60.0, 60 - 40 * np.sin(np.pi / 3)], [-40, 60], [40, 60], [60, 60 - 40 * np.sin(np.pi / 3)]])

PROFILES: dict[str, Profile] = {
    "flat": flat(width_mm=127, distance_mm=70),
    "flat, hole to the right": flat(width_mm=127, distance_mm=40, hole_offset_x_mm=25),
    "arc sprung in a deep box": bowed(width_mm=171, depth_mm=80, length_mm=203),
    "arc, hole to the left": bowed(width_mm=171, depth_mm=80, length_mm=203, hole_offset_x_mm=-30),
    "strip pressed by the back wall": bowed(width_mm=171, depth_mm=35, length_mm=203),
    "tin": drum(diameter_mm=100, length_mm=200),
    "tin, nearly all round": drum(diameter_mm=100, length_mm=310),
    "tin, hole to the right": drum(diameter_mm=100, length_mm=180, hole_offset_x_mm=20),
    "arc round the hole": half_drum(radius_mm=80, length_mm=180),
    "half circle round the hole": half_drum(radius_mm=80, length_mm=80 * np.pi),
    "measured": measured(points_mm=wobbly_arc()),
    "bent sheet": measured(points_mm=BENT_SHEET, hole_offset_x_mm=5),
}
PLANES = {name: FilmPlane(profile, 90.0, 8.0) for name, profile in PROFILES.items()}


def scaled(profile: Profile, k: float) -> Profile:
    """The same curve `k` times as large."""

    def at(s: NDArray) -> tuple[NDArray, NDArray, NDArray, NDArray]:
        x, z, nx, nz = profile.at(s / k)
        return k * x, k * z, nx, nz

    return Profile(k * profile.length_mm, at, tuple(k * b for b in profile.breaks_mm))


def mirrored(profile: Profile) -> Profile:
    """The same curve with left and right exchanged."""

    def at(s: NDArray) -> tuple[NDArray, NDArray, NDArray, NDArray]:
        x, z, nx, nz = profile.at(-s)
        return -x, z, -nx, nz

    return Profile(profile.length_mm, at, tuple(-b for b in reversed(profile.breaks_mm)))


@st.composite
def profiles(draw: st.DrawFn) -> Profile:
    """Any profile that the hole sees all of, from a matchbox to a dustbin, with the hole off the middle."""

    def share(low: float, high: float) -> float:
        return draw(st.floats(low, high))

    size, off = share(20, 500), share(-0.8, 0.8)
    match draw(st.sampled_from(["flat", "bowed", "drum", "half_drum", "measured"])):
        case "flat":
            return flat(width_mm=size, distance_mm=size * share(0.1, 3), hole_offset_x_mm=off * size / 2)
        case "bowed":
            depth = size * share(0.05, 1)
            spare = min(depth, size / 2) * (np.pi - 2)
            length = size + spare * share(0.01, 1)
            return bowed(width_mm=size, depth_mm=depth, length_mm=length, hole_offset_x_mm=off * size / 2)
        case "drum":
            length = np.pi * size * share(0.05, 0.98)
            room = (np.pi * size - length) / 2
            return drum(diameter_mm=size, length_mm=length, hole_offset_x_mm=off * min(room, length / 2))
        case "half_drum":
            length = np.pi * size * share(0.05, 1)
            reach = size * np.sin(length / 2 / size)
            return half_drum(radius_mm=size, length_mm=length, hole_offset_x_mm=off * reach)
        case _:
            points = wobbly_arc(size, share(0, 0.15), draw(st.integers(7, 20)), share(0.3, 1.4))
            return measured(points_mm=points, hole_offset_x_mm=off * min(-points[0, 0], points[-1, 0]) / 4)


@st.composite
def film_planes(draw: st.DrawFn) -> FilmPlane:
    """A film plane on any of `profiles`, the hole off the middle in height too."""
    profile = draw(profiles())
    height = profile.length_mm * draw(st.floats(0.1, 2))
    return FilmPlane(profile, height, height * draw(st.floats(-0.45, 0.45)))
