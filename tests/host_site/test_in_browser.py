"""Pinpool in the cooperative's frame, in a browser: the frame stays as it is, and our part takes its colours."""

from collections.abc import Iterator
from io import BytesIO
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page, expect, sync_playwright

from tests.browser.conftest import CHROMIUM, FLAGS, watched
from tests.browser.every_page import clean
from tests.host_site.wheel import Host

pytestmark = [pytest.mark.host, pytest.mark.parametrize("host", ["3.11"], indirect=True)]

#: What the site's own parts look like, whatever page they are on.
FRAME = """() => [".banner", ".banner a", ".banner p", "body", "body > footer"].map((name) => {
  const style = getComputedStyle(document.querySelector(name))
  return ["font", "color", "background", "margin", "padding", "border", "display"].map((each) => style[each])
})"""


@pytest.fixture
def page(host: Host) -> Iterator[Page]:
    with host.served() as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        with watched(browser, address, 1280) as page:
            yield page
        browser.close()


def colours(page: Page) -> Any:
    """(rows, columns, RGB) of what is on the screen."""
    return np.asarray(Image.open(BytesIO(page.screenshot())).convert("RGB"))


def test_our_pages_in_the_sites_frame(page: Page) -> None:
    page.goto("/")
    frame = page.evaluate(FRAME)
    page.goto("/pinhole/bench/")
    assert page.evaluate(FRAME) == frame
    page.get_by_role("link", name="Start from a slide box").click()
    expect(page.locator("[data-slot='sharpness_plot'] svg")).to_be_visible()
    clean(page)
    page.set_viewport_size({"width": 360, "height": 800})
    clean(page)

    # In by the site's own door, and something is sent by the site's own header.
    page.goto("/pinhole/clubs/")
    page.locator("[name=username]").fill("mara@reedfold.example")
    page.locator("[name=password]").fill("reed is cut at low water")
    page.locator("main button").click()
    expect(page.get_by_role("heading", name="Your clubs")).to_be_visible()
    page.get_by_label("Name", exact=True).fill("Reedfold pinholes (invented)")
    page.get_by_label("Short name in addresses").fill("reedfold")
    page.get_by_label("Look").select_option("light")
    button = page.get_by_role("button", name="Make the club")
    assert button.evaluate("(it) => getComputedStyle(it).backgroundColor") == "rgb(122, 75, 18)"
    button.click()
    page.wait_for_url("**/pinhole/clubs/reedfold/")
    expect(page.locator("header.banner")).to_contain_text("Mara")
    clean(page)

    # In the darkroom nothing but red leaves the screen, of the site's own parts neither.
    page.get_by_label("Look").select_option("darkroom")
    page.evaluate("scrollTo(0, 0)")
    assert colours(page)[:, :, 1:].max() < 8
