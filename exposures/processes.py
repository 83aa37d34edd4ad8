"""How a print or negative was developed: read from a person, kept in one column, shown.

Kept are the words as they are, quantities in canonical units (`temperature_c`, `time_s`, `volume_ml`), and under
`typed` those quantities as they were written.
"""

from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import Direction
from rest_framework import serializers

from optics.outputs import SaidTime, said_time
from pinpool.http.fields import Duration, QuantityField, StrictSerializer, Text
from pinpool.http.kept_fields import bound
from pinpool.quantities import quantity_out

METHODS = ("tray", "rotary", "tank")
#: The column's name of each quantity.
KEPT = {"temperature": "temperature_c", "time": "time_s", "volume": "volume_ml"}


class ProcessIn(StrictSerializer):
    """How it was developed; all of it optional."""

    developer = Text(required=False)
    dilution = Text(max_length=60, required=False, help_text="Such as 1+9.")
    temperature = QuantityField("temperature", minimum=-20.0, maximum=120.0, required=False)
    time = Duration(required=False, help_text="In the developer.")
    agitation = Text(max_length=200, required=False)
    volume = QuantityField("volume", minimum=0.0, exclusive_minimum=True, maximum=100_000.0, required=False)
    method = serializers.ChoiceField(METHODS, required=False)
    note = Text(max_length=2000, required=False, allow_blank=True)


class ProcessField(serializers.Field):
    """A process as an object, or as one text that becomes its note; read to what is kept, None where nothing is told.

    The process that stands under `note` alone and the plain text are the same.
    """

    def to_internal_value(self, data: Any) -> dict[str, Any] | None:
        told = {"note": data} if isinstance(data, str) else data
        with bound(ProcessIn, data=told) as body:
            if not body.is_valid():
                raise serializers.ValidationError(body.errors["note"] if isinstance(data, str) else body.errors)
            values = {KEPT.get(name, name): value for name, value in body.validated_data.items() if value != ""}
        typed = {name: told[name] for name in KEPT if name in told}
        return values | {"typed": typed} if values else None

    def to_representation(self, value: Any) -> Any:
        return process_out(value)


class ProcessOut(serializers.Serializer):
    """How it was developed; null where nobody said."""

    developer = serializers.CharField(default=None, allow_null=True)
    dilution = serializers.CharField(default=None, allow_null=True)
    temperature = QuantityField("temperature", default=None, allow_null=True)
    time = SaidTime(default=None, allow_null=True)
    agitation = serializers.CharField(default=None, allow_null=True)
    volume = QuantityField("volume", default=None, allow_null=True)
    method = serializers.ChoiceField(METHODS, default=None, allow_null=True)
    note = serializers.CharField(default=None, allow_null=True)
    typed = serializers.DictField(help_text="The quantities as written.")

    def to_representation(self, kept: dict[str, Any]) -> dict[str, Any]:
        return process_out(kept)


def process_out(kept: dict[str, Any]) -> dict[str, Any]:
    """A process as `ProcessOut` declares it."""
    temperature_c, time_s, volume_ml = map(kept.get, KEPT.values())
    return {
        "developer": kept.get("developer"),
        "dilution": kept.get("dilution"),
        "temperature": None if temperature_c is None else quantity_out(temperature_c, "temperature"),
        "time": None if time_s is None else said_time(time_s),
        "agitation": kept.get("agitation"),
        "volume": None if volume_ml is None else quantity_out(volume_ml, "volume"),
        "method": kept.get("method"),
        "note": kept.get("note"),
        "typed": kept["typed"],
    }


def told_again(kept: dict[str, Any] | None) -> dict[str, Any] | None:
    """The object that would be kept as this one, in the words in which it was sent."""
    if kept is None:
        return None
    words = {name: value for name, value in kept.items() if name not in {*KEPT.values(), "typed"}}
    return words | kept["typed"]


class ProcessSchema(OpenApiSerializerFieldExtension):
    """Taken as an object or a text, shown as an object."""

    target_class = ProcessField

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:
        if direction == "response":
            return auto_schema.resolve_serializer(ProcessOut(), direction).ref
        told = auto_schema.resolve_serializer(ProcessIn(), direction).ref
        return {"oneOf": [told, {"type": "string", "maxLength": 2000, "description": "The note alone."}]}
