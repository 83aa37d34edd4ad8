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

import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from exposures.reciprocity.cells import COLUMNS, Cells, Logs
from exposures.reciprocity.result import Fit, fit, refreshed
from tests.exposures.reciprocity.made import club

T = TypeVar("T")
LOG = ("paper", "camera", "member", "grade", "u", "z")
SAME = 100_000
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


def ours(logs: Logs) -> float:
    """Print our rows; seconds of a cold fit."""
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
    warm, again = clocked(lambda: refreshed(found, one, steps=True))
    rebuilt, _ = clocked(lambda: fit(found.cells + one, warm=found.theta, least_error_stops=1e-6))
    evaluations = [sum(run.evaluations for run in of.record) for of in (found, again)]
    print(
        f"{len(logs):>9,} ours    {cold:8.3f} s {memory:7.0f} MB  {found.criterion:.7f}  {evaluations[0]} evaluations, "
        f"{len(cells):,} cells summed {summing:.4f} s, read {reading:.4f} s: {summing / reading:.1f} times\n"
        f"{'':9} cold with a prediction {answering:.3f} s, refreshed {renewed:.4f} s: {renewed / answering:.2f}; "
        f"warm {warm / cold:.2f} of cold ({evaluations[1]} evaluations), {rebuilt / cold:.2f} with tables made anew"
    )
    return cold


def mixedlm(logs: Logs, cold: float) -> None:
    try:
        import pandas as pd  # noqa: PLC0415
        from mixedlm import lmer  # noqa: PLC0415
    except ImportError:
        print(f"{'':9} mixedlm is not installed here")
        return
    table = pd.DataFrame(
        {"y": logs.y, "x": logs.x} | {n: getattr(logs, n).astype(str) for n in ("paper", "camera", "member")}
    )
    before, start = peak_mb(), time.perf_counter()
    model = lmer("y ~ x + (x | paper) + (1 | camera) + (1 | member)", table)
    took = time.perf_counter() - start
    memory, criterion = peak_mb() - before, float(model.deviance)
    print(f"{'':9} mixedlm {took:8.3f} s {memory:7.0f} MB  {criterion:.7f}  {took / cold:.1f} times ours")


def lme4(logs: Logs, cold: float) -> None:
    if shutil.which("Rscript") is None:
        print(f"{'':9} lme4: there is no Rscript here")
        return
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
        done = subprocess.run(["Rscript", "-e", LME4.format(path=path)], capture_output=True, text=True, check=False)
    if done.returncode:
        print(f"{'':9} lme4 failed: {done.stderr.strip().splitlines()[-1:]}")
        return
    took, criterion, memory = done.stdout.split()[:3]
    print(
        f"{'':9} lme4    {float(took):8.3f} s {float(memory):7.0f} MB  {criterion}  {float(took) / cold:.1f} times ours"
    )


def main() -> None:
    most = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    for count in (1_000, 10_000, 100_000, 1_000_000, 3_000_000):
        if count <= most:
            logs = growing(count)
            cold = ours(logs)
            if "--no-peers" not in sys.argv:
                mixedlm(logs, cold)
                lme4(logs, cold)
    one, many = Cells.from_logs(same(1)), Cells.from_logs(same(30))
    small, large = (clocked(lambda: fit(one))[0], clocked(lambda: fit(many))[0])
    print(f"{SAME:,} logs {small:.3f} s, 30 times as many of the same club {large:.3f} s: {large / small:.2f} times")


if __name__ == "__main__":
    main()
