"""The field page's timer and the darkroom's where the phone's clock is set, or the phone sleeps."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser.field_phone import Phone, expose, phone
from tests.browser.test_darkroom import darkroom

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
__all__ = ["phone"]

HOUR_S = 3600
#: Times run on while a test looks.
ABOUT = {"1:00": re.compile(r"^1:[0-2]\d$"), "1:01:00": re.compile(r"^1:01:[0-2]\d$")}


def set_clock(page: Page, by_s: float) -> None:
    """Set the clock of the phone, which leaves the one that only counts alone, and let the page notice."""
    page.clock.set_system_time(page.evaluate("Date.now() / 1000") + by_s)
    page.clock.run_for(600)


def hide(page: Page, *, hidden: bool) -> None:
    page.evaluate(
        """(hidden) => {
            Object.defineProperty(document, "hidden", { get: () => hidden, configurable: true });
            document.dispatchEvent(new Event("visibilitychange"));
        }""",
        hidden,
    )


def running(phone: Phone) -> Page:
    """A page with a timer that has run for a minute."""
    page = phone.visit()
    page.clock.install()
    expose(page, "6")
    page.clock.run_for(60_000)
    expect(page.locator("#elapsed")).to_have_text(ABOUT["1:00"])
    expect(page.locator("#jump")).to_be_hidden()
    return page


def test_a_clock_set_forward_is_not_counted_unless_a_person_says_so(phone: Phone) -> None:
    page = running(phone)
    set_clock(page, HOUR_S)
    expect(page.locator("#jump-says")).to_have_text("The clock went 1 h forward at once: that is not counted.")
    expect(page.locator("#elapsed")).to_have_text(ABOUT["1:00"])
    page.reload()
    expect(page.locator("#elapsed")).to_have_text(ABOUT["1:00"])
    page.get_by_role("button", name="The phone slept: count it").click()
    expect(page.locator("#jump-says")).to_contain_text("that time is counted")
    expect(page.locator("#elapsed")).to_have_text(ABOUT["1:01:00"])


def test_a_phone_that_slept_goes_on_counting_unless_a_person_says_otherwise(phone: Phone) -> None:
    page = running(phone)
    hide(page, hidden=True)
    set_clock(page, HOUR_S)
    hide(page, hidden=False)
    says = "For 1 h this page or the phone slept, or the clock was set: that time is counted."
    expect(page.locator("#jump-says")).to_have_text(says)
    expect(page.locator("#elapsed")).to_have_text(ABOUT["1:01:00"])
    page.get_by_role("button", name="The clock was set: do not count it").click()
    expect(page.locator("#elapsed")).to_have_text(ABOUT["1:00"])


@pytest.mark.parametrize(
    ("set_ms", "says", "elapsed"),
    [
        (-HOUR_S * 1000, "The clock was set back by", "1:00"),
        (HOUR_S * 1000, "slept, or the clock was set: that time is counted.", "1:01:00"),
    ],
)
def test_a_clock_that_differs_after_the_page_was_away_is_told(
    phone: Phone, set_ms: int, says: str, elapsed: str
) -> None:
    """What the clock alone knows is told; set back it cannot take what was seen to be given."""
    page = running(phone)
    page.goto(f"{phone.url}/bench/")  # where nothing minds the clock
    page.evaluate(
        """async (ms) => {
            const seen = Number(localStorage.getItem("pinpool-field-seen"));
            localStorage.setItem("pinpool-field-seen", seen - ms);
            const { keep, kept } = await import("/static/exposures/field/store.js");
            const timer = await kept("timer");
            const segments = timer.segments.map((each) => ({ ...each, at: each.at - ms }));
            await keep("timer", { ...timer, segments });
        }""",
        set_ms,
    )
    page.goto(f"{phone.url}/field/")
    expect(page.locator("#jump-says")).to_contain_text(says)
    expect(page.locator("#elapsed")).to_have_text(ABOUT[elapsed])


def test_another_day_is_named(phone: Phone) -> None:
    page = phone.visit()
    page.clock.install(time="2026-11-30T12:00:00")
    expose(page, "6")
    expect(page.locator("#when")).to_contain_text(re.compile(r"Close at \d+:\d\d:\d\d"))
    set_clock(page, 0)
    page.get_by_role("button", name="Throw this timer away").click()
    page.get_by_role("button", name="Throw it away").click()
    expose(page, "-4")
    expect(page.locator("#when")).to_contain_text(re.compile(r"Close at \w+, \w+ \d+, \d+:\d\d"))


def test_the_darkroom_counts_no_clock_that_is_set(desk: Any) -> None:
    darkroom(desk)
    desk.clock.install()
    desk.get_by_role("button", name="Start: developer").click()
    desk.clock.run_for(30_000)
    for by_s, says in ((HOUR_S, "1 h forward at once"), (-HOUR_S, "set back by 1 h")):
        set_clock(desk, by_s)
        expect(desk.locator("#clock-says")).to_contain_text(says)
        expect(desk.locator("#step-time")).to_have_text(re.compile(r"^0:[345]\d$"))
    hide(desk, hidden=True)
    set_clock(desk, HOUR_S)
    expect(desk.locator("#clock-says")).to_contain_text("that time is counted")
    expect(desk.locator("#step-time")).to_have_text(re.compile(r"^1:00:\d\d$"))
    desk.get_by_role("button", name="Next: water rinse").click()
    expect(desk.locator("#clock-says")).to_be_hidden()
