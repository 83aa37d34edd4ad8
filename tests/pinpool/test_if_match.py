"""A change says which revision it is meant for, so that nobody's change is lost (RFC 9110 §13.1.1, RFC 6585 §3)."""

from typing import Any

import pytest

from exposures.models import PaperMerge, Pool, ReceivedPacket
from tests.bodies import PACKET
from tests.factories import MembershipFactory, PaperFactory
from tests.problems import problem_of


@pytest.fixture
def changes(as_user: Any) -> list[tuple[Any, str, str, Any]]:
    """(client, method, address, body) of calls that change something, each stored at revision 1."""
    keeper = MembershipFactory.create(role="keeper")
    client, at = as_user(keeper.user), f"/api/v1/clubs/{keeper.club.slug}/"
    for name in ("A", "B"):
        PaperFactory.create(club=keeper.club, name=name)
    merge = PaperMerge.objects.create(club=keeper.club, key="a|graded paper", into_key="b|graded paper")
    facts = {"source": "elsewhere", "packet_revision": 1, "checksum": "", "content": PACKET, "logs": 4}
    packet = ReceivedPacket.objects.create(club=keeper.club, **facts)
    client.get(at + "pool/")
    return [
        (client, "put", at + "pool/", {"joined": True}),
        (client, "delete", f"{at}paper-merges/{merge.pk}/", None),
        (client, "delete", f"{at}packets/{packet.pk}/", None),
    ]


def stored() -> list[Any]:
    return [
        Pool.objects.get().joined, PaperMerge.objects.get().undone_at, ReceivedPacket.objects.get().withdrawn_at,
        Pool.objects.get().revision, PaperMerge.objects.get().revision, ReceivedPacket.objects.get().revision,
    ]  # fmt: skip


@pytest.mark.parametrize("header", [None, "", " ", ",", "W/"])
def test_without_it_nothing_is_changed(changes: Any, header: str | None) -> None:
    before = stored()
    for client, method, address, body in changes:
        headers = {} if header is None else {"If-Match": header}
        detail = problem_of(getattr(client, method)(address, body, headers=headers), 428)["detail"]
        assert "If-Match" in detail
    assert stored() == before


@pytest.mark.parametrize("header", ['"r2"', "r1", '"r11"', '"R1"', '"r0", "r2"'])
def test_for_another_revision_nothing_is_changed(changes: Any, header: str) -> None:
    before = stored()
    for client, method, address, body in changes:
        detail = problem_of(getattr(client, method)(address, body, headers={"If-Match": header}), 412)["detail"]
        assert "Read it again" in detail
    assert stored() == before


@pytest.mark.parametrize("header", ['"r1"', 'W/"r1"', '"r0", "r1"', "*"])
def test_for_this_revision_it_is_done_and_the_next_tag_told(changes: Any, header: str) -> None:
    """A weakened tag counts too: a proxy that compresses weakens what it passes on."""
    for client, method, address, body in changes:
        response = getattr(client, method)(address, body, headers={"If-Match": header})
        assert response.status_code == 200, response.content
        assert response["ETag"] == '"r2"'
        assert client.get(address)["ETag"] == '"r2"'


def test_what_was_read_is_what_may_be_changed_once(changes: Any) -> None:
    client, method, address, body = changes[0]
    tag = client.get(address)["ETag"]
    assert getattr(client, method)(address, body, headers={"If-Match": tag}).status_code == 200
    problem_of(getattr(client, method)(address, body, headers={"If-Match": tag}), 412)
