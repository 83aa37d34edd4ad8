"""A section of a printed sheet: how much wider than high a small round thing becomes across the film.

Seen from the hole at a distance ρ in its own height, a small angle up covers ρ times itself on the film and the same
angle across ρ/cos θ, θ being how slanted the light comes in there: a round thing is drawn out by 1/cos θ.
"""

from typing import Any

import numpy as np


def stretch(*, camera: Any, actor: Any) -> dict[str, Any]:
    """A table of five places from the left edge to the right one, as seen from behind the camera."""
    profile = camera.film_plane.profile
    s = np.linspace(-0.5, 0.5, 5) * profile.length_mm
    x, z, nx, nz = profile.at(s)
    slant = np.hypot(x, z) / -(x * nx + z * nz)
    places = ["left edge", "half way left", "middle", "half way right", "right edge"]
    rows = [[place, f"{factor:.2f}"] for place, factor in zip(places, slant, strict=True)]
    note = "A round thing level with the hole is so many times as wide as high on the film."
    table = {"kind": "table", "columns": ["Where", "Drawn out"], "rows": rows, "note": note}
    return {"title": f"How far {camera.code} draws pictures out", "blocks": [table]}
