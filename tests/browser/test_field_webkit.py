"""The field page in WebKit, which phones of one great maker have nothing but: offline from load to the synced log."""

from collections.abc import Iterator

import pytest

from tests.browser.site import Site
from tests.browser.webdriver import DRIVER, SCREEN, WebKit
from tests.races.conftest import own_database

pytestmark = [pytest.mark.browser]
__all__ = ["own_database"]


@pytest.fixture
def webkit() -> Iterator[WebKit]:
    needs = "This test drives Debian's WebKitGTK: apt-get install webkit2gtk-driver xvfb"
    assert DRIVER.exists(), needs
    assert SCREEN.exists(), needs
    browser = WebKit()
    yield browser
    browser.close()


def test_offline_from_load_to_the_synced_log(webkit: WebKit, own_database: dict[str, str]) -> None:
    site = Site(own_database)
    try:
        webkit.go(f"{site.url}/field/")
        webkit.set_cookie("sessionid", site.session)
        webkit.reload()
        webkit.expect_text("#state", "Up to date.")
        webkit.expect_text("#offline-says", "This page opens without signal from now on.")
        site.server.kill()
        webkit.reload()
        webkit.expect_text("#state", "No signal")
        webkit.type("#ev", "13")
        webkit.expect_text("#give", "min")
        webkit.click("#start")
        webkit.expect_text("#timing-title", "Exposing")
        webkit.reload()
        webkit.expect_text("#timing-title", "Exposing")
        webkit.click("#close-now")
        webkit.click("#stops [data-stops='0.5']")
        webkit.expect_text("#waiting", "1 entry waits for signal")
        site.server.start()
        webkit.expect_text("#waiting", "No entry waits on this phone.", patience_s=60.0)
        assert [entry["result"] for entry in site.logged()] == [{"judged_stops": 0.5}]
    finally:
        site.server.kill()
