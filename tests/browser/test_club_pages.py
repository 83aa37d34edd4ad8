"""The club's pages as people use them: a camera's life, an invitation taken up, and every page for every reader."""

from collections.abc import Iterator
from datetime import UTC, datetime
from io import BytesIO
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect

from clubs.models import Camera, CameraPhoto, Invitation
from clubs.photos import add_photo
from clubs.sheets.issuing import issue
from clubs.trail import record
from tests.accounts import PASSWORD
from tests.bodies import picture
from tests.browser.conftest import watched
from tests.browser.every_page import clean, sign_in
from tests.clubs.sheets.printed import of_blocks
from tests.factories import (
    CameraSpecFactory,
    DesignFactory,
    ExposureLogFactory,
    MembershipFactory,
    PaperFactory,
    WorkshopFactory,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def keeper() -> Any:
    """The keeper of a club in which there is one of everything, and a long name."""
    keeper = MembershipFactory.create(role="keeper", club__name="Saltmarsh Pinhole Walkers (invented)")
    club, facts = keeper.club, {"camera__code": "T1", "camera__name": "Tea caddy with the dent in its lid"}
    spec = CameraSpecFactory.create(camera__club=club, **facts)
    for number, diameter in ((2, 0.4), (3, 0.5)):
        reason = "cleaned, and counted again under the loupe"
        CameraSpecFactory.create(camera=spec.camera, number=number, hole_diameter_mm=diameter, reason=reason)
    CameraSpecFactory.create(camera__club=club, camera__code="B7", camera__retired_at=datetime(2026, 1, 1, tzinfo=UTC))
    lent = CameraSpecFactory.create(camera__club=club, camera__code="L2").camera
    Camera.objects.filter(pk=lent.pk).update(lent_to=keeper.user, lent_until="2099-01-01")
    with_picture = {"actor": keeper, "camera": spec.camera, "caption": "from above"}
    add_photo(image=BytesIO(picture()), **with_picture)
    design = DesignFactory.create(club=club, author=keeper.user)
    paper = PaperFactory.create(club=club)
    ExposureLogFactory.create(spec=spec, paper=paper, member=keeper.user)
    WorkshopFactory.create(club=club, design=design, paper=paper)
    issue(actor=keeper, document=of_blocks({"kind": "fold"}) | {"subject": "camera T1"})
    ends = datetime(2099, 1, 1, tzinfo=UTC)
    Invitation.objects.create(club=club, code="ACDE347HJK", role="member", expires_at=ends, note="for the open day")
    Invitation.objects.create(club=club, code="ACDE347HJX", role="guest", expires_at=ends, withdrawn_at=ends)
    told = {"before": {"name": "Caddy"}, "after": {"name": "Tea caddy"}}
    record(club=club, actor=keeper.user, action="change_camera", subject="camera T1", **told)
    return keeper


@pytest.fixture
def elsewhere(browser: Browser, live_server: Any) -> Iterator[Page]:
    """The phone of somebody else, without an account."""
    with watched(browser, live_server.url, 360) as page:
        yield page


def opened(page: Page, at: str) -> None:
    """A page with all that can be unfolded unfolded."""
    response = page.goto(at)
    assert response is not None
    assert response.ok
    page.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")


def test_every_page_is_for_every_reader_and_fits_every_screen(page: Page, keeper: Any) -> None:
    club, design = keeper.club.slug, keeper.club.designs.get()
    sign_in(page, keeper.user)
    for name in ("club", "cameras", "designs", "sheets", "members", "trail"):
        opened(page, reverse(f"clubs_web:{name}", args=[club]))
        clean(page)
    for at in (
        reverse("clubs_web:clubs"),
        reverse("clubs_web:camera", args=[club, "T1"]),
        reverse("clubs_web:design", args=[club, design.pk]),
        reverse("clubs_web:join", args=["ACDE347HJK"]),
    ):
        opened(page, at)
        clean(page)
    page.context.clear_cookies()
    opened(page, reverse("clubs_web:join", args=["ACDE347HJK"]))
    clean(page)


def test_a_cameras_life(phone: Page, keeper: Any, tmp_path: Any) -> None:
    club = keeper.club.slug
    borrower = MembershipFactory.create(club=keeper.club).user.username
    sign_in(phone, keeper.user)
    phone.goto(reverse("clubs_web:cameras", args=[club]))
    phone.get_by_text("Register a camera").click()
    phone.get_by_label("Name", exact=True).fill("Slide box")
    phone.get_by_label("Code", exact=True).fill("S4")
    phone.get_by_label("How the film lies").select_option("drum")
    drum = phone.get_by_role("group", name="inside measures")
    drum.get_by_label("Diameter").fill("100")
    drum.get_by_label("Length").fill("6 in")
    drum.get_by_label("Height of the film").fill("80")
    expect(drum.get_by_label("Diameter")).to_have_value("100 mm")
    phone.get_by_role("group", name="Across").get_by_label("Diameter").fill("35 mm")
    phone.get_by_role("button", name="Register it").click()
    expect(phone.get_by_role("group", name="Across").get_by_label("Diameter")).to_have_attribute("aria-invalid", "true")
    phone.get_by_role("group", name="Across").get_by_label("Diameter").fill("0.35")
    phone.get_by_role("button", name="Register it").click()
    expect(phone.get_by_role("heading", level=1)).to_have_text("S4, Slide box")

    phone.get_by_text("Rename it, hand it on or retire it").click()
    phone.get_by_label("Name", exact=True).fill("Slide box, taped")
    phone.get_by_role("button", name="Keep these").click()
    expect(phone.get_by_role("heading", level=1)).to_have_text("S4, Slide box, taped")

    phone.get_by_label("To", exact=True).select_option(borrower)
    phone.get_by_label("Until the end of").fill("2099-12-31")
    phone.get_by_role("button", name="Lend it").click()
    expect(phone.get_by_text(f"{borrower} has it until 31 December 2099")).to_be_visible()
    phone.get_by_role("button", name="It is back").click()
    expect(phone.get_by_role("button", name="Lend it")).to_be_visible()

    (tmp_path / "box.jpg").write_bytes(picture())
    phone.get_by_label("Picture").set_input_files(tmp_path / "box.jpg")
    phone.get_by_label("Caption").fill("with its tape")
    phone.get_by_role("button", name="Add the photo").click()
    expect(phone.get_by_role("img", name="with its tape")).to_be_visible()
    assert CameraPhoto.objects.get(camera__code="S4").caption == "with its tape"

    phone.get_by_text("Measured or built anew").click()
    phone.get_by_label("The hole was").select_option("counted")
    phone.get_by_label("Hole widths").first.fill("2.5")
    phone.get_by_label("in a length of").first.fill("1")
    phone.get_by_label("Why there is a new spec").fill("counted under a loupe")
    phone.get_by_role("button", name="Add the spec").click()
    expect(phone.get_by_role("heading", name="From spec 1 to spec 2")).to_be_visible()
    expect(phone.get_by_text("The hole goes from 0.35 mm to 0.4 mm: +⅓ stop.")).to_be_visible()
    assert Camera.objects.get(code="S4").spec.measurements[0]["span_mm"] == 1


def test_an_invitation_is_made_handed_out_and_taken_up(desk: Page, elsewhere: Page, keeper: Any) -> None:
    Invitation.objects.all().delete()
    sign_in(desk, keeper.user)
    desk.goto(reverse("clubs_web:members", args=[keeper.club.slug]))
    desk.get_by_label("They join as").select_option("member")
    desk.get_by_label("For whom").fill("the one with the tins")
    desk.get_by_role("button", name="Make an invitation").click()
    expect(desk.get_by_role("img", name="Code to scan")).to_be_visible()
    elsewhere.goto(desk.get_by_role("link", name="/clubs/join/").get_attribute("href") or "")
    expect(elsewhere.get_by_role("heading", level=1)).to_contain_text("You are invited to Saltmarsh")
    elsewhere.get_by_label("User name").fill("tinsmith")
    elsewhere.get_by_label("E-mail").fill("tinsmith@saltmarsh.example")
    elsewhere.get_by_label("Password").fill("short")
    elsewhere.get_by_role("button", name="Make an account and join").click()
    expect(elsewhere.get_by_label("Password")).to_have_attribute("aria-invalid", "true")
    elsewhere.get_by_label("Password").fill(PASSWORD)
    elsewhere.get_by_role("button", name="Make an account and join").click()
    expect(elsewhere.get_by_role("heading", level=1)).to_have_text("Sign in")
    expect(elsewhere.get_by_text("Your account is made.")).to_be_visible()
    elsewhere.get_by_label("User name").fill("tinsmith")
    elsewhere.get_by_label("Password").fill(PASSWORD)
    elsewhere.get_by_role("button", name="Sign in").click()
    expect(elsewhere.get_by_role("heading", level=1)).to_contain_text("Saltmarsh")
    expect(elsewhere.get_by_text("You are its member.")).to_be_visible()
    desk.reload()
    expect(desk.get_by_role("row", name="tinsmith")).to_contain_text("Member")
    desk.get_by_text("Role of tinsmith").click()
    desk.get_by_label("tinsmith is").select_option("leader")
    desk.get_by_role("button", name="Change the role").click()
    expect(desk.get_by_role("row", name="tinsmith")).to_contain_text("Leader")


def test_a_sheet_is_printed_from_a_cameras_page(desk: Page, keeper: Any) -> None:
    sign_in(desk, keeper.user)
    desk.goto(reverse("clubs_web:camera", args=[keeper.club.slug, "T1"]))
    sheets = desk.get_by_role("region", name="Printed sheets").first
    sheets.get_by_label("Wall thickness at the hole").fill("0.3")
    sheets.get_by_role("button", name="Make the sheet").click()
    link = desk.get_by_role("link", name="Sheet 2 (PDF)")
    expect(link).to_be_visible()
    assert desk.request.get(link.get_attribute("href") or "").body().startswith(b"%PDF")
    desk.get_by_text("Print its exposure card").click()
    card = desk.locator("form", has=desk.get_by_label("Paper"))
    card.get_by_label("Wall thickness at the hole").fill("0.3")
    card.get_by_role("button", name="Make the sheet with the card").click()
    expect(desk.get_by_role("link", name="Sheet 3 (PDF)")).to_be_visible()
