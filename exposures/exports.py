"""The club's papers, cameras and log as CSV, row by row, under headings that an import understands.

A text cell that a spreadsheet would take for a formula begins with an apostrophe, which an import takes off again.
"""

import csv
import json
from collections.abc import Callable, Iterable, Iterator
from decimal import Decimal
from functools import partial
from typing import Any

from django.db.models import Q, QuerySet

from clubs.models import Camera, CameraSpec, Membership
from clubs.selectors import cameras_in
from clubs.serializers_specs import StoredFilmPlane
from exposures.imports.fields import fields_of
from exposures.models import ExposureLog, Paper
from exposures.processes import told_again
from exposures.selectors import papers_in

_RISKY = ("=", "+", "-", "@", "\t", "\r")
#: So that spreadsheets take the file for UTF-8.
BYTE_ORDER_MARK = "\ufeff"

Column = tuple[str, Callable[[Any], Any]]


def cell(value: Any) -> Any:
    """What is written for a value: numbers as they are, texts so that none is taken for a formula."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return value
    text = value if isinstance(value, str) else value.isoformat() if hasattr(value, "isoformat") else str(value)
    return f"'{text}" if text.startswith(_RISKY) else text


def csv_lines(*, actor: Membership, what: str) -> Iterator[str]:
    """The lines of `exposures`, `cameras` or `papers`; of private logs the actor's own alone."""
    rows, columns = _WHAT[what](actor)
    line: list[str] = []
    writer = csv.writer(_Lines(line))
    writer.writerow([heading for heading, _ in columns])
    yield BYTE_ORDER_MARK + line.pop()
    for row in rows:
        writer.writerow([cell(read(row)) for _, read in columns])
        yield line.pop()


class _Lines:
    """Takes what a CSV writer writes."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines

    def write(self, line: str) -> None:
        self.lines.append(line)


def _attribute(name: str, heading: str | None = None) -> Column:
    return heading or name, lambda row: getattr(row, name)


def _quantity(heading: str, name: str, unit: str) -> Column:
    """A column of the database as a person's quantity: 290.0 → “290 s”."""
    return heading, lambda row: None if getattr(row, name) is None else with_unit(getattr(row, name), unit)


def with_unit(value: float, unit: str) -> str:
    """Such as “290 s”, in full and without an exponent."""
    return f"{format(Decimal(repr(float(value))).normalize(), 'f')} {unit}"


def _name(user: Any) -> str | None:
    return user.get_username() if user is not None else None


# --------------------------------------------------------------------------------------------------------- log


def _told(log: ExposureLog, *, part: str, name: str) -> Any:
    """One key of the result or of the process, as it was written."""
    told = (log.result if part == "result" else told_again(log.process)) or {}
    value = told.get(name)
    return f"{value['value']} {value['unit']}" if isinstance(value, dict) else value


def _parts(part: str) -> list[Column]:
    names = [name for name in fields_of("exposures") if name.startswith(f"{part}.")]
    return [(name, partial(_told, part=part, name=name.partition(".")[2])) for name in names]


def _in_chunks(rows: QuerySet[ExposureLog], size: int = 1000) -> Iterator[ExposureLog]:
    """Logs in order. PostgreSQL would have found all of them before a cursor outside a transaction gives the first."""
    after: int | None = 0
    while after is not None:
        chunk = list(rows.filter(number__gt=after)[:size])
        yield from chunk
        after = chunk[-1].number if len(chunk) == size else None


def _exposures(actor: Membership) -> tuple[Iterable[Any], list[Column]]:
    rows = ExposureLog.objects.filter(Q(private=False) | Q(member=actor.user), club=actor.club).order_by("number")
    related = rows.select_related("spec__camera", "paper", "member", "person", "corrects", "corrected_by")
    return _in_chunks(related), [
        _attribute("id"),
        ("camera", lambda log: log.spec.camera.code),
        ("spec", lambda log: log.spec.number),
        ("paper", lambda log: log.paper.name),
        ("member", lambda log: _name(log.member)),
        # Apart from members: an import would take such a name for the account that has it.
        ("without account", lambda log: log.person and log.person.called),
        _attribute("taken_at"),
        _attribute("ev100", "reading.ev"),
        ("reading as written", lambda log: json.dumps(log.reading, ensure_ascii=False)),
        _attribute("filter_stops"),
        _attribute("f_number"),
        _attribute("exposure_index"),
        _quantity("indicated_time", "indicated_time_s", "s"),
        _quantity("exposure_time", "exposure_time_s", "s"),
        *_parts("result"),
        _attribute("result_stops"),
        _attribute("grade"),
        *_parts("process"),
        _attribute("note"),
        _quantity("place.latitude", "place_latitude", "deg"),
        _quantity("place.longitude", "place_longitude", "deg"),
        _attribute("visibility"),
        ("corrects", lambda log: log.corrects and log.corrects.id),
        ("corrected by", lambda log: log.corrected_by.id if hasattr(log, "corrected_by") else None),
        _attribute("reason"),
    ]


# ------------------------------------------------------------------------------------------- cameras and papers


def _shown(spec: CameraSpec, *, path: str) -> Any:
    """What stands at a dotted path of a spec's film plane, as a person would write it."""
    value: Any = StoredFilmPlane().to_representation(spec.film_plane)
    for step in path.split("."):
        value = value.get(step) if isinstance(value, dict) else None
    return with_unit(value["value"], value["unit"]) if isinstance(value, dict) else value


def _cameras(actor: Membership) -> tuple[Iterable[Any], list[Column]]:
    def of_spec(heading: str, read: Callable[[CameraSpec], Any]) -> Column:
        return heading, lambda camera: None if camera.spec is None else read(camera.spec)

    plane = "spec.film_plane."
    paths = [name.removeprefix(plane) for name in fields_of("cameras") if name.startswith(plane)]
    columns: list[Column] = [
        _attribute("code"),
        _attribute("name"),
        ("owner", lambda camera: _name(camera.owner)),
        ("club_owned", lambda camera: camera.owner_id is None),
        _attribute("note"),
        ("lent to", lambda camera: _name(camera.lent_to)),
        _attribute("lent_until"),
        _attribute("retired_at"),
        _attribute("registered_at"),
        of_spec("spec", lambda spec: spec.number),
        *(of_spec(plane + path, partial(_shown, path=path)) for path in paths),
        of_spec("spec.hole.diameter", lambda spec: with_unit(spec.hole_diameter_mm, "mm")),
        of_spec("spec.hole.uncertainty", lambda spec: with_unit(spec.hole_uncertainty_mm, "mm")),
        of_spec("spec.hole.plate_thickness", lambda spec: with_unit(spec.plate_thickness_mm, "mm")),
        of_spec("spec.focal_length", lambda spec: with_unit(spec.focal_length_mm, "mm")),
        of_spec("f_number", lambda spec: spec.f_number),
        of_spec("spec.reason", lambda spec: spec.reason),
    ]
    rows: Iterable[Camera] = cameras_in(club=actor.club).order_by("code")
    return rows, columns


def _papers(actor: Membership) -> tuple[Iterable[Any], list[Column]]:
    rows: Iterable[Paper] = papers_in(club=actor.club).order_by("name")
    return rows, [
        _attribute("id"),
        _attribute("name"),
        _attribute("family"),
        _attribute("nominal_exposure_index"),
        _quantity("size.width", "width_mm", "mm"),
        _quantity("size.height", "height_mm", "mm"),
        _attribute("batch"),
        _attribute("expires_on"),
        _attribute("sheets_left"),
        ("published", lambda paper: paper.published_typed and json.dumps(paper.published_typed, ensure_ascii=False)),
        _attribute("published_source", "published source"),
        _attribute("retired_at"),
        _attribute("note"),
        _attribute("created_at"),
    ]


_WHAT = {"exposures": _exposures, "cameras": _cameras, "papers": _papers}
