"""The optics endpoints: every variant is answered, in the contract's form, with the core's own numbers, unrounded."""

import re
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from rest_framework.test import APIClient

from optics.core.film_planes import FilmPlane
from optics.core.hole_measurement import combine, counted, given, scanned
from optics.core.holes import RECEPTORS, f_number
from optics.core.profiles import bowed, drum, flat, half_drum, measured
from optics.core.say import say_in
from optics.core.section_svg import section_svg
from tests.answers import ask, deg, mm, quantities
from tests.bodies import FILM_PLANES, OPTICS
from tests.problems import faults_in, problem_of

IN = 25.4
PLANES = {
    "flat": FilmPlane(flat(width_mm=4 * IN, distance_mm=61.0), 5 * IN),
    "bowed": FilmPlane(bowed(width_mm=100.0, depth_mm=60.0, length_mm=125.0), 80.0),
    "drum": FilmPlane(drum(diameter_mm=100.0, length_mm=150.0), 80.0),
    "half_drum": FilmPlane(half_drum(radius_mm=70.0, length_mm=180.0), 5.375 * IN),
    "profile": FilmPlane(
        measured(points_mm=np.array([[-40, 30], [-20, 52], [0, 60], [20, 52], [40, 30]], dtype=float)), 60.0
    ),
}
F_NUMBER = {"f_number", "f_number_uncertainty", "uncertainty_stops", "nearest_third_stop", "stops_from_f22"}
FILM_PLANE = {
    "shape": None, "distance": {"shortest", "longest", "mean", "axis"}, "negative": {"width", "height"},
    "field_of_view": {"horizontal", "vertical", "diagonal"},
    "svg": None,
}  # fmt: skip


# -------------------------------------------------------------------------------------------- the form of answers


@pytest.mark.parametrize("path", OPTICS)
def test_every_quantity_has_its_unit_and_its_form(api: APIClient, path: str) -> None:
    for at, quantity in quantities(ask(api, path.rstrip("/"), OPTICS[path])):
        assert quantity["unit"] in {"mm", "deg", "s", "lx", "cd/m^2", "cycles/mm"}, at
        said = quantity.keys() == {"value", "unit", "text"} and quantity["unit"] == "s"
        assert said or quantity.keys() == {"value", "unit"}, at
        assert type(quantity["value"]) in {int, float}, at


@pytest.mark.parametrize("path", OPTICS)
def test_lengths_in_inches_and_nothing_else(api: APIClient, path: str) -> None:
    metric, inches = (ask(api, path.rstrip("/"), OPTICS[path], query) for query in ("", "?lengths=in"))
    assert ask(api, path.rstrip("/"), OPTICS[path], "?lengths=mm") == metric
    changed, said = dict(quantities(inches)), dict(texts(inches))
    for at, text in texts(metric):
        if at.endswith("svg"):  # its lines may break elsewhere
            assert not re.search(r"\d mm\b", said[at]), at
        elif not at.endswith("unit"):
            assert said[at] == say_in(text, "in"), at
    for at, quantity in quantities(metric):
        if quantity["unit"] == "mm":
            assert changed[at] == {"value": pytest.approx(quantity["value"] / IN, rel=1e-15), "unit": "in"}
            changed[at].update(quantity)
    assert without_texts(inches) == without_texts(metric)


def texts(answer: Any, at: str = "") -> Iterator[tuple[str, str]]:
    """Every text of an answer, with the way to it."""
    if isinstance(answer, str):
        yield at, answer
    elif isinstance(answer, dict | list):
        for key, value in answer.items() if isinstance(answer, dict) else enumerate(answer):
            yield from texts(value, f"{at}/{key}")


def without_texts(answer: Any) -> Any:
    if isinstance(answer, dict):
        return {key: without_texts(value) for key, value in answer.items()}
    if isinstance(answer, list):
        return [without_texts(value) for value in answer]
    return None if isinstance(answer, str) else answer


def test_one_size_however_it_is_written(api: APIClient) -> None:
    """An inch is 25.4 mm exactly; a float is the decimal that names it."""
    sizes = ("4 in", "101.6 mm", "10.16 cm", "101600 µm", '4"', "1/3 ft", {"value": 101.6, "unit": "mm"},
             {"value": 4, "unit": "in"}, "3 3/3 in")  # fmt: skip
    answers = []
    for size in sizes[:-1]:
        plane = FILM_PLANES["flat"] | {"width": size, "height": size, "distance": size}
        answers.append(ask(api, "film-plane", {"film_plane": plane}))
    assert all(answer == answers[0] for answer in answers)
    assert mm(answers[0]["distance"]["axis"]) == 101.6


def test_answers_are_not_rounded(api: APIClient) -> None:
    """Every float of the core comes back to its last bit."""
    found = ask(api, "film-plane", {"film_plane": FILM_PLANES["flat"] | {"distance": "61.123456789012345 mm"}})
    plane = FilmPlane(flat(width_mm=4 * IN, distance_mm=61.123456789012345), 5 * IN)
    assert mm(found["distance"]["longest"]) == plane.longest_mm


# -------------------------------------------------------------------------------------------------- film planes


@pytest.mark.parametrize("kind", FILM_PLANES)
def test_film_plane(api: APIClient, kind: str) -> None:
    found, plane = ask(api, "film-plane", {"film_plane": FILM_PLANES[kind]}), PLANES[kind]
    assert found.keys() == FILM_PLANE.keys()
    assert all(found[key].keys() == keys for key, keys in FILM_PLANE.items() if keys)
    distance, view = found["distance"], plane.field_of_view
    assert [mm(distance[key]) for key in ("shortest", "longest", "mean", "axis")] == [
        plane.shortest_mm, plane.longest_mm, (plane.shortest_mm + plane.longest_mm) / 2, plane.axis_distance_mm,
    ]  # fmt: skip
    assert (mm(found["negative"]["width"]), mm(found["negative"]["height"])) == (plane.length_mm, plane.height_mm)
    assert [deg(found["field_of_view"][key]) for key in ("horizontal", "vertical", "diagonal")] == pytest.approx(
        np.rad2deg([view.horizontal_rad, view.vertical_rad, view.diagonal_rad]), rel=1e-15
    )


def test_a_film_plane_is_drawn_in_the_unit_asked_for(api: APIClient) -> None:
    plane = FilmPlane(flat(width_mm=101.6, distance_mm=61.0), 127.0, 0.0, "flat", {})
    for lengths in ("mm", "in"):
        found = ask(api, "film-plane", {"film_plane": FILM_PLANES["flat"]}, f"?lengths={lengths}")
        assert found["svg"] == section_svg(plane, lengths=lengths)


def test_field_of_view_of_a_flat_sheet(api: APIClient) -> None:
    """2·atan(w/2f), 2·atan(h/2f), 2·atan(√(w²+h²)/2f) [derived]."""
    view = ask(api, "film-plane", {"film_plane": FILM_PLANES["flat"]})["field_of_view"]
    sizes = np.array([4 * IN, 5 * IN, np.hypot(4, 5) * IN])
    assert [deg(view[key]) for key in ("horizontal", "vertical", "diagonal")] == pytest.approx(
        2 * np.rad2deg(np.arctan(sizes / 2 / 61))
    )


def test_a_hole_off_the_middle(api: APIClient) -> None:
    offset = {"hole_offset": {"x": "-10 mm", "y": "5 mm"}}
    found = ask(api, "film-plane", {"film_plane": FILM_PLANES["flat"] | offset})
    plane = FilmPlane(flat(width_mm=4 * IN, distance_mm=61.0, hole_offset_x_mm=-10.0), 5 * IN, 5.0)
    assert mm(found["distance"]["longest"]) == plane.longest_mm
    middle = FILM_PLANES["flat"] | {"hole_offset": {}}
    assert ask(api, "film-plane", {"film_plane": middle}) == ask(api, "film-plane", {"film_plane": FILM_PLANES["flat"]})


IMPOSSIBLE: dict[str, tuple[str, dict[str, Any], str, str]] = {
    "a strip round the whole tin": ("drum", {"length": "315 mm"}, "/length", "strip_too_long"),
    "a strip beyond a half circle": ("half_drum", {"length": "221 mm"}, "/length", "strip_too_long"),
    "a strip no longer than its box": ("bowed", {"length": "100 mm"}, "/length", "strip_too_short"),
    "a strip too long to spring": ("bowed", {"length": "158 mm"}, "/length", "strip_too_long"),
    "film behind the hole's wall": ("profile", {"points": [["-40 mm", "30 mm"], ["40 mm", "-1 mm"]]}, "/points",
                                    "behind_the_hole"),
    "film through the hole": ("profile", {"points": [["-40 mm", "0 mm"], ["40 mm", "0 mm"]]}, "", "film_on_hole"),
    "film seen from behind": ("profile", {"points": [["-5 mm", "9 mm"], ["40 mm", "60 mm"], ["5 mm", "90 mm"]]}, "",
                              "film_turned_away"),
    "one point twice": ("profile", {"points": [["-5 mm", "9 mm"], ["-5 mm", "9 mm"], ["5 mm", "9 mm"]]}, "/points",
                        "points_repeat"),
    "a hole beside the film": ("flat", {"hole_offset": {"x": "60 mm"}}, "/hole_offset", "axis_misses_film"),
}  # fmt: skip
ADVICE = re.compile(r"\b(shorten|keep|take|lay|move|leave|must|give|widen|pull)\b", re.IGNORECASE)


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_a_shape_that_cannot_be_is_told_what_would_have_to_change(api: APIClient, name: str) -> None:
    """422 wherever a film plane may stand, with a pointer into it."""
    kind, change, pointer, code = IMPOSSIBLE[name]
    plane = FILM_PLANES[kind] | change
    for path in ("film-plane", "illumination", "wall-opening", "camera-plan", "sun"):
        response = api.post(f"/api/v1/optics/{path}/", OPTICS[path + "/"] | {"film_plane": plane})
        assert faults_in(response, 422) == {("/film_plane" + pointer, code)}
        [error] = problem_of(response, 422)["errors"]
        assert ADVICE.search(error["detail"]), error["detail"]
    assert faults_in(
        api.post("/api/v1/optics/hole-comparison/", {"film_planes": [plane], "diameters": ["0.3 mm"]}), 422
    )


def test_what_the_refusal_allows_is_allowed(api: APIClient) -> None:
    """The limit in the sentence is itself good."""
    for kind, length in (("drum", "315 mm"), ("half_drum", "221 mm"), ("bowed", "158 mm")):
        response = api.post("/api/v1/optics/film-plane/", {"film_plane": FILM_PLANES[kind] | {"length": length}})
        limit = re.findall(r"(?:at most|less than) ([\d.]+) mm", problem_of(response, 422)["detail"])[-1]
        shorter = f"{float(limit) - 0.01:.2f} mm"
        ask(api, "film-plane", {"film_plane": FILM_PLANES[kind] | {"length": shorter}})


# -------------------------------------------------------------------------------------------------------- holes


@pytest.mark.parametrize(
    ("focal_length", "diameters"),
    [
        ("100 mm", [0.33166, 0.36633, 0.40403, 0.44497, 0.44559, 0.46904]),
        ("70 mm", [0.27749, 0.30650, 0.33804, 0.37229, 0.37281, 0.39243]),
    ],
)
def test_hole_diameter(api: APIClient, focal_length: str, diameters: list[float]) -> None:
    """The six rules at 550 nm [SCIENCE §1]."""
    found = ask(api, "hole-diameter", {"focal_length": focal_length})
    assert found.keys() == {"flags", "rules", "chosen", "nearest_drill"}
    assert [mm(rule["diameter"]) for rule in found["rules"]] == pytest.approx(diameters, abs=6e-6)
    for rule in found["rules"]:
        assert rule.keys() == {"rule", "diameter", "f_number", "source"}
        assert rule["f_number"] == pytest.approx(float(focal_length[:-3]) / mm(rule["diameter"]), rel=1e-14)
        assert rule["source"]
    assert found["chosen"] in found["rules"]
    assert found["chosen"]["rule"] == "rayleigh_1891"
    assert found["nearest_drill"].keys() == {"number", "diameter"}
    assert [flag.keys() for flag in found["flags"]] == [{"code", "text"}]


def test_the_light_and_the_subject_a_hole_is_made_for(api: APIClient) -> None:
    """d = c·√(λF), 1/F = 1/f + 1/g; only the rule takes F, the f-number keeps f [SCIENCE §1]."""
    far = ask(api, "hole-diameter", {"focal_length": "100 mm", "rule": "young_1971", "wavelength": "500 nm"})
    near = ask(api, "hole-diameter", OPTICS["hole-diameter/"] | {"receptor": "500 nm", "subject_distance": "100 mm"})
    assert mm(far["chosen"]["diameter"]) == pytest.approx(2 * np.sqrt(500e-6 * 100))
    assert mm(near["chosen"]["diameter"]) == pytest.approx(2 * np.sqrt(500e-6 * 50))
    assert near["chosen"]["f_number"] == pytest.approx(100 / (2 * np.sqrt(500e-6 * 50)))
    for receptor in RECEPTORS:
        named, told = (
            ask(api, "hole-diameter", {"focal_length": "100 mm"} | light)
            for light in ({"receptor": receptor.name}, {"wavelength": f"{receptor.wavelength_nm} nm"})
        )
        assert named == told
    assert ask(api, "hole-diameter", {"focal_length": "100 mm", "receptor": ".55 µm"}) == ask(
        api, "hole-diameter", {"focal_length": "100 mm"}
    )


def test_rules_and_receptors_nobody_knows(api: APIClient) -> None:
    body = {"focal_length": "100 mm"}
    response = api.post("/api/v1/optics/hole-diameter/", body | {"rule": "best"})
    assert faults_in(response, 422) == {("/rule", "unknown_rule")}
    assert "rayleigh_1891" in problem_of(response, 422)["detail"]
    response = api.post("/api/v1/optics/hole-diameter/", body | {"receptor": "x-ray film"})
    assert faults_in(response) == {("/receptor", "invalid_choice")}
    assert "graded_paper" in problem_of(response, 400)["detail"]
    both = api.post("/api/v1/optics/hole-diameter/", body | {"receptor": "pan_film", "wavelength": "550 nm"})
    assert faults_in(both) == {("/receptor", "ambiguous"), ("/wavelength", "ambiguous")}


def test_f_number(api: APIClient) -> None:
    found = ask(api, "f-number", OPTICS["f-number/"])
    assert found == vars(f_number(focal_length_mm=61.0, diameter_mm=0.24, diameter_uncertainty_mm=0.01))
    assert found.keys() == F_NUMBER
    assert found["f_number"] == 61 / 0.24
    assert found["stops_from_f22"] == pytest.approx(2 * np.log2(2**4.5 / (61 / 0.24)))
    exact = ask(api, "f-number", {"focal_length": "61 mm", "diameter": "0.24 mm"})
    assert (exact["f_number_uncertainty"], exact["uncertainty_stops"]) == (0.0, 0.0)


def test_hole_measurement(api: APIClient) -> None:
    found = ask(api, "hole-measurement", OPTICS["hole-measurement/"])
    core = combine([
        counted(holes_across=4.25, span_mm=1.0, holes_across_uncertainty=0.2, direction="across"),
        scanned(pixels=64, resolution_dpi=4800, direction="down"),
        given(diameter_mm=0.24, uncertainty_mm=0.01, direction="down"),
    ])  # fmt: skip
    assert found.keys() == {"flags", "diameter", "uncertainty", "roundness_share", "f_number", "target", "advice"}
    assert (mm(found["diameter"]), mm(found["uncertainty"])) == (core.diameter_mm, core.uncertainty_mm)
    assert found["roundness_share"] == core.roundness_share
    assert found["f_number"]["f_number"] == 61 / core.diameter_mm


@pytest.mark.parametrize(
    ("reading", "diameter", "uncertainty"),
    [
        ({"holes_across": 4.25, "span": "1 mm"}, 1 / 4.25, 0.25 / 4.25**2),
        ({"holes_across": 4.25, "span": "1/10 in"}, 2.54 / 4.25, 2.54 * 0.25 / 4.25**2),
        ({"pixels": 64, "resolution": "4800 dpi"}, 64 * 25.4 / 4800, np.sqrt(1 / 6) * 25.4 / 4800),
        ({"pixels": 64, "resolution": "5 µm/px"}, 0.32, np.sqrt(1 / 6) * 0.005),
        ({"diameter": "0.24 mm", "uncertainty": "0.01 mm"}, 0.24, 0.01),
        ({"diameter": "0.24 mm"}, 0.24, 0.012),
    ],
)
def test_each_way_to_measure(api: APIClient, reading: Any, diameter: float, uncertainty: float) -> None:
    found = ask(api, "hole-measurement", {"readings": [reading]})
    assert found.keys() == {"flags", "diameter", "uncertainty", "roundness_share", "target", "advice"}
    assert mm(found["diameter"]) == pytest.approx(diameter, rel=1e-12)
    assert mm(found["uncertainty"]) == pytest.approx(uncertainty, rel=1e-12)
    assert found["roundness_share"] is None


def test_tries_are_ranked_against_the_target(api: APIClient) -> None:
    tries = [{"label": name, "readings": [{"diameter": size, "uncertainty": "5 µm"}]}
             for name, size in (("A", "0.30 mm"), ("B", "0.25 mm"), ("C", "0.24 mm"))]  # fmt: skip
    found = ask(api, "hole-measurement", {"tries": tries, "target": "0.25 mm"})
    assert [each["label"] for each in found["ranking"]] == ["B", "C", "A"]
    assert found["ranking"][2]["off_target_stops"] == pytest.approx(2 * np.log2(0.30 / 0.25))
    assert found["ranking"][0].keys() == {"label", "measurement", "off_target_stops"}
    assert mm(found["diameter"]) == 0.25
    response = api.post("/api/v1/optics/hole-measurement/", {"tries": tries})
    assert faults_in(response) == {("/target", "required")}


@pytest.mark.parametrize(
    ("body", "faults"),
    [
        ({}, {("/readings", "required")}),
        ({"readings": [{}]}, {("/readings/0/holes_across", "required")}),
        ({"readings": [{"pixels": 64}]}, {("/readings/0/resolution", "required")}),
        ({"readings": [{"diameter": "1 mm", "span": "1 mm"}]}, {("/readings/0/span", "unknown_key")}),
        ({"readings": [{"diameter": "1 mm"}, {"holes_across": 4, "pixels": 4, "span": "1 mm"}]},
         {("/readings/1/holes_across", "ambiguous"), ("/readings/1/pixels", "ambiguous")}),
    ],
)  # fmt: skip
def test_readings_that_do_not_go_together(api: APIClient, body: Any, faults: Any) -> None:
    assert faults_in(api.post("/api/v1/optics/hole-measurement/", body)) == faults
