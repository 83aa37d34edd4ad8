"""A sheet of rows that is brought in."""

import uuid

from django.conf import settings
from django.db import models

from clubs.models import Club


class ImportBatch(models.Model):
    """A sheet of rows that somebody brings in: read and tried first, then imported, and undone as a whole if need be.

    `table` holds the cells as text, the heading first; `mapping` which column is what and how it is written; `report`
    what came of each row.
    """

    class State(models.TextChoices):
        TRIED = "tried", "tried, nothing imported yet"
        IMPORTED = "imported", "imported"
        UNDONE = "undone", "undone"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="imports")
    kind = models.CharField(max_length=10)
    file_name = models.CharField(max_length=120)
    table = models.JSONField()
    mapping = models.JSONField(default=dict)
    report = models.JSONField(default=list)
    state = models.CharField(max_length=8, choices=State.choices, default=State.TRIED)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)
    revision = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return f"{self.file_name}: {self.state}"
