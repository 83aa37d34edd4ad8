"""What everybody may read of a club. What is not switched on does not exist: 404, as where there is no such club.

Of people nothing is told, nor of single logs. What a paper is like and how long to expose is the club's own estimate,
as its members see it: sums over logs that are not private, in which nobody stands alone by name.
"""

import uuid
from dataclasses import dataclass, replace
from functools import cached_property

from django.db.models import QuerySet
from django.http import Http404

from clubs.models import Camera, CameraSpec, Club
from exposures.embed.models import Embedding
from exposures.models import Paper
from exposures.pooled import pooled
from exposures.recommending import Recommendation, hole_error_stops, time_for
from exposures.scopes import camera_key
from exposures.selectors import PaperKnown, known_of
from exposures.sheets.exposure_card import of_camera, of_paper
from exposures.sheets.paper_times import ANYBODY, PaperTimes
from optics.core.film_planes import FilmPlane


@dataclass(frozen=True)
class Card:
    """A camera by the spec in force."""

    camera: Camera
    spec: CameraSpec

    @cached_property
    def plane(self) -> FilmPlane:
        """Asked only where it is shown: a `PluginFailed` where its plug-in is gone."""
        return self.spec.as_film_plane()


@dataclass(frozen=True)
class Curve:
    """What is known of a paper, and that in words."""

    known: PaperKnown
    text: str


def embedding_at(*, club: str) -> Embedding:
    """What the club with this slug lets everybody read; 404 where that is nothing."""
    found = Embedding.objects.select_related("club").filter(club__slug=club).first()
    if found is None or not (found.registry or found.cameras.exists() or found.papers.exists()):
        raise Http404
    return found


def cameras_on(embedding: Embedding) -> QuerySet[Camera]:
    """Those whose cards may be read; one that was never specified has none."""
    return embedding.cameras.filter(specs__isnull=False).distinct().order_by("code")


def papers_on(embedding: Embedding) -> QuerySet[Paper]:
    return embedding.papers.order_by("name")


def registry_of(embedding: Embedding) -> QuerySet[Camera]:
    """The cameras in use, where the list of them may be read."""
    if not embedding.registry:
        raise Http404
    rows = Camera.objects.filter(club=embedding.club, retired_at=None, specs__isnull=False).distinct()
    return rows.prefetch_related("specs")


def camera_on(embedding: Embedding, *, code: str) -> Card:
    camera = cameras_on(embedding).filter(code=code.upper()).prefetch_related("specs").first()
    if camera is None or camera.spec is None:
        raise Http404
    return Card(camera, camera.spec)


def paper_on(embedding: Embedding, *, id: uuid.UUID) -> Paper:  # noqa: A002  (the contract's key)
    found = papers_on(embedding).filter(pk=id).first()
    if found is None:
        raise Http404
    return found


def curve_of(paper: Paper, club: Club) -> Curve:
    [known] = known_of([paper], club)
    return Curve(known, f"{of_paper(PaperTimes(pooled(club), paper))}.")


def time_at(*, card: Card, paper: Paper, club: Club, reading: float) -> Recommendation:
    """The time to give at an EV for ISO 100, whoever exposes: how much members differ is in its range."""
    spec, known = card.spec, pooled(club)
    camera = camera_key(spec.pk)
    found = time_for(
        known,
        paper=paper,
        f_number=spec.f_number,
        hole_stops=hole_error_stops(spec.hole_diameter_mm, spec.hole_uncertainty_mm),
        camera=camera,
        member=ANYBODY,
        reading=reading,
    )
    times = PaperTimes(known, paper, camera=camera)
    rests = (f"{paper.name}: {of_paper(times)}.", f"{card.camera.code}: {of_camera(times)}.")
    return replace(found, because=(found.because[0], *rests))
