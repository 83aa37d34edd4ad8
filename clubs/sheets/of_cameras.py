"""The sheets of one camera, registered or designed: put together and issued."""

from typing import Any, NamedTuple

from django.utils import timezone
from rest_framework.exceptions import ErrorDetail, ValidationError

from clubs.models import Camera, Design, IssuedSheet, Membership
from clubs.sheets import camera_spec, templates_sheet
from clubs.sheets.camera import SheetCamera, of_camera, of_design
from clubs.sheets.contributed import sections_for
from clubs.sheets.documents import document
from clubs.sheets.issuing import issue
from optics.core.faults import Impossible
from optics.inputs import refuse
from pinpool.http.problems import Conflict


class Section(NamedTuple):
    """A contributed section asked for, with its parameters as its function takes them."""

    name: str
    parameters: dict[str, Any]


def subject_of(camera: Camera | Design) -> str:
    """What a sheet's `subject` says of it."""
    return f"camera {camera.code}" if isinstance(camera, Camera) else f"design {camera.pk}"


def told(camera: Camera | Design, *, url: str, wall_thickness_mm: float | None = None) -> SheetCamera:
    """A camera as its sheets tell of it; the wall is the design's where nobody says otherwise.

    Raises `ValidationError` where nobody said, `Conflict` for a camera without a spec.
    """
    if isinstance(camera, Design):
        return of_design(camera, url=url)
    if camera.spec is None:
        raise Conflict("This camera has no spec that a sheet could tell of; add one first.")
    wall = wall_thickness_mm
    if wall is None and camera.design is not None:
        wall = camera.design.wall_thickness_mm
    if wall is None:
        text = "Say how thick the camera's wall is at the hole: it was built by no design that would."
        raise ValidationError({"wall_thickness": [ErrorDetail(text, "required")]})
    return of_camera(camera, wall_thickness_mm=wall, url=url)


def issue_sheet(
    *,
    actor: Membership,
    camera: SheetCamera,
    subject: str,
    kind: str,
    page: str,
    sheet_mm: tuple[float, float] | None,
    sections: list[Section],
) -> IssuedSheet:
    """Issue a sheet of this `kind`, contributed `sections` after its own."""
    title, own = KINDS[kind]
    try:
        made = own(camera, page, sheet_mm)
    except Impossible as fault:
        refuse(fault)
    made += sections_for(
        camera=camera,
        actor=actor,
        names=[section.name for section in sections],
        parameters=[section.parameters for section in sections],
        page=page,
    )
    facts = {"kind": kind, "title": title, "subtitle": f"{camera.name}, {camera.club.name}", "subject": subject}
    whole = document(**facts, page=page, made_at=timezone.now().isoformat(), sections=made)
    return issue(actor=actor, document=whole)


def _camera_spec(camera: SheetCamera, _page: str, sheet_mm: tuple[float, float] | None) -> list[dict[str, Any]]:
    return camera_spec.camera_spec(camera, sheet_mm=sheet_mm)


def _templates(camera: SheetCamera, page: str, _sheet_mm: tuple[float, float] | None) -> list[dict[str, Any]]:
    return templates_sheet.cutting_templates(camera, page=page)


#: What can be printed of a camera: its title, and what makes its own sections.
KINDS: dict[str, tuple[str, Any]] = {
    "camera_spec": (camera_spec.TITLE, _camera_spec),
    "templates": (templates_sheet.TITLE, _templates),
}
