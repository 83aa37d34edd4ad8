"""A fit is stored with what it rests on: never older than the data, and the same from the store as from the search."""

from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exposures import pooled as pooled_module
from exposures.evidence import mark_changed
from exposures.models import Doubt, ExposureLog, Pool, StoredFit
from exposures.pooled import pooled
from exposures.reciprocity import optimiser, result
from exposures.scopes import Scope
from tests.exposures.test_pool import Club
from tests.factories import ExposureLogFactory, MembershipFactory, PaperFactory
from tests.problems import problem_of


@pytest.fixture(autouse=True)
def another_process() -> None:
    pooled_module._kept.clear()


def one_more(here: Any, **facts: Any) -> ExposureLog:
    facts = {"spec": here.spec, "paper": here.paper, "member": here.member.user, **facts}
    return ExposureLogFactory.create(**facts)


def logs_of(here: Any) -> int:
    return here.client.get(here.at + "reciprocity/model/").json()["evidence"]["logs"]


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL chooses by the rows that there are")
def test_a_fingerprint_looks_through_no_cells(here: Any) -> None:
    for club in (here.member.club, MembershipFactory.create().club):
        Pool.objects.update_or_create(club=club, defaults={"joined": True})
    with CaptureQueriesContext(connection) as asked:
        Scope(here.member.club)
    counts = [each["sql"] for each in asked if "COUNT(*)" in each["sql"] and "evidencecell" in each["sql"]]
    assert len(counts) == 2
    for statement in counts:
        with connection.cursor() as cursor:
            plan = str(cursor.execute(f"EXPLAIN QUERY PLAN {statement}").fetchall())
        assert "USING INDEX pinpool_cell_of_nobody" in plan or "USING COVERING INDEX pinpool_cell_of_nobody" in plan


def test_one_more_log_is_in_the_next_answer(here: Any) -> None:
    here.season(scatter=0.3)
    assert logs_of(here) == 60
    before = here.recommend()["exposure_time"]["value"]
    here.log(result={"judged_stops": -0.5})
    assert logs_of(here) == 61
    assert here.recommend()["exposure_time"]["value"] != before


def test_a_log_that_nobody_judged_changes_nothing(here: Any) -> None:
    here.judged()
    before = StoredFit.objects.filter(club=here.club)
    logs_of(here)
    stored = before.get().fingerprint
    here.log(result=None)
    logs_of(here)
    assert before.get().fingerprint == stored


def test_another_process_answers_the_same_without_a_search(here: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    here.season(scatter=0.4)
    first = here.recommend()

    def no_search(*_: Any, **__: Any) -> None:
        raise AssertionError("The stored state should have done.")

    pooled_module._kept.clear()
    monkeypatch.setattr(result, "optimise", no_search)
    monkeypatch.setattr(pooled_module, "robust_fit", no_search)
    again = here.recommend()
    for key in ("exposure_time", "interval", "interval_50"):
        ends = [first[key], again[key]] if key == "exposure_time" else [first[key]["low"], again[key]["low"]]
        assert ends[1]["value"] == pytest.approx(ends[0]["value"], rel=1e-12)
    assert again["because"] == first["because"]
    assert again["flags"] == first["flags"]


def test_a_state_of_another_version_is_made_anew(here: Any) -> None:
    here.season(scatter=0.4)
    first = here.recommend()
    stored = StoredFit.objects.get(club=here.club)
    stored.state["version"] = 0
    stored.save()
    pooled_module._kept.clear()
    assert here.recommend()["exposure_time"]["value"] == pytest.approx(first["exposure_time"]["value"], rel=1e-6)
    assert StoredFit.objects.get(club=here.club).state["version"] == result.STATE_VERSION


def test_what_is_kept_in_a_process_is_not_kept_for_ever(here: Any) -> None:
    for _ in range(pooled_module.KEPT + 3):
        mark_changed(club_id=here.club.pk, shared=False)
        pooled(here.club)
    assert len(pooled_module._kept) == pooled_module.KEPT


def test_equations_without_a_solution_are_said_to_have_none(here: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    here.judged()

    def broken(*_: Any, **__: Any) -> None:
        raise np.linalg.LinAlgError

    monkeypatch.setattr(pooled_module, "robust_fit", broken)
    found = here.recommend()
    assert "unsolvable" in {flag["code"] for flag in found["flags"]}
    assert found["exposure_time"] == found["indicated_time"]


def test_an_own_paper_of_another_index_counts_at_once(as_user: Any) -> None:
    """Effects count from the club's own index where it has the paper, though it has not logged it."""
    here, there = Club(as_user, "Samphire"), Club(as_user)
    for club in (here, there):
        club.logs()
        club.join()
    pooled(here.club)
    PaperFactory.create(club=here.club, name="Glasswort", nominal_exposure_index=60.0)
    answers = []
    for _ in range(2):
        answers.append(here.client.get(here.at + "reciprocity/").json()["results"])
        pooled_module._kept.clear()
    for kept, restored in zip(*answers, strict=True):
        assert kept["exposure_index"] == pytest.approx(restored["exposure_index"], rel=1e-12)


# -------------------------------------------------------------------------------------------- many logs, few more


def test_few_more_among_many_agree_with_all_weighed(here: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond `ALL_WEIGHED_TO` only new logs are weighed: the same times to a hundredth of a stop."""
    here.season(scatter=0.3, count=100)
    monkeypatch.setattr(pooled_module, "ALL_WEIGHED_TO", 50)
    pooled(here.club)
    assert StoredFit.objects.get(club=here.club).guarded_logs == 100
    one_more(here, exposure_time_s=300.0, indicated_time_s=2 ** (0.5 + np.log2(300) / 1.3))
    wrong = one_more(here, exposure_time_s=6000.0, indicated_time_s=2 ** (0.5 + np.log2(100) / 1.3))
    few = pooled(here.club)
    [doubtful] = [flag.text for flag in few.fit.flags if flag.code == "outliers"]
    assert doubtful.startswith("1 log ")
    stored = StoredFit.objects.get(club=here.club)
    assert (stored.logs, stored.guarded_logs, stored.last_number) == (102, 100, wrong.number)
    assert Doubt.objects.get(log=wrong).weight_share < 0.01
    pooled_module._kept.clear()
    StoredFit.objects.all().delete()
    every = pooled(here.club)
    key = "glasswort|graded paper"
    for time in (10.0, 300.0, 3000.0):
        stops = np.log2(few.fit.line(key).right_time_s(time) / every.fit.line(key).right_time_s(time))
        assert abs(stops) < 0.01


def test_after_a_share_of_new_ones_all_are_weighed_again(here: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    here.season(count=60)
    monkeypatch.setattr(pooled_module, "ALL_WEIGHED_TO", 50)
    pooled(here.club)
    for _ in range(4):
        one_more(here, exposure_time_s=300.0, indicated_time_s=2 ** (0.5 + np.log2(300) / 1.3))
    pooled(here.club)
    assert StoredFit.objects.get(club=here.club).guarded_logs == 64


# ---------------------------------------------------------------------------------------------------------- doubts


def minutes_for_seconds(here: Any, **facts: Any) -> ExposureLog:
    """Given 100 s, written as 100 min."""
    return one_more(here, exposure_time_s=6000.0, indicated_time_s=2 ** (0.5 + np.log2(100) / 1.3), **facts)


def test_minutes_for_seconds_bend_no_curve(here: Any) -> None:
    here.season(scatter=0.3)
    clean = pooled(here.club).fit.line("glasswort|graded paper").right_time_s(300.0)
    minutes_for_seconds(here)
    found = pooled(here.club).fit
    assert abs(np.log2(found.line("glasswort|graded paper").right_time_s(300.0) / clean)) < 0.1
    assert "outliers" in {flag.code for flag in found.flags}


def test_a_doubtful_log_is_told_to_its_author_and_to_leaders_alone(here: Any, as_user: Any) -> None:
    here.season(scatter=0.3)
    author, other = (MembershipFactory.create(club=here.club, role="member") for _ in range(2))
    wrong = minutes_for_seconds(here, member=author.user)
    at = here.at + "doubts/"
    [told] = as_user(author.user).get(at).json()["results"]
    assert told["log"]["id"] == str(wrong.id)
    assert told["weight_share"] == pytest.approx(0, abs=0.01)
    assert "Were minutes typed for seconds?" in told["text"]
    assert "It is kept" in told["text"]
    assert as_user(other.user).get(at).json()["results"] == []
    assert as_user(MembershipFactory.create(club=here.club, role="leader").user).get(at).json()["results"] == [told]
    problem_of(as_user(MembershipFactory.create(club=here.club, role="guest").user).get(at), 403)
    assert ExposureLog.objects.filter(pk=wrong.pk).exists()


def test_once_the_others_agree_with_it_it_is_doubted_no_longer(here: Any) -> None:
    """Ten more like it: then the paper is so, and nobody mistyped."""
    here.judged(count=4)
    minutes_for_seconds(here)
    for _ in range(12):
        minutes_for_seconds(here)
    assert here.client.get(here.at + "doubts/").json()["results"] == []


def test_a_log_that_goes_while_it_is_weighed_is_no_fault(here: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """An import can be undone in that very moment."""
    here.season(scatter=0.3)
    gone = minutes_for_seconds(here)
    store = pooled_module._store

    def after_it_went(*given: Any, **also: Any) -> None:
        ExposureLog.objects.filter(pk=gone.pk).delete()
        store(*given, **also)

    monkeypatch.setattr(pooled_module, "_store", after_it_went)
    assert "outliers" in {flag.code for flag in pooled(here.club).fit.flags}
    connection.check_constraints()  # as at the end of a transaction
    assert not Doubt.objects.filter(log_id=gone.pk).exists()


def test_the_optimisers_record_comes_along(here: Any) -> None:
    here.season(scatter=0.3)
    model = here.client.get(here.at + "reciprocity/model/").json()
    assert model["record"]
    assert all(run["settled"] and run["evaluations"] >= 1 for run in model["record"])
    best = min(run["criterion"] for run in model["record"])
    assert model["criterion"] == pytest.approx(best)
    assert optimiser.TOLERANCE < 1e-6
    assert [each["grade"] for each in model["grades"]] == ["judged"]
