"""Corrections: new entries in the place of wrong ones, which stay on record and count no longer."""

import uuid
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from clubs.models import TrailEntry
from exposures.evidence import keep, rebuild, take_out
from exposures.models import EvidenceCell, ExposureLog, Pool
from exposures.pooled import pooled
from tests.factories import AccountFactory, CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in, problem_of

SUMS = ("logs", "x", "xx", "y", "xy", "yy", "shortest_stops", "longest_stops")


def cells(club: Any) -> dict[tuple[Any, ...], Any]:
    keys = ("paper_id", "spec_id", "member_id", "grade", "shared")
    rows = EvidenceCell.objects.filter(club=club)
    return {tuple(getattr(row, key) for key in keys): [getattr(row, name) for name in SUMS] for row in rows}


def check_cells(club: Any) -> None:
    """The cells are those that the log makes."""
    kept = cells(club)
    rebuild(club)
    anew = cells(club)
    assert kept.keys() == anew.keys()
    for key, sums in kept.items():
        assert sums == pytest.approx(anew[key], rel=1e-12, abs=1e-12)


def correct(here: Any, entry: dict[str, Any], client: Any = None, **more: Any) -> Any:
    body = here.body(reason="It was written down wrong.") | more
    return (client or here.client).post(f"{here.at}exposures/{entry['id']}/corrections/", body)


def read(here: Any, entry: Any) -> Any:
    return here.client.get(f"{here.at}exposures/{entry['id']}/").json()


def listed(here: Any, query: str = "") -> list[str]:
    return [row["id"] for row in here.client.get(f"{here.at}exposures/?{query}").json()["results"]]


def test_a_correction_takes_the_place_of_the_wrong_entry(here: Any) -> None:
    wrong = here.log(exposure_time="40 min", result={"judged_stops": 0}, note="windy")
    response = correct(here, wrong, exposure_time="4 min", result={"judged_stops": 0}, note="windy")
    assert response.status_code == 201
    right = response.json()
    assert (right["corrects"], right["corrected_by"]) == (wrong["id"], None)
    assert (right["reason"], right["exposure_time"]["value"]) == ("It was written down wrong.", 240.0)
    now = read(here, wrong)
    assert now == wrong | {"corrected_by": right["id"], "revision": 2}
    assert read(here, right) == right
    assert listed(here) == [right["id"]]
    assert listed(here, "corrected=false") == [right["id"]]
    assert listed(here, "corrected=true") == [right["id"], wrong["id"]]
    [cell] = EvidenceCell.objects.all()
    assert (cell.logs, 2**cell.longest_stops) == (1, pytest.approx(240.0))
    check_cells(here.club)
    told = TrailEntry.objects.get(action="correct_exposure")
    assert told.subject == f"exposure {wrong['id']}"
    assert told.before == {"exposure_time": "40 min"}
    assert told.after == {"exposure_time": "4 min", "reason": "It was written down wrong."}


def test_the_fit_is_that_of_the_corrected_log(here: Any) -> None:
    here.season()
    before = here.recommend()["exposure_time"]["value"]
    wrong = here.log(exposure_time="10 s", result={"right_time": "10 s"})
    assert here.recommend()["exposure_time"]["value"] != before
    right = correct(here, wrong, exposure_time="10 s").json()
    assert right["result"] is None
    assert here.recommend()["exposure_time"]["value"] == pytest.approx(before, rel=1e-6)
    assert pooled(here.club).fit.cells.logs.sum() == 60


def test_a_doubtful_entry_once_corrected_is_doubted_and_compared_no_longer(here: Any) -> None:
    here.season()
    wrong = here.log(exposure_time="10 s", result={"judged_stops": 9})
    lists = [here.at + "doubts/", here.at + "comparison/?by=camera"]
    assert all(wrong["id"] in here.client.get(at).content.decode() for at in lists)
    correct(here, wrong, exposure_time="10 s")
    assert not any(wrong["id"] in here.client.get(at).content.decode() for at in lists)


def test_what_a_day_was_stays_where_it_is_not_what_was_wrong(here: Any) -> None:
    """The index and spec of then, unless the paper, the camera or the time is corrected."""
    wrong = here.log(note="wnidy")
    here.paper.nominal_exposure_index = 12
    here.paper.save()
    CameraSpecFactory.create(camera=here.spec.camera, number=2, hole_diameter_mm=0.3, created_at=here.spec.created_at)
    CameraSpecFactory.create(camera__club=here.club, camera__code="T2", hole_diameter_mm=0.4)
    other = PaperFactory.create(club=here.club)
    kept = correct(here, wrong, note="windy").json()
    assert (kept["exposure_index"], kept["spec"], kept["indicated_time"]) == (6.0, 1, wrong["indicated_time"])
    moved = correct(here, kept, camera="T2", paper=str(other.pk)).json()
    assert (moved["camera"], moved["spec"], moved["paper"]) == ("T2", 1, str(other.pk))
    assert moved["f_number"] == pytest.approx(wrong["f_number"] * 0.35 / 0.4)
    back = correct(here, moved).json()
    assert (back["exposure_index"], back["camera"]) == (12.0, "T1")


def test_who_may_correct(here: Any, as_user: Any) -> None:
    """The author and keepers; the entry stays the author's."""
    author = MembershipFactory.create(club=here.club)
    wrong = ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=author.user)
    entry = {"id": str(wrong.id)}
    for role in ("member", "leader"):
        other = as_user(MembershipFactory.create(club=here.club, role=role).user)
        assert (
            problem_of(correct(here, entry, other), 403)["detail"]
            == "Only its author or a keeper may correct this entry."
        )
    problem_of(correct(here, entry, as_user(MembershipFactory.create(club=here.club, role="guest").user)), 403)
    keeper = as_user(MembershipFactory.create(club=here.club, role="keeper").user)
    by_keeper = correct(here, entry, keeper, result={"judged_stops": 1}).json()
    assert by_keeper["member"] == author.user.get_username()
    by_author = correct(here, by_keeper, as_user(author.user), result={"judged_stops": 2})
    assert by_author.json()["member"] == author.user.get_username()
    check_cells(here.club)
    elsewhere = ExposureLogFactory.create()
    problem_of(correct(here, {"id": str(elsewhere.id)}, keeper), 404)


def test_a_former_members_entry_can_be_corrected_by_a_keeper(here: Any, as_user: Any) -> None:
    """Cells of accounts that are gone become one as soon as one of them changes."""
    gone = [AccountFactory.create() for _ in range(2)]
    logs = [ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=user) for user in gone]
    for user in gone:
        user.delete()
    assert EvidenceCell.objects.filter(member=None).count() == 2
    keeper = as_user(MembershipFactory.create(club=here.club, role="keeper").user)
    right = correct(here, {"id": str(logs[0].id)}, keeper, result={"judged_stops": 1}).json()
    assert right["member"] is None
    check_cells(here.club)
    assert EvidenceCell.objects.get(member=None).logs == 2


def test_a_second_correction_is_told_of_the_first(here: Any) -> None:
    wrong = here.log()
    first = correct(here, wrong, note="one").json()
    assert first["id"] in problem_of(correct(here, wrong, note="two"), 409)["detail"]
    assert correct(here, first, note="two").status_code == 201
    with pytest.raises(IntegrityError), transaction.atomic():
        ExposureLogFactory.create(spec=here.spec, paper=here.paper, corrects=ExposureLog.objects.get(id=wrong["id"]))


def test_the_same_correction_again_is_the_same(here: Any) -> None:
    wrong, chosen = here.log(result={"judged_stops": 0}), str(uuid.uuid4())
    first = correct(here, wrong, id=chosen, result={"judged_stops": 1})
    again = correct(here, wrong, id=chosen, result={"judged_stops": 1})
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    problem_of(correct(here, wrong, id=chosen, result={"judged_stops": 2}), 409)
    problem_of(correct(here, wrong, id=chosen, result={"judged_stops": 1}, reason="Another."), 409)
    problem_of(correct(here, first.json(), id=chosen, result={"judged_stops": 1}), 409)
    problem_of(correct(here, wrong, id=wrong["id"]), 409)
    problem_of(here.client.post(here.at + "exposures/", here.body(id=chosen, result={"judged_stops": 1})), 409)
    assert ExposureLog.objects.count() == 2
    check_cells(here.club)


def test_a_correction_is_a_whole_entry_with_a_reason(here: Any) -> None:
    wrong = here.log()
    client, at = here.client, f"{here.at}exposures/{wrong['id']}/corrections/"
    assert faults_in(client.post(at, here.body())) == {("/reason", "required")}
    missing = {("/camera", "required"), ("/paper", "required"), ("/exposure_time", "required")}
    assert missing <= faults_in(client.post(at, {"reason": " "}))
    assert faults_in(client.post(at, here.body(reason=""))) == {("/reason", "blank")}
    for mass in ("corrects", "corrected_by", "member", "club", "corrected_at"):
        assert faults_in(client.post(at, here.body(reason="x") | {mass: 1})) == {(f"/{mass}", "unknown_key")}
    assert ExposureLog.objects.count() == 1


def test_taking_logs_out_leaves_each_cell_as_its_own_logs_make_it(here: Any) -> None:
    """Out of the middle and off the ends, down to nothing, shared and not, of several grades."""
    shapes = [
        (time, shared, right) for time in (1, 8, 64, 512) for shared in (False, True) for right in (None, time * 1.5)
    ]
    logs = [
        ExposureLogFactory.create(
            spec=here.spec, paper=here.paper, member=here.member.user, exposure_time_s=time, shared=shared,
            right_time_s=right, result_stops=0.5 if right is None else None,
        )
        for time, shared, right in shapes
    ]  # fmt: skip
    check_cells(here.club)
    stamp = Pool.objects.get().stamp
    for log in (logs[0], logs[7], logs[5], logs[15]):
        ExposureLog.objects.filter(pk=log.pk).delete()
        take_out(log)
        assert Pool.objects.get().stamp != stamp
        check_cells(here.club)
    with transaction.atomic():
        ExposureLog.objects.all().delete()
        take_out(*logs)
    assert not EvidenceCell.objects.exists()


def test_many_kept_at_once_are_as_many_kept_one_by_one(here: Any) -> None:
    shapes = [(time, shared) for time in (0.25, 8, 64) for shared in (False, True)]
    logs = [
        ExposureLogFactory.create(
            spec=here.spec, paper=here.paper, member=here.member.user, exposure_time_s=time, shared=shared
        )
        for time, shared in shapes
    ]
    one_by_one = cells(here.club)
    EvidenceCell.objects.all().delete()
    keep(*logs)
    check_cells(here.club)
    assert cells(here.club).keys() == one_by_one.keys()
    keep(*logs)
    assert {key: sums[0] for key, sums in cells(here.club).items()} == dict.fromkeys(one_by_one, 6)
