"""What the pages of the log share: a request as lists of the API read it, and the fields of a light reading."""

from copy import copy
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, QueryDict
from django.http.response import HttpResponseBase
from rest_framework.exceptions import ParseError, ValidationError
from rest_framework.request import Request

from clubs.models import Club
from clubs.web.base import ClubPage
from optics.inputs import readings_told
from pinpool.plugins.switches import offered, on_with

#: How a meter's reading is told most often; the fields of other ways are folded away.
USUAL_READING = "ev"


def as_api(request: HttpRequest, reader: Any, query: QueryDict | None = None) -> Request:
    """The request as the API's pages and filters take it; with another `query` than its own where one is given."""
    meant = copy(request)
    if query is not None:
        meant.GET = query  # type: ignore[assignment]
    asked = Request(meant)
    asked.user = reader
    return asked


class AskedPage(ClubPage):
    """A page whose address asks for something, as a list's cursor does; what is wrong there is refused in words."""

    def show(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        try:
            return super().show(request, *args, **kwargs)
        except ValidationError as fault:
            raise ParseError(words_of(fault)) from fault


def words_of(fault: ValidationError) -> str:
    """Every sentence of a refusal, one after the other."""
    faults: Any = fault.detail
    lists = faults.values() if isinstance(faults, dict) else [faults]
    return " ".join(str(sentence) for each in lists for sentence in each)


@dataclass(frozen=True)
class ReadingInput:
    """A key of a light reading as an input; `value` is what is written in it already, `empty` what it is otherwise."""

    key: str
    label: str
    number: bool
    value: Any = ""
    empty: Any = None


@dataclass(frozen=True)
class ReadingWay:
    """A way of telling the light, as a plug-in offers it."""

    label: str
    usual: bool
    inputs: tuple[ReadingInput, ...]


def reading_ways(club: Club, written: dict[str, Any] | None = None) -> list[ReadingWay]:
    """Every way of telling the light in a club, the usual one first, with what is written already.

    No key stands twice. What is written stays a way though its plug-in is switched off.
    """
    left = dict(written or {})
    known = offered("light_readings", on_with(club.plugins, "light_readings", readings_told(left) if left else ()))
    names = sorted(known, key=lambda name: name != USUAL_READING)
    defaults: dict[str, list[Any]] = {}
    for parameter in (each for name in names for each in known[name].parameters):
        defaults.setdefault(parameter.name, []).append(parameter.default_written)
    ways, seen = [], set[str]()
    for name in names:
        inputs = []
        for parameter in known[name].parameters:
            if parameter.name not in seen:
                value, number = left.get(parameter.name, ""), parameter.kind == "number"
                first, *others = defaults[parameter.name]
                empty = first if all(each == first for each in others) else None  # two ways share the input
                inputs.append(ReadingInput(parameter.name, _label(parameter.name), number, value, empty))
                seen.add(parameter.name)
        ways.append(ReadingWay(known[name].label, name == USUAL_READING, tuple(inputs)))
    return ways


def _label(key: str) -> str:
    """“EV”, “ISO”, “Calibration constant”."""
    return key.upper() if len(key) <= 3 else key.replace("_", " ").capitalize()
