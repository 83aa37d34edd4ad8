"""What must agree with itself in each row of an archive, before it is stored."""

from collections.abc import Callable
from datetime import UTC
from itertools import chain, zip_longest
from math import log2
from typing import Any

from rest_framework.exceptions import APIException, ErrorDetail, ValidationError

from clubs.sheets.blocks import Faulty
from clubs.sheets.documents import digest, read_document
from exposures.archive import OPEN_SHEETS
from exposures.evidence import evidence_of
from exposures.models import ExposureLog
from exposures.processes import ProcessField, told_again
from exposures.serializers import ResultIn
from exposures.workshops.models import PlaceExposure
from optics.core.faults import Impossible
from optics.core.light import Light
from optics.core.reciprocity import TableLaw
from optics.inputs import Pairs, ReadingField
from pinpool.http.fields import Duration, Instant, Number, Text

#: How far a stored figure may be off what follows from the others.
MOST_OFF_STOPS = 1e-6
#: What is noted of an exposure at a place, in canonical units and as it was written.
NOTED = {"taken_at", "ev100", "filter_stops", "exposure_time_s", "result", "note"}
NOTED_AS_TYPED = {"reading", "exposure_time", "result", "note"}


def fault_in(section: str, place: int, column: str, code: str, text: str) -> ValidationError:
    """A refusal that points at a row of an archive, or at one column of it."""
    detail: Any = [ErrorDetail(text, code)]
    detail = {section: {place: {column: detail} if column else detail}}
    return ValidationError(detail)


def _agree(section: str, place: int, column: str, told: float | None, follows: float | None) -> None:
    """Raise unless a stored figure is what follows from others."""
    same = told is follows is None or (
        told is not None
        and follows is not None
        and told > 0
        and follows > 0
        and abs(log2(told) - log2(follows)) < MOST_OFF_STOPS
    )
    if not same:
        raise fault_in(section, place, column, "contradiction", "This contradicts the rest of the row.")


def _read_again(section: str, place: int, column: str, field: Any, value: Any) -> Any:
    """What a field of the API makes of a stored text or object."""
    try:
        return field.run_validation(value)
    except APIException as fault:
        raise fault_in(section, place, column, "invalid", "This cannot be read as the API reads it.") from fault


def _check_process(section: str, place: int, row: Any) -> None:
    if row.process is None:
        return
    try:
        again = told_again(row.process)
    except (TypeError, KeyError, AttributeError) as fault:
        raise fault_in(section, place, "process", "invalid", "This is no process.") from fault
    row.process = _read_again(section, place, "process", ProcessField(), again)


def _check_film_plane(section: str, place: int, row: Any) -> None:
    try:
        row.as_film_plane()
    except (Impossible, APIException, TypeError, KeyError, ValueError, AttributeError) as fault:
        text = "This is no film plane that anything installed here can make."
        raise fault_in(section, place, "film_plane", "invalid", text) from fault


def _check_hole(
    section: str, place: int, diameter_mm: float, uncertainty_mm: float = 0.0, thickness_mm: float = 0.0
) -> None:
    if not (0 < diameter_mm <= 20 and 0 <= uncertainty_mm <= 20 and 0 <= thickness_mm <= 20):
        raise fault_in(section, place, "hole_diameter_mm", "out_of_range", "No such hole can be.")


def _check_f_number(section: str, place: int, column: str, f_number: float) -> None:
    if not 1 <= f_number <= 100_000:
        raise fault_in(section, place, column, "f_number_range", "This is no pinhole camera.")


def _check_kind(section: str, place: int, row: Any, **kinds: Any) -> None:
    """Raise where a column of JSON holds something of another kind."""
    for column, kind in kinds.items():
        if not isinstance(getattr(row, column), kind):
            raise fault_in(section, place, column, "wrong_type", "This is of the wrong kind.")


def _finish_design(design: Any, place: int) -> None:
    _check_film_plane("designs", place, design)
    _check_hole("designs", place, design.hole_diameter_mm, thickness_mm=design.plate_thickness_mm)
    for column, most in (("wall_thickness_mm", 1000.0), ("focal_length_mm", 1e6)):
        if not 0 <= getattr(design, column) <= most:
            raise fault_in("designs", place, column, "out_of_range", f"This lies between 0 and {most:g} mm.")
    _check_f_number("designs", place, "focal_length_mm", design.focal_length_mm / design.hole_diameter_mm)
    _check_kind("designs", place, design, typed=dict)


def _finish_spec(spec: Any, place: int) -> None:
    _check_film_plane("specs", place, spec)
    _check_hole("specs", place, spec.hole_diameter_mm, spec.hole_uncertainty_mm, spec.plate_thickness_mm)
    _agree("specs", place, "f_number", spec.f_number, spec.focal_length_mm / spec.hole_diameter_mm)
    _check_f_number("specs", place, "f_number", spec.f_number)


def _finish_paper(paper: Any, place: int) -> None:
    if not 0 < paper.nominal_exposure_index <= 1e6:
        raise fault_in("papers", place, "nominal_exposure_index", "out_of_range", "No paper has such an index.")
    if paper.published_rows_s is not None or paper.published_typed is not None:
        _check_published(paper, place)


def _check_published(paper: Any, place: int) -> None:
    """A data sheet's times as they are sent: a table is what was written, a law's rows are such as a table may have."""
    rows, written = paper.published_rows_s, paper.published_typed
    rows = _read_again("papers", place, "published_rows_s", Pairs(Number()), rows)
    try:
        TableLaw(tuple(map(tuple, rows)))
    except Impossible as fault:
        raise fault_in("papers", place, "published_rows_s", fault.code, str(fault)) from fault
    if isinstance(written, list):
        written = _read_again("papers", place, "published_typed", Pairs(Duration()), written)
        for told, follows in zip_longest(chain(*rows), chain(*written)):
            _agree("papers", place, "published_rows_s", told, follows)
    elif not (isinstance(written, dict) and isinstance(written.get("law"), str)):
        raise fault_in("papers", place, "published_typed", "wrong_type", "This is neither a table nor a law.")


def _finish_log(log: ExposureLog, place: int) -> None:
    """Read again what was written, hold the figures against it, and reckon its evidence anew."""

    def read(column: str, field: Any, value: Any) -> Any:
        return _read_again("exposures", place, column, field, value)

    def agree(column: str, told: float | None, follows: float | None) -> None:
        _agree("exposures", place, column, told, follows)

    if log.private:
        raise fault_in("exposures", place, "private", "contradiction", "An archive holds no private log.")
    ev100 = read("reading", ReadingField(), log.reading)
    agree("ev100", 2.0**log.ev100 if abs(log.ev100) < 100 else None, 2.0**ev100)
    agree("exposure_time_s", log.exposure_time_s, read("typed_time", Duration(), log.typed_time))
    for column, least, most in (("exposure_index", 1e-6, 1e6), ("f_number", 1.0, 1e5), ("filter_stops", 0.0, 30.0)):
        if not least <= getattr(log, column) <= most:
            raise fault_in("exposures", place, column, "out_of_range", f"This lies between {least:g} and {most:g}.")
    indicated = Light(log.ev100).time_s(f_number=log.f_number, exposure_index=log.exposure_index) * 2**log.filter_stops
    agree("indicated_time_s", log.indicated_time_s, indicated)
    result = read("result", ResultIn(allow_null=True), log.result)
    agree("right_time_s", log.right_time_s, result.right_time_s if result else None)
    stops = result.stops if result else None
    if (log.result_stops is None) != (stops is None) or abs(
        (log.result_stops or 0.0) - (stops or 0.0)
    ) > MOST_OFF_STOPS:
        raise fault_in("exposures", place, "result_stops", "contradiction", "This contradicts the rest of the row.")
    _check_process("exposures", place, log)
    facts = ("exposure_time_s", "indicated_time_s", "exposure_index", "result_stops", "right_time_s")
    evidence = evidence_of(**{name: getattr(log, name) for name in facts}, measured=bool(result and result.measured))
    for name, value in evidence.items():
        setattr(log, name, value)


def _finish_workshop(workshop: Any, place: int) -> None:
    _check_process("workshops", place, workshop)
    if not 1 <= workshop.stations <= 100:
        raise fault_in("workshops", place, "stations", "out_of_range", "There are 1 to 100 stations.")


def _finish_place(stand: Any, place: int) -> None:
    if (stand.hole_diameter_mm is None) != (stand.hole_uncertainty_mm is None):
        raise fault_in("places", place, "hole_diameter_mm", "contradiction", "This contradicts the rest of the row.")
    _check_kind("places", place, stand, typed=dict | None, measurements=list)
    if stand.hole_diameter_mm is not None:
        _check_hole("places", place, stand.hole_diameter_mm, stand.hole_uncertainty_mm)
        f_number = stand.workshop.design.focal_length_mm / stand.hole_diameter_mm
        _check_f_number("places", place, "hole_diameter_mm", f_number)


def _finish_place_exposure(entry: PlaceExposure, place: int) -> None:
    """Read again what was written, hold the figures against it, and keep what follows from both."""
    _check_kind("place_exposures", place, entry, facts=dict, typed=dict)
    facts, typed = entry.facts, entry.typed
    if facts.keys() != NOTED or typed.keys() != NOTED_AS_TYPED:
        raise fault_in("place_exposures", place, "facts", "archive_keys", "This is not what is noted at a place.")

    def read(field: Any, value: Any) -> Any:
        return _read_again("place_exposures", place, "facts", field, value)

    for name, field, key in (("ev100", ReadingField(), "reading"), ("exposure_time_s", Duration(), "exposure_time")):
        told, follows = read(Number(), facts[name]), read(field, typed[key])
        if abs(told - follows) > 1e-6 * max(abs(follows), 1.0):
            raise fault_in("place_exposures", place, "facts", "contradiction", "This contradicts what was written.")
    kept = facts["result"]
    if kept is not None and not (isinstance(kept, dict) and "typed" in kept):
        raise fault_in("place_exposures", place, "facts", "wrong_type", "This is of the wrong kind.")
    result = read(ResultIn(allow_null=True), kept and kept["typed"])
    entry.facts = {
        "taken_at": read(Instant(), facts["taken_at"]).astimezone(UTC).isoformat(),
        "ev100": facts["ev100"],
        "filter_stops": read(Number(minimum=0.0, maximum=30.0), facts["filter_stops"]),
        "exposure_time_s": facts["exposure_time_s"],
        "result": None if result is None else vars(result),
        "note": read(Text(max_length=2000, allow_blank=True), facts["note"]),
    }


def _finish_sheet(sheet: Any, place: int) -> None:
    """Of a sheet that everybody in the club may read, a document that can be set, with the digest printed on it."""
    if sheet.action != OPEN_SHEETS:
        raise fault_in("sheets", place, "action", "contradiction", "An archive holds no such sheet.")
    _check_kind("sheets", place, sheet, data=dict)
    issued = {name: sheet.data[name] for name in ("number", "changes") if name in sheet.data}
    try:
        document = read_document({name: value for name, value in sheet.data.items() if name not in issued})
    except Faulty as fault:
        raise fault_in("sheets", place, "data", "cannot_be_shown", f"{fault}"[:300]) from None
    if sheet.digest != digest(document):
        raise fault_in("sheets", place, "digest", "contradiction", "This is not the digest of the sheet's data.")
    told = document["kind"], document["subject"], issued.get("number")
    if told != (sheet.kind, sheet.subject, sheet.number) or not _are_changes(issued.get("changes")):
        raise fault_in("sheets", place, "data", "contradiction", "This contradicts the rest of the row.")
    sheet.data = document | issued


def _are_changes(told: Any) -> bool:
    """Whether this is what a sheet says of the one before it, or nothing."""
    if told is None:
        return True
    if not isinstance(told, dict) or told.keys() != {"since", "text"} or type(told["since"]) is not int:
        return False
    lines = told["text"]
    return isinstance(lines, list) and all(isinstance(line, str) and len(line) <= 1000 for line in lines)


FINISH: dict[str, Callable[[Any, int], None]] = {
    "designs": _finish_design,
    "specs": _finish_spec,
    "papers": _finish_paper,
    "exposures": _finish_log,
    "workshops": _finish_workshop,
    "places": _finish_place,
    "place_exposures": _finish_place_exposure,
    "sheets": _finish_sheet,
}
