"""The OpenAPI document, made from what each view declares; nothing is described twice."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension, OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ResolvedComponent
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import Direction, OpenApiParameter, OpenApiResponse
from rest_framework import serializers

from pinpool.units import KINDS

from .problems import MEDIA_TYPE


@dataclass(frozen=True)
class Operation:
    """What one method of a view takes and gives.

    `page` wraps `gives` in a cursor page; `again`: the same sent again is answered with 200 instead of `status`;
    `media` is what the answer is where it is not JSON, and `gives` then `OpenApiTypes.BINARY`.
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
        responses: dict[Any, Any] = {(status, operation.media): gives for status in statuses}
        for status in (*operation.refusals, "default"):
            responses[(status, MEDIA_TYPE)] = OpenApiResponse(ProblemOut, description=_REFUSALS[status])
        return responses

    def get_operation_id(self) -> str:
        """Such as `optics_film_plane`, `clubs_cameras_list`, `clubs_cameras_create`, `clubs_camera_read`."""
        operation = self._operation()
        if operation.page:
            action = "list"
        elif self.method == "GET":
            action = "read"
        else:
            made = "create" if operation.status == 201 else ""
            action = {"PUT": "change", "PATCH": "change", "DELETE": "remove"}.get(self.method, made)
        steps = [step for step in self._tokenize_path() if step]
        return "_".join([*(step.replace("-", "_") for step in steps), *([action] if action else [])])

    def get_override_parameters(self) -> list[Any]:
        changes = [IF_MATCH] if 428 in self._operation().refusals else []
        return [*self.view.query_of(self.method).values(), *changes]

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
        if direction == "request":
            ref = component(auto_schema, name + "Request", {
                "oneOf": [
                    {"type": "string", "maxLength": 64, "examples": [f"1.5 {taken[0]}"]},
                    {
                        "type": "object",
                        "properties": {"value": {"type": "number"}, "unit": {"type": "string", "enum": taken}},
                        "required": ["value", "unit"],
                        "additionalProperties": False,
                    },
                ],
                "description": f"{kind.capitalize()} with its unit.",
            })  # fmt: skip
        else:
            ref = component(auto_schema, name, {
                "type": "object",
                "properties": {"value": {"type": "number"}, "unit": {"type": "string", "enum": given}},
                "required": ["value", "unit"],
            })  # fmt: skip
        return ref


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
