"""Teaching data with published fits, read into the shape of logs."""

import csv
from pathlib import Path

import numpy as np

from exposures.reciprocity.cells import Cells, Logs
from exposures.reciprocity.design import Design, design

FOLDER = Path(__file__).resolve().parents[3] / "fixtures" / "reference"


def table(name: str) -> list[dict[str, str]]:
    with (FOLDER / f"{name}.csv").open() as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def as_design(
    name: str, *, paper: str, y: str, x: str = "", camera: str = "", x_from: float = 0, x_per: float = 1
) -> Design:
    """`paper` is the factor with the slope on `x`, `camera` the one crossed with it."""
    rows = table(name)
    none = np.zeros(len(rows), dtype=int)
    logs = Logs(
        paper=np.array([row[paper] for row in rows]),
        camera=np.array([row[camera] for row in rows]) if camera else none,
        member=none,
        grade=none,
        u=np.array([(float(row[x]) - x_from) / x_per for row in rows]) if x else np.ones(len(rows)),
        z=np.array([float(row[y]) for row in rows]),
    )
    return design(
        Cells.from_logs(logs),
        crossed=("camera",) if camera else (),
        sloped=bool(x),
        least_spread_stops=0,
        least_error_stops=1e-6,
    )
