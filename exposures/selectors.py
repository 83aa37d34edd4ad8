"""What may be read of papers and logs, and what the logs say."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import Q, QuerySet
from django.http import Http404

from clubs.models import Camera, CameraSpec, Club, Membership
from clubs.selectors import membership_in
from exposures.models import Doubt, ExposureLog, Paper, Pool
from exposures.pooled import Pooled, pooled
from exposures.published import published_law
from exposures.reciprocity.optimiser import Run
from exposures.reciprocity.recommendation import LineLaw
from exposures.reciprocity.result import Evidence, PaperAnswer
from exposures.scopes import Scope, pool_of
from optics.core.faults import Flag, Impossible
from optics.core.reciprocity import Law
from pinpool.prepared import Prepared, Told, columns_of, model_from

#: What it takes of a camera, and of its specs, to expose with it; in the order of the models, as `from_db` takes them.
OF_CAMERA = ("id", "club_id", "code")
OF_SPECS = ("id", "camera_id", "number", "hole_diameter_mm", "hole_uncertainty_mm", "f_number", "created_at")
#: Below this slope (an exponent above 5) the logs contradict each other, and no time can be read from them.
LEAST_SLOPE = 0.2


def papers_in(*, club: Club) -> QuerySet[Paper]:
    return Paper.objects.filter(club=club)


def paper_in(*, club: Club, id: uuid.UUID) -> Paper:  # noqa: A002  (the contract's key)
    for row in _paper(club=club.pk, id=id):
        found: Paper = model_from(Paper, iter(row))
        found.club = club
        return found
    raise Http404


@Prepared
def _paper() -> QuerySet:
    club, key = Told("club", Paper._meta.get_field("club")), Told("id", Paper._meta.pk)
    return Paper.objects.filter(club=club, pk=key).values_list(*columns_of(Paper))


def camera_to_expose(*, club: Club, code: str) -> Camera:
    """The club's camera with this code, whatever its case; of it and its specs only what exposing with it takes."""
    rows = list(_specs_to_expose(club=club.pk, code=code.upper()))
    if not rows:
        raise Http404
    database = Camera.objects.db
    camera = Camera.from_db(database, OF_CAMERA, rows[0][: len(OF_CAMERA)])
    camera.club = club
    camera.known_specs = [CameraSpec.from_db(database, OF_SPECS, row[len(OF_CAMERA) :]) for row in rows]
    for spec in camera.known_specs:
        spec.camera = camera
    return camera


@Prepared
def _specs_to_expose() -> QuerySet:
    club, code = Told("club", Camera._meta.get_field("club")), Told("code", Camera._meta.get_field("code"))
    rows = CameraSpec.objects.filter(camera__club=club, camera__code=code)
    return rows.values_list(*(f"camera__{name}" for name in OF_CAMERA), *OF_SPECS)


@dataclass(frozen=True)
class PaperKnown:
    """A paper and what is known of it; `quantile` errors to either side hold 90 %."""

    paper: Paper
    answer: PaperAnswer
    quantile: float

    @property
    def exposure_index(self) -> float:
        """The index it really has, below 1 s."""
        return self.paper.nominal_exposure_index * self.answer.index_factor

    @property
    def exposure_index_interval(self) -> tuple[float, float]:
        """Where that lies with 90 %."""
        reach = self.quantile * self.answer.speed_error_stops
        return self.exposure_index * 2**-reach, self.exposure_index * 2**reach

    @property
    def for_a_minute_s(self) -> float:
        """The time to give where 1 min is indicated, s; infinite where no time would do."""
        return self.answer.line.right_time_s(60.0)


def known_of(papers: Iterable[Paper], club: Club) -> list[PaperKnown]:
    """What is known of a club's papers, in the order given."""
    found = pooled(club)
    return [PaperKnown(paper, found.answer(paper), found.fit.quantile(0.9)) for paper in papers]


@dataclass(frozen=True)
class ModelShown:
    """A fit, in the words of the endpoint that shows it."""

    fingerprint: str
    pooled_with_others: bool
    evidence: Evidence
    papers: int
    doubtful_logs: int
    grades: list[dict[str, Any]]
    deviations: dict[str, float | None]
    criterion: float | None
    record: tuple[Run, ...]
    flags: tuple[Flag, ...]


def model_of(club: Club) -> ModelShown:
    """The fit behind every estimate of the club."""
    found = pooled(club)
    fit = found.fit
    names = ("speed", "slope", "correlation", "camera", "member")
    return ModelShown(
        fingerprint=found.scope.fingerprint,
        pooled_with_others=found.scope.pool.joined,
        evidence=Evidence.of(fit.cells),
        papers=len(np.unique(fit.cells.paper)),
        doubtful_logs=Doubt.objects.filter(club=club).exclude(text="").count(),
        grades=[{"grade": grade, "error_stops": error} for grade, error in sorted(fit.errors_stops.items())],
        deviations={name: fit.deviations.get(name) for name in names},
        criterion=fit.criterion,
        record=fit.record,
        flags=fit.flags,
    )


@dataclass(frozen=True)
class PoolShown:
    joined: bool
    clubs: int
    revision: int


def pool_shown(club: Club) -> PoolShown:
    pool = pool_of(club)
    return PoolShown(pool.joined, Pool.objects.filter(joined=True).exclude(club=club).count(), pool.revision)


@dataclass(frozen=True)
class CatalogueEntry:
    """A paper as clubs know it; `logs` are those that count for the club, of all that is merged into it."""

    key: str
    name: str
    family: str
    nominal_exposure_index: float
    own: bool
    merged_into: str | None
    logs: int


def catalogue_of(club: Club) -> list[CatalogueEntry]:
    """Every paper that counts for a club."""
    found = pooled(club)
    scope, cells = Scope(club), found.fit.cells
    own = set(papers_in(club=club).values_list("catalogue_key", flat=True))
    entries = []
    for key in scope.keys:
        root = scope.root(key)
        paper = scope.papers[root]
        logs = round(float(cells.logs[cells.paper == root].sum())) if len(cells) else 0
        name, family = (paper.name, paper.family) if root == key else key.split("|")
        into = None if root == key else root
        entries.append(CatalogueEntry(key, name, family, paper.nominal_exposure_index, key in own, into, logs))
    return entries


def exposures_for(*, reader: Membership) -> QuerySet[ExposureLog]:
    """The club's log as one member may see it, with what is shown of each entry."""
    rows = log_rows(club=reader.club_id, reader=reader.user_id)
    return rows.select_related("spec__camera", "member", "person", "picture", "corrects", "corrected_by")


def log_rows(*, club: Any, reader: Any) -> QuerySet[ExposureLog]:
    """A club's log as one account may see it, both by their keys: of the private entries its own alone."""
    return ExposureLog.objects.filter(Q(private=False) | Q(member_id=reader), club_id=club)


def exposure_for(*, reader: Membership, id: uuid.UUID) -> ExposureLog:  # noqa: A002  (the contract's key)
    found = exposures_for(reader=reader).filter(id=id).first()
    if found is None:
        raise Http404
    return found


def law_of(found: Pooled, paper: Paper) -> Law:
    """The law that the club goes by: pooled, or the data sheet's where nobody has logged the material."""
    published = published_law(paper)
    answer = found.answer(paper)
    if published is not None and not answer.evidence.logs:
        return published
    if answer.line.slope < LEAST_SLOPE:
        text = f"The logs of {paper.name} contradict each other; no time can be read from them. Look for doubtful ones."
        raise Impossible("no_law", text, "paper")
    return LineLaw(answer.line, answer.flags)


def law_of_paper(*, paper: str, actor: Any) -> Law:
    """The pooled law of a paper by id, for whoever may read its club; anything else is as if it did not exist."""
    missing = Impossible("unknown_paper", "There is no such paper, or none that you may see. Sign in?", "paper")
    try:
        found = Paper.objects.select_related("club").get(pk=uuid.UUID(paper))
    except (Paper.DoesNotExist, ValueError):
        raise missing from None
    if not actor.is_authenticated:
        raise missing
    try:
        membership_in(actor=actor, club=found.club.slug, action="read_exposures")
    except Http404:
        raise missing from None
    return law_of(pooled(found.club), found)
