"""The light over a laid-flat negative, against one square root over the same grid and against plain vectors.

python tests/bench/illumination.py
"""

import time
from collections.abc import Callable
from functools import partial

import numpy as np

from optics.core.film_planes import FilmPlane
from optics.core.illumination import stops_map
from optics.core.profiles import bowed, drum, flat

COLUMNS, ROWS = 400, 150
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


def main() -> None:
    grid = np.random.default_rng(1).uniform(1, 2, (ROWS, COLUMNS))
    root = best_of(lambda: np.sqrt(grid))
    print(f"{COLUMNS} x {ROWS} points; one pass of square roots takes {root * 1e6:.0f} us")
    for name, plane in PLANES.items():
        s = np.linspace(-0.499, 0.499, COLUMNS) * plane.length_mm
        y = np.linspace(-0.5, 0.5, ROWS) * plane.height_mm
        ours = partial(stops_map, plane, s_mm=s, y_mm=y)
        if not np.allclose(by_vectors(plane, s, y), ours(), atol=1e-9):
            raise SystemExit(f"{name}: the two ways disagree")
        thin, thick = best_of(ours), best_of(partial(ours, thickness_share=0.3))
        vectors = best_of(partial(by_vectors, plane, s, y), 50)
        print(
            f"{name}: thin plate {thin / root:.1f} passes, thick plate {thick / root:.1f}; "
            f"plain vectors, thin plate {vectors / root:.1f}, {vectors / thin:.1f} times ours"
        )


if __name__ == "__main__":
    main()
