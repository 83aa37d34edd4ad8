"""The cutting templates as they come out of the printer: measured at 600 dpi, against the core's lengths."""

from collections.abc import Collection, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from clubs.sheets import press
from clubs.sheets.camera import SheetCamera
from clubs.sheets.camera_spec import HOLE_CAUTION, SUN_CAUTION
from clubs.sheets.documents import document
from clubs.sheets.templates_sheet import cutting_templates, laid_out, of_camera, room_mm
from optics.core.camera_plan import plan_camera
from optics.core.film_planes import FilmPlane
from optics.core.profiles import flat
from optics.core.sheet_cuts import CAUTION as BLADE_CAUTION
from optics.core.templates.packing import fits, on_one
from optics.core.templates.template import LeftOut, Point, Template
from tests.clubs.sheets.measuring import Floats, ideal, ink, laid_over, measured_mm, off_mm
from tests.clubs.sheets.printed import pages, raster, text_of
from tests.clubs.sheets.test_camera_spec import SIZES, camera, plane_of


def printed(sections: list[dict[str, Any]], page: str) -> bytes:
    return press.pdf(document(kind="x", title="X", subject="x", made_at="", page=page, sections=sections))


def drawn_of(of: SheetCamera) -> list[Template]:
    return [each for each in of_camera(of) if isinstance(each, Template)]


def true_pages(of: SheetCamera, page: str) -> list[tuple[Template, dict[str, Point]]]:
    """What should be drawn at true scale, page by page, and where on each its pieces and parts begin, by title."""
    layout = laid_out(drawn_of(of), page)
    packed = [
        (on_one(each), {placed.template.title: (placed.x_mm, placed.y_mm) for placed in each.placed})
        for each in layout.packed
    ]
    return packed + [(each, {each.title: (0.0, 0.0)}) for each in layout.alone]


def on_paper(
    of: SheetCamera, page: str, titles: Collection[str] = ()
) -> Iterator[tuple[Template, dict[str, Point], Floats, Floats, Point]]:
    """Each drawing at true scale, or those with some titles: what it should be, where its pieces begin, its raster, the
    page's, and where on that it lies.
    """
    blocks = [block for section in cutting_templates(of, page=page) for block in section["blocks"]]
    true = [block for block in blocks if block.get("true_scale")]
    for block, (template, places) in zip(true, true_pages(of, page), strict=True):
        if titles and not places.keys() & titles:
            continue
        grey = ink(raster(printed([{"title": "", "blocks": [block]}], page)))
        should = ideal(template.lines, template.width_mm, template.height_mm)
        yield template, places, should, grey, laid_over(grey, should)


@pytest.mark.parametrize(("kind", "page"), [*((kind, "a4") for kind in SIZES), ("bowed", "letter")])
def test_every_named_length_is_true_on_paper(kind: str, page: str) -> None:
    of = camera(plane_of(kind))
    measured: set[str] = set()
    for template, _, should, grey, origin in on_paper(of, page):
        for length in template.lengths:
            found = measured_mm(grey, should, origin=origin, length=length)
            assert found == pytest.approx(length.mm, abs=0.1), (template.title, length.name)
            measured.add(length.name.rpartition(": ")[2])
    # What runs over a joint of parts is measured by the marks, below.
    assert {
        each.name for template in drawn_of(of) if fits(template, **room_mm(page)) for each in template.lengths
    } <= measured


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_parts_meet_on_paper(page: str) -> None:
    """Two marks of a joint lie as far from each other, and from the template's corners, on one part as on the other."""
    of = camera(plane_of("bowed"))
    large = laid_out(drawn_of(of), page).large
    parts = {part.template.title: part for each in large.values() for part in each}
    between: dict[tuple[str, str], list[Floats]] = {}
    for _, begins, should, grey, origin in on_paper(of, page, titles=parts.keys()):
        for title in begins.keys() & parts.keys():
            part, begin = parts[title], np.array(begins[title])
            places = {
                mark.name: begin + np.array([mark.x_mm - part.x_mm, mark.y_mm - part.y_mm]) for mark in part.marks
            }
            found = {name: at + off_mm(grey, should, origin=origin, at=tuple(at)) for name, at in places.items()}
            for joint in {name.partition("/")[0] for name in places}:
                whole = title.partition(", part")[0]
                between.setdefault((whole, joint), []).append(found[f"{joint}/2"] - found[f"{joint}/1"])
            least = max(part.template.lines, key=lambda line: len(line.points))
            corner = begin + least.points[0]
            lies = corner + off_mm(grey, should, origin=origin, at=tuple(corner))
            for name, at in places.items():
                assert np.abs((found[name] - lies) - (at - corner)).max() < 0.1, (title, name)
    assert between
    for of_joint, found_on in between.items():
        assert len(found_on) == 2, of_joint
        assert np.abs(found_on[0] - found_on[1]).max() < 0.1, of_joint


def test_the_opening_on_paper_is_that_of_the_specification() -> None:
    of = camera(plane_of("bowed"))
    plan = plan_camera(of.film_plane, hole=of.hole, wall_thickness_mm=of.wall_thickness_mm)
    [opening] = [each for each in drawn_of(of) if each.name == "opening"]
    assert plan.opening is not None
    lengths = {each.name: each.mm for each in opening.lengths}
    assert lengths == pytest.approx({"opening width": plan.opening.width_mm, "opening height": plan.opening.height_mm})


@pytest.mark.parametrize("kind", SIZES)
def test_the_support_is_as_long_as_the_strip(kind: str) -> None:
    of = camera(plane_of(kind))
    for support in drawn_of(of):
        if support.name == "film_support" and kind != "flat":
            [curve] = [each for each in support.lengths if each.name == "film, laid flat"]
            assert curve.mm == of.film_plane.length_mm
            assert curve.drawn_mm == pytest.approx(of.film_plane.length_mm, abs=0.01)


def test_what_a_camera_has_none_of_is_told() -> None:
    of = replace(camera(plane_of("drum")), wall_thickness_mm=60.0)
    text = text_of(printed(cutting_templates(of, page="a4"), "a4"))
    left_out = [each for each in of_camera(of) if isinstance(each, LeftOut)]
    assert left_out
    for each in left_out:
        assert f"None: {each.reason}"[:30] in " ".join(text.split())


def test_cautions_and_the_bars_come_first() -> None:
    [before, *_] = cutting_templates(camera(plane_of("flat")), page="a4")
    assert "100 mm" in before["blocks"][0]["text"]
    assert before["blocks"][1]["kind"] == "caution"
    for caution in (BLADE_CAUTION, HOLE_CAUTION, SUN_CAUTION):
        assert caution in before["blocks"][1]["text"]


def test_a_template_too_large_to_print_is_told_and_the_rest_printed() -> None:
    of = replace(camera(plane_of("flat")), film_plane=FilmPlane(flat(width_mm=3000, distance_mm=900), 2500.0))
    [before, *rest] = cutting_templates(of, page="a4")
    told = [row[1] for block in before["blocks"] if block["kind"] == "facts" for row in block["rows"]]
    assert any("pages" in text for text in told)
    assert rest


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_parts_share_pages_and_the_text_takes_two(page: str) -> None:
    """The sleeve's two parts and the other pieces of a caddy; what several pieces say in common stands once."""
    of = camera(plane_of("bowed"))
    layout = laid_out(drawn_of(of), page)
    shared = [placed for each in layout.packed for placed in each.placed if ", part " in placed.template.title]
    assert len(shared) == sum(map(len, layout.large.values())) > 0
    assert not any(placed.turned for placed in shared)
    before, *drawings, joining = cutting_templates(of, page=page)
    assert pages(printed([before], page)) == 2
    assert (joining["title"], pages(printed(drawings, page))) == ("Pieces in parts", len(drawings))
    full = page == "letter"  # the last of them; below that of A4 there is room
    assert pages(printed([*drawings, joining], page)) == len(drawings) + full
    told = text_of(printed([before], page))
    assert told.count("Cut away from your hands") == 1
