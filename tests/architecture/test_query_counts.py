"""Every list inside a club asks the database as often for many rows as for few, from the routes themselves."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import get_resolver

from clubs.models import CameraPhoto, Invitation
from clubs.sheets.issuing import issue
from clubs.trail import record
from clubs.views import ClubView
from exposures.models import Doubt, ImportBatch, PaperMerge, ReceivedPacket
from tests.bodies import PACKET
from tests.clubs.sheets.printed import of_blocks
from tests.clubs.test_api import Here, address, routes
from tests.factories import (
    CameraSpecFactory,
    DesignFactory,
    ExposureLogFactory,
    MembershipFactory,
    PaperFactory,
    PlaceExposureFactory,
    PlaceFactory,
    WorkshopFactory,
)

#: The most that any of them may ask for: who calls, what they may, the page, and what its rows lead to.
MOST = 10


def lists() -> list[str]:
    """Routes below the club of every list in pages."""
    found = []
    for route, view in routes(get_resolver()):
        kind = getattr(view, "cls", object)
        if issubclass(kind, ClubView) and (get := kind().operations.get("GET")) is not None and get.page:
            found.append(route.partition("<slug:club>/")[2])
    return found


def more(here: Here, count: int) -> None:
    """So many rows more in every list."""
    keeper = here.members["keeper"].user
    for _ in range(count):
        number = Invitation.objects.count()
        member = MembershipFactory.create(club=here.club)
        paper = PaperFactory.create(club=here.club)
        spec = CameraSpecFactory.create(camera__club=here.club, camera__owner=member.user)
        CameraSpecFactory.create(camera=here.spec.camera, number=number + 10)
        facts: dict[str, Any] = {"width_pixels": 60, "height_pixels": 40, "added_by": member.user}
        CameraPhoto.objects.create(camera=here.spec.camera, image=f"pinpool/cameras/{number}.jpg", **facts)
        log = ExposureLogFactory.create(spec=spec, paper=paper, member=member.user)
        Doubt.objects.create(club=here.club, log=log, weight_share=0.1, off_stops=4.0, text="Look again.")
        expires = datetime(2099, 1, 1, tzinfo=UTC)
        Invitation.objects.create(
            club=here.club, code=f"CODE{number}", role="guest", expires_at=expires, made_by=member.user
        )
        PaperMerge.objects.create(club=here.club, key=f"{number}|x", into_key="y|x", made_by=member.user)
        facts = {"packet_revision": 1, "checksum": "", "content": PACKET, "logs": 4, "received_by": member.user}
        ReceivedPacket.objects.create(club=here.club, source=f"elsewhere {number}", **facts)
        ImportBatch.objects.create(club=here.club, kind="papers", file_name="p.csv", table=[], made_by=member.user)
        WorkshopFactory.create(club=here.club, design=here.design, paper=here.paper, leader=member.user)
        place = PlaceFactory.create(workshop=here.workshop, user=member.user, camera=spec.camera,
                                    hole_diameter_mm=0.3, hole_uncertainty_mm=0.01)  # fmt: skip
        PlaceExposureFactory.create(place=place)
        PlaceExposureFactory.create(place=here.place)
        record(club=here.club, actor=keeper, action="add_paper", subject=paper.name)
        DesignFactory.create(club=here.club)
        issue(actor=member, document=of_blocks({"kind": "fold"}))


@pytest.mark.parametrize("route", lists())
def test_many_rows_cost_as_many_queries_as_few(as_user: Any, monkeypatch: pytest.MonkeyPatch, route: str) -> None:
    here = Here(as_user)
    monkeypatch.setattr("exposures.pooled._store", lambda *_, **__: None)  # the doubts are ours
    more(here, 2)
    counts = []
    for rows in (0, 20):
        more(here, rows)
        at = address(here, route)
        here.clients["keeper"].get(at)  # what is reckoned is reckoned
        with CaptureQueriesContext(
            connection,
        ) as asked:
            page = here.clients["keeper"].get(at + "?page_size=200")
        assert page.status_code == 200, page.content
        counts.append((len(asked), len(page.json()["results"])))
    (few, some), (many, all_of_them) = counts
    assert all_of_them >= some
    assert few == many <= MOST, [query["sql"][:120] for query in asked]


def test_a_field_kit_of_many_cameras_costs_as_many_queries_as_of_one(as_user: Any) -> None:
    here = Here(as_user)
    at, counts = address(here, "field-kit/"), []
    for rows in (1, 10):
        for _ in range(rows):
            CameraSpecFactory.create(camera__club=here.club)
            PaperFactory.create(club=here.club)
        here.clients["keeper"].get(at)  # what is reckoned is reckoned
        with CaptureQueriesContext(connection) as asked:
            kit = here.clients["keeper"].get(at)
        counts.append((len(asked), len(kit.json()["cameras"])))
    (few, some), (many, all_of_them) = counts
    assert all_of_them > some
    assert few == many <= MOST + 5, [query["sql"][:120] for query in asked]
