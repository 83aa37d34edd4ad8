"""The body of each optics endpoint."""

import math
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from optics.core.holes import DEFAULT_RULE
from optics.core.reciprocity import NoFailure
from optics.inputs import (
    FilmPlaneField,
    HoleIn,
    ReadingField,
    ReceptorField,
    ReciprocityField,
    SheetField,
    SizeIn,
    used_share,
    wavelength_field,
)
from pinpool.http.fields import Length, Number, QuantityField, StrictSerializer, Whole

ONE_WAY = "Give one of {}, not several."


def _one_of(values: dict[str, Any], names: tuple[str, ...]) -> None:
    """Raise unless exactly one of `names` is among `values`."""
    given = [name for name in names if name in values]
    if len(given) != 1:
        code = "ambiguous" if given else "required"
        listed = " or ".join(names)
        text = f"Give {listed}" + (", not both." if given else ".")
        raise serializers.ValidationError({name: [ErrorDetail(text, code)] for name in given or names[:1]})


class FNumberField(Number):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(minimum=1.0, maximum=100_000.0, **kwargs)


class ExposureIndexField(Number):
    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", "ISO of a film; 3 to 12 for most papers (common practice, no source).")
        super().__init__(minimum=0.001, maximum=1e6, **kwargs)


class FilmPlaneIn(StrictSerializer):
    film_plane = FilmPlaneField()


class HoleDiameterIn(StrictSerializer):
    focal_length = Length()
    wavelength = wavelength_field(required=False)
    receptor = ReceptorField(required=False, help_text="Instead of a wavelength.")
    subject_distance = Length(maximum=1e9, required=False, default=math.inf, help_text="Left out: far away.")
    rule = serializers.CharField(max_length=40, required=False, default=DEFAULT_RULE)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "wavelength" in attrs and "receptor" in attrs:
            _one_of(attrs, ("wavelength", "receptor"))
        receptor = attrs.pop("receptor", 550.0)
        return {**attrs, "wavelength": attrs.get("wavelength", receptor)}


class FNumberIn(StrictSerializer):
    focal_length = Length()
    diameter = Length(maximum=100.0)
    diameter_uncertainty = Length(maximum=100.0, exclusive_minimum=False, required=False, default=0.0)


class HoleReadingIn(StrictSerializer):
    """One reading: hole-widths counted along a span, pixels of a scan, or a diameter."""

    holes_across = Number(minimum=0.05, maximum=10_000.0, required=False)
    span = Length(maximum=1000.0, required=False)
    holes_across_uncertainty = Number(minimum=0.0, maximum=1000.0, required=False)
    pixels = Number(minimum=1.0, maximum=100_000.0, required=False)
    resolution = QuantityField("resolution", minimum=10.0, maximum=1e6, required=False)
    diameter = Length(maximum=20.0, required=False)
    uncertainty = Length(maximum=20.0, exclusive_minimum=False, required=False)
    direction = serializers.CharField(max_length=20, required=False, default="", help_text="Such as across or down.")

    _WAYS = {
        "holes_across": ({"span"}, {"holes_across_uncertainty"}),
        "pixels": ({"resolution"}, set()),
        "diameter": (set(), {"uncertainty"}),
    }

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        _one_of(attrs, tuple(self._WAYS))
        way = next(name for name in self._WAYS if name in attrs)
        needs, takes = self._WAYS[way]
        faults = {name: [ErrorDetail(f"{way} needs it.", "required")] for name in needs - attrs.keys()}
        extra = attrs.keys() - needs - takes - {way, "direction"}
        faults |= {name: [ErrorDetail(f"This does not go with {way}.", "unknown_key")] for name in extra}
        if faults:
            raise serializers.ValidationError(faults)
        return {"way": way, **attrs}


class TryIn(StrictSerializer):
    label = serializers.CharField(max_length=40)
    readings = HoleReadingIn(many=True, allow_empty=False, max_length=100)


class HoleMeasurementIn(StrictSerializer):
    readings = HoleReadingIn(many=True, allow_empty=False, max_length=100, required=False)
    tries = TryIn(many=True, allow_empty=False, max_length=50, required=False)
    target = Length(maximum=20.0, required=False, help_text="Needed with tries: what they are ranked against.")
    focal_length = Length(required=False, help_text="Gives the f-number with its uncertainty.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        _one_of(attrs, ("readings", "tries"))
        if "tries" in attrs and "target" not in attrs:
            raise serializers.ValidationError({"target": [ErrorDetail("Tries are ranked against it.", "required")]})
        return attrs


class IlluminationIn(StrictSerializer):
    film_plane = FilmPlaneField()
    hole = HoleIn()
    columns = Whole(min_value=3, max_value=401, required=False, default=81)
    rows = Whole(min_value=3, max_value=401, required=False, default=33)
    used_share = used_share()


class LightIn(StrictSerializer):
    reading = ReadingField()


class ExposureIn(StrictSerializer):
    reading = ReadingField()
    f_number = FNumberField()
    exposure_index = ExposureIndexField()
    filter_stops = Number(minimum=0.0, maximum=30.0, required=False, default=0.0, help_text="Light the filter takes.")
    correction_stops = Number(
        minimum=-15.0, maximum=15.0, required=False, default=0.0, help_text="Positive: more exposure."
    )
    reciprocity = ReciprocityField(required=False, default=NoFailure)


class ExposureTableIn(StrictSerializer):
    f_number = FNumberField()
    exposure_index = ExposureIndexField()
    reciprocity = ReciprocityField(required=False, default=NoFailure)
    ev_from = Number(minimum=-20.0, maximum=30.0, required=False, default=6.0)
    ev_to = Number(minimum=-20.0, maximum=30.0, required=False, default=16.0)
    step = Number(minimum=0.1, maximum=10.0, required=False, default=1.0)


class SheetCutsIn(StrictSerializer):
    sheet = SheetField()
    piece = SizeIn()
    kerf = Length(maximum=50.0, exclusive_minimum=False, required=False, default=0.0, help_text="Lost at each cut.")
    grain = serializers.ChoiceField(
        ["any", "along_width", "along_height"],
        required=False,
        default="any",
        help_text="Pieces keep to this way.",
    )


class PlateSideField(serializers.ChoiceField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            ["inside", "outside"],
            required=False,
            default="inside",
            help_text="Where the hole's plate sits.",
            **kwargs,
        )


class WallOpeningIn(StrictSerializer):
    film_plane = FilmPlaneField()
    hole = HoleIn()
    wall_thickness = Length(maximum=1000.0)
    margin = Length(maximum=1000.0, exclusive_minimum=False, required=False, default=0.0, help_text="On each side.")
    plate_side = PlateSideField()
    opening = SizeIn(required=False, help_text="An opening to check.")
    used_share = used_share()


class CameraPlanIn(StrictSerializer):
    film_plane = FilmPlaneField()
    hole = HoleIn(required=False, default=None, help_text="Left out: the rule's own.")
    rule = serializers.CharField(max_length=40, required=False, default=DEFAULT_RULE)
    receptor = ReceptorField(required=False, default=550.0)
    sheet = SheetField(required=False, default=None)
    wall_thickness = Length(maximum=1000.0, required=False, default=None)
    plate_side = PlateSideField()
    exposure_index = ExposureIndexField(required=False, default=None)
    reciprocity = ReciprocityField(required=False, default=NoFailure)
    used_share = used_share()
