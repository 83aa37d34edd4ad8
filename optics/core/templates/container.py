"""The container about the film in its horizontal section, as far as the film plane tells of it."""

from dataclasses import dataclass

from optics.core.film_planes import FilmPlane


@dataclass(frozen=True)
class Container:
    """Inside measures from the hole, mm: `left_mm` ≤ 0 ≤ `right_mm` across, `depth_mm` back from the hole's plate.

    A `round` one is a tin of that diameter. `told_by` says in words which measure of the camera these are.
    """

    left_mm: float
    right_mm: float
    depth_mm: float
    round: bool
    told_by: str

    @property
    def width_mm(self) -> float:
        return self.right_mm - self.left_mm


def container(plane: FilmPlane) -> Container:
    """The tin of a drum, the box a strip is bowed in; else the least box that holds both hole and film."""
    match plane.kind, plane.parameters:
        case "drum", {"diameter_mm": across}:
            return Container(-across / 2, across / 2, across, True, "the tin's inside diameter")
        case "bowed", {"width_mm": width, "depth_mm": depth, "hole_offset_x_mm": offset}:
            return Container(-width / 2 - offset, width / 2 - offset, depth, False, "the box's inside width and depth")
    return Container(
        left_mm=min(plane.least(lambda line: line.x_mm), 0.0),
        right_mm=max(-plane.least(lambda line: -line.x_mm), 0.0),
        depth_mm=-plane.least(lambda line: -line.z_mm),
        round=False,
        told_by="the smallest box that holds film and hole",
    )
