"""The log as evidence: what one entry says, and its sums kept in step with it, entry by entry.

A judged log that is not private adds one to a cell of `EvidenceCell` in the same transaction that stores it, so the
pooled model never reads the log row by row; a correction takes the corrected one out again. `summed` makes the same
sums from the log by GROUP BY: the table can always be rebuilt.
"""

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
from django.db import connection, transaction
from django.db.models import Count, F, FloatField, Max, Min, QuerySet, Sum, Value
from django.db.models.functions import Greatest, Least
from django.http import Http404

from clubs.models import Club
from exposures.models import EvidenceCell, ExposureLog, Grade, Pool, new_stamp
from pinpool.prepared import Prepared, Told

KEYS = ("club_id", "paper_id", "spec_id", "member_id", "person_id", "grade", "shared")
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
    private: bool = False,
) -> dict[str, Any]:
    """`grade`, `time_stops` and `effect_stops` of a log; no grade where it was not judged, no stops if also private.

    A result in stops speaks of the time given; a right time speaks of itself, with nothing over or under.
    """
    if result_stops is None and right_time_s is None:
        return {"grade": "", "time_stops": None, "effect_stops": None}
    bracketed = right_time_s is not None
    grade = Grade.BRACKETED if bracketed else Grade.DENSITOMETER if measured else Grade.JUDGED
    if private:
        return {"grade": grade, "time_stops": None, "effect_stops": None}
    return {
        "grade": grade,
        "time_stops": float(np.log2(exposure_time_s if right_time_s is None else right_time_s)),
        "effect_stops": float(np.log2(indicated_time_s * exposure_index)) + (result_stops or 0.0),
    }


def hold(club_id: int) -> None:
    """From here to the end of the transaction nobody else changes the club's log.

    Whoever stores, corrects or takes out logs does this first of all, so that two of them never wait for each other.
    """
    if not list(_held(club=club_id)):
        if not Club.objects.filter(pk=club_id).exists():  # it was closed meanwhile
            raise Http404
        Pool.objects.bulk_create([Pool(club_id=club_id)], ignore_conflicts=True)
        list(_held(club=club_id))


@Prepared
def _held() -> QuerySet:
    return Pool.objects.select_for_update().filter(club=Told("club", Pool._meta.get_field("club"))).values_list("pk")


def hold_for(log: ExposureLog) -> None:
    """`hold`, for one log that is about to be stored and then kept as `marked`: its club is marked here already."""
    if log.time_stops is None:
        hold(log.club_id)
    else:
        mark_changed(club_id=log.club_id, shared=log.shared)


def keep(*logs: ExposureLog, marked: bool = False) -> None:
    """Add new logs of one club to their cells. Call inside the transaction that stores them, once they are stored.

    `marked` where `hold_for` began it.
    """
    sums: dict[tuple[Any, ...], np.ndarray] = {}
    ends: dict[tuple[Any, ...], list[float]] = {}
    for log in logs:
        if log.time_stops is not None and log.effect_stops is not None:
            x, y = max(log.time_stops, 0.0), log.effect_stops - min(log.time_stops, 0.0)
            key = _key(log)
            sums[key] = sums.get(key, 0) + np.array([1, x, x * x, y, x * y, y * y])
            ends.setdefault(key, []).append(log.time_stops)
    if not marked:
        _mark_changed_by(sums)
    for key, (count, *more) in sums.items():
        told = dict(zip(KEYS, key, strict=True))
        if told["member_id"] is told["person_id"] is None:
            # Every former member's log is of one key, but their cells came to it one by one.
            _sum_anew(told)
            continue
        told |= {"logs": int(count)} | dict(zip(SUMS, map(float, more), strict=True))
        _add(told | dict(zip(ENDS, (min(ends[key]), max(ends[key])), strict=True)))


def _add(cell: dict[str, Any]) -> None:
    """Add the sums of a member's or person's logs to their cell, or make it of them.

    In plain SQL, since this is part of every log: the ORM takes ten times as long to write the statement.
    """
    table, author = EvidenceCell._meta.db_table, "member_id" if cell["member_id"] is not None else "person_id"
    sums = [f"{name} = {table}.{name} + excluded.{name}" for name in ("logs", *SUMS)]
    ends = [
        f"{name} = CASE WHEN excluded.{name} {than} {table}.{name} THEN excluded.{name} ELSE {table}.{name} END"
        for name, than in zip(ENDS, "<>", strict=True)
    ]
    statement = f"""
        INSERT INTO {table} ({", ".join(cell)}) VALUES ({", ".join(["%s"] * len(cell))})
        ON CONFLICT (paper_id, spec_id, {author}, grade, shared) WHERE {author} IS NOT NULL
        DO UPDATE SET {", ".join(sums + ends)}
    """  # noqa: S608  (nothing but names of columns)
    fields: list[Any] = [EvidenceCell._meta.get_field(name.removesuffix("_id")) for name in cell]
    values = [field.get_db_prep_save(value, connection) for field, value in zip(fields, cell.values(), strict=True)]
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def take_out(*logs: ExposureLog) -> None:
    """Take logs of one club out of their cells, which are summed anew from what is left of each.

    Call inside the transaction that corrects or deletes them, once that is done and before others are stored.
    """
    keys = {_key(log): None for log in logs if log.time_stops is not None}
    _mark_changed_by(keys)
    for key in keys:
        _sum_anew(dict(zip(KEYS, key, strict=True)))


def _key(log: ExposureLog) -> tuple[Any, ...]:
    return tuple(getattr(log, name) for name in KEYS)


def _sum_anew(key: dict[str, Any]) -> None:
    """One cell made from its own logs."""
    EvidenceCell.objects.filter(**key).delete()
    EvidenceCell.objects.bulk_create(EvidenceCell(**row) for row in summed(ExposureLog.objects.filter(**key)))


def _mark_changed_by(keys: Iterable[tuple[Any, ...]]) -> None:
    """Mark the club of some cells as changed.

    This comes before the cells: from here to the end of the transaction nobody else changes the club's, so that two who
    change the same ones never wait for each other, and a cell summed anew misses no log.
    """
    told = [dict(zip(KEYS, key, strict=True)) for key in keys]
    if told:
        mark_changed(club_id=told[0]["club_id"], shared=any(key["shared"] for key in told))


def mark_changed(*, club_id: int, shared: bool) -> None:
    """Draw the club's stamps anew: no fit made before this counts as fresh. It holds the club's log, as `hold` does."""
    if not _stamp(club_id, shared=shared):
        hold(club_id)
        _stamp(club_id, shared=shared)


def _stamp(club_id: int, *, shared: bool) -> int:
    """How many rows were stamped: none where the club has none yet. In plain SQL, as this too is part of every log."""
    names = ("stamp", "shared_stamp") if shared else ("stamp",)
    statement = f"UPDATE {Pool._meta.db_table} SET {', '.join(f'{name} = %s' for name in names)} WHERE club_id = %s"  # noqa: S608
    with connection.cursor() as cursor:
        cursor.execute(statement, [*(new_stamp() for _ in names), club_id])
        return int(cursor.rowcount)


def counted(logs: QuerySet[ExposureLog]) -> QuerySet[ExposureLog]:
    """Those among some logs that are evidence: judged, not private, not corrected since."""
    return logs.filter(time_stops__isnull=False, corrected_at=None)


def summed(logs: QuerySet[ExposureLog]) -> QuerySet[ExposureLog, dict[str, Any]]:
    """Cells made from the log by GROUP BY, as rows with the field names of `EvidenceCell`."""
    u, z = F("time_stops"), F("effect_stops")
    nothing = Value(0.0, FloatField())
    x, y = Greatest(u, nothing), z - Least(u, nothing)
    groups = counted(logs).order_by().values(*KEYS)
    return groups.annotate(
        logs=Count("number"), x=Sum(x), xx=Sum(x * x), y=Sum(y), xy=Sum(x * y), yy=Sum(y * y),
        shortest_stops=Min(u), longest_stops=Max(u),
    )  # fmt: skip


def rebuild(club: Club) -> None:
    """Make the club's cells anew from its log."""
    with transaction.atomic():
        mark_changed(club_id=club.pk, shared=True)
        EvidenceCell.objects.filter(club=club).delete()
        rows = summed(ExposureLog.objects.filter(club=club))
        EvidenceCell.objects.bulk_create([EvidenceCell(**row) for row in rows], batch_size=1000)


def single_logs(logs: QuerySet[ExposureLog], *, after: int = 0, size: int = 50_000) -> Iterator[list[tuple[Any, ...]]]:
    """Chunks of the logs that count, in order: (number, catalogue key, spec, member, person, grade, u, z)."""
    wanted = (
        "number", "paper__catalogue_key", "spec_id", "member_id", "person_id", "grade", "time_stops", "effect_stops",
    )  # fmt: skip
    rows = counted(logs).order_by("number").values_list(*wanted)
    while chunk := list(rows.filter(number__gt=after)[:size]):
        yield chunk
        after = chunk[-1][0]
