"""The CSVs: everything in them, nothing in them that a spreadsheet would run, and an import understands them."""

import csv
import io
from typing import Any

import pytest

from clubs.models import Camera
from exposures.imports.sheets import read_sheet
from exposures.models import ExposureLog, Paper
from tests.bodies import CLUB
from tests.exposures.imports.conftest import Club
from tests.factories import ExposureLogFactory, MembershipFactory
from tests.problems import faults_in, problem_of


@pytest.fixture
def here(as_user: Any) -> Club:
    return Club(as_user)


def export(here: Club, what: str, client: Any = None) -> bytes:
    response = (client or here.client).get(here.at.replace("imports/", f"export/?what={what}"))
    assert response.status_code == 200, response.content
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    assert response["Content-Disposition"] == f'attachment; filename="{here.club.slug}-{what}.csv"'
    return b"".join(response.streaming_content)


def rows_of(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def log(here: Club, **more: Any) -> Any:
    body = CLUB["exposures/"] | {"paper": str(here.paper.id)} | more
    del body["id"]
    response = here.client.post(here.at.replace("imports/", "exposures/"), body)
    assert response.status_code == 201, response.content
    return response.json()


def test_the_log(here: Club) -> None:
    told = log(here)
    [row] = rows_of(export(here, "exposures"))
    assert (row["id"], row["camera"], row["paper"], row["note"]) == (told["id"], "T1", "Glasswort", told["note"])
    assert (row["exposure_time"], row["reading.ev"], row["result.judged_stops"]) == ("200 s", "11.0", "-0.5")
    assert (row["process.temperature"], row["place.latitude"], row["visibility"]) == ("68 °F", "52.1 deg", "shared")


def test_an_import_understands_what_was_exported(here: Club) -> None:
    """Every column by its heading, and nothing is left to ask."""
    log(here)
    log(here, result={"right_time": "6 min"}, process=None, place=None)
    data = export(here, "exposures")
    assert here.bring(data)["rows"]["known"] == 2
    ExposureLog.objects.all().delete()
    batch = here.bring(data)
    assert (batch["questions"], batch["rows"]["good"]) == ([], 2)
    here.apply(batch)
    first, second = ExposureLog.objects.order_by("number")
    assert (first.exposure_time_s, first.result_stops, first.shared) == (200.0, -0.5, True)
    assert (second.right_time_s, second.process, second.place_latitude) == (360.0, None, None)


def test_cameras_and_papers_come_in_again(here: Club) -> None:
    cameras, papers = export(here, "cameras"), export(here, "papers")
    Camera.objects.all().delete()
    Paper.objects.all().delete()
    done = here.apply(here.bring(cameras, kind="cameras"))
    assert done["rows"]["imported"] == 2
    camera = Camera.objects.get(code="T1")
    assert (camera.spec.film_plane["diameter_mm"], camera.spec.hole_diameter_mm) == (100.0, 0.35)
    assert here.apply(here.bring(papers, kind="papers"))["rows"]["imported"] == 1
    assert Paper.objects.get().nominal_exposure_index == 6


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@sum", '=HYPERLINK("http://creek.example")', "\t=1"])
def test_no_cell_is_a_formula(here: Club, text: str) -> None:
    Camera.objects.filter(code="T1").update(name=text)
    row = next(row for row in rows_of(export(here, "cameras")) if row["code"] == "T1")
    assert row["name"] == f"'{text}"
    [*_, kept] = [cells for cells in read_sheet(export(here, "cameras")).table if cells[0] == "T1"]
    assert kept[1] == f"'{text}"


def test_private_logs_are_their_authors(here: Club) -> None:
    log(here, visibility="private", note="secret")
    other = here.join("member")
    assert len(rows_of(export(here, "exposures"))) == 1
    assert rows_of(export(here, "exposures", other)) == []


def test_many_rows_cost_as_many_queries_as_few(here: Club, django_assert_num_queries: Any) -> None:
    spec, member = Camera.objects.get(code="T1").spec, MembershipFactory.create(club=here.club)
    for count in (2, 200):
        while ExposureLog.objects.count() < count:
            ExposureLogFactory.create(spec=spec, paper=here.paper, member=member.user)
        with django_assert_num_queries(2):
            assert len(rows_of(export(here, "exposures"))) == count


def test_what_must_be_said(here: Club) -> None:
    at = here.at.replace("imports/", "export/")
    assert faults_in(here.client.get(at)) == {("/what", "required")}
    assert faults_in(here.client.get(at + "?what=secrets")) == {("/what", "invalid_choice")}
    problem_of(here.join("guest").get(at + "?what=papers"), 403)
