"""A camera as a sheet tells of it, whether it is registered, only designed, or a place in a workshop."""

from dataclasses import dataclass

from clubs.models import Camera, Club, Design
from optics.core.camera_plan import Hole
from optics.core.film_planes import FilmPlane


@dataclass(frozen=True)
class SheetCamera:
    """What a section of a sheet is told; lengths in mm.

    `revision` says which state of it this is, such as “spec 3”, and `since` from which day on; `measured_by` how its
    hole was come by: `given`, `counted`, `scanned`, `several`, or `planned`. `url` is where it is read, for a code to
    scan.
    """

    club: Club
    code: str
    name: str
    revision: str
    film_plane: FilmPlane
    hole: Hole
    focal_length_mm: float
    wall_thickness_mm: float
    url: str
    measured_by: str = "given"
    since: str = ""

    @property
    def f_number(self) -> float:
        return self.focal_length_mm / self.hole.diameter_mm

    @property
    def f_number_uncertainty(self) -> float:
        """One standard deviation, by the hole's alone; 0 where nobody said how well it is known."""
        return self.f_number * self.hole.uncertainty_mm / self.hole.diameter_mm


def of_camera(camera: Camera, *, wall_thickness_mm: float, url: str) -> SheetCamera:
    """A registered camera by the spec in force, which it must have."""
    spec = camera.spec
    if spec is None:
        raise ValueError(f"{camera} has no spec.")
    return SheetCamera(
        club=camera.club,
        code=camera.code,
        name=camera.name,
        revision=f"spec {spec.number}",
        film_plane=spec.as_film_plane(),
        hole=spec.as_hole(),
        focal_length_mm=spec.focal_length_mm,
        wall_thickness_mm=wall_thickness_mm,
        url=url,
        measured_by=spec.hole_measured_by,
        since=f"{spec.created_at:%Y-%m-%d}",
    )


def of_design(design: Design, *, url: str, code: str = "", name: str = "", revision: str = "") -> SheetCamera:
    """A camera built by a design, its hole as planned; without a `code` the design itself."""
    return SheetCamera(
        club=design.club,
        code=code or f"design {design.pk}",
        name=name or design.name,
        revision=revision or "as designed",
        film_plane=design.as_film_plane(),
        hole=design.as_hole(),
        focal_length_mm=design.focal_length_mm,
        wall_thickness_mm=design.wall_thickness_mm,
        url=url,
        measured_by="planned",
        since=f"{design.created_at:%Y-%m-%d}",
    )
