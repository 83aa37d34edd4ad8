"""Clubs that share: whose logs count for whom, which papers are the same, and who may say so."""

from typing import Any

import numpy as np
import pytest

from exposures.catalogue import catalogue_key, plain_words
from exposures.models import PaperMerge, Pool
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in, problem_of


class Club:
    """A keeper's client in a club of their own with one camera."""

    def __init__(self, as_user: Any, paper: str = "Glasswort", index: float = 6.0) -> None:
        self.member = MembershipFactory.create(role="keeper")
        self.club, self.client = self.member.club, as_user(self.member.user)
        self.spec = CameraSpecFactory.create(camera__club=self.club)
        self.paper = PaperFactory.create(club=self.club, name=paper, nominal_exposure_index=index)
        self.at = f"/api/v1/clubs/{self.club.slug}/"

    def logs(self, count: int = 12, *, shared: bool = True, offset: float = 0.5, seed: int = 1) -> None:
        """Of a paper `offset` stops faster than an index of 6, exponent 1.3; none is so far off as to be doubted."""
        rng = np.random.default_rng(seed)
        for time in np.geomspace(5, 3000, count):
            effect = (
                offset + np.log2(time) / 1.3 - np.log2(self.paper.nominal_exposure_index / 6) + rng.uniform(-0.15, 0.15)
            )
            ExposureLogFactory.create(
                spec=self.spec, paper=self.paper, member=self.member.user, shared=shared,
                exposure_time_s=time, indicated_time_s=2**effect,
            )  # fmt: skip

    def join(self, joined: bool = True) -> Any:
        response = self.client.put(self.at + "pool/", {"joined": joined}, headers={"If-Match": "*"})
        assert response.status_code == 200, response.content
        return response.json()

    def known(self) -> Any:
        return self.client.get(self.at + "reciprocity/").json()["results"][0]

    def catalogue(self) -> dict[str, Any]:
        return {row["key"]: row for row in self.client.get(self.at + "catalogue/").json()["results"]}

    def merge(self, key: str, into_key: str, status: int = 201) -> Any:
        response = self.client.post(self.at + "paper-merges/", {"key": key, "into_key": into_key})
        assert response.status_code == status, response.content
        return response.json()


@pytest.fixture
def two(as_user: Any) -> tuple[Club, Club]:
    """One club without a log and one with twelve shared ones of the same paper, which it calls GLASSWORT."""
    one, other = Club(as_user), Club(as_user, "GLASSWORT")
    other.logs()
    return one, other


# ------------------------------------------------------------------------------------------------------- joining


def test_nothing_is_shared_until_both_have_joined(two: tuple[Club, Club]) -> None:
    one, other = two
    counts = [one.known()["evidence"]["logs"]]
    assert one.join() == {"joined": True, "clubs": 0, "revision": 2}
    counts.append(one.known()["evidence"]["logs"])
    other.join()
    counts.append(one.known()["evidence"]["logs"])
    other.join(False)
    counts.append(one.known()["evidence"]["logs"])
    other.join()
    one.join(False)
    counts.append(one.known()["evidence"]["logs"])
    assert counts == [0, 0, 12, 0, 0]
    assert one.client.get(one.at + "pool/").json() == {"joined": False, "clubs": 1, "revision": 3}


def test_only_logs_marked_shared_go_out_and_all_of_ones_own_count(two: tuple[Club, Club]) -> None:
    one, other = two
    other.logs(5, shared=False)
    for club in two:
        club.join()
    assert one.known()["evidence"]["logs"] == 12
    assert other.known()["evidence"]["logs"] == 17


def test_a_log_more_elsewhere_is_in_the_next_answer_here(two: tuple[Club, Club]) -> None:
    one, other = two
    for club in two:
        club.join()
    assert one.known()["evidence"]["logs"] == 12
    other.logs(3)
    assert one.known()["evidence"]["logs"] == 15
    other.logs(3, shared=False)
    assert one.known()["evidence"]["logs"] == 15


@pytest.mark.parametrize("index", [6.0, 12.0, 1.5])
def test_another_clubs_nominal_index_does_not_matter(as_user: Any, index: float) -> None:
    one, other = Club(as_user), Club(as_user, "Glasswort", index)
    other.logs(30)
    for club in (one, other):
        club.join()
    here, there = one.known(), other.known()
    assert here["exposure_index"] == pytest.approx(6 * 2**0.5, rel=0.1)
    assert here["exposure_index"] == pytest.approx(there["exposure_index"], rel=1e-9)
    assert here["exponent"] == pytest.approx(there["exponent"], rel=1e-9)


def test_others_names_and_logs_are_not_told(two: tuple[Club, Club]) -> None:
    one, other = two
    for club in two:
        club.join()
    one.logs(6)
    told = b"".join(
        one.client.get(one.at + path).content
        for path in ("reciprocity/", "reciprocity/cameras/", "reciprocity/members/", "comparison/?by=camera",
                     "comparison/?by=member", "comparison/?by=paper", "doubts/", "exposures/", "next-tests/")
    )  # fmt: skip
    for secret in (other.member.user.username, other.club.slug, other.spec.camera.code):
        assert f'"{secret}'.encode() not in told


# ------------------------------------------------------------------------------------------------------ catalogue


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("Glasswort  No.2", "glasswort no 2"), ("GLASSWORT No 2", "glasswort no 2"), ("glasswort-2", "glasswort 2"),
        ("Glaſſwort", "glasswort"), ("Samphire 3½", "samphire 31 2"), ("Élan", "élan"), ("E\u0301lan", "élan"),
        ("Ｋelp", "kelp"), ("★", "★"), ("a|b", "a b"), ("|", "/"), ("Kelp RC/FB", "kelp rc fb"),
    ],
)  # fmt: skip
def test_the_makers_words_however_written(written: str, words: str) -> None:
    assert plain_words(written) == words


def test_a_key_is_its_own_key() -> None:
    for name, family in (("Glasswort No.2", "graded paper"), ("★|★", "|"), ("x" * 100, "y" * 60)):
        key = catalogue_key(name=name, family=family)
        assert len(key) <= 200
        assert key.count("|") == 1
        assert catalogue_key(name=key.partition("|")[0], family=key.partition("|")[2]) == key


def test_the_catalogue_shows_what_counts_here(two: tuple[Club, Club]) -> None:
    one, other = two
    other.paper = PaperFactory.create(club=other.club, name="Samphire 3", nominal_exposure_index=3)
    other.logs(4)
    for club in two:
        club.join()
    found = one.catalogue()
    assert found.keys() == {"glasswort|graded paper", "samphire 3|graded paper"}
    assert found["samphire 3|graded paper"] == {
        "key": "samphire 3|graded paper", "name": "Samphire 3", "family": "graded paper", "nominal_exposure_index": 3.0,
        "own": False, "merged_into": None, "logs": 4,
    }  # fmt: skip
    assert found["glasswort|graded paper"]["own"]
    assert found["glasswort|graded paper"]["logs"] == 12
    assert found["glasswort|graded paper"]["name"] == "Glasswort"  # in the club's own words
    first = one.client.get(one.at + "catalogue/?page_size=1").json()
    second = one.client.get(first["next"]).json()
    assert [row["key"] for row in first["results"] + second["results"]] == sorted(found)
    assert second["next"] is None
    assert one.client.get(second["previous"]).json()["results"] == first["results"]


# ---------------------------------------------------------------------------------------------------------- merges


def test_a_merge_makes_two_papers_one_and_undoing_it_two_again(as_user: Any) -> None:
    one, other = Club(as_user, "Glasswort matt"), Club(as_user, "Glasswort M.")
    other.logs()
    for club in (one, other):
        club.join()
    before = one.known()
    merge = one.merge("glasswort m|graded paper", "glasswort matt|graded paper")
    assert (merge["made_by"], merge["undone_at"], merge["revision"]) == (one.member.user.username, None, 1)
    assert one.known()["evidence"]["logs"] == 12
    assert one.catalogue()["glasswort m|graded paper"]["merged_into"] == "glasswort matt|graded paper"
    assert one.catalogue()["glasswort matt|graded paper"]["logs"] == 12
    address = f"{one.at}paper-merges/{merge['id']}/"
    tag = one.client.get(address)["ETag"]
    undone = one.client.delete(address, headers={"If-Match": tag}).json()
    assert undone["undone_by"] == one.member.user.username
    assert undone["undone_at"] is not None
    after = one.known()
    assert after["evidence"] == before["evidence"]
    assert after["exposure_index"] == pytest.approx(before["exposure_index"], rel=1e-6)
    assert after["exponent_interval"] == pytest.approx(before["exponent_interval"], rel=1e-6)
    assert PaperMerge.objects.count() == 1  # on record
    problem_of(one.client.delete(address, headers={"If-Match": "*"}), 409)
    again = one.merge("glasswort m|graded paper", "glasswort matt|graded paper")
    assert one.known()["evidence"]["logs"] == 12
    listed = one.client.get(one.at + "paper-merges/").json()["results"]
    assert [row["id"] for row in listed] == [again["id"], merge["id"]]


def test_merging_the_own_paper_into_anothers_name_keeps_its_answers_under_its_own(as_user: Any) -> None:
    one, other = Club(as_user, "Glasswort matt", 6.0), Club(as_user, "Glasswort M.", 12.0)
    other.logs(30)
    for club in (one, other):
        club.join()
    one.merge("glasswort matt|graded paper", "glasswort m|graded paper")
    known = one.known()
    assert known["paper"]["name"] == "Glasswort matt"
    assert known["evidence"]["logs"] == 30
    assert known["exposure_index"] == pytest.approx(6 * 2**0.5, rel=0.1)


def test_a_merge_is_one_clubs_own_word(as_user: Any) -> None:
    """No keeper changes what another club is told."""
    one, other = Club(as_user, "Glasswort matt"), Club(as_user, "Samphire")
    one.logs(8)
    other.logs(8, offset=-2.0)
    for club in (one, other):
        club.join()
    before = other.known()
    one.merge("samphire|graded paper", "glasswort matt|graded paper")
    assert other.known() == before
    assert one.known()["evidence"]["logs"] == 16
    problem_of(other.client.get(f"{other.at}paper-merges/{PaperMerge.objects.get().pk}/"), 404)


def test_merges_that_make_no_sense(as_user: Any) -> None:
    one = Club(as_user, "A")
    for name in ("B", "C"):
        PaperFactory.create(club=one.club, name=name)
    a, b, c = (f"{name}|graded paper" for name in "abc")
    one.merge(a, b)
    one.merge(b, c)
    assert one.catalogue()[a]["merged_into"] == c  # through b
    for key, into in ((c, a), (c, b), (a, a), (b, c), (a, c)):
        response = one.client.post(one.at + "paper-merges/", {"key": key, "into_key": into})
        assert faults_in(response, 422) == {("/into_key", "same_paper")}
    response = one.client.post(one.at + "paper-merges/", {"key": "d|x", "into_key": "<script>"})
    assert faults_in(response, 422) == {("/key", "unknown_key"), ("/into_key", "unknown_key")}


def test_a_key_is_merged_once_at_a_time(as_user: Any) -> None:
    one = Club(as_user, "A")
    for name in ("B", "C"):
        PaperFactory.create(club=one.club, name=name)
    a, b, c = (f"{name}|graded paper" for name in "abc")
    one.merge(a, b)
    problem_of(one.client.post(one.at + "paper-merges/", {"key": a, "into_key": c}), 409)


def test_a_club_of_its_own_has_its_own_secret_and_source(two: tuple[Club, Club]) -> None:
    for club in two:
        club.join()
    one, other = Pool.objects.all()
    assert one.source != other.source
    assert bytes(one.secret) != bytes(other.secret)
    assert len(bytes(one.secret)) == 32
