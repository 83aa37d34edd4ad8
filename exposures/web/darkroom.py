"""The darkroom page: the steps of a paper's process one after the other, then how the negatives came out."""

import json
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.http import Http404

from clubs.web.base import ClubPage
from exposures.darkroom import STEPS_S, Step, steps_of
from exposures.field_kit import process_of, with_process
from exposures.models import ExposureLog
from exposures.processes import ProcessOut, told_again
from exposures.selectors import exposures_for, papers_in
from exposures.sheets.darkroom_card import CHEMICALS_CAUTION, MAINS_CAUTION, NAMES, WASTE_CAUTION
from optics.core.say import say_stops, say_time

#: So many wait to be judged on one page, and so many of the camera's last ones stand beside.
MOST_WAITING, MOST_BESIDE = 20, 4
#: What may be chosen as a judgement by eye, in stops. Design judgement: nobody sees less than half a stop on paper.
JUDGED_STOPS = [half / 2 for half in range(-6, 7)]
REASON = "Judged in the darkroom."


@dataclass(frozen=True)
class Judged:
    """A log of before, and how it came out in words."""

    log: ExposureLog
    time: str
    came_out: str


class DarkroomPage(ClubPage):
    """`?paper=` chooses whose process runs, `?log=` which of one's own negatives is judged."""

    template_name = "exposures/darkroom.html"
    action = "log_exposure"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        rows = with_process(papers_in(club=self.club).filter(retired_at=None), self.membership)
        papers = list(rows.order_by("name"))
        paper = chosen(papers, self.request.GET.get("paper"), "pk")
        process = process_of(paper) if paper else None
        steps = [Shown(step) for step in (*steps_of(process), Step("wash", STEPS_S["wash"], 0.0))]
        own = exposures_for(reader=self.membership).select_related("paper")
        own = own.filter(member_id=self.membership.user_id, corrected_at=None).order_by("-taken_at", "-number")
        waiting = list(own.filter(result__isnull=True)[:MOST_WAITING])
        log = chosen(waiting, self.request.GET.get("log"), "id")
        return super().get_context_data(**kwargs) | {
            "papers": papers,
            "paper": paper,
            "process": process and ProcessOut(process).data,
            "steps": steps,
            "sources": {step.title: step.source for step in steps},
            "cautions": (CHEMICALS_CAUTION, MAINS_CAUTION, WASTE_CAUTION),
            "waiting": waiting,
            "log": log,
            "log_time": log and say_time(log.exposure_time_s),
            "told": told_of(log) if log else {},
            "beside": beside(own, log) if log else [],
            "stops": [(stops, say_stops(stops)) for stops in JUDGED_STOPS],
        }


def chosen(rows: Sequence[Any], wanted: str | None, key: str) -> Any:
    """The row of this key, the first where none is asked for, None of no rows."""
    if wanted is None:
        return rows[0] if rows else None
    for row in rows:
        if str(getattr(row, key)) == wanted:
            return row
    raise Http404


class Shown:
    """A step as the page shows it; times in s."""

    def __init__(self, step: Step) -> None:
        self.name, self.title, self.said = step.name, NAMES[step.name], step.said
        self.low_s, self.high_s, self.drain_s = step.time_s.low, step.time_s.high, step.drain_s
        self.source = step.time_s.source


def beside(own: Any, log: ExposureLog) -> list[Judged]:
    """The last of the member's negatives that came from the same camera and were judged."""
    rows = own.filter(spec__camera_id=log.spec.camera_id, result__isnull=False)[:MOST_BESIDE]
    return [Judged(row, say_time(row.exposure_time_s), came_out(row)) for row in rows]


def came_out(log: ExposureLog) -> str:
    """How a judged log came out, in words."""
    if log.right_time_s is not None:
        return f"{say_time(log.right_time_s)} would have been right"
    stops = log.result_stops or 0.0
    if abs(stops) < 0.05:
        return "just right"
    return f"{say_stops(abs(stops)).removeprefix('+')} {'over' if stops > 0 else 'under'}"


def told_of(log: ExposureLog) -> dict[str, str]:
    """The fields of the correction that judges a log, each as JSON: the whole entry again under an id of its own."""
    place = {name: f"{degrees} deg" for name, degrees in (log.place or {}).items()}
    told = {
        "id": str(uuid.uuid4()),
        "camera": log.spec.camera.code,
        "paper": str(log.paper_id),
        "taken_at": log.taken_at.isoformat(),
        "reading": log.reading,
        "filter_stops": log.filter_stops,
        "exposure_time": log.typed_time,
        "process": told_again(log.process),
        "note": log.note,
        "place": place,
        "visibility": log.visibility,
        "reason": REASON,
    }
    return {name: json.dumps(value) for name, value in told.items() if value not in (None, "", {})}
