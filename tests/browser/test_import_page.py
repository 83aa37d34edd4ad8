"""A messy sheet brought in by the browser: questions answered, faults read, the good rows imported and undone."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from exposures.models import ExposureLog
from tests.browser.every_page import clean, sign_in
from tests.browser.test_paper_pages import open_all
from tests.exposures.imports.messy import HEADING, as_csv, messy_rows
from tests.factories import CameraSpecFactory, MembershipFactory, PaperFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

ROWS = 120


@pytest.fixture
def keeper() -> Any:
    keeper = MembershipFactory.create(role="keeper", club__name="Saltmarsh club")
    for number in (1, 2):
        facts = {"camera__code": f"T{number}", "camera__name": f"Tea caddy {number}"}
        CameraSpecFactory.create(camera__club=keeper.club, **facts)
    PaperFactory.create(club=keeper.club, name="Glasswort")
    return keeper


def bring(page: Page, keeper: Any, name: str, data: bytes) -> None:
    sign_in(page, keeper.user)
    page.goto(f"/clubs/{keeper.club.slug}/imports/")
    page.get_by_label("CSV or XLSX").set_input_files({"name": name, "mimeType": "text/csv", "buffer": data})
    page.get_by_role("button", name="Read and try it").click()


def test_a_sheet_with_errors_from_its_file_to_the_log_and_back(desk: Page, keeper: Any) -> None:
    rows, kinds = messy_rows(ROWS)
    bring(desk, keeper, "log.csv", as_csv(HEADING, rows))
    expect(desk.get_by_role("heading", name="Tried, nothing imported yet")).to_be_visible()
    expect(desk.locator(".flag", has_text="Is the day or the month first")).to_be_visible()
    date = desk.locator("li", has=desk.get_by_role("heading", name="Date", exact=True))
    date.get_by_label("Order of a date").select_option("day_first")
    date.get_by_label("Time zone").fill("Nowhere/Fen")
    for column in ("EV", "Exposed (min)", "Over/under"):
        shown = desk.locator("li", has=desk.get_by_role("heading", name=column, exact=True))
        shown.get_by_label("Decimal sign").select_option(",")
    desk.get_by_role("button", name="Try again like this").click()
    expect(date.get_by_label("Time zone")).to_have_attribute("aria-invalid", "true")
    date.get_by_label("Time zone").fill("Europe/Lisbon")
    date.get_by_label("Time of day without one").fill("12:00")
    desk.get_by_role("button", name="Try again like this").click()

    faulty = kinds["unknown_camera"] + kinds["required"]
    good = desk.get_by_role("button", name=f"Import the {kinds['good']} good rows alone")
    expect(good).to_be_visible()
    desk.get_by_role("link", name=f"Faulty ({faulty})").click()
    expect(desk.get_by_role("row")).to_have_count(faulty + 1)
    expect(desk.get_by_role("row").nth(1)).to_contain_text("Box “T11”")
    assert not ExposureLog.objects.exists()
    good.click()
    desk.get_by_role("button", name="Yes").click()
    expect(desk.get_by_role("heading", name="Imported", exact=True)).to_be_visible()
    assert ExposureLog.objects.count() == kinds["good"]
    desk.get_by_role("button", name="Undo the import").click()
    desk.get_by_role("button", name="Yes").click()
    expect(desk.get_by_role("heading", name="Undone", exact=True)).to_be_visible()
    assert not ExposureLog.objects.exists()


def test_what_is_needed_is_named_and_given(desk: Page, keeper: Any) -> None:
    """Where it lies in a column of another name, and where no column has it."""
    rows = [["T1", "2026-05-01 11:00 +00:00", "12", "30 s", "52.1 deg"], ["T2", "2026-05-02 11:00 +00:00", "", "", ""]]
    bring(desk, keeper, "log.csv", as_csv(["Box", "Date", "EV", "Long", "place.latitude"], rows))
    needed = desk.locator(".flag", has_text="is needed: choose it at its column, or give it for every row.")
    expect(needed).to_have_text([re.compile("“Paper or film”"), re.compile("“Time given”")])
    row = desk.get_by_role("row")
    expect(row.nth(1)).to_contain_text("Time given: needed, but no column gives it. Choose it at its column")
    expect(row.nth(1)).to_contain_text("Place: longitude: needed")
    expect(row.nth(2)).to_contain_text("Light reading: needed, but nothing stands here.")
    left_aside = desk.locator("li", has=desk.get_by_role("heading", name="Long", exact=True))
    left_aside.get_by_label("Is", exact=True).select_option("Time given (needed)")
    desk.get_by_label("Paper or film").fill("Glasswort")
    desk.get_by_label("Place: longitude").fill("4.3 deg")
    for said in ("taken_at", "reading.ev", "exposure_time", "This field"):
        expect(desk.locator("main")).not_to_contain_text(said)
    desk.get_by_role("button", name="Try again like this").click()
    expect(row.nth(1)).to_contain_text("good")
    expect(row.nth(2)).to_contain_text("Long: needed, but nothing stands here.")
    expect(needed).to_have_count(0)
    desk.get_by_label("Paper or film").fill("")
    desk.get_by_label("Place: longitude").fill("")
    desk.get_by_role("button", name="Try again like this").click()
    expect(needed).to_have_text([re.compile("“Paper or film”")])
    expect(desk.get_by_label("Paper or film")).to_have_value("")


def test_a_file_that_is_no_sheet_is_refused_at_its_field(phone: Page, keeper: Any) -> None:
    bring(phone, keeper, "log.csv", b"\x00\x01\x02 no sheet")
    expect(phone.get_by_label("CSV or XLSX")).to_have_attribute("aria-invalid", "true")
    expect(phone.locator(".fault")).to_be_visible()


def test_nothing_keeps_anybody_out(page: Page, keeper: Any) -> None:
    bring(page, keeper, "log.csv", as_csv(HEADING, messy_rows(8)[0]))
    expect(page.get_by_role("heading", name="Its rows")).to_be_visible()
    open_all(page)
    clean(page)
    page.goto(f"/clubs/{keeper.club.slug}/imports/")
    open_all(page)
    clean(page)
