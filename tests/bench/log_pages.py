"""What a page of a long log costs at its beginning and deep inside, plain and filtered, beside counting off by OFFSET.

python tests/bench/log_pages.py [logs, default 1000000, at least 100000]

Runs on a database of its own (SQLite in a temporary folder, or the one of DATABASE_URL, where a database named
test_… is made and dropped). Each figure is the median over rounds that take the pages in turn.
"""

import base64
import os
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote

os.environ["OPENBLAS_NUM_THREADS"] = "1"
os.environ.setdefault("PINPOOL_DATA", tempfile.mkdtemp())
os.environ["DJANGO_SETTINGS_MODULE"] = "pinpool.settings"
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import django

django.setup()

import numpy as np
from django.db import connection
from django.test.runner import DiscoverRunner
from django.test.utils import CaptureQueriesContext
from figures import Figure, print_table
from rest_framework.test import APIClient

from exposures.models import ExposureLog
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory

ROUNDS, DEEPER = 15, 1.25
COMMAND = "python tests/bench/log_pages.py"
TOLD = (
    "reading", "ev100", "f_number", "exposure_index", "indicated_time_s", "exposure_time_s", "typed_time", "taken_at",
)  # fmt: skip


def fill(count: int) -> Any:
    """A club of 40 papers, 60 cameras, 30 members; a tenth of its log is shared, a tenth private, some not judged."""
    keeper = MembershipFactory.create(role="keeper")
    here = keeper.club
    papers = [PaperFactory.create(club=here) for _ in range(40)]
    specs = [CameraSpecFactory.create(camera__club=here, camera__code=f"C{n}") for n in range(60)]
    members = [keeper.user, *(MembershipFactory.create(club=here).user for _ in range(29))]
    example = ExposureLogFactory.build(spec=specs[0], paper=papers[0], member=keeper.user)
    facts = {name: getattr(example, name) for name in TOLD}
    start = facts.pop("taken_at")
    rng = np.random.default_rng(1)
    for first in range(0, count, 10_000):
        rows = range(first, min(first + 10_000, count))
        of = rng.integers([40, 60, 30, 100], size=(len(rows), 4)).tolist()
        ExposureLog.objects.bulk_create(
            ExposureLog(
                club=here, paper=papers[paper], spec=specs[spec], member=members[member], shared=kind < 10,
                private=kind >= 90, result=None if kind == 50 else {"judged_stops": 0.5},
                result_stops=None if kind == 50 else 0.5, taken_at=start + timedelta(minutes=row), **facts,
            )
            for row, (paper, spec, member, kind) in zip(rows, of, strict=True)
        )  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE" if connection.vendor == "postgresql" else "SELECT 1")
    return keeper, papers[7]


def pages(keeper: Any, paper: Any, count: int) -> list[Figure]:
    client = APIClient(SERVER_NAME="localhost")
    client.force_authenticate(keeper.user)
    at = f"/api/v1/clubs/{keeper.club.slug}/exposures/"
    since = ExposureLogFactory.build().taken_at
    day = since + timedelta(days=1)
    filters: dict[str, tuple[str, dict[str, Any]]] = {
        "all": ("", {}),
        "of a camera": ("camera=C7&", {"spec__camera__code": "C7"}),
        "on a paper": (f"paper={paper.pk}&", {"paper": paper}),
        "of a member": (f"member={keeper.user.username}&", {"member": keeper.user}),
        "shared": ("shared=true&", {"shared": True}),
        "not judged": ("judged=false&", {"result__isnull": True}),
        "private": ("visibility=private&", {"private": True, "member": keeper.user}),
        "since": (f"since={quote(since.isoformat())}&", {}),
        "of the first day": (f"until={quote(day.isoformat())}&", {"taken_at__lt": day}),
    }
    figures, counted = [], 0
    for name, (query, found) in filters.items():
        numbers = list(ExposureLog.objects.filter(**found).order_by("-number").values_list("number", flat=True))
        places = {"first": "", "half in": cursor(numbers[len(numbers) // 2]), "at the end": cursor(numbers[-60])}
        costs: dict[str, list[float]] = {where: [] for where in places}
        for _ in range(ROUNDS + 1):
            for where, place in places.items():
                with CaptureQueriesContext(connection) as said:
                    begun = time.perf_counter()
                    response = client.get(f"{at}?{query}{place}page_size=50")
                    costs[where].append(time.perf_counter() - begun)
                assert len(response.json()["results"]) == 50, (name, where)
                counted += sum("COUNT(" in each["sql"].upper() for each in said.captured_queries)
        medians = {where: float(np.median(each[1:])) * 1000 for where, each in costs.items()}
        first, deepest = medians["first"], max(medians.values())
        goal = f"≤ {DEEPER} × the first"
        row = (f"page of {count:,} logs, {name}: the dearest of three depths", deepest, "ms", first, deepest / first)
        figures.append(Figure(*row, goal, deepest / first <= DEEPER, COMMAND))
    name = "statements with count(*) in all these pages"
    figures.append(Figure(name, counted, goal="none", met=not counted, command=COMMAND))
    rows = ExposureLog.objects.filter(club=keeper.club, corrected_at=None).order_by("-number")
    begun = time.perf_counter()
    list(rows[count // 2 : count // 2 + 50])
    took = 1000 * (time.perf_counter() - begun)
    return [*figures, Figure(f"half into {count:,} logs by OFFSET, no page of ours", took, "ms", command=COMMAND)]


def cursor(number: int) -> str:
    """The query for the page after a log's number."""
    return f"cursor={base64.urlsafe_b64encode(f'f:{number}'.encode()).decode()}&"


def measure(count: int = 1_000_000) -> list[Figure]:
    runner = DiscoverRunner(verbosity=0, interactive=False)
    databases = runner.setup_databases()
    try:
        return pages(*fill(count), count)
    finally:
        runner.teardown_databases(databases)


if __name__ == "__main__":
    print_table(measure(*(int(count) for count in sys.argv[1:2])))
