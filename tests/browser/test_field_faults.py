"""The field page where the phone, the network or the people at it do what they should not."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.template.loader import render_to_string
from playwright.sync_api import Browser, Page, Route, expect

from exposures.models import ExposureLog
from exposures.web import field
from tests.browser.field_phone import BULK, Phone, expect_sent, expose, kept, log, phone, refused_with
from tests.factories import MembershipFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
__all__ = ["phone"]


@pytest.fixture
def faulty(browser: Browser, live_server: Any) -> Iterator[Phone]:
    """A phone on which the page itself may meet faults of the phone."""
    context = browser.new_context(viewport={"width": 360, "height": 800})
    yield Phone(context, live_server)
    context.close()


def refuse(page: Page, pointer: str) -> None:
    """Let the one entry on the phone have been refused."""
    page.evaluate(
        """async (pointer) => {
            const store = await import("/static/exposures/field/store.js");
            const [entry] = await store.entries();
            await store.keepEntry({ ...entry, body: { ...entry.body, note: "wrack" }, state: "refused",
                                    faults: [{ pointer, detail: "Not so." }] });
        }""",
        pointer,
    )
    page.reload()
    expect(page.locator("#refused li")).to_have_count(1)


# ------------------------------------------------------------------------------------------------ another account


def test_who_signs_in_while_entries_go_does_not_get_them(phone: Phone) -> None:
    page = phone.visit()
    other = MembershipFactory.create(club=phone.club).user
    other.set_password("samphire and salt")
    other.save()
    at = f"{phone.url}/api/v1/accounts/login/"

    def told_too_late(route: Route) -> None:
        answer = route.fetch()
        asked = phone.context.request
        token = asked.get(at).json()["csrf_token"]
        data = {"username": other.username, "password": "samphire and salt"}
        assert asked.post(at, data=data, headers={"X-CSRFToken": token}).ok
        route.fulfill(response=answer)

    expose(page)
    page.route("**/accounts/me/", told_too_late, times=1)
    log(page)
    expect(page.locator("#state")).to_contain_text("Trying again")
    assert not ExposureLog.objects.exists()
    assert [(entry["account"], entry["state"]) for entry in kept(page)] == [(phone.member.user.username, "waiting")]
    phone.sign_in(phone.member.user)
    page.get_by_role("button", name="Send now").click()
    expect_sent(page)
    assert ExposureLog.objects.get().member == phone.member.user


def test_who_signs_in_while_kits_come_gets_their_own(phone: Phone) -> None:
    page = phone.visit()
    other = MembershipFactory.create(club=phone.club).user

    def from_then_on_another(route: Route) -> None:
        phone.sign_in(other)
        route.continue_()

    page.route("**/field-kit/", from_then_on_another, times=1)
    page.get_by_role("button", name="Fetch cameras and papers").click()
    expect(page.locator("#kept-says")).to_contain_text(f"for {other.username}")


# ------------------------------------------------------------------------------------------------------ the network


def test_a_network_that_answers_with_its_own_page_is_waited_out(phone: Phone) -> None:
    page = phone.visit()
    expose(page)
    page.route("**/api/v1/**", lambda route: route.fulfill(status=200, content_type="text/html", body="Pay here."))
    log(page)
    expect(page.locator("#state")).to_contain_text("is there a network to sign in to? Trying again")
    page.get_by_role("button", name="Fetch cameras and papers").click()
    expect(page.locator("#state")).to_contain_text("No signal")
    page.unroute("**/api/v1/**")
    expect_sent(page)


def test_an_answer_cut_off_is_asked_for_again(phone: Phone) -> None:
    page = phone.visit()
    expose(page)
    page.route(BULK, lambda route: route.fulfill(status=200, content_type="application/json", body='{"res'), times=1)
    log(page)
    expect(page.locator("#state")).to_contain_text("The answer was lost on its way")
    expect_sent(page)
    assert ExposureLog.objects.count() == 1


def test_entries_go_even_where_kits_do_not_come(faulty: Phone) -> None:
    page = faulty.visit()
    faulty.context.set_offline(True)
    expose(page)
    log(page)
    page.route("**/field-kit/", refused_with(403))
    faulty.context.set_offline(False)
    expect_sent(page)


def test_a_page_that_could_not_be_kept_says_so(phone: Phone, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(field, "FILES", (*field.FILES, "exposures/field/absent.js"))
    page = phone.open()
    expect(page.locator("#offline-says")).to_contain_text("could not be kept")


def test_the_worker_answers_for_its_files_on_whatever_host_and_for_nothing_else(browser: Browser) -> None:
    static = "https://static.saltmarsh.example/s/page.js"
    told = {"version": "1", "page": "/field/", "files": f'["{static}", "/s/here.js"]'}
    page = browser.new_page()
    answered = page.evaluate(
        """([worker, urls]) => {
            const heard = {};
            const self = { addEventListener: (name, work) => (heard[name] = work) };
            const caches = { match: async () => "kept" };
            new Function("self", "caches", "location", worker)(self, caches, { origin: "https://saltmarsh.example" });
            const answers = (url, method = "GET") => {
                let answered = false;
                heard.fetch({ request: { url, method }, respondWith: () => (answered = true) });
                return answered;
            };
            return [...urls.map((url) => answers(url)), answers(urls[0], "POST")];
        }""",
        [
            render_to_string("exposures/field_worker.js", told),
            [
                static,
                "https://saltmarsh.example/field/",
                "https://saltmarsh.example/s/here.js",
                "https://elsewhere.example/s/here.js",
                "https://elsewhere.example/field/",
                "https://saltmarsh.example/s/page.js",
            ],
        ],
    )
    page.close()
    assert answered == [True, True, True, False, False, False, False]


# ------------------------------------------------------------------------------------------------------- the phone


def test_a_full_phone_is_said_and_not_hidden(faulty: Phone) -> None:
    page = faulty.visit()
    page.evaluate(
        """() => (IDBObjectStore.prototype.put = () => {
            throw new DOMException("The phone is full.", "QuotaExceededError");
        })"""
    )
    expose(page)
    expect(page.locator("#trouble")).to_have_text("This did not work: The phone is full.")


def test_a_store_that_the_phone_closed_is_opened_again(phone: Phone) -> None:
    page = phone.visit()
    closing = phone.context.new_cdp_session(page)
    closing.send("Storage.clearDataForOrigin", {"origin": phone.url, "storageTypes": "indexeddb"})
    expose(page)
    started = page.evaluate("""async () => (await import("/static/exposures/field/store.js")).kept("timer")""")
    assert started["table"]["camera"]["code"] == "T1"


def test_a_clock_set_back_takes_nothing_from_the_time_given(phone: Phone) -> None:
    page = phone.visit()
    other = phone.visit()
    for each in (page, other):
        each.clock.install()
    expose(page)
    page.clock.run_for(60_000)
    expect(page.locator("#elapsed")).to_have_text("1:00")
    set_back = page.evaluate("Date.now() / 1000") - 3_600
    for each in (page, other):
        each.clock.set_system_time(set_back)
        each.clock.run_for(600)
        page.wait_for_timeout(200)
    expect(page.locator("#elapsed")).to_have_text(re.compile(r"^1:[0-3]\d$"))  # the clock runs on by itself
    page.reload()
    expect(page.locator("#elapsed")).to_have_text(re.compile(r"^1:[0-3]\d$"))  # the clock runs on by itself


def test_a_tab_that_slept_learns_of_the_timer_when_it_wakes(phone: Phone) -> None:
    phone.context.add_init_script("delete globalThis.BroadcastChannel")
    slept, page = phone.visit(), phone.visit()
    expose(page)
    expect(slept.locator("#timing")).to_be_hidden()
    slept.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(slept.locator("#timing")).to_be_visible()


# ------------------------------------------------------------------------------------------------------- the people


def test_escape_never_wipes(phone: Phone) -> None:
    page = phone.visit()
    wipe = page.get_by_role("button", name="Wipe my data off this phone")
    wipe.click()
    page.get_by_role("button", name="Wipe it").click()
    expect(page.locator("#nothing-kept")).to_be_visible()
    page.get_by_role("button", name="Fetch cameras and papers").click()
    expect(page.get_by_label("EV", exact=True)).to_be_visible()
    phone.context.set_offline(True)
    expose(page)
    log(page)
    wipe.click()
    page.keyboard.press("Escape")
    expect(page.locator("#wipe-dialog")).to_be_hidden()
    page.wait_for_timeout(300)
    assert len(kept(page)) == 1


def test_two_taps_mend_an_entry_with_a_taken_id_once(phone: Phone) -> None:
    page = phone.visit()
    phone.context.set_offline(True)
    expose(page)
    log(page)
    refuse(page, "/id")
    page.locator("#refused form button:not([type])").dblclick()
    expect(page.locator("#refused li")).to_have_count(0)
    assert len(kept(page)) == 1


def test_a_note_that_is_not_taken_may_be_left_out(phone: Phone) -> None:
    page = phone.visit()
    phone.context.set_offline(True)
    expose(page)
    log(page)
    refuse(page, "/note")
    note = page.locator("#refused").get_by_label("Note")
    note.fill("")
    page.evaluate("dispatchEvent(new Event('online'))")  # what is looked at anew meanwhile takes no cursor away
    expect(page.locator("#state")).to_contain_text("No signal")
    expect(note).to_be_focused()
    phone.context.set_offline(False)
    page.get_by_role("button", name="Send again").click()
    expect_sent(page)
    assert ExposureLog.objects.get().note == ""
