"""A club handed out whole and made anew: nothing is lost on the way, and nothing false or hostile gets in."""

import io
from datetime import date
from typing import Any

import numpy as np
import orjson
import pytest
from django.apps import apps
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from clubs.models import Camera, CameraPhoto, Club, Design, IssuedSheet, Person, TrailEntry
from exposures.archive import KEYS_HERE, LEFT_OUT, NOT_TOLD, SECTIONS, SINCE_2, checksum
from exposures.evidence import summed
from exposures.models import EvidenceCell, ExposureLog, NegativePicture, PaperMerge
from exposures.pooled import pooled
from exposures.scopes import member_key
from exposures.services import Result, log_exposure
from exposures.workshops.models import Place, PlaceExposure, Workshop
from optics import contributed
from pinpool.pictures import reencoded
from tests.bodies import CLUB
from tests.factories import AccountFactory, CameraSpecFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in, problem_of

IMPORT = "/api/v1/clubs/import-archive/"


def jpeg() -> bytes:
    file = io.BytesIO()
    Image.fromarray(np.random.default_rng(1).integers(0, 255, (40, 60, 3), dtype=np.uint8)).save(file, "PNG")
    return reencoded(file.getvalue(), most_pixels_wide=1600)[0]


class Made:
    """A club with something in every table, made through the API where it has a way."""

    def __init__(self, as_user: Any) -> None:
        self.keeper = MembershipFactory.create(role="keeper", club__slug="creek", club__name="Creek")
        self.club = self.keeper.club
        self.member = MembershipFactory.create(club=self.club, role="member", user__username="walker")
        self.client, self.as_user = as_user(self.keeper.user), as_user
        self.at = "/api/v1/clubs/creek/"
        spec = CameraSpecFactory.create(camera__club=self.club, camera__code="T1", camera__owner=self.member.user)
        CameraSpecFactory.create(camera=spec.camera, number=2, hole_diameter_mm=0.3, reason="measured again")
        lent = CameraSpecFactory.create(camera__club=self.club, camera__code="T2").camera
        Camera.objects.filter(pk=lent.pk).update(lent_to=self.member.user, lent_until=date(2099, 1, 1))
        self.paper = PaperFactory.create(club=self.club, name="Glasswort", batch="B 7", sheets_left=12)
        other = PaperFactory.create(club=self.club, name="Glass wort")
        keys = {"key": other.catalogue_key, "into_key": self.paper.catalogue_key}
        PaperMerge.objects.create(club=self.club, made_by=self.keeper.user, **keys)
        client = as_user(self.member.user)
        body = CLUB["exposures/"] | {"paper": str(self.paper.id)}
        del body["id"]
        results = (
            {"judged_stops": -0.5},
            {"right_time": "6 min"},
            {"density": 1.2, "target": 1.0, "gradient": 0.9},
            None,
        )
        self.logs = [self._post(client, "exposures/", body | {"result": result}) for result in results]
        self._post(client, f"exposures/{self.logs[0]['id']}/corrections/", body | {"reason": "It was 4 min."})
        self._post(client, "exposures/", body | {"visibility": "private", "note": "secret"})
        self.workshop(spec)
        photo = CameraPhoto(camera=lent, width_pixels=60, height_pixels=40, caption="front", added_by=self.keeper.user)
        photo.image.save("", ContentFile(jpeg()))
        picture = NegativePicture(log=ExposureLog.objects.get(id=self.logs[1]["id"]), width_pixels=60, height_pixels=40)
        picture.image.save("", ContentFile(jpeg()))

    def workshop(self, spec: Any) -> None:
        """Somebody without an account with a log and a place, a design, an open place, and two printed sheets."""
        self.ada = Person.objects.create(club=self.club, name="Ada")
        plane = contributed.stored(contributed.film_plane("drum", height_mm=80.0, diameter_mm=100.0, length_mm=150.0))
        design = Design.objects.create(
            club=self.club, name="Tea caddy", film_plane=plane, hole_diameter_mm=0.35, plate_thickness_mm=0.05,
            wall_thickness_mm=0.3, focal_length_mm=98.0, typed={"wall_thickness": "0.3 mm"}, author=self.keeper.user,
        )  # fmt: skip
        Camera.objects.filter(pk=spec.camera_id).update(design=design)
        day = Workshop.objects.create(
            club=self.club, name="Creek day", held_on=date(2026, 5, 1), design=design, paper=self.paper, stations=3,
            joins_as="keeper", leader=self.keeper.user,
        )  # fmt: skip
        facts = {"hole_diameter_mm": 0.34, "hole_uncertainty_mm": 0.01, "hole_measured_by": "scanned"}
        first = Place.objects.create(
            workshop=day, number=1, code="SECRETCODEONE1", name="Ada", person=self.ada, camera=spec.camera, **facts
        )
        Place.objects.create(workshop=day, number=2, code="SECRETCODETWO2", user=self.member.user, name="Walker")
        log, _ = log_exposure(
            actor=self.keeper, camera=spec.camera, paper=self.paper, taken_at=spec.created_at, reading=13.0,
            typed_reading={"ev": 13}, exposure_time=240.0, typed_time="4 min", filter_stops=0.0,
            result=Result({"judged_stops": 0.5}, stops=0.5), person=self.ada,
        )  # fmt: skip
        PlaceExposure.objects.create(place=first, id=log.id, facts={"exposure_time": 240.0}, typed={"ev": 13})
        for number, action in ((1, "read_sheets"), (2, "read_places")):
            told = {"kind": "camera", "subject": "camera T1", "sections": [], "made_at": "x", "number": number}
            digest = checksum({name: told[name] for name in ("kind", "subject", "sections")})
            IssuedSheet.objects.create(
                club=self.club, number=number, kind="camera", subject="camera T1", action=action, data=told,
                digest=digest, issued_by=self.keeper.user,
            )  # fmt: skip

    def _post(self, client: Any, path: str, body: Any) -> Any:
        response = client.post(self.at + path, body)
        assert response.status_code == 201, response.content
        return response.json()

    def archive(self, client: Any = None, club: str = "creek", pictures: str = "included") -> Any:
        response = (client or self.client).get(f"/api/v1/clubs/{club}/export/archive/?pictures={pictures}")
        assert response.status_code == 200, response.content
        return orjson.loads(response.content)


@pytest.fixture
def made(as_user: Any, settings: Any, tmp_path: Any) -> Made:
    settings.MEDIA_ROOT = tmp_path
    return Made(as_user)


def send(client: Any, told: Any, **more: str) -> Any:
    data = told if isinstance(told, bytes) else orjson.dumps(told)
    return client.post(IMPORT, {"file": SimpleUploadedFile("club.json", data)} | more, format="multipart")


def signed(told: dict[str, Any]) -> dict[str, Any]:
    return told | {"checksum": checksum(told)}


def compared(told: dict[str, Any]) -> dict[str, Any]:
    """What of an archive must be the same on another server: all but when and where it was made, and the import.

    Where there was an account there is somebody of its name without one.
    """
    rest = {name: told[name] for name in SECTIONS if name != "people"}
    names = {each["reference"]: each["name"] for each in told["people"]}
    for section, account in (("exposures", "member"), ("places", "user")):
        rest[section] = [
            row | {"person": names.get(row["person"]) or row[account], account: None} for row in rest[section]
        ]
    rest["trail"] = [entry for entry in rest["trail"] if entry["action"] != "import_archive"]
    people = [each for each in told["former_members"] + told["members"] if each["name"] != "newcomer"]
    return rest | {"people": people, "name": told["club"]["name"]}


# ---------------------------------------------------------------------------------------------------- round trip


def test_a_club_on_another_server_is_the_same(made: Made) -> None:
    """The first server's club is gone, as if it had never been here: then even ids are the same."""
    told = made.archive()
    assert {name: len(told[name]) for name in SECTIONS} == {
        "people": 1, "designs": 1, "cameras": 2, "specs": 3, "photos": 1, "papers": 2, "exposures": 6, "pictures": 1,
        "merges": 1, "workshops": 1, "places": 2, "place_exposures": 1, "sheets": 1, "trail": len(told["trail"]),
    }  # fmt: skip
    EvidenceCell.objects.all().delete()
    ExposureLog.objects.all().update(corrects=None)
    ExposureLog.objects.all().delete()
    Workshop.objects.all().delete()
    Camera.objects.all().delete()
    Club.objects.all().delete()
    newcomer = made.as_user(AccountFactory.create(username="newcomer"))
    response = send(newcomer, told)
    assert response.status_code == 201, response.content
    assert compared(made.archive(newcomer)) == compared(told)
    assert TrailEntry.objects.get(action="import_archive").after["checksum"] == told["checksum"]
    log = newcomer.get(f"{made.at}exposures/{made.logs[2]['id']}/").json()
    assert log == made.logs[2] | {"without_account": True, "picture": log["picture"]}


def test_a_club_beside_the_first_says_the_same(made: Made) -> None:
    """Here ids that are taken are drawn anew; all else is equal, and the cells are those of its log."""
    told, newcomer = made.archive(), made.as_user(AccountFactory.create(username="newcomer"))
    problem_of(send(newcomer, told), 409)
    assert send(newcomer, told, slug="brook").status_code == 201
    again = made.archive(newcomer, "brook")
    ids = {row["id"]: other["id"] for name in ("papers", "exposures", "photos", "pictures", "sheets")
           for row, other in zip(told[name], again[name], strict=True)}  # fmt: skip
    assert not ids.keys() & set(ids.values())
    text = orjson.dumps(compared(told)).decode()
    for old, new in ids.items():
        text = text.replace(old, new)
    expected, found = orjson.loads(text), compared(again)
    for name in (*SECTIONS, "people", "name"):
        if name != "trail":  # which says the ids of its day
            assert found[name] == expected[name], name
    brook = Club.objects.get(slug="brook")
    names = ("logs", "x", "xx", "y", "xy", "yy")
    of_brook = EvidenceCell.objects.filter(club=brook)
    assert sorted(of_brook.values_list(*names)) == sorted(
        summed(ExposureLog.objects.filter(club=brook)).values_list(*names)
    )
    assert pooled(brook).answer(brook.papers.get(name="Glasswort")).evidence.logs == 4


def test_a_third_server_is_told_the_same_as_the_second(made: Made) -> None:
    """What became of accounts on the second stays so, to the letter."""
    newcomer = made.as_user(AccountFactory.create(username="newcomer"))
    assert send(newcomer, made.archive(), slug="brook").status_code == 201
    second = made.archive(newcomer, "brook")
    assert {each["name"] for each in second["people"]} == {"Ada", "walker"}
    ids = [row["id"] for name in ("papers", "exposures", "photos", "pictures", "sheets") for row in second[name]]
    assert send(newcomer, second, slug="rill").status_code == 201
    third = made.archive(newcomer, "rill")
    taken = orjson.dumps({name: second[name] for name in SECTIONS if name != "trail"}).decode()
    for old, new in zip(
        ids,
        [row["id"] for name in ("papers", "exposures", "photos", "pictures", "sheets") for row in third[name]],
        strict=True,
    ):
        taken = taken.replace(old, new)
    assert orjson.loads(taken) == {name: third[name] for name in SECTIONS if name != "trail"}


def test_a_log_of_a_workshop_keeps_its_exposure_s_id(made: Made) -> None:
    assert send(made.as_user(), made.archive(), slug="brook").status_code == 201
    noted = PlaceExposure.objects.get(place__workshop__club__slug="brook")
    log = ExposureLog.objects.get(id=noted.id)
    assert (log.club.slug, log.person, noted.place.person) == ("brook", noted.place.person, log.person)
    assert noted.id != PlaceExposure.objects.get(place__workshop__club__slug="creek").id


def test_a_member_and_their_place_become_one_person(made: Made) -> None:
    assert send(made.as_user(), made.archive(), slug="brook").status_code == 201
    place = Place.objects.get(workshop__club__slug="brook", number=2)
    assert set(ExposureLog.objects.filter(club__slug="brook", person=place.person).values_list("person__name")) == {
        ("walker",)
    }


def test_claim_codes_are_no_part_of_an_archive(made: Made) -> None:
    """Nor is the role in which they let somebody join; on the new server they are drawn anew, and hold for nobody."""
    told = made.archive()
    text = orjson.dumps(told).decode()
    assert "SECRETCODE" not in text
    assert "joins_as" not in text
    assert [sheet["number"] for sheet in told["sheets"]] == [1]
    assert send(made.as_user(), told, slug="brook").status_code == 201
    places = Place.objects.filter(workshop__club__slug="brook")
    assert all(place.withdrawn_at is not None and "SECRET" not in place.code for place in places)
    assert len({place.code for place in places}) == 2
    assert {place.workshop.joins_as for place in places} == {""}


def test_an_archive_of_version_1_can_be_read(made: Made) -> None:
    """Written before there were people, designs, workshops and sheets; its members become people all the same."""
    told = made.archive()
    old = {name: value for name, value in told.items() if name not in SINCE_2 or SINCE_2[name]}
    old["exposures"] = [row for row in told["exposures"] if row["person"] is None]
    for section in ("cameras", "exposures"):
        old[section] = [
            {name: value for name, value in row.items() if name not in SINCE_2[section]} for row in old[section]
        ]
    old["version"] = 1
    response = send(made.as_user(), signed(old), slug="brook")
    assert response.status_code == 201, response.content
    brook = Club.objects.get(slug="brook")
    assert brook.exposures.count() == 5
    assert set(brook.exposures.values_list("person__name", flat=True)) == {"walker"}
    assert (brook.designs.count(), brook.cameras.count()) == (0, 2)
    bad = signed(told | {"version": 1, "cameras": [{**told["cameras"][0], "lid": "stuck"}]})
    assert {code for _, code in faults_in(send(made.as_user(), bad, slug="rill"))} == {"archive_keys"}


def test_estimates_are_the_same_without_a_single_account(made: Made) -> None:
    """Papers, cameras and members: those with an account, those without, and former ones, as they were to 1e-9."""
    rng = np.random.default_rng(8)
    others = [MembershipFactory.create(club=made.club) for _ in range(2)]
    gone = MembershipFactory.create(club=made.club)
    second = CameraSpecFactory.create(camera__club=made.club, camera__code="T3", hole_diameter_mm=0.3)
    cameras = {code: Camera.objects.get(club=made.club, code=code) for code in ("T1", "T2", "T3")}
    papers = [made.paper, PaperFactory.create(club=made.club, name="Samphire", nominal_exposure_index=12.0)]
    bea = Person.objects.create(club=made.club, name=others[0].user.username)  # called as an account is
    authors = [*({"actor": each} for each in (*others, gone)), *({"actor": made.keeper, "person": who}
               for who in (made.ada, bea))]  # fmt: skip
    for number, time in enumerate(np.geomspace(20, 4000, 75)):
        stops = round(float(0.3 * rng.standard_normal() + 0.4 * (number % 5) - 0.05 * number), 3)
        log_exposure(
            **authors[number % 5], camera=cameras[f"T{number % 3 + 1}"], paper=papers[number % 2],
            taken_at=second.created_at, reading=float(number % 7 + 9), typed_reading={"ev": number % 7 + 9},
            exposure_time=round(time), typed_time=f"{round(time)} s", filter_stops=0.0,
            result=Result({"judged_stops": stops}, stops=stops),
        )  # fmt: skip
    gone.user.delete()
    newcomer = made.as_user(AccountFactory.create(username="newcomer"))
    assert send(newcomer, made.archive(), slug="brook").status_code == 201
    brook = Club.objects.get(slug="brook")
    old, new = pooled(made.club), pooled(brook)
    assert new.fit.cells.logs.sum() == old.fit.cells.logs.sum() == 79
    assert new.fit.criterion == pytest.approx(old.fit.criterion, abs=1e-9)
    for paper in papers:
        here, there = old.answer(paper), new.answer(brook.papers.get(name=paper.name))
        assert there.evidence == here.evidence
        assert [there.index_factor, there.exponent, there.line.slope] == pytest.approx(
            [here.index_factor, here.exponent, here.line.slope], rel=1e-9
        )
    pairs = [("camera", f"spec {camera.spec.pk}", f"spec {brook.cameras.get(code=code).spec.pk}")
             for code, camera in cameras.items()]  # fmt: skip
    named = {person.name: person for person in brook.people.order_by("-pk")}
    for account in (made.member, *others):
        person = brook.people.filter(name=account.user.username).order_by("pk").last()  # after those without an account
        pairs.append(("member", member_key(account.user_id), member_key(None, person.pk)))
    pairs += [("member", member_key(None, who.pk), member_key(None, named[who.name].pk)) for who in (made.ada, bea)]
    pairs.append(("member", member_key(None), member_key(None)))
    for kind, one, other in pairs:
        here, there = old.fit.offset(kind, one), new.fit.offset(kind, other)
        assert there.evidence == here.evidence
        assert here.evidence.logs > 0 or kind == "camera"
        assert [there.stops, there.error_stops] == pytest.approx([here.stops, here.error_stops], abs=1e-9)


def test_private_logs_stay_with_their_author(made: Made) -> None:
    assert "secret" not in orjson.dumps(made.archive()).decode()


def test_pictures_are_listed_or_included(made: Made) -> None:
    told = made.archive(pictures="listed")
    assert [row["image"] for row in told["photos"] + told["pictures"]] == [None, None]
    newcomer = made.as_user()
    assert send(newcomer, told, slug="brook").status_code == 201
    assert CameraPhoto.objects.count() == 1


def test_the_checksum_is_of_the_canonical_rest(made: Made) -> None:
    told = made.archive()
    assert told["checksum"] == checksum(told)
    assert checksum(told | {"name": "x"}) != told["checksum"]


def test_every_table_of_a_club_is_told_or_left_out_for_a_reason() -> None:
    """A new table, or a new column that is not told, must be thought about."""
    ours = {model.__name__: model for app in ("pinpool_clubs", "pinpool_exposures")
            for model in apps.get_app_config(app).get_models()}  # fmt: skip
    sections = {model.__name__ for model in SECTIONS.values()}
    assert ours.keys() == {"Club"} | sections | LEFT_OUT.keys()
    for name in sections:
        hidden = {field.name for field in ours[name]._meta.concrete_fields} & NOT_TOLD
        assert hidden <= {"club", "imported_in", "catalogue_key"}
    assert {model.__name__: columns for model, columns in KEYS_HERE.items()} == {
        "Place": {"code", "withdrawn_at"}, "Workshop": {"joins_as"},
    }  # fmt: skip


# ------------------------------------------------------------------------------------------------------ refusals


def bend(told: Any, section: str, column: str, value: Any, place: int = 0) -> Any:
    rows = [dict(row) for row in told[section]]
    rows[place] |= {column: value}
    return signed(told | {section: rows})


@pytest.mark.parametrize(
    ("section", "column", "value", "code"),
    [
        ("cameras", "code", "T1" * 20, "max_length"),
        ("cameras", "owner", ["walker"], "invalid"),
        ("specs", "camera", "T9", "unknown_reference"),
        ("specs", "film_plane", {"kind": "flat"}, "invalid"),
        ("specs", "film_plane", {"kind": "nothing", "height_mm": 1}, "invalid"),
        ("specs", "film_plane", "drum", "invalid"),
        ("specs", "f_number", 8.0, "contradiction"),
        ("specs", "hole_diameter_mm", -0.3, "out_of_range"),
        ("specs", "created_at", "2026-05-01T12:00:00", "no_offset"),
        ("papers", "nominal_exposure_index", "6", "wrong_type"),
        ("papers", "nominal_exposure_index", -6.0, "out_of_range"),
        ("papers", "sheets_left", 1.5, "wrong_type"),
        ("exposures", "paper", "Samphire", "unknown_reference"),
        ("exposures", "ev100", 5.0, "contradiction"),
        ("exposures", "exposure_time_s", 1.0, "contradiction"),
        ("exposures", "indicated_time_s", 1.0, "contradiction"),
        ("exposures", "result_stops", 3.0, "contradiction"),
        ("exposures", "result", {"judged": 3}, "unknown_key"),
        ("exposures", "reading", {"ev": "high"}, "invalid"),
        ("exposures", "typed_time", "soon", "invalid"),
        ("exposures", "process", {"typed": 3}, "invalid"),
        ("exposures", "private", True, "contradiction"),
        ("exposures", "filter_stops", 1e300, "out_of_range"),
        ("photos", "image", "bm90IGEgcGljdHVyZQ==", "image_unreadable"),
        ("photos", "image", "<script>", "invalid"),
        ("people", "name", "x" * 151, "max_length"),
        ("people", "reference", 1, "invalid"),
        ("designs", "film_plane", {"kind": "nothing"}, "invalid"),
        ("designs", "hole_diameter_mm", 0.0, "out_of_range"),
        ("designs", "wall_thickness_mm", -1.0, "out_of_range"),
        ("designs", "focal_length_mm", 0.1, "f_number_range"),
        ("cameras", "design", "7", "unknown_reference"),
        ("exposures", "person", "7", "unknown_reference"),
        ("workshops", "design", None, "unknown_reference"),
        ("workshops", "stations", 0, "out_of_range"),
        ("workshops", "process", {"typed": 3}, "invalid"),
        ("places", "workshop", "Creek day", "unknown_reference"),
        ("places", "hole_diameter_mm", None, "contradiction"),
        ("places", "hole_diameter_mm", 99.0, "out_of_range"),
        ("place_exposures", "place", "1/9", "unknown_reference"),
        ("place_exposures", "facts", [], "wrong_type"),
        ("sheets", "action", "read_places", "contradiction"),
        ("sheets", "digest", "0" * 64, "contradiction"),
        ("sheets", "data", "text", "wrong_type"),
        ("trail", "action", None, "null"),
        ("trail", "actor_name", "x" * 200, "max_length"),
    ],
)
def test_rows_that_are_none(made: Made, section: str, column: str, value: Any, code: str) -> None:
    told = made.archive()
    response = send(made.as_user(), bend(told, section, column, value), slug="brook")
    [(pointer, found)] = faults_in(response)
    assert pointer == f"/{section}/0/{column}"
    assert found == code or {found, code} == {"invalid", "unknown_key"}
    assert not Club.objects.filter(slug="brook").exists()


def test_files_that_are_none(made: Made) -> None:
    told, client = made.archive(pictures="listed"), made.as_user()

    def code(sent: Any) -> str:
        [(pointer, found)] = faults_in(send(client, sent, slug="brook"), 422)
        assert pointer == "/file"
        return found

    assert code(b"{") == "bad_json"
    assert code(b"[]") == "not_an_archive"
    assert code(signed(told | {"version": 3})) == "archive_version"
    assert code(told | {"papers": []}) == "archive_checksum"
    assert code(signed(told | {"papers": {}})) == "archive_section"
    deep: Any = 1
    for _ in range(60):
        deep = [deep]
    assert code(signed(told | {"more": deep})) == "too_deep"
    assert code(orjson.dumps(signed(bend(told, "papers", "name", "a\0b")))) == "nul_character"
    assert Club.objects.count() == 1


def test_the_host_site_says_how_large_an_archive_may_be(made: Made, settings: Any) -> None:
    """As the file is read, and before: a form that says it is much larger is not read at all."""
    data, client = orjson.dumps(made.archive(pictures="listed")), made.as_user()
    settings.PINPOOL = {"MAX_ARCHIVE_BYTES": len(data) - 1}
    assert faults_in(send(client, data, slug="brook"), 422) == {("/file", "too_large")}
    settings.PINPOOL = {"MAX_ARCHIVE_BYTES": 10}
    problem_of(send(client, data + b" " * 100_000, slug="brook"), 413)
    settings.PINPOOL = {"MAX_ARCHIVE_BYTES": len(data)}
    assert send(client, data, slug="brook").status_code == 201


def test_nobody_is_made_a_member_or_an_owner_by_an_archive(made: Made) -> None:
    """Names are names: an account that has the same one here gets nothing by it."""
    told = made.archive(pictures="listed")
    assert send(made.as_user(AccountFactory.create(username="newcomer")), told, slug="brook").status_code == 201
    brook = Club.objects.get(slug="brook")
    assert [each.user.username for each in brook.memberships.select_related("user")] == ["newcomer"]
    assert set(brook.cameras.values_list("owner", "lent_to")) == {(None, None)}
    assert set(brook.exposures.values_list("member", flat=True)) == {None}
    assert set(Place.objects.filter(workshop__club=brook).values_list("user", flat=True)) == {None}
    assert set(brook.exposures.values_list("person__name", flat=True)) == {"walker", "Ada"}


def test_merges_in_a_circle(made: Made) -> None:
    told = made.archive(pictures="listed")
    [merge] = told["merges"]
    back = merge | {"key": merge["into_key"], "into_key": merge["key"]}
    response = send(made.as_user(), signed(told | {"merges": [merge, back]}), slug="brook")
    assert {found for _, found in faults_in(response)} == {"same_paper"}


def test_pictures_of_a_refused_archive_are_not_left_behind(made: Made, tmp_path: Any) -> None:
    before = {path for path in tmp_path.rglob("*") if path.is_file()}
    send(made.as_user(), bend(made.archive(), "trail", "action", None), slug="brook")
    assert {path for path in tmp_path.rglob("*") if path.is_file()} == before


def test_what_a_picture_hides_is_gone(made: Made) -> None:
    """A JPEG with notes and a script behind its end comes out as pixels alone."""
    import base64  # noqa: PLC0415

    told = made.archive()
    dirty = base64.b64decode(told["photos"][0]["image"]) + b"<script>alert(1)</script>"
    sent = bend(told, "photos", "image", base64.b64encode(dirty).decode())
    assert send(made.as_user(), sent, slug="brook").status_code == 201
    photo = CameraPhoto.objects.exclude(camera__club__slug="creek").get()
    with photo.image.open("rb") as file:
        assert b"script" not in file.read()


def test_who_may(made: Made, api: Any) -> None:
    problem_of(made.as_user(made.member.user).get(f"{made.at}export/archive/"), 403)
    problem_of(made.as_user().get(f"{made.at}export/archive/"), 404)
    problem_of(send(api, made.archive(pictures="listed")), 401)
