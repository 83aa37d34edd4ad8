"""`/api/v1/docs/`: the OpenAPI document as a page to read, and recipes; without scripts and printable."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from pinpool.openapi import document
from pinpool.web.pages import Page

#: How deep a body is unfolded; deeper parts show their type alone.
DEEPEST = 5


@dataclass(frozen=True)
class Value:
    """One value of a body: its key, what it is in a few words, and what it holds."""

    key: str
    kind: str
    text: str
    required: bool
    holds: tuple["Value", ...]


@dataclass(frozen=True)
class Call:
    """One method of one address."""

    anchor: str
    method: str
    path: str
    summary: str
    text: str
    query: tuple[Value, ...]
    takes: tuple[Value, ...]
    example: str
    gives: tuple[Value, ...]
    refusals: tuple[tuple[str, str], ...]


class DocsPage(Page):
    """The page."""

    template_name = "pinpool/docs.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | {"groups": groups(), "about": document_info()}


class RecipesPage(Page):
    """What programs are written for most, with the addresses of this very site."""

    template_name = "pinpool/recipes.html"

    def shared(self) -> dict[str, Any]:
        shared = super().shared()
        return shared | {"address": self.request.build_absolute_uri(shared["api"]).rstrip("/")}


@cache
def _document() -> dict[str, Any]:
    return document()


def document_info() -> dict[str, Any]:
    """Title, version and description of the document."""
    return _document()["info"]


@cache
def groups() -> dict[str, list[Call]]:
    """Every call of the document, by its first tag."""
    found: dict[str, list[Call]] = {}
    for path, methods in _document()["paths"].items():
        for method, operation in methods.items():
            found.setdefault(operation["tags"][0].replace("_", " "), []).append(_call(path, method, operation))
    return found


def _call(path: str, method: str, operation: dict[str, Any]) -> Call:
    body = operation.get("requestBody", {}).get("content", {})
    gives: tuple[Value, ...] = ()
    refusals = []
    for status, response in operation["responses"].items():
        if status.startswith("2"):
            gives = _members(_schema_of(response.get("content", {})))
        else:
            refusals.append((status, response["description"]))
    query = tuple(
        Value(p["name"], _kind(p["schema"]), p.get("description", ""), False, ())
        for p in operation.get("parameters", [])
        if p["in"] == "query"
    )
    return Call(
        anchor=operation["operationId"],
        method=method.upper(),
        path=path,
        summary=operation.get("summary", ""),
        text=operation.get("description", ""),
        query=query,
        takes=_members(_schema_of(body)),
        example=_example_in(body),
        gives=gives,
        refusals=tuple(refusals),
    )


def _example_in(content: dict[str, Any]) -> str:
    """A body's example as a person would write it; empty without one."""
    for media in content.values():
        for example in media.get("examples", {}).values():
            return json.dumps(example["value"], indent=2, ensure_ascii=False)
    return ""


def _schema_of(content: dict[str, Any]) -> dict[str, Any]:
    media: list[dict[str, Any]] = list(content.values())
    return media[0].get("schema", {}) if media else {}


def _resolved(schema: dict[str, Any]) -> dict[str, Any]:
    """A schema with its own reference followed; what stands beside the reference wins."""
    while "$ref" in schema or len(schema.get("allOf", ())) == 1:
        beside = {key: value for key, value in schema.items() if key not in {"$ref", "allOf"}}
        target = schema["$ref"] if "$ref" in schema else schema["allOf"][0].get("$ref")
        schema = {**_document()["components"]["schemas"][target.rsplit("/", 1)[1]], **beside}
    return schema


def _name(schema: dict[str, Any]) -> str:
    """A component's name in words, such as “half drum plane”; empty for a schema without one."""
    beside: list[dict[str, str]] = schema.get("allOf", [])
    target: str = schema.get("$ref") or (beside[0].get("$ref", "") if beside else "")
    return re.sub(r"(?<=.)([A-Z])", r" \1", target.rsplit("/", 1)[-1].removesuffix("Request")).lower()


def _members(schema: dict[str, Any], depth: int = 0) -> tuple[Value, ...]:
    """What a schema holds: the keys of an object, the ways of a choice, the items of a list."""
    if depth >= DEEPEST:
        return ()
    found = _resolved(schema)
    if _is_quantity(found):
        return ()
    if found.get("type") == "array":
        return _members(found["items"], depth)
    return tuple(_values(found, depth))


def _values(found: dict[str, Any], depth: int) -> Iterator[Value]:
    for option in found.get("oneOf", found.get("anyOf", ())):
        if inner := _members(option, depth + 1):
            about = _resolved(option)
            yield Value("", _name(option), about.get("description", ""), False, inner)
    for key, member in found.get("properties", {}).items():
        text = member.get("description", "")
        required = key in found.get("required", ())
        yield Value(key, _kind(member), text, required, _members(member, depth + 1))


def _is_quantity(schema: dict[str, Any]) -> bool:
    options = [_resolved(option) for option in schema.get("oneOf", ())] or [schema]
    return any(set(option.get("properties", ())) == {"value", "unit"} for option in options)


def _kind(schema: dict[str, Any]) -> str:  # noqa: PLR0911  (one kind a line)
    """A few words for what a value is."""
    found, name = _resolved(schema), _name(schema)
    options = found.get("oneOf", found.get("anyOf"))
    if _is_quantity(found):
        named = name or next((_name(option) for option in options or () if _name(option)), "quantity")
        return f"{named} with its unit" + _or_null(options)
    if "enum" in found:
        return "one of " + ", ".join(str(value) for value in found["enum"])
    if options:
        words = [_kind(option) for option in options if option != {"type": "null"}]
        if len(words) > 2:
            return f"one of {len(words)} forms"
        return " or ".join(dict.fromkeys(words)) + _or_null(options)
    if found.get("type") == "array":
        return f"list of {_kind(found['items'])}"
    kind = found.get("type", "anything")
    if isinstance(kind, list):
        return " or ".join(kind)
    return {"object": name or "object", "string": found.get("format", "text")}.get(kind, kind)


def _or_null(options: Any) -> str:
    return " or null" if {"type": "null"} in (options or ()) else ""
