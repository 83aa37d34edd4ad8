"""How long a messy sheet takes from file to log and back, and how much memory, beside single entries of the same run.

Run by hand: `python -m tests.bench.imports [rows]`, 5 000 rows unless told. Makes and drops a test database. The sheet
goes through twice, first for the times and then, traced and so slower, for the memory.
"""

import os
import sys
import time
import tracemalloc
from collections.abc import Callable
from functools import partial
from io import BytesIO
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pinpool.settings")
django.setup()

from django.db import connection

from exposures.exports import csv_lines
from exposures.imports import importing, undoing
from exposures.models import ExposureLog
from exposures.outputs_imports import mapping_for
from exposures.serializers import LogIn
from exposures.services import log_exposure
from pinpool.http.etags import Expected
from tests.exposures.imports.messy import ANSWERS, HEADING, as_csv, as_xlsx, messy_rows
from tests.factories import CameraSpecFactory, MembershipFactory, PaperFactory


def measured(name: str, rows: int, call: Callable[[], Any], *, traced: bool) -> Any:
    """Call once; prints how long it took, or in a run that traces (and is slower) the most that Python allocated."""
    if traced:
        tracemalloc.start()
    start = time.perf_counter()
    found = call()
    took = time.perf_counter() - start
    if traced:
        print(f"{name:42} {tracemalloc.get_traced_memory()[1] / 1e6:7.1f} MB at most")
        tracemalloc.stop()
    else:
        print(f"{name:42} {took:7.2f} s {1000 * took / rows:7.2f} ms a row")
    return found


def main() -> None:
    connection.creation.create_test_db(verbosity=0, autoclobber=True)
    try:
        for traced in (False, True):
            run(int(sys.argv[1]) if len(sys.argv) > 1 else 5000, traced=traced)
    finally:
        connection.creation.destroy_test_db(str(connection.settings_dict["NAME"]), verbosity=0)


def run(count: int, *, traced: bool) -> None:
    timed = partial(measured, traced=traced)
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

    timed("yardstick: an entry by itself", 200, single)

    def sheet(data: bytes, name: str) -> Any:
        file: Any = BytesIO(data)
        file.name = name
        return importing.start(actor=member, kind="exposures", file=file)

    csv_data, xlsx_data = as_csv(HEADING, rows), as_xlsx(HEADING, rows)
    print(f"{count} rows: {len(csv_data) / 1e6:.2f} MB as CSV, {len(xlsx_data) / 1e6:.2f} MB as XLSX")
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
    print(f"every row accounted for: {dict(counts)}")
    timed("undone", count, lambda: undoing.undo(actor=member, id=batch.pk, expected=expected))
    assert ExposureLog.objects.filter(club=member.club).count() == 200


if __name__ == "__main__":
    main()
