"""What other sites load and link to: the script, pages of ours with the same parts; and the keeper's switches."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.generic import View

from clubs.selectors import cameras_in
from clubs.web.base import ClubPage
from exposures.embed import selectors, services
from exposures.embed.models import Embedding
from exposures.embed.script import script
from exposures.selectors import papers_in
from pinpool.web.pages import Page, protect

#: So long a page may keep the script without asking whether it is still the same, s.
SCRIPT_KEPT_S = 3600


class ScriptFile(View):
    """The script, for pages of any origin; what it then may read, each club says."""

    http_method_names = ["get", "head", "options"]

    def get(self, request: HttpRequest, version: str) -> HttpResponseBase:
        found = script(version)
        tag = f'"{found.integrity}"'
        same = tag in request.headers.get("If-None-Match", "")
        headers = {
            "Access-Control-Allow-Origin": "*",
            "Cross-Origin-Resource-Policy": "cross-origin",
            "Cache-Control": f"public, max-age={SCRIPT_KEPT_S}",
            "ETag": tag,
        }
        content = b"" if same else found.content
        return protect(
            HttpResponse(content, status=304 if same else 200, content_type="text/javascript; charset=utf-8",
                         headers=headers)
        )  # fmt: skip


class PublicPage(Page):
    """A page for everybody, of what a club lets everybody read; anything else is not there."""

    embedding: Embedding

    def show(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        self.embedding = selectors.embedding_at(club=kwargs["club"])
        return super().show(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        papers = selectors.papers_on(self.embedding)
        more = {"club": self.embedding.club, "embedding": self.embedding, "papers": papers, "script": script()}
        return super().get_context_data(**kwargs) | more


class PublicClubPage(PublicPage):
    """All that the club shows, with the way to each part."""

    template_name = "exposures/embed_club.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | {"cameras": selectors.cameras_on(self.embedding)}


class PublicRegistryPage(PublicPage):
    """The club's cameras in use."""

    template_name = "exposures/embed_registry.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | {"cameras": selectors.registry_of(self.embedding).order_by("code")}


class PublicCameraPage(PublicPage):
    """A camera's card, and the times to give with it."""

    template_name = "exposures/embed_camera.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        card = selectors.camera_on(self.embedding, code=self.kwargs["code"])
        return super().get_context_data(**kwargs) | {"camera": card.camera, "spec": card.spec}


class PublicPaperPage(PublicPage):
    """A paper's curve."""

    template_name = "exposures/embed_paper.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        paper = selectors.paper_on(self.embedding, id=self.kwargs["id"])
        curve = selectors.curve_of(paper, self.embedding.club)
        return super().get_context_data(**kwargs) | {"paper": paper, "curve": curve}


@dataclass(frozen=True)
class Snippet:
    """What a site's author copies into a page to show one part, and our own page that shows the same."""

    title: str
    text: str
    page: str


class SwitchesPage(ClubPage):
    """What everybody may read, on which sites, and what to copy into their pages."""

    action = "switch_embeds"
    template_name = "exposures/embed_switches.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        embedding = services.embedding_of(self.club)
        cameras_on = list(selectors.cameras_on(embedding))
        papers_on = list(selectors.papers_on(embedding))
        address = script().address(self.request)
        return super().get_context_data(**kwargs) | {
            "embedding": embedding,
            "origins": "\n".join(embedding.origins),
            "cameras": cameras_in(club=self.club).filter(specs__isnull=False).distinct().order_by("code"),
            "papers": papers_in(club=self.club).order_by("name"),
            "codes_on": [camera.code for camera in cameras_on],
            "ids_on": [str(paper.pk) for paper in papers_on],
            "script": script(),
            "script_address": address,
            "server": self.request.build_absolute_uri("/").removesuffix("/"),
            "snippets": self._snippets(embedding, cameras_on, papers_on),
        }

    def _snippets(self, embedding: Embedding, cameras: list[Any], papers: list[Any]) -> list[Snippet]:
        """For each part that is switched on."""
        club, found = embedding.club.slug, []
        if embedding.registry:
            found.append(self._snippet("All cameras in use", "registry", reverse("embed_web:cameras", args=[club])))
        for camera in cameras:
            page, named = reverse("embed_web:camera", args=[club, camera.code]), f"{camera.code}, {camera.name}"
            found.append(self._snippet(f"{named}: its card", "camera", page, camera=camera.code))
            if papers:
                found.append(self._snippet(f"{named}: times to give", "exposure", page, camera=camera.code))
        for paper in papers:
            page = reverse("embed_web:paper", args=[club, paper.pk])
            found.append(self._snippet(f"{paper.name}: its curve", "curve", page, paper=paper.pk))
        return found

    def _snippet(self, title: str, part: str, page: str, **named: Any) -> Snippet:
        told = {
            "part": part,
            "club": self.club,
            "named": named,
            "title": title,
            "page": self.request.build_absolute_uri(page),
        }
        return Snippet(title, render_to_string("exposures/embed_snippet.html", told).strip(), page)
