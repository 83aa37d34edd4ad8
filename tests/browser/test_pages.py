"""The start page and the docs pages, at phone, tablet and desktop width."""

import pytest
from playwright.sync_api import Page, expect

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def _fits(page: Page) -> bool:
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_the_start_page_leads_to_the_docs(page: Page) -> None:
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Pinpool")
    assert _fits(page)
    page.get_by_role("link", name="How to ask").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("How to ask")


def test_the_docs_name_every_call_and_open_its_choices(page: Page) -> None:
    page.goto("/api/v1/docs/")
    assert _fits(page)
    page.get_by_role("link", name="POST /api/v1/optics/camera-plan/").click()
    section = page.locator("#optics_camera_plan")
    expect(section).to_be_in_viewport()
    section.get_by_text("Bowed plane").click()
    expect(section.get_by_text("Between the side walls.")).to_be_visible()
    assert _fits(page)
