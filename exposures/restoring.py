"""A club made anew from an archive: whatever is stored is checked as if a stranger had written it, which may be so.

Who brings it in becomes its keeper. Those who were members are not, whatever they are called, and accounts of their
names here get nothing by it: each becomes somebody without an account, whose logs go on counting as one person's, and
for all else they did their names are kept beside. Ids stay unless this server has them already; claim codes are drawn
anew, and hold for nobody.
"""

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from math import isfinite
from typing import Any

import orjson
from django.contrib.auth import get_user_model
from django.core.exceptions import ValidationError as Faulty
from django.db import IntegrityError, models, transaction
from django.utils import timezone
from rest_framework.exceptions import ValidationError
from rest_framework.serializers import BaseSerializer

from clubs.models import Club, Membership, Person
from clubs.serializers import CameraOut, ClubChangeIn, ClubIn, TrailOut
from clubs.serializers_sheets import DesignOut
from clubs.serializers_specs import SpecOut
from clubs.trail import record
from exposures.archive import ARCHIVE, FORMAT, NUMBERED, SECTIONS, SINCE_2, VERSION, References, checksum, columns_of
from exposures.archived_pictures import stored_picture
from exposures.catalogue import catalogue_key
from exposures.evidence import hold, rebuild
from exposures.models import ExposureLog, ImportBatch, Paper
from exposures.outputs import MergeOut
from exposures.restored_rows import FINISH, fault_in
from exposures.serializers import LogOut, PaperOut
from exposures.workshops.codes import new_claim_code
from exposures.workshops.models import Place, PlaceExposure
from exposures.workshops.serializers import PlaceExposureOut, WithHole
from pinpool.conf import setting
from pinpool.http.problems import Conflict, impossible
from pinpool.pictures import keep_file

MAX_DEPTH = 32
MAX_TEXT = 10_000
#: On the trail, of what somebody with a claim code did: they have no account.
NOBODYS_NAME = "actor_name"
#: Beyond, a database gives a number back as one that no JSON of ours can hold.
MOST_NUMBER = 1e18
#: Where an account was the author, and where somebody without one stands instead.
AUTHORS: dict[type[models.Model], tuple[str, str]] = {ExposureLog: ("member", "person"), Place: ("user", "person")}

_SHOWN_BY: dict[str, type[BaseSerializer]] = {
    "designs": DesignOut,
    "cameras": CameraOut,
    "specs": SpecOut,
    "papers": PaperOut,
    "exposures": LogOut,
    "merges": MergeOut,
    "places": WithHole,
    "place_exposures": PlaceExposureOut,
    "trail": TrailOut,
}


def restore(*, actor: Any, file: Any, slug: str | None = None, name: str | None = None) -> Club:
    """A new club from the archive in a file, `actor` its keeper. Raises with a pointer into the archive."""
    told = _read(file.read(setting("MAX_ARCHIVE_BYTES") + 1))
    named = _section(told, "club", dict)
    asked = {"slug": slug or named.get("slug"), "name": name or named.get("name")}
    bound = ClubIn(data=asked)
    bound.is_valid(raise_exception=True)
    switched = ClubChangeIn(data={"plugins": named.get("plugins", [])})  # archives knew none at first
    switched.is_valid(raise_exception=True)
    club = Club(**bound.validated_data, **switched.validated_data)
    made = Restored(club)
    try:
        with transaction.atomic():
            club.save()
            hold(club.pk)
            for section in SECTIONS:
                made.add(section, _section(told, section, list))
            made.check()
            Membership.objects.create(club=club, user=actor, role="keeper")
            members = [*_section(told, "former_members", list), *_section(told, "members", list)]
            names = {**made.names, "members": [_member(each, place) for place, each in enumerate(members)]}
            facts = {"file_name": f"{named.get('slug')}"[:120], "table": [], "mapping": names, "state": "imported"}
            ImportBatch.objects.create(club=club, kind=ARCHIVE, made_by=actor, **facts)
            after = {name: len(made.rows[name]) for name in SECTIONS} | {"checksum": told["checksum"]}
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
    most = setting("MAX_ARCHIVE_BYTES")
    if len(data) > most:
        _refuse("too_large", f"An archive may have at most {most} bytes.")
    try:
        told = orjson.loads(data)
    except orjson.JSONDecodeError as fault:
        _refuse("bad_json", f"This is not JSON: {fault}.")
    if not isinstance(told, dict) or told.get("format") != FORMAT:
        _refuse("not_an_archive", "This is not the archive of a club.")
    if told.get("version") not in [1, VERSION] or isinstance(told["version"], bool):
        _refuse("archive_version", f"Only archives of version 1 to {VERSION} can be read here.")
    _check_values(told)
    if told.get("checksum") != checksum(told):
        _refuse("archive_checksum", "This archive was changed or damaged on its way.")
    return told if told["version"] == VERSION else _as_version_2(told)


def _as_version_2(told: dict[str, Any]) -> dict[str, Any]:
    """An archive of version 1, with nothing in the sections and the columns that it did not know."""
    for section, columns in SINCE_2.items():
        rows = told.setdefault(section, [])
        for row in rows if isinstance(rows, list) else ():
            if isinstance(row, dict):
                row.update(dict.fromkeys(columns))
    return told


def _check_values(value: Any, depth: int = 0) -> None:
    if depth > MAX_DEPTH:
        _refuse("too_deep", f"Nothing in an archive lies deeper than {MAX_DEPTH}.")
    if isinstance(value, str) and "\0" in value:
        _refuse("nul_character", "A text may not hold the character U+0000.")
    if isinstance(value, int | float) and abs(value) >= MOST_NUMBER:
        _refuse("number_too_large", f"A number in an archive lies within ±{MOST_NUMBER:.0e}.")
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
    keys = {"name": 254, "role": 10, "joined_at": 40}
    if not isinstance(told, dict) or told.keys() != keys.keys():
        raise fault_in("members", place, "", "invalid", "A member is told by name, role and joined_at.")
    if not all(isinstance(told[key], str) and len(told[key]) <= most for key, most in keys.items()):
        raise fault_in("members", place, "", "invalid", "These must be short texts.")
    return told


def _refuse(code: str, text: str) -> Any:
    raise ValidationError({"file": [impossible(text, code)]})


# ------------------------------------------------------------------------------------------------------ the rows


class Restored:
    """A club's rows as they come in, section by section, by what stands for them in the archive."""

    def __init__(self, club: Club) -> None:
        self.club = club
        self.rows: dict[str, list[Any]] = {}
        self.references = References()
        self.by_reference: dict[type[models.Model], dict[str, Any]] = {}
        self.people: dict[str, Person] = {}
        self.drawn: dict[str, uuid.UUID] = {}
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
        named = self.by_reference.setdefault(model, {})
        taken = self._taken(model, told)
        for place, each in enumerate(told):
            row, names = self._row(section, place, each, model)
            if row is None:  # a picture that the archive only lists
                continue
            reference = self._reference(section, place, each, row)
            if (taken and str(row.id) in taken) or (model is PlaceExposure and str(row.id) in self.drawn):
                row.id = self._drawn(row)
            FINISH.get(section, lambda *_: None)(row, place)
            row.save_base(raw=True, force_insert=True)
            self.rows[section].append(row)
            if reference is not None:
                if reference in named:
                    raise fault_in(section, place, "", "repeated", "This stands twice in the archive.")
                named[reference] = row
                if model in NUMBERED:
                    self.references.give(row, reference)
            for column, name in names.items():
                self.names.setdefault(section, {}).setdefault(column, {})[str(row.pk)] = name

    def _reference(self, section: str, place: int, told: dict[str, Any], row: Any) -> str | None:
        """What stands for a row in this archive, if others may name it."""
        if type(row) not in NUMBERED:
            return self.references.of(row) if type(row) in self.references else None
        reference = told["reference"]
        if not isinstance(reference, str) or not 1 <= len(reference) <= 20:
            text = "What stands for a row is a text of 1 to 20 characters."
            raise fault_in(section, place, "reference", "invalid", text)
        return reference

    def _drawn(self, row: Any) -> uuid.UUID:
        """Another id; the log that came of an exposure at a workshop keeps the one that this has."""
        if isinstance(row, ExposureLog):
            self.drawn[str(row.id)] = uuid.uuid4()
        return self.drawn.get(str(row.id), uuid.uuid4())

    def _person(self, name: str) -> Person:
        """Who was a member of that name, as somebody without an account."""
        if name not in self.people:
            self.people[name] = Person.objects.create(club=self.club, name=name)
        return self.people[name]

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
        expected = columns.keys() | ({"reference"} if model in NUMBERED else set())
        odd = set(told) ^ expected if isinstance(told, dict) else expected
        if odd:
            raise fault_in(
                section, place, "", "archive_keys", f"A row lacks or must not have {', '.join(sorted(odd))[:200]}."
            )
        row = model()
        if any(field.name == "club" for field in model._meta.fields):
            row.club = self.club  # type: ignore[attr-defined]
        names: dict[str, str] = {}
        for name, field in columns.items():
            with _pointing(section, place, name):
                if isinstance(field, models.FileField) and told[name] is None:
                    return None, {}
                self._put(row, field, told[name], names)
        if isinstance(row, Paper):
            row.catalogue_key = catalogue_key(name=row.name, family=row.family)
        if isinstance(row, Place):
            row.code, row.withdrawn_at = new_claim_code(), timezone.now()
        self._put_author(row, names)
        return row, names

    def _put(self, row: models.Model, field: models.Field, value: Any, names: dict[str, str]) -> None:
        """Set one column of a row, or keep the name of an account in `names`."""
        if isinstance(field, models.FileField):
            keep_file(getattr(row, field.name), "", stored_picture(value))
            self.files.append(getattr(row, field.name))
        elif not isinstance(field, models.ForeignKey):
            setattr(row, field.name, _clean(field, value, row))
        elif field.related_model is not get_user_model():
            setattr(row, field.name, self._named(field, value))
        elif value is not None:
            names[field.name] = _name(value)

    def _put_author(self, row: models.Model, names: dict[str, str]) -> None:
        """Let somebody without an account be the author in an account's place, unless somebody is told already."""
        account, person = AUTHORS.get(type(row), ("", ""))
        if account in names and getattr(row, person) is None:
            setattr(row, person, self._person(names.pop(account)))

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
                    raise fault_in(section, place, "", "cannot_be_shown", "This row cannot be shown.") from fault
        for place, camera in enumerate(self.rows["cameras"]):
            if not camera.specs.exists():
                raise fault_in("cameras", place, "", "no_spec", "A camera has one spec at least.")
        steps = {merge.key: merge.into_key for merge in self.rows["merges"] if merge.undone_at is None}
        for place, merge in enumerate(self.rows["merges"]):
            key, seen = merge.key, set()
            while key in steps and merge.undone_at is None:
                if key in seen:
                    raise fault_in("merges", place, "into_key", "same_paper", "These merges go round in a circle.")
                seen.add(key)
                key = steps[key]


@contextmanager
def _pointing(section: str, place: int, column: str) -> Iterator[None]:
    """Give whatever is refused of a column its pointer."""
    try:
        yield
    except Faulty as fault:
        code = fault.error_list[0].code if hasattr(fault, "error_list") else "invalid"
        raise fault_in(section, place, column, code or "invalid", "; ".join(fault.messages)[:300]) from None


def _name(value: Any) -> str:
    if not isinstance(value, str) or not 1 <= len(value) <= 254:
        raise Faulty("A name is a text of 1 to 254 characters.", "invalid")
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
    may_be_empty = field.blank or field.name == NOBODYS_NAME
    left_empty = value == "" and may_be_empty and isinstance(field, models.CharField | models.TextField)
    cleaned = value if left_empty else field.clean(value, row)
    if isinstance(field, models.DateTimeField) and timezone.is_naive(cleaned):
        raise Faulty("Say how far the clock is ahead of UTC.", "no_offset")
    if isinstance(field, models.DateField) and not 1950 <= cleaned.year <= 2100:
        raise Faulty("From 1950 to 2100.", "out_of_range")
    return cleaned


def _is_yes_no(field: models.Field) -> bool:
    return isinstance(field, models.BooleanField)
