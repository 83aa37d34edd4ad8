"""The criterion against the definition written out densely, its gradient against differences, cells against rows."""

import numpy as np
import pytest

from exposures.reciprocity.cells import Cells, Logs
from exposures.reciprocity.design import design
from exposures.reciprocity.objective import Objective, factor_of
from tests.exposures.reciprocity import dense

FAMILIES = {0: "bromide", 1: "bromide", 2: "coated", 3: "coated", 4: "coated"}


def random_logs(seed: int, n: int = 90, cameras: int = 7) -> Logs:
    rng = np.random.default_rng(seed)
    return Logs(
        paper=np.concatenate([np.arange(5), rng.integers(0, 5, n - 5)]),
        camera=rng.integers(0, cameras, n),
        member=rng.integers(0, 6, n),
        grade=rng.integers(0, 3, n),
        u=rng.uniform(-3, 10, n),
        z=rng.normal(3, 2, n),
    )


@pytest.mark.parametrize("sloped", [True, False])
@pytest.mark.parametrize("crossed", [("camera", "member"), ("member",), ()])
@pytest.mark.parametrize("cameras", [3, 40])
def test_criterion_and_gradient(sloped: bool, crossed: tuple[str, ...], cameras: int) -> None:
    logs = random_logs(3, cameras=cameras)
    of = design(Cells.from_logs(logs), families=FAMILIES, crossed=crossed, sloped=sloped)
    objective = Objective(of)
    rng = np.random.default_rng(9)
    for boundary in (False, True):
        theta = objective.held + rng.normal(0, 0.2, len(objective.held))
        if boundary:
            theta[:-3] *= rng.integers(0, 2, len(theta) - 3)
        point = objective.at(theta)
        assert point is not None
        family = np.eye(2)[(logs.paper > 1).astype(int)]
        numbers = 3 if sloped else 1
        factor = factor_of(2 if sloped else 1, theta[:numbers])
        expected = dense.criterion(
            y=logs.y - logs.x if sloped else logs.y,
            fixed=np.hstack([family, family * logs.x[:, None]]) if sloped else family,
            sloped_on=logs.x if sloped else None,
            paper=logs.paper,
            paper_covariance=factor @ factor.T,
            crossed=[(getattr(logs, name), theta[numbers + i]) for i, name in enumerate(crossed)],
            error=np.exp(theta[-3:])[logs.grade],
        )
        assert point.criterion == pytest.approx(expected, abs=1e-9)
        gradient, curvature = point.gradient, point.curvature
        steps = np.eye(len(theta)) * 1e-5
        differences = [(objective.criterion(theta + s) - objective.criterion(theta - s)) / 2e-5 for s in steps]
        assert gradient == pytest.approx(differences, abs=1e-4)
        assert np.allclose(curvature, curvature.T)


def test_equal_logs_one_by_one_or_summed() -> None:
    logs = random_logs(5)
    half = np.arange(len(logs)) % 2 == 0
    parts = [
        Cells.from_logs(
            Logs(*(getattr(logs, name)[chosen] for name in ("paper", "camera", "member", "grade", "u", "z")))
        )
        for chosen in (half, ~half)
    ]
    whole = Cells.from_logs(logs)
    one, two = Objective(design(whole)), Objective(design(parts[0] + parts[1]))
    assert one.criterion(one.held) == pytest.approx(two.criterion(one.held), abs=1e-9)
    rest = whole - parts[1]
    assert len(rest) == len(parts[0])
    for name in ("logs", "weight", "x", "xx", "y", "xy", "yy"):
        assert getattr(rest, name) == pytest.approx(getattr(parts[0], name), abs=1e-9)
