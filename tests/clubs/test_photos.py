"""Photos of cameras: only pixels are kept, only those who may see the camera see them, and nothing is left behind."""

import struct
import zlib
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as site
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from clubs.models import CameraPhoto, TrailEntry
from pinpool.http.schema import OCTETS
from pinpool.http.uploads import FORM_BYTES
from tests.factories import CameraSpecFactory, MembershipFactory
from tests.problems import faults_in, problem_of

SCRIPT = "<script>alert(1)</script>"
PLACE = "52.0907 N, Ann's garden"
GPS = 0x8825


def encoded(size: tuple[int, int] = (60, 40), kind: str = "JPEG", colour: str = "darkred", **how: Any) -> bytes:
    out = BytesIO()
    Image.new("RGB", size, colour).save(out, kind, **how)
    return out.getvalue()


def bomb() -> bytes:
    """A PNG of 40 000 × 40 000 pixels in a few hundred bytes."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", 40_000, 40_000, 8, 2, 0, 0, 0)
    body = chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def files() -> set[Path]:
    return {path for path in Path(site.MEDIA_ROOT).rglob("*") if path.is_file()}


class Here:
    """A club with the camera T1 of `owner` and everybody's clients; `files()` that are here since."""

    def __init__(self, as_user: Any) -> None:
        owner = MembershipFactory.create(user__username="owner")
        self.members = {"owner": owner}
        for role in ("guest", "member", "leader", "keeper"):
            self.members[role] = MembershipFactory.create(club=owner.club, role=role, user__username=role)
        self.clients = {name: as_user(member.user) for name, member in self.members.items()}
        self.camera = CameraSpecFactory.create(
            camera__club=owner.club, camera__code="T1", camera__owner=owner.user
        ).camera
        self.at = f"/api/v1/clubs/{owner.club.slug}/cameras/T1/photos/"
        self.before = files()

    def send(
        self, data: bytes, *, who: str = "owner", name: str = "tin.jpg", kind: str = "image/jpeg", **more: Any
    ) -> Any:
        form = {"image": SimpleUploadedFile(name, data, kind), **more}
        return self.clients[who].post(self.at, form, format="multipart")

    def sent(self, data: bytes | None = None, **how: Any) -> Any:
        response = self.send(encoded() if data is None else data, **how)
        assert response.status_code == 201, response.content
        return response.json()

    def image(self, photo: Any, who: str = "guest") -> Image.Image:
        response = self.clients[who].get(photo["image"])
        assert response.status_code == 200, response.content
        found = Image.open(BytesIO(response.content))
        found.load()
        return found

    def new_files(self) -> set[Path]:
        return files() - self.before


@pytest.fixture
def here(as_user: Any) -> Here:
    return Here(as_user)


# ------------------------------------------------------------------------------------------------- in and out


def test_a_photo_in_and_out(here: Here) -> None:
    photo = here.sent(encoded((3200, 1000), "PNG"), caption=SCRIPT)
    assert photo.keys() == {
        "id", "image", "width_pixels", "height_pixels", "caption", "added_by", "added_at", "revision"
    }  # fmt: skip
    assert (photo["width_pixels"], photo["height_pixels"]) == (1600, 500)
    assert (photo["caption"], photo["added_by"], photo["revision"]) == (SCRIPT, "owner", 1)
    assert photo["image"] == f"http://testserver{here.at}{photo['id']}/image/"
    assert here.clients["guest"].get(here.at).json()["results"] == [photo]
    one = here.clients["guest"].get(f"{here.at}{photo['id']}/")
    assert (one.json(), one["ETag"]) == (photo, '"r1"')
    image = here.image(photo)
    assert (image.format, image.size) == ("JPEG", (1600, 500))
    entry = TrailEntry.objects.get()
    assert (entry.action, entry.subject) == ("add_photo", "camera T1")
    assert entry.after == {"photo": photo["id"], "caption": SCRIPT}


def test_the_image_cannot_be_taken_for_anything_else(here: Here) -> None:
    photo = here.sent(name="../../x.html", kind="text/html")
    response = here.clients["guest"].get(photo["image"])
    assert response["Content-Type"] == "image/jpeg"
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Content-Disposition"] == f'inline; filename="T1-{photo["id"][:8]}.jpg"'
    assert "sandbox" in response["Content-Security-Policy"]
    assert "private" in response["Cache-Control"]
    again = here.clients["guest"].get(photo["image"], HTTP_IF_NONE_MATCH=response["ETag"])
    assert (again.status_code, again.content) == (304, b"")
    head = here.clients["guest"].head(photo["image"])
    assert (head.status_code, head.content) == (200, b"")


@pytest.mark.parametrize("accept", ["image/jpeg", "image/avif,image/webp,*/*;q=0.8", "application/json", "nonsense"])
def test_an_image_comes_as_the_one_thing_it_is(here: Here, accept: str) -> None:
    photo = here.sent()
    assert here.clients["guest"].get(photo["image"], HTTP_ACCEPT=accept)["Content-Type"] == "image/jpeg"
    refused = here.clients["guest"].get(photo["image"] + "?fields=id", HTTP_ACCEPT=accept)
    assert faults_in(refused) == {("/fields", "unknown_query")}


def test_an_image_is_plain_bytes_to_who_asks_for_those(here: Here) -> None:
    image, told = here.sent()["image"], []
    for accept in ("*/*", OCTETS):
        response = here.clients["guest"].get(image, HTTP_ACCEPT=accept)
        told.append((response["Content-Type"], response.content[:2]))
    assert told == [("image/jpeg", b"\xff\xd8"), (OCTETS, b"\xff\xd8")]


def test_where_it_was_taken_is_gone(here: Here) -> None:
    """A place, a comment and a maker's note in; not a byte of them out, neither stored nor answered."""
    exif = Image.Exif()
    exif[270] = PLACE
    exif[37500] = PLACE.encode()
    exif.get_ifd(GPS).update({1: "N", 2: (52.0, 5.0, 26.5), 29: PLACE})
    sent = encoded(exif=exif, comment=PLACE.encode())
    assert sent.count(PLACE.encode()) >= 3
    photo = here.sent(sent)
    [stored] = here.new_files()
    for data in (stored.read_bytes(), here.clients["guest"].get(photo["image"]).content):
        assert PLACE.encode() not in data
        assert b"Exif" not in data
        assert not Image.open(BytesIO(data)).getexif()


def test_it_stands_upright(here: Here) -> None:
    exif = Image.Exif()
    exif[274] = 6
    photo = here.sent(encoded((60, 40), exif=exif))
    assert (photo["width_pixels"], photo["height_pixels"]) == here.image(photo).size == (40, 60)


@pytest.mark.parametrize("behind", [SCRIPT.encode(), b"PK\x03\x04" + b"\0" * 200, b"%PDF-1.7\n%%EOF"])
def test_a_file_that_is_two_things_at_once_becomes_one(here: Here, behind: bytes) -> None:
    here.sent(encoded() + behind)
    [stored] = here.new_files()
    assert behind not in stored.read_bytes()


@pytest.mark.parametrize(
    "name",
    [b"../../../etc/passwd.jpg", b"a\\..\\b.jpg", b"..", b"/", b"\0.jpg", b"x" * 300 + b".jpg", "é;.jpg".encode(),
     b"\xff.jpg", b"x.php\0.jpg", b"%2e%2e%2fx.jpg", b"CON"],
)  # fmt: skip
def test_nothing_of_a_file_s_name_is_kept(here: Here, name: bytes) -> None:
    """Sent byte by byte: a client made for tests would tidy the name."""
    head = b'--x\r\nContent-Disposition: form-data; name="image"; filename="' + name + b'"\r\n\r\n'
    body = head + encoded() + b"\r\n--x--\r\n"
    response = here.clients["owner"].generic("POST", here.at, body, content_type="multipart/form-data; boundary=x")
    if response.status_code == 201:
        photo = response.json()["id"]
        assert here.new_files() == {Path(site.MEDIA_ROOT) / f"pinpool/cameras/{here.camera.pk}/{photo}.jpg"}
    else:  # no name that a file could have, so no file was sent
        assert faults_in(response) == {("/image", "required")}
        assert not here.new_files()


# ---------------------------------------------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"hello", "image_kind"),
        (b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>", "image_kind"),
        (encoded(kind="GIF"), "image_kind"),
        (encoded(kind="BMP"), "image_kind"),
        (encoded((400, 400))[:300], "image_truncated"),
        (bomb(), "image_too_large"),
    ],
    ids=["text", "svg", "gif", "bmp", "half", "bomb"],
)
def test_files_that_are_none(here: Here, data: bytes, code: str) -> None:
    assert faults_in(here.send(data), 422) == {("/image", code)}
    assert not here.new_files()
    assert not CameraPhoto.objects.exists()


def test_forms_that_are_none(here: Here) -> None:
    client = here.clients["owner"]
    assert faults_in(client.post(here.at, {"caption": "x"}, format="multipart")) == {("/image", "required")}
    assert faults_in(client.post(here.at, {"image": "x"}, format="multipart")) == {("/image", "invalid")}
    assert faults_in(here.send(b"")) == {("/image", "empty")}
    assert faults_in(here.send(encoded(), caption="x" * 201)) == {("/caption", "max_length")}
    for name in ("camera", "added_by", "id", "revision", "club"):
        assert faults_in(here.send(encoded(), **{name: "1"})) == {(f"/{name}", "unknown_key")}
    problem_of(client.post(here.at, {"image": "x"}), 415)
    assert not here.new_files()


def test_a_form_too_large_is_not_read(here: Here, settings: Any) -> None:
    settings.PINPOOL = {"MAX_SCAN_BYTES": 1000}
    assert faults_in(here.send(b"\0" * (1000 + FORM_BYTES)), 413) == {("", "too_large")}
    assert faults_in(here.send(b"\0" * 1001), 422) == {("/image", "image_too_large")}


def test_a_camera_has_so_many_photos_at_most(here: Here, settings: Any) -> None:
    settings.PINPOOL = {"MAX_CAMERA_PHOTOS": 2}
    for _ in range(2):
        here.sent()
    assert "2 photos" in problem_of(here.send(encoded()), 409)["detail"]
    assert len(here.new_files()) == CameraPhoto.objects.count() == 2


def test_a_photo_that_cannot_be_stored_leaves_no_file(here: Here, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_args: Any, **_kwargs: Any) -> None:
        raise OSError("the disk is full")

    monkeypatch.setattr("clubs.photos.record_camera", full)
    with pytest.raises(OSError, match="disk is full"):
        here.send(encoded())
    assert not here.new_files()


# -------------------------------------------------------------------------------------- captions and removing


def test_another_caption(here: Here) -> None:
    photo = here.sent(caption="the lid")
    at = f"{here.at}{photo['id']}/"
    client = here.clients["owner"]
    problem_of(client.patch(at, {"caption": "the tin"}), 428)
    changed = client.patch(at, {"caption": "the tin"}, headers={"If-Match": '"r1"'})
    assert (changed.json(), changed["ETag"]) == (photo | {"caption": "the tin", "revision": 2}, '"r2"')
    problem_of(client.patch(at, {"caption": "mine"}, headers={"If-Match": '"r1"'}), 412)
    assert client.patch(at, {"caption": "the tin"}, headers={"If-Match": "*"}).json()["revision"] == 2
    last = TrailEntry.objects.latest("id")
    assert (last.action, last.before, last.after) == ("caption_photo", {"caption": "the lid"}, {"caption": "the tin"})
    for body in ({}, {"caption": None}, {"caption": "x" * 201}, {"caption": "x", "image": "y"}):
        assert faults_in(client.patch(at, body, headers={"If-Match": "*"}))


def test_removing_takes_the_file_along_once_that_is_certain(
    here: Here, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    photo = here.sent()
    at = f"{here.at}{photo['id']}/"
    client = here.clients["owner"]
    problem_of(client.delete(at), 428)
    problem_of(client.delete(at, headers={"If-Match": '"r2"'}), 412)
    with django_capture_on_commit_callbacks(execute=True):
        gone = client.delete(at, headers={"If-Match": '"r1"'})
        assert (gone.status_code, gone.json()) == (200, photo)
        assert len(here.new_files()) == 1
    assert not here.new_files()
    for path in (at, photo["image"]):
        problem_of(client.get(path), 404)
    problem_of(client.delete(at, headers={"If-Match": "*"}), 404)
    last = TrailEntry.objects.latest("id")
    assert (last.action, last.before, last.after) == ("remove_photo", {"photo": photo["id"], "caption": ""}, None)


def test_a_file_that_is_lost_is_not_found(here: Here) -> None:
    photo = here.sent()
    default_storage.delete(CameraPhoto.objects.get().image.name)
    problem_of(here.clients["guest"].get(photo["image"]), 404)


# ------------------------------------------------------------------------------------------------- permission


def test_who_sees_a_photo(here: Here, as_user: Any, api: Any) -> None:
    photo = here.sent()
    for who in here.clients:
        assert here.image(photo, who).size == (60, 40)
    elsewhere = as_user(MembershipFactory.create(role="keeper").user)
    for path in (here.at, f"{here.at}{photo['id']}/", photo["image"]):
        problem_of(elsewhere.get(path), 404)
        problem_of(api.get(path), 401)
    here.members["member"].delete()
    problem_of(here.clients["member"].get(photo["image"]), 404)


def test_another_camera_s_photo_is_not_found_at_this_one(here: Here) -> None:
    photo = here.sent()
    CameraSpecFactory.create(camera__club=here.camera.club, camera__code="T2")
    for end in ("", "image/"):
        problem_of(here.clients["guest"].get(f"{here.at.replace('T1', 'T2')}{photo['id']}/{end}"), 404)


def test_who_may_add_word_and_remove(here: Here) -> None:
    """With another's camera its owner and keepers, with the club's all members; and everybody with their own photo."""
    star = {"If-Match": "*"}
    for who in ("guest", "member", "leader"):
        problem_of(here.send(encoded(), who=who), 403)
    by_keeper = f"{here.at}{here.sent(who='keeper')['id']}/"
    here.camera.owner = None
    here.camera.save()
    problem_of(here.send(encoded(), who="guest"), 403)
    by_member = f"{here.at}{here.sent(who='member')['id']}/"
    for who, at in (("guest", by_member), ("leader", by_member), ("owner", by_member), ("member", by_keeper)):
        problem_of(here.clients[who].patch(at, {"caption": who}, headers=star), 403)
        problem_of(here.clients[who].delete(at, headers=star), 403)
    for who in ("member", "keeper"):
        assert here.clients[who].patch(by_member, {"caption": who}, headers=star).status_code == 200
    assert here.clients["member"].delete(by_member, headers=star).status_code == 200
    assert CameraPhoto.objects.count() == 1


# ------------------------------------------------------------------------------------------------------- list


def test_the_oldest_comes_first_page_by_page(here: Here, django_assert_num_queries: Any) -> None:
    """A page of two hundred costs what a page of two does: the member, the camera with specs and authors, the page."""
    rows = [CameraPhoto(camera=here.camera, image=f"{n}.jpg", width_pixels=n + 1, height_pixels=1,
                        added_by=here.members["owner"].user) for n in range(200)]  # fmt: skip
    CameraPhoto.objects.bulk_create(rows)
    client = here.clients["guest"]
    for many in (2, 200):
        with django_assert_num_queries(5):
            page = client.get(f"{here.at}?page_size={many}").json()
        assert [row["width_pixels"] for row in page["results"]] == list(range(1, many + 1))
    first = client.get(f"{here.at}?page_size=150").json()
    second = client.get(first["next"]).json()
    assert [row["width_pixels"] for row in second["results"]] == list(range(151, 201))
    assert faults_in(client.get(here.at + "?caption=x")) == {("/caption", "unknown_query")}
