"""The endpoints for light on the film and in the meter, for times and for tables: the core's numbers, unrounded."""

from typing import Any

import numpy as np
import pytest
from rest_framework.test import APIClient

from optics.core.exposure import expose, exposure_table
from optics.core.film_planes import FilmPlane
from optics.core.illumination import illuminate
from optics.core.profiles import flat, half_drum
from optics.core.reciprocity import Law, NoFailure, PowerLaw, TableLaw
from tests.answers import ask, mm, seconds
from tests.bodies import FILM_PLANES, LAWS, OPTICS, READINGS
from tests.problems import faults_in, problem_of

SUMMARY = {
    "flags", "brightest_stops", "darkest_stops", "distance_only_darkest_stops", "balanced", "by_used_share", "trade",
    "within_one_stop_share",
}  # fmt: skip
BALANCE = {"used_share", "focal_length", "f_number", "error_stops", "within_one_stop_share"}
THIN = {"diameter": "0.3 mm"}
#: Law as posted, and the core's own.
SAME_LAWS: list[tuple[dict[str, Any], Law]] = [
    (LAWS["none"], NoFailure()),
    (LAWS["power"], PowerLaw(1.3, 1.0)),
    ({"law": "power", "exponent": 1.3, "from": "2 s"}, PowerLaw(1.3, 2.0)),
    (LAWS["table"], TableLaw(((1.0, 1.0), (10.0, 20.0), (50.0, 180.0)))),
]


# ------------------------------------------------------------------------------------------------- illumination


def test_illumination(api: APIClient) -> None:
    found = ask(api, "illumination", {"film_plane": FILM_PLANES["flat"], "hole": THIN})
    core = illuminate(FilmPlane(flat(width_mm=101.6, distance_mm=61.0), 127.0), hole_diameter_mm=0.3)
    assert found.keys() == SUMMARY | {"x", "y", "stops", "svg"}
    assert (found["x"], found["y"]) == (core.x_mm.tolist(), core.y_mm.tolist())
    assert found["stops"] == core.stops.tolist()
    assert (len(found["stops"]), len(found["stops"][0])) == (33, 81)
    assert (found["brightest_stops"], found["darkest_stops"]) == (core.brightest_stops, core.darkest_stops)
    assert core.balanced is not None
    assert found["balanced"].keys() == BALANCE
    assert mm(found["balanced"]["focal_length"]) == core.balanced.focal_length_mm
    assert found["balanced"]["error_stops"] == core.balanced.error_stops
    assert found["trade"].keys() == {"focal_length", "f_number", "brightest_stops", "darkest_stops"}
    assert mm(found["trade"]["focal_length"]) == core.trade_focal_length_mm
    assert [each.keys() for each in found["by_used_share"]] == [BALANCE] * 6
    assert found["within_one_stop_share"] == core.within_one_stop_share


def test_a_flat_back_darkens_by_cos_to_the_fourth(api: APIClient) -> None:
    """In the corner, tan θ = √(x²+y²)/f [SCIENCE §3]."""
    found = ask(api, "illumination", {"film_plane": FILM_PLANES["flat"], "hole": THIN, "columns": 3, "rows": 3})
    corner = 4 * np.log2(np.cos(np.arctan(np.hypot(50.8, 63.5) / 61)))
    assert (found["x"], found["y"]) == ([-50.8, 0.0, 50.8], [-63.5, 0.0, 63.5])
    assert found["stops"][0][0] == found["stops"][2][2] == pytest.approx(corner)
    assert found["stops"][1][1] == found["brightest_stops"] == pytest.approx(0, abs=1e-12)
    assert found["darkest_stops"] == pytest.approx(corner)
    assert found["darkest_stops"] < found["distance_only_darkest_stops"]


def test_a_tin_is_even_along_its_middle(api: APIClient) -> None:
    found = ask(api, "illumination", {"film_plane": FILM_PLANES["drum"], "hole": THIN, "rows": 3})
    assert found["stops"][1] == pytest.approx([0.0] * 81, abs=1e-9)


def test_no_light_is_null(api: APIClient) -> None:
    """The ends of a half circle lie in the plate's own plane; a thick plate leaves more dark."""
    plane = FILM_PLANES["half_drum"] | {"length": "215 mm"}
    hole = THIN | {"plate_thickness": "0.1 mm"}
    found = ask(api, "illumination", {"film_plane": plane, "hole": hole, "columns": 5, "rows": 3})
    core = illuminate(
        FilmPlane(half_drum(radius_mm=70.0, length_mm=215.0), 5.375 * 25.4),
        hole_diameter_mm=0.3, plate_thickness_mm=0.1, columns=5, rows=3,
    )  # fmt: skip
    assert np.isinf(core.stops[1, 0])
    assert found["stops"][1][0] is None
    assert found["darkest_stops"] is None
    assert found["balanced"] is None
    assert "no_light_at_edge" in [flag["code"] for flag in found["flags"]]


def test_the_part_that_counts(api: APIClient) -> None:
    found = ask(api, "illumination", OPTICS["illumination/"] | {"used_share": 0.5})
    assert found["balanced"] in found["by_used_share"]
    assert found["balanced"]["used_share"] == 0.5


# -------------------------------------------------------------------------------------------------------- light


def test_light_on_every_scale(api: APIClient) -> None:
    """EV 15 is 4096 cd/m² and, on a flat receptor, 81 920 lx [SCIENCE §4]."""
    found = ask(api, "light", {"reading": {"ev": 15}})
    assert found.keys() == {"ev100", "illuminance", "luminance", "times"}
    assert found["ev100"] == 15
    assert found["luminance"] == {"value": 4096.0, "unit": "cd/m^2"}
    assert found["illuminance"] == {"value": 81920.0, "unit": "lx"}
    for row in found["times"]:
        assert row.keys() == {"f_number", "time"}
        assert seconds(row["time"]) == pytest.approx(row["f_number"] ** 2 / 2**15)


@pytest.mark.parametrize(
    ("reading", "ev"),
    [
        ({"ev": 12}, 12.0),
        ({"ev": 12, "iso": 400}, 10.0),
        ({"time": "1/60 s", "f_number": 16, "iso": 100}, np.log2(256 * 60)),
        ({"time": "1/60 s", "f_number": 16}, np.log2(256 * 60)),
        ({"time": "2 min", "f_number": 22, "iso": 25}, np.log2(22**2 / 120 * 4)),
        ({"illuminance": "81920 lx"}, 15.0),
        ({"illuminance": "111.411 klx", "calibration_constant": 340}, 15.0),  # EV 15 with a dome [SCIENCE §4]
        ({"luminance": "4096 cd/m^2"}, 15.0),
        ({"luminance": {"value": 4096, "unit": "cd/m²"}, "calibration_constant": 12.5}, 15.0),
    ],
)
def test_each_reading(api: APIClient, reading: Any, ev: float) -> None:
    assert ask(api, "light", {"reading": reading})["ev100"] == pytest.approx(ev, abs=1e-5)


@pytest.mark.parametrize("reading", [{"ev": -20, "iso": 200_000}, {"ev": 30, "iso": 50}])
def test_light_that_is_nowhere_on_earth(api: APIClient, reading: Any) -> None:
    response = api.post("/api/v1/optics/light/", {"reading": reading})
    assert faults_in(response, 422) == {("/reading", "light_out_of_range")}
    assert "−30 to 30" in problem_of(response, 422)["detail"]


# ----------------------------------------------------------------------------------------------------- exposure


@pytest.mark.parametrize(("posted", "law"), SAME_LAWS, ids=str)
@pytest.mark.parametrize("kind", READINGS)
def test_exposure(api: APIClient, posted: Any, law: Law, kind: str) -> None:
    body = {"f_number": 250, "exposure_index": 6, "filter_stops": 1, "correction_stops": -0.5}
    found = ask(api, "exposure", body | {"reading": READINGS[kind], "reciprocity": posted})
    ev100 = ask(api, "light", {"reading": READINGS[kind]})["ev100"]
    core = expose(ev100=ev100, law=law, **{key: float(value) for key, value in body.items()})
    assert found.keys() == {
        "flags", "ev100", "indicated_time", "exposure_time", "reciprocity_stops", "test_strip", "test_strip_plan",
    }  # fmt: skip
    assert found["ev100"] == ev100
    assert seconds(found["indicated_time"]) == core.indicated_time_s
    assert seconds(found["exposure_time"]) == core.exposure_time_s
    assert found["reciprocity_stops"] == core.reciprocity_stops
    assert [seconds(step) for step in found["test_strip"]] == [step.total_s for step in core.test_strip]
    for shown, step in zip(found["test_strip_plan"], core.test_strip, strict=True):
        assert shown.keys() == {"strip", "stops", "uncover", "total"}
        assert (shown["strip"], shown["stops"]) == (step.strip, step.stops)
        assert (seconds(shown["uncover"]), seconds(shown["total"])) == (step.uncover_s, step.total_s)
    assert sorted(found["test_strip"], key=seconds) == found["test_strip"]
    assert found["test_strip"][2] == found["exposure_time"]


def test_the_arithmetic_of_a_time(api: APIClient) -> None:
    """t = N²/(2^EV·EI/100), a filter of one stop doubles it, half a stop held back takes √2 [SCIENCE §4]."""
    body = {"reading": {"ev": 12}, "f_number": 250, "exposure_index": 6}
    bare = 250**2 / (2**12 * 0.06)
    assert seconds(ask(api, "exposure", body)["indicated_time"]) == pytest.approx(bare, rel=1e-14)
    both = ask(api, "exposure", body | {"filter_stops": 1, "correction_stops": -0.5})
    assert seconds(both["exposure_time"]) == pytest.approx(bare * 2**0.5, rel=1e-14)
    assert both["reciprocity_stops"] == 0


def test_a_published_correction(api: APIClient) -> None:
    """A film maker's own example: exponent 1.31, 10 s becomes 20.4 s [SCIENCE §5, read]."""
    body = {"reading": {"ev": 0}, "f_number": np.sqrt(10), "exposure_index": 100}
    found = ask(api, "exposure", body | {"reciprocity": {"law": "power", "exponent": 1.31}})
    assert seconds(found["indicated_time"]) == pytest.approx(10)
    assert seconds(found["exposure_time"]) == pytest.approx(20.4, abs=0.05)


@pytest.mark.parametrize(
    ("rows", "code"),
    [
        ([["10 s", "20 s"], ["1 s", "1 s"]], "table_order"),
        ([["1 s", "2 s"], ["10 s", "2 s"]], "table_order"),
        ([["1 s", "1 s"], ["10 s", "9 s"]], "table_shortens"),
        ([["1 s", "1 s"], ["1.01 s", "2 s"]], "table_steep"),
    ],
)
def test_tables_that_cannot_be(api: APIClient, rows: Any, code: str) -> None:
    for path in ("exposure", "exposure-table", "camera-plan", "exposure-progress"):
        body = OPTICS[path + "/"] | {"reciprocity": {"law": "table", "rows": rows}}
        assert faults_in(api.post(f"/api/v1/optics/{path}/", body), 422) == {("/reciprocity/rows", code)}


# ------------------------------------------------------------------------------------------------------- tables


@pytest.mark.parametrize(("posted", "law"), SAME_LAWS, ids=str)
def test_exposure_table(api: APIClient, posted: Any, law: Law) -> None:
    body = {"f_number": 250, "exposure_index": 6, "reciprocity": posted}
    found, core = ask(api, "exposure-table", body), exposure_table(f_number=250.0, exposure_index=6.0, law=law)
    assert found.keys() == {"rows"}
    assert [row["ev100"] for row in found["rows"]] == list(range(16, 5, -1))
    for shown, row in zip(found["rows"], core, strict=True):
        assert shown.keys() == {"ev100", "indicated_time", "exposure_time"}
        assert seconds(shown["indicated_time"]) == row.indicated_time_s
        assert seconds(shown["exposure_time"]) == row.exposure_time_s


def test_a_table_is_many_exposures(api: APIClient) -> None:
    body = {"f_number": 250, "exposure_index": 6, "reciprocity": LAWS["power"]}
    rows = ask(api, "exposure-table", body | {"ev_from": 8, "ev_to": 10, "step": 0.5})["rows"]
    assert [row["ev100"] for row in rows] == [10, 9.5, 9, 8.5, 8]
    assert rows == ask(api, "exposure-table", body | {"ev_from": 10, "ev_to": 8, "step": 0.5})["rows"]
    for row in rows:
        alone = ask(api, "exposure", body | {"reading": {"ev": row["ev100"]}})
        assert alone["exposure_time"]["value"] == pytest.approx(row["exposure_time"]["value"], rel=1e-14)
