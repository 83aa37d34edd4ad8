"""The film plane's horizontal section as a drawing to scale: the hole's wall, the film, its distances."""

from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from .film_planes import FilmPlane
from .lettering import ON_PHONE, Shown
from .say import Lengths, say_length

#: Lengths a scale bar may have, in the unit shown.
_BARS = [step * 10.0**power for power in range(-6, 5) for step in (1, 2, 5)]
_MM_PER = {"mm": 1.0, "in": 25.4}


def section_svg(
    plane: FilmPlane, *, title: str = "How the film lies", shown: Shown = ON_PHONE, lengths: Lengths = "mm"
) -> str:
    """SVG in mm, 1:1 when printed at its own size: seen from above, the scene at the top, the hole in (0, 0).

    Right is then right as seen from behind the camera. Its letters can be read where it is `shown`. Attributes only,
    no inline style, so that it stands under a strict content security policy; it says in words what it shows.
    """
    half = plane.length_mm / 2
    line = plane.columns(np.union1d(np.linspace(-half, half, 181), plane.profile.breaks_mm))
    x, depth = line.x_mm, line.z_mm
    deep, behind = float(depth.max()), plane.axis_distance_mm
    left, right, low, walls = _container(plane) or (float(x.min()), float(x.max()), deep, "")
    letter = shown.letter(lambda letter: _Frame(left, right, low, letter).size)
    frame = _Frame(left, right, low, letter)
    middle = (left + right) / 2
    under_film = deep if low > deep + 2.2 * letter else low
    bar = max(length for length in _BARS if length * _MM_PER[lengths] <= frame.width / 2)
    # A tin's own wall is round; only the plate on it is flat.
    plate = (-3 * letter, 3 * letter) if plane.kind == "drum" else (min(left, -letter), max(right, letter))
    side, across, margin, bar_at = right + 2 * letter, low + 3 * letter, frame.left + letter, low + 10.7 * letter

    def text(at_x: float, at_y: float, words: str, anchor: str = "middle") -> str:
        return f'<text x="{at_x:.3f}" y="{at_y:.3f}" text-anchor="{anchor}">{escape(words)}</text>'

    def say(length_mm: float) -> str:
        return say_length(length_mm, lengths)

    nearest, farthest = f"Nearest {say(plane.shortest_mm)},", f"farthest corner {say(plane.longest_mm)}."
    said = (
        f"Seen from above. The film is {say(plane.length_mm)} long and {say(plane.height_mm)} high; along the "
        f"hole's axis it is {say(behind)} away. {nearest} {farthest} "
        f"It sees {np.degrees(plane.field_of_view.horizontal_rad):.0f}° across."
    )
    thin, dashes = letter / 16, f"{letter / 2:.3f} {letter / 3:.3f}"
    bar_end = margin + bar * _MM_PER[lengths]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{frame.width:.3f}mm" height="{frame.height:.3f}mm" '
        f'viewBox="{frame.left:.3f} {frame.top:.3f} {frame.width:.3f} {frame.height:.3f}" role="img" '
        f'font-family="sans-serif" font-size="{letter:.3f}">'
        f"<title>{escape(title)}</title><desc>{escape(said)}</desc>"
        f'<rect x="{frame.left:.3f}" y="{frame.top:.3f}" width="{frame.width:.3f}" height="{frame.height:.3f}" '
        f'fill="#fff"/><g stroke="#767676" stroke-width="{thin:.3f}" fill="none">'
        f'<path d="M{x[0]:.3f} {depth[0]:.3f}L0 0L{x[-1]:.3f} {depth[-1]:.3f}" stroke-dasharray="{dashes}"/>'
        f'<path d="M0 {behind:.3f}H{side:.3f}M{plate[1]:.3f} 0H{side:.3f}"/></g>'
        f'<g stroke="#333" stroke-width="{thin:.3f}" fill="none">{walls}<path d="M0 0V{behind:.3f}"/>'
        f"{_dimension(side, 0, side, behind, letter)}{_dimension(left, across, right, across, letter)}"
        f"{_dimension(margin, bar_at, bar_end, bar_at, letter)}</g>"
        f'<g stroke="#111" fill="none"><path d="M{plate[0]:.3f} 0H{-letter / 4:.3f}M{letter / 4:.3f} 0H{plate[1]:.3f}" '
        f'stroke-width="{2 * thin:.3f}"/>'
        f'<polyline points="{_points(x, depth)}" stroke-width="{5 * thin:.3f}"/></g>'
        '<g fill="#111">'
        + text(0, -0.8 * letter, "hole")
        + text(side + 0.7 * letter, behind / 2 + 0.35 * letter, say(behind), "start")
        + text(middle, under_film + 1.5 * letter, f"film, {say(plane.length_mm)} long")
        + text(middle, across + 1.4 * letter, f"{say(right - left)} across")
        + text(margin, low + 6.4 * letter, "Seen from above, the scene at the top.", "start")
        + text(margin, low + 7.9 * letter, nearest, "start")
        + text(margin, low + 9.4 * letter, farthest, "start")
        + text(margin, bar_at + 1.6 * letter, f"{bar:g} {lengths} on a true print", "start")
        + "</g></svg>"
    )


@dataclass(frozen=True)
class _Frame:
    """The drawing's edges in mm about a container from `left_wall` to `right_wall`, `low` deep, by letter height."""

    left_wall: float
    right_wall: float
    low: float
    letter: float

    @property
    def left(self) -> float:
        return min(self.left_wall - 2 * self.letter, (self.left_wall + self.right_wall) / 2 - 12.5 * self.letter)

    @property
    def top(self) -> float:
        return -3 * self.letter

    @property
    def width(self) -> float:
        right = max(self.right_wall + 9 * self.letter, (self.left_wall + self.right_wall) / 2 + 12.5 * self.letter)
        return right - self.left

    @property
    def height(self) -> float:
        return self.low + 16.5 * self.letter

    @property
    def size(self) -> tuple[float, float]:
        return self.width, self.height


def _container(plane: FilmPlane) -> tuple[float, float, float, str] | None:
    """Left, right and depth of the walls about the film in mm, and their drawing, where it is known what they are."""
    match plane.kind, plane.parameters:
        case "drum", {"diameter_mm": across}:
            return -across / 2, across / 2, across, f'<circle cx="0" cy="{across / 2:.3f}" r="{across / 2:.3f}"/>'
        case "bowed", {"width_mm": width, "depth_mm": depth, "hole_offset_x_mm": offset}:
            left, right = -width / 2 - offset, width / 2 - offset
            return left, right, depth, f'<path d="M{left:.3f} 0V{depth:.3f}H{right:.3f}V0"/>'
    return None


def _dimension(x1: float, y1: float, x2: float, y2: float, letter: float) -> str:
    """A level or upright line with a bar across each end."""
    reach = letter / 3
    bar, dx, dy = (f"v{2 * reach:.3f}", 0.0, reach) if y1 == y2 else (f"h{2 * reach:.3f}", reach, 0.0)
    ends = "".join(f"M{x - dx:.3f} {y - dy:.3f}{bar}" for x, y in ((x1, y1), (x2, y2)))
    return f'<path d="M{x1:.3f} {y1:.3f}L{x2:.3f} {y2:.3f}{ends}"/>'


def _points(x: NDArray[np.float64], y: NDArray[np.float64]) -> str:
    return " ".join(f"{a:.3f},{b:.3f}" for a, b in zip(x.tolist(), y.tolist(), strict=True))
