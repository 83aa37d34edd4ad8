"""The sharpness and comparison endpoints, and the detail on a whole negative."""

from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from rest_framework.test import APIClient

from optics.core import profiles
from optics.core.film_detail import compare_holes, film_detail
from optics.core.film_planes import FilmPlane
from optics.core.sharpness import resolved_frequency, sharpness
from optics.core.spectral_bands import band_weights, spectral_band

GREEN = spectral_band(550.0)
FLAT = {"kind": "flat", "width": "100 mm", "height": "80 mm", "distance": "70 mm"}


def flat(width_mm: float, height_mm: float, distance_mm: float, x_mm: float = 0.0) -> FilmPlane:
    profile = profiles.flat(width_mm=width_mm, distance_mm=distance_mm, hole_offset_x_mm=x_mm)
    return FilmPlane(profile, height_mm, kind="flat")


def ask(api: APIClient, name: str, body: dict[str, Any], status: int = 200) -> dict[str, Any]:
    response = api.post(f"/api/v1/optics/{name}/", body)
    assert response.status_code == status, response.content
    return response.json()


def test_a_small_negative_holds_its_size_times_the_resolved_frequency() -> None:
    """Near the axis nothing leans: width · mtf10 and height · mtf10 [derived]."""
    detail = film_detail(flat(4, 3, 100), hole_diameters_mm=np.array([0.3]), band=GREEN)
    mtf10 = resolved_frequency(hole_diameter_mm=0.3, distance_mm=100, wavelengths_nm=550, at_contrast=0.1)
    assert detail.across[0] == pytest.approx(4 * mtf10, rel=1e-3)
    assert detail.down[0] == pytest.approx(3 * mtf10, rel=1e-3)


def test_a_square_negative_holds_as_much_across_as_down() -> None:
    detail = film_detail(flat(90, 90, 80), hole_diameters_mm=np.array([0.25, 0.35]), band=GREEN)
    assert detail.across == pytest.approx(detail.down)


def test_scaling_a_camera_and_its_hole_by_the_root_keeps_the_fresnel_number_and_scales_detail_by_the_root() -> None:
    """With d² ∝ f the OTF keeps its shape in νλf/a, so ν ∝ 1/√f and the count on a size ∝ f grows as √f [derived]."""
    small = film_detail(flat(60, 50, 70), hole_diameters_mm=np.array([0.25]), band=GREEN)
    large = film_detail(flat(240, 200, 280), hole_diameters_mm=np.array([0.5]), band=GREEN)
    assert large.across[0] == pytest.approx(2 * small.across[0], rel=1e-6)


def test_all_holes_at_once_are_the_holes_one_by_one() -> None:
    holes = np.geomspace(0.15, 0.6, 7)
    band = band_weights(low_nm=400, high_nm=500)
    plane = FilmPlane(profiles.drum(diameter_mm=100, length_mm=150), 80)
    together = film_detail(plane, hole_diameters_mm=holes, band=band)
    singly = [film_detail(plane, hole_diameters_mm=np.array([hole]), band=band).across[0] for hole in holes]
    assert together.across == pytest.approx(singly, rel=1e-5)


def test_an_upright_hole_offset_changes_the_middle_row_s_detail_symmetrically() -> None:
    left, right = (film_detail(flat(90, 60, 70, x), hole_diameters_mm=np.array([0.3]), band=GREEN) for x in (-15, 15))
    assert left.across == pytest.approx(right.across, rel=1e-6)


def test_the_comparison_says_which_hole_is_best_where() -> None:
    found = compare_holes([flat(100, 80, 90), flat(200, 160, 180)], hole_diameters_mm=[0.2, 0.35, 0.9], band=GREEN)
    assert len(found.pairs) == 6
    best = max((pair for pair in found.pairs if pair.format == 0), key=lambda pair: pair.picture)
    assert f"most detail with a {best.diameter_mm:.3f} mm hole" in found.answer[0]
    assert "times the detail" in found.answer[-1]
    assert found.pairs[0].f_number == pytest.approx(flat(100, 80, 90).mean_mm / 0.2)


def test_sharpness_is_the_core_s(api: APIClient) -> None:
    body = {"hole": {"diameter": "0.3 mm"}, "distance": "70 mm", "receptor": "graded_paper", "film_plane": FLAT}
    found = ask(api, "sharpness", body)
    band = band_weights(low_nm=400, high_nm=500)
    core = sharpness(hole_diameter_mm=0.3, distance_mm=70, wavelengths_nm=band.wavelengths_nm, weights=band.weights)
    assert found["mtf50"] == pytest.approx(core.mtf50_cycles_per_mm)
    assert found["mtf10"] == pytest.approx(core.mtf10_cycles_per_mm)
    assert found["point_spread"]["radius"] == pytest.approx(core.point_spread.radius_mm)
    assert found["point_spread"]["relative_intensity"] == pytest.approx(core.point_spread.relative_intensity)
    assert found["mtf"]["contrast"] == pytest.approx(core.modulation_transfer.contrast)
    assert found["encircled_energy"]["share"][0] == 0
    assert np.all(np.diff(found["encircled_energy"]["share"]) > -1e-9)
    assert found["line_pairs"]["picture"] == pytest.approx(found["line_pairs"]["across"] * found["line_pairs"]["down"])
    assert "paraxial" in found["approximation"]
    assert "off_axis" not in found


def test_off_the_axis_tangential_detail_suffers_more(api: APIClient) -> None:
    body = {"hole": {"diameter": "0.3 mm"}, "distance": "70 mm", "field_angle": "40 deg"}
    off = ask(api, "sharpness", body)["off_axis"]
    assert off["field_angle"] == {"value": pytest.approx(40), "unit": "deg"}
    assert off["tangential"]["mtf50"] < off["radial"]["mtf50"]
    assert off["approximation"]


def test_on_the_axis_off_axis_is_the_axis(api: APIClient) -> None:
    body = {"hole": {"diameter": "0.3 mm"}, "distance": "70 mm", "field_angle": "0 deg", "wavelengths": ["500 nm"]}
    found = ask(api, "sharpness", body)
    for direction in ("tangential", "radial"):
        assert found["off_axis"][direction]["mtf50"] == pytest.approx(found["mtf50"], rel=1e-5)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"receptor": "tin foil"}, "/receptor"),
        ({"receptor": "pan_film", "wavelengths": ["500 nm"]}, "/receptor"),
        ({"wavelengths": ["200 nm", "900 nm"]}, "/wavelengths"),
        ({"wavelengths": []}, "/wavelengths"),
        ({"field_angle": "89 deg"}, "/field_angle"),
        ({"distance": "70"}, "/distance"),
    ],
)
def test_what_is_wrong_is_pointed_at(api: APIClient, change: dict[str, Any], pointer: str) -> None:
    body = {"hole": {"diameter": "0.3 mm"}, "distance": "70 mm"} | change
    problem = ask(api, "sharpness", body, 400)
    assert problem["errors"][0]["pointer"] == pointer


def test_the_comparison_answers_and_draws(api: APIClient) -> None:
    body = {"film_planes": [FLAT, FLAT | {"distance": "140 mm"}], "diameters": ["0.2 mm", "0.3 mm", "0.5 mm"]}
    found = ask(api, "hole-comparison", body)
    assert [(row["format"], row["diameter"]["value"]) for row in found["rows"]] == [
        (k, d) for k in (0, 1) for d in (0.2, 0.3, 0.5)
    ]
    stops = [row["stops"] for row in found["rows"]]
    # Twice the diameter and a half: 2·log₂(2.5) stops.
    assert stops[2] - stops[0] == pytest.approx(2 * np.log2(2.5))
    drawing = ET.fromstring(found["svg"])  # noqa: S314  (our own)
    assert not any("style" in element.attrib for element in drawing.iter())
    texts = [element.text for element in drawing.iter() if element.text]
    assert all(label in texts for label in found["labels"])


def test_a_comparison_of_one_hole_in_one_format_is_answered(api: APIClient) -> None:
    found = ask(api, "hole-comparison", {"film_planes": [FLAT], "diameters": ["0.3 mm"]})
    assert len(found["rows"]) == 1
    assert len(found["answer"]) == 1
