"""What the endpoints take and show of a camera's specs: the hole with what was measured of it, and differences."""

import math
from collections.abc import Iterator
from typing import Any, NamedTuple

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from clubs.spec_difference import SpecDifference
from optics import contributed
from optics.answers import measure, read_hole
from optics.core.camera_plan import Hole
from optics.core.say import Lengths
from optics.inputs import SUFFIXES, FilmPlaneField
from optics.outputs import Said
from optics.questions import HoleReadingIn
from pinpool.http.fields import Length, Moment, Number, QuantityField, StrictSerializer, Text
from pinpool.http.problems import impossible
from pinpool.http.rows import USERNAME, Columns
from pinpool.plugins.registry import contribution
from pinpool.quantities import quantity_out


class ScanIn(StrictSerializer):
    """What measuring a scan of the hole answered, as `optics/hole-scan/` gives it, and the scan's resolution."""

    diameter = Length(maximum=20.0)
    uncertainty = Length(maximum=20.0, minimum=0.0)
    roundness_share = Number(minimum=0.0, maximum=1.0, required=False)
    resolution = QuantityField("resolution", minimum=100.0, maximum=1e6, required=False)


class MadeHoleIn(StrictSerializer):
    """A hole with how it was measured: a diameter, the readings behind it, or a scan that was measured."""

    diameter = Length(maximum=20.0, required=False)
    uncertainty = Length(maximum=20.0, minimum=0.0, required=False, help_text="One standard deviation.")
    readings = HoleReadingIn(many=True, allow_empty=False, max_length=100, required=False)
    scan = ScanIn(required=False)
    plate_thickness = Length(maximum=20.0, minimum=0.0, required=False, default=0.0)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        given = [name for name in ("diameter", "readings", "scan") if name in attrs]
        if len(given) != 1:
            text = "Give the diameter, the readings it came from, or a scan" + (", not several." if given else ".")
            raise serializers.ValidationError({"diameter": [ErrorDetail(text, "ambiguous" if given else "required")]})
        if given != ["diameter"] and "uncertainty" in attrs:
            text = "Readings, or a scan, have an uncertainty of their own."
            raise serializers.ValidationError({"uncertainty": [ErrorDetail(text, "unknown_key")]})
        thickness = attrs["plate_thickness"]
        if given == ["diameter"]:
            hole = Hole(attrs["diameter"], attrs.get("uncertainty", 0.0), thickness)
            return {"hole": hole, "measured_by": "given", "measurements": []}
        if given == ["scan"]:
            scan = attrs["scan"]
            hole = Hole(scan["diameter"], scan["uncertainty"], thickness)
            return {"hole": hole, "measured_by": "scanned", "measurements": [kept_scan(scan)]}
        found = measure(attrs["readings"])
        ways = {reading["way"] for reading in attrs["readings"]}
        measured_by = {"holes_across": "counted", "pixels": "scanned", "diameter": "given"}[ways.pop()]
        return {
            "hole": Hole(found.diameter_mm, found.uncertainty_mm, thickness),
            "measured_by": "several" if ways else measured_by,
            "measurements": [kept_reading(reading) for reading in attrs["readings"]],
        }


def kept_reading(reading: dict[str, Any]) -> dict[str, Any]:
    """A reading as a spec keeps it: canonical units, and the diameter it gives by itself."""
    found = read_hole(reading)
    plain = ("way", "direction", "holes_across", "holes_across_uncertainty", "pixels")
    kept = {name: reading[name] for name in plain if name in reading}
    kept |= {name + unit: reading[name] for name, unit in (("span", "_mm"), ("resolution", "_dpi")) if name in reading}
    return kept | {"diameter_mm": found.diameter_mm, "uncertainty_mm": found.uncertainty_mm}


def kept_scan(scan: dict[str, Any]) -> dict[str, Any]:
    """A measured scan as a spec keeps it."""
    kept = {"way": "scan", "diameter_mm": scan["diameter"], "uncertainty_mm": scan["uncertainty"]}
    kept |= {"roundness_share": scan["roundness_share"]} if "roundness_share" in scan else {}
    return kept | ({"resolution_dpi": scan["resolution"]} if "resolution" in scan else {})


class SpecIn(StrictSerializer):
    """What a camera is."""

    film_plane = FilmPlaneField()
    hole = MadeHoleIn()
    focal_length = Length(required=False, help_text="Nominal; left out: half of shortest + longest.")
    reason = Text(max_length=300, required=False, default="", allow_blank=True)

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        attrs = super().to_internal_value(data)
        made, focal_length = attrs["hole"], attrs.get("focal_length") or attrs["film_plane"].mean_mm
        f_number = focal_length / made["hole"].diameter_mm
        if not 1 <= f_number <= 100_000:
            diameter = made["hole"].diameter_mm
            text = f"f/{f_number:.3g} is no pinhole camera; check the hole ({diameter:g} mm) and its distance."
            raise serializers.ValidationError({"hole": [impossible(text, "f_number_range")]})
        typed = {key: value for key, value in data.items() if key != "reason"}
        return {
            "film_plane": attrs["film_plane"],
            "hole": made["hole"],
            "hole_measured_by": made["measured_by"],
            "measurements": made["measurements"],
            "focal_length": focal_length,
            "reason": attrs["reason"],
            "typed": typed,
        }


class StoredFilmPlane(serializers.Field):
    """A stored film plane in the form in which one is posted."""

    def to_representation(self, value: dict[str, Any]) -> dict[str, Any]:
        return film_plane_out(value, self.context.get("lengths", "mm"))


def film_plane_out(stored: dict[str, Any], lengths: Lengths) -> dict[str, Any]:
    """A stored film plane in the form in which one is posted."""
    return {
        "kind": stored["kind"],
        "height": quantity_out(stored["height_mm"], "length", lengths=lengths),
        **{name: size_out(stored[key], kind, lengths) for name, key, kind in sizes_of(stored)},
        "hole_offset": {
            "x": quantity_out(stored["hole_offset_x_mm"], "length", lengths=lengths),
            "y": quantity_out(stored["hole_offset_y_mm"], "length", lengths=lengths),
        },
    }


def size_out(size: Any, kind: str, lengths: Lengths) -> Any:
    """A stored size of a film plane as a caller writes one of its kind."""
    if size is None or kind in {"number", "text"}:
        return size
    if kind in PAIRS:
        return [[size_out(part, PAIRS[kind], lengths) for part in pair] for pair in size]
    return quantity_out(math.degrees(size) if kind == "angle" else size, kind, lengths=lengths)


#: What a list of pairs is made of.
PAIRS = {"points": "length", "rows": "time"}
#: Keys of every stored film plane, whatever its kind.
COMMON = {"kind", "height_mm", "hole_offset_x_mm", "hole_offset_y_mm", "contributed_by"}


def sizes_of(film_plane: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Name, stored key and kind of each parameter: as its plug-in declares them, or by the unit if that is gone."""
    known = contribution("film_planes", film_plane["kind"])
    if known:
        return [(each.name, each.name + SUFFIXES.get(each.kind, ""), each.kind) for each in known.parameters]
    found = []
    for key in film_plane.keys() - COMMON:
        told = ((key.removesuffix(unit), kind) for kind, unit in SUFFIXES.items() if key.endswith(unit))
        name, kind = next(told, (key, "number"))
        if isinstance(film_plane[key], list):
            kind = "points" if kind == "length" else "rows"
        found.append((name, key, kind))
    return found


class MeasurementOut(serializers.Serializer):
    """One measurement behind a hole, with what it alone makes of the diameter; only the keys of its way."""

    way = serializers.CharField(help_text="holes_across, pixels, diameter or scan.")
    diameter = Length()
    uncertainty = Length(help_text="One standard deviation.")
    direction = serializers.CharField(required=False)
    holes_across = Number(required=False)
    holes_across_uncertainty = Number(required=False)
    span = Length(required=False)
    pixels = Number(required=False)
    resolution = QuantityField("resolution", required=False)
    roundness_share = Number(required=False)


#: The keys of a measurement as kept, each with what it is shown as and its kind, where it is a quantity.
MEASURED = {
    "diameter_mm": ("diameter", "length"),
    "uncertainty_mm": ("uncertainty", "length"),
    "span_mm": ("span", "length"),
    "resolution_dpi": ("resolution", "resolution"),
}


def measurement_out(kept: dict[str, Any], lengths: Lengths) -> dict[str, Any]:
    """A measurement as `MeasurementOut` declares it."""
    shown: dict[str, Any] = {}
    for key, value in kept.items():
        name, kind = MEASURED.get(key, (key, ""))
        if kind:
            shown[name] = quantity_out(value, kind, lengths=lengths)
        else:
            shown[name] = str(value) if key in {"way", "direction"} else float(value)
    return shown


class MadeHoleOut(serializers.Serializer):
    diameter = Length()
    uncertainty = Length(help_text="One standard deviation; 0 where nobody said.")
    plate_thickness = Length()
    measured_by = serializers.CharField()
    measurements = MeasurementOut(many=True, help_text="Empty where only a diameter was given.")


def hole_out(made: Any, plate_thickness_mm: float, lengths: Lengths) -> dict[str, Any]:
    """A hole in a plate as `MadeHoleOut` declares it, of whatever keeps one as a spec does."""
    return {
        "diameter": quantity_out(made.hole_diameter_mm, "length", lengths=lengths),
        "uncertainty": quantity_out(made.hole_uncertainty_mm, "length", lengths=lengths),
        "plate_thickness": quantity_out(plate_thickness_mm, "length", lengths=lengths),
        "measured_by": made.hole_measured_by,
        "measurements": [measurement_out(each, lengths) for each in made.measurements],
    }


def missing_plugin() -> serializers.CharField:
    """Why a stored film plane cannot be reckoned with now."""
    text = "A sentence where the plug-in that the film plane came with is not to be had; null: nothing is missing."
    return serializers.CharField(allow_null=True, help_text=text)


class SpecRow(NamedTuple):
    """What is shown of a spec, as it is stored."""

    number: int
    film_plane: dict[str, Any]
    hole_diameter_mm: float
    hole_uncertainty_mm: float
    plate_thickness_mm: float
    hole_measured_by: str
    measurements: list[dict[str, Any]]
    focal_length_mm: float
    f_number: float
    typed: Any
    reason: str
    author: str | None
    created_at: str


SPEC = Columns(
    SpecRow,
    {"author": f"author__{USERNAME}"},
    parsed=("film_plane", "measurements"),
    written=("typed",),
    moments=("created_at",),
)


class SpecOut(serializers.Serializer):
    number = serializers.IntegerField()
    film_plane = StoredFilmPlane()
    missing_plugin = missing_plugin()
    hole = MadeHoleOut()
    focal_length = Length()
    f_number = Number()
    typed = serializers.JSONField(help_text="What the author wrote, as they wrote it.")
    reason = serializers.CharField()
    author = serializers.CharField(default=None, allow_null=True)
    created_at = Moment()

    def to_representation(self, spec: Any) -> dict[str, Any]:
        """Of a `SpecRow` or a model instance."""
        return spec_out(SPEC.row_of(spec), self.context.get("lengths", "mm"))


def spec_out(spec: SpecRow, lengths: Lengths) -> dict[str, Any]:
    """A spec as `SpecOut` declares it."""
    return {
        "number": spec.number,
        "film_plane": film_plane_out(spec.film_plane, lengths),
        "missing_plugin": contributed.missing_for(spec.film_plane) or None,
        "hole": hole_out(spec, spec.plate_thickness_mm, lengths),
        "focal_length": quantity_out(spec.focal_length_mm, "length", lengths=lengths),
        "f_number": spec.f_number,
        "typed": spec.typed,
        "reason": spec.reason,
        "author": spec.author,
        "created_at": spec.created_at,
    }


class ChangeOut(serializers.Serializer):
    pointer = serializers.CharField(help_text="JSON pointer into the spec.")
    old = serializers.JSONField(help_text="null: it had none.")
    new = serializers.JSONField(help_text="null: it has none.")


class DifferenceOut(serializers.Serializer):
    """What differs between two specs of a camera; all stops positive where the film gets more light."""

    number = serializers.IntegerField(source="old.number")
    to = serializers.IntegerField(source="new.number")
    changes = serializers.SerializerMethodField(help_text="Key by key.")
    hole_stops = Number()
    focal_length_stops = Number()
    stops = Number(help_text="Both together: the difference of the f-numbers.")
    uncertainty_stops = Number(
        allow_null=True, help_text="One standard deviation; null where the hole is the same or nobody said."
    )
    time_share = Number(help_text="The new exposure time / the old one, before reciprocity failure.")
    old_darkest_stops = Number(allow_null=True, help_text="The darkest corner against the axis point; null: no light.")
    new_darkest_stops = Number(allow_null=True)
    text = serializers.ListField(child=Said(), help_text="The same in words.")

    def get_changes(self, found: SpecDifference) -> ChangeOut(many=True):  # type: ignore[valid-type]
        old, new = (dict(flattened(SpecOut(spec, context=self.context).data)) for spec in (found.old, found.new))
        return [
            {"pointer": at, "old": old.get(at), "new": new.get(at)}
            for at in {**old, **new}
            if old.get(at) != new.get(at)
        ]


#: What of a spec says who wrote it and how, not what the camera is.
ABOUT = {"number", "missing_plugin", "typed", "reason", "author", "created_at"}


def flattened(spec: dict[str, Any], at: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of a shown spec, quantities whole, with the JSON pointer to it."""
    for name, value in spec.items():
        if not at and name in ABOUT:
            continue
        if isinstance(value, dict) and "unit" not in value:
            yield from flattened(value, f"{at}/{name}")
        else:
            yield f"{at}/{name}", value
