"""What keeping the cells in step with the log saves, and what a fresh answer costs, beside summing the log itself.

python tests/bench/evidence.py [logs, default 100000]

Runs on a database of its own (SQLite in a temporary folder, or the one of DATABASE_URL, where a database named
pinpool_bench is made and dropped). The yardstick of the maintained cells is GROUP BY over the log on the same rows.
"""

import os
import sys
import tempfile
import time
import uuid
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

os.environ["OPENBLAS_NUM_THREADS"] = "1"
os.environ.setdefault("PINPOOL_DATA", tempfile.mkdtemp())
os.environ["DJANGO_SETTINGS_MODULE"] = "pinpool.settings"
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import django

django.setup()

import numpy as np
from django.test.runner import DiscoverRunner
from figures import Figure, print_table

from exposures import pooled as pooled_module
from exposures.evidence import keep, rebuild, summed
from exposures.models import EvidenceCell, ExposureLog
from exposures.pooled import pooled
from exposures.scopes import CELL_FIELDS
from tests.exposures.reciprocity.made import club
from tests.factories import AccountFactory, CameraSpecFactory, ClubFactory, ExposureLogFactory, PaperFactory

COMMAND = "python tests/bench/evidence.py"
GRADES = ("judged", "bracketed", "densitometer")


def clocked(call: Callable[[], Any], repeats: int = 1) -> tuple[float, Any]:
    """The best of some repeats, in s, and what came back."""
    best, found = np.inf, None
    for _ in range(repeats):
        start = time.perf_counter()
        found = call()
        best = min(best, time.perf_counter() - start)
    return best, found


def fill(count: int) -> Any:
    """A club of 40 papers, 60 cameras and 30 members with `count` judged logs."""
    made = club(1, papers=40, families=3, cameras=60, members=30, logs=count)
    here = ClubFactory.create()
    papers = [PaperFactory.create(club=here, family=f"family {family}") for family in made.families.values()]
    specs = [CameraSpecFactory.create(camera__club=here) for _ in range(60)]
    members = [AccountFactory.create() for _ in range(30)]
    example = ExposureLogFactory.build(spec=specs[0], paper=papers[0], member=members[0])
    facts = {name: getattr(example, name) for name in (
        "taken_at", "reading", "ev100", "f_number", "exposure_index", "indicated_time_s", "exposure_time_s",
        "typed_time", "result", "result_stops",
    )}  # fmt: skip
    of = made.logs
    z = of.z + np.log2(6)
    for start in range(0, count, 20_000):
        ExposureLog.objects.bulk_create(
            ExposureLog(
                club=here, paper=papers[of.paper[i]], spec=specs[of.camera[i]], member=members[of.member[i]],
                grade=GRADES[of.grade[i]], time_stops=of.u[i], effect_stops=z[i], **facts,
            )
            for i in range(start, min(start + 20_000, count))
        )  # fmt: skip
    return here


def measure(count: int = 100_000) -> list[Figure]:
    runner = DiscoverRunner(verbosity=0, interactive=False)
    databases = runner.setup_databases()
    try:
        return measured(fill(count), f"{count:,} logs")
    finally:
        runner.teardown_databases(databases)


def measured(here: Any, of: str) -> list[Figure]:
    building, _ = clocked(lambda: rebuild(here))
    logs = ExposureLog.objects.filter(club=here)
    by_group, rows = clocked(lambda: list(summed(logs)), 3)
    by_cells, cells = clocked(lambda: list(EvidenceCell.objects.filter(club=here).values_list(*CELL_FIELDS)), 3)
    assert len(rows) == len(cells)
    cold, _ = clocked(lambda: pooled(here))
    pooled_module._kept.clear()
    stored, found = clocked(lambda: pooled(here))
    kept, _ = clocked(lambda: pooled(here), 3)
    asked = next(iter(found.scope.papers))
    answer, _ = clocked(lambda: found.fit.paper(asked), 3)
    keeping = one_more(logs, 20)
    again, _ = clocked(lambda: pooled(here))
    gain, row = by_group / by_cells, partial(Figure, command=COMMAND)
    return [
        row(f"evidence of {of}, {len(cells):,} cells read, beside GROUP BY of the log", by_cells, "s", by_group, gain,
            "≥ 3 × as fast", gain >= 3),
        row(f"evidence of {of}, all cells made anew", building, "s", by_group, building / by_group),
        row("evidence, one more log kept in step", 1000 * keeping, "ms"),
        row(f"fit from the database, {of}, every log weighed", cold, "s"),
        row(f"fit from the database, {of}, from the stored state", stored, "s", cold, stored / cold),
        row(f"fit from the database, {of}, after 20 logs more", again, "s", cold, again / cold),
        row(f"fit from the database, {of}, kept in the process", 1000 * kept, "ms"),
        row(f"one paper's answer, {of}", 1000 * answer, "ms"),
    ]  # fmt: skip


def one_more(logs: Any, times: int) -> float:
    """Seconds that keeping one more log in step takes, the median."""
    log, took = logs.first(), []
    for _ in range(times):
        log.number, log.id = None, uuid.uuid4()
        log.save()
        took.append(clocked(lambda: keep(log))[0])
    return float(np.median(took))


if __name__ == "__main__":
    print_table(measure(*(int(count) for count in sys.argv[1:2])))
