"""Clubs made from the model itself, so that the truth is known. Invented throughout."""

from dataclasses import dataclass

import numpy as np

from exposures.reciprocity.cells import Floats, Ints, Logs

ERRORS = np.array([0.45, 0.25, 0.10])  # judged, bracketed, densitometer


@dataclass(frozen=True)
class Club:
    logs: Logs
    families: dict[int, int]
    speed: Floats
    slope: Floats
    camera: Floats
    member: Floats


def club(
    seed: int, *, papers: int = 18, families: int = 3, cameras: int = 20, members: int = 12, logs: int = 700
) -> Club:
    """Papers vary by 0.4 stop and 0.06 of slope (correlation −0.3), cameras by 0.3, members by 0.25 stop.

    Papers, cameras and members are drawn unevenly: the commonest paper has some ten times the logs of the rarest.
    """
    rng = np.random.default_rng(seed)
    family = np.arange(papers) % families
    spread = np.array([[0.16, -0.3 * 0.4 * 0.06], [-0.3 * 0.4 * 0.06, 0.0036]])
    lines = rng.multivariate_normal([0.0, 0.0], spread, papers)
    speed = lines[:, 0] + np.array([0.2, -0.3, 0.0, 0.4])[family % 4]
    slope = lines[:, 1] + np.array([0.85, 0.78, 0.9, 0.82])[family % 4]
    camera, member = rng.normal(0, 0.3, cameras), rng.normal(0, 0.25, members)

    def drawn(levels: int) -> Ints:
        share = 1 / (1 + np.arange(levels)) ** 0.8
        return np.asarray(rng.choice(levels, logs, p=share / share.sum()), dtype=np.int64)

    p, c, m, g = drawn(papers), drawn(cameras), drawn(members), rng.choice(3, logs, p=[0.7, 0.2, 0.1])
    u = rng.uniform(-1, 10, logs)
    effect = speed[p] + slope[p] * np.maximum(u, 0) + np.minimum(u, 0) + camera[c] + member[m]
    z = effect + rng.normal(0, 1, logs) * ERRORS[g]
    return Club(Logs(p, c, m, g, u, z), dict(enumerate(family.tolist())), speed, slope, camera, member)
