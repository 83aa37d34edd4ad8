"""A club handed out whole and made anew: nothing is lost on the way."""

from time import sleep
from typing import Any

import numpy as np
import orjson
import pytest
from django.apps import apps
from django.db import connection

from clubs.models import Camera, CameraPhoto, Club, Person, TrailEntry
from exposures import archive
from exposures.archive import KEYS_HERE, LEFT_OUT, NOT_TOLD, SECTIONS, SINCE_2, checksum
from exposures.evidence import summed
from exposures.models import EvidenceCell, ExposureLog
from exposures.pooled import pooled
from exposures.scopes import member_key
from exposures.services import Result, log_exposure
from exposures.workshops.models import Place, PlaceExposure, Workshop
from tests.exposures.archives import Made, send, signed
from tests.exposures.workshops.conftest import Day
from tests.factories import AccountFactory, CameraSpecFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in, problem_of


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
        "merges": 1, "workshops": 1, "places": 2, "place_exposures": 1, "sheets": 2, "trail": len(told["trail"]),
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
    assert "a claim code" not in text
    assert [sheet["number"] for sheet in told["sheets"]] == [1, 3]
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


def test_a_workshop_as_it_really_was_comes_along(as_user: Any, settings: Any, tmp_path: Any) -> None:
    """One that is closed and one that is not: holes, notes and logs are those of the places, each a person's."""
    settings.MEDIA_ROOT = tmp_path
    day = Day(as_user)
    for number, result in ((1, {"judged_stops": 0.5}), (2, {"right_time": "6 min"}), (3, None)):
        phone = day.phone(number)
        assert phone.named(f"Ada {number}").status_code == 200
        assert number == 3 or phone.hole().status_code == 200
        assert phone.note(result=result, note="calm").status_code == 201
    before = day.keepers.get(f"{day.club_at}export/archive/").json()
    assert [len(before[name]) for name in ("exposures", "place_exposures", "people")] == [0, 3, 0]
    assert day.close().status_code == 200
    after = day.keepers.get(f"{day.club_at}export/archive/").json()
    assert [len(after[name]) for name in ("exposures", "place_exposures", "people")] == [3, 3, 3]
    newcomer = as_user(AccountFactory.create(username="newcomer"))
    for told, slug in ((before, "brook"), (after, "rill")):
        response = send(newcomer, told, slug=slug)
        assert response.status_code == 201, response.content
        again = newcomer.get(f"/api/v1/clubs/{slug}/export/archive/").json()
        for name in ("designs", "people", "workshops", "places"):
            assert again[name] == told[name], name
        facts = [[row["facts"] for row in each["place_exposures"]] for each in (again, told)]
        assert facts[0] == facts[1]
        [shown] = newcomer.get(f"/api/v1/clubs/{slug}/workshops/").json()["results"]
        assert newcomer.get(f"/api/v1/clubs/{slug}/workshops/{shown['number']}/places/").status_code == 200
    for log in ExposureLog.objects.filter(club__slug="rill"):
        place = PlaceExposure.objects.get(id=log.id).place
        assert (place.person, place.name) == (log.person, log.person and log.person.name)
    brook = Workshop.objects.get(club__slug="brook")
    closing = newcomer.post(f"/api/v1/clubs/brook/workshops/{brook.pk}/closing/", {}, headers={"If-Match": "*"})
    assert closing.json()["exposures"] == 3
    assert pooled(brook.club).fit.cells.logs.sum() == pooled(day.club).fit.cells.logs.sum() == 2


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


@pytest.mark.skipif(connection.vendor != "postgresql", reason="the only one that cuts off who is busy")
def test_rows_may_take_longer_than_a_transaction_may_idle(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    read = archive._rows

    def slowly(*about: Any) -> Any:
        sleep(0.05)
        return read(*about)

    monkeypatch.setattr(archive, "_rows", slowly)
    with connection.cursor() as cursor:
        cursor.execute("SET idle_in_transaction_session_timeout = '20ms'")
        assert archive.archive_of(actor=made.keeper, pictures=False)["format"]
        cursor.execute("SET idle_in_transaction_session_timeout = '60s'")
