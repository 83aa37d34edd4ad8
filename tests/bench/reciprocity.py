"""Time, memory and REML criterion of the pooled fit against mixedlm and lme4, on the same made logs in one run.

python tests/bench/reciprocity.py [most logs, default 100000] [--no-peers]

One grade of evidence and no floor, so that all fit the same model:
y ~ x + (x | paper) + (1 | camera) + (1 | member). mixedlm is asked only if it is installed here, lme4 only if Rscript
has it; each says so otherwise. One thread for all: with several, small matrices wait for one another. Ours is the best
of three, of nine for a refresh; the others run once.

The *growing* club has more cameras and members with more logs, up to 1000 and 200 at 50 000 logs, and goes on to more
cells from there. The *same* club makes the logs of 100 000 over and over: as many cells, more logs in each.

Memory is the peak over what the process held when it had the logs; mixedlm runs after ours in the same process, so its
own is a lower bound.
"""

import math
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import numpy as np
from figures import Figure, print_table

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from exposures.reciprocity.cells import COLUMNS, Cells, Logs
from exposures.reciprocity.result import Fit, fit, refreshed
from tests.exposures.reciprocity.made import club

T = TypeVar("T")
LOG = ("paper", "camera", "member", "grade", "u", "z")
SAME = 100_000
COMMAND = "uv run --with mixedlm python tests/bench/reciprocity.py"
LME4 = """
suppressMessages(library(lme4)); d <- read.csv("{path}")
gc(reset=TRUE) -> before
t <- system.time(m <- lmer(y ~ x + (x | paper) + (1 | camera) + (1 | member), d,
     control=lmerControl(calc.derivs=FALSE)))[["elapsed"]]
used <- gc(); cat(t, format(REMLcrit(m), digits=14), sum(used[,6]) - sum(before[,2]), "\\n")
"""


def clocked(call: Callable[[], T], times: int = 3) -> tuple[float, T]:
    """The shortest time of some calls, and what the last one found."""
    shortest = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        found = call()
        shortest = min(shortest, time.perf_counter() - start)
    return shortest, found


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def growing(count: int) -> Logs:
    size = min(max(count // 50, 10), 1000)
    made = club(1, papers=40, families=1, cameras=size, members=max(size // 5, 6), logs=count)
    return replace(made.logs, grade=np.zeros(count, dtype=int))


def same(times: int) -> Logs:
    """The growing club's 100 000 logs so many times over, each with an error of its own."""
    logs = growing(SAME)
    again = Logs(*(np.tile(getattr(logs, name), times) for name in LOG))
    return replace(again, z=again.z + np.random.default_rng(2).normal(0, 0.3, len(again)))


def predicting(found: Fit) -> Fit:
    """The fit, once it has answered; kept as a server keeps it."""
    found.line(0, camera=0, member=0)
    return found


def row(name: str, seconds: float, yardstick: float, **goal: float) -> Figure:
    """`most`: as a share of the yardstick's time; `least`: how many times as fast as it."""
    if "least" in goal:
        ratio, said = yardstick / seconds, f"≥ {goal['least']:g} × as fast"
        return Figure(name, seconds, "s", yardstick, ratio, said, ratio >= goal["least"], COMMAND)
    ratio = seconds / yardstick
    met = ratio <= goal["most"] if goal else None
    return Figure(name, seconds, "s", yardstick, ratio, f"≤ {goal['most']:g} ×" if goal else "", met, COMMAND)


@dataclass
class Cold:
    """A cold fit: the shortest of three, its criterion, and the memory it took at its first."""

    seconds: float
    criterion: float
    memory_mb: float


def ours(logs: Logs, of: str) -> tuple[Cold, list[Figure]]:
    """The cold fit, and our figures."""
    before = peak_mb()
    fit(Cells.from_logs(logs), least_error_stops=1e-6)
    memory = peak_mb() - before
    summing, cells = clocked(lambda: Cells.from_logs(logs))
    rows = {name: getattr(cells, name) for name in COLUMNS}
    reading, _ = clocked(lambda: Cells.from_columns(rows))
    cold, found = clocked(lambda: fit(cells, least_error_stops=1e-6))
    answering, found = clocked(lambda: predicting(fit(cells, least_error_stops=1e-6)))
    one = Cells.from_logs(Logs(*(getattr(logs, name)[:1] for name in LOG)))
    renewed, _ = clocked(lambda: predicting(refreshed(found, one)), 9)
    warm, _ = clocked(lambda: refreshed(found, one, steps=True))
    rebuilt, _ = clocked(lambda: fit(found.cells + one, warm=found.theta, least_error_stops=1e-6))
    return Cold(cold, found.criterion, memory), [
        Figure(f"fit of {of}, cold", cold, "s", command=COMMAND),
        row(f"cells of {of} read, beside summing its logs", reading, summing, least=3),
        row(f"fit of {of}, a prediction after one more log, beside cold", renewed, answering, most=0.15),
        row(f"fit of {of}, warm, beside cold", warm, cold, most=0.5),
        row(f"fit of {of}, warm, tables made anew, beside cold", rebuilt, cold),
    ]


def beside(peer: str, of: str, cold: Cold, theirs: Cold | None, least: float) -> Iterator[Figure]:
    """Another program's fit of the same logs."""
    if theirs is None:
        yield Figure(f"fit of {of}, beside {peer}", math.nan, goal=f"not measured: no {peer} here", command=COMMAND)
        return
    yield row(f"fit of {of}, beside {peer}", cold.seconds, theirs.seconds, least=least)
    above = cold.criterion - theirs.criterion
    yield Figure(f"criterion of {of}, above {peer}'s", above, "", goal="≤ 1e-6", met=above <= 1e-6, command=COMMAND)
    share = cold.memory_mb / theirs.memory_mb if theirs.memory_mb else None
    yield Figure(f"memory of a fit of {of}, beside {peer}", cold.memory_mb, "MB", theirs.memory_mb, share,
                 command=COMMAND)  # fmt: skip


def mixedlm(logs: Logs) -> Cold | None:
    try:
        import pandas as pd  # noqa: PLC0415
        from mixedlm import lmer  # noqa: PLC0415
    except ImportError:
        return None
    table = pd.DataFrame(
        {"y": logs.y, "x": logs.x} | {n: getattr(logs, n).astype(str) for n in ("paper", "camera", "member")}
    )
    before, start = peak_mb(), time.perf_counter()
    model = lmer("y ~ x + (x | paper) + (1 | camera) + (1 | member)", table)
    return Cold(time.perf_counter() - start, float(model.deviance), peak_mb() - before)


def lme4(logs: Logs) -> Cold | None:
    if shutil.which("Rscript") is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "logs.csv"
        columns = [logs.y, logs.x, *(getattr(logs, name) for name in ("paper", "camera", "member"))]
        np.savetxt(
            path,
            np.column_stack(columns),
            delimiter=",",
            header="y,x,paper,camera,member",
            comments="",
            fmt=["%.17g", "%.17g", "%d", "%d", "%d"],
        )
        program = LME4.replace("{path}", str(path))
        done = subprocess.run(["Rscript", "-e", program], capture_output=True, text=True, check=True)
    took, criterion, memory = done.stdout.split()[:3]
    return Cold(float(took), float(criterion), float(memory))


def measure(most: int = 100_000, *, peers: bool = True) -> list[Figure]:
    figures: list[Figure] = []
    for count in (1_000, 10_000, 100_000, 1_000_000, 3_000_000):
        if count > most:
            break
        logs, of = growing(count), f"{count:,} logs"
        cold, told = ours(logs, of)
        figures += told
        if peers:
            figures += beside("mixedlm", of, cold, mixedlm(logs), 5)
            figures += beside("lme4", of, cold, lme4(logs), 100 if count >= 1_000_000 else 60)
    one, many = Cells.from_logs(same(1)), Cells.from_logs(same(30))
    small, large = (clocked(lambda cells=cells: fit(cells))[0] for cells in (one, many))
    return [*figures, row("fit of 3,000,000 logs of one club, beside 100,000", large, small, most=2)]


if __name__ == "__main__":
    counts = [int(word) for word in sys.argv[1:] if word.isdigit()]
    print_table(measure(*counts, peers="--no-peers" not in sys.argv))
