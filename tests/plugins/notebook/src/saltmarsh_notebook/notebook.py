"""Notebooks as the README has them, read to the rows of a log.

What each part of an entry says is Pinpool's to read and to fault, row by row; only what is no notebook is refused here.
"""

import re
from collections.abc import Iterator

from optics.core.faults import Impossible
from pinpool.plugins.model import LogTable

TITLE = "Saltmarsh notebook 1"
COLUMNS = ("camera", "paper", "taken_at", "reading.ev", "exposure_time", "result.judged_stops", "note")
_CONTEXT = re.compile(r"camera (?P<camera>[^,|]+?)(?:, *paper (?P<paper>[^|]+))?|paper (?P<only>[^|]+)")
_JUDGED = re.compile(r"(?P<size>half a|[0-9]+(?:\.[0-9]+)?) stops? (?P<way>over|under)")

Row = list[str | float | None]


def table_of(*, content: bytes, name: str) -> LogTable:
    """The entries of a notebook; raises `Impossible` for a file that is none."""
    try:
        lines = content.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise Impossible("no_notebook", f"{name} is no text in UTF-8.") from None
    if not lines or lines[0].strip() != TITLE:
        raise Impossible("no_notebook", f"{name} does not begin with the line “{TITLE}”.")
    return LogTable(COLUMNS, list(_rows(lines)))


def _rows(lines: list[str]) -> Iterator[Row]:
    camera: str | None = None
    paper: str | None = None
    for number, written in enumerate(lines[1:], 2):
        line = written.strip()
        if not line or line.startswith("#"):
            continue
        if "|" in line:
            yield [camera, paper, *_entry(line, number)]
        elif context := _CONTEXT.fullmatch(line):
            camera = context["camera"] or camera
            paper = context["paper"] or context["only"] or paper
        else:
            text = f"Line {number} is neither an entry nor a camera or paper: “{line[:60]}”."
            raise Impossible("notebook_line", text)


def _entry(line: str, number: int) -> Row:
    parts = [part.strip() for part in line.split("|", 4)]
    taken_at, reading, time, judged, note = [*parts, "", "", ""][:5]
    if not (taken_at and time):
        raise Impossible("notebook_line", f"Line {number} needs a date, a reading and a time, divided by |.")
    return [taken_at, reading.removeprefix("EV").strip(), time, _stops(judged, number), note or None]


def _stops(judged: str, number: int) -> float | None:
    if judged in {"", "right"}:
        return 0.0 if judged else None
    told = _JUDGED.fullmatch(judged)
    if told is None:
        raise Impossible("notebook_line", f"Line {number}: “{judged[:60]}” does not say how it came out.")
    size = 0.5 if told["size"] == "half a" else float(told["size"])
    return size if told["way"] == "over" else -size
