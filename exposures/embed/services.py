"""What a keeper switches on for other web pages."""

from collections.abc import Iterable
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.http import Http404
from rest_framework.exceptions import ValidationError

from clubs.models import Camera, Club, Membership
from clubs.services import check_role
from clubs.trail import record
from exposures.embed.models import Embedding
from exposures.models import Paper
from pinpool.http.etags import Expected
from pinpool.http.problems import impossible


def embedding_of(club: Club) -> Embedding:
    """What the club lets others show; made where nobody asked before."""
    return Embedding.objects.filter(club=club).first() or Embedding.objects.get_or_create(club=club)[0]


def switch_embeds(*, actor: Membership, expected: Expected, facts: dict[str, Any]) -> Embedding:
    """Change what `facts` name: `origins`, `registry`, `cameras` by their codes, `papers` by their ids."""
    check_role(membership=actor, action="switch_embeds")
    club = actor.club
    embedding_of(club)
    chosen = {
        "cameras": _chosen(Camera.objects.filter(club=club), "code", facts.get("cameras"), "cameras"),
        "papers": _chosen(Paper.objects.filter(club=club), "pk", facts.get("papers"), "papers"),
    }
    with transaction.atomic():
        embedding = Embedding.objects.select_for_update().filter(club=club).first()
        if embedding is None:  # the club was closed meanwhile
            raise Http404
        expected.check(embedding.revision)
        before = _told(embedding)
        embedding.origins = facts.get("origins", embedding.origins)
        embedding.registry = facts.get("registry", embedding.registry)
        embedding.revision += 1
        embedding.save()
        for name, rows in chosen.items():
            if rows is not None:
                getattr(embedding, name).set(rows)
        after = _told(embedding)
        record(
            club=club,
            actor=actor.user,
            action="switch_embeds",
            subject="what other sites may show",
            before=before,
            after=after,
        )
    return embedding


def _chosen(rows: QuerySet[Any], key: str, wanted: Iterable[Any] | None, field: str) -> list[Any] | None:
    """The club's rows of these keys; None where nobody names any, and a fault for each that is not the club's."""
    if wanted is None:
        return None
    known = {getattr(row, key): row for row in rows}
    keys = [one.upper() if isinstance(one, str) else one for one in wanted]
    text = "There is none of these in the club."
    faults = {f"{place}": [impossible(text, f"unknown_{field}")] for place, one in enumerate(keys) if one not in known}
    if faults:
        raise ValidationError({field: faults})
    return [known[one] for one in keys]


def _told(embedding: Embedding) -> dict[str, Any]:
    """For the trail, papers by their names."""
    return {
        "origins": embedding.origins,
        "registry": embedding.registry,
        "cameras": sorted(embedding.cameras.values_list("code", flat=True)),
        "papers": sorted(embedding.papers.values_list("name", flat=True)),
    }
