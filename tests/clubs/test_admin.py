"""The site's desk: what is put right there stands on the trail, and nothing that is history can be touched."""

from io import StringIO
from typing import Any

import pytest
from django.contrib import admin
from django.contrib.auth import get_user_model
from django.core.management import CommandError, call_command

from clubs.admin import ReadOnlyAdmin
from clubs.models import Camera, CameraPhoto, CameraSpec, Club, Membership, TrailEntry
from tests.factories import AccountFactory, CameraSpecFactory, ClubFactory, MembershipFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(client: Any) -> Any:
    """A client signed in as whoever runs the site."""
    client.force_login(get_user_model().objects.create_superuser("operator"))
    return client


def at(model: Any, *steps: Any) -> str:
    return f"/admin/pinpool_clubs/{model._meta.model_name}/" + "".join(f"{step}/" for step in steps)


@pytest.mark.parametrize("model", [Camera, CameraPhoto, CameraSpec, TrailEntry])
def test_history_is_seen_and_never_changed(desk: Any, model: Any) -> None:
    spec = CameraSpecFactory.create()
    photo = CameraPhoto.objects.create(camera=spec.camera, image="x.jpg", width_pixels=1, height_pixels=1)
    entry = TrailEntry.objects.create(club=spec.camera.club, action="x", subject="x")
    row = {Camera: spec.camera, CameraSpec: spec, CameraPhoto: photo, TrailEntry: entry}[model]
    assert isinstance(admin.site._registry[model], ReadOnlyAdmin)
    assert desk.get(at(model)).status_code == 200
    shown = desk.get(at(model, row.pk, "change"))
    assert shown.status_code == 200
    assert b"x.jpg" not in shown.content
    for response in (
        desk.get(at(model, "add")), desk.post(at(model, row.pk, "change"), {}),
        desk.post(at(model, row.pk, "delete"), {"post": "yes"}),
    ):  # fmt: skip
        assert response.status_code == 403
    desk.post(at(model), {"action": "delete_selected", "_selected_action": [row.pk], "post": "yes"})
    assert model.objects.filter(pk=row.pk).exists()


def test_the_desk_has_no_door_of_its_own(client: Any) -> None:
    """Its own would count no tries of a password; ours leads back to the desk."""
    response = client.get("/admin/", follow=True)
    assert response.redirect_chain[-1] == ("/sign-in/?next=%2Fadmin%2F", 302)
    assert client.post("/admin/login/", {"username": "operator", "password": "x"}).status_code == 302
    assert b'data-then="/admin/"' in response.content


def test_a_new_keeper_for_a_club_that_lost_its_own(desk: Any) -> None:
    club, user = ClubFactory.create(), AccountFactory.create(username="walker")
    desk.post(at(Membership, "add"), {"club": club.pk, "user": user.pk, "role": "member"})
    member = Membership.objects.get(club=club)
    other = ClubFactory.create()
    desk.post(at(Membership, member.pk, "change"), {"club": other.pk, "user": user.pk, "role": "keeper"})
    member.refresh_from_db()
    assert (member.club, member.role, member.revision) == (club, "keeper", 2)
    told = [(e.actor_name, e.action, e.subject, e.before, e.after) for e in TrailEntry.objects.order_by("id")]
    assert told == [
        ("operator", "add_member", "member walker", None, {"role": "member"}),
        ("operator", "change_role", "member walker", {"role": "member"}, {"role": "keeper"}),
    ]


def test_clubs_and_members_are_not_deleted_here(desk: Any) -> None:
    member = MembershipFactory.create()
    for row in (member, member.club):
        assert desk.post(at(type(row), row.pk, "delete"), {"post": "yes"}).status_code == 403
    assert Membership.objects.filter(pk=member.pk).exists()


def test_an_account_goes_by_a_command_that_parts_with_its_logs(desk: Any) -> None:
    member = MembershipFactory.create(user__username="walker")
    keeper = MembershipFactory.create(club=member.club, role="keeper")
    camera = CameraSpecFactory.create(camera__club=member.club, author=member.user).camera
    assert desk.post(f"/admin/auth/user/{member.user_id}/delete/", {"post": "yes"}).status_code == 403
    call_command("deleteaccount", "walker", stdout=StringIO())
    assert not get_user_model().objects.filter(username="walker").exists()
    assert [spec.author for spec in camera.specs.all()] == [None]
    for name, why in ((keeper.user.username, "keeper"), ("walker", "no account")):
        with pytest.raises(CommandError, match=why):
            call_command("deleteaccount", name)


def test_a_club_gets_another_name_but_no_other_address(desk: Any) -> None:
    club = ClubFactory.create(slug="creek", name="Creek")
    desk.post(at(Club, club.pk, "change"), {"name": "Brook", "slug": "brook"})
    club.refresh_from_db()
    assert (club.name, club.slug, club.revision) == ("Brook", "creek", 2)
    entry = TrailEntry.objects.get()
    assert (entry.action, entry.before, entry.after) == ("change_club", {"name": "Creek"}, {"name": "Brook"})
