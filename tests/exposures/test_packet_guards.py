"""Packets of clubs with many papers, cameras and members, and those of careless and hostile senders."""

import json
from typing import Any

import numpy as np
import pytest

from exposures.models import Doubt, Pool, ReceivedPacket
from exposures.pooled import pooled
from exposures.reciprocity.packets import PACKED, Packet, checksum
from exposures.reciprocity.result import fit
from exposures.scopes import camera_key, member_key
from tests.bodies import PACKET
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in, problem_of

FAMILY = "graded paper"
GLASSWORT, SAMPHIRE, KELP = (f"{name}|{FAMILY}" for name in ("glasswort", "samphire", "kelp"))
NEAR, FAR = (0, 1, 2), (3, 4, 5)


class Club:
    """A keeper's client in a club that has joined the pool, with papers and their nominal indices."""

    def __init__(self, as_user: Any, *, joined: bool = True, **indices: float) -> None:
        self.member = MembershipFactory.create(role="keeper")
        self.club, self.client = self.member.club, as_user(self.member.user)
        self.papers = {
            name: PaperFactory.create(club=self.club, name=name, nominal_exposure_index=index)
            for name, index in indices.items()
        }
        self.who: dict[int, tuple[Any, Any]] = {}
        self.at = f"/api/v1/clubs/{self.club.slug}/"
        if joined:
            self.join()

    def join(self, joined: bool = True) -> None:
        response = self.client.put(self.at + "pool/", {"joined": joined}, headers={"If-Match": "*"})
        assert response.status_code == 200, response.content

    def log(self, paper: str, who: int, time: float, effect: float, **facts: Any) -> Any:
        """One log of `effect` stops, counted from an index of 1, by the member and camera of that number."""
        if who not in self.who:
            spec = CameraSpecFactory.create(camera__club=self.club)
            self.who[who] = spec, MembershipFactory.create(club=self.club).user
        spec, user = self.who[who]
        stock = self.papers[paper]
        facts = {"shared": True, "indicated_time_s": 2**effect / stock.nominal_exposure_index} | facts
        return ExposureLogFactory.create(spec=spec, member=user, paper=stock, exposure_time_s=time, **facts)

    def season(self, who: tuple[int, ...], **facts: Any) -> None:
        """Four logs of each paper by each of these, off their laws by 0.2 stop: none is doubtful."""
        for paper in self.papers:
            for each in who:
                rng = np.random.default_rng([each, *paper.encode()])
                speed, offset = 3 + rng.uniform(-0.5, 0.5), 0.1 * (each % 3 - 1)
                for time in np.geomspace(5, 2000, 4) * rng.uniform(1, 2):
                    effect = speed + offset + np.log2(time) / 1.3 + 0.2 * rng.choice([-1, 1])
                    self.log(paper, each, float(time), float(effect), **facts)

    def get(self, path: str) -> Any:
        response = self.client.get(self.at + path)
        assert response.status_code == 200, response.content
        return response.json()

    def packet(self) -> Packet:
        found: Packet = self.get("packets/own/")
        return found

    def sent(self) -> Packet:
        """The packet as it comes from another server; on this one the club is not in the pool."""
        self.join()
        packet = self.packet()
        self.join(False)
        return elsewhere(packet)

    def receive(self, packet: Any, status: int = 201) -> Any:
        response = self.client.post(self.at + "packets/", packet)
        assert response.status_code == status, response.content
        return response.json()

    def counted(self) -> int:
        return int(self.get("reciprocity/model/")["evidence"]["logs"])


def elsewhere(packet: Packet, **changes: Any) -> Packet:
    """The packet as if it came from another server, with a right checksum whatever is changed."""
    changed = packet | {"source": "e1f0c0de-4b7e-4c8e-9d0e-6a1f0d1c2b3a"} | changes
    return changed | {"checksum": checksum(changed)}


def row(**facts: Any) -> list[Any]:
    """One sound cell of four logs, with some of its facts changed."""
    return list((dict(zip(PACKED, PACKET["cells"][0], strict=True)) | facts).values())


def holding(*rows: list[Any]) -> Packet:
    return elsewhere(PACKET, cells=list(rows), papers={each[0]: 6.0 for each in rows})


@pytest.fixture
def here(as_user: Any) -> Club:
    return Club(as_user, glasswort=12.0, samphire=12.0)


@pytest.fixture
def there(as_user: Any) -> Club:
    return Club(as_user, glasswort=6.0, samphire=6.0)


# ------------------------------------------------------------------------------------------- as good as the logs


def test_a_packet_counts_as_the_logs_themselves_would(as_user: Any) -> None:
    """Two clubs of different nominal indices, against one that has all of their logs: the same to 1e-9."""
    near = Club(as_user, glasswort=12.0, samphire=12.0)
    near.season(NEAR)
    far = Club(as_user, glasswort=6.0, samphire=6.0, kelp=6.0)
    far.season(FAR)
    both = Club(as_user, joined=False, glasswort=12.0, samphire=12.0)
    both.season(NEAR + FAR)
    both.papers = {"kelp": PaperFactory.create(club=both.club, name="kelp", nominal_exposure_index=6.0)}
    both.season(FAR)
    near.receive(far.sent())
    packed, raw = pooled(near.club), pooled(both.club)
    assert near.counted() == both.counted() == 60
    assert raw.fit.record
    assert not Doubt.objects.exists()
    assert packed.fit.criterion == pytest.approx(raw.fit.criterion, abs=1e-9)
    assert packed.fit.flags == raw.fit.flags
    same = fit(packed.fit.cells, families=packed.scope.families, warm=raw.fit.theta, steps=False)
    for key in (GLASSWORT, SAMPHIRE, KELP):
        one, other, found = same.line(key), raw.fit.line(key), packed.fit.line(key)
        assert (one.speed, one.slope) == pytest.approx((other.speed, other.slope), abs=1e-9)
        assert one.covariance == pytest.approx(other.covariance, abs=1e-9)
        assert (found.speed, found.slope) == pytest.approx((other.speed, other.slope), abs=1e-6)  # each searched alone


@pytest.mark.parametrize("index", [12.0, 0.8])
def test_the_senders_nominal_index_does_not_matter(as_user: Any, index: float) -> None:
    """To a club without a log of its own. The search stops where the criterion is flat to 1e-9, the answer to 1e-4."""
    answers = []
    for sent in (index, 6.0):
        near, far = Club(as_user, glasswort=12.0), Club(as_user, glasswort=sent)
        far.season(FAR)
        near.receive(far.sent())
        answers += near.get("reciprocity/")["results"]
    known, same = answers
    assert known["evidence"]["logs"] == 12
    assert known["exposure_index"] == pytest.approx(same["exposure_index"], rel=1e-4)
    assert known["exponent"] == pytest.approx(same["exponent"], rel=1e-4)


def test_a_log_doubted_there_counts_as_little_here(here: Club, there: Club) -> None:
    """Minutes typed for seconds in a club far away bend no curve here."""
    there.season(FAR)
    packets = [there.sent()]
    there.log("glasswort", 3, 6000.0, 3 + np.log2(100) / 1.3)
    packets.append(there.sent())
    cells = [[each for each in packet["cells"] if each[0] == GLASSWORT] for packet in packets]
    logs, weights = ([sum(each[at] for each in rows) for rows in cells] for at in (4, 5))
    assert logs == [12, 13]
    assert weights == pytest.approx([12, 12], abs=0.1)
    times = []
    for packet in packets:
        here.receive(packet)
        times.append(pooled(here.club).fit.line(GLASSWORT).right_time_s(300.0))
    assert abs(np.log2(times[1] / times[0])) < 0.1


# ---------------------------------------------------------------------------------------------- what a packet tells


def test_small_cells_and_logs_not_marked_shared_stay_at_home(there: Club) -> None:
    there.season(FAR[:1])
    there.season(FAR[1:2], shared=False)
    for time in (10.0, 100.0):
        there.log("glasswort", FAR[2], time, 3 + np.log2(time) / 1.3)
    cells = there.packet()["cells"]
    assert [(each[0], each[4]) for each in cells] == [(GLASSWORT, 4), (SAMPHIRE, 4)]
    there.log("glasswort", FAR[2], 1000.0, 3 + np.log2(1000) / 1.3)
    assert sorted(each[4] for each in there.packet()["cells"]) == [3, 4, 4]


def test_a_merge_of_the_sender_comes_along(there: Club) -> None:
    there.season(FAR)
    response = there.client.post(there.at + "paper-merges/", {"key": SAMPHIRE, "into_key": GLASSWORT})
    assert response.status_code == 201
    packet = there.packet()
    assert packet["papers"] == {GLASSWORT: 6.0}
    assert [each[4] for each in packet["cells"]] == [8, 8, 8]


def test_the_revision_grows_when_something_new_is_said_and_only_then(there: Club) -> None:
    there.season(FAR)
    first = there.packet()
    assert there.packet() == first
    there.log("glasswort", FAR[0], 60.0, 3 + np.log2(60) / 1.3, shared=False)
    assert there.packet()["revision"] == first["revision"] == 1
    there.log("glasswort", FAR[0], 60.0, 3 + np.log2(60) / 1.3)
    second = there.packet()
    assert (second["revision"], second["source"]) == (2, first["source"])
    assert {each[1] for each in second["cells"]} == {each[1] for each in first["cells"]}  # pseudonyms last
    there.join(False)
    left = there.packet()
    assert (left["revision"], left["cells"], left["papers"]) == (3, [], {})
    there.join()
    assert there.packet()["cells"] == second["cells"]


# ----------------------------------------------------------------------------------------------- once, and no more


def test_a_withdrawn_packet_counts_no_longer_until_it_comes_again(here: Club) -> None:
    packet = here.receive(elsewhere(PACKET, revision=3))
    here.receive(elsewhere(PACKET, source="another server's club", cells=[row(camera="c", member="m")]))
    assert here.counted() == 8
    address = f"{here.at}packets/{packet['id']}/"
    gone = here.client.delete(address, headers={"If-Match": '"r1"'}).json()
    assert (gone["revision"], gone["withdrawn_at"] is None) == (2, False)
    assert here.counted() == 4
    again = here.client.delete(address, headers={"If-Match": '"r2"'})
    assert (again.status_code, again.json()) == (200, gone)  # it is withdrawn: nothing to do
    problem_of(here.client.post(here.at + "packets/", elsewhere(PACKET, revision=2)), 409)
    back = here.receive(elsewhere(PACKET, revision=3))
    assert (back["id"], back["withdrawn_at"], back["revision"]) == (packet["id"], None, 3)
    assert here.counted() == 8


def test_a_packet_is_the_receiving_clubs_own(here: Club, there: Club) -> None:
    packet = here.receive(elsewhere(PACKET))
    assert there.counted() == 0
    assert there.get("packets/")["results"] == []
    problem_of(there.client.get(f"{there.at}packets/{packet['id']}/"), 404)
    problem_of(there.client.delete(f"{there.at}packets/{packet['id']}/", headers={"If-Match": "*"}), 404)
    assert here.counted() == 4


# ------------------------------------------------------------------------------------------- careless and hostile


@pytest.mark.parametrize("spelt", [str, lambda source: str(source).upper(), lambda source: source.hex, lambda s: s.urn])
def test_a_packet_of_a_club_on_this_server_is_refused(here: Club, there: Club, spelt: Any) -> None:
    """Its logs count through the pool, or they would count twice."""
    there.season(FAR[:1])
    changed = there.packet() | {"source": spelt(Pool.objects.get(club=there.club).source)}
    for club in (here, there):
        problem_of(club.client.post(club.at + "packets/", changed | {"checksum": checksum(changed)}), 409)
    assert not ReceivedPacket.objects.exists()


@pytest.mark.parametrize("body", [[], {}, "packet", 7, True, None, [PACKET], {"packet": PACKET}])
def test_bodies_that_are_no_packets(here: Club, body: Any) -> None:
    response = here.client.generic("POST", here.at + "packets/", json.dumps(body), content_type="application/json")
    problem_of(response, 400 if body is None else 422)


@pytest.mark.parametrize(
    ("packet", "fault"),
    [
        (PACKET | {"revision": 2}, ("/checksum", "packet_checksum")),
        (PACKET | {"checksum": None}, ("/checksum", "packet_checksum")),
        (elsewhere(PACKET, format=["pinpool-reciprocity"]), ("/format", "not_a_packet")),
        (elsewhere(PACKET, version="1"), ("/version", "packet_version")),
        (elsewhere(PACKET, revision=10**30), ("/revision", "packet_revision")),
        (elsewhere(PACKET, revision=1.0), ("/revision", "packet_revision")),
        (elsewhere(PACKET, source={"$ne": 1}), ("/source", "packet_source")),
        (elsewhere(PACKET, source="x" * 101), ("/source", "packet_source")),
        (elsewhere(PACKET, least_logs=None), ("/least_logs", "packet_least_logs")),
        (elsewhere(PACKET, club="Samphire"), ("", "packet_keys")),
        (elsewhere(PACKET, columns=list(reversed(PACKED))), ("/columns", "packet_columns")),
        (elsewhere(PACKET, cells={}), ("/columns", "packet_columns")),
        (elsewhere(PACKET, papers=list(PACKET["papers"])), ("/papers", "packet_papers")),
        (elsewhere(PACKET, papers=PACKET["papers"] | {"kelp|graded paper": 6}), ("/papers", "packet_papers")),
        (elsewhere(PACKET, papers=dict.fromkeys(PACKET["papers"], 1e300)), ("/papers", "packet_index")),
        (holding(row(grade="guessed")), ("/cells", "packet_grade")),
        (holding(row(grade="")), ("/cells", "packet_cell")),
        (holding(row(paper="cordgrass")), ("/papers", "packet_papers")),
        (holding(row(paper="Cordgrass|Graded paper")), ("/papers", "packet_papers")),
        (holding(row(paper="<script>|graded paper")), ("/papers", "packet_papers")),
        (holding(row(paper="x" * 140 + "|y")), ("/papers", "packet_papers")),
        (holding(row(camera=["a"])), ("/cells", "packet_cell")),
        (holding(row(member=None)), ("/cells", "packet_cell")),
        (holding(row(logs=10**60)), ("/cells", "packet_cell")),
        (holding(row(logs=True)), ("/cells", "packet_cell")),
        (holding(row(logs=0, weight=0)), ("/cells", "packet_cell")),
        (holding(row(yy=1e308)), ("/cells", "packet_cell")),
        (holding(row(weight=-4)), ("/cells", "packet_cell")),
        (holding(row(xy="24")), ("/cells", "packet_cell")),
        (holding(row()[:-1]), ("/cells", "packet_cell")),
        (holding(*([row(logs=9e6)] * 2)), ("/cells", "packet_too_large")),
    ],
)  # fmt: skip
def test_hostile_packets_are_refused_and_change_nothing(here: Club, packet: Packet, fault: tuple[str, str]) -> None:
    stamp = Pool.objects.get(club=here.club).stamp
    assert faults_in(here.client.post(here.at + "packets/", packet), 422) == {fault}
    assert not ReceivedPacket.objects.exists()
    assert Pool.objects.get(club=here.club).stamp == stamp


@pytest.mark.parametrize(
    "cells",
    [
        [row(weight=0, x=0, xx=0, y=0, xy=0, yy=0)],
        [row(weight=1e-12, x=0, xx=0, y=0, xy=0, yy=0), row(paper=GLASSWORT)],
        [row(x=0, xx=0, xy=0)],
        [row(logs=1, weight=1, x=64, xx=4096, y=-64, xy=-4096, yy=4096)],
        [row(logs=900, weight=900, x=900, xx=900, y=900, xy=900, yy=900)],
        [row(), row()],
        [row(member=name, camera=name) for name in ("'; DROP TABLE", "\u202e", "🐚", "a" * 200)],
    ],
)
def test_odd_packets_that_could_be_true_leave_honest_answers(here: Club, cells: list[list[Any]]) -> None:
    here.season(NEAR[:2])
    here.receive(holding(*cells))
    paths = ("model", "", "cameras", "members")
    for path in [f"reciprocity/{path}/".replace("//", "/") for path in paths] + ["catalogue/", "next-tests/"]:
        here.get(path)
    body = {"camera": here.who[0][0].camera.code, "paper": str(here.papers["glasswort"].id), "reading": {"ev": 13}}
    assert here.client.post(here.at + "recommendation/", body).status_code == 200


def test_a_packets_cameras_and_members_are_never_ones_own(here: Club) -> None:
    """Whatever it calls them: nobody's offset is told by another server."""
    here.season(NEAR[:1])
    spec, user = here.who[0]
    packet = holding(row(camera=camera_key(spec.pk), member=member_key(user.pk)))
    here.receive(packet)
    here.receive(packet | (changed := packet | {"source": "another"}) | {"checksum": checksum(changed)})
    assert here.counted() == 8 + 4 + 4
    [camera] = here.get("reciprocity/cameras/")["results"]
    assert camera["evidence"]["logs"] == 8
    assert sorted(each["evidence"]["logs"] for each in here.get("reciprocity/members/")["results"]) == [0, 8]
    evidence = here.get("reciprocity/model/")["evidence"]
    assert (evidence["cameras"], evidence["members"]) == (3, 3)


def test_a_large_clubs_packet_fits_and_a_larger_one_does_not(here: Club, settings: Any) -> None:
    """12 000 cells are 2.8 MB as pseudonyms and figures have it: more than other bodies may be."""
    who = [f"{number:024x}" for number in range(400)]
    cells = [row(camera=who[n // 400], member=who[n % 400], x=24.123456789012345) for n in range(12_000)]
    packet = holding(*cells)
    assert len(json.dumps(packet)) > 1_500_000
    assert here.receive(packet)["logs"] == 48_000
    settings.PINPOOL = {"MAX_PACKET_BYTES": 1000}
    assert faults_in(here.client.post(here.at + "packets/", packet), 413) == {("", "too_large")}


def test_a_paper_of_a_long_odd_name_travels(here: Club, there: Club) -> None:
    """Its key is cut to what fits, and still its own key."""
    there.papers = {"1a": PaperFactory.create(club=there.club, name="1A" * 50, family="Straße ΐ")}
    there.season(FAR)
    here.receive(there.sent())
    assert here.counted() == 12
