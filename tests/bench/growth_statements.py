"""What each statement of the main job costs in a database of `growth_rows`, in a middle club and in the largest.

Everything is found as the service finds it. The time of a request is the processor's in this process, the least of some
rounds; below it stands what the database alone takes for the statement of the log, and by which index it finds rows.
"""

import json
import math
import re
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import islice
from pathlib import Path
from typing import Any
from urllib.parse import quote

from django.contrib.auth import get_user_model
from django.db import connection, models, transaction
from evidence import clocked
from growth_rows import Size, paper_id, postgres
from log_pages import cursor
from rest_framework.test import APIClient

from clubs.models import Membership, TrailEntry
from exposures import pooled as pooled_module
from exposures.archive import archive_of
from exposures.evidence import hold, keep
from exposures.exports import csv_lines
from exposures.models import EvidenceCell, ExposureLog, Pool
from exposures.own_data import exposures_of
from exposures.pooled import pooled
from exposures.scopes import Scope
from pinpool.service.backups import back_up
from tests.bodies import CLUB

ROUNDS, NEW_LOGS = 7, 15
#: Pools are made twice as large until their fit takes longer.
LONGEST_POOL_S = 20.0
EXPORTED = 10_000
#: An archive is made in memory; that of a larger club is not tried.
MOST_ARCHIVED = 50_000
LOG = ExposureLog._meta.db_table

Statement = tuple[str, Any]


@dataclass
class Found:
    """What was measured: (value, unit) by name, the plan of each statement by name, and the statements themselves."""

    values: dict[str, tuple[float, str]] = field(default_factory=dict)
    plans: dict[str, str] = field(default_factory=dict)
    statements: dict[str, Statement] = field(default_factory=dict)

    def add(self, name: str, value: float, unit: str) -> None:
        """Keep a figure, and tell it at once: large databases take long."""
        self.values[name] = (value, unit)
        print(f"{name:60} {value:12,.3f} {unit}", file=sys.stderr, flush=True)


@contextmanager
def heard() -> Iterator[list[Statement]]:
    """The statements that are run inside."""
    said: list[Statement] = []

    def hear(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        said.append((sql, params))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(hear):
        yield said


def run(statement: Statement) -> list[Any]:
    with connection.cursor() as told:
        told.execute(*statement)
        return list(told.fetchall())


def statement_ms(statement: Statement) -> float:
    """The shortest time that the database takes with it, the plan left out on PostgreSQL: see `planned_ms`."""
    if postgres():
        return min(explained(statement)["Execution Time"] for _ in range(ROUNDS))
    return 1000 * clocked(lambda: run(statement), ROUNDS)[0]


def planned_ms(statement: Statement) -> float:
    return min(explained(statement)["Planning Time"] for _ in range(ROUNDS))


def explained(statement: Statement) -> dict[str, Any]:
    """What PostgreSQL tells of a statement as it runs."""
    [(told,)] = run((f"EXPLAIN (ANALYZE, BUFFERS, TIMING OFF, FORMAT JSON) {statement[0]}", statement[1]))
    [shown] = json.loads(told) if isinstance(told, str) else told
    return dict(shown)


def work(statement: Statement) -> tuple[float, str]:
    """What no other load changes: pages that PostgreSQL looks at, or steps of SQLite's virtual machine."""
    if postgres():
        root = explained(statement)["Plan"]
        return root["Shared Hit Blocks"] + root["Shared Read Blocks"], "pages"
    steps = 0

    def step() -> int:
        nonlocal steps
        steps += 1
        return 0

    connection.connection.set_progress_handler(step, 10)
    try:
        run(statement)
    finally:
        connection.connection.set_progress_handler(None, 10)
    return 10 * steps, "steps"


def plan(statement: Statement) -> str:
    """By which index the log's rows are found, and whether they are all read or sorted."""
    ask = "EXPLAIN (COSTS OFF) " if postgres() else "EXPLAIN QUERY PLAN "
    lines = [str(row[-1]) for row in run((ask + statement[0], statement[1]))]
    by = re.search(
        rf"using (\w+) on {LOG}$|Bitmap Index Scan on (pinpool_log\w*)|SEARCH {LOG} USING (?:COVERING )?INDEX (\w+)",
        "\n".join(lines),
        re.MULTILINE,
    )
    told = [next(filter(None, by.groups())).removeprefix("pinpool_") if by else "no index"]
    if any(re.search(r"^\s*(->)?\s*(Incremental )?Sort$|TEMP B-TREE FOR ORDER", line) for line in lines):
        told.append("sorted")
    if any(re.search(rf"Seq Scan on {LOG}|SCAN {LOG}$", line) for line in lines):
        told.append("ALL READ")
    return ", ".join(told)


def answered(client: Any, path: str) -> tuple[float, Statement]:
    """The least processor time of the request in ms, and its statement for the rows of the log."""
    times = []
    for _ in range(ROUNDS + 1):
        with heard() as said:
            begun = time.process_time()
            response = client.get(path)
            times.append(time.process_time() - begun)
        assert response.status_code == 200, (path, response.content[:300])
    return 1000 * min(times), next(each for each in said if re.match(rf'SELECT .*FROM "{LOG}"', each[0]))


def measure_club(found: Found, of: Size, where: str, logs: int) -> None:
    """Lists, a new log, the cells and the fit, what is handed out."""
    keeper = Membership.objects.select_related("club", "user").get(club_id=of.rank, role="keeper")
    client = APIClient(SERVER_NAME="localhost")
    client.force_authenticate(keeper.user)
    lists(found, client, of, where, logs)
    new_logs(found, client, of, where)
    fits(found, keeper.club, where)
    if found.values[f"{where}: logs"][0] <= MOST_ARCHIVED:
        took = worked_s(lambda: archive_of(actor=keeper, pictures=False))
        found.add(f"{where}: archive, a log", 1000 * took / found.values[f"{where}: logs"][0], "ms")
    own = worked_s(lambda: exposures_of(keeper.user))
    rows = ExposureLog.objects.filter(member=keeper.user).count()
    found.add(f"{where}: own logs of the busiest member", rows, "")
    found.add(f"{where}: own data, a log", 1000 * own / max(rows, 1), "ms")
    most = min(EXPORTED, int(found.values[f"{where}: logs"][0]))
    lines = islice(csv_lines(actor=keeper, what="exposures"), EXPORTED + 1)
    first, _ = clocked(lambda: (next(lines), next(lines)))
    rest = worked_s(lambda: sum(1 for _ in lines))
    found.add(f"{where}: export, its first line", 1000 * first, "ms")
    found.add(f"{where}: export, each line more", 1000 * rest / most, "ms")


def lists(found: Found, client: Any, of: Size, where: str, logs: int) -> None:
    at = f"/api/v1/clubs/creek-{of.rank}/exposures/"
    numbers = ExposureLog.objects.filter(club_id=of.rank).values_list("number", flat=True)
    found.add(f"{where}: logs", len(numbers), "")
    last = numbers.order_by("number")[60]
    middle = datetime(2010, 1, 1, tzinfo=UTC) + timedelta(seconds=47 * (logs // 2))
    since, until = (quote(each.isoformat()) for each in (middle, middle + timedelta(days=30)))
    pages = {
        "first page": "",
        "page half in": cursor(logs // 2),
        "page at the end": cursor(last),
        "one camera": "camera=C2&",
        "one camera, half in": f"camera=C2&{cursor(logs // 2)}",
        "one paper": f"paper={paper_id(of.rank, 2)}&",
        "one member": f"member=walker-{of.first_user + 1}&",
        "not judged": "judged=false&",
        "not judged, half in": f"judged=false&{cursor(logs // 2)}",
        "30 days half in": f"since={since}&until={until}&",
    }
    for name, query in pages.items():
        ms, statement = answered(client, f"{at}?{query}page_size=50")
        found.add(f"{where}: {name}, request", ms, "ms")
        found.add(f"{where}: {name}, statement", statement_ms(statement), "ms")
        found.add(f"{where}: {name}, work", *work(statement))
        found.plans[f"{where}: {name}"] = plan(statement)
        found.statements[f"{where}: {name}"] = statement
    if postgres():
        found.add(f"{where}: a page's plan", planned_ms(statement), "ms")


def new_logs(found: Found, client: Any, of: Size, where: str) -> None:
    """A log with its cell and its entry in the trail; nothing beside a log of the club and its parts is touched."""
    times, count = [], 0
    for turn in range(NEW_LOGS + 1):
        body = CLUB["exposures/"] | {"id": str(uuid.uuid4()), "camera": f"C{turn % of.cameras}"}
        body["paper"] = str(paper_id(of.rank, turn % of.papers))
        with heard() as said:
            begun = time.process_time()
            response = client.post(f"/api/v1/clubs/creek-{of.rank}/exposures/", body, format="json")
            times.append(time.process_time() - begun)
        count = len(said)
        assert response.status_code == 201, response.content[:300]
    found.add(f"{where}: new log, request", 1000 * min(times), "ms")
    found.add(f"{where}: new log, statements", count, "")


def fits(found: Found, club: Any, where: str) -> None:
    """The cells, and the fit: every log weighed, restored from the stored one, carried on by one more log."""
    cells = EvidenceCell.objects.filter(club=club)
    Path("/proc/self/clear_refs").write_text("5")  # the peak begins here
    before = memory_mb("VmRSS")
    found.add(f"{where}: cells", cells.count(), "")
    found.add(f"{where}: fingerprint", 1000 * clocked(lambda: Scope(club), ROUNDS)[0], "ms")
    found.add(f"{where}: cells read", clocked(lambda: Scope(club).cells(), 2)[0], "s")
    found.add(f"{where}: fit, every log weighed", worked_s(lambda: pooled(club)), "s")
    pooled_module._kept.clear()
    found.add(f"{where}: fit, restored", worked_s(lambda: pooled(club)), "s")
    found.add(f"{where}: fit, kept here", 1000 * clocked(lambda: pooled(club), ROUNDS)[0], "ms")
    spec, paper = cells.values_list("spec_id", "paper_id")[0]
    log = ExposureLog.objects.filter(spec=spec, paper=paper, time_stops__isnull=False).order_by("-number")[0]
    log.number, log.id = None, uuid.uuid4()
    keep_one(log)
    found.add(f"{where}: fit after one more log", worked_s(lambda: pooled(club)), "s")
    found.add(f"{where}: most memory meanwhile", memory_mb("VmHWM") - before, "MB")


def memory_mb(kind: str) -> float:
    """What this process holds (VmRSS), or its peak (VmHWM)."""
    told = re.search(rf"{kind}:\s+(\d+)", Path("/proc/self/status").read_text())
    return int(told[1]) / 1024 if told else math.nan


def worked_s(call: Callable[[], Any]) -> float:
    """The processor time of this process, which no other load lengthens much; PostgreSQL's own is not in it."""
    begun = time.process_time()
    call()
    return time.process_time() - begun


def keep_one(log: ExposureLog) -> None:
    with transaction.atomic():
        hold(log.club_id)
        log.save(force_insert=True)
        keep(log)


def pools(found: Found, clubs: list[Size]) -> None:
    """The fit of a club that joined the pool with others of middle size, twice as many each time."""
    middle = len(clubs) // 2
    club = Membership.objects.select_related("club").filter(club_id=clubs[middle].rank)[0].club
    count, took = 1, 0.0
    while count <= len(clubs) // 2 and took < LONGEST_POOL_S:
        joined = [one.rank for one in clubs[middle : middle + count]]
        Pool.objects.filter(club__in=joined).update(joined=True)
        pooled_module._kept.clear()
        fingerprint, scope = clocked(lambda: Scope(club), ROUNDS)
        reading, cells = clocked(scope.cells)
        took = worked_s(lambda: pooled(club))
        where = f"pool of {count} clubs"
        found.add(f"{where}: cells", len(cells), "")
        found.add(f"{where}: fingerprint", 1000 * fingerprint, "ms")
        found.add(f"{where}: cells read", reading, "s")
        found.add(f"{where}: fit", took, "s")
        count *= 2
    Pool.objects.update(joined=False)
    pooled_module._kept.clear()


def everybody(found: Found) -> None:
    """What goes by all accounts or all rows: names looked up, figures for the planner, an index more, a backup."""
    users = get_user_model()._default_manager
    exact, any_case = (
        users.filter(**{f"username{how}": "walker-3"}).query.sql_with_params() for how in ("", "__iexact")
    )
    found.add("accounts", users.count(), "")
    found.add("login, the account by its name", statement_ms(exact), "ms")
    found.add("sign-up, the name in any case", statement_ms(any_case), "ms")
    for name, model in (("log", ExposureLog), ("trail", TrailEntry), ("cells", EvidenceCell)):
        rows = model._default_manager.count()
        table, indexes = bytes_of(model)
        found.add(f"{name}: bytes a row, table", table / rows, "B")
        found.add(f"{name}: bytes a row, indexes", indexes / rows, "B")
    index = models.Index(fields=["club", "grade", "-number"], name="growth_trial")
    found.add("an index more on the log, by migration", clocked(lambda: migrate(index))[0], "s")
    found.add("ANALYZE", clocked(lambda: maintain("ANALYZE"))[0], "s")
    if postgres():
        found.add("VACUUM", clocked(lambda: maintain("VACUUM"))[0], "s")
    with tempfile.TemporaryDirectory() as folder:
        took, _ = clocked(lambda: back_up(Path(folder, "backup.tar")))
        found.add("backup", took, "s")
        found.add("backup, its size", Path(folder, "backup.tar").stat().st_size / 1e6, "MB")


def migrate(index: models.Index) -> None:
    with connection.schema_editor() as editor:
        editor.add_index(ExposureLog, index)


def maintain(statement: str) -> None:
    with connection.cursor() as told:
        told.execute(statement)


def bytes_of(model: type[models.Model]) -> tuple[int, int]:
    """What the table and its indexes hold."""
    table = model._meta.db_table
    if postgres():
        return run((f"SELECT pg_table_size('{table}'), pg_indexes_size('{table}')", None))[0]
    # It counts pages in `pageno` here; its `pgsize`, their bytes, overflows at 2 GB.
    pages = "SELECT name, pageno * page_size FROM dbstat, pragma_page_size WHERE aggregate = TRUE"
    sizes = dict(run((pages, None)))
    indexes = [
        name for (name,) in run(("SELECT name FROM sqlite_master WHERE type = 'index' AND tbl_name = %s", [table]))
    ]
    return sizes[table], sum(sizes.get(name, 0) for name in indexes)
