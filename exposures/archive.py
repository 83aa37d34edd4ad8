"""A whole club as one JSON object, for another server of this service, with nothing of it lost.

Each section holds the rows of one table, every column under its name but those of `NOT_TOLD` and `KEYS_HERE`. A row
names another by what stands for it inside the club (`References`) and an account by its user name. Private logs are
their author's and have no place here; nor have secrets, sheets that may hold some, what others sent, and what is
reckoned from the rest (`LEFT_OUT`).

Version 2 added people, designs, workshops and sheets (`SINCE_2`); an archive of version 1 is read as one without any.
"""

import base64
import hashlib
from collections.abc import Callable, Iterable
from decimal import Decimal
from functools import partial
from typing import Any

import orjson
from django.contrib.auth import get_user_model
from django.db import connection, models, transaction
from django.utils import timezone

from clubs.models import (
    Camera,
    CameraPhoto,
    CameraSpec,
    Club,
    Design,
    IssuedSheet,
    Membership,
    Person,
    TrailEntry,
)
from clubs.services import check_role
from exposures.models import ExposureLog, ImportBatch, NegativePicture, Paper, PaperMerge
from exposures.workshops.models import Place, PlaceExposure, Workshop

FORMAT, VERSION = "pinpool-club", 2
#: The kind of batch that keeps the names of those who were members where an archive came from.
ARCHIVE = "archive"

#: Tables by section, in an order in which none names a later one.
SECTIONS: dict[str, type[models.Model]] = {
    "people": Person,
    "designs": Design,
    "cameras": Camera,
    "specs": CameraSpec,
    "photos": CameraPhoto,
    "papers": Paper,
    "exposures": ExposureLog,
    "pictures": NegativePicture,
    "merges": PaperMerge,
    "workshops": Workshop,
    "places": Place,
    "place_exposures": PlaceExposure,
    "sheets": IssuedSheet,
    "trail": TrailEntry,
}
#: What version 1 did not know: whole sections, and columns of others.
SINCE_2: dict[str, set[str]] = {
    **{name: set() for name in ("people", "designs", "workshops", "places", "place_exposures", "sheets")},
    "cameras": {"design"},
    "exposures": {"person"},
}
#: Tables of a club that no section holds, and why.
LEFT_OUT = {
    "Membership": "told as names and roles; accounts belong to a server",
    "Invitation": "its code is a key to the club here",
    "ImportBatch": "a working paper, with private rows among others",
    "EvidenceCell": "summed anew from the log",
    "StoredFit": "fitted anew",
    "Doubt": "found anew",
    "Pool": "its secret stays; whether to share is said anew on each server",
    "Embedding": "what is public, and where, is said anew on each server",
    "ReceivedPacket": "another club's words, to be had from them",
}
#: Columns that no row tells: the server's own numbers, the club, and what follows from the rest.
NOT_TOLD = {"club", "imported_in", "catalogue_key"}
#: Columns that open a door here, and none elsewhere: claim codes, and the role in which they let somebody join.
KEYS_HERE: dict[type[models.Model], set[str]] = {Place: {"code", "withdrawn_at"}, Workshop: {"joins_as"}}
#: Sheets whose data hold no such key: everybody in the club may read them.
OPEN_SHEETS = "read_sheets"
#: Tables whose rows have nothing in the club that is theirs alone: an archive numbers them, in the key `reference`.
NUMBERED: tuple[type[models.Model], ...] = (Person, Design, Workshop)


class References:
    """What stands for each row where another names it."""

    def __init__(self) -> None:
        self._numbers: dict[type[models.Model], dict[Any, str]] = {model: {} for model in NUMBERED}
        self._of: dict[type[models.Model], Callable[[Any], str]] = {
            Camera: lambda camera: camera.code,
            CameraSpec: lambda spec: f"{spec.camera.code}/{spec.number}",
            CameraPhoto: lambda photo: str(photo.pk),
            Paper: lambda paper: paper.name,
            ExposureLog: lambda log: str(log.id),
            NegativePicture: lambda picture: str(picture.pk),
            Place: lambda place: f"{self._numbers[Workshop][place.workshop_id]}/{place.number}",
            **{model: partial(self._number, model) for model in NUMBERED},
        }

    def __contains__(self, model: type[models.Model]) -> bool:
        """Whether rows of this table are named by others."""
        return model in self._of

    def give(self, row: models.Model, number: str) -> None:
        """Let a number stand for a row of `NUMBERED`."""
        self._numbers[type(row)][row.pk] = number

    def _number(self, model: type[models.Model], row: models.Model) -> str:
        return self._numbers[model][row.pk]

    def of(self, row: models.Model) -> str:
        return self._of[type(row)](row)


def columns_of(model: type[models.Model]) -> list[models.Field]:
    """The columns that an archive tells of a table."""
    return [
        field
        for field in model._meta.concrete_fields
        if field.name not in NOT_TOLD | KEYS_HERE.get(model, set()) and not isinstance(field, models.AutoField)
    ]


def archive_of(*, actor: Membership, pictures: bool) -> dict[str, Any]:
    """The club's archive; with `pictures` their files are in it, as base64, otherwise they are listed."""
    check_role(membership=actor, action="read_archive")
    club = actor.club
    with transaction.atomic():
        if connection.vendor == "postgresql":  # which cuts off who is busy with many rows between two statements
            with connection.cursor() as cursor:
                cursor.execute("SET LOCAL idle_in_transaction_session_timeout = 0")
        # What names others is read first: what it names is there already, and stays.
        rows = {name: list(_rows(name, club)) for name in reversed(SECTIONS)}
        members = [
            {"name": each.user.get_username(), "role": each.role, "joined_at": each.joined_at.isoformat()}
            for each in club.memberships.select_related("user").order_by("pk")
        ]
    kept = names_kept(club)
    told: dict[str, Any] = {
        "format": FORMAT,
        "version": VERSION,
        "made_at": timezone.now().isoformat(),
        "club": {
            "slug": club.slug,
            "name": club.name,
            "created_at": club.created_at.isoformat(),
            "plugins": club.plugins,
        },
        "members": members,
        "former_members": kept.get("members", []),
    }
    references = References()
    for name, model in SECTIONS.items():
        if model in NUMBERED:
            for number, row in enumerate(rows[name], 1):
                references.give(row, str(number))
        told[name] = [_told(row, kept.get(name, {}), references, pictures=pictures) for row in rows[name]]
    return told | {"checksum": checksum(told)}


def checksum(told: dict[str, Any]) -> str:
    """SHA-256 of the canonical JSON of all but the checksum itself: keys sorted, no spaces, UTF-8."""
    rest = {name: value for name, value in told.items() if name != "checksum"}
    return hashlib.sha256(orjson.dumps(rest, option=orjson.OPT_SORT_KEYS)).hexdigest()


def names_kept(club: Club) -> dict[str, Any]:
    """Who the members were where the club's archive came from: by section, column and row; and as `members`."""
    batch = ImportBatch.objects.filter(club=club, kind=ARCHIVE).first()
    return batch.mapping if batch is not None else {}


def _rows(section: str, club: Club) -> Iterable[Any]:
    """A section's rows in the order in which they came to be."""
    model: Any = SECTIONS[section]
    paths = {
        "specs": "camera",
        "photos": "camera",
        "pictures": "log",
        "places": "workshop",
        "place_exposures": "place__workshop",
    }
    rows = model.objects.filter(**{f"{paths[section]}__club" if section in paths else "club": club})
    if section == "sheets":
        rows = rows.filter(action=OPEN_SHEETS)
    if section == "exposures":
        # What corrects a private log tells of itself alone; what a private log corrects would seem to count.
        rows = rows.filter(private=False).exclude(corrected_by__private=True)
    if section == "pictures":
        rows = rows.filter(log__private=False).exclude(log__corrected_by__private=True)
    named = [field.name for field in columns_of(model) if isinstance(field, models.ForeignKey)]
    more = {"exposures": ["spec__camera"]}.get(section, [])
    order = {
        "cameras": "code",
        "papers": "name",
        "photos": "added_at",
        "pictures": "log__number",
        "sheets": "number",
    }.get(section, "pk")
    with_them = [*named, *more]
    return (rows.select_related(*with_them) if with_them else rows).order_by(order)


def _told(row: Any, kept: dict[str, dict[str, str]], references: References, *, pictures: bool) -> dict[str, Any]:
    told: dict[str, Any] = {"reference": references.of(row)} if type(row) in NUMBERED else {}
    for field in columns_of(type(row)):
        if isinstance(field, models.FileField):
            told[field.name] = _file(getattr(row, field.name)) if pictures else None
        elif isinstance(field, models.ForeignKey):
            told[field.name] = _reference(row, field, kept, references)
        else:
            told[field.name] = _plain(getattr(row, field.name))
    return told


def _reference(
    row: Any, field: models.ForeignKey, kept: dict[str, dict[str, str]], references: References
) -> str | None:
    other = getattr(row, field.name)
    if field.related_model is get_user_model():
        return other.get_username() if other is not None else kept.get(field.name, {}).get(str(row.pk))
    if other is None or (isinstance(other, ExposureLog) and other.private):
        return None
    return references.of(other)


def _file(image: Any) -> str | None:
    try:
        with image.open("rb") as file:
            return base64.b64encode(file.read()).decode()
    except FileNotFoundError:
        return None


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal) or type(value).__name__ == "UUID":
        return str(value)
    return value.isoformat() if hasattr(value, "isoformat") else value
