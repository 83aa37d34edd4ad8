"""The hole-scan endpoint: forms with a picture."""

from io import BytesIO
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image
from rest_framework.test import APIClient

from optics.core.camera_plan import choose_hole
from optics.core.hole_advice import MadeHole, advise_hole
from optics.core.hole_scan import measure_hole_scan
from optics.core.hole_scan_scale import scale_from_dpi
from tests.bodies import FORMS
from tests.optics.synthetic_scans import random_recipe, render

SCAN = render(random_recipe(7))
DPI = 25.4 / SCAN.mm_per_pixel
TOLD = {"resolution": f"{DPI:.6f} dpi", "tone_curve": SCAN.tone_curve}


def picture(data: bytes | None = None, name: str = "hole.png") -> SimpleUploadedFile:
    if data is None:
        out = BytesIO()
        Image.fromarray(SCAN.image).save(out, "PNG")
        data = out.getvalue()
    return SimpleUploadedFile(name, data, "image/png")


def ask(api: APIClient, status: int = 200, **form: Any) -> dict[str, Any]:
    response = api.post("/api/v1/optics/hole-scan/", form, format="multipart")
    assert response.status_code == status, response.content
    return response.json()


def test_the_answer_is_the_core_s_and_close_to_the_truth(api: APIClient) -> None:
    found = ask(api, image=picture(), **FORMS["hole-scan/"] | TOLD)
    scale = scale_from_dpi(resolution_dpi=DPI)
    core = measure_hole_scan(image=SCAN.image, mm_per_pixel=scale.mm_per_pixel, tone_curve=SCAN.tone_curve)
    assert found["diameter"]["value"] == pytest.approx(core.diameter_mm, rel=1e-6)
    assert found["diameter"]["value"] == pytest.approx(SCAN.diameter_mm, rel=0.01)
    assert found["uncertainty"]["value"] == pytest.approx(core.uncertainty_mm, rel=1e-3)
    assert found["roundness_share"] == pytest.approx(SCAN.roundness_share, abs=0.02)
    assert found["f_number"] == pytest.approx(61 / core.diameter_mm, rel=1e-6)
    made = MadeHole(core.diameter_mm, core.uncertainty_mm, core.roundness_share, core.burr_share)
    wanted = choose_hole(focal_length_mm=61).chosen.diameter_mm
    assert found["target"]["value"] == wanted
    assert found["advice"] == [vars(flag) for flag in advise_hole(made, wanted_mm=wanted)]
    drawing = ET.fromstring(found["outline_svg"])  # noqa: S314  (our own)
    height, width = SCAN.image.shape
    assert drawing.attrib["viewBox"] == f"0 0 {width} {height}"
    assert not any("style" in element.attrib for element in drawing.iter())


def test_the_scale_may_be_microns_a_pixel_or_two_marks(api: APIClient) -> None:
    by_resolution = ask(api, image=picture(), **TOLD)["diameter"]["value"]
    told = {"tone_curve": SCAN.tone_curve}
    microns = ask(api, image=picture(), resolution=f"{1000 * SCAN.mm_per_pixel:.6f} µm/px", **told)
    assert microns["diameter"]["value"] == pytest.approx(by_resolution, rel=1e-6)
    apart = f"{100 * SCAN.mm_per_pixel:.6f} mm"
    marked = ask(api, image=picture(), marks="3,4; 63,84", marks_apart=apart, **told)
    assert marked["diameter"]["value"] == pytest.approx(by_resolution, rel=1e-5)
    assert marked["uncertainty"]["value"] > ask(api, image=picture(), **TOLD)["uncertainty"]["value"]


def test_an_unknown_tone_curve_says_so_and_is_less_sure(api: APIClient) -> None:
    known = ask(api, image=picture(), **TOLD)
    unknown = ask(api, image=picture(), resolution=TOLD["resolution"])
    assert "tone_curve_unknown" in [flag["code"] for flag in unknown["flags"]]
    assert unknown["uncertainty"]["value"] > known["uncertainty"]["value"]


@pytest.mark.parametrize(
    ("form", "status", "pointer"),
    [
        ({}, 400, "/image"),
        ({"image": "not a file"}, 400, "/image"),
        ({"image": picture(b"GIF89a")}, 422, "/image"),
        ({"image": picture(b"")}, 400, "/image"),
        ({"resolution": "4800"}, 400, "/resolution"),
        ({"resolution": "4800 mm"}, 400, "/resolution"),
        ({"marks": "1,2;3,4", "marks_apart": "5 mm"}, 400, "/resolution"),
        ({"marks_apart": "5 mm"}, 400, "/marks"),
        ({"polarity": "upside down"}, 400, "/polarity"),
        ({"__class__": "x"}, 400, "/__class__"),
    ],
)
def test_what_is_wrong_is_pointed_at(api: APIClient, form: dict[str, Any], status: int, pointer: str) -> None:
    body = {"image": picture(), **TOLD} | form if form else TOLD
    problem = ask(api, status, **body)
    assert pointer in [fault["pointer"] for fault in problem["errors"]]


@pytest.mark.parametrize("marks", ["1,2", "1,2;3", "a,b;c,d", "nan,1;2,3", "1e9,1;2,3", "9" * 200, "-1,2;3,4"])
def test_marks_that_are_no_two_points_are_refused(api: APIClient, marks: str) -> None:
    problem = ask(api, 400, image=picture(), marks=marks, marks_apart="5 mm")
    assert problem["errors"][0]["pointer"] == "/marks"


def test_marks_too_close_are_impossible(api: APIClient) -> None:
    problem = ask(api, 422, image=picture(), marks="1,2;3,4", marks_apart="5 mm")
    assert problem["errors"][0] | {"detail": ""} == {"pointer": "/marks", "code": "marks_too_close", "detail": ""}


def test_a_picture_without_a_hole_is_impossible(api: APIClient) -> None:
    blank = BytesIO()
    Image.fromarray(np.full((90, 90), 128, np.uint8)).save(blank, "PNG")
    problem = ask(api, 422, image=picture(blank.getvalue()), **TOLD)
    assert problem["errors"][0]["code"] == "no_hole_found"


def test_json_is_not_what_this_address_reads(api: APIClient) -> None:
    response = api.post("/api/v1/optics/hole-scan/", {"resolution": "4800 dpi"}, format="json")
    assert response.status_code == 415


def test_size_is_looked_at_before_reading(api: APIClient, settings: Any) -> None:
    settings.PINPOOL = {"MAX_SCAN_BYTES": 100}
    assert ask(api, 422, image=picture(), **TOLD)["errors"][0]["code"] == "image_too_large"
    big = picture(b"\0" * 200_000)
    assert ask(api, 413, image=big, **TOLD)["status"] == 413


def test_tricks_in_the_file_s_name_do_nothing(api: APIClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    found = ask(api, image=picture(name="../../<script>.png"), **TOLD)
    assert "script" not in str(found)
    assert list(tmp_path.iterdir()) == []
