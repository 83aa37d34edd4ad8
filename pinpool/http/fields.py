"""Serializer fields: quantities, numbers and texts in, strict about type and about everything a person can mistype."""

import math
import re
from datetime import UTC, date, datetime
from functools import cached_property
from typing import Any

import numpy as np
from rest_framework import ISO_8601, serializers

from pinpool.quantities import QuantityError, quantity_out, read_quantity


class QuantityField(serializers.Field):
    """A quantity with its unit: `"61 mm"` or `{"value": 61, "unit": "mm"}` in, a float in the canonical unit.

    `minimum` and `maximum` are in that unit; `exclusive_minimum` refuses the minimum itself. Shown as
    `{"value", "unit"}`, lengths in inches where the caller asked for them.
    """

    def __init__(
        self,
        kind: str,
        *,
        minimum: float | None = None,
        maximum: float | None = None,
        exclusive_minimum: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(**kwargs)
        self.kind = kind
        self.limits: dict[str, Any] = {
            "minimum": minimum,
            "maximum": maximum,
            "exclusive_minimum": exclusive_minimum,
        }

    def to_internal_value(self, data: Any) -> float:
        try:
            return read_quantity(data, self.kind, **self.limits).value
        except QuantityError as fault:
            raise serializers.ValidationError(fault.detail, fault.code) from None

    def to_representation(self, value: float) -> dict[str, Any] | None:
        if not math.isfinite(value):
            return None
        return quantity_out(value, self.kind, lengths=self.context.get("lengths", "mm"))


class Length(QuantityField):
    """A length of 1 µm to 10 m: no camera of a club is larger, and nothing on it smaller."""

    def __init__(self, *, minimum: float = 0.001, maximum: float = 10_000.0, **kwargs: Any) -> None:
        super().__init__("length", minimum=minimum, maximum=maximum, **kwargs)


class Offset(QuantityField):
    """A signed length."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__("length", minimum=-10_000.0, maximum=10_000.0, **kwargs)


class Duration(QuantityField):
    """A time of 1 µs to ten years."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__("time", minimum=1e-6, maximum=3.2e8, **kwargs)


class Number(serializers.Field):
    """A plain finite JSON number, neither boolean nor text, within its limits."""

    default_error_messages = {
        "not_a_number": "Give a plain number, such as 5.6.",
        "not_finite": "Give a number that is finite.",
        "out_of_range": "Must be {range}.",
    }

    def __init__(
        self,
        *,
        minimum: float | None = None,
        maximum: float | None = None,
        exclusive_minimum: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(**kwargs)
        self.minimum, self.maximum, self.exclusive_minimum = minimum, maximum, exclusive_minimum

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, int | float):
            self.fail("not_a_number")
        try:
            value = float(data)
        except OverflowError:
            self.fail("not_finite")
        if not math.isfinite(value):
            self.fail("not_finite")
        low = self.minimum is not None and (value <= self.minimum if self.exclusive_minimum else value < self.minimum)
        if low or (self.maximum is not None and value > self.maximum):
            self.fail("out_of_range", range=self._range())
        return value

    def to_representation(self, value: float) -> float | None:
        value = float(value)
        return value if math.isfinite(value) else None

    def _range(self) -> str:
        parts = []
        if self.minimum is not None:
            parts.append(f"{'more than' if self.exclusive_minimum else 'at least'} {self.minimum:g}")
        if self.maximum is not None:
            parts.append(f"at most {self.maximum:g}")
        return " and ".join(parts)


class Whole(serializers.IntegerField):
    """A whole JSON number, not text and not a boolean."""

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, bool) or not isinstance(data, int):
            self.fail("invalid")
        return super().to_internal_value(data)


class Text(serializers.CharField):
    """Text a person wrote: a JSON text, trimmed, without control characters."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 100)
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        # What a paste brings along from a form or a table.
        text = super().to_internal_value(data.replace("\r\n", "\n").replace("\t", " "))
        if any(ord(c) < 32 and c != "\n" for c in text):
            raise serializers.ValidationError("Control characters are not text.", "control_character")
        return text


class YesNo(serializers.BooleanField):
    """JSON's true or false; neither 1 nor "yes"."""

    default_error_messages = {"invalid": "Give true or false."}

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            self.fail("invalid")
        return data


class Identifier(serializers.UUIDField):
    """A UUID as text; not a number, which would be taken for one."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str):
            self.fail("invalid", value=data)
        return super().to_internal_value(data)


class Instant(serializers.Field):
    """A date and time with its offset from UTC, such as `2026-06-21T12:00:00+01:00`, from 1950 to 2100."""

    default_error_messages = {
        "invalid": "Give a date and time such as 2026-06-21T12:00:00+01:00.",
        "no_offset": "Say how far the clock is ahead of UTC: 2026-06-21T12:00:00+01:00, or Z for UTC.",
        "out_of_range": "From 1950 to 2100.",
    }

    def to_internal_value(self, data: Any) -> datetime:
        try:
            instant = datetime.fromisoformat(data)
        except (TypeError, ValueError):
            self.fail("invalid")
        if instant.tzinfo is None:
            self.fail("no_offset")
        if not 1950 <= instant.year <= 2100:
            self.fail("out_of_range")
        return instant

    def to_representation(self, value: datetime) -> str:
        return value.isoformat()


class Moment(serializers.DateTimeField):
    """An instant that is stored, shown in UTC, whatever zone and form a host site's own API shows."""

    format, timezone = ISO_8601, UTC


def moment_out(value: datetime) -> str:
    """An instant as a `Moment` shows it."""
    if value.tzinfo is not UTC:
        value = value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
    return value.isoformat().removesuffix("+00:00") + "Z"


class Day(serializers.DateField):
    """A day such as `2026-06-21`, from 1950 to 2100, whatever form a host site's own API has for it."""

    format, input_formats = ISO_8601, [ISO_8601]
    default_error_messages = {"invalid": "Give a day such as 2026-06-21.", "out_of_range": "From 1950 to 2100."}

    def to_internal_value(self, data: Any) -> date:
        if not isinstance(data, str) or not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", data):
            self.fail("invalid")
        day = super().to_internal_value(data)
        if not 1950 <= day.year <= 2100:
            self.fail("out_of_range")
        return day


class Numbers(serializers.Field):
    """An array of plain numbers out, of any shape; what is not finite shows as null."""

    def __init__(self, *, dimensions: int = 1, **kwargs: Any) -> None:
        super().__init__(read_only=True, **kwargs)
        self.dimensions = dimensions

    def to_representation(self, value: Any) -> Any:
        return np.ascontiguousarray(value, dtype=float)


# A body whose unknown keys are faults, like any other. No docstring: each body without its own would show it.
class StrictSerializer(serializers.Serializer):
    def to_internal_value(self, data: Any) -> Any:
        known = set(self.fields)
        unknown = [key for key in data if key not in known] if isinstance(data, dict) else []
        try:
            values = super().to_internal_value(data)
        except serializers.ValidationError as fault:
            if not unknown:
                raise
            found: dict[str, Any] = fault.detail  # type: ignore[assignment]  # a dict for a serializer
            raise serializers.ValidationError(found | self._unknown(unknown)) from None
        if unknown:
            raise serializers.ValidationError(self._unknown(unknown))
        return values

    def _unknown(self, unknown: list[str]) -> dict[str, list[serializers.ErrorDetail]]:
        known = ", ".join(name for name, field in self.fields.items() if not field.read_only)
        return {
            str(name)[:64]: [serializers.ErrorDetail(f"Unknown key; known here: {known}.", "unknown_key")]
            for name in unknown[:20]
        }


# What an answer shows, in half of DRF's own time: attributes and keys are looked up at once, never called, and only
# what is not there is looked up in DRF's way. No docstring, for the same reason.
class ShownSerializer(serializers.Serializer):
    @cached_property
    def _shown(self) -> list[tuple[str, serializers.Field, list[str]]]:
        return [(name, field, field.source_attrs) for name, field in self.fields.items() if not field.write_only]

    def to_representation(self, instance: Any) -> dict[str, Any]:
        shown = {}
        for name, field, steps in self._shown:
            value = instance
            try:
                for step in steps:
                    value = value[step] if isinstance(value, dict) else getattr(value, step)
            except (AttributeError, KeyError):
                try:
                    value = field.get_attribute(instance)
                except serializers.SkipField:
                    continue
            shown[name] = None if value is None else field.to_representation(value)
        return shown
