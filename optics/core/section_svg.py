"""The film plane's horizontal section as a drawing to scale: the hole's wall, the film, the rays to its ends."""

from collections.abc import Iterable
from html import escape

import numpy as np

from .film_planes import FilmPlane


def section_svg(plane: FilmPlane, *, title: str = "How the film lies") -> str:
    """SVG in mm, 1:1 when printed at its own size, seen from above, the hole at the bottom.

    No inline style, so that it stands under a strict content security policy; it says in words what it shows.
    """
    half = plane.length_mm / 2
    line = plane.columns(np.linspace(-half, half, 181))
    x, depth = line.x_mm, line.z_mm
    reach = float(max(np.abs(x).max(), depth.max() / 2))
    # A tall drawing keeps its writing legible as a wide one does.
    letter = max(reach * 2, float(depth.max())) / 26
    pad = 4 * letter
    left, width = float(-reach - pad), 2 * (reach + pad)
    top, height = float(-depth.max() - pad), float(depth.max()) + 2.2 * pad
    f, ends = plane.axis_distance_mm, (0, -1)
    rays = "".join(
        f'<line x1="0" y1="0" x2="{x[k]:.3f}" y2="{-depth[k]:.3f}" stroke-dasharray="{letter / 3:.2f}"/>' for k in ends
    )
    said = (
        f"Seen from above. The film is {plane.length_mm:.1f} mm long and {plane.height_mm:.1f} mm high; along the "
        f"hole's axis it is {f:.1f} mm away, at its nearest {plane.shortest_mm:.1f} mm, at its farthest corner "
        f"{plane.longest_mm:.1f} mm."
    )
    stroke = letter / 12
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.2f}mm" height="{height:.2f}mm" '
        f'viewBox="{left:.3f} {top:.3f} {width:.3f} {height:.3f}" role="img" font-family="sans-serif" '
        f'font-size="{letter:.3f}">'
        f"<title>{escape(title)}</title><desc>{escape(said)}</desc>"
        f'<rect x="{left:.3f}" y="{top:.3f}" width="{width:.3f}" height="{height:.3f}" fill="#fff"/>'
        f'<g stroke="#666" stroke-width="{stroke:.3f}" fill="none">{rays}'
        f'<line x1="0" y1="0" x2="0" y2="{-f:.3f}"/></g>'
        f'<g stroke="#111" stroke-width="{2 * stroke:.3f}" fill="none">'
        f'<line x1="{-reach:.3f}" y1="0" x2="{-letter / 4:.3f}" y2="0"/>'
        f'<line x1="{letter / 4:.3f}" y1="0" x2="{reach:.3f}" y2="0"/>'
        f'<polyline stroke-width="{4 * stroke:.3f}" points="{_points(zip(x, -depth, strict=True))}"/></g>'
        f'<g fill="#111"><text x="{letter / 2:.3f}" y="{-f / 2:.3f}">{f:.1f} mm</text>'
        f'<text x="0" y="{-depth.max() - letter:.3f}" text-anchor="middle">film {plane.length_mm:.1f} mm long</text>'
        f'<text x="0" y="{2 * letter:.3f}" text-anchor="middle">hole</text></g></svg>'
    )


def _points(points: Iterable[tuple[float, float]]) -> str:
    return " ".join(f"{x:.2f},{y:.2f}" for x, y in points)
