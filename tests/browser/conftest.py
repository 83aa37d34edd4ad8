"""A real Chromium against a real server. Debian's chromium package is what it drives."""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]


@pytest.fixture(scope="session", autouse=True)
def django_beside_playwright() -> Iterator[None]:
    """Playwright runs an event loop in this thread; Django would refuse the database beside one."""
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    yield
    del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    assert Path(CHROMIUM).exists(), "Browser tests drive Debian's chromium: apt-get install chromium"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(params=[360, 768, 1280])
def page(request: Any, browser: Browser, live_server: Any) -> Iterator[Page]:
    """A page of each width that fails the test on any console error or request to elsewhere."""
    page = browser.new_page(viewport={"width": request.param, "height": 800}, base_url=live_server.url)
    faults: list[str] = []
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on(
        "request", lambda sent: None if sent.url.startswith((live_server.url, "data:")) else faults.append(sent.url)
    )
    yield page
    page.close()
    assert faults == []
