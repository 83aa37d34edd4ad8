"""What other web pages may show, and what a keeper says of it."""

import uuid
from typing import Any

from rest_framework import serializers

from clubs.web.drawings import section_of
from exposures.embed.drawings import tree_of
from exposures.embed.models import Embedding
from exposures.embed.origins import FORM, Origin
from exposures.embed.script import Script, script
from exposures.embed.selectors import Card, Curve
from exposures.embed.words import figures_of, lie_of_the_film
from exposures.outputs import CurvePointOut, NumbersIntervalOut, RecommendationOut
from exposures.sheets.exposure_card import SUN_CAUTION
from exposures.web.papers import sheet_drawn
from exposures.web.plots import paper_svg
from optics.outputs import FilmPlaneOut, FlagOut, length, number
from pinpool.http.fields import Identifier, StrictSerializer, Text, YesNo

#: So many sites, and so many cameras or papers, may be named.
MOST_ORIGINS, MOST_SHOWN = 20, 200
DRAWING = "A drawing: [name of an SVG element, {attribute: value}, [children]], a child being the same or text."


class EmbeddingIn(StrictSerializer):
    """What is to change; what is left out stays."""

    origins = serializers.ListField(child=Origin(help_text=FORM), max_length=MOST_ORIGINS, required=False)
    registry = YesNo(required=False, help_text="Whether the list of the cameras in use may be read.")
    cameras = serializers.ListField(
        child=Text(max_length=12), max_length=MOST_SHOWN, required=False, help_text="All that may be shown, by code."
    )
    papers = serializers.ListField(
        child=Identifier(), max_length=MOST_SHOWN, required=False, help_text="All that may be shown, by id."
    )

    def validate_origins(self, origins: list[str]) -> list[str]:
        return list(dict.fromkeys(origins))


class ScriptOut(serializers.Serializer):
    """The script that draws what is shown, and by what a page can be sure of it."""

    address = serializers.SerializerMethodField()
    integrity = serializers.CharField(help_text="For the attribute `integrity` (Subresource Integrity).")
    size_bytes = serializers.IntegerField()

    def get_address(self, script: Script) -> str:
        return script.address(self.context["request"])


class EmbeddingOut(serializers.Serializer):
    """What everybody may read of the club, and which sites may show it."""

    origins = serializers.ListField(child=serializers.CharField())
    registry = serializers.BooleanField()
    cameras = serializers.SerializerMethodField(help_text="Their codes.")
    papers = serializers.SerializerMethodField(help_text="Their ids.")
    script = serializers.SerializerMethodField()
    revision = serializers.IntegerField()

    def get_cameras(self, embedding: Embedding) -> list[str]:
        return sorted(camera.code for camera in embedding.cameras.all())

    def get_papers(self, embedding: Embedding) -> list[uuid.UUID]:
        return sorted(paper.pk for paper in embedding.papers.all())

    def get_script(self, _embedding: Any) -> ScriptOut:
        return ScriptOut(script(), context=self.context).data  # type: ignore[return-value]


class ShownCameraOut(serializers.Serializer):
    code = serializers.CharField()
    name = serializers.CharField()


class ShownPaperOut(serializers.Serializer):
    id = serializers.UUIDField()
    name = serializers.CharField()


class EmbeddedClubOut(serializers.Serializer):
    """What a club lets everybody read."""

    name = serializers.CharField(source="embedding.club.name")
    registry = serializers.BooleanField(source="embedding.registry", help_text="Whether its cameras are listed.")
    cameras = ShownCameraOut(many=True)
    papers = ShownPaperOut(many=True)
    caution = serializers.SerializerMethodField()

    def get_caution(self, _club: Any) -> str:
        return SUN_CAUTION


class FigureOut(serializers.Serializer):
    """A figure in words, for people."""

    label = serializers.CharField()  # type: ignore[assignment]
    text = serializers.CharField()


class Figures(serializers.ListField):
    """The figures that a camera is known by."""

    child = FigureOut()

    def __init__(self, *, exactly: bool = False, **kwargs: Any) -> None:
        super().__init__(source="spec", help_text="The same in words.", **kwargs)
        self.exactly = exactly

    def to_representation(self, data: Any) -> list[dict[str, str]]:
        """Of a spec."""
        figures = figures_of(data, self.context.get("lengths", "mm"), exactly=self.exactly)
        return [figure._asdict() for figure in figures]


class RegisteredCameraOut(serializers.Serializer):
    """A camera in use."""

    code = serializers.CharField()
    name = serializers.CharField()
    f_number = number("spec.f_number")
    hole_diameter = length("spec.hole_diameter_mm")
    focal_length = length("spec.focal_length_mm")
    figures = Figures()


class EmbeddedCameraOut(serializers.Serializer):
    """A camera's card. Nothing tells whose it is or who has it."""

    code = serializers.CharField(source="camera.code")
    name = serializers.CharField(source="camera.name")
    retired = serializers.SerializerMethodField()
    f_number = number("spec.f_number")
    hole_diameter = length("spec.hole_diameter_mm")
    hole_uncertainty = length("spec.hole_uncertainty_mm", help_text="One standard deviation; 0: nobody said.")
    focal_length = length("spec.focal_length_mm")
    figures = Figures(exactly=True)
    film_plane = FilmPlaneOut(source="plane")
    text = serializers.SerializerMethodField(help_text="How the film lies, in words.")
    drawing = serializers.SerializerMethodField(help_text=DRAWING)

    def get_retired(self, card: Card) -> bool:
        return card.camera.retired_at is not None

    def get_text(self, card: Card) -> str:
        return lie_of_the_film(card.plane, self.context.get("lengths", "mm"))

    def get_drawing(self, card: Card) -> list[Any] | None:
        title = f"How the film lies in {card.camera.code}"
        return tree_of(section_of(card.spec.film_plane, title=title, lengths=self.context.get("lengths", "mm")))


class EmbeddedPaperOut(serializers.Serializer):
    """What a paper is like, by the club's logs, for an average camera and member."""

    id = serializers.UUIDField(source="known.paper.id")
    name = serializers.CharField(source="known.paper.name")
    family = serializers.CharField(source="known.paper.family")
    nominal_exposure_index = number("known.paper.nominal_exposure_index")
    exposure_index = number("known.exposure_index", help_text="The index it really has, below 1 s.")
    exposure_index_interval = NumbersIntervalOut(source="known.exposure_index_interval", help_text="Nine times in ten.")
    exponent = number("known.answer.exponent", allow_null=True, help_text="Of the power law above 1 s; 1 = no failure.")
    exponent_interval = NumbersIntervalOut(source="known.answer.exponent_interval", help_text="Nine times in ten.")
    logs = serializers.IntegerField(source="known.answer.evidence.logs", help_text="That this rests on.")
    text = serializers.CharField(help_text="The same in words.")
    curve = CurvePointOut(many=True, source="known.answer.curve")
    flags = FlagOut(many=True, source="known.answer.flags")
    drawing = serializers.SerializerMethodField(help_text=DRAWING)

    def get_drawing(self, curve: Curve) -> list[Any] | None:
        known = curve.known
        return tree_of(paper_svg(known.paper.name, known.answer.curve, **sheet_drawn(known)))


class EmbeddedExposureOut(RecommendationOut):
    """The time to give, whoever exposes, how sure it is, and why."""

    caution = serializers.SerializerMethodField()

    def get_caution(self, _found: Any) -> str:
        return SUN_CAUTION
