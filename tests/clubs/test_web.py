"""The club's pages without a browser: who may see what, what is escaped, what it costs the database."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubs.models import Camera, CameraPhoto, Invitation, Membership
from clubs.roles import Role, allows
from clubs.sheets.issuing import issue
from clubs.trail import record
from clubs.web import panels
from clubs.web.panels import Panel
from tests.clubs.sheets.printed import of_blocks
from tests.factories import AccountFactory, CameraSpecFactory, ClubFactory, DesignFactory, MembershipFactory

pytestmark = pytest.mark.django_db

HOSTILE = "<script>alert(1)</script>"
#: Each page inside a club, and the action that it takes.
PAGES = {
    "club": "read_club",
    "cameras": "read_cameras",
    "camera": "read_cameras",
    "designs": "read_designs",
    "design": "read_designs",
    "sheets": "read_sheets",
    "members": "read_members",
    "trail": "read_trail",
}


@pytest.fixture
def spec() -> Any:
    """A camera of a club with a design, a printed sheet and an invitation."""
    spec = CameraSpecFactory.create(camera__code="T1", camera__owner=AccountFactory.create())
    club = spec.camera.club
    DesignFactory.create(club=club)
    keeper = MembershipFactory.create(club=club, role="keeper")
    issue(actor=keeper, document=of_blocks({"kind": "fold"}))
    invite(keeper)
    return spec


def invite(keeper: Membership, code: str = "ACDE347HJK", **facts: Any) -> Invitation:
    ends = datetime(2099, 1, 1, tzinfo=UTC)
    return Invitation.objects.create(
        **{"club": keeper.club, "code": code, "role": "member", "expires_at": ends, "made_by": keeper.user} | facts
    )


def as_role(club: Any, role: str) -> Client:
    return as_account(MembershipFactory.create(club=club, role=role).user)


def as_account(user: Any) -> Client:
    client = Client()
    client.force_login(user)
    return client


def address(club: Any, page: str) -> str:
    more: dict[str, Any] = {}
    if page == "camera":
        more["code"] = "T1"
    if page == "design":
        more["number"] = club.designs.first().pk
    return reverse(f"clubs_web:{page}", kwargs={"club": club.slug, **more})


def text_of(client: Client, at: str) -> str:
    response = client.get(at)
    assert response.status_code == 200, response.content
    return response.content.decode()


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("role", [role.name.lower() for role in Role])
def test_a_page_is_for_those_whose_role_allows_it(spec: Any, page: str, role: str) -> None:
    response = as_role(spec.camera.club, role).get(address(spec.camera.club, page))
    assert response.status_code == (200 if allows(role, PAGES[page]) else 403)
    assert "script-src" in response.headers["Content-Security-Policy"]
    assert "style=" not in response.content.decode()


@pytest.mark.parametrize("page", PAGES)
def test_a_strangers_club_is_not_there(spec: Any, page: str) -> None:
    at = address(spec.camera.club, page)
    assert as_role(ClubFactory.create(), "keeper").get(at).status_code == 404
    response = Client().get(at)
    assert response.status_code == 302
    assert response.headers["Location"].endswith(f"?next={at.replace('/', '%2F')}")


def test_names_are_told_never_run(spec: Any) -> None:
    club, user = spec.camera.club, AccountFactory.create(username=HOSTILE)
    MembershipFactory.create(club=club, user=user, role="keeper")
    camera = spec.camera
    camera.name = camera.note = club.name = HOSTILE
    camera.owner = camera.lent_to = user
    camera.lent_until = "2099-01-01"
    camera.save()
    club.save()
    CameraSpecFactory.create(
        camera=camera, number=2, reason=HOSTILE, hole_measured_by="<script>", typed={HOSTILE: HOSTILE}
    )
    club.designs.update(name=HOSTILE, note=HOSTILE)
    CameraPhoto.objects.create(camera=camera, image="p.jpg", width_pixels=6, height_pixels=4, caption=HOSTILE)
    Invitation.objects.update(note=HOSTILE)
    told = {"before": {HOSTILE: HOSTILE}, "after": {HOSTILE: [HOSTILE]}}
    record(club=club, actor=user, action="change_camera", subject=HOSTILE, **told)
    client = as_account(user)
    for page in PAGES:
        assert HOSTILE not in text_of(client, address(club, page)), page
        assert "&lt;script&gt;" in text_of(client, address(club, page)), page
    assert HOSTILE not in text_of(client, reverse("clubs_web:clubs"))
    assert HOSTILE not in text_of(Client(), reverse("clubs_web:join", args=["ACDE347HJK"]))


def more(club: Any, count: int) -> None:
    """So many rows more on every page."""
    keeper = Membership.objects.filter(club=club, role="keeper").first()
    assert keeper is not None
    camera = Camera.objects.get(club=club, code="T1")
    for number in range(count):
        member = MembershipFactory.create(club=club)
        spec = CameraSpecFactory.create(camera__club=club, camera__owner=member.user, camera__lent_to=member.user)
        CameraSpecFactory.create(camera=camera, number=camera.specs.count() + 1)
        facts: dict[str, Any] = {"image": "p.jpg", "width_pixels": 6, "height_pixels": 4, "added_by": member.user}
        CameraPhoto.objects.create(camera=camera, **facts)
        CameraPhoto.objects.create(camera=spec.camera, **facts)
        design = DesignFactory.create(club=club)
        Camera.objects.filter(pk=spec.camera.pk).update(design=design)
        invite(keeper, code=f"CODE{Invitation.objects.count()}")
        document = of_blocks({"kind": "fold"}) | {"subject": "camera T1"}
        issue(actor=keeper, document=document)
        record(club=club, actor=member.user, action="add_paper", subject=f"paper {number}", after={"name": "Kelp"})


@pytest.mark.parametrize("page", PAGES)
def test_many_rows_cost_as_many_queries_as_few(spec: Any, monkeypatch: pytest.MonkeyPatch, page: str) -> None:
    monkeypatch.setattr(panels, "_panels", {"camera": {}, "club": {}})
    club = spec.camera.club
    client, at, counts = as_role(club, "keeper"), address(club, page), []
    for rows in (2, 8):
        more(club, rows)
        text_of(client, at)
        with CaptureQueriesContext(connection) as asked:
            text_of(client, at)
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 12, [query["sql"][:120] for query in asked]


@pytest.mark.parametrize("page", ["clubs", "cameras", "designs", "sheets", "members", "trail"])
def test_a_list_is_split_by_cursors(spec: Any, page: str) -> None:
    club = spec.camera.club
    more(club, 3)
    member = MembershipFactory.create(club=club, role="keeper")
    for _ in range(3):
        MembershipFactory.create(user=member.user)
    client = as_account(member.user)
    at = reverse("clubs_web:clubs") if page == "clubs" else address(club, page)
    first = client.get(at + "?page_size=2")
    assert len(first.context["page"].results) == 2
    second = client.get(first.context["page"].next)
    assert not {row.pk for row in first.context["page"].results} & {row.pk for row in second.context["page"].results}
    assert client.get(at + "?cursor=torn").status_code == 404


def test_the_registry_is_searched(spec: Any) -> None:
    club = spec.camera.club
    CameraSpecFactory.create(camera__club=club, camera__code="B7", camera__name="Biscuit drum")
    client, at = as_role(club, "guest"), address(club, "cameras")
    found = text_of(client, at + "?search=biscuit&lent=&retired=false&club_owned=true")
    assert "/cameras/B7/" in found
    assert "/cameras/T1/" not in found
    assert client.get(at + "?search=%00").status_code == 404


def test_forms_show_only_for_who_may_use_them(spec: Any) -> None:
    club, camera = spec.camera.club, spec.camera
    MembershipFactory.create(club=club, user=camera.owner)
    at = address(club, "camera")
    owners, anothers = text_of(as_account(camera.owner), at), text_of(as_role(club, "member"), at)
    for words in ("Lend it", "Add the spec", "Add the photo", "Retire it"):
        assert words in owners
        assert words not in anothers
    assert "Make the sheet" in anothers
    assert "Make the sheet" not in text_of(as_role(club, "guest"), at)
    assert "Register a camera" not in text_of(as_role(club, "guest"), address(club, "cameras"))
    assert "Make an invitation" not in text_of(as_role(club, "leader"), address(club, "members"))
    assert "Close the club" not in text_of(as_role(club, "leader"), address(club, "club"))


def test_two_specs_are_told_apart_in_words_and_stops(spec: Any) -> None:
    for number, diameter in ((2, 0.5), (3, 0.7)):
        CameraSpecFactory.create(camera=spec.camera, number=number, hole_diameter_mm=diameter)
    client, at = as_role(spec.camera.club, "guest"), address(spec.camera.club, "camera")
    latest, chosen = text_of(client, at), text_of(client, at + "?from=1&to=3")
    assert "The hole goes from 0.5 mm to 0.7 mm" in latest
    assert "+1 stop" in latest
    assert "+2 stops" in chosen
    assert client.get(at + "?from=9").status_code == 404
    assert client.get(at + "?from=x").status_code == 404


def test_a_new_spec_starts_from_the_plate_and_the_named_length_in_force(spec: Any) -> None:
    CameraSpecFactory.create(camera=spec.camera, number=2, focal_length_mm=101.6, typed={"focal_length": "4 in"})
    text = text_of(as_role(spec.camera.club, "keeper"), address(spec.camera.club, "camera"))
    assert 'value="0.05 mm"' in text
    assert 'value="101.6 mm"' in text


def test_lengths_are_in_the_readers_unit(spec: Any) -> None:
    client = as_role(spec.camera.club, "guest")
    client.cookies["pinpool_lengths"] = "in"
    assert "0.0138 in" in text_of(client, address(spec.camera.club, "camera"))


def test_a_camera_whose_film_plane_no_plug_in_offers_still_has_a_page(spec: Any) -> None:
    gone = spec.film_plane | {"kind": "folded"}
    CameraSpecFactory.create(camera=spec.camera, number=2, film_plane=gone, focal_length_mm=90.0)
    client = as_role(spec.camera.club, "keeper")
    assert "No plug-in here offers" in text_of(client, address(spec.camera.club, "camera"))
    assert "T1" in text_of(client, address(spec.camera.club, "cameras"))


def test_a_panel_that_fails_harms_nothing_else(spec: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(**_: Any) -> Panel:
        raise ZeroDivisionError

    def unwritten(**_: Any) -> Panel:
        return Panel("Unwritten", "clubs/no_such_template.html", {})

    def left_out(**_: Any) -> None:
        return None

    monkeypatch.setattr(panels, "_panels", {"camera": {}, "club": {}})
    panels.contribute("camera", "Broken", broken)
    panels.contribute("camera", "Unwritten", unwritten)
    panels.contribute("camera", "Left out", left_out)
    text = text_of(as_role(spec.camera.club, "guest"), address(spec.camera.club, "camera"))
    assert text.count("This part cannot be shown just now") == 2
    assert "Left out" not in text


def test_an_invitations_page_tells_what_it_is_to(spec: Any) -> None:
    at = reverse("clubs_web:join", args=["acde347hjk"])
    text = text_of(Client(), at)
    assert f"You are invited to {spec.camera.club.name}" in text
    assert "Make an account and join" in text
    member = MembershipFactory.create(club=spec.camera.club)
    assert "You belong to it already" in text_of(as_account(member.user), at)
    Invitation.objects.update(withdrawn_at=datetime(2026, 1, 1, tzinfo=UTC))
    gone = Client().get(at)
    assert gone.status_code == 404
    assert "was withdrawn or is used up" in gone.content.decode()


def test_guessing_codes_has_to_wait(settings: Any) -> None:
    settings.PINPOOL = settings.PINPOOL | {"INVITATION_TRIES_PER_ADDRESS": (2, 900)}
    at = reverse("clubs_web:join", args=["WRONG34679"])
    assert [Client(REMOTE_ADDR="198.51.100.7").get(at).status_code for _ in range(3)] == [404, 404, 429]


def test_a_typed_code_leads_to_its_page() -> None:
    response = as_account(AccountFactory.create()).get(reverse("clubs_web:clubs"), {"code": " acde 347-hjk"})
    assert response.headers["Location"] == reverse("clubs_web:join", args=["acde347hjk"])


def test_a_club_called_join_has_pages_of_its_own() -> None:
    member = MembershipFactory.create(club__slug="join")
    assert as_account(member.user).get("/clubs/join/cameras/").context["club"] == member.club
