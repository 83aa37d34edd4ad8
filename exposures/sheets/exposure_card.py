"""The card for the back of a camera: how long to expose in which light, and what that rests on."""

import re
import uuid
from collections.abc import Sequence
from datetime import datetime
from typing import Any

import numpy as np
from django.http import Http404
from django.utils import timezone

from clubs.models import CameraSpec, Club
from clubs.selectors import membership_in
from clubs.sheets.camera import SheetCamera
from exposures.models import Paper
from exposures.pooled import pooled
from exposures.reciprocity.doubts import say_count
from exposures.recommending import hole_error_stops
from exposures.scopes import camera_key
from exposures.selectors import papers_in
from exposures.sheets.paper_times import ANY_CAMERA, PaperTimes
from exposures.workshops.tables import LIGHTS
from optics.core.faults import Impossible
from optics.core.say import say_f_number, say_time

#: A card holds the tables of so many papers.
MOST_PAPERS = 2
LIGHT_NOTE = "EV at ISO 100. What the light looks like is common practice, no source: a meter goes before it."
#: What the marks of `TimeAt.said` mean.
MARKS = {
    "*": "outside the times that are known: a guess, so make a test strip.",
    "†": "longer than a day: the light will change.",
}
SUN_CAUTION = (
    "Never look at the sun directly, nor through any hole or finder: only through filters made to ISO 12312-2."
)


def card_for(*, camera: SheetCamera, actor: Any, papers: str) -> dict[str, Any]:
    """The card as a section of a sheet; `papers` are ids of the club's papers, separated by commas.

    Raises `Impossible` for a paper that the actor may not see, and for none or too many.
    """
    found = papers_for(actor=actor, club=camera.club, papers=papers)
    return exposure_card(camera=camera, club=camera.club, papers=found, made_at=timezone.now())


def papers_for(*, actor: Any, club: Club, papers: str) -> list[Paper]:
    """The papers of these ids that the actor, an account or a membership, may see, in the order given."""
    missing = Impossible("unknown_paper", "There is no such paper in this club, or none that you may see.", "papers")
    user = getattr(actor, "user", actor)
    if not user.is_authenticated:
        raise missing
    try:
        membership_in(actor=user, club=club.slug, action="ask_recommendation")
    except Http404:
        raise missing from None
    written = list(dict.fromkeys(part for part in re.split(r"[,\s]+", papers) if part))
    if not 1 <= len(written) <= MOST_PAPERS:
        raise Impossible("papers_count", f"Give the ids of 1 to {MOST_PAPERS} papers, separated by commas.", "papers")
    try:
        ids = [uuid.UUID(part) for part in written]
    except ValueError:
        raise missing from None
    rows = papers_in(club=club).in_bulk(ids)
    if len(rows) < len(set(ids)):
        raise missing
    return [rows[id] for id in dict.fromkeys(ids)]  # noqa: A001  (the contract's key)


def exposure_card(*, camera: SheetCamera, club: Club, papers: Sequence[Paper], made_at: datetime) -> dict[str, Any]:
    """The section: for each paper a table of lights with times, and below the fold what they rest on.

    A camera in the registry has the offset that its logs show; a design or a place that of a camera nobody has
    logged. Whoever exposes is nobody in particular: that members differ is in the intervals.
    """
    known, spec = pooled(club), registered_spec(camera)
    key = ANY_CAMERA if spec is None else camera_key(spec)
    times = [PaperTimes(known, paper, camera=key) for paper in papers]
    return card_of(camera, times, made_at=made_at)


def card_of(camera: SheetCamera, times: Sequence[PaperTimes], *, made_at: datetime) -> dict[str, Any]:
    """The same where the caller has the times of each paper, reckoned for this camera or for any."""
    blocks: list[dict[str, Any]] = [facts_of(camera)]
    tables = [lights_table(each, camera) for each in times]
    for each, table in zip(times, tables, strict=True):
        note = light_note(*tables) if table is tables[-1] else ""
        blocks += [{"kind": "text", "text": f"On {each.paper.name}"}, {**table, "note": note}]
    blocks += [{"kind": "fold"}, rests_on(times, made_at=made_at)]
    guess = [each.paper.name for each in times if not each.answer.evidence.logs]
    if guess:
        blocks.append({"kind": "text", "text": f"Nobody has logged {' or '.join(guess)}: expose a test strip first."})
    return {"title": f"Exposure card of {camera.name}", "blocks": [*blocks, {"kind": "caution", "text": SUN_CAUTION}]}


def registered_spec(camera: SheetCamera) -> int | None:
    """The id of the spec that a camera of the registry is told by; None for a design or a place."""
    number = re.fullmatch(r"spec ([1-9]\d{0,8})", camera.revision)
    if number is None:
        return None
    rows = CameraSpec.objects.filter(camera__club=camera.club, camera__code=camera.code, number=int(number[1]))
    return rows.values_list("pk", flat=True).first()


def facts_of(camera: SheetCamera) -> dict[str, Any]:
    """Which camera this is, and the hole that the times are for."""
    hole, planned = camera.hole, camera.measured_by == "planned"
    error = f" ± {hole.uncertainty_mm:.2g} mm" if hole.uncertainty_mm else ""
    spread = f" ± {camera.f_number_uncertainty:.0f}" if camera.f_number_uncertainty >= 0.5 else ""
    rows = [
        ["Camera", f"{camera.code}, {camera.name} ({camera.revision})"],
        ["Hole", f"{hole.diameter_mm:.3g} mm{error}{', as planned' if planned else ''}"],
        ["f-number", f"{say_f_number(camera.f_number)}{spread}"],
    ]
    return {"kind": "facts", "rows": rows}


def lights_table(times: PaperTimes, camera: SheetCamera) -> dict[str, Any]:
    """The time to give in every light, and where the right one lies nine times in ten."""
    hole_stops = hole_error_stops(camera.hole.diameter_mm, camera.hole.uncertainty_mm)
    rows = []
    for reading, light in LIGHTS:
        found = times.at(float(reading), f_number=camera.f_number, hole_stops=hole_stops)
        rows.append([f"{reading}", light, found.said, found.ninety_said])
    return {"kind": "table", "columns": ["EV", "Light", "Give", "Nine times in ten"], "rows": rows}


def light_note(*tables: dict[str, Any]) -> str:
    """What stands below tables of lights, with the marks that are in them."""
    cells = "".join(cell for table in tables for row in table["rows"] for cell in row)
    return " ".join([LIGHT_NOTE, *(f"{mark} {meaning}" for mark, meaning in MARKS.items() if mark in cells)])


def rests_on(times: Sequence[PaperTimes], *, made_at: datetime) -> dict[str, Any]:
    """How many logs the times are from, of which camera, and when they were reckoned."""
    rows = [[each.paper.name, of_paper(each)] for each in times]
    if times:
        rows.append(["This camera", of_camera(times[0])])
    rows += [
        ["Whoever exposes", "nobody in particular: that members' meters and eyes differ is in the range"],
        ["Reckoned on", f"{made_at:%Y-%m-%d}; print a new card when more has been logged"],
    ]
    return {"kind": "facts", "rows": rows}


def of_paper(times: PaperTimes) -> str:
    """What is known of a paper and by how many logs; whose they are is nobody's business on the back of a camera."""
    answer, paper = times.answer, times.paper
    evidence = answer.evidence
    index = f"an index of {paper.nominal_exposure_index * answer.index_factor:.2g}"
    exponent = "an exponent beyond any measure"
    if np.isfinite(answer.exponent):
        low, high = answer.exponent_interval
        upper = f"to {high:.2f}" if np.isfinite(high) else "or more"
        exponent = f"an exponent of {answer.exponent:.2f} ({low:.2f} {upper}) above 1 s"
    if evidence.logs:
        who = f"{say_count(evidence.members, 'member')} with {say_count(evidence.cameras, 'camera')}"
        shortest, longest = say_time(evidence.shortest_s), say_time(evidence.longest_s)
        times_said = f"at {shortest}" if shortest == longest else f"from {shortest} to {longest}"
        return f"{say_count(evidence.logs, 'log')} by {who}, {times_said}: {index}, {exponent}"
    if times.law is not None:
        nominal = f"an index of {paper.nominal_exposure_index:g}"
        return f"no logs; the times of its data sheet ({paper.published_source}), at {nominal}"
    if times.known.fit.point is not None:
        return f"no logs; other papers' put it at {index}, {exponent}"
    return f"no logs of any paper; its nominal index of {paper.nominal_exposure_index:g} and {exponent} are assumed"


def of_camera(times: PaperTimes) -> str:
    """How far the camera lies off its f-number, and by how many logs."""
    offset = times.offset
    error = f"± {offset.error_stops:.1f} stop"
    if not offset.evidence.logs:
        who = "nobody has logged it with this hole" if times.camera != ANY_CAMERA else "not built or not logged yet"
        return f"{who}; that cameras differ by {error} is in the range"
    off = f"{abs(offset.stops):.1f}"
    passes = "as much light as its f-number says" if off == "0.0" else f"{off} stop {_more(offset.stops)}"
    return f"passes {passes}, {error}, by {say_count(offset.evidence.logs, 'log')}; the times allow for it"


def _more(stops: float) -> str:
    return f"{'less' if stops < 0 else 'more'} light than its f-number says"
