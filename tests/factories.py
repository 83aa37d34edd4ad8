"""Invented accounts, clubs, cameras, papers and logs for tests."""

from datetime import UTC, date, datetime
from typing import Any

import factory
from django.contrib.auth import get_user_model
from django.db import transaction

from clubs.models import Camera, CameraSpec, Club, Design, Membership
from exposures.evidence import evidence_of, keep
from exposures.models import ExposureLog, Paper
from exposures.workshops.codes import new_claim_code
from exposures.workshops.models import Place, PlaceExposure, Workshop
from optics import contributed


class AccountFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = get_user_model()

    username = factory.Sequence("walker-{}".format)

    @classmethod
    def _adjust_kwargs(cls, **facts: Any) -> dict[str, Any]:
        """Under whatever name the site's user model knows it."""
        return {get_user_model().USERNAME_FIELD: facts.pop("username"), **facts}


class ClubFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Club

    slug = factory.Sequence("creek-{}".format)
    name = factory.Sequence("Creek {} (invented)".format)


class MembershipFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Membership

    club = factory.SubFactory(ClubFactory)
    user = factory.SubFactory(AccountFactory)
    role = "member"


class CameraFactory(factory.django.DjangoModelFactory):
    """A camera without a spec; `CameraSpecFactory` makes both."""

    class Meta:
        model = Camera

    club = factory.SubFactory(ClubFactory)
    code = factory.Sequence("TC{}".format)
    name = factory.Sequence("Tea caddy {}".format)


class CameraSpecFactory(factory.django.DjangoModelFactory):
    """A drum 100 mm across with a 0.35 mm hole, f/259."""

    class Meta:
        model = CameraSpec

    camera = factory.SubFactory(CameraFactory)
    number = 1
    hole_diameter_mm = 0.35
    hole_uncertainty_mm = 0.01
    plate_thickness_mm = 0.05
    hole_measured_by = "counted"
    author = factory.SubFactory(AccountFactory)
    typed = factory.Dict({})

    @factory.lazy_attribute
    def film_plane(self) -> dict[str, Any]:
        return contributed.stored(contributed.film_plane("drum", height_mm=80.0, diameter_mm=100.0, length_mm=150.0))

    @factory.lazy_attribute
    def focal_length_mm(self) -> float:
        return contributed.film_plane(**self.film_plane).mean_mm

    @factory.lazy_attribute
    def f_number(self) -> float:
        return self.focal_length_mm / self.hole_diameter_mm


class DesignFactory(factory.django.DjangoModelFactory):
    """A drum 100 mm across, planned with a 0.35 mm hole."""

    class Meta:
        model = Design

    club = factory.SubFactory(ClubFactory)
    name = factory.Sequence("Biscuit drum {}".format)
    hole_diameter_mm = 0.35
    plate_thickness_mm = 0.05
    wall_thickness_mm = 0.3
    author = factory.SubFactory(AccountFactory)

    @factory.lazy_attribute
    def film_plane(self) -> dict[str, Any]:
        return contributed.stored(contributed.film_plane("drum", height_mm=80.0, diameter_mm=100.0, length_mm=150.0))

    @factory.lazy_attribute
    def focal_length_mm(self) -> float:
        return contributed.film_plane(**self.film_plane).mean_mm

    @factory.lazy_attribute
    def typed(self) -> dict[str, Any]:
        return {
            "film_plane": {"kind": "drum", "height": "80 mm", "diameter": "100 mm", "length": "150 mm"},
            "hole": {"diameter": "0.35 mm", "plate_thickness": "0.05 mm"},
        }


class PaperFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Paper

    club = factory.SubFactory(ClubFactory)
    name = factory.Sequence("Glasswort {}".format)
    family = "graded paper"
    nominal_exposure_index = 6.0


class ExposureLogFactory(factory.django.DjangoModelFactory):
    """A log as `log_exposure` leaves it: its evidence is kept too."""

    class Meta:
        model = ExposureLog

    club = factory.SelfAttribute("spec.camera.club")
    spec = factory.SubFactory(CameraSpecFactory)
    paper = factory.SubFactory(PaperFactory, club=factory.SelfAttribute("..spec.camera.club"))
    member = factory.SubFactory(AccountFactory)
    taken_at = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)
    reading = factory.Dict({"ev": 13})
    ev100 = 13.0
    f_number = factory.SelfAttribute("spec.f_number")
    exposure_index = factory.SelfAttribute("paper.nominal_exposure_index")
    indicated_time_s = 100.0
    exposure_time_s = 240.0
    typed_time = "4 min"
    result = factory.Dict({"judged_stops": 0.0})
    result_stops = 0.0

    right_time_s = None

    @classmethod
    def _create(cls, model_class: Any, *args: Any, **facts: Any) -> ExposureLog:
        told = ("exposure_time_s", "indicated_time_s", "exposure_index", "result_stops", "right_time_s")
        with transaction.atomic():
            log = super()._create(model_class, *args, **facts, **evidence_of(**{name: facts[name] for name in told}))
            keep(log)
        return log


class WorkshopFactory(factory.django.DjangoModelFactory):
    """A workshop without places."""

    class Meta:
        model = Workshop

    club = factory.SubFactory(ClubFactory)
    name = factory.Sequence("Saltmarsh day {}".format)
    held_on = date(2026, 5, 1)
    design = factory.SubFactory(DesignFactory, club=factory.SelfAttribute("..club"))
    paper = factory.SubFactory(PaperFactory, club=factory.SelfAttribute("..club"))


class PlaceFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Place

    workshop = factory.SubFactory(WorkshopFactory)
    number = factory.Sequence(lambda number: number + 1)

    @factory.lazy_attribute
    def code(self) -> str:
        return new_claim_code()


class PlaceExposureFactory(factory.django.DjangoModelFactory):
    """An exposure without a result."""

    class Meta:
        model = PlaceExposure

    place = factory.SubFactory(PlaceFactory)

    @factory.lazy_attribute
    def facts(self) -> dict[str, Any]:
        told = {"taken_at": "2026-05-01T12:00:00+00:00", "ev100": 13.0, "filter_stops": 0.0, "exposure_time_s": 240.0}
        return {**told, "result": None, "note": ""}

    @factory.lazy_attribute
    def typed(self) -> dict[str, Any]:
        return {"reading": {"ev": 13}, "exposure_time": "4 min", "result": None, "note": ""}
