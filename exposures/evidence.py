"""The log as evidence: what one entry says, and its sums kept in step with it, entry by entry.

A judged log adds one to a cell of `EvidenceCell` in the same transaction that stores it, so the pooled model never
reads the log row by row. `summed` makes the same sums from the log by GROUP BY: the table can always be rebuilt.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
from django.db import IntegrityError, transaction
from django.db.models import Count, F, FloatField, Max, Min, QuerySet, Sum, Value
from django.db.models.functions import Greatest, Least

from clubs.models import Club
from exposures.models import EvidenceCell, ExposureLog, Grade, Pool, new_stamp

KEYS = ("club_id", "paper_id", "spec_id", "member_id", "grade", "shared")
SUMS = ("x", "xx", "y", "xy", "yy")
ENDS = ("shortest_stops", "longest_stops")


def evidence_of(
    *,
    exposure_time_s: float,
    indicated_time_s: float,
    exposure_index: float,
    result_stops: float | None,
    right_time_s: float | None,
    measured: bool = False,
) -> dict[str, Any]:
    """`grade`, `time_stops` and `effect_stops` of a log; no grade and nulls where it was not judged.

    A result in stops speaks of the time given; a right time speaks of itself, with nothing over or under.
    """
    if result_stops is None and right_time_s is None:
        return {"grade": "", "time_stops": None, "effect_stops": None}
    bracketed = right_time_s is not None
    return {
        "grade": Grade.BRACKETED if bracketed else Grade.DENSITOMETER if measured else Grade.JUDGED,
        "time_stops": float(np.log2(exposure_time_s if right_time_s is None else right_time_s)),
        "effect_stops": float(np.log2(indicated_time_s * exposure_index)) + (result_stops or 0.0),
    }


def keep(log: ExposureLog) -> None:
    """Add a new log to its cell and mark the club's evidence as changed. Call inside the transaction that stores it."""
    if log.time_stops is None or log.effect_stops is None:
        return
    x, y = max(log.time_stops, 0.0), log.effect_stops - min(log.time_stops, 0.0)
    sums = dict(zip(SUMS, (x, x * x, y, x * y, y * y), strict=True))
    key = {name: getattr(log, name) for name in KEYS}
    cell = EvidenceCell.objects.filter(**key)
    more = {name: F(name) + value for name, value in {"logs": 1, **sums}.items()}
    at = Value(log.time_stops, FloatField())
    ends = {"shortest_stops": Least("shortest_stops", at), "longest_stops": Greatest("longest_stops", at)}
    if not cell.update(**more, **ends):
        try:
            with transaction.atomic():
                EvidenceCell.objects.create(**key, logs=1, **sums, **dict.fromkeys(ENDS, log.time_stops))
        except IntegrityError:  # somebody else's log of the same kind came first
            cell.update(**more, **ends)
    mark_changed(club_id=log.club_id, shared=log.shared)


def mark_changed(*, club_id: int, shared: bool) -> None:
    """Draw the club's stamps anew: no fit made before this counts as fresh."""
    stamps = {"stamp": new_stamp()} | ({"shared_stamp": new_stamp()} if shared else {})
    if not Pool.objects.filter(club_id=club_id).update(**stamps):
        Pool.objects.get_or_create(club_id=club_id)


def summed(logs: QuerySet[ExposureLog]) -> QuerySet[ExposureLog, dict[str, Any]]:
    """Cells made from the log by GROUP BY, as rows with the field names of `EvidenceCell`."""
    u, z = F("time_stops"), F("effect_stops")
    nothing = Value(0.0, FloatField())
    x, y = Greatest(u, nothing), z - Least(u, nothing)
    groups = logs.filter(time_stops__isnull=False).order_by().values(*KEYS)
    return groups.annotate(
        logs=Count("number"), x=Sum(x), xx=Sum(x * x), y=Sum(y), xy=Sum(x * y), yy=Sum(y * y),
        shortest_stops=Min(u), longest_stops=Max(u),
    )  # fmt: skip


def rebuild(club: Club) -> None:
    """Make the club's cells anew from its log."""
    with transaction.atomic():
        EvidenceCell.objects.filter(club=club).delete()
        rows = summed(ExposureLog.objects.filter(club=club))
        EvidenceCell.objects.bulk_create([EvidenceCell(**row) for row in rows], batch_size=1000)
        mark_changed(club_id=club.pk, shared=True)


def single_logs(logs: QuerySet[ExposureLog], *, after: int = 0, size: int = 50_000) -> Iterator[list[tuple[Any, ...]]]:
    """Chunks of judged logs in the order of their numbers: (number, catalogue key, spec, member, grade, u, z)."""
    wanted = ("number", "paper__catalogue_key", "spec_id", "member_id", "grade", "time_stops", "effect_stops")
    judged = logs.filter(time_stops__isnull=False).order_by("number").values_list(*wanted)
    while chunk := list(judged.filter(number__gt=after)[:size]):
        yield chunk
        after = chunk[-1][0]
