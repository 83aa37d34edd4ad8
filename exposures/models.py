"""Papers and the shared log of exposures."""

import uuid
from typing import Any

import numpy as np
from django.conf import settings
from django.db import models

from clubs.models import CameraSpec, Club


class Paper(models.Model):
    """A stock of paper or film, with the family it belongs to and the index the club starts from."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="papers")
    name = models.CharField(max_length=100)
    family = models.CharField(max_length=60)
    nominal_exposure_index = models.FloatField()
    note = models.TextField(blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club", "name"], name="pinpool_paper_name_per_club")]

    def __str__(self) -> str:
        return self.name


class ExposureLog(models.Model):
    """One exposure and how it came out. Its facts are never changed in place.

    `ev100`, `indicated_time_s` and `f_number` are as they were on that day; `reading`, `typed_time` and `result` are
    what the person wrote. `right_time_s` is set only where the result says which time would have been right.
    """

    number = models.BigAutoField(primary_key=True)
    id = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="exposures")
    spec = models.ForeignKey(CameraSpec, on_delete=models.PROTECT, related_name="exposures")
    paper = models.ForeignKey(Paper, on_delete=models.PROTECT, related_name="exposures")
    member = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="pinpool_exposures"
    )
    taken_at = models.DateTimeField()
    reading = models.JSONField()
    ev100 = models.FloatField()
    filter_stops = models.FloatField(default=0.0)
    f_number = models.FloatField()
    exposure_index = models.FloatField()
    indicated_time_s = models.FloatField()
    exposure_time_s = models.FloatField()
    typed_time = models.JSONField()
    result = models.JSONField(null=True)
    result_stops = models.FloatField(null=True)
    right_time_s = models.FloatField(null=True)
    process = models.TextField(blank=True)
    note = models.TextField(blank=True)
    shared = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        indexes = [
            models.Index(fields=["club", "-number"], name="pinpool_log_by_club"),
            models.Index(fields=["paper", "-number"], name="pinpool_log_by_paper"),
        ]

    def __str__(self) -> str:
        return f"{self.spec.camera.code} on {self.paper}, {self.taken_at:%Y-%m-%d}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.number is not None:
            raise TypeError("A log's facts are never changed in place.")
        super().save(*args, **kwargs)


def evidence(paper: Paper) -> tuple[np.ndarray, np.ndarray]:
    """(u, z) of every judged log of a paper as logged, each of shape (n,): log₂ of the time, and effective stops.

    A result in stops speaks of the time given; a right time speaks of itself, with nothing over or under.
    """
    judged_logs = ExposureLog.objects.filter(paper=paper, result__isnull=False).order_by("number")
    rows = judged_logs.values_list("exposure_time_s", "right_time_s", "indicated_time_s", "result_stops")
    table = np.array(list(rows), dtype=float).reshape(-1, 4)
    given, right, indicated, stops = table.T
    judged = np.isnan(right)
    time = np.where(judged, given, right)
    return np.log2(time), np.log2(indicated) + np.where(judged, stops, 0.0)
