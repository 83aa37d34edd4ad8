"""The sheets of a workshop: every place once with its own code, times for its hole, and nobody else's to read."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection
from django.test import override_settings
from django.test.utils import CaptureQueriesContext

from clubs.models import IssuedSheet
from clubs.sheets.camera import of_design
from clubs.sheets.of_cameras import KINDS
from clubs.sheets.press import pdf
from exposures.pooled import pooled
from exposures.sheets.paper_times import PaperTimes
from exposures.sheets.place_sheets import planned_card
from exposures.workshops.codes import shown_code
from exposures.workshops.tables import LIGHTS
from optics import contributed
from tests.clubs.sheets.printed import text_of
from tests.factories import (
    CameraSpecFactory,
    DesignFactory,
    ExposureLogFactory,
    MembershipFactory,
    PlaceFactory,
    WorkshopFactory,
)
from tests.problems import faults_in, problem_of

PROCESS = {"time_s": 90.0, "dilution": "1+9", "volume_ml": 500.0, "method": "tray", "typed": {}}
HOSTILE = ['#import "x"', "$a^2$ *b* _c_ `d`", "<script>alert(1)</script>", "\u202egnp.exe", "W" * 60, "日本語の紙"]


@pytest.fixture
def workshop(here: Any) -> Any:
    design = DesignFactory.create(club=here.club)
    facts = {"design": design, "paper": here.paper, "process": PROCESS, "stations": 2}
    return WorkshopFactory.create(club=here.club, **facts)


def seated(workshop: Any, count: int, **facts: Any) -> list[Any]:
    return [PlaceFactory.create(workshop=workshop, number=number, **facts) for number in range(1, count + 1)]


def printed(here: Any, workshop: Any, status: int = 201, **body: Any) -> Any:
    body = {"kind": "workshop_pack"} | body
    response = here.client.post(f"{here.at}workshops/{workshop.pk}/sheets/", body)
    assert response.status_code == status, response.content
    return response


def sections_of(response: Any) -> list[dict[str, Any]]:
    sheet = IssuedSheet.objects.get(pk=response.json()["id"])
    sections: list[dict[str, Any]] = sheet.data["sections"]
    return sections


def blocks(sections: list[dict[str, Any]], kind: str) -> Iterator[dict[str, Any]]:
    return (block for section in sections for block in section["blocks"] if block["kind"] == kind)


# ------------------------------------------------------------------------------------------------ the pack


def test_every_place_once_with_its_own_code(here: Any, workshop: Any) -> None:
    places = seated(workshop, 7)
    sections = sections_of(printed(here, workshop))
    titles = [section["title"] for section in sections]
    for place in places:
        assert titles.count(f"Place {place.number}") == 1
        sheet = sections[titles.index(f"Place {place.number}")]
        assert [fact for facts in blocks([sheet], "facts") for fact in facts["rows"] if fact[0] == "Code"] == [
            ["Code", shown_code(place.code)]
        ]
        assert [code["text"] for code in blocks([sheet], "code")] == [f"http://testserver/place/{place.code}/"]
        assert not any(other.code in str(sheet) for other in places if other is not place)
    [table] = blocks([sections[titles.index("Places and codes")]], "table")
    assert [[row[0].strip(), row[1]] for row in table["rows"]] == [
        [str(place.number), shown_code(place.code)] for place in places
    ]
    cards = [title for title in titles if title.startswith("Exposure card of")]
    assert len(cards) == 7
    assert titles.count("Darkroom card") == titles.count("Order of the day") == titles.count("To bring") == 1


def test_the_code_to_scan_is_the_sites_own_page(here: Any, workshop: Any) -> None:
    [place] = seated(workshop, 1)
    with override_settings(PINPOOL={"PLACE_PAGE": "https://club.example/place/{code}"}):
        sections = sections_of(printed(here, workshop))
    assert "https://club.example/place/" + place.code in [code["text"] for code in blocks(sections, "code")]


def test_a_withdrawn_code_is_not_printed(here: Any, workshop: Any) -> None:
    _, gone = seated(workshop, 2)
    gone.withdrawn_at = datetime(2026, 5, 1, tzinfo=UTC)
    gone.save()
    sections = sections_of(printed(here, workshop))
    assert gone.code not in str(sections)
    assert shown_code(gone.code) not in str(sections)
    [sheet] = [section for section in sections if section["title"] == "Place 2"]
    assert "withdrawn" in str(sheet)


@pytest.mark.parametrize("often", ["once", "each", "none"])
@pytest.mark.parametrize("kind", list(KINDS))
def test_what_is_the_same_for_all_is_printed_as_often_as_asked(here: Any, workshop: Any, kind: str, often: str) -> None:
    """Every kind of sheet of the camera as designed, all its sections together."""
    seated(workshop, 3)
    _, own = KINDS[kind]
    wanted = [section["title"] for section in own(of_design(workshop.design, url=""), "a4", None)]
    asked: dict[str, Any] = dict.fromkeys(KINDS, "none") | {kind: often}
    titles = [section["title"] for section in sections_of(printed(here, workshop, **asked))]
    assert wanted
    for title in wanted:
        assert titles.count(title) == {"once": 1, "each": 3, "none": 0}[often] * wanted.count(title)


def test_the_cards_times_are_the_papers(here: Any, workshop: Any) -> None:
    """Planned hole in the middle column, a third of a stop of light between columns: t = N²/…, N by the hole."""
    here.season(scatter=0.2)
    times = PaperTimes(pooled(here.club), here.paper)
    camera = of_design(workshop.design, url="")
    made = planned_card(camera=camera, times=times, made_at=datetime(2026, 5, 1, tzinfo=UTC))
    planned, beside = blocks([made], "table")
    assert [row[4] for row in beside["rows"]] == [row[2] for row in planned["rows"]]
    for column, thirds in enumerate((-3, -2, -1, 0, 1, 2, 3), 1):
        diameter = 0.35 * 2 ** (thirds / 6)
        assert beside["columns"][column] == f"{diameter:.3g} mm f/{workshop.design.focal_length_mm / diameter:.0f}"
        for (reading, _), row in zip(LIGHTS, beside["rows"], strict=True):
            f_number = workshop.design.focal_length_mm / diameter
            assert row[column] == times.at(float(reading), f_number=f_number, hole_stops=0.0).said


def test_a_pack_is_for_leaders_alone(here: Any, as_user: Any, workshop: Any) -> None:
    seated(workshop, 1)
    at = f"{here.at}sheets/{printed(here, workshop).json()['id']}/"
    member = as_user(MembershipFactory.create(club=here.club).user)
    guest = as_user(MembershipFactory.create(club=here.club, role="guest").user)
    assert here.client.get(at).status_code == 200
    problem_of(member.get(at), 404)
    problem_of(member.get(at + "pdf/"), 404)
    problem_of(member.post(f"{here.at}workshops/{workshop.pk}/sheets/", {"kind": "darkroom_card"}), 403)
    card = f"{here.at}sheets/{printed(here, workshop, kind='darkroom_card').json()['id']}/"
    assert guest.get(card).status_code == 200


def test_what_is_issued_can_be_set(here: Any, workshop: Any) -> None:
    seated(workshop, 2)
    issued = printed(here, workshop)
    assert issued.headers["ETag"] == f'"{issued.json()["digest"]}"'
    assert (issued.json()["kind"], issued.json()["subject"]) == ("workshop_pack", f"workshop {workshop.pk}")
    response = here.client.get(issued.json()["pdf"])
    assert response.status_code == 200
    assert response.content.startswith(b"%PDF")


def test_a_full_house(here: Any, workshop: Any) -> None:
    """Sixty places, with as many statements as for two, and small enough to keep."""
    seated(workshop, 2)
    printed(here, workshop)
    counts = []
    for more in (0, 58):
        for number in range(3, 3 + more):
            PlaceFactory.create(workshop=workshop, number=number)
        with CaptureQueriesContext(connection) as asked:
            issued = printed(here, workshop)
        counts.append(len(asked))
    assert counts[0] == counts[1]
    sections = sections_of(issued)
    titles = [section["title"] for section in sections]
    assert all(titles.count(f"Place {number}") == 1 for number in range(1, 61))
    printed_text = text_of(pdf(IssuedSheet.objects.get(pk=issued.json()["id"]).data))
    for place in workshop.places.all():  # in the leader's table and on its own sheet
        assert printed_text.count(shown_code(place.code)) == 2
    assert "Place 60" in printed_text


def test_the_leaders_pages_say_what_is_prepared(here: Any, workshop: Any) -> None:
    seated(workshop, 5)
    asked: dict[str, Any] = {"negatives_per_place": 3, "starts": "08:45", "capacity": 0.2}
    found = here.client.get(f"{here.at}workshops/{workshop.pk}/preparation/", asked).json()
    sections = {section["title"]: section for section in sections_of(printed(here, workshop, **asked))}
    [day] = blocks([sections["Order of the day"]], "table")
    assert [row[0] for row in day["rows"]] == [block["starts"][-5:] for block in found["day"]]
    [bring] = blocks([sections["To bring"]], "checklist")
    assert bring["items"] == [f"{thing['what']}: {thing['amount']}. {thing['text']}" for thing in found["bring"]]
    [cuts] = blocks([sections["Cutting the paper"]], "steps")
    assert cuts["items"] == [cut["text"] for cut in found["paper"]["cuts"]["cuts"]]
    baths = {row[0]: row[3] for row in next(blocks([sections["Darkroom card"]], "table"))["rows"]}
    [queue] = blocks([sections["In the darkroom"]], "facts")
    shortest = found["darkroom"]["queue"]["total"]["shortest"]["text"]
    assert dict(queue["rows"])["All 15"].startswith(f"{shortest} to ")
    assert baths["Fixer"] == f"{found['darkroom']['baths'][2]['good_for']} negatives"


@pytest.mark.parametrize(("width", "height"), [("12 mm", "9 mm"), ("240 mm", "200 mm")])
def test_the_smallest_and_the_largest_negatives(here: Any, workshop: Any, width: str, height: str) -> None:
    """Hundreds of pieces from a sheet, and one."""
    seated(workshop, 2)
    wide, high = (float(size.split()[0]) for size in (width, height))
    flat = contributed.film_plane("flat", height_mm=high, width_mm=wide, distance_mm=70.0)
    workshop.design = DesignFactory.create(club=here.club, film_plane=contributed.stored(flat))
    workshop.save()
    issued = printed(here, workshop, negatives_per_place=50, capacity=0.01, spares=1000)
    assert pdf(IssuedSheet.objects.get(pk=issued.json()["id"]).data).startswith(b"%PDF")


def test_more_than_can_be_set_is_refused(here: Any, workshop: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    seated(workshop, 3)
    monkeypatch.setattr("clubs.sheets.blocks.MOST_BLOCKS", 100)
    response = here.client.post(
        f"{here.at}workshops/{workshop.pk}/sheets/", {"kind": "workshop_pack", "camera_spec": "each"}
    )
    assert faults_in(response, 422) == {("/kind", "too_much")}


def test_a_sheet_has_a_line_for_every_negative(here: Any, workshop: Any) -> None:
    seated(workshop, 1)
    sections = sections_of(printed(here, workshop, negatives_per_place=7))
    [sheet] = [section for section in sections if section["title"] == "Place 1"]
    [table] = blocks([sheet], "table")
    assert [row[0] for row in table["rows"]] == [str(number) for number in range(1, 8)]


def test_hostile_names_are_only_text(here: Any, workshop: Any) -> None:
    for number, name in enumerate(HOSTILE, 1):
        PlaceFactory.create(workshop=workshop, number=number, name=name)
    workshop.name, workshop.note = HOSTILE[1], HOSTILE[0] * 100
    workshop.process = PROCESS | {"developer": HOSTILE[2], "dilution": HOSTILE[0], "note": HOSTILE[4]}
    workshop.save()
    here.paper.name = HOSTILE[3]
    here.paper.save()
    issued = printed(here, workshop, page="letter")
    assert pdf(IssuedSheet.objects.get(pk=issued.json()["id"]).data).startswith(b"%PDF")


# ------------------------------------------------------------------------------------------------ afterwards


def test_cards_of_measured_holes(here: Any, workshop: Any) -> None:
    """One for each that is measured, at its own f-number."""
    here.season(scatter=0.2)
    facts = {"hole_uncertainty_mm": 0.01, "hole_measured_by": "counted", "typed": {}}
    for number, diameter in ((1, 0.30), (3, 0.40)):
        PlaceFactory.create(workshop=workshop, number=number, hole_diameter_mm=diameter, **facts)
    PlaceFactory.create(workshop=workshop, number=2)
    sections = sections_of(printed(here, workshop, kind="exposure_cards"))
    assert [section["title"].partition(":")[0] for section in sections] == ["Place 1", "Place 3"]
    times = PaperTimes(pooled(here.club), here.paper)
    for section, diameter in zip(sections, (0.30, 0.40), strict=True):
        [table] = blocks([section], "table")
        f_number = workshop.design.focal_length_mm / diameter
        asked = {"f_number": f_number, "hole_stops": 0.0}
        assert [row[2] for row in table["rows"]] == [times.at(float(ev), **asked).said for ev, _ in LIGHTS]


def test_cards_of_a_closed_workshop_know_their_cameras(here: Any, workshop: Any) -> None:
    """A camera that was logged since has the offset that its logs show; as many statements for twelve as for two."""
    here.season()
    spec = CameraSpecFactory.create(camera__club=here.club, camera__code="W1")
    for time in (20.0, 60.0, 180.0, 540.0, 1500.0):
        facts = {
            "paper": here.paper,
            "exposure_time_s": time,
            "indicated_time_s": 2**0.5 * time ** (1 / 1.3),
            "result_stops": -1.5,
        }
        ExposureLogFactory.create(spec=spec, member=here.member.user, **facts)
    facts = {"hole_diameter_mm": 0.35, "hole_uncertainty_mm": 0.01, "hole_measured_by": "counted", "typed": {}}
    PlaceFactory.create(workshop=workshop, number=1, camera=spec.camera, **facts)
    PlaceFactory.create(workshop=workshop, number=2, **facts)
    counts = []
    for more in (0, 10):
        for number in range(3, 3 + more):
            PlaceFactory.create(
                workshop=workshop,
                number=number,
                camera=CameraSpecFactory.create(camera__club=here.club).camera,
                **facts,
            )
        printed(here, workshop, kind="exposure_cards")
        with CaptureQueriesContext(connection) as asked:
            known, unknown, *_ = sections_of(printed(here, workshop, kind="exposure_cards"))
        counts.append(len(asked))
    assert "by 5 logs; the times allow for it" in str(known)
    assert "W1" in str(known)
    assert "not built or not logged yet" in str(unknown)
    assert counts[0] == counts[1]


def test_no_cards_before_anybody_measured(here: Any, workshop: Any) -> None:
    seated(workshop, 2)
    response = here.client.post(f"{here.at}workshops/{workshop.pk}/sheets/", {"kind": "exposure_cards"})
    assert "measured its hole" in problem_of(response, 409)["detail"]


# ------------------------------------------------------------------------------------------------ refusals


@pytest.mark.parametrize(
    ("body", "status", "fault"),
    [
        ({}, 400, ("/kind", "required")),
        ({"kind": "poster"}, 400, ("/kind", "invalid_choice")),
        ({"kind": "workshop_pack", "page": "a3"}, 400, ("/page", "invalid_choice")),
        ({"kind": "workshop_pack", "camera_spec": 3}, 400, ("/camera_spec", "invalid_choice")),
        ({"kind": "workshop_pack", "negatives_per_place": "4"}, 400, ("/negatives_per_place", "invalid")),
        ({"kind": "workshop_pack", "starts": 10}, 400, ("/starts", "invalid")),
        ({"kind": "workshop_pack", "colour": 1}, 400, ("/colour", "unknown_key")),
        ({"kind": "workshop_pack", "sheet": "9x12 cm"}, 422, ("/sheet", "piece_larger_than_sheet")),
    ],
)
def test_what_is_refused(here: Any, workshop: Any, body: Any, status: int, fault: Any) -> None:
    response = here.client.post(f"{here.at}workshops/{workshop.pk}/sheets/", body)
    assert faults_in(response, status) == {fault}
    assert not IssuedSheet.objects.exists()
