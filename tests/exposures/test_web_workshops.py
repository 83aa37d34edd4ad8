"""The pages of workshops, of a place by its code, and of sheets brought in: who sees what, safely, at a steady cost."""

import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.test import Client
from django.urls import reverse

from clubs.models import Club
from clubs.roles import MAY
from exposures.models import ImportBatch
from exposures.workshops.codes import shown_code
from tests.exposures.imports.messy import HEADING, as_csv, messy_rows
from tests.exposures.test_web_papers import ESCAPED, HOSTILE, ROLES, queries, read
from tests.exposures.workshops.conftest import Day
from tests.factories import AccountFactory, CameraSpecFactory, MembershipFactory, PaperFactory


@pytest.fixture
def day(as_user: Any) -> Day:
    return Day(as_user)


def page_of(day: Day, name: str) -> str:
    at = f"/clubs/{day.club.slug}/workshops/"
    number = day.made["number"]
    return {"workshops": at, "workshop": f"{at}{number}/", "live": f"{at}{number}/live/"}[name]


PAGES = ("workshops", "workshop", "live")


@pytest.mark.parametrize("name", PAGES)
def test_who_may_read_a_workshop(day: Day, name: str) -> None:
    path = page_of(day, name)
    assert Client().get(path).status_code == 302
    read(MembershipFactory.create(role="keeper").user, path, 404)
    for role in ROLES:
        user = MembershipFactory.create(club=day.club, role=role).user
        page = read(user, path, 200 if role != "guest" else 403)
        leads = role in {"leader", "keeper"}
        if name == "workshop":
            for number in (1, 2, 3):
                assert (shown_code(day.place(number).code) in page) == leads
            assert (f"workshops/{day.made['number']}/closing/" in page) == leads
        assert day.place(1).code not in page or leads
        if name != "workshops" and role != "guest":
            assert ("Places now" in page) == leads


def test_hostile_names_stay_text(day: Day) -> None:
    phone = day.phone(1)
    assert phone.named(HOSTILE[:60]).status_code == 200
    assert phone.note(note=HOSTILE).status_code == 201
    day.change(name=HOSTILE, note=HOSTILE)
    day.paper.name = HOSTILE
    day.paper.save()
    day.design.name = HOSTILE
    day.design.save()
    for page in (*(read(day.leader.user, page_of(day, name)) for name in PAGES), read(None, f"/place/{phone.code}/")):
        assert "<script>alert" not in page
        assert ESCAPED in page


def test_more_places_and_exposures_take_no_more_queries(day: Day) -> None:
    def used() -> list[int]:
        return [queries(day.leader.user, page_of(day, name)) for name in PAGES]

    day.phone(1).hole()
    day.phone(1).note()
    before = used()
    assert day.change(places=9).status_code == 200
    for number in range(1, 10):
        day.phone(number).hole()
        day.phone(number).note(result={"judged_stops": 0.5})
    day.client.post(day.club_at + "workshops/", day.body(name="Another day"))
    assert [now <= then for now, then in zip(used(), before, strict=True)] == [True] * 3


def test_the_live_part_is_sent_again_only_when_something_was_told(day: Day) -> None:
    client = Client()
    client.force_login(day.leader.user)
    first = client.get(page_of(day, "live"))
    again = client.get(page_of(day, "live"), headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert day.phone(2).hole("0.45 mm").status_code == 200
    now = client.get(page_of(day, "live"), headers={"If-None-Match": first["ETag"]})
    assert now.status_code == 200
    text = now.content.decode()
    told = day.places()[1]["beside_plan"]
    assert f"<td>f/{day.places()[1]['f_number']:.0f}</td>" in text
    assert f"+{told['off_stops']:.1f} stop" in text
    assert "far off" in text


def test_the_preparation_is_planned_as_the_address_asks(day: Day) -> None:
    path = page_of(day, "workshop")
    planned = read(day.leader.user, path + "?negatives_per_place=6&spares=&starts=09:30&sheet=")
    told = day.client.get(day.at + "preparation/?negatives_per_place=6&starts=09:30").json()
    for thing in told["bring"]:
        assert thing["amount"] in planned
    assert "<b>09:30 to " in planned
    assert "<svg" in planned
    wrong = read(day.leader.user, path + "?negatives_per_place=lots")
    assert 'class="problem"' in wrong
    assert "<b>10:00 to " in wrong


def test_a_closed_workshop_is_history(day: Day) -> None:
    day.phone(1).hole()
    assert day.close().status_code == 200
    page = read(day.leader.user, page_of(day, "workshop"))
    assert "data-live" not in page
    assert "/closing/" not in page
    assert "/code/" not in page
    assert f"/clubs/{day.club.slug}/cameras/{day.place(1).camera.code}/" in page  # type: ignore[union-attr]
    place = read(None, f"/place/{day.place(1).code}/")
    assert "<form" not in place
    assert "The workshop is closed." in place


def test_printing_leads_to_the_sheet_that_was_issued(day: Day) -> None:
    page = read(day.leader.user, page_of(day, "workshop"))
    [then] = re.findall(r'workshops/\d+/sheets/" data-then="([^"]+)"', page)
    issued = day.client.post(day.at + "sheets/", {"kind": "darkroom_card", "page": "a4"}).json()
    assert issued["pdf"] == "http://testserver" + then.replace("{id}", issued["id"])


# ------------------------------------------------------------------------------------------------------- places


def test_a_code_opens_its_place_however_it_is_written(day: Day) -> None:
    code = day.place(2).code
    for written in (code, code.lower(), shown_code(code)):
        assert "<h1>Place 2</h1>" in read(None, f"/place/{written}/")


def test_a_wrong_code_is_any_page_that_is_not_there(day: Day, settings: Any) -> None:
    settings.PINPOOL = {"PLACE_TRIES_PER_ADDRESS": (3, 10**9)}
    gone = day.place(3).code
    assert day.client.delete(day.at + "places/3/code/", headers={"If-Match": "*"}).status_code == 200
    pages = {re.sub(rf"{code}|csrf\" content=\"\w+|<code>\w+</code>", "", read(None, f"/place/{code}/", 404))
             for code in (gone, "ACDEFGHJKMNPQR")}  # fmt: skip
    assert len(pages) == 1
    assert "There is no such page" in pages.pop()
    read(None, "/place/nonsense/", 404)
    read(None, f"/place/{gone}/", 429)
    read(None, f"/place/{day.place(1).code}/", 429)


def test_a_place_shows_nothing_of_others(day: Day) -> None:
    assert day.phone(1).named("Mara").status_code == 200
    page = read(None, f"/place/{day.place(2).code}/")
    assert "Mara" not in page
    assert day.leader.user.get_username() not in page
    assert all(day.place(number).code not in page for number in (1, 3))


def test_a_place_s_own_times_stand_there_once_its_hole_is_measured(day: Day) -> None:
    phone = day.phone(1)
    path = f"/place/{phone.code}/"
    assert "Measure your hole first" in read(None, path)
    assert phone.hole("0.4 mm").status_code == 200
    page = read(None, path)
    for row in phone.get("exposure-table/")["rows"]:
        assert f">{row['exposure_time']['text']}</b>" in page


def test_who_may_claim_a_place(day: Day) -> None:
    path = f"/place/{day.place(1).code}/"
    claim = f'action="/api/v1/places/{day.place(1).code}/claim/"'
    stranger = AccountFactory.create()
    assert "/sign-in/?next=%2Fplace%2F" in read(None, path)
    assert claim not in read(stranger, path)
    assert claim in read(day.member.user, path)
    assert day.change(day.keepers, joins_as="member").status_code == 200
    assert claim in read(stranger, path)
    phone = day.phone(1, user=stranger)
    assert phone.client.post(phone.at + "claim/", {}).status_code == 200
    assert "This place is yours." in read(stranger, path)
    assert claim not in read(day.member.user, path)


@pytest.mark.parametrize(("page", "leads"), [
    ("", "http://testserver/place/{code}/"), ("https://club.example/p/{code}", "https://club.example/p/{code}"),
])  # fmt: skip
def test_codes_lead_to_our_page_or_the_site_s(day: Day, settings: Any, page: str, leads: str) -> None:
    settings.PINPOOL = {"PLACE_PAGE": page}
    assert f'href="{leads.format(code=day.place(1).code)}"' in read(day.leader.user, page_of(day, "workshop"))


def test_a_place_page_without_a_code_is_caught_by_check(settings: Any, db: None) -> None:
    settings.PINPOOL = {"PLACE_PAGE": "https://club.example/place/"}
    with pytest.raises(SystemCheckError, match=r"pinpool\.E001"):
        call_command("check")


def test_pages_stand_where_no_plug_in_offers_the_film_plane_of_the_design(day: Day) -> None:
    day.phone(1).hole()
    design = day.workshop.design
    design.film_plane["kind"] = "folded"
    design.save()
    assert "No plug-in here offers" in read(day.keeper.user, page_of(day, "workshop"))
    for user, path in ((day.keeper.user, page_of(day, "live")), (None, f"/place/{day.place(1).code}/")):
        assert "f/" in read(user, path)


# ------------------------------------------------------------------------------------------------------ sheets


class Sheets:
    """A keeper's club with the cameras T1 and T2, the paper Glasswort, and a messy sheet brought in."""

    def __init__(self, as_user: Any) -> None:
        self.keeper = MembershipFactory.create(role="keeper")
        self.club: Club = self.keeper.club
        for number in (1, 2):
            CameraSpecFactory.create(
                camera__club=self.club, camera__code=f"T{number}", camera__name=f"Tea caddy {number}"
            )
        PaperFactory.create(club=self.club, name="Glasswort")
        self.client = as_user(self.keeper.user)
        self.at = f"/clubs/{self.club.slug}/imports/"

    def bring(self, name: str = "log.csv", rows: int = 60, data: bytes = b"") -> ImportBatch:
        data = data or as_csv(HEADING, messy_rows(rows)[0])
        sent = self.client.post(
            reverse("pinpool:exposures:imports", args=[self.club.slug]),
            {"file": SimpleUploadedFile(name, data), "kind": "exposures"}, format="multipart",
        )  # fmt: skip
        assert sent.status_code == 201, sent.content
        return ImportBatch.objects.get(pk=sent.json()["id"])


@pytest.fixture
def sheets(as_user: Any) -> Sheets:
    return Sheets(as_user)


def test_who_may_see_sheets(sheets: Sheets) -> None:
    batch = sheets.bring()
    assert Client().get(sheets.at).status_code == 302
    read(MembershipFactory.create(role="keeper").user, f"{sheets.at}{batch.pk}/", 404)
    for role in ROLES:
        user = MembershipFactory.create(club=sheets.club, role=role).user
        page = read(user, sheets.at, 200 if ROLES.index(role) + 1 >= MAY["read_imports"].role else 403)
        assert (batch.file_name in page) == (role == "keeper")
        read(user, f"{sheets.at}{batch.pk}/", {"guest": 403, "keeper": 200}.get(role, 404))
        assert ("export/archive/" in page) == (role == "keeper")
        assert ('value="papers"' in page) == (role in {"leader", "keeper"})


def test_a_sheet_shows_its_columns_questions_and_faulty_rows(sheets: Sheets) -> None:
    batch = sheets.bring()
    told = sheets.client.get(f"/api/v1{sheets.at}{batch.pk}/").json()
    page = read(sheets.keeper.user, f"{sheets.at}{batch.pk}/?state=faulty")
    for column in told["columns"]:
        assert f'value="{column["column"]}"' in page
        assert f'<option value="{column["field"]}" selected>' in page
    for question in told["questions"]:
        assert question["text"].replace("“", "“")[:20] in page
    faulty = sheets.client.get(f"/api/v1{sheets.at}{batch.pk}/rows/?state=faulty").json()["results"]
    assert re.findall(r'<th scope="row">(\d+)</th>', page) == [str(row["row"]) for row in faulty]
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "<script>alert" not in page


def test_a_keeper_sees_no_cell_of_another_s_sheet_with_private_rows(sheets: Sheets, as_user: Any) -> None:
    member = MembershipFactory.create(club=sheets.club)
    sheets.client = as_user(member.user)
    heading, row = ["Date", "Box", "Paper", "EV", "Time", "Visibility", "Note"], ["2026-05-01T12:00Z", "T1"]
    data = as_csv(heading, [[*row, "Glasswort", "13", "4 min", "private", "behind the wall"]])
    at = f"{sheets.at}{sheets.bring(data=data).pk}/"
    own, keepers = (read(user, at) for user in (member.user, sheets.keeper.user))
    for words in ("behind the wall", "apply/", "Try again like this"):
        assert words in own
        assert words not in keepers


def test_rows_of_a_sheet_are_paged_and_cost_no_more(sheets: Sheets) -> None:
    small, large = sheets.bring(rows=10), sheets.bring(rows=150)
    user = sheets.keeper.user
    page = read(user, f"{sheets.at}{large.pk}/")
    assert page.count('<th scope="row">') == 50
    assert 'rel="next"' in page
    assert queries(user, f"{sheets.at}{large.pk}/") <= queries(user, f"{sheets.at}{small.pk}/")


def test_a_hostile_file_name_stays_text(sheets: Sheets) -> None:
    batch = sheets.bring(name='"><script>alert("fen").csv')
    for path in (sheets.at, f"{sheets.at}{batch.pk}/"):
        page = read(sheets.keeper.user, path)
        assert "<script>alert" not in page
        assert "&lt;script&gt;alert(&quot;fen&quot;).csv" in page
