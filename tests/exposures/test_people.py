"""People without an account in the log and in the pooled model: each by themselves, and never taken for an account."""

import csv
import io
from typing import Any

import numpy as np
import pytest
from django.core.exceptions import ValidationError as Faulty
from django.db import IntegrityError, connection, transaction
from django.http import Http404
from rest_framework.exceptions import PermissionDenied, ValidationError

from clubs.models import Person
from exposures import scopes
from exposures.evidence import rebuild, summed
from exposures.exports import csv_lines
from exposures.imports.guessing import guessed
from exposures.models import EvidenceCell, ExposureLog
from exposures.pooled import pooled
from exposures.reciprocity import packets
from exposures.scopes import OTHERS, Scope, member_key
from exposures.services import correct_exposure, log_exposure
from tests.exposures.test_evidence_cells import table
from tests.exposures.test_log_filters import plan_of
from tests.factories import AccountFactory, CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory
from tests.problems import problem_of


def person(here: Any, name: str = "Ada") -> Person:
    return Person.objects.create(club=here.club, name=name)


def told(here: Any, **more: Any) -> dict[str, Any]:
    """An entry as `log_exposure` takes it: f/259, EV 13 and an index of 6, given 4 min and judged half a stop under."""
    from exposures.services import Result  # noqa: PLC0415

    facts = {"camera": here.spec.camera, "paper": here.paper, "taken_at": here.spec.created_at, "reading": 13.0,
             "typed_reading": {"ev": 13}, "exposure_time": 240.0, "typed_time": "4 min", "filter_stops": 0.0,
             "result": Result({"judged_stops": -0.5}, stops=-0.5)}  # fmt: skip
    return facts | more


def shown(here: Any, log: ExposureLog) -> Any:
    return here.client.get(f"{here.at}exposures/{log.id}/").json()


# --------------------------------------------------------------------------------------------------------- the log


def test_an_entry_of_somebody_without_an_account(here: Any) -> None:
    ada = person(here)
    log, new = log_exposure(actor=here.member, person=ada, **told(here))
    assert (new, log.member, log.person) == (True, None, ada)
    assert {key: shown(here, log)[key] for key in ("member", "without_account")} == {
        "member": "Ada",
        "without_account": True,
    }
    assert here.club.trail.get(action="log_exposure").after["person"] == "Ada"
    assert here.club.trail.get(action="log_exposure").actor == here.member.user


def test_a_name_that_an_account_has_too(here: Any) -> None:
    """Both are called so; the key beside it tells them apart."""
    ada = AccountFactory.create(username="Ada")
    of_ada = ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=ada)
    of_other = ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=None, person=person(here))
    assert [(shown(here, log)["member"], shown(here, log)["without_account"]) for log in (of_ada, of_other)] == [
        ("Ada", False),
        ("Ada", True),
    ]


def test_an_empty_name(here: Any) -> None:
    log = ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=None, person=person(here, ""))
    assert shown(here, log)["member"] == "somebody without an account"


def test_a_correction_keeps_the_person(here: Any, as_user: Any) -> None:
    """Whose it is was not what was wrong; and only a keeper may correct what is nobody's account's."""
    ada = person(here)
    log, _ = log_exposure(actor=here.member, person=ada, **told(here))
    with pytest.raises(PermissionDenied):
        correct_exposure(actor=here.member, log=log, reason="It was 5 min.", **told(here, exposure_time=300.0))
    keeper = MembershipFactory.create(club=here.club, role="keeper")
    new, _ = correct_exposure(actor=keeper, log=log, reason="It was 5 min.", **told(here, exposure_time=300.0))
    assert (new.member, new.person) == (None, ada)
    [cell] = EvidenceCell.objects.filter(club=here.club)
    assert (cell.person, cell.member, cell.logs, cell.longest_stops) == (ada, None, 1, pytest.approx(np.log2(300)))


def test_sent_again_it_is_the_same_and_of_another_person_it_is_another(here: Any) -> None:
    ada, bea = person(here), person(here, "Bea")
    log, _ = log_exposure(actor=here.member, person=ada, **told(here))
    assert log_exposure(actor=here.member, person=ada, **told(here, id=log.id)) == (log, False)
    for other in ({"person": bea}, {}):
        with pytest.raises(Exception, match="Another entry is stored"):
            log_exposure(actor=here.member, **told(here, id=log.id), **other)


def test_what_is_refused(here: Any) -> None:
    """A guest logs for nobody; a person of another club is not there; and nobody could read it in private."""
    ada = person(here)
    guest = MembershipFactory.create(club=here.club, role="guest")
    with pytest.raises(PermissionDenied):
        log_exposure(actor=guest, person=ada, **told(here))
    elsewhere = Person.objects.create(club=MembershipFactory.create().club, name="Ada")
    with pytest.raises(Http404):
        log_exposure(actor=here.member, person=elsewhere, **told(here))
    with pytest.raises(ValidationError) as refused:
        log_exposure(actor=here.member, person=ada, **told(here, private=True))
    [fault] = refused.value.detail["visibility"]  # type: ignore[call-overload,index]
    assert fault.code == "private_without_account"
    assert not ExposureLog.objects.exists()


def test_a_log_has_one_author(here: Any) -> None:
    with pytest.raises((IntegrityError, Faulty)), transaction.atomic():
        ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=here.member.user, person=person(here))


def test_filters(here: Any) -> None:
    """By name in this club alone, and never an account of that name."""
    ada, other = person(here), person(here)
    AccountFactory.create(username="Ada")
    elsewhere = CameraSpecFactory.create()
    stranger = Person.objects.create(club=elsewhere.camera.club, name="Ada")
    ExposureLogFactory.create(spec=elsewhere, member=None, person=stranger)
    logs = [ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=None, person=each)
            for each in (ada, other, person(here, "Bea"))]  # fmt: skip
    mine = ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=here.member.user)

    def found(query: str) -> list[str]:
        rows = here.client.get(f"{here.at}exposures/?{query}").json()["results"]
        return [row["id"] for row in reversed(rows)]

    ids = [str(log.id) for log in logs]
    assert found("person=Ada") == ids[:2]
    assert found("without_account=true") == ids
    assert found("without_account=false") == [str(mine.id)]
    assert found("member=Ada") == found("person=nobody") == []
    for query, index in (("person=Bea", "pinpool_log_by_person"), ("without_account=true", "pinpool_log_without_")):
        if connection.vendor == "sqlite":  # PostgreSQL reads so few rows without any index
            assert index in plan_of(here, query)


def test_the_csv_says_who_it_was_where_no_import_takes_it_for_an_account(here: Any) -> None:
    AccountFactory.create(username="Ada")
    for name in ("Ada", ""):
        ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=None, person=person(here, name))
    lines = list(csv_lines(actor=here.member, what="exposures"))
    rows = list(csv.DictReader(io.StringIO("".join(lines).removeprefix("\ufeff"), newline="")))
    assert [(row["member"], row["without account"]) for row in rows] == [
        ("", "Ada"),
        ("", "somebody without an account"),
    ]
    found = guessed(kind="exposures", table=list(csv.reader(lines)), known={})
    assert {column.name: column.field for column in found}["without account"] is None


# ------------------------------------------------------------------------------------------------------- the model


@pytest.fixture
def workshop(here: Any) -> Any:
    """Sixty logs by a member, two people of one name and two former members, on two papers with two cameras."""
    rng = np.random.default_rng(4)
    here.ada, here.ada_too = person(here), person(here)
    gone = [MembershipFactory.create(club=here.club).user for _ in range(2)]
    authors = [
        {"member": here.member.user}, {"member": None, "person": here.ada}, {"member": None, "person": here.ada_too},
        *({"member": user} for user in gone),
    ]  # fmt: skip
    papers = [here.paper, PaperFactory.create(club=here.club)]
    specs = [here.spec, CameraSpecFactory.create(camera__club=here.club)]
    off = (0.0, 0.8, -0.8, 0.1, -0.1)
    for n, time in enumerate(np.geomspace(5, 3000, 60)):
        effect = 0.5 + np.log2(time) / 1.3 + 0.05 * rng.standard_normal() - off[n % 5]
        ExposureLogFactory.create(
            **authors[n % 5], spec=specs[n // 5 % 2], paper=papers[n // 10 % 2], shared=n % 3 == 0,
            exposure_time_s=time, indicated_time_s=2**effect, result_stops=0.0,
        )  # fmt: skip
    for user in gone:
        user.delete()
    return here


def test_cells_are_the_logs_summed_by_author(workshop: Any) -> None:
    """As they are kept log by log, as the database sums them, and as they are after a rebuild."""
    people = EvidenceCell.objects.exclude(member=None, person=None)
    kept = table(people.values())
    fresh = table(summed(ExposureLog.objects.exclude(member=None, person=None)))
    assert kept.keys() == fresh.keys()
    assert len(kept) == 3 * 2 * 2 * 2
    for key, sums in kept.items():
        assert sums == pytest.approx(fresh[key], rel=1e-12, abs=1e-12)
    before = EvidenceCell.objects.count()
    rebuild(workshop.club)
    assert EvidenceCell.objects.count() == before - 2 * 2 * 2  # two former members are one
    assert table(people.values()).keys() == kept.keys()


def test_one_more_log_goes_into_the_person_s_own_cell(here: Any, django_assert_num_queries: Any) -> None:
    """At the price of any other: no sum over the log; and there can be no second cell of a key."""
    from exposures.evidence import keep  # noqa: PLC0415

    ada = person(here)
    log = ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=None, person=ada)
    with django_assert_num_queries(2):
        keep(log)
    cell = EvidenceCell.objects.get()
    assert (cell.person, cell.logs) == (ada, 2)
    cell.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        cell.save(force_insert=True)


def test_two_of_one_name_are_two(workshop: Any) -> None:
    """0.8 stop over and 0.8 stop under: told apart, beside a member and the former members."""
    fit = pooled(workshop.club).fit
    offsets = {who: fit.offset("member", member_key(None, who.pk)) for who in (workshop.ada, workshop.ada_too)}
    assert [offset.evidence.logs for offset in offsets.values()] == [12, 12]
    assert offsets[workshop.ada].stops - offsets[workshop.ada_too].stops == pytest.approx(-1.6, abs=0.1)
    assert set(fit.cells.member.tolist()) == {
        member_key(workshop.member.user_id), member_key(None), *(member_key(None, who.pk) for who in offsets),
    }  # fmt: skip
    assert fit.offset("member", member_key(None)).evidence.logs == 24


def test_of_very_many_people_those_with_few_logs_count_as_one(workshop: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """So that a fit's time is bounded; the one with most logs is as far off as before, and no log is lost."""
    alone = pooled(workshop.club).fit.offset("member", member_key(None, workshop.ada.pk))
    bea = person(workshop, "Bea")
    for _ in range(3):
        ExposureLogFactory.create(
            spec=workshop.spec, paper=workshop.paper, member=None, person=bea, exposure_time_s=100.0,
            indicated_time_s=2 ** (0.5 + np.log2(100) / 1.3),
        )  # fmt: skip
    monkeypatch.setattr(scopes, "MOST_PEOPLE", 1)
    found = pooled(workshop.club)
    assert found.scope.crowd == {workshop.ada_too.pk, bea.pk}
    assert found.fit.offset("member", OTHERS).evidence.logs == 15
    assert found.fit.cells.logs.sum() == 63
    ada = found.fit.offset("member", member_key(None, workshop.ada.pk))
    assert (ada.evidence.logs, ada.stops) == (12, pytest.approx(alone.stops, abs=0.2))
    told = workshop.client.get(workshop.at + "comparison/?by=member").json()
    assert (OTHERS, True) in {(row["name"], row["without_account"]) for row in told["rows"]}
    assert sum(log["name"] == OTHERS for log in told["logs"]) == 15
    assert {row["evidence"]["logs"] for row in told["rows"]} == {12, 15}


def test_the_comparison_names_people(workshop: Any) -> None:
    Person.objects.filter(pk=workshop.ada_too.pk).update(name="")
    told = workshop.client.get(workshop.at + "comparison/?by=member").json()
    me = workshop.member.user.username
    assert {(row["name"], row["without_account"]) for row in told["rows"]} == {
        (me, False), ("Ada", True), ("somebody without an account", True),
    }  # fmt: skip
    pairs = {(pair["one"], pair["one_without_account"], pair["other"], pair["other_without_account"])
             for pair in told["distinguishable"]}  # fmt: skip
    assert ("somebody without an account", True, "Ada", True) in pairs
    assert {(log["name"], log["without_account"]) for log in told["logs"]} == {
        (me, False), ("Ada", True), ("somebody without an account", True), ("former member", False),
    }  # fmt: skip
    cameras = workshop.client.get(workshop.at + "comparison/?by=camera").json()
    assert not any(row["without_account"] for row in cameras["rows"])


def test_a_doubt_says_whose_log_it_is(here: Any) -> None:
    here.season(scatter=0.3)
    wrong = ExposureLogFactory.create(
        spec=here.spec, paper=here.paper, member=None, person=person(here), exposure_time_s=6000.0,
        indicated_time_s=2 ** (0.5 + np.log2(100) / 1.3),
    )  # fmt: skip
    [doubt] = here.client.get(here.at + "doubts/").json()["results"]
    assert (doubt["log"]["id"], doubt["log"]["member"], doubt["log"]["without_account"]) == (str(wrong.id), "Ada", True)


def test_a_person_who_is_taken_off_the_list_leaves_their_logs_to_the_former_members(workshop: Any) -> None:
    """By whatever door: then no fit from before counts as fresh."""
    before = Scope(workshop.club).fingerprint
    pooled(workshop.club)
    workshop.ada.delete()
    assert Scope(workshop.club).fingerprint != before
    fit = pooled(workshop.club).fit
    assert fit.offset("member", member_key(None)).evidence.logs == 36
    assert fit.cells.logs.sum() == 60


def test_people_have_pseudonyms_of_their_own_in_a_packet(workshop: Any) -> None:
    """As many as there are authors; not one of them says who."""
    cells = Scope(workshop.club).shared_cells()
    said = {"source": "s", "revision": 1, "secret": b"the invented secret of a test"}
    papers_ = dict.fromkeys(cells.paper.tolist(), 6.0)
    packet = packets.make_packet(cells, papers=papers_, least_logs=1, **said)
    members = {row[packets.PACKED.index("member")] for row in packet["cells"]}
    assert len(members) == 4
    expected = packets.pseudonym(said["secret"], "member", f"person {workshop.ada.pk}")  # type: ignore[arg-type]
    assert expected in members
    assert "Ada" not in str(packet)
    assert "person" not in str(packet["cells"])


def test_a_packet_of_very_many_people_can_be_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    """Those with the most logs go along."""
    from exposures.reciprocity.cells import Cells  # noqa: PLC0415

    monkeypatch.setattr(packets, "MOST_MEMBERS", 3)
    rows = [("a|b", "spec 1", f"person {n}", "judged", n, n, 0, 0, n, 0, n, -1, -1) for n in range(3, 9)]
    said = {"source": "s", "revision": 1, "secret": b"the invented secret of a test", "papers": {"a|b": 6.0}}
    packet = packets.make_packet(Cells.from_rows(rows), **said)  # type: ignore[arg-type]
    assert sorted(packets.open_packet(packet).cells.logs.tolist()) == [6, 7, 8]


def test_who_uploads_is_not_who_is_asked(workshop: Any, as_user: Any) -> None:
    """A member's own list of data holds nothing of those for whom they logged."""
    entry, _ = log_exposure(actor=workshop.member, person=workshop.ada, **told(workshop))
    parts = workshop.client.get("/api/v1/accounts/me/data/").json()["parts"]
    assert str(entry.id) not in {each["id"] for each in parts["exposures"]}
    problem_of(as_user(AccountFactory.create()).get(f"{workshop.at}exposures/{entry.id}/"), 404)
