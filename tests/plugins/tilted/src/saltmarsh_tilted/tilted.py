"""A flat sheet turned about its upright middle line: one side of the picture is drawn out, the other pushed together.

With the sheet's middle at the distance D behind the plate and turned by φ, the point at s along the sheet lies at
x = s·cos φ, z = D + s·sin φ, and the sheet is D·cos φ from the hole along its own normal. The light of an even scene,
L·A·cos θ_plate·cos θ_film/r² with cos θ_plate = z/r and cos θ_film = D·cos φ/r, is then z·D³/r⁴ of that in the middle.
"""

import numpy as np

from optics.core.faults import Impossible
from optics.core.profiles import Floats, Profile


def tilted(*, width_mm: float, distance_mm: float, turn_rad: float, hole_offset_x_mm: float = 0.0) -> Profile:
    """The sheet as a profile; raises `Impossible` where an edge would reach through the plate."""
    sin, cos = float(np.sin(turn_rad)), float(np.cos(turn_rad))
    room = distance_mm - width_mm / 2 * abs(sin)
    if room <= 0:
        text = f"Turned so far an edge of the sheet would stand {-room:.3g} mm before the plate; turn it less."
        raise Impossible("through_the_plate", text, "turn")

    def at(s: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        one = np.ones_like(s)
        return s * cos - hole_offset_x_mm, distance_mm + s * sin, sin * one, -cos * one

    return Profile(width_mm, at, shape="tilted")
