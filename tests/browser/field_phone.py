"""A phone with the field page on it, for the browser tests of that page."""

import json
import re
from collections.abc import Iterator
from io import BytesIO
from typing import Any

import pytest
from django.test import Client
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from tests.browser.conftest import LISTEN
from tests.factories import CameraSpecFactory, MembershipFactory, PaperFactory

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


def only_red(page: Page) -> bool:
    """Whether no pixel of the whole page has any green or blue in it."""
    picture = Image.open(BytesIO(page.screenshot(full_page=True))).convert("RGB")
    _, green, blue = (band.getextrema() for band in picture.split())
    return (green, blue) == ((0, 0), (0, 0))
