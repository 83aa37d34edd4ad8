"""The main job, through the cooperative's own door: from a box to a time, in its frame, by its rules."""

import re
from typing import Any

from cooperative.middleware import seen
from django.contrib.auth import get_user_model
from django.core.management import call_command
from django.db import transaction
from django.test import Client
from django.urls import reverse, set_script_prefix

from exposures.models import ExposureLog
from pinpool.accounts.own_data import prepare_deletion

API = "/pinhole/api/v1/"
CLUB = {"slug": "reedfold", "name": "Reedfold pinholes (invented)"}
PLANE = {"kind": "drum", "height": "80 mm", "diameter": "100 mm", "length": "150 mm"}
HOLE = {"diameter": "0.35 mm", "uncertainty": "0.01 mm", "plate_thickness": "0.05 mm"}


def made(response: Any) -> Any:
    assert response.status_code == 201, response.content
    return response.json()


def furnished(browser: Any) -> dict[str, Any]:
    """A club with a camera, a paper and some judged logs."""
    made(browser.send(f"{API}clubs/", CLUB))
    at = f"{API}clubs/reedfold/"
    camera = {"code": "T1", "name": "Tea caddy"}
    made(browser.send(f"{at}cameras/", camera | {"spec": {"film_plane": PLANE, "hole": HOLE}}))
    paper = {"name": "Glasswort", "family": "graded paper", "nominal_exposure_index": 6}
    told = made(browser.send(f"{at}papers/", paper))
    facts = {"camera": "T1", "paper": told["id"], "taken_at": "2026-05-01T12:00:00Z", "reading": {"ev": 13}}
    for minutes, stops in ((4, 0.0), (8, 0.8), (12, 1.3), (16, 1.6)):
        given = {"exposure_time": f"{minutes} min", "result": {"judged_stops": stops}}
        entry = made(browser.send(f"{at}exposures/", facts | given))
        assert entry["taken_at"] == "2026-05-01T12:00:00Z"  # the site's own API would say 01.05.2026
    return {"at": at, "paper": told["id"]}


def test_from_a_box_to_a_time(browser: Any) -> None:
    club = furnished(browser)
    asked = {"camera": "T1", "paper": club["paper"], "reading": {"ev": 13}}
    told = browser.send(f"{club['at']}recommendation/", asked)
    assert told.status_code == 200, told.content
    assert told.json()["exposure_time"]["value"] > 100
    sheet = made(browser.send(f"{club['at']}cameras/T1/sheets/", {"kind": "camera_spec", "wall_thickness": "0.3 mm"}))
    pdf = browser.client.get(f"{club['at']}sheets/{sheet['id']}/pdf/")
    assert pdf.content[:5] == b"%PDF-"
    assert seen["pinhole"] > 5
    assert pdf["X-Reedfold"] == "counted"


def test_pages_stand_in_the_sites_frame_each_in_its_own_language(browser: Any) -> None:
    furnished(browser)
    page = browser.page("/pinhole/clubs/reedfold/cameras/T1/")
    assert '<html lang="nl">' in page
    assert "spring tide, the reed path, september" in page
    assert "<title>T1, Tea caddy: Pinpool at Reedfold</title>" in page
    ours = page[page.index('<div class="pinpool" lang="en-GB">') : page.index("</main>")]
    assert "0.35 mm" in ours
    assert not re.search(r"\d,\d", re.sub(r"<svg.*?</svg>", "", ours, flags=re.DOTALL))
    assert "mara@reedfold.example" in ours
    assert page.count("<main") == page.count("<body") == page.count("<h1") == 1
    assert "spring tide" in browser.page("/pinhole/api/v1/docs/")
    assert "spring tide" in browser.page("/pinhole/clubs/elsewhere/", 404)


def test_the_field_page_keeps_its_own_frame(stranger: Any) -> None:
    page = stranger.page("/pinhole/field/")
    assert "spring tide" not in page
    assert "/assets/cooperative/pinhole.css" in page
    assert "/assets/cooperative/pinhole.css" in stranger.page(reverse("field_web:worker"))


def test_our_styles_reach_our_part_alone(stranger: Any) -> None:
    page = stranger.page("/pinhole/")
    assert re.findall(r'rel="stylesheet" href="([^"]+)"', page) == [
        "/assets/cooperative/house.css", "/pinhole/within.css", "/assets/cooperative/pinhole.css"
    ]  # fmt: skip
    styles = stranger.page("/pinhole/within.css")
    assert styles.startswith("@scope (.pinpool) {")
    assert styles.count("{") == styles.count("}")


def test_people_come_in_by_the_sites_door_alone(stranger: Any, browser: Any) -> None:
    sent = stranger.client.get("/pinhole/clubs/")
    assert sent["Location"] == "/door/enter/?next=%2Fpinhole%2Fclubs%2F"
    assert 'href="/door/enter/?next=%2Fpinhole%2F"' in stranger.page("/pinhole/")
    for path in ("sign-in/", "sign-in/forgotten/", "reset/"):
        stranger.page(f"/pinhole/{path}", 404)
    told = {"username": "mara@reedfold.example", "password": "reed is cut at low water"}
    for path, body in (("login/", told), ("password-reset/", {"email": told["username"]})):
        assert stranger.send(f"{API}accounts/{path}", body, on="/pinhole/").status_code == 404
    account = browser.page("/pinhole/account/")
    assert "API tokens" in account
    assert 'type="password"' not in account
    for path in ("me/deletion/", "password/", "logout/"):
        assert browser.send(f"{API}accounts/{path}", {}).status_code == 404
    assert browser.client.get(f"{API}accounts/me/").json()["username"] == told["username"]


def test_an_invitation_takes_an_account_of_the_site(browser: Any, stranger: Any, keeper: Any) -> None:
    furnished(browser)
    code = made(browser.send(f"{API}clubs/reedfold/invitations/", {"role": "member", "uses": 2, "days": 7}))["code"]
    page = stranger.page(f"/pinhole/clubs/join/{code}/")
    assert "/door/enter/?next=" in page
    assert "Make an account" not in page
    new = {"username": "new@reedfold.example", "email": "new@reedfold.example", "password": "long enough a word"}
    refused = stranger.send(f"{API}invitations/{code}/accept/", new, on="/pinhole/")
    assert (refused.status_code, refused.json()["title"]) == (401, "Sign in first")
    assert get_user_model().people.count() == 1
    other = type(browser)(get_user_model().people.create_user("wim@reedfold.example", "reed is cut at low water"))
    assert made(other.send(f"{API}invitations/{code}/accept/", {}))["role"] == "member"


def test_refusals_are_ours_and_in_english(stranger: Any) -> None:
    faulty = {"film_plane": {"kind": "drum"}, "hole": {"diameter": "0,35 mm"}}
    refused = stranger.client.post(f"{API}optics/illumination/", faulty, content_type="application/json")
    assert refused["Content-Type"] == "application/problem+json"
    told = {fault["pointer"]: fault["detail"] for fault in refused.json()["errors"]}
    assert told["/film_plane/height"] == "This field is required."
    assert "" in {fault["pointer"] for fault in stranger.client.post(
        f"{API}optics/illumination/", [], content_type="application/json").json()["errors"]}  # fmt: skip
    assert stranger.client.get(f"{API}clubs/").status_code == 401


def test_the_sites_own_api_keeps_its_own_ways(stranger: Any, browser: Any) -> None:
    furnished(browser)
    assert stranger.client.get("/api/bundles/").json() == {"geweigerd": "NotAuthenticated"}
    told = stranger.client.get("/api/open-bundles/")
    assert re.fullmatch(r"\d\d\.\d\d\.\d{4}", told.json()["cut_at"])
    assert [stranger.client.get("/api/open-bundles/").status_code for _ in range(2)] == [200, 429]


def test_the_sites_desk_shows_ours_beside_its_own(db: None, browser: Any, keeper: Any) -> None:
    furnished(browser)
    desk = Client()
    desk.force_login(get_user_model().people.create_superuser("desk@reedfold.example", "x"))
    front = desk.get("/desk/").content.decode()
    lists = re.findall(r'href="(/desk/(?:people|pinpool\w*)/\w+/)"', front)
    assert len(lists) > 8
    for path in lists:
        assert desk.get(path).status_code == 200, path
    assert desk.get(f"/desk/people/person/{keeper.pk}/change/").status_code == 200


def test_programs_come_by_token(browser: Any, capsys: Any) -> None:
    furnished(browser)
    call_command("issuetoken", "mara@reedfold.example")
    secret = capsys.readouterr().out.split()[0]
    bearer = {"Authorization": f"Bearer {secret}"}
    assert len(Client().get(f"{API}clubs/reedfold/exposures/", headers=bearer).json()["results"]) == 4
    assert f"{API}clubs/{{club}}/exposures/" in Client().get(f"{API}schema/").content.decode()


def test_the_site_lets_an_account_go(browser: Any, keeper: Any) -> None:
    """By its own means; first it tells Pinpool, which leaves the logs to the club as a former member's."""
    furnished(browser)
    other = get_user_model().people.create_user("wim@reedfold.example", "reed is cut at low water")
    code = made(browser.send(f"{API}clubs/reedfold/invitations/", {"role": "keeper", "uses": 2, "days": 7}))["code"]
    them = type(browser)(other)
    made(them.send(f"{API}invitations/{code}/accept/", {}))
    with transaction.atomic():
        prepare_deletion(keeper)
        keeper.delete()
    assert set(ExposureLog.objects.values_list("member", flat=True)) == {None}
    logs = them.client.get(f"{API}clubs/reedfold/exposures/").json()["results"]
    assert [log["member"] for log in logs] == [None] * 4
    assert "a former member" in them.page(f"/pinhole/clubs/reedfold/log/{logs[0]['id']}/")
    other.delete()  # without a word, too


def test_links_keep_the_prefix_that_a_server_puts_before_the_site(stranger: Any) -> None:
    set_script_prefix("/reeds/")
    try:
        page = stranger.client.get("/pinhole/bench/", SCRIPT_NAME="/reeds").content.decode()
        assert reverse("front") == "/reeds/"
    finally:
        set_script_prefix("/")
    ours = page[page.index('<div class="pinpool"') : page.index("</main>")]
    assert 'data-api="/reeds/pinhole/api/v1/"' in page
    assert not re.findall(r'(?:href|action|src)="(/(?!reeds/|assets/)[^"]*)"', ours)
