"""Time, memory and REML criterion of the pooled fit against mixedlm and lme4, on the same made logs in one run.

python tests/bench/reciprocity.py [most logs, default 100000] [--no-peers]

One grade of evidence and no floor, so that all fit the same model:
y ~ x + (x | paper) + (1 | camera) + (1 | member). mixedlm is asked only if it is installed here, lme4 only if Rscript
has it; each says so otherwise. One thread for all: with several, small matrices wait for one another. Memory is the
peak over what the process held when it had the logs; mixedlm runs after ours in the same process, so its own is a
lower bound.
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

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from exposures.reciprocity.cells import Cells, Logs
from exposures.reciprocity.result import Fit, fit, refreshed
from tests.exposures.reciprocity.made import club

LME4 = """
suppressMessages(library(lme4)); d <- read.csv("{path}")
gc(reset=TRUE) -> before
t <- system.time(m <- lmer(y ~ x + (x | paper) + (1 | camera) + (1 | member), d,
     control=lmerControl(calc.derivs=FALSE)))[["elapsed"]]
used <- gc(); cat(t, format(REMLcrit(m), digits=14), sum(used[,6]) - sum(before[,2]), "\\n")
"""


def clocked(call: Callable[[], Fit | Cells]) -> tuple[float, Fit | Cells]:
    start = time.perf_counter()
    found = call()
    return time.perf_counter() - start, found


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def logs_of(count: int) -> Logs:
    size = min(max(count // 50, 10), 1000)
    made = club(1, papers=40, families=1, cameras=size, members=max(size // 5, 6), logs=count)
    return replace(made.logs, grade=np.zeros(count, dtype=int))


def ours(logs: Logs) -> float:
    """Print our row; the criterion."""
    before = peak_mb()
    summing, cells = clocked(lambda: Cells.from_logs(logs))
    assert isinstance(cells, Cells)
    rows = {name: getattr(cells, name) for name in Cells.__dataclass_fields__}
    reading, _ = clocked(lambda: Cells.from_columns(rows))
    cold, found = clocked(lambda: fit(cells, least_error_stops=1e-6))
    assert isinstance(found, Fit)
    assert found.criterion is not None
    memory = peak_mb() - before
    one = Cells.from_logs(Logs(*(getattr(logs, name)[:1] for name in ("paper", "camera", "member", "grade", "u", "z"))))
    more = cells + one
    renewed, _ = clocked(lambda: refreshed(found, more, least_error_stops=1e-6))
    warm, _ = clocked(lambda: fit(more, warm=found.theta, least_error_stops=1e-6))
    steps = sum(run.evaluations for run in found.record)
    print(
        f"{len(logs):>9,} ours    {cold:8.3f} s {memory:7.0f} MB  {found.criterion:.7f}  {steps} evaluations, "
        f"{len(cells):,} cells summed {summing:.3f} s, read {reading:.3f} s; "
        f"refresh {renewed / cold:.2f}, warm {warm / cold:.2f} of cold"
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
            logs = logs_of(count)
            cold = ours(logs)
            if "--no-peers" not in sys.argv:
                mixedlm(logs, cold)
                lme4(logs, cold)


if __name__ == "__main__":
    main()
