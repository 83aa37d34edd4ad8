"""What the log and all that rests on it leave behind when a club is closed: nothing."""

from clubs.models import Club
from exposures import evidence
from exposures.embed.models import Embedding
from exposures.models import (
    EvidenceCell,
    ExposureLog,
    ImportBatch,
    NegativePicture,
    Paper,
    PaperMerge,
    Pool,
    ReceivedPacket,
    StoredFit,
)
from exposures.workshops.models import Workshop
from pinpool.pictures import remove_after_commit


def hold(club: Club) -> None:
    """Hold the club's log, as whoever changes it does first."""
    evidence.hold(club.pk)


def part_with(club: Club) -> None:
    """Delete the club's log, papers, workshops, imports and packets, and the pictures once that is certain.

    Clubs that pooled its shared logs reckon without them from then on: its stamp is gone from their fingerprints.
    """
    logs = ExposureLog.objects.filter(club=club)
    list(logs.order_by("pk").select_for_update().values_list("pk"))  # no picture comes from here on
    remove_after_commit(picture.image for picture in NegativePicture.objects.filter(log__club=club))
    Workshop.objects.filter(club=club).delete()
    logs.update(corrects=None)  # each is protected as long as another corrects it
    logs.delete()
    for model in (Embedding, EvidenceCell, StoredFit, PaperMerge, ReceivedPacket, Paper, ImportBatch, Pool):
        model._default_manager.filter(club=club).delete()
