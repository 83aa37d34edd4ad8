"""The field page while the server is killed and comes back."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.field_phone import expect_sent, expose, kept, log
from tests.browser.site import Site
from tests.races.conftest import own_database

pytestmark = [pytest.mark.browser]
__all__ = ["own_database"]


@pytest.fixture
def site(own_database: dict[str, str]) -> Iterator[Site]:
    site = Site(own_database)
    yield site
    site.server.kill()


def open_page(browser: Browser, site: Site) -> Page:
    context = browser.new_context(viewport={"width": 360, "height": 800})
    context.add_cookies([{"name": "sessionid", "value": site.session, "url": site.url}])
    page = context.new_page()
    page.goto(f"{site.url}/field/")
    expect(page.locator("#offline-says")).to_have_text("This page opens without signal from now on.")
    expect(page.locator("#state")).to_have_text("Up to date.")
    return page


def test_a_server_that_dies_and_comes_back_gets_every_entry_once(browser: Browser, site: Site) -> None:
    page = open_page(browser, site)
    site.server.kill()
    expose(page)
    log(page, "+1")
    expect(page.locator("#state")).to_contain_text("cannot be reached")
    page.reload()
    expect(page.locator("#waiting")).to_contain_text("1 entry waits for signal")
    expose(page, "12")
    log(page)
    assert len(kept(page)) == 2
    site.server.start()
    expect(page.locator("#waiting")).to_have_text("No entry waits on this phone.", timeout=60_000)
    expect_sent(page)
    assert sorted(str(entry["result"]) for entry in site.logged()) == ["None", "{'judged_stops': 1}"]
    page.context.close()
