"""Clubs, roles and cameras as stored: what is unique, what never changes, and what comes back as it went in."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from clubs import members, services
from clubs.codes import ALPHABET, new_code
from clubs.models import Camera, CameraSpec, Membership
from clubs.roles import MAY, ROLE_CHOICES, Role, allows
from optics import contributed
from optics.inputs import FilmPlaneField
from pinpool.http.problems import Conflict
from tests.bodies import FILM_PLANES
from tests.factories import AccountFactory, CameraFactory, CameraSpecFactory, ClubFactory, MembershipFactory

pytestmark = pytest.mark.django_db


# ------------------------------------------------------------------------------------------------------- codes


def test_codes_hold_nothing_that_is_taken_for_something_else() -> None:
    assert not set(ALPHABET) & set("0O1IL2Z5S8BUV")
    assert len(set(ALPHABET)) == len(ALPHABET) == 23
    drawn = "".join(new_code(6) for _ in range(2000))
    assert set(drawn) == set(ALPHABET)
    assert {len(new_code(n)) for n in (4,)} == {4}


def test_a_drawn_code_that_is_taken_is_drawn_again(monkeypatch: pytest.MonkeyPatch) -> None:
    actor = MembershipFactory.create()
    CameraFactory.create(club=actor.club, code="AAAA")
    codes = iter(["AAAA", "CCCCC", "DDDDDD"])
    monkeypatch.setattr(services, "new_code", lambda _length: next(codes))
    assert register(actor).code == "CCCCC"


def test_when_every_drawn_code_is_taken_it_is_a_conflict(monkeypatch: pytest.MonkeyPatch) -> None:
    actor = MembershipFactory.create()
    CameraFactory.create(club=actor.club, code="AAAA")
    monkeypatch.setattr(services, "new_code", lambda _length: "AAAA")
    with pytest.raises(Conflict):
        register(actor)
    assert actor.club.cameras.count() == 1


def register(actor: Membership, **more: Any) -> Camera:
    spec = {
        "film_plane": contributed.film_plane("flat", height_mm=120.0, width_mm=90.0, distance_mm=60.0),
        "hole": CameraSpec(hole_diameter_mm=0.3, hole_uncertainty_mm=0.01, plate_thickness_mm=0.1).as_hole(),
        "hole_measured_by": "given",
        "focal_length": 60.0,
        "reason": "",
        "typed": {},
    }
    return services.register_camera(actor=actor, name="Tin", club_owned=False, spec=spec, **more)


# ------------------------------------------------------------------------------------------------------- roles


def test_each_role_may_all_that_those_below_it_may() -> None:
    names = [name for name, _ in ROLE_CHOICES]
    assert names == ["guest", "member", "leader", "keeper"]
    for action, act in MAY.items():
        assert [allows(name, action) for name in names] == [role >= act.role for role in Role]
        assert allows("keeper", action, whose="clubs")
        assert allows("keeper", action, whose="others")
        for name in names:  # what is others' is never easier to come by
            assert allows(name, action) >= allows(name, action, whose="clubs") >= allows(name, action, whose="others")


def test_services_ask_for_the_role_themselves() -> None:
    """Not the views alone: pages and scripts call the same services."""
    guest = MembershipFactory.create(role="guest")
    with pytest.raises(services.PermissionDenied):
        register(guest)
    with pytest.raises(services.PermissionDenied):
        members.add_member(actor=guest, username="x", role="guest")
    assert guest.club.cameras.count() == 0


# -------------------------------------------------------------------------------------------------- uniqueness


def test_what_a_club_has_once() -> None:
    member = MembershipFactory.create()
    camera = CameraFactory.create(club=member.club, code="K7")
    CameraSpecFactory.create(camera=camera, number=1)
    for again in (
        lambda: ClubFactory.create(slug=member.club.slug),
        lambda: MembershipFactory.create(club=member.club, user=member.user),
        lambda: CameraFactory.create(club=member.club, code="K7"),
        lambda: CameraSpecFactory.create(camera=camera, number=1),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            again()
    CameraFactory.create(code="K7")  # another club's


# ------------------------------------------------------------------------------------------------------- specs


def test_a_spec_is_never_changed_in_place() -> None:
    spec = CameraSpecFactory.create()
    spec.hole_diameter_mm = 0.5
    with pytest.raises(TypeError, match="add a new one"):
        spec.save()
    with pytest.raises(TypeError):
        CameraSpec(pk=spec.pk, camera=spec.camera, number=9).save()
    assert CameraSpec.objects.get(pk=spec.pk).hole_diameter_mm == 0.35


def test_the_latest_spec_is_in_force() -> None:
    camera = CameraFactory.create()
    assert camera.spec is None
    for number in (2, 1, 3):
        CameraSpecFactory.create(camera=camera, number=number)
    assert Camera.objects.get(pk=camera.pk).spec.number == 3


def test_the_spec_in_force_at_a_moment() -> None:
    """The latest made by then; what was exposed before the camera was registered counts for the first."""
    camera = CameraFactory.create()
    day = datetime(2026, 3, 1, tzinfo=UTC)
    assert camera.spec_at(day) is None
    for number, days in ((2, 10), (1, 0), (3, 20)):
        CameraSpecFactory.create(camera=camera, number=number, created_at=day + timedelta(days=days))
    stored = Camera.objects.get(pk=camera.pk)
    at = {days: stored.spec_at(day + timedelta(days=days)).number for days in (-400, -1, 0, 9, 10, 19, 20, 999)}
    assert at == {-400: 1, -1: 1, 0: 1, 9: 1, 10: 2, 19: 2, 20: 3, 999: 3}
    assert stored.spec_at(day + timedelta(days=10) - timedelta(microseconds=1)).number == 1


def test_a_camera_is_not_lent_and_retired_at_once() -> None:
    gone = {"lent_until": date(2026, 6, 1), "retired_at": datetime(2026, 5, 1, tzinfo=UTC)}
    for name, value in gone.items():
        CameraFactory.create(**{name: value})
    with pytest.raises(IntegrityError), transaction.atomic():
        CameraFactory.create(**gone)


@pytest.mark.parametrize("kind", FILM_PLANES)
def test_a_stored_film_plane_is_the_posted_one(kind: str) -> None:
    """Through the database and back the very same numbers: one dataclass, one function for both."""
    posted = FilmPlaneField().run_validation(FILM_PLANES[kind] | {"hole_offset": {"x": "1/3 in", "y": "-2 mm"}})
    spec = CameraSpecFactory.create(film_plane=contributed.stored(posted))
    stored = CameraSpec.objects.get(pk=spec.pk).as_film_plane()
    for name in ("kind", "height_mm", "length_mm", "shortest_mm", "longest_mm", "mean_mm", "axis_distance_mm",
                 "hole_offset_y_mm", "field_of_view", "parameters"):  # fmt: skip
        assert getattr(stored, name) == getattr(posted, name), name


def test_a_stored_hole_is_the_cores() -> None:
    hole = CameraSpecFactory.create().as_hole()
    assert (hole.diameter_mm, hole.uncertainty_mm, hole.plate_thickness_mm) == (0.35, 0.01, 0.05)


def test_a_camera_outlives_its_owner_and_its_specs_their_author() -> None:
    spec = CameraSpecFactory.create(camera__owner=AccountFactory.create())
    spec.camera.owner.delete()
    spec.author.delete()
    kept = CameraSpec.objects.select_related("camera").get(pk=spec.pk)
    assert (kept.author, kept.camera.owner) == (None, None)


def test_names_a_person_reads() -> None:
    spec = CameraSpecFactory.create(camera__code="K7", camera__name="Tin")
    member = MembershipFactory.create(user__username="walker", club__name="Creek", role="guest")
    assert (str(spec.camera), str(spec), str(member)) == ("K7 Tin", "K7 Tin #1", "walker in Creek: guest")
