"""What a club lets other web pages show."""

from django.db import models

from clubs.models import Camera, Club
from exposures.models import Paper


class Embedding(models.Model):
    """What of a club everybody may read, and which sites may show it; nothing unless a keeper says so.

    `origins` are those sites, as browsers name them (`exposures.embed.origins`). `registry` lets the list of all
    cameras in use be read; `cameras` and `papers` are those whose cards, curves and times may be.
    """

    club = models.OneToOneField(Club, on_delete=models.CASCADE, related_name="embedding")
    origins = models.JSONField(default=list, blank=True)
    registry = models.BooleanField(default=False)
    cameras = models.ManyToManyField(Camera, blank=True, related_name="+")
    papers = models.ManyToManyField(Paper, blank=True, related_name="+")
    revision = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return f"what other sites may show of {self.club}"
