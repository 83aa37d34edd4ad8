"""A club closed by its last member: everything of it goes, nothing of any other club does."""

import io
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.files.base import ContentFile
from django.db import models
from django.http import Http404
from PIL import Image

from clubs import services
from clubs.models import CameraPhoto, Club, Design, Invitation, IssuedSheet, Membership, Person, TrailEntry
from clubs.trail import record
from exposures.embed.models import Embedding
from exposures.evidence import hold
from exposures.models import Doubt, ExposureLog, ImportBatch, NegativePicture, PaperMerge, Pool, ReceivedPacket
from exposures.pooled import pooled
from exposures.workshops.models import Place, PlaceExposure, Workshop
from optics import contributed
from pinpool.http.etags import Expected
from tests.accounts import PASSWORD
from tests.bodies import PACKET
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory
from tests.problems import problem_of

pytestmark = pytest.mark.django_db


def jpeg() -> ContentFile:
    out = io.BytesIO()
    Image.new("RGB", (6, 4), "darkred").save(out, "JPEG")
    return ContentFile(out.getvalue())


class Full:
    """A club with a row in every table, and a keeper who is its only member."""

    def __init__(self, slug: str) -> None:
        self.keeper = MembershipFactory.create(role="keeper", club__slug=slug)
        self.keeper.user.set_password(PASSWORD)
        self.keeper.user.save()
        self.club, self.at = self.keeper.club, f"/api/v1/clubs/{slug}/"
        user = self.keeper.user
        plane = contributed.stored(contributed.film_plane("drum", height_mm=80.0, diameter_mm=100.0, length_mm=150.0))
        design = Design.objects.create(
            club=self.club, name="Tea caddy", film_plane=plane, hole_diameter_mm=0.35, plate_thickness_mm=0.05,
            wall_thickness_mm=0.3, focal_length_mm=98.0, typed={},
        )  # fmt: skip
        ada = Person.objects.create(club=self.club, name="Ada")
        spec = CameraSpecFactory.create(camera__club=self.club, camera__code="T1", camera__design=design)
        paper = PaperFactory.create(club=self.club)
        batch = ImportBatch.objects.create(club=self.club, kind="exposures", file_name="a.csv", table=[], made_by=user)
        facts = {"spec": spec, "paper": paper, "shared": True}
        logs = [
            ExposureLogFactory.create(**facts, member=user, imported_in=batch),
            ExposureLogFactory.create(**facts, member=None, person=ada),
            ExposureLogFactory.create(**facts, member=None),
        ]
        ExposureLogFactory.create(**facts, member=user, corrects=logs[0])
        NegativePicture(log=logs[1], width_pixels=6, height_pixels=4).image.save("n.jpg", jpeg())
        CameraPhoto(camera=spec.camera, width_pixels=6, height_pixels=4).image.save("p.jpg", jpeg())
        day = Workshop.objects.create(
            club=self.club, name="Creek day", held_on=date(2026, 5, 1), design=design, paper=paper
        )
        place = Place.objects.create(workshop=day, number=1, code=f"{slug}-code"[:16], person=ada, camera=spec.camera)
        PlaceExposure.objects.create(place=place, facts={}, typed={})
        PaperMerge.objects.create(club=self.club, key="a|b", into_key=paper.catalogue_key)
        ReceivedPacket.objects.create(
            club=self.club, source="s", packet_revision=1, checksum="", content=PACKET, logs=4
        )
        Invitation.objects.create(club=self.club, code=f"{slug}-in"[:12], role="guest", expires_at=datetime.now(UTC))
        told = {"kind": "camera", "subject": "camera T1", "action": "read_sheets", "data": {}, "digest": ""}
        IssuedSheet.objects.create(club=self.club, number=1, issued_by=user, **told)
        record(club=self.club, actor=user, action="register_camera", subject="camera T1")
        shown = Embedding.objects.create(club=self.club, registry=True)
        shown.cameras.add(spec.camera)
        shown.papers.add(paper)
        Pool.objects.filter(club=self.club).update(joined=True)
        pooled(self.club)
        Doubt.objects.create(club=self.club, log=logs[2], weight_share=0.1, off_stops=3.0)


def to_club(model: type[models.Model]) -> str:
    """The way from a table's row to its club."""
    ways = {"CameraSpec": "camera__club", "CameraPhoto": "camera__club", "NegativePicture": "log__club",
            "Place": "workshop__club", "PlaceExposure": "place__workshop__club", "Club": "pk"}  # fmt: skip
    return ways.get(model.__name__, "club")


def rows_of(club: int) -> dict[str, list[Any]]:
    """Every row of a club, table by table, as it is stored."""
    found = {}
    for app in ("pinpool_clubs", "pinpool_exposures"):
        for model in apps.get_app_config(app).get_models():
            manager: Any = model._default_manager
            found[model.__name__] = list(manager.filter(**{to_club(model): club}).order_by("pk").values())
    return found


def files(folder: Path) -> set[str]:
    return {path.name for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def creek(settings: Any, tmp_path: Path) -> Full:
    settings.MEDIA_ROOT = tmp_path
    return Full("creek")


def close(club: Full, as_user: Any, tag: str = '"r1"') -> Any:
    return as_user(club.keeper.user).delete(club.at, headers={"If-Match": tag} if tag else {})


def test_everything_goes_and_nothing_of_another_club(
    creek: Full, as_user: Any, tmp_path: Path, django_capture_on_commit_callbacks: Any
) -> None:
    """Row by row in every table there is, and file by file."""
    at_first = files(tmp_path)
    brook = Full("brook")
    kept = rows_of(brook.club.pk)
    assert all(kept.values()), [name for name, rows in kept.items() if not rows]
    number = creek.club.pk
    with django_capture_on_commit_callbacks(execute=True):
        response = close(creek, as_user)
    assert response.status_code == 200, response.content
    assert response.json()["slug"] == "creek"
    left = rows_of(number)
    assert not any(left.values()), {name for name, rows in left.items() if rows}
    assert rows_of(brook.club.pk) == kept
    assert len(at_first) == 2
    assert not files(tmp_path) & at_first
    assert len(files(tmp_path)) == 2
    problem_of(as_user(creek.keeper.user).get(creek.at), 404)


def test_those_who_pooled_with_it_reckon_without_it(creek: Full, as_user: Any) -> None:
    brook = Full("brook")
    logs = pooled(brook.club).fit.cells.logs.sum()
    close(creek, as_user)
    assert pooled(brook.club).fit.cells.logs.sum() == logs - 4


def test_then_the_last_member_can_delete_their_account(creek: Full, as_user: Any) -> None:
    client = as_user(creek.keeper.user)
    problem_of(client.post("/api/v1/accounts/me/deletion/", {"password": PASSWORD}), 409)
    assert close(creek, as_user).status_code == 200
    assert client.post("/api/v1/accounts/me/deletion/", {"password": PASSWORD}).status_code == 200


def test_its_short_name_is_free_again(creek: Full, as_user: Any) -> None:
    close(creek, as_user)
    made = as_user(creek.keeper.user).post("/api/v1/clubs/", {"slug": "creek", "name": "Creek"})
    assert made.status_code == 201


@pytest.mark.parametrize("others", [1, 2])
def test_not_while_anybody_else_belongs_to_it(creek: Full, as_user: Any, others: int) -> None:
    MembershipFactory.create_batch(others, club=creek.club, role="guest")
    before = rows_of(creek.club.pk)
    detail = problem_of(close(creek, as_user), 409)["detail"]
    assert ("one other member" if others == 1 else "2 other members") in detail
    assert "Remove the others first" in detail
    assert rows_of(creek.club.pk) == before


def test_who_joins_while_it_is_closed_keeps_it(
    creek: Full, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, django_capture_on_commit_callbacks: Any
) -> None:
    """The members are counted again at the end: then nothing of all that has happened, and no file is gone."""
    part_with, before, kept = services.closing.part_with, rows_of(creek.club.pk), files(tmp_path)

    def while_it_goes(club: Club) -> None:
        part_with(club)
        MembershipFactory.create(club=club)

    monkeypatch.setattr(services.closing, "part_with", while_it_goes)
    with django_capture_on_commit_callbacks(execute=True), pytest.raises(services.Conflict):
        services.close_club(actor=creek.keeper, expected=Expected(frozenset("*")))
    assert rows_of(creek.club.pk) == before
    assert files(tmp_path) == kept


def test_it_says_which_revision_it_means(creek: Full, as_user: Any) -> None:
    problem_of(close(creek, as_user, tag=""), 428)
    problem_of(close(creek, as_user, tag='"r7"'), 412)
    assert Club.objects.filter(slug="creek").exists()


def test_who_may(creek: Full, as_user: Any) -> None:
    """A leader may not, nor a stranger, nor one who is the last member but no keeper."""
    leader = MembershipFactory.create(club=creek.club, role="leader")
    problem_of(as_user(leader.user).delete(creek.at, headers={"If-Match": "*"}), 403)
    Membership.objects.filter(pk=creek.keeper.pk).delete()
    problem_of(as_user(leader.user).delete(creek.at, headers={"If-Match": "*"}), 403)
    problem_of(as_user(creek.keeper.user).delete(creek.at, headers={"If-Match": "*"}), 404)


def test_who_comes_too_late_finds_nothing(creek: Full, as_user: Any) -> None:
    """A second one who closes it, and somebody who was about to log."""
    close(creek, as_user)
    with pytest.raises(Http404):
        services.close_club(actor=creek.keeper, expected=Expected(frozenset("*")))
    with pytest.raises(Http404):
        hold(creek.keeper.club_id)
    assert not Pool.objects.filter(club=creek.keeper.club_id).exists()
    assert not ExposureLog.objects.filter(club=creek.keeper.club_id).exists()


def test_the_trail_is_still_only_ever_added_to(creek: Full) -> None:
    with pytest.raises(TypeError):
        TrailEntry.objects.filter(club=creek.club).delete()
    with pytest.raises(TypeError):
        TrailEntry.objects.filter(club=creek.club)[0].delete()
