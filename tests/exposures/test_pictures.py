"""Pictures of negatives: of the file only the pixels are kept, and only those who may see the entry see them."""

from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as site
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from clubs.models import TrailEntry
from exposures.models import NegativePicture
from pinpool.http.uploads import FORM_BYTES
from tests.exposures.test_corrections import correct, read
from tests.factories import ExposureLogFactory, MembershipFactory
from tests.problems import faults_in, problem_of

PLACE = "52.0907 N, Ann's garden"


def encoded(size: tuple[int, int] = (60, 40), kind: str = "JPEG", **how: Any) -> bytes:
    out = BytesIO()
    Image.new("RGB", size, "darkred").save(out, kind, **how)
    return out.getvalue()


def files() -> set[Path]:
    return {path for path in Path(site.MEDIA_ROOT).rglob("*") if path.is_file()}


def put(here: Any, entry: dict[str, Any], data: bytes | None = None, *, client: Any = None, **how: Any) -> Any:
    name, tag = how.pop("name", "negative.jpg"), how.pop("tag", "*")
    body = {"image": SimpleUploadedFile(name, encoded() if data is None else data)} | how
    headers = {"If-Match": tag} if tag else {}
    at = f"{here.at}exposures/{entry['id']}/picture/"
    return (client or here.client).put(at, body, format="multipart", headers=headers)


def image(here: Any, entry: dict[str, Any], client: Any = None, **headers: str) -> Any:
    return (client or here.client).get(f"{here.at}exposures/{entry['id']}/picture/image/", headers=headers)


def remove(here: Any, entry: dict[str, Any], client: Any = None, tag: str | None = "*") -> Any:
    at = f"{here.at}exposures/{entry['id']}/picture/"
    return (client or here.client).delete(at, headers={"If-Match": tag} if tag else {})


def test_a_picture_comes_back_as_pixels_alone(here: Any) -> None:
    exif = Image.Exif()
    exif[270] = PLACE
    entry, sent = here.log(), encoded((3200, 1000), exif=exif) + b"<script>alert(1)</script>"
    response = put(here, entry, sent, name="../../../etc/passwd", tag='"r1"')
    assert response.status_code == 200
    shown = response.json()
    assert shown == read(here, entry)
    assert (shown["picture"]["width_pixels"], shown["picture"]["height_pixels"]) == (1600, 500)
    assert shown == entry | {"picture": shown["picture"], "revision": 2}
    assert response["ETag"] == '"r2"'
    found = image(here, entry)
    assert found["Content-Type"] == "image/jpeg"
    assert found["X-Content-Type-Options"] == "nosniff"
    assert found["Content-Disposition"] == f'inline; filename="{entry["id"][:8]}.jpg"'
    assert Image.open(BytesIO(found.content)).size == (1600, 500)
    assert PLACE.encode() in sent
    assert PLACE.encode() not in found.content
    assert b"script" not in found.content
    stored = NegativePicture.objects.get()
    assert stored.image.name == f"pinpool/negatives/{stored.log_id}/{stored.id}.jpg"
    told = TrailEntry.objects.get(action="put_picture")
    assert (told.subject, told.before, told.after) == (f"exposure {entry['id']}", None, None)


def test_another_picture_takes_its_place(here: Any, django_capture_on_commit_callbacks: Any) -> None:
    entry, before = here.log(), files()
    put(here, entry)
    first = image(here, entry)
    assert image(here, entry, **{"If-None-Match": first["ETag"]}).status_code == 304
    problem_of(put(here, entry, tag=None), 428)
    problem_of(put(here, entry, tag='"r1"'), 412)
    assert len(files() - before) == 1  # what was refused left no file
    with django_capture_on_commit_callbacks(execute=True):
        put(here, entry, encoded((30, 30)), tag='"r2"')
    assert image(here, entry, **{"If-None-Match": first["ETag"]}).status_code == 200
    assert len(files() - before) == NegativePicture.objects.count() == 1


def test_removing_a_picture(here: Any, django_capture_on_commit_callbacks: Any) -> None:
    entry, before = here.log(), files()
    problem_of(remove(here, entry), 404)
    put(here, entry)
    problem_of(remove(here, entry, tag=None), 428)
    problem_of(remove(here, entry, tag='"r1"'), 412)
    with django_capture_on_commit_callbacks(execute=True):
        response = remove(here, entry, tag='"r2"')
    assert response.json() == entry | {"revision": 3}
    assert files() == before
    problem_of(image(here, entry), 404)
    assert read(here, entry)["picture"] is None


def test_whose_pictures_one_may_touch(here: Any, as_user: Any) -> None:
    author = MembershipFactory.create(club=here.club)
    entry = {"id": str(ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=author.user).id)}
    clients = {role: as_user(MembershipFactory.create(club=here.club, role=role).user) for role in ("guest", "keeper")}
    clients |= {"author": as_user(author.user), "leader": here.client}
    for role in ("guest", "leader"):
        problem_of(put(here, entry, client=clients[role]), 403)
    assert put(here, entry, client=clients["author"]).status_code == 200
    assert put(here, entry, client=clients["keeper"]).status_code == 200
    for role in ("guest", "leader"):
        problem_of(remove(here, entry, clients[role]), 403)
        assert image(here, entry, clients[role]).status_code == 200
    assert remove(here, entry, clients["keeper"]).status_code == 200
    elsewhere = {"id": str(ExposureLogFactory.create().id)}
    for response in (put(here, elsewhere), remove(here, elsewhere), image(here, elsewhere)):
        problem_of(response, 404)


def test_a_private_entrys_picture_is_private(here: Any, as_user: Any) -> None:
    entry = here.log(visibility="private")
    assert put(here, entry).status_code == 200
    assert image(here, entry).status_code == 200
    keeper = as_user(MembershipFactory.create(club=here.club, role="keeper").user)
    for response in (image(here, entry, keeper), put(here, entry, client=keeper), remove(here, entry, keeper)):
        problem_of(response, 404)
    assert not TrailEntry.objects.exists()


def test_a_picture_goes_along_with_a_correction(here: Any) -> None:
    entry = here.log()
    put(here, entry)
    right = correct(here, entry, note="right").json()
    assert right["picture"] is not None
    assert image(here, right).status_code == 200
    problem_of(image(here, entry), 404)
    assert remove(here, right).status_code == 200


@pytest.mark.parametrize(
    ("data", "code"),
    [(b"", "empty"), (b"hello", "image_kind"), (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "image_kind"),
     (encoded(kind="GIF"), "image_kind"), (encoded((400, 400))[:1000], "image_truncated")],
    ids=["empty", "text", "svg", "gif", "cut"],
)  # fmt: skip
def test_files_that_are_no_pictures(here: Any, data: bytes, code: str) -> None:
    entry, before = here.log(), files()
    assert faults_in(put(here, entry, data), 400 if code == "empty" else 422) == {("/image", code)}
    assert files() == before
    assert read(here, entry) == entry


def test_forms_that_are_none(here: Any, settings: Any) -> None:
    entry = here.log()
    at = f"{here.at}exposures/{entry['id']}/picture/"
    headers = {"If-Match": "*"}
    assert faults_in(here.client.put(at, {}, format="multipart", headers=headers)) == {("/image", "required")}
    assert faults_in(here.client.put(at, {"image": "x"}, format="multipart", headers=headers)) == {
        ("/image", "invalid")
    }
    assert ("/log", "unknown_key") in faults_in(put(here, entry, log="1"))
    problem_of(here.client.put(at, {"image": "x"}, headers=headers), 415)
    settings.PINPOOL = {"MAX_SCAN_BYTES": 1000}
    problem_of(put(here, entry, encoded((60, 40), "TIFF") + b"\0" * (FORM_BYTES + 1000)), 413)
    assert faults_in(put(here, entry, encoded((60, 40), "TIFF")), 422) == {("/image", "image_too_large")}
