"""The pages of designs that cameras are built by."""

from typing import Any

from clubs import designs
from clubs.models import Camera
from clubs.serializers_sheets import DesignOut
from clubs.sheets import issuing, of_cameras
from clubs.views_designs import DesignFilter
from clubs.web.base import ClubPage
from clubs.web.cameras import SHOWN_SHEETS, as_posted, for_sheets, for_specs
from clubs.web.drawings import section_of
from clubs.web.own import may_change_design
from pinpool.plugins.registry import contributions
from pinpool.web.lists import listed

#: The newest cameras that a design's page names.
SHOWN_CAMERAS = 50


class DesignsPage(ClubPage):
    """The club's designs, and the form for a new one."""

    template_name = "clubs/designs.html"
    action = "read_designs"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        page = listed(self.request, designs.designs_in(club=self.club), key="id", filters=DesignFilter)
        tiles = [(design, self._drawing(design, context["lengths"])) for design in page.results]
        return context | for_specs(self.club) | {"page": page, "tiles": tiles, "asked": self.request.GET}

    def _drawing(self, design: Any, lengths: Any) -> str:
        return section_of(design.film_plane, title=f"How the film lies in “{design.name}”", lengths=lengths)


class DesignPage(ClubPage):
    """One design: its sizes, the cameras built by it, its sheets."""

    template_name = "clubs/design.html"
    action = "read_designs"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        design = designs.design_in(club=self.club, id=self.kwargs["number"])
        built = Camera.objects.filter(club=self.club, design=design).order_by("-pk")[:SHOWN_CAMERAS]
        subject = of_cameras.subject_of(design)
        sheets = issuing.sheets_in(actor=self.membership).filter(subject=subject).defer("data").order_by("-number")
        kind = contributions("film_planes").get(design.film_plane["kind"])
        title = f"How the film lies in “{design.name}”"
        context |= for_sheets(self.club) | {
            "design": design,
            "sizes_of": DesignOut(design, context=context).data["film_plane"] | {"kind": kind.label if kind else "–"},
            "posted": as_posted(design.film_plane),
            "drawing": section_of(design.film_plane, title=title, lengths=context["lengths"]),
            "built": built,
            "can_change": may_change_design(self.membership, design),
            "sheets": sheets[:SHOWN_SHEETS],
            "subject": subject,
        }
        return context
