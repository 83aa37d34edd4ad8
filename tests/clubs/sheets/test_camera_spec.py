"""The camera-spec sheet: its figures against the core's, its opening against a ruler."""

import io
import re
from typing import Any

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from pypdf import PdfReader

from clubs.models import Club
from clubs.sheets import press
from clubs.sheets.camera import SheetCamera
from clubs.sheets.camera_spec import camera_spec, marked_points
from clubs.sheets.documents import document
from optics import contributed
from optics.core.camera_plan import Hole
from optics.core.film_planes import FilmPlane
from optics.core.illumination import illuminate, stops_map
from optics.core.illumination_svg import illumination_svg, say
from optics.core.lettering import ON_SHEET
from optics.core.sheet_cuts import cut_sheet
from optics.core.wall_opening import wall_opening
from tests.clubs.sheets.printed import MM, drawing, edges_mm, pages, raster, text_of

SIZES: dict[str, dict[str, float]] = {
    "drum": {"diameter_mm": 100.0, "length_mm": 150.0},
    "flat": {"width_mm": 127.0, "distance_mm": 61.0},
    "bowed": {"width_mm": 100.0, "depth_mm": 60.0, "length_mm": 125.0},
    "half_drum": {"radius_mm": 70.0, "length_mm": 180.0},
}
HOLE = Hole(0.35, 0.01, 0.05)


def plane_of(kind: str, **changes: float) -> FilmPlane:
    return contributed.film_plane(kind, **({"height_mm": 80.0} | SIZES[kind] | changes))


def camera(plane: FilmPlane, hole: Hole = HOLE, wall_mm: float = 2.0, **facts: Any) -> SheetCamera:
    club = Club(slug="saltmarsh", name="Saltmarsh club (invented)")
    told = {
        "club": club, "code": "T1", "name": "Tea caddy", "revision": "spec 3", "film_plane": plane, "hole": hole,
        "focal_length_mm": plane.mean_mm, "wall_thickness_mm": wall_mm, "url": "https://club.example/cameras/T1/",
        "measured_by": "counted", "since": "2026-05-01",
    }  # fmt: skip
    return SheetCamera(**(told | facts))


def printed(of: SheetCamera, page: str = "a4", **asked: Any) -> bytes:
    sections = camera_spec(of, **asked)
    facts = {"kind": "camera_spec", "title": "Camera specification", "subject": "camera T1", "page": page}
    return press.pdf(document(**facts, made_at="2026-11-25T10:00:00+00:00", sections=sections))


def words_of(pdf: bytes) -> str:
    return " ".join(text_of(pdf).split())


@pytest.mark.parametrize("page", ["a4", "letter"])
@pytest.mark.parametrize("kind", SIZES)
def test_its_figures_are_the_cores(kind: str, page: str) -> None:
    of = camera(plane_of(kind))
    plane = of.film_plane
    text = words_of(printed(of, page))
    light = illuminate(plane, hole_diameter_mm=0.35, plate_thickness_mm=0.05)
    opening = wall_opening(plane, wall_thickness_mm=2.0, hole_diameter_mm=0.35, plate_thickness_mm=0.05)
    view = plane.field_of_view
    for said in (
        "Hole 0.350 mm ± 0.01 mm (one standard deviation)",
        "by counting how many stand side by side in a known length",
        f"Focal length {plane.mean_mm:.1f} mm",
        f"f/{plane.mean_mm / 0.35:.0f} ± {plane.mean_mm / 0.35 * 0.01 / 0.35:.2g}",
        f"double the time for f/22 {2 * np.log2(plane.mean_mm / 0.35) - 9:.1f} times",
        f"From the hole {plane.axis_distance_mm:.1f} mm along its axis",
        f"{plane.shortest_mm:.1f} mm and {plane.longest_mm:.1f} mm",
        f"{np.degrees(view.horizontal_rad):.0f}° across",
        "some of it gets no light" if light.darkest_stops == -np.inf else f"Darkest {say(light.darkest_stops)} stops",
        f"{opening.width_mm:.1f} × {opening.height_mm:.1f} mm",
        "Revision spec 3, of 2026-05-01",
    ):
        assert said in text, said


@pytest.mark.parametrize("wall_mm", [2.0, 8.0, 25.0])
def test_the_opening_is_as_large_on_paper(wall_mm: float) -> None:
    of = camera(plane_of("flat"), wall_mm=wall_mm)
    opening = wall_opening(of.film_plane, wall_thickness_mm=wall_mm, hole_diameter_mm=0.35, plate_thickness_mm=0.05)
    [block] = [block for section in camera_spec(of) for block in section["blocks"] if block.get("true_scale")]
    whole = document(kind="x", title="X", subject="x", made_at="", sections=[{"title": "", "blocks": [block]}])
    grey = raster(press.pdf(whole))
    body = grey[round(32 / MM) : round(200 / MM), round(20 / MM) : round(190 / MM)]
    # The edges are solid lines, the cross is dashed: only an edge is dark without a break for so long.
    rows = np.flatnonzero(longest_runs(body) * MM > 0.95 * opening.width_mm)
    columns = np.flatnonzero(longest_runs(body.T) * MM > 0.95 * opening.height_mm)
    third_row = body[rows[0] + (rows[-1] - rows[0]) // 3, columns[0] - 5 : columns[-1] + 6]
    third_column = body[rows[0] - 5 : rows[-1] + 6, columns[0] + (columns[-1] - columns[0]) // 3]
    for line, size in ((third_row, opening.width_mm), (third_column, opening.height_mm)):
        low, high = edges_mm(line)
        assert high - low == pytest.approx(size, abs=0.1)


def longest_runs(grey: Any) -> Any:
    """Of each row, how many dark pixels stand side by side at most."""
    counts, longest = np.zeros(len(grey)), np.zeros(len(grey))
    for column in (grey < 128).T:
        counts = (counts + 1) * column
        longest = np.maximum(longest, counts)
    return longest


def test_the_code_leads_to_the_camera() -> None:
    made = printed(camera(plane_of("drum")))
    [found] = zxingcpp.read_barcodes(Image.fromarray(raster(made)))
    assert found.text == "https://club.example/cameras/T1/"


def test_what_nobody_measured_is_not_made_up() -> None:
    of = camera(plane_of("drum"), Hole(0.35), measured_by="planned", url="")
    text = words_of(printed(of))
    assert "0.350 mm, how well is not known" in text
    assert f"f/{of.f_number:.0f}, how well is not known" in text
    assert "±" not in text.partition("How the film lies")[0]
    assert of.f_number_uncertainty == 0
    assert not zxingcpp.read_barcodes(Image.fromarray(raster(printed(of))))


def test_a_hole_off_the_middle_is_told_as_it_is_seen() -> None:
    for x, y, said in (
        (5.0, 0.0, "5.0 mm to the right, seen"), (-5.0, 3.0, "5.0 mm to the left and 3.0 mm up"),
        (0.0, -2.5, "2.5 mm down"), (0.0, 0.0, "Hole off the middle no"),
    ):  # fmt: skip
        assert said in words_of(printed(camera(plane_of("flat", hole_offset_x_mm=x, hole_offset_y_mm=y))))


def test_cuts_are_the_cores() -> None:
    of = camera(plane_of("drum"))
    cuts = cut_sheet(sheet_width_mm=203.2, sheet_height_mm=254.0, piece_width_mm=150.0, piece_height_mm=80.0)
    text = words_of(printed(of, sheet_mm=(203.2, 254.0)))
    assert f"Negatives {cuts.count}, {cuts.waste_share:.0%} of the sheet left over" in text
    for cut in cuts.cuts:
        assert " ".join(cut.text.split()) in text
    assert "Keep fingers clear of the blade" in text
    assert "does not fit on the sheet" in words_of(printed(of, sheet_mm=(50.0, 60.0)))


def test_cautions_stand_where_the_hand_is() -> None:
    titles = {
        section["title"]: [block["text"] for block in section["blocks"] if block["kind"] == "caution"]
        for section in camera_spec(camera(plane_of("drum")), sheet_mm=(203.2, 254.0))
    }
    assert any("sharp" in text for text in titles["The opening in the wall"])
    assert any("at the sun" in text for text in titles["The opening in the wall"])
    assert any("blade" in text for text in titles["Negatives from a sheet"])


@pytest.mark.parametrize("page", ["a4", "letter"])
@pytest.mark.parametrize("kind", SIZES)
def test_nothing_stands_beyond_its_page(kind: str, page: str) -> None:
    made = printed(camera(plane_of(kind)), page, sheet_mm=(203.2, 254.0))
    assert pages(made) in {2, 3, 4}
    for number in range(pages(made)):
        grey = raster(made, number, dpi=100)
        edge = round(7 / 25.4 * 100)
        assert (grey[:edge] > 200).all()
        assert (grey[-edge:] > 200).all()
        assert (grey[:, :edge] > 200).all()
        assert (grey[:, -edge:] > 200).all()


# -------------------------------------------------------------------------------------------------- light drawing


@pytest.mark.parametrize("kind", SIZES)
def test_marked_points_are_the_illuminations(kind: str) -> None:
    """The corners, the middles of the edges and the film's middle, against the core's own map."""
    plane = plane_of(kind)
    light = illuminate(plane, hole_diameter_mm=0.35, plate_thickness_mm=0.05, columns=5, rows=3)
    x, y, stops = marked_points(plane, thickness_share=0.05 / 0.35)
    np.testing.assert_allclose(x, light.x_mm)
    np.testing.assert_allclose(y[::-1], light.y_mm)
    np.testing.assert_allclose(stops[::-1], light.stops)


@pytest.mark.parametrize("kind", SIZES)
def test_greys_follow_the_stops(kind: str) -> None:
    """On paper no brighter place is darker, and places more than a stop apart differ in grey."""
    plane = plane_of(kind)
    svg = illumination_svg(plane, thickness_share=0.0, shown=ON_SHEET)
    share = 130 / max(plane.length_mm, plane.height_mm * 130 / 72)
    wide, high = plane.length_mm * share, plane.height_mm * share
    bare = re.sub(
        r'<text.*?</text>|<circle.*?/>|<path[^>]*fill="none"/>|<rect[^>]*rx=.*?/>|<(title|desc)>.*?</\1>', "", svg
    )
    block = drawing("", wide, high) | {"svg": bare, "width_mm": wide, "height_mm": high}
    whole = document(kind="x", title="X", subject="x", made_at="", sections=[{"title": "", "blocks": [block]}])
    grey = raster(press.pdf(whole), dpi=300)
    top = np.flatnonzero((grey[:, 400:600] < 128).mean(axis=1) > 0.9)[1:]
    start = int(next(row for row in top if row > 300))
    at_x = np.array([0.08, 0.29, 0.5, 0.71, 0.92])
    at_y = np.array([0.08, 0.5, 0.92])
    x, y = (at_x - 0.5) * plane.length_mm, (0.5 - at_y) * plane.height_mm
    stops = stops_map(plane, s_mm=x, y_mm=y)
    scale = 300 / 25.4
    found = grey[
        np.ix_((start + at_y * high * scale).astype(int), (20 * scale + at_x * wide * scale).astype(int))
    ].astype(int)
    for a in range(stops.size):
        for b in range(stops.size):
            if stops.flat[a] > stops.flat[b] + 0.6:
                assert found.flat[a] >= found.flat[b]
            if stops.flat[a] > stops.flat[b] + 1.1 and found.flat[b] > 160:
                assert found.flat[a] > found.flat[b]


def test_each_page_of_it_is_tagged_with_alts() -> None:
    reader = PdfReader(io.BytesIO(printed(camera(plane_of("drum")), sheet_mm=(203.2, 254.0))))
    alts = [
        tag["/Alt"] for tag in _figures(reader.trailer["/Root"]["/StructTreeRoot"])  # type: ignore[index]
    ]  # fmt: skip
    assert len(alts) == 5
    assert all(len(alt) > 20 for alt in alts)


def _figures(node: Any) -> Any:
    children = node.get("/K", [])
    for child in children if isinstance(children, list) else [children]:
        tag = child.get_object() if hasattr(child, "get_object") else child
        if isinstance(tag, dict) and "/S" in tag:
            yield from [tag] if tag["/S"] == "/Figure" else []
            yield from _figures(tag)
