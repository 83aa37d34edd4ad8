"""A workshop, its places, and what was exposed at each."""

import uuid

from django.conf import settings
from django.db import models

from clubs.models import Camera, Club, Design, Person
from clubs.roles import ROLE_CHOICES


class Workshop(models.Model):
    """A day on which several people build a camera by one design. Once closed, it is history.

    `process` is how the negatives are developed, as `exposures.processes` keeps it; `stations` how many trays or tanks
    are worked side by side; `joins_as` the role in which somebody with a claim code may join the club, empty for none.
    """

    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="workshops")
    name = models.CharField(max_length=100)
    held_on = models.DateField()
    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="workshops")
    paper = models.ForeignKey("pinpool_exposures.Paper", on_delete=models.PROTECT, related_name="workshops")
    process = models.JSONField(null=True)
    stations = models.PositiveIntegerField(default=1)
    note = models.TextField(blank=True)
    joins_as = models.CharField(max_length=10, choices=ROLE_CHOICES, blank=True)
    leader = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)
    closed_at = models.DateTimeField(null=True, editable=False)
    revision = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return f"{self.name}, {self.held_on}"


class Place(models.Model):
    """One participant's place: a number, a claim code while it is not withdrawn, and the hole they made.

    Until somebody measured it, the hole's columns are empty. `camera` is set when the workshop is closed; `person`
    then stands for a participant without an account, `user` for one who claimed the place with theirs.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.CASCADE, related_name="places")
    number = models.PositiveIntegerField()
    code = models.CharField(max_length=16, unique=True)
    withdrawn_at = models.DateTimeField(null=True)
    name = models.CharField(max_length=60, blank=True)
    hole_diameter_mm = models.FloatField(null=True)
    hole_uncertainty_mm = models.FloatField(null=True)
    hole_measured_by = models.CharField(max_length=12, blank=True)
    measurements = models.JSONField(default=list)
    typed = models.JSONField(null=True)
    measured_at = models.DateTimeField(null=True)
    opened_at = models.DateTimeField(null=True)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    person = models.ForeignKey(Person, on_delete=models.SET_NULL, null=True, related_name="+")
    camera = models.OneToOneField(Camera, on_delete=models.SET_NULL, null=True, related_name="workshop_place")
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["workshop", "number"], name="pinpool_place_number_per_workshop")]

    def __str__(self) -> str:
        return f"place {self.number} of {self.workshop}"


class PlaceExposure(models.Model):
    """An exposure noted at a place while the workshop is open; closing makes a log of it, under the same id.

    `facts` is the entry as read, in canonical units, `typed` as sent. Only the result is added to an entry later.
    """

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="exposures")
    id = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    number = models.BigAutoField(primary_key=True)
    facts = models.JSONField()
    typed = models.JSONField()
    created_at = models.DateTimeField(auto_now_add=True)
    revision = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return f"exposure {self.number} of {self.place}"
