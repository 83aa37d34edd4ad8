"""The hole page in a real browser: counts as they are typed, a scan with its outline, and what to do with the hole."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.every_page import clean, fits
from tests.optics.synthetic_scans import Burr, Recipe, Scan, render

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

ROUND = Recipe(diameter_mm=0.3, dpi=4800, seed=3)
BURRED = Recipe(diameter_mm=0.3, dpi=4800, burrs=(Burr(angle_rad=1.0, width_rad=0.5, depth_share=0.3),), seed=4)


def slot(page: Page, name: str) -> Any:
    return page.locator(f"[data-slot='{name}']")


def picture(scan: Scan, folder: Path, form: str = "PNG") -> Path:
    path = folder / f"hole.{form.lower()}"
    Image.fromarray(scan.image).save(path, form)
    return path


def send(page: Page, path: Path, dpi: str = "4800") -> None:
    page.get_by_label("Picture of the hole").set_input_files(path)
    page.locator("#resolution").fill(dpi)
    page.get_by_role("button", name="Measure the scan").click()


def test_counts_become_a_diameter_and_advice_as_they_are_typed(page: Page) -> None:
    page.goto("/hole/")
    expect(page.locator("#answer")).to_be_hidden()
    page.get_by_label("Holes side by side").fill("4")
    page.get_by_label("Along a span of").fill("1")
    expect(slot(page, "diameter")).to_have_text("0.250 ± 0.016 mm")
    expect(slot(page, "verdict")).to_contain_text("Leave it")
    page.get_by_label("Hole wanted").fill("0.4")
    expect(slot(page, "verdict")).to_contain_text("Go on")
    expect(slot(page, "reasons")).to_contain_text("0.400 mm is wanted: 1.4 stop less light")
    page.get_by_label("Focal length").fill("60")
    expect(slot(page, "f_number")).to_have_text("f/240")
    page.get_by_label("Direction").select_option("across")
    page.get_by_role("button", name="Another reading").click()
    second = page.get_by_role("group", name="Reading 2")
    second.get_by_label("Measured by").select_option("diameter")
    second.get_by_label("Diameter").fill("0.2")
    second.get_by_label("Give or take").fill("0.005")
    second.get_by_label("Direction").select_option("down")
    expect(slot(page, "roundness")).to_have_text("80 %")
    page.reload()
    expect(slot(page, "roundness")).to_have_text("80 %")
    page.get_by_role("group", name="Reading 1").get_by_role("button", name="Remove").click()
    expect(slot(page, "diameter")).to_have_text("0.200 ± 0.005 mm")
    assert fits(page)
    page.get_by_role("link", name="Use this hole on the bench").click()
    expect(page.get_by_label("Hole, across")).to_have_value("0.200000 mm")


def test_a_fault_stands_at_its_own_reading(phone: Page) -> None:
    phone.goto("/hole/")
    phone.get_by_role("button", name="Another reading").click()
    second = phone.get_by_role("group", name="Reading 2")
    second.get_by_label("Holes side by side").fill("4")
    expect(second.locator(".fault")).to_have_count(1)
    expect(second.get_by_label("Along a span of")).to_have_attribute("aria-invalid", "true")
    second.get_by_label("Along a span of").fill("1 mm")
    expect(phone.locator(".fault")).to_have_count(0)
    expect(slot(phone, "diameter")).to_have_text("0.250 ± 0.016 mm")


def test_a_scan_is_measured_and_its_outline_lies_on_the_picture(page: Page, tmp_path: Path) -> None:
    scan = render(ROUND)
    page.goto("/hole/")
    page.get_by_label("Hole wanted").fill("0.3")
    send(page, picture(scan, tmp_path))
    expect(slot(page, "source")).to_have_text("From the scan")
    told = slot(page, "diameter").text_content().split()
    assert float(told[0]) == pytest.approx(scan.diameter_mm, rel=0.02)
    expect(slot(page, "verdict")).to_contain_text("Leave it")
    drawn = slot(page, "outline").locator("svg")
    expect(drawn.locator("polygon")).to_have_count(2)
    left, top, side, _ = map(float, (drawn.get_attribute("viewBox") or "").split())
    hole_px = scan.diameter_mm / scan.mm_per_pixel
    assert hole_px < side < 2 * hole_px
    middle = (left + side / 2, top + side / 2)
    assert middle == pytest.approx(np.array(scan.image.shape[::-1]) / 2, abs=0.1 * hole_px)
    assert drawn.bounding_box()["height"] > 200  # type: ignore[index]
    assert drawn.locator("image").evaluate("image => image.getBBox().width") == scan.image.shape[1]
    assert drawn.locator("image").get_attribute("href").startswith("blob:")  # type: ignore[union-attr]
    whole = page.get_by_role("button", name="Show the whole picture")
    near = drawn.get_attribute("viewBox")
    whole.click()
    assert drawn.get_attribute("viewBox") == f"0 0 {scan.image.shape[1]} {scan.image.shape[0]}" != near
    expect(whole).to_have_attribute("aria-pressed", "true")
    assert fits(page)
    clean(page)


def test_burrs_are_told_and_worth_more_work(phone: Page, tmp_path: Path) -> None:
    phone.goto("/hole/")
    send(phone, picture(render(BURRED), tmp_path))
    expect(slot(phone, "verdict")).to_contain_text("Go on")
    expect(slot(phone, "reasons")).to_contain_text("Burrs stand in along")


def test_what_is_no_picture_of_a_hole_is_refused_in_words(phone: Page, tmp_path: Path) -> None:
    even = tmp_path / "grey.png"
    Image.new("L", (400, 400), 120).save(even)
    phone.goto("/hole/")
    send(phone, even)
    expect(phone.locator("#scan .fault")).to_have_count(1)
    expect(phone.locator("#answer")).to_be_hidden()
    expect(phone.get_by_role("button", name="Measure the scan")).to_be_enabled()
    phone.locator("#resolution").fill("many")
    phone.get_by_role("button", name="Measure the scan").click()
    expect(phone.locator("#resolution")).to_have_attribute("aria-invalid", "true")


def test_a_tiff_is_measured_though_the_browser_cannot_show_it(desk: Page, tmp_path: Path) -> None:
    desk.goto("/hole/")
    send(desk, picture(render(ROUND), tmp_path, "TIFF"))
    expect(slot(desk, "unshown")).to_contain_text("cannot show such a picture")
    expect(slot(desk, "outline").locator("polygon")).to_have_count(2)


def test_nothing_on_the_page_keeps_anybody_out(page: Page) -> None:
    page.goto("/hole/")
    page.get_by_label("Holes side by side").fill("2")
    page.get_by_label("Along a span of").fill("1")
    expect(page.locator("#answer")).to_be_visible()
    clean(page)


def test_the_hole_page_by_keyboard_alone(desk: Page) -> None:
    desk.goto("/hole/")
    for id, text in (("reading-0-holes_across", "4"), ("reading-0-span", "1 mm")):  # noqa: A001
        for _ in range(40):
            if desk.evaluate("document.activeElement.id") == id:
                break
            desk.keyboard.press("Tab")
        desk.keyboard.type(text)
    expect(slot(desk, "diameter")).to_have_text("0.250 ± 0.016 mm")
    desk.keyboard.press("Tab")
    desk.keyboard.press("Tab")
    desk.keyboard.press("Enter")
    expect(desk.locator("#reading-1-way")).to_be_focused()
