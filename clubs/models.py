"""Clubs, their members, their cameras, and what each camera was at each time."""

from typing import Any, NoReturn

from django.conf import settings
from django.db import models

from clubs.roles import ROLE_CHOICES
from optics import contributed
from optics.core.camera_plan import Hole
from optics.core.film_planes import FilmPlane


class Club(models.Model):
    slug = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=100)
    created_at = models.DateTimeField(auto_now_add=True)
    revision = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return self.name


class Membership(models.Model):
    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="memberships")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="pinpool_memberships")
    role = models.CharField(max_length=10, choices=ROLE_CHOICES)
    joined_at = models.DateTimeField(auto_now_add=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club", "user"], name="pinpool_one_membership_each")]

    def __str__(self) -> str:
        return f"{self.user} in {self.club}: {self.role}"


class Camera(models.Model):
    """A camera in the registry; `owner` is empty where the club owns it. What it is stands in its specs."""

    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="cameras")
    code = models.CharField(max_length=12)
    name = models.CharField(max_length=100)
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="pinpool_cameras",
    )
    registered_at = models.DateTimeField(auto_now_add=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club", "code"], name="pinpool_camera_code_per_club")]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    @property
    def spec(self) -> "CameraSpec | None":
        """The spec in force: the latest."""
        return max(self.specs.all(), key=lambda spec: spec.number, default=None)


class CameraSpec(models.Model):
    """What a camera is, from one time on. Never changed: a better measurement is a new spec.

    `film_plane` holds the film plane in canonical units, as `optics.contributed` stores it; `typed` is what the
    person sent, as they wrote it.
    """

    camera = models.ForeignKey(Camera, on_delete=models.CASCADE, related_name="specs")
    number = models.PositiveIntegerField()
    film_plane = models.JSONField()
    hole_diameter_mm = models.FloatField()
    hole_uncertainty_mm = models.FloatField()
    plate_thickness_mm = models.FloatField()
    hole_measured_by = models.CharField(max_length=12)
    focal_length_mm = models.FloatField()
    f_number = models.FloatField()
    typed = models.JSONField()
    reason = models.CharField(max_length=300, blank=True)
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="pinpool_specs"
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["camera", "number"], name="pinpool_spec_number_per_camera")]

    def __str__(self) -> str:
        return f"{self.camera} #{self.number}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None:
            self._refuse()
        super().save(*args, **kwargs)

    def _refuse(self) -> NoReturn:
        raise TypeError("A camera's spec is never changed in place; add a new one.")

    def as_film_plane(self) -> FilmPlane:
        """The same dataclass that a posted film plane becomes."""
        return contributed.film_plane(**self.film_plane)

    def as_hole(self) -> Hole:
        return Hole(self.hole_diameter_mm, self.hole_uncertainty_mm, self.plate_thickness_mm)
