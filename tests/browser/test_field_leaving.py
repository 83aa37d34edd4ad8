"""What leaves a phone and what stays: wiping, signing out, another's kits, and a newer page."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from exposures.models import ExposureLog
from exposures.web import field
from tests.browser.field_phone import BULK, Phone, expect_sent, expose, kept, log, phone

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
__all__ = ["phone"]

STORE = '(await import("/static/exposures/field/store.js"))'
KIT = '(await import("/static/exposures/field/kit.js"))'


@pytest.fixture
def faulty(browser: Browser, live_server: Any) -> Iterator[Phone]:
    """A phone on which the page itself may meet faults of the phone."""
    context = browser.new_context(viewport={"width": 360, "height": 800})
    yield Phone(context, live_server)
    context.close()


def kits(page: Page) -> list[str]:
    names = page.evaluate(f"async () => {STORE}.keptNames()")
    return [name for name in names if name.startswith("kit ")]


def wipe(page: Page) -> None:
    page.get_by_role("button", name="Wipe my data off this phone").click()
    page.get_by_role("button", name="Wipe it").click()
    expect(page.locator("#nothing-kept")).to_be_visible()


def test_a_wiped_phone_fetches_nothing_before_it_is_asked(phone: Phone) -> None:
    page = phone.visit()
    wipe(page)
    page.reload()
    expect(page.locator("#state")).to_contain_text("Nothing is fetched before you ask for it")
    expect(page.get_by_text("“Fetch cameras and papers” below brings yours")).to_be_visible()
    expect(page.get_by_text("then come back here once")).to_be_hidden()
    assert kits(page) == []
    page.get_by_role("button", name="Fetch cameras and papers").click()
    expect(page.get_by_label("EV", exact=True)).to_be_visible()
    page.reload()
    expect(page.locator("#state")).to_have_text("Up to date.")


def test_what_was_on_its_way_while_wiping_does_not_come_back(phone: Phone) -> None:
    """Neither kits that were asked for before, nor an entry that is refused after."""
    page = phone.visit()
    expose(page)

    def while_wiping(route: Route) -> None:
        page.evaluate(f"async () => {KIT}.wipe(await {KIT}.lastAccount())")
        route.continue_()

    def refused(route: Route) -> None:
        page.evaluate(f"async () => {KIT}.wipe(await {KIT}.lastAccount())")
        errors = [{"pointer": "/0/note", "detail": "Not so.", "code": "invalid"}]
        route.fulfill(json={"results": [{"outcome": "refused", "errors": errors}]})

    page.route("**/field-kit/", while_wiping, times=1)
    page.get_by_role("button", name="Fetch cameras and papers").click()
    expect(page.locator("#state")).to_contain_text("Nothing is fetched before you ask for it")
    assert kits(page) == []
    page.get_by_role("button", name="Fetch cameras and papers").click()
    expect(page.locator("#state")).to_have_text("Up to date.")
    expose(page)
    page.route(BULK, refused, times=1)
    log(page)
    expect(page.locator("#waiting")).to_have_text("No entry waits on this phone.")
    assert kept(page) == []


def test_signing_out_takes_kits_along_and_leaves_entries(phone: Phone) -> None:
    page = phone.visit()
    page.route(BULK, lambda route: route.abort())
    expose(page)
    log(page)
    expect(page.locator("#waiting")).to_contain_text("1 entry waits")
    account = phone.context.new_page()
    account.goto(f"{phone.url}/account/")
    expect(account.get_by_text("entries that were not sent stay")).to_be_visible()
    account.get_by_role("button", name="Sign out").click()
    account.wait_for_url(f"{phone.url}/")
    assert kits(page) == []
    assert [entry["account"] for entry in kept(page)] == [phone.member.user.username]
    page.unroute(BULK)
    page.reload()
    expect(page.locator("#waiting")).to_contain_text("1 entry will go when whoever made it signs in here.")
    expect(page.get_by_text("then come back here once")).to_be_visible()
    phone.sign_in(phone.member.user)
    page.reload()
    expect_sent(page)
    assert ExposureLog.objects.get().member == phone.member.user


def test_a_name_that_begins_like_another_has_its_own_kits(phone: Phone) -> None:
    page = phone.visit()
    found = page.evaluate(
        f"""async () => {{
            const store = {STORE};
            await store.keep("kit ann creek", {{ club_name: "Creek" }});
            await store.keep("kit ann lee creek", {{ club_name: "Another's" }});
            const kits = await {KIT}.kitsOf("ann");
            await {KIT}.wipe("ann");
            return [kits.map((kit) => kit.club_name), await store.keptNames()];
        }}"""
    )
    assert found[0] == ["Creek"]
    assert "kit ann lee creek" in found[1]
    assert "kit ann creek" not in found[1]


def test_a_tab_that_sleeps_with_the_lock_keeps_no_entry_back(phone: Phone) -> None:
    page = phone.visit()
    asleep = phone.visit()
    page.clock.install()
    asleep.evaluate(
        """() => void navigator.locks.request("pinpool-field-send", () => new Promise(() => {})).catch(() => {})"""
    )
    expose(page)
    log(page)
    page.wait_for_timeout(300)
    assert len(kept(page)) == 1
    page.clock.fast_forward(31_000)
    for _ in range(50):
        if ExposureLog.objects.exists():
            break
        page.wait_for_timeout(100)
    assert ExposureLog.objects.count() == 1


def test_a_fault_is_not_shown_after_it_went_well(faulty: Phone) -> None:
    page = faulty.visit()
    page.evaluate(
        """() => {
            globalThis.put = IDBObjectStore.prototype.put;
            IDBObjectStore.prototype.put = () => { throw new DOMException("Full.", "QuotaExceededError"); };
        }"""
    )
    expose(page)
    expect(page.locator("#trouble")).to_have_text("This did not work: Full.")
    page.wait_for_timeout(600)  # the clock's ticks going well say nothing
    expect(page.locator("#trouble")).to_be_visible()
    page.evaluate("() => (IDBObjectStore.prototype.put = globalThis.put)")
    page.get_by_role("button", name="Shutter closed now").click()
    expect(page.locator("#trouble")).to_be_hidden()


def test_a_newer_page_comes_whole_and_when_the_last_old_one_goes(phone: Phone, monkeypatch: pytest.MonkeyPatch) -> None:
    page, other = phone.visit(), phone.visit()
    versions = "async () => (await caches.keys()).map((name) => name.split(' ')[1]).sort()"
    [old] = page.evaluate(versions)
    monkeypatch.setattr(field, "kept_version", lambda: "newer")
    page.evaluate(
        """async () => {
            const registration = await navigator.serviceWorker.ready;
            await registration.update();
            while (!registration.waiting) await new Promise((resolve) => setTimeout(resolve, 50));
        }"""
    )
    page.reload()
    expect(page.locator("#state")).to_have_text("Up to date.")
    assert page.evaluate(versions) == sorted([old, "newer"])  # the other page still needs it
    other.close()
    for _ in range(5):  # a page that was closed may count for a moment longer
        page.reload()
        page.wait_for_timeout(500)
        expect(page.locator("#state")).to_have_text("Up to date.")
        if page.evaluate(versions) == ["newer"]:
            break
    assert page.evaluate(versions) == ["newer"]
