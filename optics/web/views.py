"""The bench and the hole page. Whatever they reckon they ask the API; their choices come from the plug-in registry."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from optics.core.advice import BLADE_CAUTION
from optics.core.holes import DEFAULT_RULE, NEEDLE_WARNING
from optics.core.sheet_cuts import NAMED_SHEETS
from pinpool.conf import setting
from pinpool.plugins.model import Contribution, Parameter
from pinpool.plugins.registry import contributions
from pinpool.plugins.switches import offered
from pinpool.web.pages import Page


@dataclass(frozen=True)
class Choice:
    """One entry of a list: the value sent, and what a person reads."""

    value: str
    label: str


@dataclass(frozen=True)
class Field:
    """One declared parameter as an input: its key in a body, its names on the page, how its text is read, its text."""

    key: str
    label: str
    hint: str
    reads_as: str
    required: bool
    value: str = ""


@dataclass(frozen=True)
class Kind:
    """A contribution to choose, such as a kind of film plane, with its own fields."""

    name: str
    label: str
    fields: tuple[Field, ...]


def kinds_of(point: str, under: str, on: Collection[str] | None = None) -> list[Kind]:
    """What may be chosen at `point`, ours first, as it declares itself; its fields are below the key `under` of a body.

    `on`: see `pinpool.plugins.switches`.
    """
    return [
        Kind(name, _capital(kind.label), tuple(_field(parameter, under) for parameter in kind.parameters))
        for name, kind in offered(point, on).items()
    ]


def _field(parameter: Parameter, under: str) -> Field:
    hint = _capital(parameter.description) + "."
    if parameter.kind == "points":
        hint += " One point a line: x, a comma, z."
    elif parameter.kind == "rows":
        hint += " One pair of times a line, with a comma between."
    if not parameter.required and parameter.default is not None:
        hint += f" {_default_said(parameter)} unless told."
    label = _capital(parameter.name.replace("_", " "))
    return Field(f"{under}/{parameter.name}", label, hint, parameter.kind, parameter.required)


def _default_said(parameter: Parameter) -> str:
    match parameter.default_written:
        case float() | int() as number:
            return f"{number:g}"
        case list() as pairs:
            return "; ".join(map(", ".join, pairs))
        case text:
            return str(text)


def _choices(point: str) -> list[Choice]:
    def label(each: Contribution) -> str:
        return _capital(each.label.replace("_", " "))

    return [Choice(name, label(each)) for name, each in contributions(point).items()]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


class BenchPage(Page):
    """Measure a box and see what camera it makes, as you type."""

    template_name = "optics/bench.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | {
            "kinds": kinds_of("film_planes", "film_plane"),
            "receptors": _choices("receptors"),
            "rules": _choices("hole_rules"),
            "default_rule": DEFAULT_RULE,
            "sheets": list(NAMED_SHEETS),
            "blade_caution": BLADE_CAUTION.text,
            "needle_caution": NEEDLE_WARNING.text,
        }


class HolePage(Page):
    """Find out what hole was really made, by counting or from a scan, and what to do with it."""

    template_name = "optics/hole.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        cautions = {"blade_caution": BLADE_CAUTION.text, "needle_caution": NEEDLE_WARNING.text}
        return super().get_context_data(**kwargs) | cautions | {"most_megabytes": setting("MAX_SCAN_BYTES") // 10**6}
