"""What a column can be: the fields of the API's own bodies, found by walking its serializers.

So a new field of theirs comes along by itself. A field goes by the path to its key, such as `result.judged_stops`.
Lists have no place in one cell and are left out.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from rest_framework import serializers

from clubs.serializers import CameraIn
from exposures.processes import ProcessField, ProcessIn
from exposures.serializers import LogIn, PaperIn
from optics.core.sheet_cuts import NAMED_SHEETS
from optics.inputs import ByKind, SheetField, SizeIn, parameters_serializer
from pinpool.http.fields import Identifier, Instant, Number, QuantityField
from pinpool.plugins.registry import contributions, owner
from pinpool.plugins.switches import switchable
from pinpool.units import KINDS

#: What each kind of sheet brings in, and the action of `clubs.roles.MAY` that each of its rows takes.
KINDS_OF_SHEET: dict[str, tuple[type[serializers.Serializer], str]] = {
    "exposures": (LogIn, "log_exposure"),
    "cameras": (CameraIn, "register_camera"),
    "papers": (PaperIn, "add_paper"),
}


@dataclass(frozen=True)
class Field:
    """One key of a body that a column can fill.

    `kind` says how its cells are read: a kind of quantity, or `number`, `whole`, `text`, `yes_no`, `choice`, `instant`,
    `date`, `clock`, `id`, `camera`, `paper`, `member`. `plugin` is the one of another package that brings it, if any.
    """

    name: str
    kind: str
    required: bool = False
    choices: tuple[str, ...] = ()
    help_text: str = ""
    plugin: str = ""

    @property
    def is_quantity(self) -> bool:
        return self.kind in KINDS


#: What a sheet of exposures may say beside the keys of a log: when in the day, whose it is, which f-number it took.
BESIDE = (
    Field("clock", "clock", help_text="Time of day, where taken_at has the date alone."),
    Field("member", "member", help_text="User name of who exposed it; a keeper may bring in other members' logs."),
    Field("f_number", "number", help_text="Not stored: checked against the camera's."),
)
_KINDS_BY_CLASS: tuple[tuple[type[serializers.Field], str], ...] = (
    (Number, "number"),
    (serializers.IntegerField, "whole"),
    (serializers.BooleanField, "yes_no"),
    (Identifier, "id"),
    (Instant, "instant"),
    (serializers.DateField, "date"),
    (serializers.ChoiceField, "choice"),
    (serializers.CharField, "text"),
)


@cache
def fields_of(kind: str) -> dict[str, Field]:
    """Every field that a column of a sheet of this kind can be, by name."""
    body, _ = KINDS_OF_SHEET[kind]
    found: dict[str, Field] = {}
    for field in _walk(body(), "", required=True):
        known = found.get(field.name, field)
        found[field.name] = replace(known, required=known.required and field.required)
    if kind == "exposures":
        found["camera"] = replace(found["camera"], kind="camera")
        found["paper"] = replace(found["paper"], kind="paper")
        found |= {field.name: field for field in BESIDE}
    return found


def fields_offered(kind: str, on: Collection[str]) -> dict[str, Field]:
    """Those of them that a club can use which has the plug-ins `on` switched on."""
    return {name: field for name, field in fields_of(kind).items() if not field.plugin or field.plugin in on}


def _walk(serializer: Any, before: str, *, required: bool) -> Iterator[Field]:
    for key, field in serializer.fields.items():
        name, needed = before + key, required and field.required
        if isinstance(field, ByKind):
            yield from _walk_contributions(field, name, required=needed)
        elif isinstance(field, ProcessField):
            yield from _walk(ProcessIn(), name + ".", required=needed)
        elif isinstance(field, SheetField):
            yield Field(name, "choice", needed, tuple(NAMED_SHEETS), str(field.help_text or ""))
            yield from _walk(SizeIn(), name + ".", required=False)
        elif isinstance(field, serializers.Serializer):
            if not any(isinstance(child, serializers.ListField) for child in field.fields.values()):
                yield from _walk(field, name + ".", required=needed)
        elif isinstance(field, QuantityField):
            yield Field(name, field.kind, needed, help_text=str(field.help_text or ""))
        elif kind := next((kind for cls, kind in _KINDS_BY_CLASS if isinstance(field, cls)), None):
            choices = tuple(map(str, getattr(field, "choices", ()) or ()))
            yield Field(name, kind, needed, choices, str(field.help_text or ""))


def _walk_contributions(field: ByKind, name: str, *, required: bool) -> Iterator[Field]:
    """The keys of each film plane or reading that somebody offers; none of them is needed by all."""
    known = contributions(field.point)
    if field.selector:
        yield Field(f"{name}.{field.selector}", "choice", required, tuple(known), "What it is.")
    strangers = {entry.name for entry in switchable()}
    for each in known:
        by = owner(field.point, each)
        for found in _walk(parameters_serializer(field.point, each)(), name + ".", required=False):
            yield replace(found, plugin=by if by in strangers else "")
