"""A real Chromium against a real server. Debian's chromium package is what it drives."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

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


#: Chromium writes any answer of 400 and more to the console; refusals by the API are what some tests are about.
ANSWERED = "Failed to load resource: the server responded"
#: Anything that the page's own security policy forbids, however the browser words it.
LISTEN = (
    "addEventListener('securitypolicyviolation', (e) => console.error(`CSP ${e.violatedDirective} ${e.blockedURI}`))"
)


@contextmanager
def watched(browser: Browser, address: str, width: int, **options: Any) -> Iterator[Page]:
    """A page that fails the test on any console error, any breach of its policy, or any request to elsewhere."""
    context = browser.new_context(viewport={"width": width, "height": 800}, base_url=address, **options)
    context.add_init_script(LISTEN)
    faults: list[str] = []

    def heard(message: ConsoleMessage) -> None:
        if message.type == "error" and not (message.text.startswith(ANSWERED) and "/api/" in message.location["url"]):
            faults.append(message.text)

    context.on("console", heard)
    context.on("weberror", lambda error: faults.append(str(error.error)))
    context.on(
        "request", lambda sent: None if sent.url.startswith((address, "data:", "blob:")) else faults.append(sent.url)
    )
    yield context.new_page()
    context.close()
    assert faults == []


@pytest.fixture(params=[360, 768, 1280])
def page(request: Any, browser: Browser, live_server: Any) -> Iterator[Page]:
    """A watched page at each of three widths."""
    with watched(browser, live_server.url, request.param) as page:
        yield page


@pytest.fixture
def phone(browser: Browser, live_server: Any) -> Iterator[Page]:
    """A watched page as wide as a small phone."""
    with watched(browser, live_server.url, 360) as page:
        yield page


@pytest.fixture
def desk(browser: Browser, live_server: Any) -> Iterator[Page]:
    """A watched page as wide as a desktop's."""
    with watched(browser, live_server.url, 1280) as page:
        yield page
