"""Many entries at once: each is told what came of it, all good ones are stored, and the cost stays low."""

import json
import uuid
from typing import Any

import pytest
from django.db import IntegrityError, connection
from django.test.utils import CaptureQueriesContext

from clubs.models import TrailEntry
from exposures import bulk
from exposures.models import EvidenceCell, ExposureLog
from tests.exposures.test_corrections import check_cells
from tests.factories import CameraSpecFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in, problem_of


def send(here: Any, entries: Any, status: int = 200) -> Any:
    response = here.client.post(here.at + "exposures/bulk/", entries)
    assert response.status_code == status, response.content
    return response.json()


def outcomes(answer: Any) -> list[str]:
    return [each["outcome"] for each in answer["results"]]


def faults(answer: Any) -> set[tuple[str, str]]:
    return {(fault["pointer"], fault["code"]) for each in answer["results"] for fault in each["errors"]}


def test_good_entries_are_stored_whatever_the_others_are(here: Any) -> None:
    known = here.log(id=str(uuid.uuid4()), note="before")
    chosen = str(uuid.uuid4())
    answer = send(here, [
        here.body(id=chosen, result={"judged_stops": 0.5}, shared=True),
        here.body(exposure_time="4", result={"judged_stops": "+"}),
        here.body(id=known["id"], note="before"),
        here.body(id=known["id"], note="another"),
        here.body(camera="NONE", paper=str(uuid.uuid4())),
        here.body(camera="t1"),
        "windy",
        here.body() | {"member": "walker", "shared": True, "visibility": "private"},
    ])  # fmt: skip
    assert outcomes(answer) == ["created", "refused", "known", "refused", "refused", "created", "refused", "refused"]
    assert {name: answer[name] for name in ("created", "known", "refused")} == {"created": 2, "known": 1, "refused": 5}
    assert faults(answer) == {
        ("/1/exposure_time", "unit_missing"), ("/1/result/judged_stops", "not_a_number"), ("/3/id", "conflict"),
        ("/4/camera", "unknown_camera"), ("/4/paper", "unknown_paper"), ("/6", "invalid"), ("/7/member", "unknown_key"),
    }  # fmt: skip
    assert answer["results"][0] == {"outcome": "created", "id": chosen, "errors": []}
    assert answer["results"][1]["id"] is None
    stored = list(ExposureLog.objects.order_by("number"))
    assert [str(log.id) for log in stored] == [known["id"], chosen, answer["results"][5]["id"]]
    single = here.log(result={"judged_stops": 0.5}, shared=True)
    many = here.client.get(f"{here.at}exposures/{chosen}/").json()
    assert many == single | {"id": chosen}
    check_cells(here.club)


def test_sent_again_it_is_all_known(here: Any) -> None:
    entries = [here.body(id=str(uuid.uuid4()), result={"judged_stops": n}, note=str(n)) for n in range(3)]
    assert outcomes(send(here, entries)) == ["created"] * 3
    assert outcomes(send(here, entries)) == ["known"] * 3
    assert EvidenceCell.objects.get().logs == 3


def test_the_same_id_twice_in_one_list(here: Any) -> None:
    one = here.body(id=str(uuid.uuid4()))
    answer = send(here, [one, one, one | {"note": "another"}])
    assert outcomes(answer) == ["created", "known", "refused"]
    assert faults(answer) == {("/2/id", "conflict")}


def test_another_clubs_ids_tell_nothing(here: Any) -> None:
    elsewhere = CameraSpecFactory.create(camera__code="ELSEWHERE")
    paper = PaperFactory.create(club=elsewhere.camera.club)
    answer = send(here, [here.body(camera="ELSEWHERE"), here.body(paper=str(paper.pk))])
    assert faults(answer) == {("/0/camera", "unknown_camera"), ("/1/paper", "unknown_paper")}


@pytest.mark.parametrize(
    ("entries", "fault"),
    [([], ("", "empty")), ({}, ("", "not_a_list")), ("x", ("", "not_a_list")), (None, ("", "null")),
     ([{}] * 501, ("", "max_length"))],
    ids=lambda value: str(value)[:20],
)  # fmt: skip
def test_lists_that_are_none(here: Any, entries: Any, fault: Any) -> None:
    response = here.client.generic(
        "POST", here.at + "exposures/bulk/", json.dumps(entries), content_type="application/json"
    )
    assert faults_in(response) == {fault}


def test_guests_log_nothing(here: Any, as_user: Any) -> None:
    guest = as_user(MembershipFactory.create(club=here.club, role="guest").user)
    problem_of(guest.post(here.at + "exposures/bulk/", [here.body()]), 403)


def test_one_trail_entry_for_all_but_private_ones(here: Any) -> None:
    answer = send(here, [here.body(), here.body(visibility="private"), here.body()])
    told = TrailEntry.objects.get()
    ids = [each["id"] for each in answer["results"]]
    assert (told.action, told.subject, told.after) == ("log_exposure", "2 exposures", {"ids": [ids[0], ids[2]]})


def test_an_entry_stored_by_somebody_else_in_between(here: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The id is looked for, not there, and there when it is to be written: then all is tried again."""
    entries, real = [here.body(id=str(uuid.uuid4())), here.body()], bulk.keep
    calls = []

    def too_late(*logs: Any) -> None:
        real(*logs)
        calls.append(len(logs))
        if len(calls) == 1:
            raise IntegrityError

    monkeypatch.setattr(bulk, "keep", too_late)
    assert outcomes(send(here, entries)) == ["created", "created"]
    assert (calls, ExposureLog.objects.count()) == ([2, 2], 2)


def test_five_hundred_entries_cost_little_more_than_ten(here: Any) -> None:
    """Statements grow with the cells, and where one holds only so many values, with a small share of the rows."""
    costs = {}
    for count in (10, 100, 500):
        entries = [here.body(result={"judged_stops": n / 100}) for n in range(count)]
        with CaptureQueriesContext(connection) as queries:
            assert send(here, entries)["created"] == count
        costs[count] = len(queries)
    assert costs[10] <= 18
    assert costs[500] - costs[100] <= 400 / 15
    check_cells(here.club)
