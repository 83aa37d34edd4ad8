"""A workshop in a real browser: participants at their phones, and a leader who watches and closes."""

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from exposures.models import ExposureLog
from exposures.workshops.models import Place, PlaceExposure, Workshop
from tests.browser.every_page import clean, fits, sign_in
from tests.browser.test_paper_pages import open_all
from tests.factories import (
    DesignFactory,
    MembershipFactory,
    PaperFactory,
    PlaceExposureFactory,
    PlaceFactory,
    WorkshopFactory,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def leader() -> Any:
    leader = MembershipFactory.create(role="leader", club__name="Saltmarsh club")
    DesignFactory.create(club=leader.club, name="Biscuit drum")
    PaperFactory.create(club=leader.club, name="Glasswort")
    return leader


def test_a_place_on_a_phone_while_the_leader_watches(phone: Page, desk: Page, leader: Any) -> None:
    sign_in(desk, leader.user)
    desk.goto(f"/clubs/{leader.club.slug}/workshops/")
    desk.get_by_label("Name").fill("Saltmarsh day")
    desk.get_by_label("Held on").fill("2026-06-20")
    desk.get_by_label("Places").fill("3")
    desk.get_by_role("button", name="Hold it").click()
    expect(desk.get_by_role("heading", level=1)).to_have_text("Saltmarsh day")
    expect(desk.get_by_text("not opened yet")).to_have_count(3)
    place = Place.objects.get(workshop=Workshop.objects.get(), number=2)

    # The participant has the slip of paper, and no account.
    phone.goto(f"/place/{place.code.lower()}/")
    expect(phone.get_by_role("heading", level=1)).to_have_text("Place 2")
    expect(phone.get_by_text("Needles, awls and shim cut and prick")).to_be_visible()
    phone.get_by_label("What the club may call you").fill("Mara")
    phone.get_by_role("button", name="Keep it").click()
    expect(desk.get_by_role("row", name="2 Mara")).to_contain_text("opened, not measured yet", timeout=15_000)

    phone.get_by_label("Holes side by side").fill("ten")
    phone.get_by_label("Along a span of").fill("4.4")
    phone.get_by_role("button", name="Use what I counted").click()
    expect(phone.get_by_label("Holes side by side")).to_have_attribute("aria-invalid", "true")
    expect(phone.get_by_label("Along a span of")).to_have_value("4.4 mm")
    phone.get_by_label("Holes side by side").fill("10")
    phone.get_by_role("button", name="Another reading").click()
    phone.get_by_label("Holes side by side").last.fill("10")
    phone.get_by_label("Along a span of").last.fill("4.4 mm")
    phone.get_by_role("button", name="Use what I counted").click()
    expect(phone.get_by_role("heading", name="Your times")).to_be_visible()
    expect(phone.get_by_text("is what your hole makes", exact=True)).to_be_visible()
    assert Place.objects.get(pk=place.pk).hole_diameter_mm == pytest.approx(0.44)
    row = desk.get_by_role("row", name="2 Mara")
    expect(row).to_contain_text("0.440 mm ±", timeout=15_000)
    expect(row).to_contain_text("far off")

    phone.get_by_label("Time given").fill("2 min 30 s")
    phone.get_by_label("EV", exact=True).fill("13")
    phone.get_by_role("button", name="Note it").click()
    expect(phone.get_by_text("Not judged yet.")).to_be_visible()
    expect(desk.get_by_role("row", name="2, Mara")).to_contain_text("not judged", timeout=15_000)
    phone.get_by_label("Stops over (+) or under (-)", exact=True).fill("-0.5")
    phone.get_by_role("button", name="Keep the result").click()
    expect(phone.get_by_text("Came out −0.5 stop.")).to_be_visible()
    expect(desk.get_by_role("row", name="2, Mara")).to_contain_text("−0.5 stop", timeout=15_000)
    entry = PlaceExposure.objects.get()
    assert (entry.facts["exposure_time_s"], entry.facts["result"]["stops"]) == (150, -0.5)
    assert fits(phone)
    clean(phone)

    desk.get_by_role("button", name="Close the workshop").click()
    desk.get_by_role("button", name="Yes").click()
    expect(desk.locator("h1 .tag")).to_have_text("closed")
    assert ExposureLog.objects.get().exposure_time_s == 150
    phone.reload()
    expect(phone.get_by_text("The workshop is closed.")).to_be_visible()
    expect(phone.get_by_role("button")).to_have_count(0)


def test_a_code_is_withdrawn_and_drawn_anew(desk: Page, leader: Any) -> None:
    workshop = WorkshopFactory.create(club=leader.club)
    place = PlaceFactory.create(workshop=workshop, number=1)
    sign_in(desk, leader.user)
    desk.goto(f"/clubs/{leader.club.slug}/workshops/{workshop.pk}/")
    for button, codes in (("Withdraw it", 0), ("Another code", 1)):
        desk.get_by_text("Lost, or in wrong hands?").click()
        desk.get_by_role("button", name=button).click()
        with desk.expect_navigation():
            desk.get_by_role("button", name="Yes").click()
        expect(desk.locator("section[aria-labelledby=h-codes] code")).to_have_count(codes)
    assert Place.objects.get().code != place.code
    desk.context.clear_cookies()  # signed out meanwhile, in another window
    expect(desk.locator("#live-state")).to_contain_text("load the page again", timeout=15_000)
    expect(desk.locator("#live h2").first).to_have_text("Places now")


def test_nothing_keeps_anybody_out(page: Page, leader: Any) -> None:
    """axe-core in all three looks: a workshop that goes on, and a place before and after its hole is measured."""
    workshop = WorkshopFactory.create(club=leader.club)
    fresh = PlaceFactory.create(workshop=workshop, number=1)
    made = {"hole_diameter_mm": 0.4, "hole_uncertainty_mm": 0.01, "hole_measured_by": "counted"}
    place = PlaceFactory.create(workshop=workshop, number=2, name="Mara", **made)
    PlaceExposureFactory.create(place=place)
    for code in (fresh.code, place.code):
        page.goto(f"/place/{code}/")
        open_all(page)
        clean(page)
    sign_in(page, leader.user)
    for path in ("", f"{workshop.pk}/"):
        page.goto(f"/clubs/{leader.club.slug}/workshops/{path}")
        open_all(page)
        clean(page)
