"""The field page on a phone: from the first visit to the synced log, with everything that goes wrong in between."""

import json
import re
from collections.abc import Iterator
from io import BytesIO
from typing import Any

import numpy as np
import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from exposures.models import ExposureLog
from tests.browser.conftest import LISTEN
from tests.browser.helpers import clean
from tests.factories import AccountFactory, CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

BULK = re.compile(r"/exposures/bulk/$")


class Phone:
    """A phone in the hand of a member of a club with a camera T1 and one paper of index 6."""

    def __init__(self, context: BrowserContext, live_server: Any) -> None:
        self.context, self.url = context, live_server.url
        self.member = MembershipFactory.create()
        self.club = self.member.club
        self.spec = CameraSpecFactory.create(camera__club=self.club, camera__code="T1", camera__name="Tea caddy")
        self.paper = PaperFactory.create(club=self.club, name="Glasswort")
        self.sign_in(self.member.user)

    def sign_in(self, user: Any) -> None:
        client = Client()
        client.force_login(user)
        self.context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": self.url}])

    def open(self) -> Page:
        """The page, once it reckons by what the phone keeps."""
        page = self.context.new_page()
        page.goto(f"{self.url}/field/")
        expect(page.locator("#field[data-ready]")).to_be_attached()
        return page

    def visit(self) -> Page:
        """The page, once it is kept for days without signal."""
        page = self.open()
        expect(page.locator("#state")).to_have_text("Up to date.")
        expect(page.locator("#offline-says")).to_have_text("This page opens without signal from now on.")
        return page


@pytest.fixture
def phone(browser: Browser, live_server: Any) -> Iterator[Phone]:
    """Fails the test on an error in the page, a breach of its policy, or a request to elsewhere; not on lost signal."""
    context = browser.new_context(viewport={"width": 360, "height": 800})
    context.add_init_script(LISTEN)
    faults: list[str] = []
    context.on("console", lambda message: faults.append(message.text) if message.text.startswith("CSP") else None)
    context.on("weberror", lambda error: faults.append(str(error.error)))
    ours = (live_server.url, "data:", "blob:")
    context.on("request", lambda sent: None if sent.url.startswith(ours) else faults.append(sent.url))
    yield Phone(context, live_server)
    context.close()
    assert faults == []


def expose(page: Page, ev: str = "13") -> None:
    page.get_by_label("EV", exact=True).fill(ev)
    page.get_by_role("button", name="Shutter open: start").click()
    expect(page.locator("#timing")).to_be_visible()


def log(page: Page, result: str = "Later") -> None:
    page.get_by_role("button", name="Shutter closed now").click()
    page.get_by_role("button", name=result, exact=True).click()
    expect(page.locator("#timing")).to_be_hidden()


def kept(page: Page) -> list[dict[str, Any]]:
    """The entries that are still on the phone."""
    return page.evaluate("""async () => (await import("/static/exposures/field/store.js")).entries()""")


def expect_sent(page: Page) -> None:
    """Wait until the server has every entry."""
    page.wait_for_timeout(100)
    for _ in range(100):
        if not kept(page):
            break
        page.wait_for_timeout(100)
    assert kept(page) == []
    expect(page.locator("#waiting")).to_have_text("No entry waits on this phone.")


def refused_with(status: int, **headers: str) -> Any:
    problem = {"type": "about:blank", "title": "Later", "status": status, "detail": "Not just now."}

    def answer(route: Route) -> None:
        route.fulfill(
            status=status, body=json.dumps(problem), headers={"Content-Type": "application/problem+json", **headers}
        )

    return answer


# ------------------------------------------------------------------------------------------------- the time to give


def test_the_time_is_the_recommendation(phone: Phone) -> None:
    for time in np.geomspace(5, 3000, 9):
        ExposureLogFactory.create(
            spec=phone.spec, paper=phone.paper, exposure_time_s=time, indicated_time_s=2**0.5 * time ** (1 / 1.3)
        )
    page = phone.visit()
    page.get_by_label("EV", exact=True).fill("13")
    client = Client()
    client.force_login(phone.member.user)
    body = {"camera": "T1", "paper": str(phone.paper.id), "reading": {"ev": 13}}
    at = f"/api/v1/clubs/{phone.club.slug}/recommendation/"
    live = client.post(at, body, content_type="application/json").json()
    expect(page.locator("#give")).to_have_text(live["exposure_time"]["text"])
    ends = [live["interval"][end]["text"] for end in ("low", "high")]
    expect(page.locator("#range")).to_have_text(" to ".join(ends))
    expect(page.locator("#doubts")).to_contain_text("All logs come from one camera")
    page.get_by_text("What this rests on").click()
    expect(page.locator("#rests-on")).to_contain_text(
        "Glasswort: 9 logs by 9 members with 1 camera, from 5 s to 50 min"
    )


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        ("A time at an f-number", {"Time": "1/32", "f-number": "16"}),
        ("Lux", {"Lux, meter at the subject": "20480"}),
        ("cd/m²", {"cd/m², meter aimed at it": "1024 cd/m2"}),
    ],
)
def test_any_meter_will_do(phone: Phone, kind: str, values: dict[str, str]) -> None:
    """EV 13 at ISO 100 is f/16 at 1/32 s, 2.5·2^13 lx on a flat receptor, 2^13/8 cd/m² (ISO 2720)."""
    page = phone.visit()
    page.get_by_label("EV", exact=True).fill("13")
    time = page.locator("#give").text_content()
    page.get_by_label("What the meter shows").select_option(kind)
    for label, text in values.items():
        page.get_by_label(label, exact=True).fill(text)
    expect(page.locator("#give")).to_have_text(time or "")


def test_what_cannot_be_read_is_said_at_the_field(phone: Phone) -> None:
    page = phone.visit()
    page.get_by_label("EV", exact=True).fill("bright")
    expect(page.locator("#reading-fault")).to_have_text("Give a plain number, such as 5.6.")
    expect(page.get_by_label("EV", exact=True)).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_role("button", name="Shutter open: start")).to_be_disabled()
    page.get_by_label("What the meter shows").select_option("Lux")
    page.get_by_label("Lux, meter at the subject").fill("32,000 lx")
    expect(page.locator("#reading-fault")).to_contain_text("without separators between thousands")


# ----------------------------------------------------------------------------------------------------- without signal


def test_offline_from_load_to_the_synced_log(phone: Phone) -> None:
    phone.visit().close()
    phone.context.set_offline(True)
    page = phone.open()
    expect(page.locator("#state")).to_contain_text("No signal")
    expose(page)
    log(page, "+½")
    expect(page.locator("#waiting")).to_contain_text("1 entry waits for signal")
    assert not ExposureLog.objects.exists()
    phone.context.set_offline(False)
    expect_sent(page)
    stored = ExposureLog.objects.get()
    assert (stored.member, stored.paper, stored.spec) == (phone.member.user, phone.paper, phone.spec)
    assert (stored.result, stored.reading) == ({"judged_stops": 0.5}, {"ev": 13, "iso": 100})


def test_a_full_reload_in_mid_exposure_loses_nothing(phone: Phone) -> None:
    page = phone.visit()
    page.clock.install()
    expose(page)
    page.clock.run_for(60_000)
    expect(page.locator("#elapsed")).to_have_text("1:00")
    phone.context.set_offline(True)
    page.reload()
    expect(page.locator("#timing")).to_be_visible()
    expect(page.locator("#elapsed")).to_have_text(re.compile(r"^1:0\d$"))
    page.close()
    phone.context.set_offline(False)
    again = phone.open()
    expect(again.locator("#timing")).to_be_visible()
    expect(again.locator("#what")).to_have_text("T1, Tea caddy, on Glasswort")


def test_two_tabs_send_each_entry_once(phone: Phone) -> None:
    one, two = phone.visit(), phone.visit()
    phone.context.set_offline(True)
    for ev in ("13", "12", "11"):
        expose(one, ev)
        log(one)
    expect(two.locator("#waiting")).to_contain_text("3 entries wait")
    sent: list[str] = []
    phone.context.on("request", lambda request: sent.append(request.url) if BULK.search(request.url) else None)
    phone.context.set_offline(False)
    for page in (one, two):
        expect_sent(page)
    assert ExposureLog.objects.count() == 3
    assert len(sent) == 1


def test_sending_twice_without_locks_is_still_once(phone: Phone) -> None:
    phone.context.add_init_script("delete Navigator.prototype.locks")
    page = phone.visit()
    expose(page)
    answers = []

    def stored_but_never_told(route: Route) -> None:
        answers.append(route.fetch())
        route.abort()

    page.route(BULK, stored_but_never_told, times=1)
    log(page)
    expect_sent(page)
    assert [answer.json()["created"] for answer in answers] == [1]
    assert ExposureLog.objects.count() == 1


# ----------------------------------------------------------------------------------------------- what goes wrong


def test_a_fault_of_the_server_is_tried_again(phone: Phone) -> None:
    page = phone.visit()
    page.route(BULK, refused_with(500), times=1)
    expose(page)
    log(page)
    expect(page.locator("#state")).to_contain_text("Trying again in 2 s; the entries are kept.")
    expect_sent(page)
    assert ExposureLog.objects.count() == 1


def test_too_many_calls_wait_as_long_as_they_are_told(phone: Phone) -> None:
    page = phone.visit()
    page.route(BULK, refused_with(429, **{"Retry-After": "7"}), times=1)
    expose(page)
    log(page)
    expect(page.locator("#state")).to_contain_text("Trying again in 7 s")
    assert len(kept(page)) == 1
    page.get_by_role("button", name="Send now").click()
    expect_sent(page)
    assert ExposureLog.objects.count() == 1


def test_an_expired_session_keeps_the_entry_until_one_signs_in(phone: Phone) -> None:
    page = phone.visit()
    Session.objects.all().delete()
    expose(page)
    log(page)
    expect(page.locator("#state")).to_contain_text("You are signed out here")
    expect(page.get_by_role("link", name="Sign in again")).to_have_attribute("href", re.compile("next="))
    assert len(kept(page)) == 1
    phone.sign_in(phone.member.user)
    page.get_by_role("button", name="Send now").click()
    expect_sent(page)
    assert ExposureLog.objects.get().member == phone.member.user


def test_another_account_does_not_send_it_under_its_name(phone: Phone) -> None:
    page = phone.visit()
    phone.context.set_offline(True)
    expose(page)
    log(page)
    phone.context.set_offline(False)
    other = MembershipFactory.create(club=phone.club).user
    phone.sign_in(other)
    page.get_by_role("button", name="Fetch cameras and papers").click()
    expect(page.locator("#kept-says")).to_contain_text(f"for {other.username}")
    expect(page.locator("#waiting")).to_contain_text("1 entry of somebody else will go when they sign in here.")
    assert not ExposureLog.objects.filter(member=other).exists()


def test_what_is_refused_is_kept_shown_mended_and_sent(phone: Phone) -> None:
    page = phone.visit()
    phone.context.set_offline(True)
    expose(page)
    log(page)
    wrong = kept(page)[0]
    wrong["body"]["exposure_time"] = "3,5 min"
    page.evaluate("""async (entry) => (await import("/static/exposures/field/store.js")).keepEntry(entry)""", wrong)
    phone.context.set_offline(False)
    card = page.locator("#refused li form")
    expect(card).to_contain_text("Time given: Write decimals with a point: 1.5.")
    expect(page.locator("#waiting")).to_contain_text("the club's log would not take")
    page.reload()
    card.get_by_label("Time given").fill("3.5 min")
    card.get_by_role("button", name="Send again").click()
    expect(card).to_have_count(0)
    expect_sent(page)
    assert ExposureLog.objects.get().typed_time == "3.5 min"


def test_unsent_entries_are_saved_to_a_file_and_wiped_only_when_asked(phone: Phone) -> None:
    page = phone.visit()
    phone.context.set_offline(True)
    expose(page)
    log(page)
    with page.expect_download() as download:
        page.get_by_role("button", name="Save my unsent entries").click()
    saved = json.loads(download.value.path().read_text())
    assert [entry["body"]["camera"] for entry in saved["entries"]] == ["T1"]
    page.get_by_role("button", name="Wipe my data off this phone").click()
    dialog = page.locator("#wipe-dialog")
    expect(dialog).to_contain_text("1 unsent entry would be gone for good")
    dialog.get_by_role("button", name="Keep it").click()
    assert len(kept(page)) == 1
    page.get_by_role("button", name="Wipe my data off this phone").click()
    dialog.get_by_role("button", name="Wipe it").click()
    expect(page.locator("#nothing-kept")).to_be_visible()
    assert kept(page) == []


def test_a_guest_may_look_but_not_log(phone: Phone) -> None:
    guest = MembershipFactory.create(club=phone.club, role="guest").user
    phone.sign_in(guest)
    page = phone.visit()
    expose(page)
    page.get_by_role("button", name="Shutter closed now").click()
    expect(page.locator("#judging")).to_contain_text("As a guest of the club you cannot log this.")
    expect(page.get_by_role("button", name="Later")).to_be_hidden()


def test_who_has_no_account_is_told_where_to_sign_in(phone: Phone) -> None:
    phone.context.clear_cookies()
    page = phone.open()
    expect(page.locator("#nothing-kept")).to_contain_text("Sign in, then come back here once with signal")


# ------------------------------------------------------------------------------------------------------- the timer


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
    """From the first paint of the kept page on: no pixel with any green or blue in it."""
    phone.context.add_init_script(
        "try { localStorage.setItem('pinpool_look', 'darkroom') } catch {}"
    )
    page = phone.visit()
    phone.context.set_offline(True)
    page.goto(f"{phone.url}/field/", wait_until="commit")
    for _ in range(5):
        picture = Image.open(BytesIO(page.screenshot())).convert("RGB")
        _, green, blue = (band.getextrema() for band in picture.split())
        assert (green, blue) == ((0, 0), (0, 0))
        page.wait_for_timeout(100)
