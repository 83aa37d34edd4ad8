"""The bench in a real browser: from an empty page to a saved camera, as you type, by keyboard alone, in every look."""

import re
from typing import Any

import pytest
from django.test import Client
from playwright.sync_api import Page, expect

from clubs.models import Camera, Design
from tests.browser.every_page import clean, fits, sign_in
from tests.factories import MembershipFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: A slide box with a strip sprung in; sizes as one would type them.
STRIP = {"Width": "171", "Depth": "60", "Length": "203"}
STRIP_BODY = {
    "film_plane": {"kind": "bowed", "width": "171 mm", "depth": "60 mm", "length": "203 mm", "height": "61 mm"}
}


def planned(body: dict[str, Any]) -> dict[str, Any]:
    answer = Client().post("/api/v1/optics/camera-plan/", body, content_type="application/json")
    assert answer.status_code == 200, answer.content
    return answer.json()


def figure(page: Page, slot: str) -> Any:
    return page.locator(f"[data-slot='{slot}']")


def fill_strip(page: Page) -> None:
    page.get_by_label("How the film lies").select_option("bowed")
    for label, text in STRIP.items():
        page.get_by_role("textbox", name=label, exact=True).fill(text)
    page.get_by_label("Height of the film").fill("61")


def settled(page: Page) -> None:
    """Wait for what is asked only once typing rests."""
    expect(page.locator("[data-slot='sharpness_plot'] svg")).to_be_visible()
    expect(page.locator("[data-slot='light_table'] tbody tr")).to_have_count(3)


def test_from_an_empty_bench_to_a_camera_in_the_registry(page: Page) -> None:
    member = MembershipFactory.create()
    sign_in(page, member.user)
    page.goto("/bench/")
    expect(page.locator("#answer")).to_be_hidden()
    assert fits(page)
    fill_strip(page)
    plan = planned(STRIP_BODY)
    expect(figure(page, "f_number")).to_have_text(f"f/{plan['f_number']['f_number']:.0f}")
    expect(figure(page, "hole")).to_have_text(f"{plan['hole_diameter']['value']:.3f} mm")
    expect(figure(page, "focal_length")).to_have_text(f"{plan['film_plane']['distance']['mean']['value']:.1f} mm")
    page.get_by_label("Hole, across").fill("0.3")
    page.get_by_label("Wall thickness").fill("1.5")
    page.get_by_label("Cut from a sheet of").select_option("8x10 in")
    page.get_by_label("Exposure index").fill("6")
    body = STRIP_BODY | {"hole": {"diameter": "0.3 mm"}, "wall_thickness": "1.5 mm", "sheet": "8x10 in"}
    plan = planned(body | {"exposure_index": 6})
    expect(figure(page, "f_number")).to_have_text(f"f/{plan['f_number']['f_number']:.0f}")
    opening = plan["wall_opening"]
    expect(figure(page, "opening")).to_have_text(
        f"{opening['width']['value']:.1f} × {opening['height']['value']:.1f} mm"
    )
    expect(figure(page, "drill")).to_contain_text("The rule “Rayleigh 1891” asks for")
    expect(figure(page, "rules")).to_contain_text("(from memory)")
    expect(figure(page, "cuts")).to_contain_text(f"{plan['sheet_cuts']['count']} negatives from a sheet")
    expect(figure(page, "times").locator("tbody tr")).to_have_count(len(plan["exposure_table"]))
    expect(figure(page, "section").locator("svg title")).to_have_text("How the film lies")
    expect(figure(page, "light_map").locator("svg title")).to_have_text("Light on the film")
    settled(page)
    assert fits(page)

    page.get_by_label("Name", exact=True).fill("Biscuit drum's neighbour")
    page.get_by_label("Code", exact=True).fill("SB-7")
    page.get_by_role("button", name="Save to the registry").click()
    expect(page.locator("#save").get_by_role("status")).to_contain_text("Saved as camera SB-7")
    camera = Camera.objects.get(club=member.club)
    spec = camera.specs.get()
    assert (camera.code, camera.name, camera.owner) == ("SB-7", "Biscuit drum's neighbour", member.user)
    assert (spec.hole_diameter_mm, spec.film_plane["width_mm"], spec.film_plane["length_mm"]) == (0.3, 171, 203)
    page.get_by_role("button", name="Save as a design").click()
    expect(page.locator("#save").get_by_role("status")).to_contain_text("Saved as the design")
    design = Design.objects.get(club=member.club)
    assert design.wall_thickness_mm == 1.5
    link = page.locator("#save").get_by_role("link", name="Open its page")
    expect(link).to_have_attribute("href", f"/clubs/{member.club.slug}/designs/{design.pk}/")
    # The same code again: the refusal stands at its field.
    page.get_by_role("button", name="Save to the registry").click()
    expect(page.locator("#save").get_by_role("alert")).to_be_visible()
    assert Camera.objects.count() == 1


def test_the_bench_by_keyboard_alone(desk: Page) -> None:
    desk.goto("/bench/")

    def tab_to(id: str) -> None:  # noqa: A002
        for _ in range(60):
            desk.keyboard.press("Tab")
            if desk.evaluate("document.activeElement.id") == id:
                return
        raise AssertionError(f"{id} cannot be reached by Tab")

    tab_to("kind")
    desk.keyboard.type("Round")
    for id, text in (("drum-film_plane/diameter", "100"), ("drum-film_plane/length", "150"), ("height", "90")):  # noqa: A001
        tab_to(id)
        desk.keyboard.type(text)
    body = {"film_plane": {"kind": "drum", "diameter": "100 mm", "length": "150 mm", "height": "90 mm"}}
    expect(figure(desk, "f_number")).to_have_text(f"f/{planned(body)['f_number']['f_number']:.0f}")
    tab_to("keep")
    desk.keyboard.press("Enter")
    expect(desk.locator("#kept")).to_be_visible()
    desk.keyboard.press("Shift+Tab")
    for _ in range(20):
        if desk.evaluate("document.activeElement.id") == "diameter":
            break
        desk.keyboard.press("Shift+Tab")
    desk.keyboard.type("0.5 mm")
    expect(desk.locator("#kept tbody tr").nth(1).locator("td").nth(2)).to_contain_text("more light")
    tab_to("drop")
    desk.keyboard.press("Enter")
    expect(desk.locator("#kept")).to_be_hidden()
    assert desk.evaluate("document.activeElement.id") == "keep"


def test_the_address_keeps_the_box_and_what_it_is_compared_with(desk: Page) -> None:
    desk.goto("/bench/")
    fill_strip(desk)
    settled(desk)
    desk.get_by_role("button", name="Keep this to compare").click()
    desk.get_by_label("How the film lies").select_option("flat")
    desk.get_by_role("textbox", name="Distance", exact=True).fill("60")
    now = planned({"film_plane": {"kind": "flat", "width": "171 mm", "distance": "60 mm", "height": "61 mm"}})
    row = desk.locator("#kept tbody tr").nth(1)
    strip = planned(STRIP_BODY)
    numbers = [f"f/{each['f_number']['f_number']:.0f}" for each in (strip, now)]
    off = now["f_number"]["stops_from_f22"] - strip["f_number"]["stops_from_f22"]
    said = [*numbers, f"{abs(off):.1f} stop {'more' if off > 0 else 'less'} light"]
    expect(row.locator("td")).to_have_text(said)
    expect(desk.locator("#kept [data-drawing] svg")).to_have_count(4)
    expect(desk).to_have_url(re.compile("kept="))
    desk.reload()
    expect(row.locator("td")).to_have_text(said)
    expect(desk.get_by_role("textbox", name="Distance", exact=True)).to_have_value("60 mm")
    desk.get_by_role("button", name="Put the kept one back").click()
    expect(desk.get_by_role("textbox", name="Depth", exact=True)).to_have_value("60 mm")
    expect(figure(desk, "f_number")).to_have_text(numbers[0])


def test_faults_stand_at_their_fields_and_the_last_good_answer_stays(phone: Page) -> None:
    phone.goto("/bench/")
    fill_strip(phone)
    expect(figure(phone, "f_number")).to_have_text(re.compile(r"f/\d+"))
    before = figure(phone, "f_number").text_content()
    depth = phone.get_by_role("textbox", name="Depth", exact=True)
    depth.fill("6,5 mm")
    expect(depth).to_have_attribute("aria-invalid", "true")
    fault = phone.locator(f"[id='{depth.get_attribute('aria-describedby').split()[-1]}']")  # type: ignore[union-attr]
    expect(fault).to_be_visible()
    expect(phone.locator("#answer")).to_have_class("stale")
    assert figure(phone, "f_number").text_content() == before
    depth.fill("65")
    expect(phone.locator(".fault")).to_have_count(0)
    expect(phone.locator("#answer")).not_to_have_class("stale")
    assert fits(phone)


def test_bare_numbers_are_in_the_reader_s_unit(desk: Page) -> None:
    desk.goto("/bench/")
    desk.locator("#lengths").select_option("in")
    expect(desk.locator("#height-hint")).to_contain_text("is in in;")
    desk.get_by_role("textbox", name="Width", exact=True).fill("4")
    desk.get_by_role("textbox", name="Distance", exact=True).fill("2 3/8")
    desk.get_by_label("Height of the film").fill("127 mm")
    expect(figure(desk, "negative")).to_have_text("4.00 × 5.00 in")
    expect(figure(desk, "section")).to_contain_text("2.38 in")
    desk.get_by_text("The hole is not in the middle").click()
    desk.get_by_label("To the right").fill("-1/2")
    expect(figure(desk, "section")).to_contain_text("4.00 in across")
    expect(desk.locator(".fault")).to_have_count(0)


def test_nothing_on_the_bench_keeps_anybody_out(page: Page) -> None:
    """axe-core in all three looks, empty and full, with a kept camera and every list open."""
    page.goto("/bench/")
    clean(page)
    fill_strip(page)
    page.get_by_label("Wall thickness").fill("1.5")
    page.get_by_label("Cut from a sheet of").select_option("8x10 in")
    page.get_by_label("Exposure index").fill("6")
    settled(page)
    page.get_by_role("button", name="Keep this to compare").click()
    expect(page.locator("#kept")).to_be_visible()
    page.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")
    clean(page)
