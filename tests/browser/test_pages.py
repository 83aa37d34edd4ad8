"""The start page, the docs pages and one's account, at phone, tablet and desktop width."""

from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import watched
from tests.browser.every_page import clean, fits, sign_in
from tests.factories import AccountFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_the_start_page_leads_to_the_docs(page: Page) -> None:
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Pinpool")
    clean(page)
    page.get_by_role("link", name="For programs").first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("How to ask")


def test_the_docs_name_every_call_and_open_its_choices(page: Page) -> None:
    page.goto("/api/v1/docs/")
    assert fits(page)
    page.get_by_role("link", name="POST /api/v1/optics/camera-plan/").click()
    section = page.locator("#optics_camera_plan")
    expect(section).to_be_in_viewport()
    section.get_by_text("Bowed plane").click()
    expect(section.get_by_text("Between the side walls.")).to_be_visible()
    assert fits(page)


def test_recipes_are_read_on_a_phone_and_on_paper(page: Page) -> None:
    page.goto("/api/v1/docs/")
    page.get_by_role("link", name="recipes").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Recipes for programs")
    for width in (360, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        clean(page)
    page.emulate_media(media="print")
    assert fits(page)


def test_signing_in_goes_back_to_where_one_came_from(page: Page) -> None:
    account = AccountFactory(username="mara")
    account.set_password("a long sea wall")
    account.save()
    page.goto("/account/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    clean(page)
    page.get_by_label("User name").fill("mara")
    page.get_by_label("Password").fill("a short one")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("no account of this name with this password")
    page.get_by_label("Password").fill("a long sea wall")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Your account")
    clean(page)


def test_a_token_is_shown_once_and_withdrawn(page: Page) -> None:
    sign_in(page, AccountFactory(username="mara"))
    page.goto("/account/")
    page.get_by_label("What it is for").fill("light logger")
    page.get_by_label("Days until it ends").fill("ninety")
    page.get_by_role("button", name="Make a token").click()
    expect(page.get_by_label("Days until it ends")).to_have_attribute("aria-invalid", "true")
    page.get_by_label("Days until it ends").fill("90")
    page.get_by_role("button", name="Make a token").click()
    expect(page.get_by_role("status")).to_contain_text("pp_")
    page.reload()
    page.get_by_role("button", name="Withdraw").click()
    page.get_by_role("button", name="Yes").click()
    expect(page.get_by_role("button", name="Withdraw")).to_have_count(0)


def test_looks_and_lengths_are_kept(page: Page) -> None:
    page.goto("/")
    page.get_by_label("Look").select_option("darkroom")
    page.get_by_label("Lengths").select_option("in")
    page.goto("/sign-in/")
    expect(page.locator("html")).to_have_attribute("data-look", "darkroom")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(0, 0, 0)"
    expect(page.get_by_label("Lengths")).to_have_value("in")


def test_without_script_a_page_says_what_does_not_work(browser: Browser, live_server: Any) -> None:
    with watched(browser, live_server.url, 360, java_script_enabled=False) as page:
        page.goto("/sign-in/")
        expect(page.locator("noscript p")).to_be_visible()
        expect(page.get_by_role("button", name="Sign in")).to_be_hidden()  # it would lead to a bare answer of the API


def test_a_page_that_is_not_there_is_one_of_ours(page: Page) -> None:
    response = page.request.get("/nowhere/")
    assert response.status == 404
    assert "There is no such page" in response.text()
