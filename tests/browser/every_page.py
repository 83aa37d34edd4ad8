"""What browser tests share: signing in, and what must hold of any page."""

import importlib.util
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.test import Client
from playwright.sync_api import Page

LOOKS = ("light", "dark", "darkroom")


def sign_in(page: Page, user: Any) -> None:
    """Give the page's browser a session of `user`."""
    client = Client()
    client.force_login(user)
    session = client.cookies[settings.SESSION_COOKIE_NAME].value
    if page.url == "about:blank":
        page.goto("/sign-in/")
    page.context.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": page.evaluate("location.origin")}]
    )


def fits(page: Page) -> bool:
    """Whether the page is no wider than its window."""
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


@cache
def _axe() -> str:
    package = importlib.util.find_spec("axe_playwright_python")
    assert package is not None
    assert package.origin is not None
    return (Path(package.origin).parent / "axe.min.js").read_text(encoding="utf-8")


def clean(page: Page) -> None:
    """Fail on any violation that axe-core finds, in each of the three looks, and on a page too wide for its window."""
    assert fits(page)
    page.evaluate(_axe())
    for look in LOOKS:
        page.evaluate("look => { document.documentElement.dataset.look = look }", look)
        found = page.evaluate("async () => (await axe.run(document, {resultTypes: ['violations']})).violations")
        faults = [(each["id"], node["html"], node["failureSummary"]) for each in found for node in each["nodes"]]
        assert not faults, (look, faults)
