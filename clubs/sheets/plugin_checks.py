"""What is checked of contributed sections: that they can be set on both papers, of a flat camera and of a round one."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from typing import Any

from django.contrib.auth.models import AnonymousUser

from clubs.models import Club
from clubs.sheets.blocks import PAGES_MM, Faulty, checked
from clubs.sheets.camera import SheetCamera
from clubs.sheets.contributed import POINT
from optics import contributed
from optics.core.camera_plan import Hole
from optics.core.faults import Impossible
from optics.inputs import ByKind
from optics.plugin_checks import read_examples
from pinpool.plugins.registry import call

_FILM_PLANES: tuple[dict[str, Any], ...] = (
    {"kind": "flat", "width_mm": 90.0, "distance_mm": 60.0, "height_mm": 70.0},
    {"kind": "drum", "diameter_mm": 100.0, "length_mm": 150.0, "height_mm": 80.0},
)


class _Read(ByKind):
    """A section's parameters as its function takes them."""

    point, selector = POINT, "section"

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        return self.read(data)[1]


def sheet_section(name: str, bodies: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Faults of a section in each of its examples, asked for by nobody in particular."""

    def faults(values: dict[str, Any]) -> Iterator[str]:
        for film_plane, page in product(_FILM_PLANES, PAGES_MM):
            where = f"for a {film_plane['kind']} camera on {page}"
            try:
                section = call(
                    POINT, name, refusals=(Impossible,), camera=_camera(film_plane), actor=AnonymousUser(), **values
                )
                checked([section], page=page)
            except Impossible as fault:
                yield f"{where} it refuses its own example: {fault}"
            except Faulty as fault:
                yield from (f"{where} {each}" for each in fault.faults)

    yield from read_examples(_Read(), bodies, {"section": name}, faults)


def _camera(film_plane: dict[str, Any]) -> SheetCamera:
    """An invented camera that no database knows."""
    plane = contributed.film_plane(**film_plane)
    return SheetCamera(
        club=Club(name="Saltmarsh (invented)"), code="T1", name="Tea caddy", revision="spec 1", film_plane=plane,
        hole=Hole(0.3, 0.01, 0.1), focal_length_mm=plane.mean_mm, wall_thickness_mm=0.3,
        url="https://club.example/cameras/T1", since="2026-05-01",
    )  # fmt: skip
