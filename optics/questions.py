"""The body of each optics endpoint."""

import math
import re
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from optics import contributed
from optics.core.holes import DEFAULT_RULE
from optics.core.progress import Segment
from optics.core.reciprocity import NoFailure
from optics.core.spectral_bands import SpectralBand, band_weights, spectral_band
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
from pinpool.http.fields import Duration, Instant, Length, Number, QuantityField, StrictSerializer, Text, Whole
from pinpool.plugins.registry import contributions


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
    rule = Text(max_length=40, required=False, default=DEFAULT_RULE)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "wavelength" in attrs and "receptor" in attrs:
            _one_of(attrs, ("wavelength", "receptor"))
        receptor = attrs.pop("receptor", 550.0)
        return {**attrs, "wavelength": attrs.get("wavelength", receptor)}


class FNumberIn(StrictSerializer):
    focal_length = Length()
    diameter = Length(maximum=100.0)
    diameter_uncertainty = Length(maximum=100.0, minimum=0.0, required=False, default=0.0)


class HoleReadingIn(StrictSerializer):
    """One reading: hole-widths counted along a span, pixels of a scan, or a diameter."""

    holes_across = Number(minimum=0.05, maximum=10_000.0, required=False)
    span = Length(maximum=1000.0, required=False)
    holes_across_uncertainty = Number(minimum=0.0, maximum=1000.0, required=False)
    pixels = Number(minimum=1.0, maximum=100_000.0, required=False)
    resolution = QuantityField("resolution", minimum=10.0, maximum=1e6, required=False)
    diameter = Length(maximum=20.0, required=False)
    uncertainty = Length(maximum=20.0, minimum=0.0, required=False)
    direction = Text(max_length=20, required=False, default="", allow_blank=True, help_text="Such as across or down.")

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
    label = Text(max_length=40)
    readings = HoleReadingIn(many=True, allow_empty=False, max_length=20)


class HoleMeasurementIn(StrictSerializer):
    readings = HoleReadingIn(many=True, allow_empty=False, max_length=100, required=False)
    tries = TryIn(many=True, allow_empty=False, max_length=20, required=False)
    target = Length(
        maximum=20.0, required=False, help_text="The diameter wanted, for the advice. Tries need it, to be ranked."
    )
    focal_length = Length(required=False, help_text="Gives the f-number with its uncertainty; without target, one.")

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
    kerf = Length(maximum=50.0, minimum=0.0, required=False, default=0.0, help_text="Lost at each cut.")
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
    margin = Length(maximum=1000.0, minimum=0.0, required=False, default=0.0, help_text="On each side.")
    plate_side = PlateSideField()
    opening = SizeIn(required=False, help_text="An opening to check.")
    used_share = used_share()


class CameraPlanIn(StrictSerializer):
    film_plane = FilmPlaneField()
    hole = HoleIn(required=False, default=None, help_text="Left out: the rule's own.")
    rule = Text(max_length=40, required=False, default=DEFAULT_RULE)
    receptor = ReceptorField(required=False, default=550.0)
    sheet = SheetField(required=False, default=None)
    wall_thickness = Length(maximum=1000.0, required=False, default=None)
    plate_side = PlateSideField()
    exposure_index = ExposureIndexField(required=False, default=None)
    reciprocity = ReciprocityField(required=False, default=NoFailure)
    used_share = used_share()


class SegmentIn(StrictSerializer):
    reading = ReadingField()
    lasted = Duration()

    def to_internal_value(self, data: Any) -> Segment:
        values = super().to_internal_value(data)
        return Segment(values["reading"], values["lasted"])


class ExposureProgressIn(StrictSerializer):
    segments = SegmentIn(many=True, allow_empty=False, max_length=200, help_text="In order, the first one first.")
    reading = ReadingField(help_text="The light now.")
    f_number = FNumberField()
    exposure_index = ExposureIndexField()
    filter_stops = Number(minimum=0.0, maximum=30.0, required=False, default=0.0, help_text="Light the filter takes.")
    reciprocity = ReciprocityField(required=False, default=NoFailure)


class SunIn(StrictSerializer):
    latitude = QuantityField("angle", minimum=-90.0, maximum=90.0, help_text="North is positive.")
    longitude = QuantityField("angle", minimum=-180.0, maximum=180.0, help_text="East is positive.")
    to = Instant(help_text="At most 366 days after from.")
    step = Duration(required=False, help_text="Between rows of the track; left out: so that there are at most 200.")
    film_plane = FilmPlaneField(required=False, help_text="Needs facing.")
    facing = QuantityField(
        "angle", minimum=-360.0, maximum=360.0, required=False, help_text="Where the camera looks, from north by east."
    )
    tilt = QuantityField("angle", minimum=-90.0, maximum=90.0, required=False, default=0.0, help_text="Upwards.")
    hole = HoleIn(required=False, help_text="Gives how long a point of the film sees the sun.")

    def get_fields(self) -> dict[str, serializers.Field]:
        return {"from": Instant(), **super().get_fields()}

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        faults = {}
        if ("film_plane" in attrs) != ("facing" in attrs):
            missing = "facing" if "film_plane" in attrs else "film_plane"
            faults[missing] = [ErrorDetail("film_plane and facing go together.", "required")]
        if "hole" in attrs and "film_plane" not in attrs:
            faults["hole"] = [ErrorDetail("A hole needs its film_plane.", "required")]
        seconds = (attrs["to"] - attrs["from"]).total_seconds()
        if not 0 < seconds <= 366 * 86400:
            faults["to"] = [ErrorDetail("The end must come after the start, by at most 366 days.", "out_of_range")]
        elif seconds / attrs.get("step", seconds) > 2000:
            faults["step"] = [ErrorDetail(f"At least {seconds / 2000:.0f} s for so long a time.", "out_of_range")]
        if faults:
            raise serializers.ValidationError(faults)
        return {("starts" if key == "from" else key): value for key, value in attrs.items()}


class BandField(serializers.Field):
    """A receptor by name, read to its band in daylight."""

    def to_internal_value(self, data: Any) -> SpectralBand:
        known = contributions("receptors")
        if not isinstance(data, str) or data not in known:
            raise serializers.ValidationError(f"One of {', '.join(known)}.", "invalid_choice")
        low, high = contributed.receptor(data).band_nm
        return band_weights(low_nm=low, high_nm=high)

    def to_representation(self, value: Any) -> Any:
        return value


class SharpnessIn(StrictSerializer):
    hole = HoleIn()
    distance = Length(help_text="From hole to film, along the axis.")
    receptor = BandField(required=False, help_text="Its whole band, weighted by daylight.")
    wavelengths = serializers.ListField(
        child=wavelength_field(), min_length=1, max_length=64, required=False, help_text="Equal shares; 550 nm alone."
    )
    subject_distance = Length(maximum=1e9, required=False, default=math.inf, help_text="Left out: far away.")
    field_angle = QuantityField(
        "angle",
        minimum=0.0,
        maximum=85.0,
        required=False,
        help_text="Off the axis on a flat back: needs no film plane.",
    )
    film_plane = FilmPlaneField(required=False, help_text="Gives the line pairs on the whole negative.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "receptor" in attrs and "wavelengths" in attrs:
            _one_of(attrs, ("receptor", "wavelengths"))
        wavelengths = attrs.pop("wavelengths", [550.0])
        if max(wavelengths) > 3 * min(wavelengths):
            text = "The longest wavelength may be three times the shortest at most."
            raise serializers.ValidationError({"wavelengths": [ErrorDetail(text, "band_too_wide")]})
        band = attrs.pop("receptor", None) or spectral_band(wavelengths)
        return attrs | {"band": band}


class HoleComparisonIn(StrictSerializer):
    film_planes = serializers.ListField(child=FilmPlaneField(), min_length=1, max_length=8)
    diameters = serializers.ListField(child=Length(maximum=20.0), min_length=1, max_length=40)
    receptor = BandField(required=False, help_text="Left out: 550 nm alone.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return attrs | {"receptor": attrs.get("receptor") or spectral_band(550.0)}


_MARKS = r" *; *".join([r"(\d{1,6}(?:\.\d{1,6})?) *, *(\d{1,6}(?:\.\d{1,6})?)"] * 2)


class Marks(serializers.Field):
    """Two marked points of a picture in pixels, written `x,y;x,y`."""

    def to_internal_value(self, data: Any) -> tuple[tuple[float, float], tuple[float, float]]:
        found = re.fullmatch(_MARKS, data) if isinstance(data, str) and len(data) <= 80 else None
        if found is None:
            raise serializers.ValidationError(
                "Give two points in pixels as x,y;x,y, such as 12,40;912.5,38.", "invalid"
            )
        x1, y1, x2, y2 = map(float, found.groups())
        return (x1, y1), (x2, y2)

    def to_representation(self, value: Any) -> Any:
        return value


class HoleScanIn(StrictSerializer):
    """A scan and its scale: a resolution, or two marked points a known distance apart."""

    image = serializers.FileField(help_text="PNG, JPEG or TIFF, 8 or 16 bit; measured and let go.", use_url=False)
    resolution = QuantityField(
        "resolution", minimum=100.0, maximum=1e6, required=False, help_text="Such as 4800 dpi or 5.3 µm/px."
    )
    marks = Marks(required=False, help_text="Two points x,y;x,y in pixels from the top left corner.")
    marks_apart = Length(maximum=1000.0, required=False, help_text="How far the marks are apart in truth.")
    polarity = serializers.ChoiceField(["auto", "bright_hole", "dark_hole"], required=False, default="auto")
    tone_curve = serializers.ChoiceField(
        ["linear", "srgb", "unknown"],
        required=False,
        default="unknown",
        help_text="How the file's levels stand for light.",
    )
    target = Length(maximum=20.0, required=False, help_text="The diameter wanted, for the advice.")
    focal_length = Length(required=False, help_text="Gives the f-number; without target, one.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        _one_of(attrs, ("resolution", "marks"))
        if ("marks" in attrs) != ("marks_apart" in attrs):
            missing = "marks_apart" if "marks" in attrs else "marks"
            raise serializers.ValidationError(
                {missing: [ErrorDetail("marks and marks_apart go together.", "required")]}
            )
        return attrs
