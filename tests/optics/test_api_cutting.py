"""The endpoints for cutting and for the whole plan: sheets, the opening in the wall, and everything about one box."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from optics.core.film_planes import FilmPlane
from optics.core.profiles import drum
from optics.core.sheet_cuts import NAMED_SHEETS, cut_sheet
from optics.core.wall_opening import check_opening, wall_opening
from tests.answers import ask, deg, mm
from tests.bodies import FILM_PLANES, HOLE, OPTICS
from tests.problems import faults_in, problem_of

TIN = FilmPlane(drum(diameter_mm=100.0, length_mm=150.0), 80.0)
SHEET_CUTS = {"flags", "count", "optimal", "waste_share", "pieces", "cuts", "svg", "caution"}
CHECK = {"clears", "clipped_share", "dark_share", "clear_width", "clear_height", "corner_stops"}
PLAN = {
    "film_plane", "hole", "hole_diameter", "f_number", "illumination", "wall_opening", "wall_opening_used_share",
    "sheet_cuts", "exposure_table", "comparison", "advice", "svg", "light_svg",
}  # fmt: skip


# ------------------------------------------------------------------------------------------------------- sheets


@pytest.mark.parametrize(("kerf", "grain"), [(0.0, "any"), (0.5, "any"), (0.0, "along_width"), (0.0, "along_height")])
def test_sheet_cuts(api: APIClient, kerf: float, grain: Any) -> None:
    body = {"sheet": {"width": "8 in", "height": "10 in"}, "piece": {"width": "100 mm", "height": "60 mm"}}
    found = ask(api, "sheet-cuts", body | {"kerf": f"{kerf} mm", "grain": grain})
    core = cut_sheet(
        sheet_width_mm=203.2, sheet_height_mm=254.0, piece_width_mm=100.0, piece_height_mm=60.0, kerf_mm=kerf,
        grain=grain,
    )  # fmt: skip
    assert found.keys() == SHEET_CUTS
    assert (found["count"], found["waste_share"], found["optimal"]) == (core.count, core.waste_share, core.optimal)
    for shown, piece in zip(found["pieces"], core.pieces, strict=True):
        assert shown.keys() == {"x", "y", "width", "height", "turned"}
        assert [mm(shown[key]) for key in ("x", "y", "width", "height")] == [
            piece.x_mm, piece.y_mm, piece.width_mm, piece.height_mm,
        ]  # fmt: skip
        assert shown["turned"] is piece.turned
    for shown, cut in zip(found["cuts"], core.cuts, strict=True):
        assert shown.keys() == {"step", "x1", "y1", "x2", "y2", "text"}
        assert (shown["step"], shown["text"]) == (cut.step, cut.text)
        assert [mm(shown[key]) for key in ("x1", "y1", "x2", "y2")] == [cut.x1_mm, cut.y1_mm, cut.x2_mm, cut.y2_mm]
    assert found["svg"].startswith("<svg ")
    assert "blade" in found["caution"]


@pytest.mark.parametrize("name", NAMED_SHEETS)
def test_sheets_by_name(api: APIClient, name: str) -> None:
    width, height = NAMED_SHEETS[name]
    piece = {"width": f"{width / 2:.12g} mm", "height": f"{height / 2:.12g} mm"}
    named = ask(api, "sheet-cuts", {"sheet": name, "piece": piece})
    sized = {"width": f"{width} mm", "height": f"{height} mm"}
    assert named == ask(api, "sheet-cuts", {"sheet": sized, "piece": piece})
    assert (named["count"], named["waste_share"]) == (4, pytest.approx(0, abs=1e-12))


def test_sheets_that_cannot_be_cut(api: APIClient) -> None:
    def faults(body: Any) -> Any:
        response = api.post("/api/v1/optics/sheet-cuts/", body)
        assert "take" in problem_of(response, 422)["detail"].lower()
        return faults_in(response, 422)

    large = {"width": "9 in", "height": "11 in"}
    assert faults({"sheet": "8x10 in", "piece": large}) == {("/piece", "piece_larger_than_sheet")}
    across = {"width": "9 in", "height": "7 in"}
    assert faults({"sheet": "8x10 in", "piece": across, "grain": "along_width"}) == {
        ("/piece", "piece_larger_than_sheet")
    }
    small = {"width": "1 mm", "height": "1 mm"}
    assert faults({"sheet": "8x10 in", "piece": small}) == {("/piece", "too_many_pieces")}
    response = api.post("/api/v1/optics/sheet-cuts/", {"sheet": "A4", "piece": small})
    assert faults_in(response) == {("/sheet", "invalid_choice")}
    assert "8x10 in" in problem_of(response, 400)["detail"]


# ------------------------------------------------------------------------------------------------- wall opening


@pytest.mark.parametrize("side", ["inside", "outside"])
@pytest.mark.parametrize("share", [0.5, 1.0])
def test_wall_opening(api: APIClient, side: Any, share: float) -> None:
    body = {"film_plane": FILM_PLANES["drum"], "hole": HOLE, "wall_thickness": "3 mm", "margin": "0.5 mm",
            "plate_side": side, "used_share": share}  # fmt: skip
    common: dict[str, Any] = {"wall_thickness_mm": 3.0, "hole_diameter_mm": 0.3, "plate_thickness_mm": 0.1,
                              "plate_side": side, "used_share": share}  # fmt: skip
    found, core = ask(api, "wall-opening", body), wall_opening(TIN, margin_mm=0.5, **common)
    assert found.keys() == {"width", "height", "clear_angle"}
    assert (mm(found["width"]), mm(found["height"])) == (core.width_mm, core.height_mm)
    assert deg(found["clear_angle"]) == pytest.approx(core.clear_angle_rad * 180 / 3.141592653589793, rel=1e-14)

    found = ask(api, "wall-opening", body | {"opening": {"width": "12 mm", "height": "8 mm"}})["check"]
    check = check_opening(TIN, opening_width_mm=12.0, opening_height_mm=8.0, **common)
    assert found.keys() == CHECK
    assert (found["clears"], found["clipped_share"], found["dark_share"]) == (
        check.clears, check.clipped_share, check.dark_share,
    )  # fmt: skip
    assert (mm(found["clear_width"]), mm(found["clear_height"])) == (check.clear_width_mm, check.clear_height_mm)


def test_an_opening_of_the_size_told_clears(api: APIClient) -> None:
    body = OPTICS["wall-opening/"] | {"margin": "0 mm"}
    told = ask(api, "wall-opening", body)
    again = ask(api, "wall-opening", body | {"opening": {key: told[key] for key in ("width", "height")}})
    assert again["check"]["clears"] is True
    assert again["check"]["clipped_share"] < 0.2  # the ends beyond the used share


def test_walls_that_cannot_be(api: APIClient) -> None:
    thick = OPTICS["wall-opening/"] | {
        "film_plane": FILM_PLANES["flat"],
        "plate_side": "outside",
        "wall_thickness": "61 mm",
    }
    response = api.post("/api/v1/optics/wall-opening/", thick)
    assert faults_in(response, 422) == {("/wall_thickness", "wall_too_thick")}
    plane = FILM_PLANES["bowed"]
    bare = {"film_plane": plane, "hole": {"diameter": "0.3 mm"}, "wall_thickness": "3 mm"}
    response = api.post("/api/v1/optics/wall-opening/", bare)
    assert faults_in(response, 422) == {("/film_plane", "opening_unbounded")}
    assert "smaller used_share" in problem_of(response, 422)["detail"]
    ask(api, "wall-opening", bare | {"used_share": 0.9})
    ask(api, "wall-opening", bare | {"hole": HOLE})


# -------------------------------------------------------------------------------------------------- camera plan


@pytest.mark.parametrize("kind", FILM_PLANES)
def test_a_plan_is_the_sum_of_its_parts(api: APIClient, kind: str) -> None:
    """Each part is what its own endpoint answers."""
    plane, body = FILM_PLANES[kind], OPTICS["camera-plan/"] | {"film_plane": FILM_PLANES[kind], "used_share": 1.0}
    plan = ask(api, "camera-plan", body)
    assert plan.keys() == PLAN
    alone = ask(api, "film-plane", {"film_plane": plane})
    assert plan["film_plane"] | {"svg": plan["svg"]} == alone
    mean = plan["film_plane"]["distance"]["mean"]
    assert plan["hole"] == ask(api, "hole-diameter", {"focal_length": mean, "wavelength": "500 nm"})
    assert plan["f_number"] == ask(
        api, "f-number", {"focal_length": mean, "diameter": "0.30 mm", "diameter_uncertainty": "0.01 mm"}
    )
    assert mm(plan["hole_diameter"]) == 0.3
    light = ask(api, "illumination", {"film_plane": plane, "hole": HOLE})
    assert plan["illumination"] == {key: value for key, value in light.items() if key not in {"x", "y", "stops", "svg"}}
    assert plan["light_svg"] == light["svg"]
    opening = {"film_plane": plane, "hole": HOLE, "wall_thickness": "3 mm", "plate_side": "outside"}
    assert plan["wall_opening"] == ask(api, "wall-opening", opening | {"used_share": plan["wall_opening_used_share"]})
    assert plan["sheet_cuts"] == ask(api, "sheet-cuts", {"sheet": "8x10 in", "piece": plan["film_plane"]["negative"]})
    table = {"f_number": plan["f_number"]["f_number"], "exposure_index": 6}
    assert plan["exposure_table"] == ask(api, "exposure-table", table)["rows"]
    assert [each["name"] for each in plan["comparison"]] == (["flat", "bowed"] if kind in {"flat", "bowed"} else [])
    assert all(each.keys() == {"name", "film_plane", "light"} for each in plan["comparison"])
    drawn = [each["film_plane"]["svg"] for each in plan["comparison"] if each["name"] == kind]
    assert drawn == ([plan["svg"]] if kind in {"flat", "bowed"} else [])


def test_a_plan_of_a_container_alone(api: APIClient) -> None:
    """Without a hole the rule's own is planned; what was not asked for is null or empty."""
    plan = ask(api, "camera-plan", {"film_plane": FILM_PLANES["drum"]})
    assert plan.keys() == PLAN
    assert plan["hole_diameter"] == plan["hole"]["chosen"]["diameter"]
    assert plan["f_number"]["f_number_uncertainty"] == 0
    assert plan["wall_opening"] is plan["sheet_cuts"] is None
    assert plan["exposure_table"] == plan["comparison"] == []
    advice = [each["code"] for each in plan["advice"]]
    assert all(each.keys() == {"code", "text"} for each in plan["advice"])
    assert {"drum_is_even", "nearest_drill", "needle_numbers_vary"} <= set(advice)
    assert advice[-1] == "caution_blades"


def test_advice_quotes_the_figure_it_comes_from(api: APIClient) -> None:
    plan = ask(api, "camera-plan", OPTICS["camera-plan/"])
    texts = {each["code"]: each["text"] for each in plan["advice"]}
    assert f"{-plan['illumination']['darkest_stops']:.1f} stops darker" in texts["corner_dark"]
    assert (
        f"{mm(plan['wall_opening']['width']):.1f} × {mm(plan['wall_opening']['height']):.1f} mm" in texts["wall_clips"]
    )


def test_a_negative_too_large_for_its_sheet_is_a_doubt_not_a_refusal(api: APIClient) -> None:
    plan = ask(api, "camera-plan", {"film_plane": FILM_PLANES["drum"], "sheet": "4x5 in"})
    assert plan["sheet_cuts"] is None
    assert "strip_too_long" in [each["code"] for each in plan["advice"]]


def test_plans_that_cannot_be(api: APIClient) -> None:
    for change, fault in (
        ({"rule": "best"}, ("/rule", "unknown_rule")),
        ({"wall_thickness": "61 mm"}, ("/wall_thickness", "wall_too_thick")),
        ({"film_plane": FILM_PLANES["drum"] | {"length": "400 mm"}}, ("/film_plane/length", "strip_too_long")),
    ):
        response = api.post("/api/v1/optics/camera-plan/", OPTICS["camera-plan/"] | change)
        assert faults_in(response, 422) == {fault}
