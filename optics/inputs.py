"""What the optics endpoints read: film planes, holes, readings, laws. Units come off here."""

from collections.abc import Mapping
from functools import cache
from typing import Any, NoReturn

import numpy as np
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from optics import contributed
from optics.core.camera_plan import Hole
from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.reciprocity import Law
from optics.core.sheet_cuts import NAMED_SHEETS
from pinpool.http.fields import Duration, Length, Number, Offset, QuantityField, StrictSerializer, Text
from pinpool.http.kept_fields import bound
from pinpool.http.problems import impossible
from pinpool.plugins.model import Contribution, Parameter
from pinpool.plugins.registry import contributions
from pinpool.plugins.switches import offered_to, switched_off

SUFFIXES = {
    "length": "_mm", "time": "_s", "angle": "_rad", "wavelength": "_nm", "illuminance": "_lx",
    "luminance": "_cd_m2", "points": "_mm",
}  # fmt: skip


def refuse(fault: Impossible, under: str = "") -> NoReturn:
    """Turn the core's fault into a 422 with a pointer to the field below `under`."""
    detail: Any = [impossible(str(fault), fault.code)]
    for step in reversed([part for part in (*under.split("."), *fault.field.split(".")) if part]):
        detail = {step: detail}
    raise serializers.ValidationError(detail)


class Pairs(serializers.ListField):
    """Two or more pairs of quantities, such as `[["0 mm", "70 mm"], …]`."""

    def __init__(self, quantity: serializers.Field, **kwargs: Any) -> None:
        pair = serializers.ListField(child=quantity, min_length=2, max_length=2)
        super().__init__(child=pair, min_length=2, max_length=500, **kwargs)


def _field(parameter: Parameter) -> serializers.Field:
    """The serializer field that reads one declared parameter."""
    common: dict[str, Any] = {
        "required": parameter.required,
        "help_text": parameter.description[:1].upper() + parameter.description[1:] + ".",
    }
    limits: dict[str, Any] = {
        "minimum": parameter.minimum,
        "maximum": parameter.maximum,
        "exclusive_minimum": parameter.exclusive_minimum,
    }
    match parameter.kind:
        case "number":
            return Number(**limits, **common)
        case "text":
            return Text(max_length=200, **common)
        case "points":
            return Pairs(Offset(), **common)
        case "rows":
            return Pairs(Duration(), **common)
        case kind:
            return QuantityField(kind, **limits, **common)


def parameters_serializer(point: str, name: str, fixed: tuple[tuple[str, str], ...] = ()) -> type[StrictSerializer]:
    """The serializer class of one contribution's keys; `fixed` adds keys that must hold one value."""
    return _serializer_of(contributions(point)[name], point, fixed)


@cache
def _serializer_of(
    contribution: Contribution, point: str, fixed: tuple[tuple[str, str], ...]
) -> type[StrictSerializer]:
    fields: dict[str, Any] = {key: serializers.ChoiceField([value]) for key, value in fixed}
    if point == "film_planes":
        fields["height"] = Length(help_text="Height of the film.")
        fields["hole_offset"] = HoleOffsetIn(required=False)
    fields |= {parameter.name: _field(parameter) for parameter in contribution.parameters}
    fields["__doc__"] = f"{contribution.label[:1].upper()}{contribution.label[1:]}. Source: {contribution.source}."
    title = "".join(part.title() for part in (*contribution.name.split("_"), point.removesuffix("s").split("_")[-1]))
    return type(title + "In", (StrictSerializer,), fields)


def keywords(contribution: Contribution, values: Mapping[str, Any]) -> dict[str, Any]:
    """Read values under the names the contribution's function takes, defaults filled in, angles in radians."""
    found: dict[str, Any] = {}
    for parameter in contribution.parameters:
        value = values.get(parameter.name, parameter.default)
        if parameter.kind == "angle" and value is not None:
            value = float(np.deg2rad(value))
        found[parameter.name + SUFFIXES.get(parameter.kind, "")] = value
    return found


class HoleOffsetIn(StrictSerializer):
    """The hole off the film's middle: x to the right and y up, seen from behind the camera."""

    x = Offset(required=False, help_text="Left out: 0.")
    y = Offset(required=False, help_text="Left out: 0.")


class ByKind(serializers.Field):
    """A JSON object that names a contribution by the key `selector`, or is recognised by its own keys.

    Inside a club only what it switched on may be chosen: see `pinpool.plugins.switches`.
    """

    point: str
    selector: str = ""

    def offers(self) -> Mapping[str, Contribution]:
        """What may be chosen here, by name."""
        return offered_to(self, self.point)

    def chosen(self, data: Any) -> str:
        """The name of the contribution that `data` means."""
        if not isinstance(data, dict):
            raise serializers.ValidationError("Give an object.", "wrong_type")
        known = self.offers()
        name = data.get(self.selector)
        if isinstance(name, str) and name in known:
            return name
        if isinstance(name, str) and name in contributions(self.point) and name not in offered_to(self, self.point):
            raise serializers.ValidationError({self.selector: [switched_off(self.point, name)]})
        code = "required" if name is None else "invalid_choice"
        raise serializers.ValidationError({self.selector: [ErrorDetail(f"One of {', '.join(known)}.", code)]})

    def read(self, data: Any) -> tuple[str, dict[str, Any]]:
        """The contribution's name and its parameters as its function takes them."""
        name = self.chosen(data)
        fixed = ((self.selector, name),) if self.selector and self.selector in data else ()
        with bound(parameters_serializer(self.point, name, fixed), data=data, context=self.context) as body:
            body.is_valid(raise_exception=True)
            self.raw = body.validated_data
        return name, keywords(contributions(self.point)[name], self.raw)

    def to_representation(self, value: Any) -> Any:
        return value


class FilmPlaneField(ByKind):
    """A film plane by `kind`."""

    point = "film_planes"
    selector = "kind"

    def to_internal_value(self, data: Any) -> FilmPlane:
        kind, parameters = self.read(data)
        offset = self.raw.get("hole_offset", {})
        try:
            return contributed.film_plane(
                kind,
                height_mm=self.raw["height"],
                hole_offset_x_mm=offset.get("x", 0.0),
                hole_offset_y_mm=offset.get("y", 0.0),
                **parameters,
            )
        except Impossible as fault:
            refuse(fault)


def readings_told(data: Mapping[str, Any], known: Mapping[str, Contribution] | None = None) -> list[str]:
    """The kinds of reading, of all or of those `known`, whose required keys are all there."""
    known = contributions(ReadingField.point) if known is None else known
    return [name for name, c in known.items() if {p.name for p in c.parameters if p.required} <= data.keys()]


class ReadingField(ByKind):
    """A light reading, recognised by its keys; read to its EV at ISO 100."""

    point = "light_readings"
    default_error_messages = {"required": "Say how bright the light was: an EV, or another reading of it."}

    def chosen(self, data: Any) -> str:
        if not isinstance(data, dict):
            raise serializers.ValidationError('Give an object such as {"ev": 12, "iso": 100}.', "wrong_type")
        known = self.offers()
        fits = readings_told(data, known)
        if len(fits) > 1:
            raise serializers.ValidationError(f"This is {' and '.join(fits)} at once; give one.", "ambiguous")
        if not fits:
            if off := readings_told(data):
                raise serializers.ValidationError([switched_off(self.point, off[0])])
            started = [name for name, c in known.items() if {p.name for p in c.parameters if p.required} & data.keys()]
            if started:
                return started[0]
            forms = "; ".join(", ".join(p.name for p in c.parameters) for c in known.values())
            raise serializers.ValidationError(f"No reading has these keys. Give one of: {forms}.", "unknown_reading")
        return fits[0]

    def to_internal_value(self, data: Any) -> float:
        name, parameters = self.read(data)
        try:
            return contributed.ev100(name, parameters)
        except Impossible as fault:
            refuse(fault)


class ReciprocityField(ByKind):
    """A reciprocity law by `law`; a law with one parameter of its own name, such as `paper`, needs no `law`."""

    point = "reciprocity_laws"
    selector = "law"

    def chosen(self, data: Any) -> str:
        if isinstance(data, dict) and "law" not in data:
            for name, contribution in self.offers().items():
                if name in data and [p.name for p in contribution.parameters] == [name]:
                    return name
        return super().chosen(data)

    def to_internal_value(self, data: Any) -> Law:
        name, parameters = self.read(data)
        if contributions(self.point)[name].needs_actor:
            parameters["actor"] = self.context["request"].user
        try:
            return contributed.law(name, **parameters)
        except Impossible as fault:
            refuse(fault)


class HoleIn(StrictSerializer):
    """A hole as made."""

    diameter = Length(maximum=20.0)
    uncertainty = Length(maximum=20.0, minimum=0.0, required=False, help_text="One standard deviation.")
    plate_thickness = Length(maximum=20.0, minimum=0.0, required=False)

    def to_internal_value(self, data: Any) -> Any:
        values = super().to_internal_value(data)
        return Hole(values["diameter"], values.get("uncertainty", 0.0), values.get("plate_thickness", 0.0))


class ReceptorField(serializers.Field):
    """A receptor by name, or a wavelength; read to a wavelength in nm."""

    def to_internal_value(self, data: Any) -> float:
        known = contributions("receptors")
        if isinstance(data, str) and data in known:
            return contributed.receptor(data).wavelength_nm
        if isinstance(data, str) and data[:1].isalpha():
            raise serializers.ValidationError(f"One of {', '.join(known)}, or a wavelength.", "invalid_choice")
        return wavelength_field().run_validation(data)

    def to_representation(self, value: float) -> str:
        """A default, in the words in which it might be sent."""
        return f"{value:g} nm"


def wavelength_field(**kwargs: Any) -> QuantityField:
    """A wavelength that silver halide can see."""
    return QuantityField("wavelength", minimum=200.0, maximum=1500.0, **kwargs)


class SizeIn(StrictSerializer):
    width = Length()
    height = Length()


class SheetField(serializers.Field):
    """A sheet by name (`"8x10 in"`) or by width and height; read to (width, height) in mm."""

    def to_internal_value(self, data: Any) -> tuple[float, float]:
        if isinstance(data, str):
            if data not in NAMED_SHEETS:
                raise serializers.ValidationError(f"One of {', '.join(NAMED_SHEETS)}, or a size.", "invalid_choice")
            return NAMED_SHEETS[data]
        with bound(SizeIn, data=data) as body:
            body.is_valid(raise_exception=True)
            return body.validated_data["width"], body.validated_data["height"]

    def to_representation(self, value: Any) -> Any:
        return value


def used_share() -> Number:
    """The middle part of the negative's width and height that counts."""
    return Number(
        minimum=0.05,
        maximum=1.0,
        required=False,
        default=1.0,
        help_text="The middle share of the negative that counts.",
    )
