"""Many invented clubs and their logs, made by the database itself: sizes by Zipf's law, entries of all clubs mixed.

The k-th club has a share of 1/k of all logs. Each member uses six of its cameras and six of its papers, the commoner
ones more. Papers have the same names in all clubs, so that a pool finds them again; a tenth of the logs is shared, a
tenth private. Every log that is not private has its entry in the trail, and every judged one counts in its cell.
"""

import json
import uuid
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.core.management.color import no_style
from django.db import connection, models

from clubs.models import Camera, CameraSpec, Club, Membership, TrailEntry
from exposures.evidence import KEYS, summed
from exposures.models import EvidenceCell, ExposureLog, Paper, Pool
from exposures.processes import ProcessField
from tests.bodies import CLUB
from tests.factories import AccountFactory, CameraSpecFactory, PaperFactory

#: All clubs of the world: 10⁸ logs in 10⁴ clubs.
LOGS_OF_A_CLUB = 10_000
CHUNK = 500_000
GRADES = ("judged", "bracketed", "densitometer")


@dataclass(frozen=True)
class Size:
    """What the k-th club has, and the numbers of its first spec and account."""

    rank: int
    logs: int
    cameras: int
    members: int
    papers: int
    first_spec: int
    first_user: int


def sizes(logs: int) -> list[Size]:
    """Clubs by size, the largest first."""
    clubs = max(logs // LOGS_OF_A_CLUB, 5)
    found: list[Size] = []
    spec = user = 1
    for rank in range(1, clubs + 1):
        own = round(logs * np.log((rank + 1) / rank) / np.log(clubs + 1))
        cameras, members, papers = (
            min(max(own // per, least), most) for per, least, most in ((60, 8, 400), (150, 5, 200), (200, 6, 40))
        )
        found.append(Size(rank, own, cameras, members, papers, spec, user))
        spec, user = spec + cameras, user + members
    return found


def paper_id(rank: int, number: int) -> uuid.UUID:
    """Told by the club's place and the paper's, so that the database can say it too."""
    return uuid.UUID(int=rank * 1000 + number)


def create_clubs(clubs: list[Size]) -> None:
    """Clubs, accounts, cameras with a spec each, papers; the first member of each is its keeper."""
    accounts = type(AccountFactory.build())
    spec, paper = CameraSpecFactory.build(author=None), PaperFactory.build(club=None)
    told = {name: getattr(spec, name) for name in (
        "film_plane", "hole_diameter_mm", "hole_uncertainty_mm", "plate_thickness_mm", "hole_measured_by",
        "focal_length_mm", "f_number", "typed",
    )}  # fmt: skip
    rows: dict[type[models.Model], list[Any]] = {
        model: [] for model in (Club, accounts, Membership, Pool, Camera, CameraSpec, Paper)
    }
    for one in clubs:
        rows[Club].append(Club(pk=one.rank, slug=f"creek-{one.rank}", name=f"Creek {one.rank} (invented)"))
        rows[Pool].append(Pool(club_id=one.rank))
        for number in range(one.members):
            user, role = one.first_user + number, "member" if number else "keeper"
            rows[accounts].append(AccountFactory.build(pk=user, username=f"walker-{user}"))
            rows[Membership].append(Membership(club_id=one.rank, user_id=user, role=role))
        for number in range(one.cameras):
            pk, author = one.first_spec + number, one.first_user + number % one.members
            rows[Camera].append(Camera(pk=pk, club_id=one.rank, code=f"C{number}", name=f"Tea caddy {number}"))
            rows[CameraSpec].append(CameraSpec(pk=pk, camera_id=pk, number=1, author_id=author, **told))
        for number in range(one.papers):
            made = Paper(pk=paper_id(one.rank, number), club_id=one.rank, name=f"Glasswort {number}",
                         family=paper.family, nominal_exposure_index=6.0)  # fmt: skip
            made.catalogue_key = f"glasswort {number}|{paper.family}"
            rows[Paper].append(made)
    for model, these in rows.items():
        model._default_manager.bulk_create(these, batch_size=1000)
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE growth_club (rank integer PRIMARY KEY, cameras integer, members integer,"
                       " papers integer, first_spec integer, first_user integer)")  # fmt: skip
        cursor.executemany(
            "INSERT INTO growth_club VALUES (%s, %s, %s, %s, %s, %s)",
            [(one.rank, one.cameras, one.members, one.papers, one.first_spec, one.first_user) for one in clubs],
        )


def postgres() -> bool:
    return connection.vendor == "postgresql"


def create_logs(first: int, last: int, clubs: int) -> None:
    """The logs of these numbers, each of a club drawn by size, and their entries in the trail."""
    if postgres():
        numbers, draw, as_json = "SELECT n FROM generate_series(%s::bigint, %s::bigint) n", "random()", "::jsonb"
        log_id, hexed = "gen_random_uuid()", "lpad(to_hex({}), 32, '0')::uuid"
        taken, least, most, yes = "timestamptz '2010-01-01' + n * interval '47 s'", "least", "greatest", "true"
    else:
        numbers = "WITH RECURSIVE s(n) AS (SELECT %s UNION ALL SELECT n + 1 FROM s WHERE n < %s) SELECT n FROM s"
        draw, as_json = "(random() & 1048575) / 1048576.0", ""
        log_id, hexed = "lower(hex(randomblob(16)))", "printf('%%032x', {})"
        taken, least, most, yes = "datetime('2010-01-01', '+' || (n * 47) || ' seconds')", "min", "max", "1"
    body = CLUB["exposures/"]
    no = "false" if postgres() else "0"
    draws = ", ".join(f"{draw} AS r{number}" for number in range(10))
    facts = {
        "number": "n", "id": log_id, "club_id": "rank", "spec_id": "first_spec + camera",
        "paper_id": hexed.format("rank * 1000 + paper"), "member_id": "first_user + member", "taken_at": taken,
        "reading": f"%s{as_json}", "ev100": "11.0", "filter_stops": "0.0", "f_number": "259.0",
        "exposure_index": "6.0", "indicated_time_s": "100.0", "exposure_time_s": "exp(u * ln(2.0))",
        "typed_time": f"%s{as_json}",
        "result": f"CASE WHEN kind = 50 THEN NULL ELSE %s{as_json} END",
        "result_stops": "CASE WHEN kind = 50 THEN NULL ELSE 0.5 END",
        "grade": f"CASE WHEN kind = 50 THEN '' WHEN grade < 0.7 THEN '{GRADES[0]}' WHEN grade < 0.9 THEN"
                 f" '{GRADES[1]}' ELSE '{GRADES[2]}' END",
        "time_stops": "CASE WHEN kind = 50 OR kind >= 90 THEN NULL ELSE u END",
        "effect_stops": "CASE WHEN kind = 50 OR kind >= 90 THEN NULL ELSE"
                        f" 2.585 + speed + slope * {most}(u, 0.0) + {least}(u, 0.0) + off"
                        " + noise * (CASE WHEN grade < 0.7 THEN 0.45 WHEN grade < 0.9 THEN 0.25 ELSE 0.1 END) END",
        "process": f"CASE WHEN kind %% 2 = 0 THEN %s{as_json} ELSE NULL END", "note": "%s",
        "shared": f"CASE WHEN kind < 10 THEN {yes} ELSE {no} END",
        "private": f"CASE WHEN kind >= 90 THEN {yes} ELSE {no} END", "reason": "''", "created_at": taken,
        "revision": "1",
    }  # fmt: skip
    process = ProcessField().to_internal_value(body["process"])
    told = [*map(json.dumps, (body["reading"], body["exposure_time"], body["result"], process)), body["note"]]
    log, trail = ExposureLog._meta.db_table, TrailEntry._meta.db_table
    with connection.cursor() as cursor:
        cursor.execute(
            f"""INSERT INTO {log} ({", ".join(facts)})
            WITH drawn AS MATERIALIZED (SELECT n, {draws} FROM ({numbers}) numbers),
            placed AS MATERIALIZED (
              SELECT *, CAST(floor(r1 * r1 * members) AS integer) AS member, r4 AS grade,
                     CAST(floor(100 * r5) AS integer) AS kind, 11 * r6 - 1 AS u,
                     1.7320508 * (r7 + r8 + r9 + r0 * 1000 - floor(r0 * 1000) - 2) AS noise
              FROM drawn JOIN growth_club ON rank = CAST(floor(exp(r0 * %s)) AS integer)),
            used AS MATERIALIZED (
              SELECT *, (member * 5 + CAST(floor(r2 * 6) AS integer)) %% cameras AS camera,
                     (member * 3 + CAST(floor(r3 * r3 * 6) AS integer)) %% papers AS paper FROM placed),
            told AS MATERIALIZED (
              SELECT *, (paper * 13 %% 11) / 10.0 - 0.5 AS speed, 0.78 + (paper * 5 %% 7) / 50.0 AS slope,
                     ((camera * 17 + rank) %% 13) / 14.0 - 0.45 + ((member * 11 + rank) %% 9) / 13.0 - 0.35 AS off
              FROM used)
            SELECT {", ".join(facts.values())} FROM told""",  # noqa: S608  (our own words)
            [first, last, np.log(clubs + 1), *told],
        )
        after = f"%s{as_json}"
        cursor.execute(
            f"""INSERT INTO {trail} (club_id, actor_id, actor_name, at, action, subject, after)
            SELECT club_id, member_id, 'walker-' || member_id, created_at, 'log_exposure', 'exposure ' || id, {after}
            FROM {log} WHERE number BETWEEN %s AND %s AND NOT private""",  # noqa: S608  (our own words)
            [json.dumps(body), first, last],
        )


def create_cells() -> None:
    """The cells of every club, summed by the statement that the service sums them by."""
    statement = summed(ExposureLog.objects.all()).query
    sql, values = statement.sql_with_params()
    names = [*KEYS, *statement.annotation_select]
    with connection.cursor() as cursor:
        cursor.execute(f"INSERT INTO {EvidenceCell._meta.db_table} ({', '.join(names)}) {sql}", values)


def indexes_of_the_log() -> dict[str, str]:
    """The statement that makes each index of the log, by its name."""
    with connection.schema_editor() as editor:
        return {index.name: str(index.create_sql(ExposureLog, editor)) for index in ExposureLog._meta.indexes}


def fill(logs: int) -> list[Size]:
    """Clubs of so many logs in all, in an empty database that is migrated. PostgreSQL's user must be a superuser."""
    clubs = sizes(logs)
    create_clubs(clubs)
    indexes = indexes_of_the_log()
    with connection.cursor() as cursor:
        # What is made here refers to what is there, and indexes are made sooner at the end.
        if postgres():
            cursor.execute("SET session_replication_role = replica")
        else:
            cursor.execute("PRAGMA foreign_keys = OFF")
            cursor.execute("PRAGMA cache_size = -1000000")
        for name in indexes:
            cursor.execute(f"DROP INDEX {name}")
        for first in range(1, logs + 1, CHUNK):
            create_logs(first, min(first + CHUNK - 1, logs), len(clubs))
        for statement in indexes.values():
            cursor.execute(statement)
        create_cells()
        if postgres():
            cursor.execute("SET session_replication_role = origin")
            for statement in connection.ops.sequence_reset_sql(no_style(), [Club, Camera, CameraSpec, ExposureLog]):
                cursor.execute(statement)
            cursor.execute("ANALYZE")
        else:
            cursor.execute("PRAGMA foreign_keys = ON")
            cursor.execute("PRAGMA cache_size = -2000")
    connection.close()
    return clubs
