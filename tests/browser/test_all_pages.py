"""Every route of a page: it opens without a fault at three widths, and in print, and axe-core finds nothing."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import get_resolver, reverse
from playwright.sync_api import Page, expect

from clubs.invitations import invite
from exposures.embed.models import Embedding
from tests.browser.every_page import clean, fits, sign_in
from tests.factories import (
    CameraSpecFactory,
    DesignFactory,
    ExposureLogFactory,
    MembershipFactory,
    PaperFactory,
    PlaceFactory,
    WorkshopFactory,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: Routes that are no pages: a service worker, a manifest, a script, and a part of a page.
PARTS = {
    "field_web:worker", "field_web:manifest", "exposures_web:workshop_live", "embed_web:script", "pinpool_web:within"
}  # fmt: skip
#: A page of its own that cannot be made by factories has its own test: test_import_page.py.
ELSEWHERE = {"exposures_web:import"}


def page_routes() -> Iterator[str]:
    """namespace:name of every page."""
    for namespace, (_, resolver) in get_resolver("pinpool.page_urls").namespace_dict.items():
        yield from (f"{namespace}:{name}" for name in resolver.reverse_dict if isinstance(name, str))


@pytest.fixture
def addresses() -> tuple[Any, dict[str, str]]:
    """A keeper, and the address of each page of a club with one of everything."""
    keeper = MembershipFactory.create(role="keeper", club__name="Saltmarsh club", user__username="mara")
    club = keeper.club
    spec = CameraSpecFactory.create(camera__club=club, camera__name="Tea caddy, dented")
    paper = PaperFactory.create(club=club, name="Glasswort")
    design = DesignFactory.create(club=club, name="Biscuit drum")
    workshop = WorkshopFactory.create(club=club, design=design, paper=paper)
    place = PlaceFactory.create(workshop=workshop, number=1)
    log = ExposureLogFactory.create(paper=paper, spec=spec)
    embedding = Embedding.objects.create(club=club, registry=True, origins=["https://walkers.example"])
    embedding.cameras.add(spec.camera)
    embedding.papers.add(paper)
    invitation = invite(actor=keeper, role="member", uses=1, days=7, note="")
    within: dict[str, dict[str, Any]] = {
        "clubs_web:camera": {"code": spec.camera.code},
        "clubs_web:design": {"number": design.pk},
        "exposures_web:paper": {"id": paper.pk},
        "exposures_web:entry": {"id": log.id},
        "exposures_web:workshop": {"number": workshop.pk},
        "embed_web:camera": {"code": spec.camera.code},
        "embed_web:paper": {"id": paper.pk},
    }
    alone = {
        "clubs_web:join": {"code": invitation.code},
        "exposures_web:place": {"code": place.code},
        "pinpool_web:reset": {"code": "of-no-account"},
    }
    outside = {"pinpool_web", "optics_web", "field_web"}
    found = {}
    for name in set(page_routes()) - PARTS - ELSEWHERE:
        inside = name.partition(":")[0] not in outside and name != "clubs_web:clubs"
        asked = alone.get(name, {"club": club.slug, **within.get(name, {})} if inside else {})
        found[name] = reverse(name, kwargs=asked)
    return keeper, found


def test_every_page_opens(desk: Page, addresses: tuple[Any, dict[str, str]]) -> None:
    keeper, pages = addresses
    assert len(pages) > 25
    sign_in(desk, keeper.user)
    for name, address in sorted(pages.items()):
        response = desk.goto(address)
        assert response is not None
        assert response.status == 200, name
        expect(desk.get_by_role("heading", level=1)).to_have_count(1)
        for width in (1280, 768, 360):
            desk.set_viewport_size({"width": width, "height": 800})
            assert fits(desk), (name, width)
        clean(desk)
        desk.emulate_media(media="print")
        assert fits(desk), (name, "in print")
        desk.emulate_media(media="screen")
        desk.set_viewport_size({"width": 1280, "height": 800})
