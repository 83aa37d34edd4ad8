"""The example's own tests: closed forms, and the checks that Pinpool's kit offers to authors."""

import numpy as np
import pytest
from saltmarsh_tilted import plugin
from saltmarsh_tilted.catenary import Catenary
from saltmarsh_tilted.tilted import tilted

from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.illumination import stops_map
from pinpool.testing import assert_sound


def light(*, s_mm: float, y_mm: float, turn_rad: float, distance_mm: float) -> float:
    """cos θ_plate·cos θ_film/r², from the angles of a ray to a point of the turned sheet."""
    point = np.array([s_mm * np.cos(turn_rad), y_mm, distance_mm + s_mm * np.sin(turn_rad)])
    ray = point / np.linalg.norm(point)
    square_to_film = np.array([-np.sin(turn_rad), 0.0, np.cos(turn_rad)])
    return float(ray[2] * (ray @ square_to_film) / (point @ point))


@pytest.mark.parametrize("turn_deg", [-50.0, 0.0, 20.0, 60.0])
def test_its_light_is_the_closed_form(turn_deg: float) -> None:
    turn = float(np.deg2rad(turn_deg))
    plane = FilmPlane(tilted(width_mm=80.0, distance_mm=60.0, turn_rad=turn), 50.0)
    for s, y in [(-40.0, -25.0), (-11.0, 3.0), (0.0, 0.0), (25.0, 20.0), (40.0, 0.0)]:
        found = 2 ** stops_map(plane, s_mm=np.array([s]), y_mm=np.array([y]))[0, 0]
        asked = {"turn_rad": turn, "distance_mm": 60.0}
        assert found == pytest.approx(light(s_mm=s, y_mm=y, **asked) / light(s_mm=0, y_mm=0, **asked), rel=1e-9)


def test_an_edge_before_the_plate_is_refused() -> None:
    with pytest.raises(Impossible, match="turn it less"):
        tilted(width_mm=200.0, distance_mm=60.0, turn_rad=1.0)


def test_the_catenary_is_krons_and_halms() -> None:
    """I·t = (I·t)_min·½[(I/I₀)^a + (I/I₀)^-a] [memory], with the intensities that indicate these times."""
    law, times = Catenary(best_time_s=2.0, steepness=0.3), np.geomspace(1e-3, 1e6, 50)
    intensity = 2.0 / times  # over I₀
    product = 0.5 * (intensity**0.3 + intensity**-0.3)  # over (I·t)_min = 2 s·I₀
    assert law.correct(times) == pytest.approx(2.0 * product / intensity, rel=1e-12)
    assert law.correct(2.0) == pytest.approx(2.0)
    far = np.log(law.correct(2e9) / law.correct(1e9)) / np.log(2)
    assert far == pytest.approx(1.3, abs=1e-4), "a power of 1 + a far on the slow side"


def test_it_is_sound() -> None:
    sheet = {"width": "80 mm", "distance": "60 mm", "height": "50 mm"}
    law = {"best_time": "1 s", "steepness": 0.2}
    assert_sound(
        plugin,
        {
            "tilted": [{**sheet, "turn": "30 deg"}, {**sheet, "turn": "-45 deg", "hole_offset": {"x": "5 mm"}}],
            "catenary": [law, {**law, "steepness": 0.9}, {"best_time": "1/30 s", "steepness": 0}],
        },
    )
