"""Papers, the shared log of exposures, and what the pooled model keeps of it."""

import secrets
import uuid
from typing import Any

from django.conf import settings
from django.db import models

from clubs.models import CameraSpec, Club, Person
from exposures.catalogue import catalogue_key


class Paper(models.Model):
    """A stock of paper or film, with the family it belongs to and the index the club starts from.

    `catalogue_key` is what other clubs know it by. `published_rows_s` holds the (indicated, corrected) times of a data
    sheet, `published_typed` the same as written, or the law that they were taken from, and `published_source` where
    that stands; null and empty without one.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="papers")
    name = models.CharField(max_length=100)
    family = models.CharField(max_length=60)
    nominal_exposure_index = models.FloatField()
    catalogue_key = models.CharField(max_length=200, editable=False, db_index=True)
    published_rows_s = models.JSONField(null=True, blank=True)
    published_typed = models.JSONField(null=True, blank=True)
    published_source = models.CharField(max_length=300, blank=True)
    width_mm = models.FloatField(null=True, blank=True)
    height_mm = models.FloatField(null=True, blank=True)
    batch = models.CharField(max_length=60, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    sheets_left = models.PositiveIntegerField(null=True, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True)
    imported_in = models.ForeignKey(
        "ImportBatch", on_delete=models.SET_NULL, null=True, editable=False, related_name="papers"
    )
    note = models.TextField(blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club", "name"], name="pinpool_paper_name_per_club")]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.catalogue_key = catalogue_key(name=self.name, family=self.family)
        super().save(*args, **kwargs)

    @property
    def published_law(self) -> dict[str, Any] | None:
        """The law that the data sheet gives, as written, if it gives one."""
        return self.published_typed if isinstance(self.published_typed, dict) else None

    @property
    def size(self) -> dict[str, float] | None:
        """Width and height of a sheet in mm."""
        return {"width": self.width_mm, "height": self.height_mm} if self.width_mm and self.height_mm else None


class Grade(models.TextChoices):
    """How a result was come by; each grade has an error of its own in the pooled model."""

    JUDGED = "judged", "judged by eye"
    BRACKETED = "bracketed", "read off a bracket or test strip"
    DENSITOMETER = "densitometer", "measured as a density"


class ExposureLog(models.Model):
    """One exposure and how it came out. Its facts are never changed in place: a correction is another log.

    `ev100`, `indicated_time_s` and `f_number` are as they were on that day; `reading`, `typed_time` and `result` are
    what the person wrote. `right_time_s` is set only where the result says which time would have been right. `process`
    is kept as `exposures.processes` makes it, the place no finer than to 0.1°.

    As evidence a judged log says that the time 2^`time_stops` s has the effect `effect_stops` = result + log₂(indicated
    time in s × exposure index), which no choice of nominal index shifts. A private log is no evidence: both are null.
    Nor is one that `corrected_at` marks as corrected.
    """

    number = models.BigAutoField(primary_key=True)
    id = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    # The indexes below begin with these, so none of them needs one of its own.
    club = models.ForeignKey(Club, on_delete=models.CASCADE, db_index=False, related_name="exposures")
    spec = models.ForeignKey(CameraSpec, on_delete=models.PROTECT, db_index=False, related_name="exposures")
    paper = models.ForeignKey(Paper, on_delete=models.PROTECT, db_index=False, related_name="exposures")
    member = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.SET_NULL,
        null=True,
        db_index=False,
        related_name="pinpool_exposures",
    )
    # Whose it is where that is no account's.
    person = models.ForeignKey(Person, on_delete=models.SET_NULL, null=True, db_index=False, related_name="exposures")
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
    grade = models.CharField(max_length=12, choices=Grade.choices, blank=True)
    time_stops = models.FloatField(null=True)
    effect_stops = models.FloatField(null=True)
    process = models.JSONField(null=True)
    note = models.TextField(blank=True)
    place_latitude = models.DecimalField(max_digits=4, decimal_places=1, null=True)
    place_longitude = models.DecimalField(max_digits=4, decimal_places=1, null=True)
    shared = models.BooleanField(default=False)
    private = models.BooleanField(default=False)
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="corrected_by")
    corrected_at = models.DateTimeField(null=True, editable=False)
    reason = models.CharField(max_length=300, blank=True)
    imported_in = models.ForeignKey(
        "ImportBatch", on_delete=models.SET_NULL, null=True, editable=False, db_index=False, related_name="exposures"
    )
    created_at = models.DateTimeField(auto_now_add=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(shared=True, private=True), name="pinpool_log_not_shared_and_private"
            ),
            models.CheckConstraint(
                condition=models.Q(member=None) | models.Q(person=None), name="pinpool_log_has_one_author"
            ),
        ]
        # One for each filter of the log, in the order of its pages; the club makes each the obvious choice. Of two that
        # would do as well SQLite takes the younger, so those of few logs are the youngest.
        indexes = [
            models.Index(fields=["club", "-number", "taken_at"], name="pinpool_log_by_club"),
            models.Index(fields=["club", "taken_at"], name="pinpool_log_by_time"),
            models.Index(fields=["paper", "club", "-number"], name="pinpool_log_by_paper"),
            models.Index(fields=["spec", "club", "-number"], name="pinpool_log_by_spec"),
            models.Index(fields=["member", "club", "-number"], name="pinpool_log_by_member"),
            models.Index(
                fields=["member", "club", "-number"], condition=models.Q(private=True), name="pinpool_log_private"
            ),
            models.Index(
                fields=["person", "club", "-number"],
                condition=models.Q(person__isnull=False),
                name="pinpool_log_by_person",
            ),
            models.Index(
                fields=["club", "-number"],
                condition=models.Q(person__isnull=False),
                name="pinpool_log_without_account",
            ),
            # The unique one holds every log, nearly all under null: SQLite then takes it to lead to all of them.
            models.Index(
                fields=["corrects"], condition=models.Q(corrects__isnull=False), name="pinpool_log_corrections"
            ),
            models.Index(
                fields=["imported_in"], condition=models.Q(imported_in__isnull=False), name="pinpool_log_imported"
            ),
            models.Index(fields=["club", "-number"], condition=models.Q(shared=True), name="pinpool_log_shared"),
            models.Index(
                fields=["club", "-number"], condition=models.Q(result__isnull=True), name="pinpool_log_unjudged"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.spec.camera.code} on {self.paper}, {self.taken_at:%Y-%m-%d}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.number is not None:
            raise TypeError("A log's facts are never changed in place.")
        super().save(*args, **kwargs)

    @property
    def author(self) -> str | None:
        """The name of whose it is; None for a former member."""
        return self.person.called if self.person else self.member.get_username() if self.member else None

    @property
    def without_account(self) -> bool:
        """Whether that is somebody who has no account here, whatever they are called."""
        return self.person_id is not None

    @property
    def visibility(self) -> str:
        """Who may see it: its author alone, the club, or with the pool also what others reckon from it."""
        return "private" if self.private else "shared" if self.shared else "club"

    @property
    def place(self) -> dict[str, float] | None:
        """Where it was taken, in degrees, north and east positive."""
        if self.place_latitude is None or self.place_longitude is None:
            return None
        return {"latitude": float(self.place_latitude), "longitude": float(self.place_longitude)}


def picture_path(picture: "NegativePicture", _name: str) -> str:
    """Where a picture is stored: nothing of the sender's file name enters it."""
    return f"pinpool/negatives/{picture.log_id}/{picture.id}.jpg"


class NegativePicture(models.Model):
    """A picture of the negative or print, encoded anew: nothing of the sender's file but its pixels is kept."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    log = models.OneToOneField(ExposureLog, on_delete=models.CASCADE, related_name="picture")
    image = models.FileField(upload_to=picture_path)
    width_pixels = models.PositiveIntegerField()
    height_pixels = models.PositiveIntegerField()
    added_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"{self.log}"


class EvidenceCell(models.Model):
    """Sums over the judged logs of one paper, camera spec, author, grade, and shared or not; see `evidence`.

    The author is a member, a person without an account, or, with neither, some former members of whom there may be
    several cells: each account that is deleted leaves its own.

    x = max(u, 0) and y = z − min(u, 0), with u a log's `time_stops` and z its `effect_stops`.
    """

    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="+")
    paper = models.ForeignKey(Paper, on_delete=models.CASCADE, related_name="+")
    spec = models.ForeignKey(CameraSpec, on_delete=models.CASCADE, related_name="+")
    member = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    person = models.ForeignKey(Person, on_delete=models.SET_NULL, null=True, related_name="+")
    grade = models.CharField(max_length=12, choices=Grade.choices)
    shared = models.BooleanField()
    logs = models.PositiveIntegerField()
    x = models.FloatField()
    xx = models.FloatField()
    y = models.FloatField()
    xy = models.FloatField()
    yy = models.FloatField()
    shortest_stops = models.FloatField()
    longest_stops = models.FloatField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["paper", "spec", "member", "grade", "shared"],
                condition=models.Q(member__isnull=False),
                name="pinpool_one_cell_for_each_member",
            ),
            models.UniqueConstraint(
                fields=["paper", "spec", "person", "grade", "shared"],
                condition=models.Q(person__isnull=False),
                name="pinpool_one_cell_for_each_person",
            ),
        ]
        indexes = [
            models.Index(fields=["club", "shared"], name="pinpool_cell_by_club"),
            # Every fingerprint counts them; they are few. Their first columns make it SQLite's choice.
            models.Index(
                fields=["member", "person", "club"],
                condition=models.Q(member=None, person=None),
                name="pinpool_cell_of_nobody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.logs} {self.grade} logs of {self.paper_id}"


def new_stamp() -> int:
    """A random number that stands for one state of a club's evidence; sums of many fit into 64 bits."""
    return secrets.randbits(40)


def new_secret() -> bytes:
    return secrets.token_bytes(32)


class Pool(models.Model):
    """What a club shares, and marks that change with its evidence.

    `stamp` is drawn anew at every change of what the club's fit rests on, `shared_stamp` when what others may see of it
    changes. `source` and `secret` are the club's identity and the key of its pseudonyms in packets.
    """

    club = models.OneToOneField(Club, on_delete=models.CASCADE, primary_key=True, related_name="pool")
    joined = models.BooleanField(default=False)
    stamp = models.BigIntegerField(default=new_stamp)
    shared_stamp = models.BigIntegerField(default=new_stamp)
    source = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    secret = models.BinaryField(default=new_secret, editable=False)
    packet_revision = models.PositiveIntegerField(default=0)
    packet_content = models.CharField(max_length=64, blank=True)
    revision = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return f"{self.club}: {'joined' if self.joined else 'by itself'}"


class StoredFit(models.Model):
    """The last fit of a club's scope and the fingerprint of the data that it rests on.

    `last_number` is the newest log then, `guarded_logs` how many logs there were when all were last held against a fit.
    """

    club = models.OneToOneField(Club, on_delete=models.CASCADE, primary_key=True, related_name="+")
    fingerprint = models.CharField(max_length=64)
    state = models.JSONField(null=True)
    logs = models.PositiveIntegerField()
    last_number = models.BigIntegerField()
    guarded_logs = models.PositiveIntegerField()
    made_at = models.DateTimeField(auto_now=True)

    def __str__(self) -> str:
        return f"{self.club}: {self.logs} logs"


class Doubt(models.Model):
    """A log that counts with less than its full weight in a club's fit; `text` where its author should look again."""

    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="+")
    log = models.ForeignKey(ExposureLog, on_delete=models.CASCADE, related_name="doubts")
    weight_share = models.FloatField()
    off_stops = models.FloatField()
    text = models.TextField(blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club", "log"], name="pinpool_one_doubt_for_each_log")]

    def __str__(self) -> str:
        return f"{self.log}: {self.text}"


class PaperMerge(models.Model):
    """A keeper's word that two catalogue keys are one paper: holds for this club alone, until it is undone."""

    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="paper_merges")
    key = models.CharField(max_length=200)
    into_key = models.CharField(max_length=200)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)
    undone_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    undone_at = models.DateTimeField(null=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["club", "key"], condition=models.Q(undone_at=None), name="pinpool_paper_merged_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.key} is {self.into_key}"


class ReceivedPacket(models.Model):
    """The latest packet from one club on another server, as it came; counted unless withdrawn."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="packets")
    source = models.CharField(max_length=100)
    packet_revision = models.PositiveIntegerField()
    checksum = models.CharField(max_length=64)
    content = models.JSONField()
    logs = models.PositiveIntegerField()
    received_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    received_at = models.DateTimeField(auto_now=True)
    withdrawn_at = models.DateTimeField(null=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club", "source"], name="pinpool_one_packet_for_each_source")]

    def __str__(self) -> str:
        return f"{self.source} #{self.packet_revision}"


from exposures.imports.models import ImportBatch  # noqa: E402, F401  (Django looks for models here)
from exposures.workshops.models import Place, PlaceExposure, Workshop  # noqa: E402, F401  (and of these)
