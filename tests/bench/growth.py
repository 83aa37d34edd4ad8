"""How everything that the service does grows with the number of logs, in clubs of Zipf's sizes; a table of all sizes.

python tests/bench/growth.py [logs of each database, default 100000] [--partitions] [--json FILE]

On SQLite in a temporary folder, or on PostgreSQL with DATABASE_URL, whose user must be a superuser, in databases made
beside that one. Each size is a database and a process of its own; 10 000 logs make one club more. With --partitions, on
PostgreSQL, the log is also kept in partitions by its club, and the same statements are run on both.
`growth_rows.py` says what is made, `growth_statements.py` what is measured.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve()
sys.path.insert(1, str(HERE.parents[2]))

from asked import database, set_up
from figures import Figure, machine, number

COMMAND = "python tests/bench/growth.py"
#: A page deep inside against the first, and the same page in a larger database against a smaller one.
DEEPER = 1.25


def measured(logs: int, *, partitions: bool) -> dict[str, Any]:
    """All figures of one size, in a database made for it."""
    with database():
        os.environ["PINPOOL_ACCESS_LOG"] = "WARNING"
        set_up()
        import growth_partitions  # noqa: PLC0415  (the environment is ready only now)
        import growth_rows  # noqa: PLC0415
        import growth_statements  # noqa: PLC0415
        from django.core.management import call_command  # noqa: PLC0415

        call_command("migrate", verbosity=0)
        found = growth_statements.Found()
        begun = time.perf_counter()
        clubs = growth_rows.fill(logs)
        found.add("filled in", time.perf_counter() - begun, "s")
        found.add("clubs", len(clubs), "")
        growth_statements.measure_club(found, clubs[len(clubs) // 2], "middle club", logs)
        growth_statements.measure_club(found, clubs[0], "largest club", logs)
        growth_statements.pools(found, clubs)
        if partitions and growth_rows.postgres():
            growth_partitions.compare(found)
        growth_statements.everybody(found)
        return {"values": found.values, "plans": found.plans}


def each_in_its_own_process(sizes: list[int], *options: str) -> dict[int, dict[str, Any]]:
    found = {}
    for logs in sizes:
        with tempfile.NamedTemporaryFile("r") as told:
            command = [sys.executable, str(HERE), "--one", str(logs), told.name, *options]
            subprocess.run(command, check=True)
            found[logs] = json.load(told)
    return found


def tell(found: dict[int, dict[str, Any]]) -> None:
    """A column for each size, a line for each figure."""
    for line in machine():
        print(line)
    heads = [f"{logs:,} logs" for logs in found]
    print(f"\n{'':52}" + "".join(f"{head:>18}" for head in heads))
    names = dict.fromkeys(name for one in found.values() for name in one["values"])
    for name in names:
        cells = []
        for one in found.values():
            value, unit = one["values"].get(name, (None, ""))
            cells.append("" if value is None else f"{number(value)} {unit}".strip())
        print(f"{name:52}" + "".join(f"{cell:>18}" for cell in cells))
    print("\nby which index")
    for name in dict.fromkeys(name for one in found.values() for name in one["plans"]):
        plans = dict.fromkeys(one["plans"].get(name, "–") for one in found.values())
        print(f"  {name:50}{' → '.join(plans)}", flush=True)


def measure(logs: int = 100_000) -> list[Figure]:
    """The figures of one small size: the largest club's pages against the middle one's, and what a log brings."""
    values = each_in_its_own_process([logs])[logs]["values"]
    rows = []
    firsts = {"one camera, half in": "one camera", "not judged, half in": "not judged"}
    for name in ("page half in", "page at the end", *firsts):
        first = firsts.get(name, "first page")
        ours, floor = (values[f"largest club: {each}, request"][0] for each in (name, first))
        goal = f"≤ {DEEPER} of the first"
        rows.append(Figure(f"growth: {name}", ours, "ms", floor, ours / floor, goal, ours / floor <= DEEPER, COMMAND))
    for name in ("first page, request", "new log, request", "cells read", "fit, every log weighed", "fit, restored"):
        (ours, unit), (floor, _) = (values[f"{club} club: {name}"] for club in ("largest", "middle"))
        more = values["largest club: logs"][0] / values["middle club: logs"][0]
        goal = f"told, with {more:.1f} times the logs"
        rows.append(Figure(f"growth: {name}", ours, unit, floor, ours / floor, goal, None, COMMAND))
    return rows


def main() -> None:
    words = sys.argv[1:]
    options = [word for word in words if word == "--partitions"]
    if words[:1] == ["--one"]:
        Path(words[2]).write_text(json.dumps(measured(int(words[1]), partitions=bool(options))))
        return
    sizes = [int(word) for word in words if word.isdigit()] or [100_000]
    found = each_in_its_own_process(sizes, *options)
    tell(found)
    if "--json" in words:
        Path(words[words.index("--json") + 1]).write_text(json.dumps(found))


if __name__ == "__main__":
    main()
