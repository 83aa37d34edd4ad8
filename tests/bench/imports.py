"""How long a messy sheet takes from file to log and back, and how much memory, beside single entries of the same run.

python tests/bench/imports.py [rows, default 5000]

On a database of its own: SQLite in a temporary folder, or PostgreSQL with DATABASE_URL. The sheet goes through twice,
first for the times and then, traced and so slower, for the memory.
"""

import os
import sys
import time
import tracemalloc
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

from figures import Figure, print_table

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pinpool.settings")
import django

django.setup()

from django.test.runner import DiscoverRunner

from exposures.exports import csv_lines
from exposures.imports import importing, undoing
from exposures.models import ExposureLog
from exposures.outputs_imports import mapping_for
from exposures.serializers import LogIn
from exposures.services import log_exposure
from pinpool.http.etags import Expected
from tests.exposures.imports.messy import ANSWERS, HEADING, as_csv, as_xlsx, messy_rows
from tests.factories import CameraSpecFactory, MembershipFactory, PaperFactory

COMMAND = "python tests/bench/imports.py"
#: What one entry by itself takes.
SINGLE = "an entry by itself"


class Clock:
    """Milliseconds a row of each step; in a run that traces, the most that Python allocated meanwhile, in MB."""

    def __init__(self, *, traced: bool) -> None:
        self.traced = traced
        self.found: dict[str, float] = {}

    def __call__(self, name: str, rows: int, call: Callable[[], Any]) -> Any:
        if self.traced:
            tracemalloc.start()
        start = time.perf_counter()
        found = call()
        self.found[name] = 1000 * (time.perf_counter() - start) / rows
        if self.traced:
            self.found[name] = tracemalloc.get_traced_memory()[1] / 1e6
            tracemalloc.stop()
        return found


def measure(rows: int = 5000) -> list[Figure]:
    runner = DiscoverRunner(verbosity=0, interactive=False)
    databases = runner.setup_databases()
    try:
        times, memory = (run(rows, Clock(traced=traced)) for traced in (False, True))
    finally:
        runner.teardown_databases(databases)
    single = times.pop(SINGLE)
    return [
        *(Figure(f"import of {rows:,} rows: {name}", ms, "ms/row", single, ms / single, command=COMMAND)
          for name, ms in times.items()),
        Figure(f"import of {rows:,} rows: most memory", max(memory.values()), "MB", command=COMMAND),
    ]  # fmt: skip


def run(count: int, timed: Clock) -> dict[str, float]:
    member = MembershipFactory.create(role="keeper")
    for number in (1, 2):
        CameraSpecFactory.create(
            camera__club=member.club, camera__code=f"T{number}", camera__name=f"Tea caddy {number}"
        )
    paper = PaperFactory.create(club=member.club, name="Glasswort")
    rows, kinds = messy_rows(count)
    expected = Expected(frozenset({"*"}))

    def single() -> None:
        camera = member.club.cameras.prefetch_related("specs").first()
        for number in range(200):
            body = {"camera": "T1", "paper": str(paper.pk), "taken_at": "2026-05-01T12:00:00Z", "reading": {"ev": 12},
                    "exposure_time": f"{number + 30} s", "result": {"judged_stops": 0}}  # fmt: skip
            reader = LogIn(data=body)
            reader.is_valid(raise_exception=True)
            log_exposure(actor=member, **reader.validated_data | {"camera": camera, "paper": paper})

    timed(SINGLE, 200, single)

    def sheet(data: bytes, name: str) -> Any:
        file: Any = BytesIO(data)
        file.name = name
        return importing.start(actor=member, kind="exposures", file=file)

    csv_data, xlsx_data = as_csv(HEADING, rows), as_xlsx(HEADING, rows)
    timed("XLSX read, guessed and tried", count, lambda: sheet(xlsx_data, "log.xlsx"))
    batch = timed("CSV read, guessed and tried", count, lambda: sheet(csv_data, "log.csv"))
    answers = mapping_for("exposures", ANSWERS)
    timed("mapped and tried again", count, lambda: importing.change(
        actor=member, id=batch.pk, expected=expected, **answers))  # fmt: skip
    done = timed("good rows imported", count, lambda: importing.apply(
        actor=member, id=batch.pk, rows="good", expected=expected))  # fmt: skip
    timed("all exported as CSV", count, lambda: sum(1 for _ in csv_lines(actor=member, what="exposures")))
    counts = importing.counts(done)
    told = {"imported": kinds["good"], "faulty": kinds["unknown_camera"] + kinds["required"], "empty": kinds["empty"]}
    assert counts == told, (counts, told)
    timed("undone", count, lambda: undoing.undo(actor=member, id=batch.pk, expected=expected))
    assert ExposureLog.objects.filter(club=member.club).count() == 200
    return timed.found


if __name__ == "__main__":
    print_table(measure(*(int(rows) for rows in sys.argv[1:2])))
