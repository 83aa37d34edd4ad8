"""Packets between two clubs that know nothing of each other, as if on two servers."""

import copy
import json
from typing import Any

import pytest

from exposures.models import ExposureLog, Pool, ReceivedPacket
from exposures.pooled import pooled
from exposures.reciprocity import packets
from exposures.reciprocity.packets import checksum
from tests.bodies import PACKET
from tests.exposures.test_pool import Club
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory
from tests.problems import faults_in, problem_of

KEY = "glasswort|graded paper"


@pytest.fixture
def here(as_user: Any) -> Club:
    club = Club(as_user, "Glasswort", 12.0)
    club.logs(10, seed=2)
    club.join()
    return club


def from_elsewhere(as_user: Any, count: int = 40, *, keep: bool = False, **facts: Any) -> dict[str, Any]:
    """The packet of a club on another server: the club is gone from this one, as the packet goes its way."""
    away = Club(as_user)
    away.logs(count, **facts)
    away.join()
    packet = away.client.get(away.at + "packets/own/").json()
    if not keep:
        Pool.objects.filter(club=away.club).delete()
    return packet


def send(here: Club, packet: Any, status: int = 201) -> Any:
    response = here.client.post(here.at + "packets/", packet)
    assert response.status_code == status, response.content
    return response.json()


def test_a_packet_is_as_good_as_the_logs_themselves(as_user: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two clubs on two servers against the same two on one: to 1e-9, whatever their nominal indices."""
    monkeypatch.setattr(packets.make_packet, "__kwdefaults__", {"least_logs": 1})
    one, other = Club(as_user, "Glasswort", 12.0), Club(as_user)
    one.logs(20, seed=2)
    other.logs(40)
    for club in (one, other):
        club.join()
    together = pooled(one.club).fit
    packet = json.loads(json.dumps(other.client.get(other.at + "packets/own/").json()))
    Pool.objects.filter(club=other.club).delete()
    assert one.known()["evidence"]["logs"] == 20
    send(one, packet)
    apart = pooled(one.club).fit
    assert apart.criterion == pytest.approx(together.criterion, abs=1e-9)
    for share in (1.0, 60.0, 3000.0):
        times = [of.line(KEY).right_time_s(share) for of in (together, apart)]
        assert times[1] == pytest.approx(times[0], rel=1e-7)  # two searches, each settled to its own rounding
    assert one.known()["evidence"]["logs"] == 60


def test_it_tells_sums_and_nothing_else(as_user: Any) -> None:
    away = Club(as_user, "Glasswort")
    away.logs(12)
    away.logs(9, shared=False)
    lonely = CameraSpecFactory.create(camera__club=away.club)
    for _ in range(2):
        ExposureLogFactory.create(spec=lonely, paper=away.paper, member=away.member.user, shared=True)
    away.join()
    packet = away.client.get(away.at + "packets/own/").json()
    [row] = packet["cells"]
    assert row[4] == 12  # neither what is not shared nor a camera with two logs
    assert packet["papers"] == {KEY: 6.0}
    text = json.dumps(packet)
    secrets = {away.club.slug, away.club.name, away.member.user.username, away.spec.camera.code, away.spec.camera.name,
               "2026-05-01", "12:00", '"ev"'}  # fmt: skip
    assert not [secret for secret in secrets if secret in text]
    numbers = {f'"{prefix} {pk}"' for prefix in ("spec", "account") for pk in (away.spec.pk, away.member.user.pk)}
    assert not [number for number in numbers if number in text]


def test_twice_is_once_and_a_later_revision_takes_its_place(here: Club, as_user: Any) -> None:
    away = Club(as_user)
    away.logs(20)
    away.join()
    first = away.client.get(away.at + "packets/own/").json()
    assert away.client.get(away.at + "packets/own/").json() == first
    away.logs(20, seed=5)
    second = away.client.get(away.at + "packets/own/").json()
    assert (first["revision"], second["revision"]) == (1, 2)
    assert first["source"] == second["source"]
    away.join(False)
    empty = away.client.get(away.at + "packets/own/").json()
    assert (empty["revision"], empty["cells"], empty["papers"]) == (3, [], {})
    Pool.objects.filter(club=away.club).delete()

    stored = send(here, first)
    assert here.known()["evidence"]["logs"] == 30
    assert send(here, first, 200) == stored
    assert here.known()["evidence"]["logs"] == 30
    later = send(here, second)
    assert later["id"] == stored["id"]
    assert (later["packet_revision"], later["logs"], later["revision"]) == (2, 40, 2)
    assert here.known()["evidence"]["logs"] == 50
    problem_of(here.client.post(here.at + "packets/", first), 409)
    assert here.known()["evidence"]["logs"] == 50
    send(here, empty)
    assert here.known()["evidence"]["logs"] == 10
    assert len(here.client.get(here.at + "packets/").json()["results"]) == 1


def test_withdrawn_it_counts_no_longer_and_received_again_it_does(here: Club, as_user: Any) -> None:
    packet = from_elsewhere(as_user)
    stored = send(here, packet)
    address = f"{here.at}packets/{stored['id']}/"
    tag = here.client.get(address)["ETag"]
    gone = here.client.delete(address, headers={"If-Match": tag}).json()
    assert gone["withdrawn_at"] is not None
    assert here.known()["evidence"]["logs"] == 10
    assert send(here, packet)["withdrawn_at"] is None
    assert here.known()["evidence"]["logs"] == 50


def test_it_counts_for_a_club_that_has_joined(here: Club, as_user: Any) -> None:
    send(here, from_elsewhere(as_user))
    here.join(False)
    assert here.known()["evidence"]["logs"] == 10
    here.join()
    assert here.known()["evidence"]["logs"] == 50


def test_papers_that_only_a_packet_tells_of(here: Club, as_user: Any) -> None:
    away = Club(as_user, "Samphire 3", 3.0)
    away.logs(20)
    away.join()
    packet = away.client.get(away.at + "packets/own/").json()
    Pool.objects.filter(club=away.club).delete()
    send(here, packet)
    entry = here.catalogue()["samphire 3|graded paper"]
    assert (entry["own"], entry["logs"], entry["nominal_exposure_index"]) == (False, 20, 3.0)
    here.merge("samphire 3|graded paper", KEY)
    assert here.known()["evidence"]["logs"] == 30


def test_a_doubted_log_counts_as_little_in_the_packet(as_user: Any) -> None:
    away = Club(as_user)
    away.logs(20)
    ExposureLogFactory.create(
        spec=away.spec, paper=away.paper, member=away.member.user, shared=True, exposure_time_s=6000.0,
        indicated_time_s=10.0,
    )  # fmt: skip
    away.join()
    [row] = away.client.get(away.at + "packets/own/").json()["cells"]
    logs, weight = row[4:6]
    assert logs == 21
    assert weight == pytest.approx(20, abs=0.5)


# --------------------------------------------------------------------------------------------------------- refused


def test_a_club_of_this_server_comes_through_the_pool_and_not_twice(here: Club, as_user: Any) -> None:
    packet = from_elsewhere(as_user, keep=True)
    assert "this server" in problem_of(here.client.post(here.at + "packets/", packet), 409)["detail"]
    own = here.client.get(here.at + "packets/own/").json()
    problem_of(here.client.post(here.at + "packets/", own), 409)
    assert not ReceivedPacket.objects.exists()


def changed(**more: Any) -> dict[str, Any]:
    packet = copy.deepcopy(PACKET) | more
    return packet | {"checksum": checksum(packet)}


ROW = PACKET["cells"][0]


@pytest.mark.parametrize(
    ("packet", "pointer", "code"),
    [
        (PACKET | {"revision": 2}, "/checksum", "packet_checksum"),
        (changed(source=""), "/source", "packet_source"),
        (changed(source="x" * 101), "/source", "packet_source"),
        (changed(revision=2**40), "/revision", "packet_revision"),
        (changed(version="1"), "/version", "packet_version"),
        (changed(colour=1), "", "packet_keys"),
        (changed(cells=[[*ROW[:3], "guessed", *ROW[4:]]]), "/cells", "packet_grade"),
        (changed(cells=[[*ROW[:4], 1e15, *ROW[5:]]]), "/cells", "packet_cell"),
        (changed(cells=[[*ROW[:4], True, *ROW[5:]]]), "/cells", "packet_cell"),
        (changed(cells={}), "/columns", "packet_columns"),
        (changed(papers={}), "/papers", "packet_papers"),
        (changed(papers={ROW[0]: 1e9}), "/papers", "packet_index"),
        (changed(papers={"Cord Grass|x": 6.0}, cells=[["Cord Grass|x", *ROW[1:]]]), "/papers", "packet_papers"),
        (changed(papers={"nobar": 6.0}, cells=[["nobar", *ROW[1:]]]), "/papers", "packet_papers"),
        ({}, "/format", "not_a_packet"),
        ([], "/format", "not_a_packet"),
        ("packet", "/format", "not_a_packet"),
        (None, "", "null"),
    ],
)
def test_what_is_no_packet(here: Club, packet: Any, pointer: str, code: str) -> None:
    response = here.client.post(here.at + "packets/", packet)
    assert response.status_code in {400, 422}, response.content
    if code != "null":
        assert faults_in(response, 422) == {(pointer, code)}
    assert not ReceivedPacket.objects.exists()
    assert here.known()["evidence"]["logs"] == 10


def test_another_packet_under_the_same_revision(here: Club) -> None:
    send(here, PACKET)
    other = changed(cells=[[*ROW[:4], 5, *ROW[5:]]])
    assert "ask the sender" in problem_of(here.client.post(here.at + "packets/", other), 409)["detail"]
    assert ReceivedPacket.objects.get().checksum == PACKET["checksum"]


def test_a_wild_but_sound_packet_bends_nothing_beyond_repair(here: Club) -> None:
    """A paper of a million logs twenty stops off: every answer still comes, and withdrawn it leaves no trace."""
    before = here.known()
    n, u, z = 1e6, 10.0, -20.0
    row = ["other|graded paper", "c", "m", "judged", n, n, n * u, n * u * u, n * z, n * u * z, n * z * z]
    stored = send(here, changed(papers={"other|graded paper": 6.0}, cells=[row], source="wild"))
    for path in ("reciprocity/", "reciprocity/model/", "reciprocity/cameras/", "comparison/?by=paper", "next-tests/"):
        assert here.client.get(here.at + path).status_code == 200
    here.client.delete(f"{here.at}packets/{stored['id']}/", headers={"If-Match": "*"})
    assert here.known()["exponent"] == pytest.approx(before["exponent"], rel=1e-6)


def test_packets_are_for_keepers(here: Club, as_user: Any) -> None:
    for role in ("guest", "member", "leader"):
        client = as_user(MembershipFactory.create(club=here.club, role=role).user)
        problem_of(client.get(here.at + "packets/own/"), 403)
        problem_of(client.get(here.at + "packets/"), 403)
        problem_of(client.post(here.at + "packets/", PACKET), 403)


def test_a_real_clubs_packet_is_small(here: Club) -> None:
    """Forty papers, thirty cameras and twenty members who shared all: 1 MB holds thousands of cells."""
    row = json.dumps(here.client.get(here.at + "packets/own/").json()["cells"][0])
    assert len(row) < 350  # 1 MB: some 3 000 cells of three and more logs
    assert ExposureLog.objects.count() == 10
