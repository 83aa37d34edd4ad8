"""How the composite inputs appear in the OpenAPI document: one component for each contributed kind."""

from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import force_instance
from drf_spectacular.utils import Direction

from optics.core.sheet_cuts import NAMED_SHEETS
from optics.inputs import FilmPlaneField, SizeIn, parameters_serializer, wavelength_field
from pinpool.http.schema import component
from pinpool.plugins.registry import contributions


class ByKindSchema(OpenApiSerializerFieldExtension):
    """One of the contributed kinds; where a key tells which, the document says so."""

    target_class = "optics.inputs.ByKind"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:
        point, selector = self.target.point, self.target.selector
        options, mapping = [], {}
        for name, contribution in self.target.offers().items():
            own = [parameter.name for parameter in contribution.parameters] == [name]
            fixed = ((selector, name),) if selector and not own else ()
            kind = force_instance(parameters_serializer(point, name, fixed))
            made = auto_schema.resolve_serializer(kind, direction)
            for parameter in contribution.parameters:
                if not parameter.required and parameter.default is not None:
                    made.schema["properties"][parameter.name]["default"] = parameter.default_written
            ref = made.ref
            options.append(ref)
            if fixed:
                mapping[name] = ref["$ref"]
        schema: dict[str, Any] = {"oneOf": options}
        if len(mapping) == len(options):
            schema["discriminator"] = {"propertyName": selector, "mapping": mapping}
        return schema


class SaidTimeSchema(OpenApiSerializerFieldExtension):
    """A time with its words."""

    target_class = "optics.outputs.SaidTime"
    priority = 1

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:  # noqa: ARG002
        return component(
            auto_schema,
            "SaidTime",
            {
                "type": "object",
                "properties": {
                    "value": {"type": "number"},
                    "unit": {"type": "string", "enum": ["s"]},
                    "text": {"type": "string", "description": "As people say it, rounded."},
                },
                "required": ["value", "unit", "text"],
            },
        )


class StoredFilmPlaneSchema(OpenApiSerializerFieldExtension):
    """A stored film plane shows in the form in which one is posted."""

    target_class = "clubs.serializers_specs.StoredFilmPlane"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:
        return auto_schema._map_serializer_field(FilmPlaneField(), direction)


def _receptor(auto_schema: AutoSchema) -> dict[str, Any]:
    return component(auto_schema, "ReceptorName", {"type": "string", "enum": list(contributions("receptors"))})


class ReceptorSchema(OpenApiSerializerFieldExtension):
    target_class = "optics.inputs.ReceptorField"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:
        return {"anyOf": [_receptor(auto_schema), auto_schema._map_serializer_field(wavelength_field(), direction)]}


class SheetSchema(OpenApiSerializerFieldExtension):
    target_class = "optics.inputs.SheetField"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:
        size = auto_schema.resolve_serializer(SizeIn(), direction).ref
        name = component(auto_schema, "SheetName", {"type": "string", "enum": list(NAMED_SHEETS)})
        return {"oneOf": [name, size]}


class BandSchema(OpenApiSerializerFieldExtension):
    target_class = "optics.questions.BandField"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:  # noqa: ARG002
        return _receptor(auto_schema)


class MarksSchema(OpenApiSerializerFieldExtension):
    target_class = "optics.questions.Marks"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:  # noqa: ARG002
        return {"type": "string", "maxLength": 80, "examples": ["12,40;912.5,38"]}
