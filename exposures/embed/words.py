"""A camera in words, as its card on another site says them: one wording, whatever draws it."""

from typing import NamedTuple

import numpy as np

from clubs.models import CameraSpec
from optics.core.film_planes import FilmPlane
from optics.core.say import Lengths, say_length
from optics.templatetags import pinpool_said as said
from pinpool.plugins.registry import contributions


class Figure(NamedTuple):
    """A figure that a camera is known by."""

    label: str
    text: str


def figures_of(spec: CameraSpec, lengths: Lengths, *, exactly: bool) -> list[Figure]:
    """What it takes to tell one camera from another; `exactly`: with how well its hole is known."""
    hole = said.length(spec.hole_diameter_mm, lengths)
    if exactly and spec.hole_uncertainty_mm:
        hole += f", give or take {said.length(spec.hole_uncertainty_mm, lengths)}"
    return [
        Figure("F-number", said.f_number(spec.f_number)),
        Figure("Hole", hole),
        Figure("Focal length", said.length(spec.focal_length_mm, lengths)),
    ]


def lie_of_the_film(plane: FilmPlane, lengths: Lengths) -> str:
    """How the film lies and what it sees."""
    kind = contributions("film_planes")[plane.kind].label
    long, high, near, far = (
        say_length(mm, lengths) for mm in (plane.length_mm, plane.height_mm, plane.shortest_mm, plane.longest_mm)
    )
    view = plane.field_of_view
    across, down = np.rad2deg(view.horizontal_rad), np.rad2deg(view.vertical_rad)
    return (
        f"{kind[:1].upper()}{kind[1:]}. The film is {long} long and {high} high, laid flat; in the camera it lies "
        f"{near} to {far} from the hole and sees {across:.0f}° across and {down:.0f}° down."
    )
