"""A data sheet's table on a film: it stands in until the club has logs of its own, and is never one of them."""

import re
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from exposures import published
from exposures.models import EvidenceCell, ExposureLog, Paper
from exposures.published import rows_of
from exposures.reciprocity.design import ASSUMED
from exposures.web.papers import law_said
from optics.core.faults import Impossible
from tests.exposures.conftest import Here
from tests.factories import ExposureLogFactory
from tests.problems import faults_in

#: Invented, as is the film.
ROWS = [["1 s", "1 s"], ["10 s", "25 s"], ["100 s", "8 min"]]
FILM = {
    "name": "Tideline Ortho", "family": "ortho film", "nominal_exposure_index": 25,
    "published": {"rows": ROWS, "source": "Tideline data sheet (invented), 2026, p. 2"},
}  # fmt: skip


@pytest.fixture
def film(here: Any) -> Any:
    response = here.client.post(here.at + "papers/", FILM)
    assert response.status_code == 201, response.content
    return response.json()


def recommend(here: Any, film: Any, ev: float) -> Any:
    return here.recommend(paper=film["id"], reading={"ev": ev})


def test_it_is_kept_and_shown(here: Any, film: Any) -> None:
    shown = film["published"]
    assert [[time["text"] for time in row] for row in shown["rows"]] == [
        ["1 s", "1 s"], ["10 s", "25 s"], ["1 min 40 s", "8 min"],
    ]  # fmt: skip
    assert shown["source"] == FILM["published"]["source"]
    assert Paper.objects.get(pk=film["id"]).published_typed == ROWS
    assert here.client.get(here.at + "papers/").json()["results"][1]["published"] == shown


def test_without_logs_its_rows_are_the_answer(here: Any, film: Any) -> None:
    """At an indicated 10 s the sheet says 25 s; below its first row nothing is corrected."""
    ev = float(np.log2(here.spec.f_number**2 / (10 * 0.25)))
    found = recommend(here, film, ev)
    assert found["indicated_time"]["value"] == pytest.approx(10)
    assert found["exposure_time"]["value"] == pytest.approx(25)
    assert [flag["code"] for flag in found["flags"]] == ["published_law"]
    because = " ".join(found["because"])
    assert FILM["published"]["source"] in because
    assert "makes that 25 s" in because
    low, high = found["interval"]["low"]["value"], found["interval"]["high"]["value"]
    inner = found["interval_50"]
    assert low < inner["low"]["value"] < 25 < inner["high"]["value"] < high
    assert [step["stops"] for step in found["test_strip_plan"]] == pytest.approx([-2, -1, 0, 1, 2])
    assert found["test_strip"][2]["value"] == pytest.approx(25)
    assert recommend(here, film, ev + 5)["exposure_time"]["value"] == pytest.approx(10 / 32)


def test_its_interval_is_what_cameras_members_and_materials_differ(here: Any, film: Any) -> None:
    """No logs at all: Student's t of one degree of freedom on the assumed deviations, carried through the table."""
    ev = float(np.log2(here.spec.f_number**2 / (0.1 * 0.25)))  # far below the first row, where the law is plain
    found = recommend(here, film, ev)
    error = np.sqrt(ASSUMED["speed"] ** 2 + ASSUMED["camera"] ** 2 + ASSUMED["member"] ** 2)
    half = found["interval_50"]
    assert np.log2(half["high"]["value"] / 0.1) == pytest.approx(error)  # t(0.75, 1) = 1
    assert np.log2(half["low"]["value"] / 0.1) == pytest.approx(-error)


def test_the_stateless_endpoint_goes_by_it_too(here: Any, film: Any) -> None:
    ev = float(np.log2(here.spec.f_number**2 / (10 * 0.25)))
    body = {"reading": {"ev": ev}, "f_number": here.spec.f_number, "exposure_index": 25}
    answer = here.client.post("/api/v1/optics/exposure/", body | {"reciprocity": {"paper": film["id"]}}).json()
    assert answer["exposure_time"]["value"] == pytest.approx(25)
    assert [flag["code"] for flag in answer["flags"]] == ["published_law"]


def test_it_is_never_a_log(here: Any, film: Any) -> None:
    assert not EvidenceCell.objects.exists()
    [model] = [here.client.get(here.at + "reciprocity/model/").json()]
    assert model["evidence"]["logs"] == 0
    known = {row["paper"]["name"]: row for row in here.client.get(here.at + "reciprocity/").json()["results"]}
    assert known["Tideline Ortho"]["evidence"]["logs"] == 0
    assert known["Tideline Ortho"]["exponent"] == 1.0


def test_one_log_goes_before_it(here: Any, film: Any) -> None:
    paper = Paper.objects.get(pk=film["id"])
    ExposureLogFactory.create(spec=here.spec, paper=paper, exposure_time_s=25, indicated_time_s=10)
    ev = float(np.log2(here.spec.f_number**2 / (10 * 0.25)))
    found = recommend(here, film, ev)
    assert "published_law" not in {flag["code"] for flag in found["flags"]}
    assert "Its data sheet would give 25 s; the club's logs go before it." in found["because"]
    assert ExposureLog.objects.count() == 1


@pytest.mark.parametrize(
    ("published", "status", "pointer"),
    [
        ({"rows": ROWS}, 400, "/published/source"),
        ({"source": "x"}, 400, "/published/rows"),
        ({"rows": ROWS[:1], "source": "x"}, 400, "/published/rows"),
        ({"rows": [["1 s", "1 s"], ["10 s", 25]], "source": "x"}, 400, "/published/rows/1/1"),
        ({"rows": [["10 s", "25 s"], ["1 s", "1 s"]], "source": "x"}, 422, "/published/rows"),
        ({"rows": [["1 s", "1 s"], ["10 s", "5 s"]], "source": "x"}, 422, "/published/rows"),
        ({"rows": ROWS, "source": "x", "colour": 1}, 400, "/published/colour"),
        ("sheet", 400, "/published"),
    ],
)
def test_tables_that_are_none(here: Any, published: Any, status: int, pointer: str) -> None:
    response = here.client.post(here.at + "papers/", FILM | {"published": published})
    assert pointer in {at for at, _ in faults_in(response, status)}
    assert Paper.objects.count() == 1


def test_a_paper_may_say_that_it_has_none(here: Any) -> None:
    response = here.client.post(here.at + "papers/", FILM | {"published": None})
    assert response.json()["published"] is None


# ----------------------------------------------------------------------------------------------------- as a law

#: Invented: no failure up to 2 s, and a power of 1.4 above.
POWER = {"law": "power", "exponent": 1.4, "from": "2 s"}
PUBLISHED_POWER = {"reciprocity": POWER, "source": "Tideline data sheet (invented), 2027, p. 1"}


def by_power(indicated_s: Any) -> Any:
    return np.where(indicated_s > 2, 2 * (indicated_s / 2) ** 1.4, indicated_s)


@pytest.fixture
def lawful(here: Any) -> Any:
    response = here.client.post(here.at + "papers/", FILM | {"published": PUBLISHED_POWER})
    assert response.status_code == 201, response.content
    return response.json()


def test_a_law_is_kept_with_its_times(here: Any, lawful: Any) -> None:
    shown = lawful["published"]
    assert (shown["reciprocity"], shown["source"]) == (POWER, PUBLISHED_POWER["source"])
    rows = np.log2([[time["value"] for time in row] for row in shown["rows"]])
    assert len(rows) < 30
    x = np.linspace(-7, 21, 4001)
    off = np.interp(x, *rows.T) - np.log2(by_power(np.exp2(x)))
    assert np.abs(off).max() < 0.01, "straight lines in log-log, as a phone reads them"
    assert here.client.get(f"{here.at}papers/{lawful['id']}/").json()["published"] == shown


def test_what_was_left_out_is_kept_too(here: Here) -> None:
    """A later version of the law may take another default; these rows go by this one."""
    law = {"law": "power", "exponent": 1.4}
    made = here.client.post(here.at + "papers/", FILM | {"published": PUBLISHED_POWER | {"reciprocity": law}}).json()
    assert made["published"]["reciprocity"] == law | {"from": "1 s"}
    assert law_said(made["published"]["reciprocity"]) == "power law: exponent 1.4, from 1 s"


@pytest.mark.parametrize("time_s", [0.5, 2.5, 77, 5000])
def test_a_law_gives_the_time_without_logs(here: Any, lawful: Any, time_s: float) -> None:
    ev = float(np.log2(here.spec.f_number**2 / (time_s * 0.25)))
    found = recommend(here, lawful, ev)
    assert found["exposure_time"]["value"] == pytest.approx(by_power(time_s), rel=0.002)
    assert "published_law" in {flag["code"] for flag in found["flags"]}


def test_a_law_is_in_the_trail_the_archive_and_the_kit(here: Any, lawful: Any) -> None:
    here.member.role = "keeper"
    here.member.save()
    told = here.client.get(here.at + "trail/").json()["results"][0]["after"]["published"]
    assert told == PUBLISHED_POWER
    [paper] = [each for each in here.client.get(here.at + "export/archive/").json()["papers"]
               if each["name"] == FILM["name"]]  # fmt: skip
    assert paper["published_typed"] == POWER
    rows = next(
        each["rows"]
        for each in here.client.get(here.at + "field-kit/").json()["times"]
        if each["paper"] == lawful["id"]
    )
    x, y, *_ = np.log2(rows).T
    assert np.interp(np.log2(300), x, y) == pytest.approx(np.log2(by_power(300)), abs=0.02)


@pytest.mark.parametrize(
    ("published", "status", "fault"),
    [
        ({"reciprocity": POWER, "rows": ROWS}, 400, ("/published/rows", "ambiguous")),
        ({}, 400, ("/published/rows", "required")),
        ({"reciprocity": {"law": "cosine"}}, 400, ("/published/reciprocity/law", "invalid_choice")),
        ({"reciprocity": {"law": "paper", "paper": "x"}}, 400, ("/published/reciprocity/law", "invalid_choice")),
        ({"reciprocity": POWER | {"exponent": 9}}, 400, ("/published/reciprocity/exponent", "out_of_range")),
    ],
)
def test_laws_that_cannot_be(here: Any, published: Any, status: int, fault: Any) -> None:
    body = FILM | {"published": {"source": "invented"} | published}
    assert faults_in(here.client.post(here.at + "papers/", body), status) == {fault}


@pytest.mark.parametrize(
    ("correct", "code", "told"),
    [
        (lambda t: t + np.sqrt(np.maximum(t - 2, 0)), "law_steep", "Just past 2 s this law rises faster than"),
        (lambda t: t**6 * 1e20, "law_steep", "Just past 1/125 s this law rises faster"),
        (lambda t: np.where(t > 60, 2 * t, t), "law_jumps", "At 1 min this law jumps by a factor of 2: let it rise"),
        (lambda t: np.minimum(t, 9), "law_order", "asks for no longer exposure: let it rise all along"),
        (lambda t: t / 2, "law_shortens", "At 1/125 s this law asks for less than the indicated time"),
        (lambda t: t * 2 ** (0.1 + 0.1 * np.sin(9 * np.log2(t))), "law_rough", "at most 400 are kept"),
    ],
)  # fmt: skip
def test_a_law_unlike_any_sheet_is_refused_where_it_fails(correct: Any, code: str, told: str) -> None:
    with pytest.raises(Impossible, match=re.escape(told)) as refused:
        rows_of(SimpleNamespace(correct=correct))
    assert refused.value.code == code


def test_its_refusal_points_at_the_choice_of_the_law(here: Here, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(published, "MOST_ROWS", 3)
    response = here.client.post(here.at + "papers/", FILM | {"published": PUBLISHED_POWER})
    assert faults_in(response, 422) == {("/published/reciprocity/law", "law_rough")}


def test_a_table_said_as_a_law_is_a_table(here: Any) -> None:
    published = {"reciprocity": {"law": "table", "rows": ROWS}, "source": "invented"}
    made = here.client.post(here.at + "papers/", FILM | {"published": published}).json()
    assert made["published"]["reciprocity"] is None
    assert [row[1]["value"] for row in made["published"]["rows"]] == [1, 25, 480]
