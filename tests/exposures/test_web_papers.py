"""The pages of papers, the log, the comparison and the pool: who sees what, safely, at a cost that does not grow."""

import re
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from clubs.roles import MAY
from exposures.models import ExposureLog, Paper, PaperMerge
from exposures.paper_logs import contributions_to, logs_beside_line
from exposures.pooled import pooled
from exposures.published import rows_of
from exposures.templatetags.exposures_said import beside, speed
from optics.core.reciprocity import PowerLaw
from optics.core.say import say_time
from tests.exposures.conftest import Here
from tests.factories import (
    AccountFactory,
    CameraSpecFactory,
    ClubFactory,
    ExposureLogFactory,
    MembershipFactory,
    PaperFactory,
)

HOSTILE = '<script>alert("fen")</script>'
ESCAPED = "&lt;script&gt;alert(&quot;fen&quot;)&lt;/script&gt;"
ROLES = ("guest", "member", "leader", "keeper")


def read(user: Any, path: str, status: int = 200) -> str:
    client = Client()
    if user is not None:
        client.force_login(user)
    response = client.get(path)
    assert response.status_code == status, (path, response.status_code, response.content[-2000:])
    assert "script-src 'self'" in response.headers["Content-Security-Policy"]
    return response.content.decode()


def queries(user: Any, path: str) -> int:
    """How many queries a page takes once its fit is made."""
    read(user, path)
    with CaptureQueriesContext(connection) as counted:
        read(user, path)
    return len(counted)


@pytest.fixture
def pages(here: Here) -> dict[str, tuple[str, str]]:
    """(path, the action of `MAY` that it takes) of every page, by name."""
    here.season(count=12)
    at = f"/clubs/{here.club.slug}/"
    log = ExposureLog.objects.filter(club=here.club).first()
    assert log is not None
    return {
        "papers": (at + "papers/", "read_papers"),
        "paper": (f"{at}papers/{here.paper.pk}/", "read_estimates"),
        "log": (at + "log/", "read_exposures"),
        "entry": (f"{at}log/{log.id}/", "read_exposures"),
        "comparison": (at + "comparison/", "compare"),
        "pool": (at + "pool/", "read_pool"),
    }


NAMES = ("papers", "paper", "log", "entry", "comparison", "pool")


@pytest.mark.parametrize("name", NAMES)
def test_who_may_read_it(here: Here, pages: Any, name: str) -> None:
    path, action = pages[name]
    response = Client().get(path)
    assert (response.status_code, response["Location"]) == (302, f"/sign-in/?next={path.replace('/', '%2F')}")
    read(AccountFactory.create(), path, 404)
    read(MembershipFactory.create(role="keeper").user, path, 404)
    for role in ROLES:
        member = MembershipFactory.create(club=here.club, role=role)
        read(member.user, path, 200 if ROLES.index(role) + 1 >= MAY[action].role else 403)


@pytest.mark.parametrize("name", NAMES)
def test_hostile_names_stay_text(here: Here, pages: Any, name: str) -> None:
    here.paper.name = here.paper.family = here.paper.note = HOSTILE
    here.paper.save()
    here.spec.camera.name = HOSTILE
    here.spec.camera.save()
    type(here.member.user).objects.filter(pk=here.member.user.pk).update(username=HOSTILE)
    page = read(here.member.user, pages[name][0])
    assert "<script>alert" not in page
    assert ESCAPED in page


@pytest.mark.parametrize("name", NAMES)
def test_more_rows_take_no_more_queries(here: Here, pages: Any, name: str) -> None:
    path, _ = pages[name]
    before = queries(here.member.user, path)
    here.season(count=20, seed=2)
    for paper in PaperFactory.create_batch(3, club=here.club):
        ExposureLogFactory.create(spec=here.spec, paper=paper, member=MembershipFactory.create(club=here.club).user)
    assert queries(here.member.user, path) <= before


@pytest.mark.parametrize("path", ["papers/?cursor=nonsense", "log/?cursor=nonsense", "log/?since=tomorrow",
                                  "log/?paper=none", "papers/?page_size=0"])  # fmt: skip
def test_an_address_that_asks_for_nonsense_is_refused_in_words(here: Here, path: str) -> None:
    page = read(here.member.user, f"/clubs/{here.club.slug}/{path}", 400)
    assert "ErrorDetail" not in page
    assert re.search(r"<main[^>]*>.*\.", page, re.DOTALL)


# ------------------------------------------------------------------------------------------------------ papers


def test_a_paper_says_what_the_api_says(here: Here) -> None:
    here.season(exponent=1.3, offset=0.5)
    page = read(here.member.user, f"/clubs/{here.club.slug}/papers/{here.paper.pk}/")
    [known] = here.client.get(here.at + "reciprocity/").json()["results"]
    for point in known["curve"]:
        assert f"<td>{point['exposure_time']['text']}" in page
        assert f"<td>{point['interval']['low']['text']} to {point['interval']['high']['text']}</td>" in page
    assert f"<output>{known['exponent']:.2f}</output>" in page
    assert f"{known['evidence']['logs']} judged logs by 4 members with 4 cameras" in page
    assert page.count("<title>Times for Glasswort</title>") == 1


def test_logs_beside_the_line_scatter_about_it_by_what_they_scatter(here: Here) -> None:
    """Their camera and member allowed for, logs of an exact law lie on its line."""
    here.season(exponent=1.3, offset=0.5, scatter=0.0, count=40)
    paper = Paper.objects.get(pk=here.paper.pk)
    line = pooled(here.club).line(paper)
    for each in logs_beside_line(actor=here.member, paper=paper):
        right = line.right_time_s(each.indicated_s)
        assert abs(right / each.log.exposure_time_s - 1) < 1e-3
        assert each.doubt == ""


def test_a_wrong_log_is_named_to_its_author_and_leaders_alone(here: Here) -> None:
    here.season(count=60)
    author = MembershipFactory.create(club=here.club)
    ExposureLogFactory.create(
        spec=here.spec, paper=here.paper, member=author.user, exposure_time_s=4.0, indicated_time_s=130.0
    )
    path = f"/clubs/{here.club.slug}/papers/{here.paper.pk}/"
    for reader in (author, here.member):
        assert "Those that look wrong" in read(reader.user, path)
    for role in ("member", "guest"):
        page = read(MembershipFactory.create(club=here.club, role=role).user, path)
        assert "look wrong" not in page
        assert "looks wrong" not in page


def test_a_guest_sees_no_more_of_a_paper_than_the_api_gives(here: Here, as_user: Any) -> None:
    """Not how cameras and members compare, which a log beside the line tells, and not what was merged."""
    here.season(count=16)
    PaperMerge.objects.create(club=here.club, key="glasswort old|graded paper", into_key=here.paper.catalogue_key)
    guest = MembershipFactory.create(club=here.club, role="guest").user
    for what in ("comparison/?by=member", "paper-merges/"):
        assert as_user(guest).get(here.at + what).status_code == 403
    path = f"/clubs/{here.club.slug}/papers/{here.paper.pk}/"
    own, guests = read(here.member.user, path), read(guest, path)
    for words in ("“Right for”", 'class="log"', "glasswort old|graded paper"):
        assert words in own
        assert words not in guests


def test_how_a_paper_was_developed_is_told_by_no_corrected_log(here: Here) -> None:
    made = here.log(process={"developer": "Marsh developer"})
    path = f"/clubs/{here.club.slug}/papers/{here.paper.pk}/"
    assert "Marsh developer" in read(here.member.user, path)
    fixed = here.client.post(f"{here.at}exposures/{made['id']}/corrections/", here.body(reason="it was another"))
    assert fixed.status_code == 201
    assert "Marsh developer" not in read(here.member.user, path)


def test_who_contributes_is_counted_over_merged_names_and_other_clubs(here: Here, as_user: Any) -> None:
    here.season(count=16)
    same = PaperFactory.create(club=here.club, name="Glasswort old", nominal_exposure_index=6.0)
    ExposureLogFactory.create(spec=here.spec, paper=same, member=here.member.user)
    PaperMerge.objects.create(club=here.club, key=same.catalogue_key, into_key=here.paper.catalogue_key)
    here.member.role = "keeper"
    here.member.save()
    other = MembershipFactory.create(role="keeper")
    for client, club in ((here.client, here.club), (as_user(other.user), other.club)):
        answer = client.put(f"/api/v1/clubs/{club.slug}/pool/", {"joined": True}, headers={"If-Match": "*"})
        assert answer.status_code == 200
    theirs = PaperFactory.create(club=other.club, name="Glasswort")
    their_client = as_user(other.user)
    CameraSpecFactory.create(camera__club=other.club, camera__code="B9")
    for _ in range(3):
        body = here.body(camera="B9", paper=str(theirs.pk), visibility="shared", result={"judged_stops": 0})
        assert their_client.post(f"/api/v1/clubs/{other.club.slug}/exposures/", body).status_code == 201
    found = contributions_to(actor=here.member, paper=Paper.objects.get(pk=here.paper.pk))
    assert sum(each.logs for each in found.members) == sum(each.logs for each in found.cameras) == 17
    assert (found.pool_logs, found.packet_logs) == (3, 0)
    page = read(here.member.user, f"/clubs/{here.club.slug}/papers/{here.paper.pk}/")
    assert "3 from other clubs of the pool." in page
    assert other.user.get_username() not in page


def test_a_data_sheets_law_is_drawn_said_and_kept_by_the_form(here: Here) -> None:
    law = {"law": "power", "exponent": 1.4, "from": "2 s"}
    rows = rows_of(PowerLaw(1.4, 2.0))
    paper = PaperFactory.create(club=here.club, published_typed=law, published_rows_s=rows, published_source="Sheet 8")
    path = f"/clubs/{here.club.slug}/papers/{paper.pk}/"
    page = read(here.member.user, path)
    [line] = [each for each in page.split("<") if each.startswith('polyline class="published"')]
    assert line.count(",") > 5
    for words in (">power law: exponent 1.4, from 2\N{NO-BREAK SPACE}s,<", ">by its data sheet<",
                  "Power law: exponent 1.4, from 2 s. Sheet 8", '<option value="before">',
                  '<input type="hidden" name="published/reciprocity/law" value="power" data-at="published">',
                  'name="published/reciprocity/exponent"'):  # fmt: skip
        assert words in page, words
    assert 'value="paper"' not in page
    assert re.search(r'name="published/reciprocity/from" value="2 s"', page), "choosing it again starts with it"
    [minute] = re.findall(r'<th scope="row">1 min 4 s</th>.*?</tr>', page)[:1]
    assert minute.endswith(f"<td>{say_time(2 * 32**1.4)}</td></tr>"), "beside what the log says"
    paper.published_typed = law | {"law": "cosine"}  # of a plug-in that is gone
    paper.save()
    said = re.search(r"Cosine, whose plug-in is not active here now: (.*?)\. Sheet 8", read(here.member.user, path))
    assert said is not None
    assert sorted(said[1].split(", ")) == ["exponent 1.4", "from 2 s"]


def test_a_paper_nobody_logged_says_so_and_shows_its_data_sheet(here: Here) -> None:
    here.paper.published_rows_s, here.paper.published_source = [[1, 2], [10, 40]], "Sheet 7, p. 2 (invented)"
    here.paper.published_typed = [["1 s", "2 s"], ["10 s", "40 s"]]
    here.paper.save()
    page = read(here.member.user, f"/clubs/{here.club.slug}/papers/{here.paper.pk}/")
    assert "Nobody has logged this paper" in page
    assert '<th scope="row">10 s</th><td>40 s</td>' in page
    assert "1 s, 2 s\n10 s, 40 s</textarea>" in page


def test_only_leaders_get_forms(here: Here) -> None:
    path = f"/clubs/{here.club.slug}/papers/"
    member = MembershipFactory.create(club=here.club).user
    for at in (path, f"{path}{here.paper.pk}/"):
        for user, forms in ((member, 0), (here.member.user, 1)):
            page = read(user, at)
            assert page.count('name="nominal_exposure_index"') == forms
    assert f'data-etag="&quot;r{here.paper.revision}&quot;"' in read(here.member.user, f"{path}{here.paper.pk}/")


# --------------------------------------------------------------------------------------------------------- log


def test_the_log_filters_as_the_api_does(here: Here) -> None:
    other = PaperFactory.create(club=here.club, name="Samphire")
    for day in (1, 2, 3):
        taken = datetime(2026, 5, day, 12, tzinfo=UTC)
        ExposureLogFactory.create(spec=here.spec, paper=other if day == 3 else here.paper, taken_at=taken)
    at = f"/clubs/{here.club.slug}/log/"

    def days(query: str) -> list[str]:
        return re.findall(r'/">(2026-05-\d\d)</a></th>', read(here.member.user, at + query))

    assert days("") == ["2026-05-03", "2026-05-02", "2026-05-01"]
    assert days(f"?paper={other.pk}&member=&judged=&camera=") == ["2026-05-03"]
    assert days("?since=2026-05-02&until=2026-05-03") == ["2026-05-02"]
    assert days("?judged=false") == []
    assert days("?page_size=2") == ["2026-05-03", "2026-05-02"]


def test_a_new_entry_is_confirmed_to_those_who_may_see_it(here: Here) -> None:
    made = here.log(visibility="private")
    at, entry = f"/clubs/{here.club.slug}/log/", f'Logged: <a href="/clubs/{here.club.slug}/log/{made["id"]}/"'
    assert entry in read(here.member.user, f"{at}?logged={made['id']}")
    other = MembershipFactory.create(club=here.club)
    for user, asked in ((other.user, made["id"]), (here.member.user, "nothing")):
        assert "Logged:" not in read(user, f"{at}?logged={asked}")


def test_a_gain_is_told_with_as_many_decimals_as_it_takes() -> None:
    told = [(beside(one, other), beside(other, one)) for one, other in ((0.164, 0.159), (0.3, 0.2), (0.16441, 0.16439))]
    assert told == [("0.164", "0.159"), ("0.30", "0.20"), ("0.1644", "0.1644")]


def test_an_exposure_index_is_told_to_the_figures_that_count() -> None:
    told = [speed(each) for each in (0.0446, 6.0, 6.27, 125.0, 800.14, float("inf"))]
    assert told == ["0.045", "6", "6.3", "125", "800", "inf"]


def test_a_form_says_what_an_empty_iso_is_but_not_a_constant_that_two_ways_share(here: Here) -> None:
    page = read(here.member.user, f"/clubs/{here.club.slug}/log/")
    assert re.findall(r"Empty: (\S+)\.<", page) == ["100"]


def test_papers_say_the_time_for_a_minute_indicated(here: Here) -> None:
    here.season(count=16)
    line = pooled(here.club).line(here.paper)
    page = read(here.member.user, f"/clubs/{here.club.slug}/papers/")
    assert f"where 1 min is indicated, give <b>{say_time(line.right_time_s(60.0))}</b>" in page


def test_private_entries_and_their_history_are_their_author_s(here: Here) -> None:
    made = here.log(visibility="private", note="behind the sea wall", result={"judged_stops": 0})
    fixed = here.client.post(
        f"{here.at}exposures/{made['id']}/corrections/", here.body(visibility="club", reason="for all to see")
    ).json()
    other = MembershipFactory.create(club=here.club, role="keeper").user
    at = f"/clubs/{here.club.slug}/log/"
    read(other, f"{at}{made['id']}/", 404)
    page = read(other, f"{at}{fixed['id']}/")
    assert made["id"] not in page
    assert "What it was before" not in page
    page = read(here.member.user, f"{at}{fixed['id']}/")
    assert f"{at}{made['id']}/" in page
    assert "Why: for all to see" in page


def test_a_correction_starts_from_all_that_was_said(here: Here) -> None:
    """What the form holds, sent as it stands, is the same entry again."""
    process = {"developer": "Print developer", "temperature": "20 °C", "time": {"value": 90, "unit": "s"},
               "agitation": "gentle", "volume": "500 ml", "method": "tray", "note": "dim"}  # fmt: skip
    made = here.log(
        reading={"time": "1/60 s", "f_number": 8, "iso": 400}, filter_stops=1.5,
        exposure_time={"value": 4, "unit": "min"},
        result={"density": 1.1, "target": 0.9, "gradient": 1.2}, process=process, note="low sun", visibility="shared",
        place={"latitude": "50.1 deg", "longitude": "-5.1 deg"},
    )  # fmt: skip
    page = read(here.member.user, f"/clubs/{here.club.slug}/log/{made['id']}/")
    form = page[page.index('/corrections/"') :]
    held = dict(re.findall(r'name="([^"]+)"[^>]*? value="([^"]*)"', form))
    said = {
        "exposure_time": "4 min", "reading/time": "1/60 s", "reading/f_number": "8", "reading/iso": "400",
        "filter_stops": "1.5", "result/density": "1.1", "result/target": "0.9", "result/gradient": "1.2",
        "process/developer": "Print developer", "process/temperature": "20 °C", "process/time": "90 s",
        "process/agitation": "gentle", "process/volume": "500 ml", "process/note": "dim",
        "place/latitude": "50.1°", "place/longitude": "-5.1°",
    }  # fmt: skip
    assert {name: held.get(name) for name in said} == said
    assert '<option value="shared" selected>' in form
    assert "low sun</textarea>" in form
    assert re.search(r"<option selected>tray</option>", form)


def test_who_may_correct_and_put_pictures(here: Here) -> None:
    made = here.log()
    path = f"/clubs/{here.club.slug}/log/{made['id']}/"
    other = MembershipFactory.create(club=here.club).user
    keeper = MembershipFactory.create(club=here.club, role="keeper").user
    for user, may in ((here.member.user, True), (keeper, True), (other, False)):
        page = read(user, path)
        assert ("/corrections/" in page) == may
        assert ('/picture/"' in page) == may


# -------------------------------------------------------------------------------------------------- comparison


def test_the_comparison_says_what_the_api_says(here: Here) -> None:
    here.season(count=40)
    for by in ("member", "camera", "paper"):
        page = read(here.member.user, f"/clubs/{here.club.slug}/comparison/?by={by}")
        told = here.client.get(f"{here.at}comparison/?by={by}").json()
        assert told["verdict"] in page
        for row in told["rows"]:
            said = row["name"].replace(" #", ", spec ") if by == "camera" else row["name"]
            assert f'<th scope="row">{said}</th>' in page
    assert read(here.member.user, f"/clubs/{here.club.slug}/comparison/?by=nothing").count("aria-current") >= 1


def test_an_empty_club_has_empty_pages(db: None) -> None:
    keeper = MembershipFactory.create(role="keeper", club=ClubFactory.create())
    for name in ("papers", "log", "comparison", "pool"):
        read(keeper.user, f"/clubs/{keeper.club.slug}/{name}/")
