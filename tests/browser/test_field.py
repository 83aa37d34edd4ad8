"""The field page on a phone: from the first visit to the synced log, with everything that goes wrong in between."""

import json
import re

import numpy as np
import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from playwright.sync_api import Route, expect

from exposures.models import ExposureLog
from tests.browser.field_phone import BULK, Phone, expect_sent, expose, kept, log, phone, refused_with
from tests.factories import ExposureLogFactory, MembershipFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
__all__ = ["phone"]


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
    expect(page.get_by_text("Sign in, then come back here once with signal")).to_be_visible()
