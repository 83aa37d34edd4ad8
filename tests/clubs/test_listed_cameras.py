"""The list of cameras reads rows by statements of its own: it must say what each camera's own address says."""

from datetime import UTC, date, datetime
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.utils import timezone
from rest_framework.test import APIClient

from clubs.models import Camera, CameraSpec
from optics.core.profiles import flat
from pinpool.plugins import registry
from pinpool.plugins.loading import find, load_all
from pinpool.plugins.model import Contribution, Parameter, Plugin
from tests.factories import AccountFactory, CameraFactory, CameraSpecFactory, DesignFactory, MembershipFactory

SHELF = {
    "kind": "shelf", "height_mm": 80.0, "depth_mm": 61.0, "hole_offset_x_mm": 0.0, "hole_offset_y_mm": 1.5,
    "contributed_by": "saltmarsh_shelf",
}  # fmt: skip
PLUGIN = Plugin("saltmarsh_shelf", "1", (1, 0), film_planes=(
    Contribution("shelf", "film on a shelf", "invented", flat, (Parameter("depth", "length", "of the shelf"),)),
))  # fmt: skip
OFFER = SimpleNamespace(
    name="shelf", value="shelf:plugin", dist=SimpleNamespace(name="saltmarsh-shelf"), load=lambda: PLUGIN
)


class Listed:
    """A keeper's client and the club's list of cameras: one of each kind, in the order of their codes."""

    def __init__(self, client: APIClient, keeper: Any) -> None:
        self.client, self.at = client, f"/api/v1/clubs/{keeper.club.slug}/cameras/"
        self.owner, self.author = MembershipFactory.create(club=keeper.club).user, AccountFactory.create()
        club = {"camera__club": keeper.club}
        CameraFactory.create(club=keeper.club, code="A-BARE")
        for number in (2, 1):
            CameraSpecFactory.create(**club, camera__code=f"B-OF-{number}", author=None)
        everything = CameraFactory.create(
            club=keeper.club, code="C-ALL", note="Lid „sticks“ – ½ turn", owner=self.owner, lent_to=self.author,
            lent_until=date(2026, 12, 1), design=DesignFactory.create(club=keeper.club),
        )  # fmt: skip
        for number in (1, 2, 10):
            CameraSpecFactory.create(
                camera=everything, number=number, reason="measured again", author=self.author,
                typed={"hole": {"diameter": "0,35 mm", "plate_thickness": 10**30}},
                measurements=[
                    {"way": "holes_across", "direction": "along", "holes_across": 50, "span_mm": 12.5,
                     "diameter_mm": 0.35, "uncertainty_mm": 0.01},
                    {"way": "scan", "diameter_mm": 0.34, "uncertainty_mm": 0.0, "roundness_share": 1,
                     "resolution_dpi": 2400.0},
                ],
            )  # fmt: skip
        CameraFactory.create(
            club=keeper.club,
            code="D-GONE",
            lent_until=date(2026, 12, 1),
            registered_at=datetime(2026, 6, 1, tzinfo=UTC),
        )
        CameraFactory.create(club=keeper.club, code="E-RETIRED", retired_at=timezone.now())
        CameraSpecFactory.create(**club, camera__code="F-SHELF", film_plane=SHELF, focal_length_mm=61.0)
        CameraSpecFactory.create(camera__code="OTHERS")

    def rows(self, query: str = "") -> list[dict[str, Any]]:
        response = self.client.get(f"{self.at}?{query}")
        assert response.status_code == 200, response.content
        return response.json()["results"]

    def tag(self, query: str = "") -> str:
        """Of the page; and whoever has it is told that nothing changed, by the brief statement too."""
        tag = self.client.get(f"{self.at}?{query}")["ETag"]
        again = self.client.get(f"{self.at}?{query}", HTTP_IF_NONE_MATCH=tag)
        assert (again.status_code, again.content, again["ETag"]) == (304, b"", tag)
        return tag


@pytest.fixture
def here(as_user: Any) -> Listed:
    keeper = MembershipFactory.create(role="keeper")
    return Listed(as_user(keeper.user), keeper)


@pytest.mark.parametrize("lengths", ["mm", "in"])
def test_each_entry_is_what_its_own_address_says(here: Listed, lengths: str) -> None:
    rows = here.rows(f"lengths={lengths}")
    assert [row["code"] for row in rows] == ["A-BARE", "B-OF-1", "B-OF-2", "C-ALL", "D-GONE", "E-RETIRED", "F-SHELF"]
    for row in rows:
        assert row == here.client.get(f"{here.at}{row['code']}/?lengths={lengths}").json()
    assert rows[0]["spec"] is None
    assert rows[3]["spec"]["number"] == 10, "the spec in force"
    assert rows[3]["spec"]["typed"]["hole"]["plate_thickness"] == 10**30, "as written"
    assert rows[4]["loan"] == {"to": None, "until": "2026-12-01"}
    assert rows[4]["registered_at"] == "2026-06-01T00:00:00Z"
    assert rows[6]["spec"]["missing_plugin"].endswith("it came with saltmarsh_shelf, so install that again.")


def test_filtered_and_turned_pages_say_the_same(here: Listed) -> None:
    """By a filter another statement answers, and so after a cursor and before one."""
    rows = here.rows()
    assert here.rows("retired=false") == [row for row in rows if row["retired_at"] is None]
    first = here.client.get(here.at + "?page_size=3").json()
    second = here.client.get(first["next"]).json()
    assert first["results"] + second["results"] == rows[:6]
    assert here.client.get(second["previous"]).json()["results"] == first["results"]
    assert here.rows("fields=code,revision") == [{"code": row["code"], "revision": 1} for row in rows]


def test_instants_are_told_in_utc_whatever_zone_a_site_keeps_them_in(
    here: Listed, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(connection.__dict__, "timezone", ZoneInfo("America/St_Johns"))
    club = Camera.objects.get(code="A-BARE").club
    CameraFactory.create(club=club, code="Z", registered_at=datetime(2026, 6, 1, 12, 30, 15, 250, tzinfo=UTC))
    assert here.rows("search=Z")[-1]["registered_at"] == "2026-06-01T12:30:15.000250Z"


def test_whatever_is_shown_differently_has_another_tag(here: Listed) -> None:
    """What our services change, and what a host site may do to accounts without us."""
    bare = Camera.objects.get(code="A-BARE")
    seen = [here.tag()]

    def changed(what: str) -> None:
        seen.append(here.tag())
        assert seen[-1] not in seen[:-1], what

    for path, body in (("C-ALL/", {"note": "mended"}), ("B-OF-1/", {"owner": here.owner.get_username()})):
        assert here.client.patch(here.at + path, body, headers={"If-Match": "*"}).status_code == 200
        changed(path)
    assert here.client.delete(f"{here.at}D-GONE/loan/", headers={"If-Match": "*"}).status_code == 200
    changed("brought back")
    spec = {"film_plane": {"kind": "flat", "width": "9 cm", "height": "12 cm", "distance": "61 mm"},
            "hole": {"diameter": "0.3 mm"}}  # fmt: skip
    assert here.client.post(f"{here.at}B-OF-2/specs/", spec).status_code == 201
    changed("a new spec")
    CameraFactory.create(club=bare.club, code="Z")
    changed("a new camera")
    type(here.owner).objects.filter(pk=here.owner.pk).update(**{here.owner.USERNAME_FIELD: "renamed"})
    changed("a new name")
    here.author.delete()
    assert CameraSpec.objects.filter(camera__code="C-ALL", author=None).count() == 3
    changed("an account gone")
    with registry.trying(load_all([*find(), OFFER])):
        assert here.rows()[6]["spec"]["missing_plugin"] is None
        changed("the plug-in is here")
    assert here.tag() == seen[-2], "and gone again"


def test_another_page_has_another_tag(here: Listed) -> None:
    queries = ["", "page_size=1", "page_size=2", "retired=true", "retired=false", "search=biscuit"]
    tags = [here.tag(query) for query in queries]
    assert len(set(tags)) == len(tags)
    assert here.client.get(here.at, HTTP_IF_NONE_MATCH=tags[1]).status_code == 200
