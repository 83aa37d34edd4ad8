"""The log in partitions by a hash of its club, on PostgreSQL, beside the plain table: the same rows, the same SQL.

The partitions stand in a schema of their own that is looked in first, so every statement of the service meets them as
it is. What is asked of one club should touch one partition; how many each statement touched is counted as it runs.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from statistics import median
from typing import Any

from django.db import connection
from evidence import clocked
from growth_rows import indexes_of_the_log
from growth_statements import LOG, Found, Statement, explained, planned_ms, statement_ms, work

from clubs.models import Membership
from exposures.evidence import counted
from exposures.models import ExposureLog, Paper
from exposures.selectors import exposures_for

PARTS, NEW_LOGS = 16, 200


def create(statement: Any) -> None:
    """A copy of the log in partitions. A key of all partitions must hold their column, the club."""
    indexes = indexes_of_the_log()
    statement("CREATE SCHEMA parts")
    statement(f"CREATE TABLE parts.{LOG} (LIKE public.{LOG} INCLUDING DEFAULTS) PARTITION BY HASH (club_id)")
    for number in range(PARTS):
        statement(f"CREATE TABLE parts.log_{number} PARTITION OF parts.{LOG}"
                  f" FOR VALUES WITH (MODULUS {PARTS}, REMAINDER {number})")  # fmt: skip
    statement(f"INSERT INTO parts.{LOG} SELECT * FROM public.{LOG}")  # noqa: S608  (our own tables)
    statement("SET search_path TO parts, public")
    for keys in ("PRIMARY KEY (number, club_id)", "UNIQUE (id, club_id)", "UNIQUE (corrects_id, club_id)"):
        statement(f"ALTER TABLE {LOG} ADD {keys}")
    for made in indexes.values():
        statement(made)
    statement(f"ANALYZE parts.{LOG}")
    statement("SET search_path TO public")


@contextmanager
def looking_in(path: str) -> Iterator[None]:
    with connection.cursor() as told:
        told.execute(f"SET search_path TO {path}")
        yield
        told.execute("SET search_path TO public")


def more_statements() -> dict[str, Statement]:
    """What else the service asks of the log, by its own querysets."""
    keeper = Membership.objects.select_related("club", "user").filter(role="keeper").order_by("club")[0]
    some = ExposureLog.objects.filter(club=keeper.club).order_by("-number")
    ids = list(some.values_list("id", flat=True)[:50])
    papers = list(Paper.objects.filter(club=keeper.club)[:2])
    shown = ("spec__camera", "member", "person")
    asked = {
        "an entry of the club by its id": exposures_for(reader=keeper).filter(id=ids[0]),
        "whether an id is taken": ExposureLog.objects.filter(id=ids[0]).select_related(*shown),
        "whether 50 ids are taken": ExposureLog.objects.filter(id__in=ids).select_related("spec"),
        "a log locked for its correction": ExposureLog.objects.filter(pk=some[0].pk),
        "the newest logs of two papers": ExposureLog.objects.filter(
            paper__in=papers, time_stops__isnull=False).select_related(*shown).order_by("-number")[:300],
        "the logs that a fit weighs, a chunk": counted(some).order_by("number").values_list(
            "number", "paper__catalogue_key", "spec_id", "member_id", "grade", "time_stops", "effect_stops")[:10_000],
        "the logs that a fit doubts": counted(some).filter(doubts__club=keeper.club).order_by("number"),
        "somebody's own logs in all clubs": ExposureLog.objects.filter(member=keeper.user).order_by("number"),
    }  # fmt: skip
    return {name: rows.query.sql_with_params() for name, rows in asked.items()}


def with_the_club(statement: Statement) -> Statement:
    """The same, where what is joined from the log itself is asked for by its club too."""
    sql = re.sub(
        rf'(ON \("{LOG}"\."(?:corrects_id|number)" = (\w+)\."(?:number|corrects_id)")\)',
        rf'\1 AND \2."club_id" = "{LOG}"."club_id")',
        statement[0],
    )
    return sql, statement[1]


def touched(statement: Statement) -> tuple[int, int]:
    """How many tables of the log were read, for its own rows and for what is joined."""
    rows: set[str] = set()
    joined: set[str] = set()

    def look(node: dict[str, Any]) -> None:
        name, alias = node.get("Relation Name", ""), node.get("Alias", "")
        if node["Actual Loops"] and (name.startswith("log_") or name == LOG):
            (rows if alias.startswith(LOG) else joined).add(name)
        for below in node.get("Plans", []):
            look(below)

    look(explained(statement)["Plan"])
    return len(rows), len(joined)


def insert_ms() -> float:
    """A new row with all indexes; what it refers to is not looked up."""
    names = [str(field.column) for field in ExposureLog._meta.concrete_fields]
    read = {"number": "nextval('growth_numbers')", "id": "gen_random_uuid()"}
    values = ", ".join(read.get(name, name) for name in names)
    statement = f"INSERT INTO {LOG} ({', '.join(names)}) SELECT {values} FROM public.{LOG} WHERE number = %s"  # noqa: S608
    with connection.cursor() as told:
        return 1000 * median(clocked(partial(told.execute, statement, [n]))[0] for n in range(1, NEW_LOGS))


def compare(found: Found) -> None:
    """Adds to what was found: each statement in partitions, and the plain table's figure for it."""
    with connection.cursor() as told:
        told.execute("SET session_replication_role = replica")
        took, _ = clocked(lambda: create(told.execute))
        found.add(f"{PARTS} partitions, filled and indexed in", took, "s")
        told.execute(f"CREATE SEQUENCE growth_numbers START {2**40}")
    statements = {**found.statements, **more_statements()}
    name, first = next(iter(found.statements.items()))
    statements[f"{name}, what is joined by its club too"] = with_the_club(first)
    for name, statement in statements.items():
        for where, path in {"plain table": "public", "in partitions": "parts, public"}.items():
            with looking_in(path):
                found.add(f"{name}: {where}", statement_ms(statement), "ms")
                found.add(f"{name}: planned, {where}", planned_ms(statement), "ms")
                found.add(f"{name}: work, {where}", *work(statement))
        with looking_in("parts, public"):
            rows, joined = touched(statement)
        found.add(f"{name}: partitions read for the rows", rows, "")
        found.add(f"{name}: partitions read for what is joined", joined, "")
    found.add("a row more: plain table", insert_ms(), "ms")
    with looking_in("parts, public"):
        found.add("a row more: in partitions", insert_ms(), "ms")
    with connection.cursor() as told:
        told.execute("SET session_replication_role = origin")
        told.execute("DROP SCHEMA parts CASCADE")
