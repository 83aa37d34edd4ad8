"""The pages of cameras: the registry, and one camera with all that is kept of it."""

import json
from typing import Any

from django.db.models import Prefetch
from django.http import Http404

from clubs import photos, selectors
from clubs.models import Camera, CameraPhoto, CameraSpec, Club
from clubs.roles import allows
from clubs.serializers_specs import StoredFilmPlane
from clubs.sheets import issuing, of_cameras
from clubs.sheets.blocks import PAGES_MM
from clubs.sheets.contributed import POINT
from clubs.views_cameras import CameraFilter
from clubs.web import panels
from clubs.web.base import ClubPage
from clubs.web.differences import Difference
from clubs.web.drawings import section_of
from clubs.web.own import may_change_photo, may_with_camera
from optics.core.advice import BLADE_CAUTION
from optics.core.holes import NEEDLE_WARNING
from optics.core.sheet_cuts import NAMED_SHEETS
from optics.web.views import kinds_of
from pinpool.conf import setting
from pinpool.plugins.switches import offered
from pinpool.web.lists import listed

#: The newest sheets that a camera's page lists; the rest stand on the page of all sheets.
SHOWN_SHEETS = 5


def for_specs(club: Club) -> dict[str, Any]:
    """What a form needs that takes the spec of a camera in a club."""
    cautions = {"blade_caution": BLADE_CAUTION.text, "needle_caution": NEEDLE_WARNING.text}
    return {"kinds": kinds_of("film_planes", "film_plane", club.plugins), "readings": range(3)} | cautions


def as_posted(film_plane: dict[str, Any]) -> str:
    """A stored film plane as JSON that posts the same one again."""
    return json.dumps(StoredFilmPlane().to_representation(film_plane))


def for_sheets(club: Club) -> dict[str, Any]:
    """What a form needs that issues a sheet of a camera or a design in a club."""
    titles = [(kind, title) for kind, (title, *_) in of_cameras.KINDS.items()]
    own = offered(POINT, on=())  # those have forms of their own
    sections = [each for each in kinds_of(POINT, "sections/0", club.plugins) if each.name not in own]
    return {
        "sheet_kinds": titles,
        "papers_mm": list(PAGES_MM),
        "sizes": list(NAMED_SHEETS),
        "sections": sections,
    }


class CamerasPage(ClubPage):
    """The registry: a tile for each camera, by what one looks for."""

    template_name = "clubs/cameras.html"
    action = "read_cameras"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        first = Prefetch("photos", CameraPhoto.objects.order_by("added_at"))
        rows = selectors.cameras_in(club=self.club).prefetch_related(first)
        page = listed(self.request, rows, key="code", filters=CameraFilter)
        tiles = [self._tile(camera, context["lengths"]) for camera in page.results]
        return context | for_specs(self.club) | {"page": page, "tiles": tiles, "asked": self.request.GET}

    def _tile(self, camera: Camera, lengths: Any) -> dict[str, Any]:
        spec, photo = camera.spec, next(iter(camera.photos.all()), None)
        title = f"How the film lies in {camera.code}"
        drawing = section_of(spec.film_plane, title=title, lengths=lengths) if spec and not photo else ""
        return {"camera": camera, "spec": spec, "photo": photo, "drawing": drawing}


class CameraPage(ClubPage):
    """One camera: what it is, what it was, whose it is and who has it, its photos, its sheets, what its log says."""

    template_name = "clubs/camera.html"
    action = "read_cameras"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        camera = selectors.camera_in(club=self.club, code=self.kwargs["code"])
        spec, lengths = camera.spec, context["lengths"]
        title = f"How the film lies in {camera.code}"
        context |= {
            "camera": camera,
            "spec": spec,
            "specs": sorted(camera.specs.all(), key=lambda each: -each.number),
            "drawing": section_of(spec.film_plane, title=title, lengths=lengths) if spec else "",
            "posted": as_posted(spec.film_plane) if spec else "",
            "kept": self._kept(spec) if spec else {},
            "difference": self._difference(camera, lengths),
            "can": may_with_camera(self.membership, camera),
            "photos": [
                (photo, may_change_photo(self.membership, camera, photo)) for photo in photos.photos_of(camera=camera)
            ],
            "most_megabytes": setting("MAX_SCAN_BYTES") // 10**6,
            "sheets": self._sheets(camera),
            "subject": of_cameras.subject_of(camera),
        }
        context |= for_specs(self.club) | for_sheets(self.club) | self._people()
        about = {"camera": camera, "membership": self.membership}
        return context | {"panels": panels.shown("camera", self.request, context, **about)}

    def _kept(self, spec: CameraSpec) -> dict[str, str]:
        """What a new spec keeps of the one in force unless somebody says otherwise: its plate, and a nominal length."""
        kept = {"plate": f"{spec.plate_thickness_mm!r} mm"}
        return kept | ({"focal_length": f"{spec.focal_length_mm!r} mm"} if "focal_length" in spec.typed else {})

    def _people(self) -> dict[str, Any]:
        members = [] if not allows(self.membership.role, "read_members") else selectors.members_in(club=self.club)
        people = sorted(members, key=lambda each: each.user.get_username())
        return {"people": people, "owners": [each for each in people if allows(each.role, "register_camera")]}

    def _sheets(self, camera: Camera) -> Any:
        rows = issuing.sheets_in(actor=self.membership).filter(subject=of_cameras.subject_of(camera))
        return rows.defer("data").order_by("-number")[:SHOWN_SHEETS]

    def _difference(self, camera: Camera, lengths: str) -> Difference | None:
        """Between the two specs that the address names; the last two where it names none."""
        specs = sorted(camera.specs.all(), key=lambda each: each.number)
        if len(specs) < 2:
            return None
        asked = self.request.GET
        old = self._spec(camera, asked.get("from") or str(specs[-2].number))
        new = self._spec(camera, asked.get("to") or str(specs[-1].number))
        return Difference(old, new, lengths)

    def _spec(self, camera: Camera, number: str) -> CameraSpec:
        if not (number.isascii() and number.isdigit() and len(number) < 10):
            raise Http404
        return selectors.spec_of(camera=camera, number=int(number))
