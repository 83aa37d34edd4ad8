"""What the log contributes to the club's pages."""

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests.factories import ExposureLogFactory, MembershipFactory, PaperFactory, WorkshopFactory

pytestmark = pytest.mark.django_db

HOSTILE = "<script>alert(1)</script>"


@pytest.fixture
def log() -> Any:
    return ExposureLogFactory.create(spec__camera__code="T1", paper__name=HOSTILE)


def page_of(log: Any, role: str, user: Any = None) -> str:
    facts = {"user": user} if user else {}
    client = Client()
    client.force_login(MembershipFactory.create(club=log.club, role=role, **facts).user)
    response = client.get(reverse("clubs_web:camera", args=[log.club.slug, "T1"]))
    assert response.status_code == 200
    assert "This part cannot be shown" not in response.content.decode()
    return response.content.decode()


def test_a_camera_tells_its_log_its_offset_and_its_next_test(log: Any) -> None:
    text = page_of(log, "member")
    assert HOSTILE not in text
    assert "4 min" in text
    assert "By 1 log the light agrees with f/" in text
    assert "Load T1 with" in text
    assert "Print its exposure card" in text


def test_a_guest_sees_no_offset_and_no_next_test_and_prints_no_card(log: Any) -> None:
    """As in the API, where comparing and the next tests are for members."""
    text = page_of(log, "guest")
    assert "4 min" in text
    assert "By 1 log" not in text
    assert "Load T1 with" not in text
    assert "Print its exposure card" not in text


def test_private_and_corrected_logs_are_left_out(log: Any) -> None:
    facts = {"spec": log.spec, "paper": log.paper}
    mine = ExposureLogFactory.create(**facts, private=True, exposure_time_s=540.0)
    ExposureLogFactory.create(**facts, corrected_at=log.taken_at, exposure_time_s=1200.0)
    assert "9 min" not in page_of(log, "keeper")
    own = page_of(log, "member", mine.member)
    assert "9 min" in own
    assert "20 min" not in own


def test_a_clubs_start_tells_what_is_new(log: Any) -> None:
    workshop = WorkshopFactory.create(club=log.club, name=HOSTILE)
    WorkshopFactory.create(club=log.club, name="Long closed", closed_at=log.taken_at)
    client, at = Client(), reverse("clubs_web:club", args=[log.club.slug])
    client.force_login(MembershipFactory.create(club=log.club).user)
    text = client.get(at).content.decode()
    assert HOSTILE not in text
    assert str(workshop.pk) in text
    assert "4 min" in text
    assert "Long closed" not in text
    client.force_login(MembershipFactory.create(club=log.club, role="guest").user)
    assert "Open workshops" not in client.get(at).content.decode()


def test_many_logs_cost_as_many_queries_as_few(log: Any) -> None:
    member, counts = MembershipFactory.create(club=log.club), []
    client = Client()
    client.force_login(member.user)
    at = reverse("clubs_web:camera", args=[log.club.slug, "T1"])
    for rows in (1, 5):
        for _ in range(rows):
            paper = PaperFactory.create(club=log.club)
            ExposureLogFactory.create(spec=log.spec, paper=paper)
        client.get(at)  # what is reckoned is reckoned
        with CaptureQueriesContext(connection) as asked:
            client.get(at)
        counts.append(len(asked))
    assert counts[0] == counts[1], [query["sql"][:120] for query in asked]
