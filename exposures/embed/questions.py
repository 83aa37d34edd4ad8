"""The question for a time, as a query asks it: the paper, and the light by the keys of a reading."""

import re
from collections.abc import Mapping
from typing import Any

from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from optics.inputs import ReadingField
from pinpool.http.fields import Identifier, StrictSerializer
from pinpool.plugins.registry import contributions

_NUMBER = re.compile(r"[+-]?[0-9]{1,12}(\.[0-9]{1,12})?\Z")


def reading_query() -> dict[str, OpenApiParameter]:
    """The keys of every light reading."""
    parameters = [each for reading in contributions("light_readings").values() for each in reading.parameters]
    return {
        each.name: OpenApiParameter(
            each.name,
            float if each.kind == "number" else str,
            description=f"{each.description[:1].upper()}{each.description[1:]}.",
        )
        for each in parameters
    }


def as_body(query: Mapping[str, str]) -> dict[str, Any]:
    """A query as `EmbeddedExposureIn` takes it; what is no number stays as it is written, to be refused."""
    known = reading_query()
    reading: dict[str, Any] = {name: text for name, text in query.items() if name in known}
    for name, text in reading.items():
        if known[name].type is float and _NUMBER.match(text):
            reading[name] = float(text)
    return {"reading": reading} | ({"paper": query["paper"]} if "paper" in query else {})


class EmbeddedExposureIn(StrictSerializer):
    """Which paper, in which light."""

    paper = Identifier()
    reading = ReadingField()

    def to_internal_value(self, data: Any) -> Any:
        try:
            return super().to_internal_value(data)
        except serializers.ValidationError as fault:  # the query has no `reading`: its keys stand alone
            found: dict[str, Any] = dict(fault.detail)  # type: ignore[arg-type]  # a dict for a serializer
            of_reading = found.pop("reading", {})
            alone = of_reading if isinstance(of_reading, dict) else {"ev": of_reading}
            raise serializers.ValidationError(found | alone) from None
