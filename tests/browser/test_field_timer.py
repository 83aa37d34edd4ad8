"""The field page's timer, its run by keyboard alone, what it looks like, and what it keeps on the phone."""

import re

import pytest
from playwright.sync_api import expect

from exposures.models import ExposureLog
from tests.browser.every_page import clean
from tests.browser.field_phone import Phone, expect_sent, expose, kept, log, only_red, phone
from tests.factories import AccountFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
__all__ = ["phone"]


def test_the_timer_says_when_it_is_up_and_logs_the_time_it_asked_for(phone: Phone) -> None:
    page = phone.visit()
    page.clock.install()
    expose(page)
    page.clock.run_for(300)
    time_s = page.evaluate(
        """async () => {
            const { kept } = await import("/static/exposures/field/store.js");
            const { timeIn } = await import("/static/exposures/field/time.js");
            const { table, segments } = await kept("timer");
            return timeIn(table, segments[0].ev100).time;
        }"""
    )
    page.clock.fast_forward(round(time_s * 1000) + 5_000)
    page.clock.run_for(300)
    expect(page.locator("#close")).to_have_text("Close now")
    expect(page).to_have_title(re.compile("^Close!"))
    page.get_by_role("button", name="Closed on time: log it").click()
    page.get_by_role("button", name="0", exact=True).click()
    expect_sent(page)
    assert ExposureLog.objects.get().exposure_time_s == pytest.approx(time_s, abs=0.6)


def test_light_that_changes_counts_by_its_own_time(phone: Phone) -> None:
    """Half the time in one light and then half the light: half the exposure is left, which is the whole first time."""
    page = phone.visit()
    page.clock.install()
    expose(page, "13")
    whole = page.evaluate(
        """async () => {
            const { kept } = await import("/static/exposures/field/store.js");
            const { timeIn } = await import("/static/exposures/field/time.js");
            const { table } = await kept("timer");
            return [timeIn(table, 13).time, timeIn(table, 12).time];
        }"""
    )
    page.clock.run_for(round(whole[0] * 500))
    expect(page.locator("#share")).to_have_text(re.compile("^(49|50) %$"))
    page.get_by_label("EV", exact=True).fill("12")
    page.get_by_role("button", name="Light changed: use this reading from now").click()
    page.clock.run_for(300)
    expect(page.locator("#light-range")).to_contain_text("If the light goes on")
    page.clock.run_for(round(whole[1] * 250))
    expect(page.locator("#share")).to_have_text(re.compile("^(74|75) %$"))
    log(page)
    expect_sent(page)
    stored = ExposureLog.objects.get()
    assert "The light changed: EV 13.0 for" in stored.note
    assert 12 < stored.ev100 < 13


def test_a_timer_is_thrown_away_only_when_asked(phone: Phone) -> None:
    page = phone.visit()
    expose(page)
    page.get_by_role("button", name="Throw this timer away").click()
    page.get_by_role("button", name="Keep it").click()
    expect(page.locator("#timing")).to_be_visible()
    page.get_by_role("button", name="Throw this timer away").click()
    page.get_by_role("button", name="Throw it away").click()
    expect(page.locator("#timing")).to_be_hidden()
    assert kept(page) == []


def test_by_keyboard_alone(phone: Phone) -> None:
    page = phone.visit()

    def focus(name: str) -> None:
        """Tab until the element of this id has the focus."""
        for _ in range(60):
            if page.evaluate("document.activeElement.id") == name:
                return
            page.keyboard.press("Tab")
        raise AssertionError(f"The keyboard does not reach #{name}.")

    focus("ev")
    page.keyboard.type("13")
    focus("start")
    page.keyboard.press("Enter")
    expect(page.locator("#close-now")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="−1")).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    expect_sent(page)
    assert ExposureLog.objects.get().result == {"judged_stops": -0.5}


# ------------------------------------------------------------------------------------------------- what the phone keeps


def test_every_file_the_page_loads_is_kept_on_the_phone(phone: Phone) -> None:
    loaded: set[str] = set()
    phone.context.on("request", lambda request: loaded.add(request.url.removeprefix(phone.url)))
    page = phone.visit()
    files = page.evaluate("""async () => {
        const [name] = await caches.keys();
        return (await (await caches.open(name)).keys()).map(({ url }) => new URL(url).pathname);
    }""")
    assert {at for at in loaded if at.startswith("/static/")} <= set(files)
    assert "/field/" in files


def test_nothing_of_anybody_is_in_the_kept_page(phone: Phone) -> None:
    page = phone.visit()
    html = page.evaluate("""async () => (await caches.match("/field/")).text()""")
    assert AccountFactory.create().username not in html
    assert phone.member.user.username not in html


def test_it_is_clean_in_every_state_and_look(phone: Phone) -> None:
    page = phone.visit()
    clean(page)
    page.get_by_label("EV", exact=True).fill("bright")
    clean(page)
    expose(page)
    clean(page)
    phone.context.set_offline(True)
    page.get_by_role("button", name="Shutter closed now").click()
    clean(page)
    page.get_by_role("button", name="Later").click()
    page.evaluate("""async () => {
        const store = await import("/static/exposures/field/store.js");
        const [entry] = await store.entries();
        const faults = [{ pointer: "/exposure_time", detail: "Wrong." }];
        await store.keepEntry({ ...entry, state: "refused", faults });
    }""")
    page.reload()
    expect(page.locator("#refused li")).to_have_count(1)
    clean(page)
    page.get_by_role("button", name="Wipe my data off this phone").click()
    clean(page)


def test_the_darkroom_look_shows_nothing_but_red(phone: Phone) -> None:
    """From the first paint of the kept page on, and while a timer runs."""
    phone.context.add_init_script("try { localStorage.setItem('pinpool_look', 'darkroom') } catch {}")
    page = phone.visit()
    phone.context.set_offline(True)
    page.goto(f"{phone.url}/field/", wait_until="commit")
    for _ in range(5):
        assert only_red(page)
        page.wait_for_timeout(100)
    page.get_by_label("What the meter shows").select_option("Lux")
    assert only_red(page)
    page.get_by_label("Lux, meter at the subject").fill("20480")
    page.get_by_role("button", name="Shutter open: start").click()
    assert only_red(page)
    page.get_by_role("button", name="Throw this timer away").click()
    assert only_red(page)
