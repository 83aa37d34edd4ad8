"""A club made anew from an archive: whatever is stored is checked as if a stranger had written it, which may be so.

Who brings it in becomes its keeper. Those who were members are not: what they did is a former member's, and their names
are kept beside. Ids stay unless this server has them already.
"""

import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from math import isfinite, log2
from typing import Any

import orjson
from django.contrib.auth import get_user_model
from django.core.exceptions import ValidationError as Faulty
from django.core.files.base import ContentFile
from django.db import IntegrityError, models, transaction
from django.utils.timezone import is_naive
from rest_framework.exceptions import APIException, ErrorDetail, ValidationError
from rest_framework.serializers import BaseSerializer

from clubs.models import Club, Membership
from clubs.serializers import CameraOut, ClubIn, TrailOut
from clubs.serializers_specs import SpecOut
from clubs.trail import record
from exposures.archive import ARCHIVE, FORMAT, REFERENCES, SECTIONS, VERSION, checksum, columns_of
from exposures.archived_pictures import stored_picture
from exposures.catalogue import catalogue_key
from exposures.evidence import evidence_of, rebuild
from exposures.models import ExposureLog, ImportBatch, Paper
from exposures.outputs import MergeOut
from exposures.processes import ProcessField, told_again
from exposures.serializers import LogOut, PaperOut, ResultIn
from optics.core.faults import Impossible
from optics.core.light import Light
from optics.inputs import ReadingField
from pinpool.http.fields import Duration
from pinpool.http.problems import Conflict, impossible

MAX_BYTES = 50_000_000
MAX_DEPTH = 32
MAX_TEXT = 10_000
#: How far a stored figure may be off what follows from the others.
MOST_OFF_STOPS = 1e-6

_SHOWN_BY: dict[str, type[BaseSerializer]] = {
    "cameras": CameraOut,
    "specs": SpecOut,
    "papers": PaperOut,
    "exposures": LogOut,
    "merges": MergeOut,
    "trail": TrailOut,
}


def restore(*, actor: Any, file: Any, slug: str | None = None, name: str | None = None) -> Club:
    """A new club from the archive in a file, `actor` its keeper. Raises with a pointer into the archive."""
    told = _read(file.read(MAX_BYTES + 1))
    named = _section(told, "club", dict)
    asked = {"slug": slug or named.get("slug"), "name": name or named.get("name")}
    bound = ClubIn(data=asked)
    bound.is_valid(raise_exception=True)
    club = Club(**bound.validated_data)
    made = Restored(club)
    try:
        with transaction.atomic():
            club.save()
            for section in SECTIONS:
                made.add(section, _section(told, section, list))
            made.check()
            Membership.objects.create(club=club, user=actor, role="keeper")
            members = [*_section(told, "former_members", list), *_section(told, "members", list)]
            names = {**made.names, "members": [_member(each, place) for place, each in enumerate(members)]}
            facts = {"file_name": f"{named.get('slug')}"[:120], "table": [], "mapping": names, "state": "imported"}
            ImportBatch.objects.create(club=club, kind=ARCHIVE, made_by=actor, **facts)
            after = {name: len(told[name]) for name in SECTIONS} | {"checksum": told["checksum"]}
            record(club=club, actor=actor, action="import_archive", subject=f"club {club.slug}", after=after)
            rebuild(club)
    except BaseException as fault:
        made.remove_files()
        if isinstance(fault, IntegrityError):
            text = f"The short name “{asked['slug']}” is taken, or a name stands twice; choose another."
            raise Conflict(text) from None
        raise
    return club


# ---------------------------------------------------------------------------------------------------- the file


def _read(data: bytes) -> dict[str, Any]:
    if len(data) > MAX_BYTES:
        _refuse("too_large", f"An archive may have at most {MAX_BYTES} bytes.")
    try:
        told = orjson.loads(data)
    except orjson.JSONDecodeError as fault:
        _refuse("bad_json", f"This is not JSON: {fault}.")
    if not isinstance(told, dict) or told.get("format") != FORMAT:
        _refuse("not_an_archive", "This is not the archive of a club.")
    if told.get("version") != VERSION:
        _refuse("archive_version", f"Only archives of version {VERSION} can be read here.")
    _check_values(told)
    if told.get("checksum") != checksum(told):
        _refuse("archive_checksum", "This archive was changed or damaged on its way.")
    return told


def _check_values(value: Any, depth: int = 0) -> None:
    if depth > MAX_DEPTH:
        _refuse("too_deep", f"Nothing in an archive lies deeper than {MAX_DEPTH}.")
    if isinstance(value, str) and "\0" in value:
        _refuse("nul_character", "A text may not hold the character U+0000.")
    if isinstance(value, dict):
        for key, inner in value.items():
            _check_values(key, depth)
            _check_values(inner, depth + 1)
    elif isinstance(value, list):
        for inner in value:
            _check_values(inner, depth + 1)


def _section(told: dict[str, Any], name: str, kind: type) -> Any:
    if not isinstance(told.get(name), kind):
        _refuse("archive_section", f"The archive's “{name}” is missing or of the wrong kind.")
    return told[name]


def _member(told: Any, place: int) -> dict[str, str]:
    keys = {"name": 150, "role": 10, "joined_at": 40}
    if not isinstance(told, dict) or told.keys() != keys.keys():
        raise _fault("members", place, "", "invalid", "A member is told by name, role and joined_at.")
    if not all(isinstance(told[key], str) and len(told[key]) <= most for key, most in keys.items()):
        raise _fault("members", place, "", "invalid", "These must be short texts.")
    return told


def _refuse(code: str, text: str) -> Any:
    raise ValidationError({"file": [impossible(text, code)]})


def _fault(section: str, place: int, column: str, code: str, text: str) -> ValidationError:
    detail: Any = [ErrorDetail(text, code)]
    detail = {section: {place: {column: detail} if column else detail}}
    return ValidationError(detail)


# ------------------------------------------------------------------------------------------------------ the rows


class Restored:
    """A club's rows as they come in, section by section, by what stands for them in the archive."""

    def __init__(self, club: Club) -> None:
        self.club = club
        self.rows: dict[str, list[Any]] = {}
        self.by_reference: dict[type[models.Model], dict[str, Any]] = {model: {} for model in REFERENCES}
        self.names: dict[str, Any] = {}
        self.files: list[Any] = []

    def remove_files(self) -> None:
        """Take away the pictures stored so far, which no transaction does."""
        for file in self.files:
            file.storage.delete(file.name)

    def add(self, section: str, told: list[Any]) -> None:
        """Store the rows of a section, whose references to earlier ones hold."""
        model = SECTIONS[section]
        self.rows[section] = []
        taken = self._taken(model, told)
        for place, each in enumerate(told):
            row, names = self._row(section, place, each, model)
            if row is None:  # a picture that the archive only lists
                continue
            reference = REFERENCES[model](row) if model in REFERENCES else ""
            if taken and str(row.id) in taken:
                row.id = uuid.uuid4()
            _FINISH.get(section, lambda *_: None)(row, place)
            row.save_base(raw=True, force_insert=True)
            self.rows[section].append(row)
            if model in REFERENCES:
                if reference in self.by_reference[model]:
                    raise _fault(section, place, "", "repeated", "This stands twice in the archive.")
                self.by_reference[model][reference] = row
            for column, name in names.items():
                self.names.setdefault(section, {}).setdefault(column, {})[str(row.pk)] = name

    def _taken(self, model: type[models.Model], told: list[Any]) -> set[str]:
        """The ids among some told that this server has already, in whichever club."""
        if not any(isinstance(field, models.UUIDField) and field.name == "id" for field in model._meta.fields):
            return set()
        ids = []
        for each in told:
            try:
                ids.append(uuid.UUID(each["id"]))
            except (KeyError, TypeError, ValueError, AttributeError):
                continue  # told of as a fault when its row is read
        manager: Any = model._default_manager
        found: set[str] = set()
        for start in range(0, len(ids), 500):
            found |= {
                str(each) for each in manager.filter(id__in=ids[start : start + 500]).values_list("id", flat=True)
            }
        return found

    def _row(self, section: str, place: int, told: Any, model: type[models.Model]) -> tuple[Any, dict[str, str]]:
        columns = {field.name: field for field in columns_of(model)}
        odd = set(told) ^ columns.keys() if isinstance(told, dict) else set(columns)
        if odd:
            raise _fault(
                section, place, "", "archive_keys", f"A row lacks or must not have {', '.join(sorted(odd))[:200]}."
            )
        row = model()
        if any(field.name == "club" for field in model._meta.fields):
            row.club = self.club  # type: ignore[attr-defined]
        names: dict[str, str] = {}
        for name, field in columns.items():
            value = told[name]
            with _pointing(section, place, name):
                if isinstance(field, models.FileField):
                    if value is None:
                        return None, {}
                    getattr(row, name).save("", ContentFile(stored_picture(value)), save=False)
                    self.files.append(getattr(row, name))
                elif isinstance(field, models.ForeignKey):
                    if field.related_model is get_user_model():
                        if value is not None:
                            names[name] = _name(value)
                    else:
                        setattr(row, name, self._named(field, value))
                else:
                    setattr(row, name, _clean(field, value, row))
        if isinstance(row, Paper):
            row.catalogue_key = catalogue_key(name=row.name, family=row.family)
        return row, names

    def _named(self, field: models.ForeignKey, value: Any) -> Any:
        if value is None and field.null:
            return None
        related: Any = field.related_model if field.related_model != "self" else field.model
        found = self.by_reference[related].get(value) if isinstance(value, str) else None
        if found is None:
            raise Faulty(
                f"The archive holds no such {related._meta.verbose_name} before this row.", "unknown_reference"
            )
        return found

    def check(self) -> None:
        """What cannot be shown must not be stored: show every row as the API does; and follow every merge."""
        for section, serializer in _SHOWN_BY.items():
            for place, row in enumerate(self.rows[section]):
                try:
                    _ = serializer(row, context={}).data
                except Exception as fault:
                    raise _fault(section, place, "", "cannot_be_shown", "This row cannot be shown.") from fault
        for place, camera in enumerate(self.rows["cameras"]):
            if not camera.specs.exists():
                raise _fault("cameras", place, "", "no_spec", "A camera has one spec at least.")
        steps = {merge.key: merge.into_key for merge in self.rows["merges"] if merge.undone_at is None}
        for place, merge in enumerate(self.rows["merges"]):
            key, seen = merge.key, set()
            while key in steps and merge.undone_at is None:
                if key in seen:
                    raise _fault("merges", place, "into_key", "same_paper", "These merges go round in a circle.")
                seen.add(key)
                key = steps[key]


@contextmanager
def _pointing(section: str, place: int, column: str) -> Iterator[None]:
    """Give whatever is refused of a column its pointer."""
    try:
        yield
    except Faulty as fault:
        code = fault.error_list[0].code if hasattr(fault, "error_list") else "invalid"
        raise _fault(section, place, column, code or "invalid", "; ".join(fault.messages)[:300]) from None


def _name(value: Any) -> str:
    if not isinstance(value, str) or not 1 <= len(value) <= 150:
        raise Faulty("A name is a text of 1 to 150 characters.", "invalid")
    return value


def _clean(field: models.Field, value: Any, row: Any) -> Any:
    """A column's value, of its type and within its limits."""
    if value is None:
        if field.null:
            return None
        raise Faulty("This must be told.", "null")
    if isinstance(field, models.JSONField):
        return value
    numeric = isinstance(field, models.FloatField | models.IntegerField)
    number = int | float if isinstance(field, models.FloatField) else int
    fits = isinstance(value, number) if numeric else isinstance(value, bool if _is_yes_no(field) else str)
    if not fits or (numeric and (isinstance(value, bool) or not isfinite(value))):
        raise Faulty("This is of the wrong type.", "wrong_type")
    if isinstance(value, str) and len(value) > MAX_TEXT and not isinstance(field, models.FileField):
        raise Faulty(f"A text has at most {MAX_TEXT} characters.", "max_length")
    cleaned = value if field.blank and value == "" else field.clean(value, row)
    if isinstance(field, models.DateTimeField) and is_naive(cleaned):
        raise Faulty("Say how far the clock is ahead of UTC.", "no_offset")
    return cleaned


def _is_yes_no(field: models.Field) -> bool:
    return isinstance(field, models.BooleanField)


# -------------------------------------------------------------------------- what must agree with itself in a row


def _agree(section: str, place: int, column: str, told: float | None, follows: float | None) -> None:
    """Raise unless a stored figure is what follows from others."""
    same = told is follows is None or (
        told is not None
        and follows is not None
        and told > 0
        and follows > 0
        and abs(log2(told / follows)) < MOST_OFF_STOPS
    )
    if not same:
        raise _fault(section, place, column, "contradiction", "This contradicts the rest of the row.")


def _read_again(section: str, place: int, column: str, field: Any, value: Any) -> Any:
    """What a field of the API makes of a stored text or object."""
    try:
        return field.run_validation(value)
    except APIException as fault:
        raise _fault(section, place, column, "invalid", "This cannot be read as the API reads it.") from fault


def _finish_spec(spec: Any, place: int) -> None:
    try:
        spec.as_film_plane()
    except (Impossible, APIException, TypeError, KeyError, ValueError, AttributeError) as fault:
        text = "This is no film plane that anything installed here can make."
        raise _fault("specs", place, "film_plane", "invalid", text) from fault
    if not (
        0 < spec.hole_diameter_mm <= 20 and 0 <= spec.hole_uncertainty_mm <= 20 and 0 <= spec.plate_thickness_mm <= 20
    ):
        raise _fault("specs", place, "hole_diameter_mm", "out_of_range", "No such hole can be.")
    _agree("specs", place, "f_number", spec.f_number, spec.focal_length_mm / spec.hole_diameter_mm)
    if not 1 <= spec.f_number <= 100_000:
        raise _fault("specs", place, "f_number", "f_number_range", "This is no pinhole camera.")


def _finish_paper(paper: Any, place: int) -> None:
    if not 0 < paper.nominal_exposure_index <= 1e6:
        raise _fault("papers", place, "nominal_exposure_index", "out_of_range", "No paper has such an index.")


def _finish_log(log: ExposureLog, place: int) -> None:
    """Read again what was written, hold the figures against it, and reckon its evidence anew."""

    def read(column: str, field: Any, value: Any) -> Any:
        return _read_again("exposures", place, column, field, value)

    def agree(column: str, told: float | None, follows: float | None) -> None:
        _agree("exposures", place, column, told, follows)

    if log.private:
        raise _fault("exposures", place, "private", "contradiction", "An archive holds no private log.")
    ev100 = read("reading", ReadingField(), log.reading)
    agree("ev100", 2.0**log.ev100 if abs(log.ev100) < 100 else None, 2.0**ev100)
    agree("exposure_time_s", log.exposure_time_s, read("typed_time", Duration(), log.typed_time))
    for column, least, most in (("exposure_index", 1e-6, 1e6), ("f_number", 1.0, 1e5), ("filter_stops", 0.0, 30.0)):
        if not least <= getattr(log, column) <= most:
            raise _fault("exposures", place, column, "out_of_range", f"This lies between {least:g} and {most:g}.")
    indicated = Light(log.ev100).time_s(f_number=log.f_number, exposure_index=log.exposure_index) * 2**log.filter_stops
    agree("indicated_time_s", log.indicated_time_s, indicated)
    result = read("result", ResultIn(allow_null=True), log.result)
    agree("right_time_s", log.right_time_s, result.right_time_s if result else None)
    stops = result.stops if result else None
    if (log.result_stops is None) != (stops is None) or abs(
        (log.result_stops or 0.0) - (stops or 0.0)
    ) > MOST_OFF_STOPS:
        raise _fault("exposures", place, "result_stops", "contradiction", "This contradicts the rest of the row.")
    if log.process is not None:
        try:
            again = told_again(log.process)
        except (TypeError, KeyError, AttributeError) as fault:
            raise _fault("exposures", place, "process", "invalid", "This is no process.") from fault
        log.process = read("process", ProcessField(), again)
    facts = ("exposure_time_s", "indicated_time_s", "exposure_index", "result_stops", "right_time_s")
    evidence = evidence_of(**{name: getattr(log, name) for name in facts}, measured=bool(result and result.measured))
    for name, value in evidence.items():
        setattr(log, name, value)


_FINISH: dict[str, Callable[[Any, int], None]] = {
    "specs": _finish_spec,
    "papers": _finish_paper,
    "exposures": _finish_log,
}
