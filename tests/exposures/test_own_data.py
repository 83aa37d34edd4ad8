"""What the log keeps of a person, handed out; and what stays of it, for everybody else, when the account goes."""

from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from clubs.models import Membership
from exposures import pictures
from exposures.evidence import summed
from exposures.models import EvidenceCell, ExposureLog, ImportBatch, NegativePicture, Pool
from exposures.own_data import part_with
from exposures.pooled import pooled
from tests.accounts import PASSWORD, Statements
from tests.bodies import CLUB, PICTURE
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory
from tests.problems import problem_of

pytestmark = pytest.mark.django_db


class Walk:
    """A member with three logs in one cell, beside another's two and a former member's one."""

    def __init__(self) -> None:
        self.member = MembershipFactory.create()
        self.member.user.set_password(PASSWORD)
        self.member.user.save()
        self.club = self.member.club
        self.spec = CameraSpecFactory.create(camera__club=self.club, camera__code="T1")
        self.paper = PaperFactory.create(club=self.club)
        self.other = MembershipFactory.create(club=self.club)
        self.logs = [self.log(self.member.user, result_stops=0.5 * number) for number in range(3)]
        for _ in range(2):
            self.log(self.other.user)
        self.log(None)

    def log(self, user: Any, **facts: Any) -> ExposureLog:
        return ExposureLogFactory.create(spec=self.spec, paper=self.paper, member=user, **facts)


@pytest.fixture
def walk() -> Walk:
    return Walk()


def delete_account(client: APIClient) -> None:
    assert client.post("/api/v1/accounts/me/deletion/", {"password": PASSWORD}).status_code == 200


def parts_of(client: APIClient) -> Any:
    return client.get("/api/v1/accounts/me/data/").json()["parts"]


def test_one_s_own_logs_and_no_one_else_s(walk: Walk, as_user: Any) -> None:
    found = parts_of(as_user(walk.member.user))["exposures"]
    assert [entry["id"] for entry in found] == [str(log.id) for log in walk.logs]
    assert found[1]["result_stops"] == 0.5
    assert {entry["club"] for entry in found} == {walk.club.slug}


def test_handing_logs_out_costs_the_same_however_many(walk: Walk, as_user: Any) -> None:
    client, counts = as_user(walk.member.user), []
    for more in (2, 60):
        for _ in range(more):
            walk.log(walk.member.user)
        with Statements() as ran:
            assert len(parts_of(client)["exposures"]) > more
        counts.append(ran.count)
    assert counts[0] == counts[1]


def test_logs_stay_with_a_former_member(walk: Walk, as_user: Any) -> None:
    """Another revision of each, so that whoever knew the author's name learns that it is gone."""
    reader = as_user(walk.other.user)
    at = f"/api/v1/clubs/{walk.club.slug}/exposures/{walk.logs[0].id}/"
    before = reader.get(at)
    assert before.json()["member"] == walk.member.user.username
    delete_account(as_user(walk.member.user))
    after = reader.get(at, headers={"If-None-Match": before["ETag"]})
    assert after.status_code == 200
    assert after.json() == before.json() | {"member": None, "revision": 2}


def test_cells_still_say_what_the_log_says(walk: Walk, as_user: Any) -> None:
    """All former members count as one; nobody's fit from before counts as fresh."""
    pooled(walk.club)
    stamps = Pool.objects.values_list("stamp", "shared_stamp").get(club=walk.club)
    delete_account(as_user(walk.member.user))
    from_logs = {row["member_id"]: (row["logs"], row["y"]) for row in summed(ExposureLog.objects.all())}
    cells: dict[Any, tuple[int, float]] = {}
    for cell in EvidenceCell.objects.all():
        logs, y = cells.get(cell.member_id, (0, 0.0))
        cells[cell.member_id] = (logs + cell.logs, y + cell.y)
    assert cells == {member: (logs, pytest.approx(y)) for member, (logs, y) in from_logs.items()}
    assert cells[None][0] == 4
    now = Pool.objects.values_list("stamp", "shared_stamp").get(club=walk.club)
    assert now[0] != stamps[0]
    assert now[1] == stamps[1]  # nothing of it was shared
    assert pooled(walk.club).fit.cells.logs.sum() == 6


def test_what_others_see_through_the_pool_is_marked_too(walk: Walk, as_user: Any) -> None:
    walk.log(walk.member.user, shared=True)
    [before] = Pool.objects.filter(club=walk.club).values_list("shared_stamp", flat=True)
    delete_account(as_user(walk.member.user))
    assert Pool.objects.get(club=walk.club).shared_stamp != before


def test_private_logs_go_with_their_author(
    walk: Walk, as_user: Any, settings: Any, tmp_path: Any, django_capture_on_commit_callbacks: Any
) -> None:
    """With their pictures; a correction that the club saw stays, and corrects nothing that is not there."""
    settings.MEDIA_ROOT = tmp_path
    client = as_user(walk.member.user)
    at = f"/api/v1/clubs/{walk.club.slug}/exposures/"
    body = CLUB["exposures/"] | {"paper": str(walk.paper.pk), "shared": False, "visibility": "private"}
    hidden = [client.post(at, body | {"id": f"{n:08}-0b7e-4c8e-9d0e-6a1f0d1c2b3a"}).json()["id"] for n in (1, 2)]
    seen = ExposureLogFactory.create(
        spec=walk.spec, paper=walk.paper, member=walk.member.user,
        corrects=ExposureLog.objects.get(id=hidden[1]),
    )  # fmt: skip
    picture = NegativePicture(log=ExposureLog.objects.get(id=hidden[0]), width_pixels=1, height_pixels=1)
    picture.image.save("x.jpg", ContentFile(b"pixels"))
    name = picture.image.name
    assert len(parts_of(client)["exposures"]) == 6
    with django_capture_on_commit_callbacks(execute=True):
        delete_account(client)
    assert not ExposureLog.objects.filter(id__in=hidden).exists()
    assert not NegativePicture.objects.exists()
    assert not default_storage.exists(name)
    seen = ExposureLog.objects.get(pk=seen.pk)
    assert (seen.member, seen.corrects, seen.revision) == (None, None, 3)


def test_an_account_that_stays_keeps_everything(walk: Walk, as_user: Any) -> None:
    """A refusal by one app undoes what others had begun."""
    Membership.objects.filter(pk=walk.member.pk).update(role="keeper")
    client = as_user(walk.member.user)
    problem_of(client.post("/api/v1/accounts/me/deletion/", {"password": PASSWORD}), 409)
    assert ExposureLog.objects.filter(member=walk.member.user, revision=1).count() == 3


def test_pictures_and_sheets_they_brought_in_are_listed(walk: Walk, as_user: Any, settings: Any, tmp_path: Any) -> None:
    """Their own alone; at the price of one statement each."""
    settings.MEDIA_ROOT = tmp_path
    for log in (walk.logs[1], walk.log(walk.other.user)):
        NegativePicture(log=log, width_pixels=60, height_pixels=40).image.save("x.jpg", ContentFile(b"pixels"))
    for user in (walk.member.user, walk.other.user):
        table = [["Name", "Index"], ["Kelp", "6"], ["Wrack", "9"]]
        facts = {"kind": "papers", "file_name": "stock.csv", "table": table}
        ImportBatch.objects.create(club=walk.club, made_by=user, **facts)
    parts = parts_of(as_user(walk.member.user))
    [picture], [sheet] = parts["pictures"], parts["imports"]
    assert (picture["club"], picture["exposure"]) == (walk.club.slug, str(walk.logs[1].id))
    assert (picture["width_pixels"], picture["height_pixels"]) == (60, 40)
    assert (sheet["club"], sheet["file_name"], sheet["state"]) == (walk.club.slug, "stock.csv", "tried")
    assert (sheet["heading"], sheet["rows"]) == (["Name", "Index"], 2)


def test_a_picture_for_an_entry_that_is_gone_leaves_no_file(
    walk: Walk, as_user: Any, settings: Any, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An import is undone while one of its entries gets a picture: 404, and nothing is kept."""
    settings.MEDIA_ROOT = tmp_path
    encode = pictures.reencoded

    def while_it_is_encoded(*args: Any, **more: Any) -> Any:
        EvidenceCell.objects.all().delete()
        ExposureLog.objects.filter(pk=walk.logs[0].pk).delete()
        return encode(*args, **more)

    monkeypatch.setattr(pictures, "reencoded", while_it_is_encoded)
    at = f"/api/v1/clubs/{walk.club.slug}/exposures/{walk.logs[0].id}/picture/"
    body = {"image": SimpleUploadedFile("n.jpg", PICTURE)}
    problem_of(as_user(walk.member.user).put(at, body, format="multipart", headers={"If-Match": "*"}), 404)
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_sheets_they_brought_in_go_with_them() -> None:
    """A table may hold private rows; what came of it stays."""
    walk = Walk()
    user = walk.member.user
    batch = ImportBatch.objects.create(club=walk.club, kind="exposures", file_name="a.csv", table=[], made_by=user)
    log = ExposureLogFactory.create(spec=walk.spec, member=user, imported_in=batch)
    part_with(user)
    assert not ImportBatch.objects.exists()
    log.refresh_from_db()
    assert log.imported_in is None
