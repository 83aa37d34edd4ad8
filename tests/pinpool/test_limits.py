"""Numbers at the edge of what may be written: each gets an answer or a refusal, never a fault of ours."""

from itertools import product
from typing import Any

import pytest
from rest_framework.test import APIClient

from tests.bodies import FILM_PLANES, OPTICS, READINGS
from tests.problems import faults_in, problem_of

API = "/api/v1/optics/"


def mm(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "mm"}


def seconds(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "s"}


@pytest.mark.parametrize("tiny", [1e-3, 9e-4, 1e-6, 1e-300, 5e-324])
@pytest.mark.parametrize(
    ("path", "key"),
    [("f-number/", "focal_length"), ("f-number/", "diameter"), ("hole-diameter/", "focal_length"),
     ("wall-opening/", "wall_thickness")],
)  # fmt: skip
def test_lengths_end_at_a_micrometre(api: APIClient, path: str, key: str, tiny: float) -> None:
    response = api.post(API + path, OPTICS[path] | {key: mm(tiny)})
    if tiny < 1e-3:
        assert faults_in(response) == {("/" + key, "out_of_range")}
        assert "at least 0.001 mm" in problem_of(response, 400)["detail"]
    else:
        assert response.status_code == 200


@pytest.mark.parametrize("uncertainty", [0.0, 5e-324, 1e-200, 1e-9, 20.0])
@pytest.mark.parametrize("other", [0.0, 5e-324, 1e-200, 0.01])
def test_any_uncertainty_can_be_pooled(api: APIClient, uncertainty: float, other: float) -> None:
    readings = [
        {"diameter": "0.24 mm", "uncertainty": mm(uncertainty)},
        {"diameter": "0.26 mm", "uncertainty": mm(other)},
    ]
    response = api.post(API + "hole-measurement/", {"readings": readings, "focal_length": "61 mm"})
    assert response.status_code == 200
    assert 0.24 <= response.json()["diameter"]["value"] <= 0.26
    assert 0 <= response.json()["uncertainty"]["value"] < 15


@pytest.mark.parametrize("thickness", [0.0, 5e-324, 1e-200, 1e-9, 20.0])
@pytest.mark.parametrize("diameter", [1e-3, 0.3, 20.0])
@pytest.mark.parametrize("path", ["illumination/", "wall-opening/", "camera-plan/"])
def test_any_plate(api: APIClient, path: str, thickness: float, diameter: float) -> None:
    hole = {"diameter": mm(diameter), "plate_thickness": mm(thickness)}
    body = OPTICS[path] | {"film_plane": FILM_PLANES["flat"], "hole": hole}
    assert api.post(API + path, body).status_code == 200


@pytest.mark.parametrize("kind", FILM_PLANES)
@pytest.mark.parametrize("scale", [1e-3, 1.0, 100.0])
def test_film_planes_of_any_size(api: APIClient, kind: str, scale: float) -> None:
    """The smallest and the largest of a shape are answered, or refused with what would have to change."""
    sizes = {"width": 90, "height": 80, "distance": 60, "depth": 60, "length": 95, "diameter": 100, "radius": 70}
    plane = {key: mm(sizes[key] * scale) if key in sizes else value for key, value in FILM_PLANES[kind].items()}
    if kind == "profile":
        plane["points"] = [[mm(x * scale), mm(z * scale)] for x, z in ((-4, 3), (0, 6), (4, 3))]
    for path in ("film-plane/", "camera-plan/"):
        response = api.post(API + path, {"film_plane": plane})
        assert response.status_code in {200, 422}, response.content
        if scale == 1.0:
            assert response.status_code == 200


@pytest.mark.parametrize("ev", [-20, 30])
@pytest.mark.parametrize("f_number", [1, 100_000])
@pytest.mark.parametrize("index", [0.001, 1e6])
@pytest.mark.parametrize("stops", [(0, -15), (30, 15)])
def test_exposures_at_every_corner(api: APIClient, ev: float, f_number: float, index: float, stops: Any) -> None:
    """Also with the steepest laws that may be written."""
    body = {"reading": {"ev": ev}, "f_number": f_number, "exposure_index": index, "filter_stops": stops[0],
            "correction_stops": stops[1]}  # fmt: skip
    for law in (
        {"law": "none"},
        {"law": "power", "exponent": 3, "from": seconds(1e-6)},
        {"law": "table", "rows": [[seconds(1e-6), seconds(1e-6)], [seconds(2e-6), seconds(8e-6)]]},
    ):
        response = api.post(API + "exposure/", body | {"reciprocity": law})
        assert response.status_code == 200, response.content
        assert response.json()["exposure_time"]["value"] > 0
        assert all(step["value"] > 0 for step in response.json()["test_strip"])


@pytest.mark.parametrize("from_s", [0.0, 1e-7, 1e-300, -1.0, 3.3e8])
def test_a_power_law_starts_at_a_time(api: APIClient, from_s: float) -> None:
    law = {"law": "power", "exponent": 1.3, "from": seconds(from_s)}
    response = api.post(API + "exposure/", OPTICS["exposure/"] | {"reciprocity": law})
    assert faults_in(response) == {("/reciprocity/from", "out_of_range")}


@pytest.mark.parametrize(
    "rows",
    [
        [[1, 1], [1.0000001, 3e8]],
        [[1, 1], [2, 100]],
        [[1e8, 1e8], [1.0000000000000002e8, 3e8]],
        [[1, 1], [1.0000000000000002, 1.0000000000000002]],
    ],
)
def test_tables_too_steep_to_follow(api: APIClient, rows: Any) -> None:
    law = {"law": "table", "rows": [[seconds(a), seconds(b)] for a, b in rows]}
    response = api.post(API + "exposure/", OPTICS["exposure/"] | {"reciprocity": law})
    assert faults_in(response, 422) == {("/reciprocity/rows", "table_steep")}
    assert "check the rows" in problem_of(response, 422)["detail"]


@pytest.mark.parametrize("reading", [
    {"illuminance": {"value": 1e-9, "unit": "lx"}},
    {"luminance": {"value": 1e-10, "unit": "cd/m^2"}},
    {"ev": -20, "iso": 1e7},
    {"ev": 30, "iso": 0.01},
    {"time": seconds(1e-6), "f_number": 100_000, "iso": 0.01},
    {"time": seconds(1e6), "f_number": 0.5, "iso": 1e7},
])  # fmt: skip
def test_light_beyond_any_on_earth(api: APIClient, reading: Any) -> None:
    response = api.post(API + "light/", {"reading": reading})
    assert faults_in(response, 422) == {("/reading", "light_out_of_range")}


@pytest.mark.parametrize("kind", READINGS)
def test_light_at_the_edge_is_answered(api: APIClient, kind: str) -> None:
    edges = {
        "ev": [{"ev": e} for e in (-20, 30)],
        "time": [{"time": seconds(t), "f_number": n} for t, n in ((1e6, 0.5), (1e-6, 32))],
        "illuminance": [{"illuminance": {"value": v, "unit": "lx"}} for v in (1e-8, 1e7)],
        "luminance": [{"luminance": {"value": v, "unit": "cd/m^2"}} for v in (1e-9, 1e7)],
    }[kind]
    for reading in edges:
        assert api.post(API + "light/", {"reading": reading}).status_code == 200


def test_the_largest_questions_are_answered(api: APIClient) -> None:
    points = [[mm(4 * x - 1000), mm(1000)] for x in range(500)]
    body = {"film_plane": {"kind": "profile", "height": "1 m", "points": points}, "hole": {"diameter": "1 mm"},
            "columns": 401, "rows": 401}  # fmt: skip
    answer = api.post(API + "illumination/", body)
    assert answer.status_code == 200
    assert len(answer.json()["stops"]) == 401
    table = {"f_number": 250, "exposure_index": 6, "ev_from": -20, "ev_to": 30, "step": 0.1}
    assert len(api.post(API + "exposure-table/", table).json()["rows"]) == 501
    tries = [{"label": f"{n}", "readings": [{"diameter": "0.2 mm"}] * 20} for n in range(20)]
    assert len(api.post(API + "hole-measurement/", {"tries": tries, "target": "0.2 mm"}).json()["ranking"]) == 20


@pytest.mark.parametrize(("sheet", "piece"), list(product([mm(1e-3), mm(1e4)], repeat=2)), ids=str)
def test_sheets_at_the_edge(api: APIClient, sheet: Any, piece: Any) -> None:
    body = {"sheet": {"width": sheet, "height": sheet}, "piece": {"width": piece, "height": piece}, "kerf": mm(50)}
    assert api.post(API + "sheet-cuts/", body).status_code in {200, 422}
