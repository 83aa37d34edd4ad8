"""The OpenAPI document, made from what each view declares; nothing is described twice."""

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass
from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension, OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ResolvedComponent, force_instance
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import Direction, OpenApiExample, OpenApiParameter, OpenApiResponse
from rest_framework import serializers
from rest_framework.fields import empty

from pinpool.examples import EXAMPLES
from pinpool.units import KINDS

from .problems import MEDIA_TYPE

#: What a file is to a client that knows no other name for it.
OCTETS = "application/octet-stream"


@dataclass(frozen=True)
class Operation:
    """What one method of a view takes and gives.

    `page` wraps `gives` in a cursor page; `again`: the same sent again is answered with 200 instead of `status`;
    `media` is what the answer is where it is not JSON, and `gives` then `OpenApiTypes.STR` or `BINARY`; what is no
    text is given as plain bytes too, to whoever asks for those.
    """

    gives: type[serializers.BaseSerializer] | OpenApiTypes
    takes: type[serializers.BaseSerializer] | None = None
    status: int = 200
    page: bool = False
    again: bool = False
    media: str = "application/json"
    refusals: tuple[int, ...] = (400,)


class FaultOut(serializers.Serializer):
    pointer = serializers.CharField(
        help_text="JSON pointer (RFC 6901) to the value at fault; empty for the whole body."
    )
    code = serializers.CharField(help_text="Stable, for programs.")
    detail = serializers.CharField(help_text="A sentence for a person.")


class ProblemOut(serializers.Serializer):
    """A refusal, as RFC 9457 has it."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    errors = FaultOut(many=True, required=False)
    request_id = serializers.CharField(required=False, help_text="By which the keeper finds the request in the log.")


class Schema(AutoSchema):
    """Reads a view's `operations`, its `query` and its docstring."""

    view: Any

    def _operation(self) -> Operation:
        operations: Mapping[str, Operation] = self.view.operations
        return operations[self.method]

    def get_request_serializer(self) -> Any:
        return self._operation().takes

    def get_response_serializers(self) -> Any:
        operation = self._operation()
        gives: Any = operation.gives
        if operation.page:
            gives = page_of(gives)
        statuses = (200, operation.status) if operation.again else (operation.status,)
        media = (operation.media, OCTETS) if gives is OpenApiTypes.BINARY else (operation.media,)
        responses: dict[Any, Any] = {(status, each): gives for status in statuses for each in media}
        for status in (*operation.refusals, "default"):
            responses[(status, MEDIA_TYPE)] = OpenApiResponse(ProblemOut, description=_REFUSALS[status])
        return responses

    def get_operation_id(self) -> str:
        """Such as `optics_film_plane`, `cameras_list`, `cameras_create`, `cameras_read`, `cameras_specs_list`."""
        return "_".join([*self._steps(), *([self._action()] if self._action() else [])])

    def get_tags(self) -> list[str]:
        """What the call is about: `optics`, `accounts`, or of a club's own things `cameras`, `papers` and so on."""
        return [self._steps()[0]]

    def get_summary(self) -> str | None:
        """Such as “List cameras” or “Create camera spec”, where one description is of several calls."""
        if len(self.view.operations) == 1 or not self._action():
            return None
        *of, thing = (step.replace("_", " ") for step in self._steps())
        words = [self._action().capitalize(), *map(_one, of), thing if self._operation().page else _one(thing)]
        return " ".join(words)

    def get_examples(self) -> list[OpenApiExample]:
        body = EXAMPLES.get(self.get_operation_id())
        return [OpenApiExample("invented", value=body, request_only=True)] if body else []

    def _steps(self) -> list[str]:
        """The names in the address. A club's things go without the club, unless something else is called so."""
        steps = [step.replace("-", "_") for step in self._tokenize_path() if step]
        return steps[1:] if steps[0] == "clubs" and len(steps) > 1 and steps[1] not in _TAKEN else steps

    def _action(self) -> str:
        """What is done with it; empty for a question or a deed that its address names."""
        operation = self._operation()
        if operation.page:
            return "list"
        if self.method == "GET":
            return "read"
        made = "create" if operation.status == 201 else ""
        return {"PUT": "change", "PATCH": "change", "DELETE": "remove"}.get(str(self.method), made)

    def get_override_parameters(self) -> list[Any]:
        changes = [IF_MATCH] if 428 in self._operation().refusals else []
        return [*(self._told(each) for each in self.view.query_of(self.method).values()), *changes]

    def _told(self, parameter: OpenApiParameter) -> OpenApiParameter:
        """A query parameter whose type tells its choices: a truth value, or the units that many calls share."""
        if parameter.enum == ["true", "false"]:
            return _with_type(parameter, {"type": "boolean"})
        if parameter.name == "lengths":
            return _with_type(parameter, component(self, "Lengths", {"type": "string", "enum": parameter.enum}))
        return parameter

    def _map_basic_serializer(self, serializer: Any, direction: Direction) -> dict[str, Any]:
        """An answer always has what it has a default for."""
        schema = super()._map_basic_serializer(serializer, direction)
        if direction == "response":
            given = {name for name, field in force_instance(serializer).fields.items() if field.default is not empty}
            if always := sorted({*schema.get("required", ()), *given} & schema["properties"].keys()):
                schema["required"] = always
        return schema

    def _map_serializer_field(self, field: Any, direction: Direction, bypass_extensions: bool = False) -> Any:
        """Defaults as a client may send them, and a choice or null as a named choice or null."""
        schema = super()._map_serializer_field(field, direction, bypass_extensions)
        schema.pop("x-spec-enum-id", None)
        match schema.get("default"):
            case {"value": value, "unit": unit}:
                schema["default"] = f"{value:g} {unit}"
            case None if not field.allow_null:
                schema.pop("default", None)
        choices = schema.get("enum", ())
        if None not in choices or not field.field_name:
            return schema
        name = self._get_serializer_name(field.parent, direction) + "".join(map(str.title, field.field_name.split("_")))
        named = component(self, name, {"type": "string", "enum": [each for each in choices if each is not None]})
        return {"oneOf": [named, {"type": "null"}]}

    def _get_serializer_name(self, serializer: Any, direction: str, bypass_extensions: bool = False) -> str:
        """`FilmPlaneOut` shows as FilmPlane, `FilmPlaneIn` as FilmPlaneRequest."""
        name = super()._get_serializer_name(serializer, direction, bypass_extensions)
        suffix = "Request" if direction == "request" else ""
        return name.removesuffix("Request").removesuffix("In").removesuffix("Out") + suffix

    def _is_list_view(self, serializer: Any = None) -> bool:  # noqa: ARG002  (pages are declared, not guessed)
        return False

    def _get_format_parameters(self) -> list[Any]:
        return []

    def get_filter_backends(self) -> list[Any]:
        return []


#: Names below a club's address that also stand at the top.
_TAKEN = {"invitations", "embed"}


def _one(things: str) -> str:
    return things.removesuffix("s")


def _with_type(parameter: OpenApiParameter, schema: dict[str, Any]) -> OpenApiParameter:
    told = copy(parameter)
    told.type, told.enum = schema, None
    return told


IF_MATCH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    required=True,
    description="The ETag of what is changed, so that nobody's change is lost; `*`: whatever it is now.",
)

_REFUSALS = {
    400: "The request has faults, each with a pointer.",
    401: "Not signed in.",
    403: "Your role does not allow this.",
    404: "Not there, or not yours to see.",
    409: "Contradicts what is stored.",
    412: "Changed since you read it.",
    422: "Describes what cannot exist; says what would have to change.",
    428: "If-Match is missing.",
    429: "Too many tries; Retry-After tells how many seconds to wait.",
    503: "Cannot be answered just now; Retry-After tells how many seconds to wait.",
    "default": "Any other refusal, in the same form: a bad token 401, 405, 406, 413, 415, a plug-in's failure 502.",
}

_pages: dict[type[serializers.BaseSerializer], type[serializers.Serializer]] = {}


def page_of(row: type[serializers.BaseSerializer]) -> type[serializers.Serializer]:
    """The serializer of a cursor page of `row`, the same class each time."""
    if row not in _pages:
        name = row.__name__.removesuffix("Out") + "PageOut"
        members = {
            "next": serializers.CharField(allow_null=True, help_text="The next page's address, or null."),
            "previous": serializers.CharField(allow_null=True, help_text="The page before, or null."),
            "results": row(many=True),
            "__doc__": "One page of a list.",
        }
        _pages[row] = type(name, (serializers.Serializer,), members)
    return _pages[row]


class TokenScheme(OpenApiAuthenticationExtension):
    target_class = "pinpool.tokens.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:  # noqa: ARG002
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "An API token, `Authorization: Bearer pp_…`.",
        }


class QuantitySchema(OpenApiSerializerFieldExtension):
    """A quantity's two forms in, its one form out, as shared components."""

    target_class = "pinpool.http.fields.QuantityField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:
        kind = self.target.kind
        taken, given = units_of(kind)
        name = kind.title().replace("_", "")
        if direction == "response":
            return component(auto_schema, name, _value_and_unit(given))
        pair = component(auto_schema, name + "ValueRequest", _value_and_unit(taken) | {"additionalProperties": False})
        return component(auto_schema, name + "Request", {
            "oneOf": [{"type": "string", "maxLength": 64, "examples": [f"1.5 {taken[0]}"]}, pair],
            "description": f"{kind.capitalize()} with its unit.",
        })  # fmt: skip


def _value_and_unit(units: list[str]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": {"value": {"type": "number"}, "unit": {"type": "string", "enum": units}},
        "required": ["value", "unit"],
    }


class NumberSchema(OpenApiSerializerFieldExtension):
    target_class = "pinpool.http.fields.Number"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:  # noqa: ARG002
        schema: dict[str, Any] = {"type": "number"}
        if self.target.minimum is not None:
            schema["exclusiveMinimum" if self.target.exclusive_minimum else "minimum"] = self.target.minimum
        if self.target.maximum is not None:
            schema["maximum"] = self.target.maximum
        return schema


class NumbersSchema(OpenApiSerializerFieldExtension):
    target_class = "pinpool.http.fields.Numbers"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:  # noqa: ARG002
        schema: dict[str, Any] = {"type": ["number", "null"]}
        for _ in range(self.target.dimensions):
            schema = {"type": "array", "items": schema}
        return schema


class InstantSchema(OpenApiSerializerFieldExtension):
    target_class = "pinpool.http.fields.Instant"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:  # noqa: ARG002
        return {"type": "string", "format": "date-time", "description": "With its offset from UTC."}


def component(auto_schema: AutoSchema, name: str, schema: dict[str, Any]) -> dict[str, Any]:
    """Register a named component of the document once; returns the reference to it."""
    made = ResolvedComponent(name=name, type=ResolvedComponent.SCHEMA, object=name, schema=schema)
    auto_schema.registry.register_on_missing(made)
    return made.ref


def units_of(kind: str) -> tuple[list[str], list[str]]:
    """Spellings taken in, and the one or two units given out, of a kind of quantity."""
    canonical, taken = KINDS[kind].canonical, list(KINDS[kind].units)
    return taken, [canonical, "in"] if kind == "length" else [canonical]
