"""The darkroom page: its step timer through a reload and by keyboard, and a negative judged beside the last ones."""

import re
from typing import Any

import pytest
from django.core.files.base import ContentFile
from playwright.sync_api import Page, expect

from clubs.models import Membership
from exposures.models import ExposureLog, NegativePicture
from tests.bodies import picture
from tests.browser.every_page import clean, sign_in
from tests.browser.field_phone import only_red
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def darkroom(page: Page) -> Membership:
    """A member's darkroom page: one camera with a judged negative and one that waits."""
    member = MembershipFactory.create()
    spec = CameraSpecFactory.create(camera__club=member.club, camera__code="T1")
    paper = PaperFactory.create(club=member.club, name="Glasswort")
    facts: dict[str, Any] = {"spec": spec, "paper": paper, "member": member.user}
    judged = ExposureLogFactory.create(**facts, result={"judged_stops": 0.5}, result_stops=0.5)
    ExposureLogFactory.create(
        **facts, result=None, result_stops=None, note="kelp", process={"time_s": 90.0, "typed": {"time": "90 s"}}
    )
    negative = NegativePicture(log=judged, width_pixels=60, height_pixels=40)
    negative.image.save("n.jpg", ContentFile(picture()))
    sign_in(page, member.user)
    page.goto(f"/clubs/{member.club.slug}/darkroom/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Darkroom")
    return member


def test_it_is_clean_at_every_width_and_look(page: Page) -> None:
    darkroom(page)
    expect(page.get_by_role("img", name="That negative or print")).to_be_visible()
    clean(page)
    page.get_by_role("button", name="Start: developer").click()
    clean(page)


def test_the_steps_run_by_taps_and_through_a_reload(phone: Page) -> None:
    darkroom(phone)
    phone.clock.install()
    phone.get_by_role("button", name="Start: developer").click()
    expect(phone.locator("#step-span")).to_have_text("of 1:30")
    phone.clock.run_for(80_000)
    expect(phone.locator("#step-says")).to_have_text("Developer. Then let it drain for 15 s.")
    phone.reload()
    expect(phone.locator("#step-time")).to_have_text(re.compile(r"^1:2\d$"))
    phone.clock.run_for(11_000)
    expect(phone.locator("#step-says")).to_have_text("Developer: enough. Move on.")
    phone.get_by_role("button", name="Next: water rinse").click()
    expect(phone.locator("#steps [aria-current=step]")).to_contain_text("Water rinse")
    expect(phone.locator("#step-span")).to_have_text("of 0:10 to 0:30")
    phone.clock.run_for(36_000)
    expect(phone.locator("#step-says")).to_have_text("Water rinse: over the time. Take it out.")


def test_the_steps_run_by_space_alone(desk: Page) -> None:
    darkroom(desk)
    for title in ("Developer", "Water rinse", "Stop bath", "Water rinse", "Fixer", "Wash"):
        desk.keyboard.press("Space")
        expect(desk.locator("#steps [aria-current=step] b")).to_have_text(title)
    desk.keyboard.press("Space")
    expect(desk.locator("#step-says")).to_have_text("Done. Let the negative dry, then judge it below.")
    expect(desk.get_by_role("button", name="Start: developer")).to_be_visible()


def test_the_darkroom_look_shows_nothing_but_red(phone: Page) -> None:
    phone.context.add_init_script("try { localStorage.setItem('pinpool_look', 'darkroom') } catch {}")
    darkroom(phone)
    phone.get_by_role("button", name="Start: developer").click()
    assert only_red(phone)


def test_a_negative_is_judged_beside_the_last_ones(desk: Page) -> None:
    member = darkroom(desk)
    judging = desk.locator("#judge")
    expect(judging.get_by_role("listitem")).to_contain_text("½ stop over")
    judging.get_by_label("How it came out").select_option("−1 stop")
    judging.get_by_role("button", name="Keep it").click()
    expect(judging).to_contain_text("None of your exposures waits to be judged.")
    stored = ExposureLog.objects.get(corrected_at=None, note="kelp")
    assert (stored.result, stored.member) == ({"judged_stops": -1}, member.user)
    assert stored.process == {"time_s": 90.0, "typed": {"time": "90 s"}}


def test_a_result_that_cannot_be_read_is_said_at_its_field(desk: Page) -> None:
    darkroom(desk)
    desk.get_by_label("or the time that would have been right").fill("3,5 min")
    desk.get_by_role("button", name="Keep it").click()
    expect(desk.locator("#judge .fault")).to_have_text("Write decimals with a point: 1.5.")
    assert not ExposureLog.objects.exclude(corrects=None).exists()


def test_the_screen_may_sleep_again_once_the_steps_are_left(phone: Page) -> None:
    phone.context.add_init_script(
        """globalThis.locks = [];
        const request = async () => {
            const lock = { released: false, release() { this.released = true; } };
            globalThis.locks.push(lock);
            return lock;
        };
        Object.defineProperty(navigator, "wakeLock", { value: { request } });"""
    )
    darkroom(phone)
    phone.get_by_role("button", name="Start: developer").click()
    phone.get_by_role("button", name="Next: water rinse").click()
    phone.get_by_role("button", name="From the start again").click()
    assert phone.evaluate("locks.length > 0 && locks.every(({ released }) => released)")
