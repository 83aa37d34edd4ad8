"""What a bench found, in one form for all of them, and the table of it with the machine it was found on."""

import math
import os
import platform
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

HEADS = ("what", "figure", "floor", "ratio", "goal", "met", "command")


@dataclass(frozen=True)
class Figure:
    """One figure. `floor` is the yardstick's own, in the same unit and from the same run; `ratio` is what `goal` is of.

    `met` is None where there is no goal. What could not be measured has a value that is not a number, and says why in
    `goal`.
    """

    name: str
    value: float
    unit: str = ""
    floor: float | None = None
    ratio: float | None = None
    goal: str = ""
    met: bool | None = None
    command: str = ""

    @property
    def cells(self) -> tuple[str, ...]:
        """As the table shows it, below HEADS."""
        shown = "–" if math.isnan(self.value) else f"{number(self.value)} {self.unit}".strip()
        floor, ratio = ("" if each is None else number(each) for each in (self.floor, self.ratio))
        met = {True: "yes", False: "NO", None: ""}[self.met]
        return self.name, shown, floor, ratio, self.goal, met, self.command


def not_measured(name: str, why: str, command: str = "") -> Figure:
    """The row of a bench that failed."""
    return Figure(name, math.nan, goal=f"not measured: {' '.join(why.split())[:300]}", met=False, command=command)


def number(value: float) -> str:
    """Three digits, or all before the point; thousands apart."""
    if not math.isfinite(value) or value == round(value):
        return f"{value:,.0f}"
    digits = max(0, 2 - math.floor(math.log10(abs(value))))
    return f"{value:,.{digits}f}" if digits < 7 else f"{value:.2g}"


def print_table(figures: Iterable[Figure]) -> None:
    """The machine, then a line for each figure, in columns."""
    rows = [HEADS, *(figure.cells for figure in figures)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADS))]
    for line in machine():
        print(line)
    print()
    for row in rows:
        aligned = (
            f"{cell:>{width}}" if column in {1, 2, 3} else f"{cell:{width}}"
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        print("  ".join(aligned).rstrip(), flush=True)


def markdown(figures: Iterable[Figure]) -> str:
    """The same for a document."""

    def row(cells: Iterable[str]) -> str:
        return f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"

    lines = [*(f"- {line}" for line in machine()), "", row(HEADS), "| --- | ---: | ---: | ---: | --- | --- | --- |"]
    for figure in figures:
        *cells, command = figure.cells
        lines.append(row([*cells, f"`{command}`" if command else ""]))
    return "\n".join(lines) + "\n"


def put(figures: Iterable[Figure], file: Path, name: str, more: Sequence[str] = ()) -> None:
    """Put the table, and more lines as they are, into a document, between the two comments that hold their place."""
    begin, end = (f"<!-- table {name}: {edge} -->" for edge in ("begin", "end"))
    before, rest = file.read_text().split(begin)
    told = markdown(figures) + ("\n```\n{}\n```\n".format("\n".join(more)) if more else "")
    file.write_text(f"{before}{begin}\n\n{told}\n{end}{rest.split(end)[1]}")


def machine() -> list[str]:
    """What the figures were measured on."""
    memory = int(next(line for line in said("/proc/meminfo") if line.startswith("MemTotal")).split()[1])
    model = next((line.split(":")[1].strip() for line in said("/proc/cpuinfo") if "model name" in line), "unknown")
    system = next((line.split("=")[1].strip('"') for line in said("/etc/os-release") if "PRETTY_NAME" in line), "")
    software = {"Django": "django", "DRF": "djangorestframework", "granian": "granian", "numpy": "numpy"}
    versions = ", ".join(f"{name} {version(package)}" for name, package in software.items())
    return [
        f"machine: {model}, {len(os.sched_getaffinity(0))} cores, {memory / 1e6:.0f} GB; {system} {platform.release()}",
        f"software: Python {platform.python_version()}, {versions}",
        f"databases: SQLite {sqlite3.sqlite_version}, {postgresql()}",
        f"load when the table was made: {os.getloadavg()[0]:.1f}",
    ]


def said(path: str) -> list[str]:
    file = Path(path)
    return file.read_text().splitlines() if file.exists() else []


def postgresql() -> str:
    url = os.environ.get("DATABASE_URL")
    if not url:
        return "no PostgreSQL (DATABASE_URL is not set)"
    import psycopg  # noqa: PLC0415  (only on PostgreSQL)

    with psycopg.connect(url) as connection:
        return f"PostgreSQL {connection.info.parameter_status('server_version')}"


def as_plain(figures: Iterable[Figure]) -> list[dict[str, Any]]:
    """For JSON, from a process of its own."""
    return [asdict(figure) for figure in figures]
