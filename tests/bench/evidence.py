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

from exposures import pooled as pooled_module
from exposures.evidence import keep, rebuild, summed
from exposures.models import EvidenceCell, ExposureLog
from exposures.pooled import pooled
from exposures.scopes import CELL_FIELDS
from tests.exposures.reciprocity.made import ERRORS, club
from tests.factories import AccountFactory, CameraSpecFactory, ClubFactory, ExposureLogFactory, PaperFactory

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


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    runner = DiscoverRunner(verbosity=0, interactive=False)
    databases = runner.setup_databases()
    try:
        here = fill(count)
        measure(here, count)
    finally:
        runner.teardown_databases(databases)


def measure(here: Any, count: int) -> None:
    building, _ = clocked(lambda: rebuild(here))
    logs = ExposureLog.objects.filter(club=here)
    by_group, rows = clocked(lambda: list(summed(logs)), 3)
    by_cells, cells = clocked(lambda: list(EvidenceCell.objects.filter(club=here).values_list(*CELL_FIELDS)), 3)
    assert len(rows) == len(cells)
    print(f"{count:>9,} logs in {len(cells):,} cells; errors of a log {ERRORS.tolist()}")
    print(f"  GROUP BY of the log {by_group:.3f} s, maintained cells {by_cells:.3f} s: {by_group / by_cells:.1f} times")
    print(f"  rebuilding the cells {building:.3f} s")
    cold, _ = clocked(lambda: pooled(here))
    pooled_module._kept.clear()
    stored, found = clocked(lambda: pooled(here))
    kept, _ = clocked(lambda: pooled(here), 3)
    print(f"  fit, every log weighed {cold:.3f} s; from the stored state {stored:.3f} s; kept here {kept:.4f} s")
    asked = next(iter(found.scope.papers))
    print(f"  one paper's answer {clocked(lambda: found.fit.paper(asked), 3)[0]:.4f} s")
    log = logs.first()
    assert log is not None
    more = []
    for _ in range(20):
        log.number, log.id = None, uuid.uuid4()
        log.save()
        more.append(clocked(lambda: keep(log))[0])
    again, _ = clocked(lambda: pooled(here))
    print(f"  keeping one more log in step {np.median(more) * 1000:.2f} ms; the fit after 20 more {again:.3f} s")


if __name__ == "__main__":
    main()
