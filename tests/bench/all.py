"""Every figure that has a floor, in one table; each bench in a process of its own, so that one that fails is a row.

python tests/bench/all.py [--quick] [--markdown FILE] [names of benches]

On SQLite, and with DATABASE_URL on PostgreSQL as well where a bench stores anything; its user must be a superuser.
--quick asks for less of each and is for a look, not for the docs. --markdown puts the table into its place in a
document. With `uv run --with weasyprint --with lightpipes --with mixedlm` before it, their rows are measured too.
Returns 1 where a bench failed or a goal is missed.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field, replace
from importlib import import_module
from pathlib import Path
from typing import Any

from figures import Figure, as_plain, not_measured, print_table, put

HERE = Path(__file__).resolve()
ROOT = HERE.parents[2]
#: Seconds after which a bench is given up on.
PATIENCE = 1200


@dataclass(frozen=True)
class Bench:
    """A module here, what its `measure` is called with, also in a hurry, and whether it stores anything."""

    name: str
    whole: dict[str, Any] = field(default_factory=dict)
    quick: dict[str, Any] = field(default_factory=dict)
    stores: bool = True


BENCHES = [
    Bench("floor", quick={"seconds": 0.5, "rounds": 30}),
    Bench("log_pages", {"count": 200_000}, {"count": 100_000}),
    Bench("optics_calls", quick={"rounds": 15}, stores=False),
    Bench("illumination", stores=False),
    Bench("diffraction", stores=False),
    Bench("reciprocity", quick={"most": 10_000}, stores=False),
    Bench("evidence", quick={"count": 10_000}),
    Bench("imports", quick={"rows": 500}),
    Bench("sheets", quick={"packs": 20}, stores=False),
    Bench("field_page", quick={"rounds": 3}, stores=False),
    Bench("contention", quick={"requests": 1000}),
    Bench("connections", quick={"seconds": 1.5}),
    Bench("memory", quick={"requests": 5000}),
    Bench("growth", quick={"logs": 20_000}),
]


def run(bench: Bench, *, quick: bool, url: str | None) -> list[Figure]:
    """The bench's figures from a process of its own; one row that says why where it failed."""
    asked = bench.quick if quick and bench.quick else bench.whole
    environment = {name: text for name, text in os.environ.items() if name not in {"DATABASE_URL", "PINPOOL_DATA"}}
    environment |= {"DATABASE_URL": url} if url else {}
    with tempfile.TemporaryDirectory() as folder, Path(folder, "said").open("w+b") as said:
        told = Path(folder, "figures.json")
        environment |= {"PINPOOL_DATA": folder, "OPENBLAS_NUM_THREADS": "1", "PINPOOL_ACCESS_LOG": "WARNING"}
        command = [sys.executable, str(HERE), "--one", bench.name, json.dumps(asked), str(told)]
        try:
            subprocess.run(command, cwd=ROOT, env=environment, stdout=said, stderr=said, timeout=PATIENCE, check=True)
            return [Figure(**each) for each in json.loads(told.read_text())]
        except subprocess.SubprocessError as fault:
            said.seek(0)
            lines = said.read().decode(errors="replace").strip().splitlines()
            why = lines[-1] if lines and not isinstance(fault, subprocess.TimeoutExpired) else str(fault)
            return [not_measured(bench.name, why, f"python tests/bench/{bench.name}.py")]


def one(name: str, asked: str, told: str) -> None:
    """In that process."""
    sys.path.insert(1, str(ROOT))
    Path(told).write_text(json.dumps(as_plain(import_module(name).measure(**json.loads(asked)))))


def everything(names: list[str], *, quick: bool) -> list[Figure]:
    found, url = [], os.environ.get("DATABASE_URL")
    for bench in BENCHES:
        if names and bench.name not in names:
            continue
        for on, address in (
            [("SQLite", None), *([("PostgreSQL", url)] if url else [])] if bench.stores else [("", None)]
        ):
            begun = time.monotonic()
            figures = run(bench, quick=quick, url=address)
            found += [replace(each, name=f"{each.name}, {on}" if on else each.name) for each in figures]
            print(f"{bench.name} {on}: {time.monotonic() - begun:.0f} s", file=sys.stderr, flush=True)
    return found


def main() -> int:
    if sys.argv[1:2] == ["--one"]:
        one(*sys.argv[2:])
        return 0
    parser = argparse.ArgumentParser()
    parser.add_argument("names", nargs="*", choices=[[], *(bench.name for bench in BENCHES)])
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--markdown", type=Path)
    asked = parser.parse_args()
    figures = everything(asked.names, quick=asked.quick)
    print_table(figures)
    if asked.markdown:
        put(figures, asked.markdown, "benches")
    return int(any(figure.met is False for figure in figures))


if __name__ == "__main__":
    sys.exit(main())
