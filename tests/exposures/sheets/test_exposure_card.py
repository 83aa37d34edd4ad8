"""The exposure card: its times against the recommendation, what it says of itself, and whom it refuses."""

import uuid
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from django.contrib.auth.models import AnonymousUser
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clubs.sheets.blocks import checked
from clubs.sheets.camera import SheetCamera, of_camera, of_design
from clubs.sheets.documents import document
from clubs.sheets.press import pdf
from exposures.pooled import pooled
from exposures.reciprocity.recommendation import LONGEST_SAID_S
from exposures.sheets.exposure_card import LIGHT_NOTE, exposure_card, light_note, of_paper, registered_spec
from exposures.sheets.paper_times import PaperTimes
from exposures.workshops.tables import LIGHTS
from optics.core.faults import Impossible
from optics.core.say import say_time
from pinpool.plugins.registry import call, contributions
from tests.factories import AccountFactory, CameraSpecFactory, DesignFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in

MADE = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)


def sheet_camera(here: Any) -> SheetCamera:
    return of_camera(here.spec.camera, wall_thickness_mm=0.3, url="https://club.example/T1")


def tables(section: dict[str, Any]) -> list[dict[str, Any]]:
    return [block for block in section["blocks"] if block["kind"] == "table"]


def texts(section: dict[str, Any]) -> str:
    """All that a section says, in one text."""
    return str([list(block.values())[1:] for block in section["blocks"]])


def card(here: Any, camera: SheetCamera | None = None, *papers: Any) -> dict[str, Any]:
    camera = camera or sheet_camera(here)
    return exposure_card(camera=camera, club=here.club, papers=papers or (here.paper,), made_at=MADE)


# ---------------------------------------------------------------------------------------------- against elsewhere


def asked_by_a_stranger_to_the_log(here: Any, as_user: Any, reading: float) -> Any:
    """The recommendation to a member whom the log does not know."""
    client = as_user(MembershipFactory.create(club=here.club).user)
    body = {"camera": "T1", "paper": str(here.paper.id), "reading": {"ev": reading}}
    return client.post(here.at + "recommendation/", body).json()


@pytest.mark.parametrize("logs", ["season", "none", "data sheet", "vague hole", "slow paper"])
def test_the_times_are_those_that_are_recommended(here: Any, as_user: Any, logs: str) -> None:
    """To whoever has no log of their own, at every light of the card."""
    if logs in {"season", "vague hole"}:
        here.season(scatter=0.3)
    if logs == "vague hole":
        CameraSpecFactory.create(camera=here.spec.camera, number=2, hole_uncertainty_mm=0.08)
        here.spec.camera = type(here.spec.camera).objects.get(pk=here.spec.camera_id)
    if logs == "data sheet":
        rows = [[1.0, 1.0], [10.0, 20.0], [100.0, 400.0]]
        here.paper.published_rows_s, here.paper.published_source = rows, "An invented sheet"
        here.paper.save()
    if logs == "slow paper":  # days in the shade
        here.paper.nominal_exposure_index = 0.2
        here.paper.save()
    camera = sheet_camera(here)
    times = PaperTimes(pooled(here.club), here.paper, camera=f"spec {here.spec.camera.spec.pk}")
    table = tables(card(here, camera))[0]["rows"]
    hole_stops = 2 / np.log(2) * camera.hole.uncertainty_mm / camera.hole.diameter_mm
    for (reading, light), row in zip(LIGHTS, table, strict=True):
        told = asked_by_a_stranger_to_the_log(here, as_user, reading)
        found = times.at(float(reading), f_number=camera.f_number, hole_stops=hole_stops)
        low, high = (told["interval"][end] and told["interval"][end]["value"] for end in ("low", "high"))
        assert found.time_s == pytest.approx(told["exposure_time"]["value"], rel=1e-9)
        assert found.ninety[0] == pytest.approx(low, rel=1e-9)
        assert found.ninety[1] > LONGEST_SAID_S if high is None else found.ninety[1] == pytest.approx(high, rel=1e-9)
        assert row[:2] == [str(reading), light]
        assert row[2].removesuffix(" †").removesuffix(" *") == told["exposure_time"]["text"]
        flags = {flag["code"] for flag in told["flags"]}
        assert ("†" in row[2]) == ("longer_than_a_day" in flags)
        if logs != "data sheet":
            assert ("*" in row[2]) == bool({"extrapolating", "no_logs"} & flags)
    assert ("†" in table[-1][2]) == (logs == "slow paper")
    note, given = tables(card(here, camera))[0]["note"], "".join(row[2] for row in table)
    assert [mark in note for mark in "*†"] == [mark in given for mark in "*†"]


def test_only_marks_that_are_there_are_explained() -> None:
    notes = [
        light_note({"rows": [["15", "sun", "4 s", "–"], ["12", "shade", said, "–"]]}) for said in ("30 s", "2 d *")
    ]
    assert ["*" in note for note in notes] == [False, True]
    assert not any("†" in note for note in notes)
    assert all(note.startswith(LIGHT_NOTE) for note in notes)


def test_a_data_sheets_times_are_marked_beyond_its_table(here: Any) -> None:
    here.paper.published_rows_s, here.paper.published_source = [[30.0, 60.0], [300.0, 900.0]], "An invented sheet"
    here.paper.save()
    camera = sheet_camera(here)
    for reading, _, said, _ in tables(card(here))[0]["rows"]:
        indicated = camera.f_number**2 / (2 ** float(reading) * 0.06)
        assert ("*" in said) == (not 30 <= indicated <= 300), said
    assert "the times of its data sheet (An invented sheet), at an index of 6" in texts(card(here))


def test_intervals_are_said_as_people_say_times(here: Any) -> None:
    here.season(scatter=0.3)
    times = PaperTimes(pooled(here.club), here.paper)
    for reading, _, said, ninety in tables(card(here, of_design(DesignFactory.create(club=here.club), url="x")))[0][
        "rows"
    ]:
        camera = of_design(DesignFactory.create(club=here.club), url="x")
        found = times.at(float(reading), f_number=camera.f_number, hole_stops=0.0)
        assert ninety == f"{say_time(found.ninety[0])} to {say_time(found.ninety[1])}"
        assert said.startswith(say_time(found.time_s or 0.0))


# ---------------------------------------------------------------------------------------------- what it says


def test_a_registered_camera_has_its_own_offset_and_a_design_none(here: Any) -> None:
    """The hole of T1 passes a stop less than its f-number says, those of three others what theirs say."""
    here.season()
    for _ in range(40):
        here.log(exposure_time="8 min", reading={"ev": 12}, result={"judged_stops": -1})
    registered, design = sheet_camera(here), of_design(DesignFactory.create(club=here.club), url="x")
    own = card(here, registered)
    assert "light than its f-number says" in texts(own)
    assert "the times allow for it" in texts(own)
    for unknown in (
        card(here, design),
        card(here, of_design(DesignFactory.create(club=here.club), url="x", code="T1")),
    ):
        assert "not built or not logged yet" in texts(unknown)
    first = [tables(each)[0]["rows"][0][2] for each in (own, card(here, design))]
    assert first[0] != first[1]


def test_a_camera_of_the_same_code_elsewhere_is_another(here: Any) -> None:
    CameraSpecFactory.create(camera__code="T2")
    for spec in (here.spec, CameraSpecFactory.create(camera__code="T1")):
        assert registered_spec(of_camera(spec.camera, wall_thickness_mm=0.3, url="")) == spec.pk
    again = CameraSpecFactory.create(camera=here.spec.camera, number=2)
    camera = type(again.camera).objects.get(pk=again.camera_id)
    assert registered_spec(of_camera(camera, wall_thickness_mm=0.3, url="")) == again.pk


def test_nobody_is_named(here: Any) -> None:
    here.season()
    members = [log.member.get_username() for log in here.club.exposures.select_related("member")]
    said = texts(card(here))
    assert "60 logs by 4 members with 4 cameras, from 5 s to 50 min: an index of 8.5, an exponent of 1.30" in said
    assert len(set(members)) == 4
    assert not any(name in said for name in members)
    assert "2026-05-01" in said


def test_without_logs_the_card_says_so(here: Any) -> None:
    said = texts(card(here))
    assert "Nobody has logged Glasswort: expose a test strip first." in said
    assert "are assumed" in said
    assert {row[3] for row in tables(card(here))[0]["rows"]} == {"no telling"}
    here.season()
    other = PaperFactory.create(club=here.club, name="Samphire")
    assert "Nobody has logged Samphire: expose" in texts(card(here, None, here.paper, other))
    assert "no logs; other papers' put it at" in of_paper(PaperTimes(pooled(here.club), other))


def test_two_papers_two_tables_one_fold(here: Any) -> None:
    papers = [here.paper, PaperFactory.create(club=here.club, name="Samphire")]
    found = card(here, None, *papers)
    assert [block["kind"] for block in found["blocks"]].count("fold") == 1
    assert len(tables(found)) == 2
    assert all(len(table["rows"]) == len(LIGHTS) for table in tables(found))
    assert "never look at the sun" in texts(found).lower()
    assert checked([found]) == [found]


def test_a_light_beyond_reckoning_is_said_so(here: Any) -> None:
    here.season()
    here.paper.nominal_exposure_index = 0.001
    here.paper.save()
    design = of_design(DesignFactory.create(club=here.club, hole_diameter_mm=0.0006), url="x")
    said = [row[2] for row in tables(card(here, design))[0]["rows"]]
    assert "no time would do" in said


# ---------------------------------------------------------------------------------------------- plug-in, limits


def contributed(here: Any, actor: Any, papers: str) -> Any:
    values = {"camera": sheet_camera(here), "actor": actor, "papers": papers}
    return call("sheet_sections", "exposure_card", refusals=(Impossible,), **values)


def test_it_is_contributed_to_sheets(here: Any) -> None:
    other = PaperFactory.create(club=here.club)
    [parameter] = contributions("sheet_sections")["exposure_card"].parameters
    assert (parameter.name, parameter.kind) == ("papers", "text")
    for actor in (here.member.user, here.member):
        found = contributed(here, actor, f" {other.id},{here.paper.id} ")
        assert found["title"] == f"Exposure card of {here.spec.camera.name}"
        shown = [block["text"] for block in found["blocks"] if block["kind"] == "text"]
        assert shown[:2] == [f"On {other.name}", f"On {here.paper.name}"]


def test_papers_that_one_may_not_see(here: Any) -> None:
    elsewhere, own = PaperFactory.create(), str(here.paper.id)
    strangers = (AnonymousUser(), AccountFactory.create(), MembershipFactory.create(club=elsewhere.club).user)
    for actor, papers in (
        *((stranger, own) for stranger in strangers),
        (here.member.user, str(elsewhere.id)),
        (here.member.user, f"{own},{uuid.uuid4()}"),
        (here.member.user, "' OR 1=1 --"[:4]),
    ):
        with pytest.raises(Impossible) as refused:
            contributed(here, actor, papers)
        assert (refused.value.code, refused.value.field) == ("unknown_paper", "papers")
    for papers in ("", " , ", ",".join(str(PaperFactory.create(club=here.club).id) for _ in range(3))):
        with pytest.raises(Impossible) as refused:
            contributed(here, here.member.user, papers)
        assert refused.value.code == "papers_count"


def test_it_is_printed_on_a_cameras_sheet(here: Any) -> None:
    """Asked for as any contributed section is; a paper of another club is the fault of its key."""
    here.season()
    for paper, status in ((here.paper, 201), (PaperFactory.create(), 422)):
        section = {"section": "exposure_card", "papers": str(paper.id)}
        body = {"kind": "camera_spec", "wall_thickness": "0.3 mm", "sections": [section]}
        response = here.client.post(here.at + "cameras/T1/sheets/", body)
        assert response.status_code == status, response.content
        if status == 422:
            assert faults_in(response, 422) == {("/sections/0/papers", "unknown_paper")}
            continue
        [found] = [each for each in response.json()["data"]["sections"] if each["title"].startswith("Exposure card")]
        assert found["blocks"][0] == card(here)["blocks"][0]
        assert tables(found) == tables(card(here))


def test_a_card_asks_the_database_little(here: Any) -> None:
    """One fit for both papers and every light."""
    here.season()
    papers = ",".join(str(paper.id) for paper in (here.paper, PaperFactory.create(club=here.club)))
    camera = sheet_camera(here)
    pooled(here.club)
    with CaptureQueriesContext(connection) as asked:
        call("sheet_sections", "exposure_card", camera=camera, actor=here.member.user, papers=papers)
    assert len(asked) <= 9, [query["sql"][:100] for query in asked]


HOSTILE = [
    '#import "x"',
    "$a^2$ *b* _c_ `d`",
    "<script>alert(1)</script>",
    "\u202egnp.exe",
    "W" * 100,
    "日本語の紙",
    "\x00\x07",
]


def test_hostile_names_are_only_text(here: Any) -> None:
    """The whole card is set whatever its camera and paper are called."""
    sections = []
    for name in HOSTILE:
        here.paper.name = name
        design = DesignFactory.build(club=here.club, name=name)
        design.created_at = MADE
        sections.append(card(here, of_design(design, url="x", code=name[:12] or "x")))
    whole = {"kind": "exposure_card", "subject": HOSTILE[2], "made_at": MADE.isoformat()}
    assert pdf(document(title=HOSTILE[1], sections=sections, **whole)).startswith(b"%PDF")
