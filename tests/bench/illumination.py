"""The light over a laid-flat negative, against one square root over the same grid and against plain vectors.

python tests/bench/illumination.py
"""

import time
from collections.abc import Callable
from functools import partial

import numpy as np
from figures import Figure, print_table

from optics.core.film_planes import FilmPlane
from optics.core.illumination import stops_map
from optics.core.profiles import bowed, drum, flat

COLUMNS, ROWS, MOST_PASSES = 400, 150, 10
COMMAND = "python tests/bench/illumination.py"
PLANES = {
    "flat": FilmPlane(flat(width_mm=127, distance_mm=70), 102),
    "bowed": FilmPlane(bowed(width_mm=171, depth_mm=45, length_mm=203), 102),
    "drum": FilmPlane(drum(diameter_mm=100, length_mm=200), 102),
}


def best_of(call: Callable[[], object], times: int = 200) -> float:
    call()
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def by_vectors(plane: FilmPlane, s: np.ndarray, y: np.ndarray) -> np.ndarray:
    """The same map by a vector and a normal for every pixel, thin plate."""
    x, z, nx, nz = plane.profile.at(s)
    point = np.stack(np.broadcast_arrays(x, plane.rows(y)[:, None], z), axis=-1)
    normal = np.stack(np.broadcast_arrays(nx, np.zeros((len(y), 1)), nz), axis=-1)
    reach = np.linalg.norm(point, axis=-1)
    cos_plate = point[..., 2] / reach
    cos_film = -(point * normal).sum(axis=-1) / reach
    axis = plane.columns(np.array([plane.axis_s_mm]))
    at_axis = (axis.z_mm * axis.facing_mm / axis.reach2_mm2**2)[0]
    return np.log2(cos_plate * cos_film / reach**2 / at_axis)


def measure(times: int = 200) -> list[Figure]:
    grid = np.random.default_rng(1).uniform(1, 2, (ROWS, COLUMNS))
    root = best_of(lambda: np.sqrt(grid), times)
    figures = []
    for name, plane in PLANES.items():
        s = np.linspace(-0.499, 0.499, COLUMNS) * plane.length_mm
        y = np.linspace(-0.5, 0.5, ROWS) * plane.height_mm
        ours = partial(stops_map, plane, s_mm=s, y_mm=y)
        if not np.allclose(by_vectors(plane, s, y), ours(), atol=1e-9):
            raise SystemExit(f"{name}: the two ways disagree")
        thin, thick = best_of(ours, times), best_of(partial(ours, thickness_share=0.3), times)
        vectors = best_of(partial(by_vectors, plane, s, y), times // 4)
        told = {"thin plate": (thin, root), "thick plate": (thick, root)}
        for what, (took, floor) in told.items():
            goal = f"≤ {MOST_PASSES} square roots of the grid" if what == "thin plate" else ""
            met = took / floor <= MOST_PASSES if goal else None
            row = (f"illumination of {COLUMNS} x {ROWS}, {name}, {what}", 1e6 * took, "µs", 1e6 * floor, took / floor)
            figures.append(Figure(*row, goal, met, COMMAND))
        title = f"illumination of {COLUMNS} x {ROWS}, {name}, times as fast as a vector for every pixel"
        figures.append(Figure(title, 1e6 * thin, "µs", 1e6 * vectors, vectors / thin, command=COMMAND))
    return figures


if __name__ == "__main__":
    print_table(measure())
