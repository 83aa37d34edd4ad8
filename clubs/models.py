"""Clubs, their members, their cameras, and what each camera was at each time."""

import uuid
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any, NamedTuple, NoReturn

from django.conf import settings
from django.db import models
from django.utils import timezone

from clubs.roles import ROLE_CHOICES
from optics import contributed
from optics.core.camera_plan import Hole
from optics.core.film_planes import FilmPlane


class Club(models.Model):
    """A club. `plugins` names those of other packages that its keeper switched on, whether or not they are here."""

    slug = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=100)
    plugins = models.JSONField(default=list, blank=True)
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


class Invitation(models.Model):
    """A code that lets whoever has it join the club in a role, so many times, until it expires or is withdrawn."""

    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="invitations")
    code = models.CharField(max_length=12, unique=True)
    role = models.CharField(max_length=10, choices=ROLE_CHOICES)
    note = models.CharField(max_length=200, blank=True)
    uses = models.PositiveIntegerField(default=1)
    used = models.PositiveIntegerField(default=0)
    expires_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(used__lte=models.F("uses")), name="pinpool_invitation_not_overused"
            )
        ]

    def __str__(self) -> str:
        return f"{self.role} of {self.club}, {self.used} of {self.uses} used"


#: What a person is called whose name nobody knows.
NAMELESS = "somebody without an account"


class Person(models.Model):
    """Somebody without an account here whose logs the club keeps: of a workshop, or of where an archive was made."""

    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="people")
    name = models.CharField(max_length=254, blank=True)

    def __str__(self) -> str:
        return self.name or f"person {self.pk}"

    @property
    def called(self) -> str:
        """What others are told of who it is."""
        return self.name or NAMELESS


class Design(models.Model):
    """A container's plan that cameras are built by. Never changed but for its name, its note and being retired."""

    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="designs")
    name = models.CharField(max_length=100)
    note = models.TextField(blank=True)
    film_plane = models.JSONField()
    hole_diameter_mm = models.FloatField()
    plate_thickness_mm = models.FloatField()
    wall_thickness_mm = models.FloatField()
    focal_length_mm = models.FloatField()
    typed = models.JSONField()
    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    retired_at = models.DateTimeField(null=True, blank=True)
    revision = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return self.name

    def as_film_plane(self) -> FilmPlane:
        """The same dataclass that a posted film plane becomes."""
        return contributed.film_plane(**self.film_plane)

    @property
    def missing_plugin(self) -> str | None:
        """Why `as_film_plane` cannot be asked now, naming the plug-in, or None."""
        return contributed.missing_for(self.film_plane) or None

    def as_hole(self) -> Hole:
        """The hole as planned; what was made is in a camera's spec."""
        return Hole(self.hole_diameter_mm, 0.0, self.plate_thickness_mm)

    @property
    def f_number(self) -> float:
        """With the hole as planned."""
        return self.focal_length_mm / self.hole_diameter_mm


class Loan(NamedTuple):
    """Who has a camera, None for an account that is gone, and until which day."""

    to: Any
    until: date


class Camera(models.Model):
    """A camera in the registry; `owner` is empty where the club owns it. What it is stands in its specs.

    `lent_to` holds it until the day `lent_until`; a retired one is kept for its history.
    """

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
    note = models.TextField(blank=True)
    design = models.ForeignKey(Design, on_delete=models.PROTECT, null=True, blank=True, related_name="cameras")
    lent_to = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="pinpool_borrowed_cameras",
    )
    lent_until = models.DateField(null=True, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True)
    registered_at = models.DateTimeField(default=timezone.now, editable=False)
    revision = models.PositiveIntegerField(default=1)

    #: All of its specs, where they were read in the same statement.
    known_specs: "list[CameraSpec] | None" = None

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["club", "code"], name="pinpool_camera_code_per_club"),
            models.CheckConstraint(
                condition=models.Q(lent_until=None) | models.Q(retired_at=None),
                name="pinpool_camera_not_lent_and_retired",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    @property
    def spec(self) -> "CameraSpec | None":
        """The spec in force: the latest."""
        return max(self._all_specs(), key=lambda spec: spec.number, default=None)

    def spec_at(self, moment: datetime) -> "CameraSpec | None":
        """The spec in force at a moment: the latest made by then, or the first where all were made later."""
        specs = sorted(self._all_specs(), key=lambda spec: spec.number)
        made = [spec for spec in specs if spec.created_at <= moment]
        return made[-1] if made else next(iter(specs), None)

    def _all_specs(self) -> "Iterable[CameraSpec]":
        return self.specs.all() if self.known_specs is None else self.known_specs

    @property
    def loan(self) -> Loan | None:
        return None if self.lent_until is None else Loan(self.lent_to, self.lent_until)


def photo_path(photo: "CameraPhoto", _name: str) -> str:
    """Where a photo is stored: nothing of the sender's file name enters it."""
    return f"pinpool/cameras/{photo.camera_id}/{photo.id}.jpg"


class CameraPhoto(models.Model):
    """A picture of a camera, as we encoded it anew: nothing of the sender's file but its pixels is kept."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    camera = models.ForeignKey(Camera, on_delete=models.CASCADE, related_name="photos")
    image = models.FileField(upload_to=photo_path)
    width_pixels = models.PositiveIntegerField()
    height_pixels = models.PositiveIntegerField()
    caption = models.CharField(max_length=200, blank=True)
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    added_at = models.DateTimeField(default=timezone.now, editable=False)
    revision = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return f"{self.camera}: {self.caption or self.id}"


class CameraSpec(models.Model):
    """What a camera is, from one time on. Never changed: a better measurement is a new spec.

    `film_plane` holds the film plane in canonical units, as `optics.contributed` stores it; `typed` is what the
    person sent, as they wrote it. `measurements` are the single measurements behind the hole, in canonical units.
    """

    camera = models.ForeignKey(Camera, on_delete=models.CASCADE, related_name="specs")
    number = models.PositiveIntegerField()
    film_plane = models.JSONField()
    hole_diameter_mm = models.FloatField()
    hole_uncertainty_mm = models.FloatField()
    plate_thickness_mm = models.FloatField()
    hole_measured_by = models.CharField(max_length=12)
    measurements = models.JSONField(default=list)
    focal_length_mm = models.FloatField()
    f_number = models.FloatField()
    typed = models.JSONField()
    reason = models.CharField(max_length=300, blank=True)
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="pinpool_specs"
    )
    created_at = models.DateTimeField(default=timezone.now, editable=False)

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

    @property
    def missing_plugin(self) -> str | None:
        """Why `as_film_plane` cannot be asked now, naming the plug-in, or None."""
        return contributed.missing_for(self.film_plane) or None

    def as_hole(self) -> Hole:
        return Hole(self.hole_diameter_mm, self.hole_uncertainty_mm, self.plate_thickness_mm)


class IssuedSheet(models.Model):
    """A printed sheet as it was issued: its data, from which it is typeset again whenever asked for. Never changed.

    `kind` and `subject` (“camera T1”) say what it is of; `digest` is the SHA-256 of its canonical data; who may do
    `action` of `clubs.roles.MAY` may read it.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="sheets")
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=40)
    subject = models.CharField(max_length=200)
    action = models.CharField(max_length=40)
    data = models.JSONField()
    digest = models.CharField(max_length=64)
    issued_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    issued_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club", "number"], name="pinpool_sheet_number_per_club")]
        indexes = [models.Index(fields=["club", "subject", "kind", "-number"], name="pinpool_sheet_by_subject")]

    def __str__(self) -> str:
        return f"{self.kind} of {self.subject}, {self.number}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise TypeError("A sheet that was issued is never changed.")
        super().save(*args, **kwargs)


class AddedTo(models.QuerySet):
    """Rows that are added and read, never changed or taken away, not even many at once."""

    def _refuse(self, *_args: Any, **_kwargs: Any) -> NoReturn:
        raise TypeError("The trail is only ever added to.")

    update = delete = bulk_update = _refuse

    def bulk_create(self, objs: Any, *args: Any, update_conflicts: bool = False, **kwargs: Any) -> Any:
        if update_conflicts:
            self._refuse()
        return super().bulk_create(objs, *args, **kwargs)


class TrailEntry(models.Model):
    """Who changed what, when, from what to what. Written once, never changed, and gone only with its club.

    `actor_name` outlives the account. `subject` names the thing for a person, such as “camera T1”; `before` and `after`
    hold what differs.
    """

    club = models.ForeignKey(Club, on_delete=models.CASCADE, db_index=False, related_name="trail")
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    actor_name = models.CharField(max_length=254)
    at = models.DateTimeField(default=timezone.now, editable=False)
    action = models.CharField(max_length=40)
    subject = models.CharField(max_length=200)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)

    objects = AddedTo.as_manager()

    class Meta:
        indexes = [models.Index(fields=["club", "-id"], name="pinpool_trail_by_club")]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.actor_name} {self.action} {self.subject}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None:
            raise TypeError("The trail is only ever added to.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:  # noqa: ARG002
        raise TypeError("The trail is only ever added to.")
