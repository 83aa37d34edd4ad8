"""What a keeper switches on for other web pages, what everybody may then read, and that nothing else is to be had."""

import json
from typing import Any

import numpy as np
import pytest
from django.core.cache import cache
from django.urls import reverse
from rest_framework.test import APIClient

from clubs.models import TrailEntry
from exposures.embed.models import Embedding
from exposures.published import rows_of
from optics.core.reciprocity import PowerLaw
from tests.factories import (
    AccountFactory,
    CameraFactory,
    CameraSpecFactory,
    ClubFactory,
    ExposureLogFactory,
    MembershipFactory,
    PaperFactory,
)
from tests.problems import but_for_its_id, faults_in, problem_of

pytestmark = pytest.mark.django_db

SITE = "https://walkers.example"
#: Words that only members may read.
SECRETS = ("mara-the-keeper", "nils-the-borrower", "a note on the lid", "a note on the batch", "seen by the weir")


@pytest.fixture(autouse=True)
def nobody_has_called() -> None:
    cache.clear()


@pytest.fixture
def keeper() -> Any:
    """A keeper's club: a lent camera, a paper with logs, and notes that are nobody else's business."""
    keeper = MembershipFactory.create(role="keeper", user__username="mara-the-keeper", club__slug="saltmarsh")
    borrower = AccountFactory.create(username="nils-the-borrower")
    spec = CameraSpecFactory.create(
        camera__club=keeper.club, camera__code="DRUM", camera__owner=keeper.user, camera__note="a note on the lid",
        camera__lent_to=borrower, camera__lent_until="2099-01-01", author=keeper.user,
    )  # fmt: skip
    paper = PaperFactory.create(club=keeper.club, name="Glasswort", note="a note on the batch")
    for time in np.geomspace(5, 3000, 8):
        times = {"exposure_time_s": float(time), "indicated_time_s": float(2 ** (0.5 + np.log2(time) / 1.3))}
        ExposureLogFactory.create(spec=spec, paper=paper, member=keeper.user, note="seen by the weir", **times)
    return keeper


def switched(keeper: Any, **on: Any) -> Embedding:
    """With the camera and the paper of `keeper` on unless told otherwise."""
    embedding = Embedding.objects.create(club=keeper.club, origins=on.get("origins", [SITE]), registry=True)
    embedding.cameras.set(keeper.club.cameras.all())
    embedding.papers.set(keeper.club.papers.all())
    return embedding


def public(club: Any) -> list[str]:
    """Every address that everybody may read of a club in which all is on."""
    named = {"club": club.slug}
    camera, paper = club.cameras.get(code="DRUM"), club.papers.get(name="Glasswort")
    of_camera = named | {"code": camera.code}
    return [
        reverse("pinpool:embed:club", kwargs=named),
        reverse("pinpool:embed:cameras", kwargs=named),
        reverse("pinpool:embed:camera", kwargs=of_camera),
        reverse("pinpool:embed:exposure", kwargs=of_camera) + f"?paper={paper.pk}&ev=12",
        reverse("pinpool:embed:paper", kwargs=named | {"id": paper.pk}),
    ]


# ------------------------------------------------------------------------------------------------- what is off


def test_every_public_address_is_among_those_tried(keeper: Any) -> None:
    from exposures.embed.urls import urlpatterns  # noqa: PLC0415

    assert len(public(keeper.club)) == len(urlpatterns)


def test_all_is_off_unless_a_keeper_says_so(keeper: Any, api: APIClient) -> None:
    """And what is off is answered as what is not there, whatever the keeper allowed beside."""
    nowhere = api.get("/api/v1/embed/no-such-club/")
    for at in public(keeper.club):
        assert but_for_its_id(api.get(at)) == but_for_its_id(nowhere)
    Embedding.objects.create(club=keeper.club, origins=[SITE])
    for at in public(keeper.club):
        answer = api.get(at, HTTP_ORIGIN=SITE)
        assert (answer.status_code, but_for_its_id(answer)) == (404, but_for_its_id(nowhere))
        assert "Access-Control-Allow-Origin" not in answer


def test_each_part_is_on_by_itself(keeper: Any, api: APIClient) -> None:
    embedding = switched(keeper)
    club, cameras, camera, exposure, paper = public(keeper.club)
    assert [api.get(at).status_code for at in (club, cameras, camera, exposure, paper)] == [200] * 5
    embedding.registry = False
    embedding.save()
    assert [api.get(at).status_code for at in (club, cameras, camera, exposure, paper)] == [200, 404, 200, 200, 200]
    embedding.papers.clear()
    assert [api.get(at).status_code for at in (club, cameras, camera, exposure, paper)] == [200, 404, 200, 422, 404]
    embedding.papers.set(keeper.club.papers.all())
    embedding.cameras.clear()
    assert [api.get(at).status_code for at in (club, cameras, camera, exposure, paper)] == [200, 404, 404, 404, 200]


def test_nothing_of_people_is_told(keeper: Any, api: APIClient, as_user: Any) -> None:
    """Not to members either: whoever asks here is nobody."""
    switched(keeper)
    for at in public(keeper.club):
        told = api.get(at)
        assert told.status_code == 200
        assert as_user(keeper.user).get(at).content == told.content
        for secret in SECRETS:
            assert secret not in told.content.decode(), at


def test_the_registry_lists_cameras_in_use(keeper: Any, api: APIClient) -> None:
    switched(keeper)
    CameraSpecFactory.create(camera__club=keeper.club, camera__code="AAA")
    CameraSpecFactory.create(camera__club=keeper.club, camera__code="OLD", camera__retired_at="2026-01-01T00:00:00Z")
    CameraFactory.create(club=keeper.club, code="BARE")  # nobody said what it is
    CameraSpecFactory.create(camera__code="ELSE")
    at = reverse("pinpool:embed:cameras", args=["saltmarsh"])
    assert [row["code"] for row in api.get(at).json()["results"]] == ["AAA", "DRUM"]
    first = api.get(at + "?page_size=1&lengths=in").json()
    assert [row["code"] for row in api.get(first["next"]).json()["results"]] == ["DRUM"]
    assert first["results"][0]["hole_diameter"]["unit"] == "in"


# ----------------------------------------------------------------------------------------------- what is told


def test_a_camera_is_told_by_its_latest_spec(keeper: Any, api: APIClient) -> None:
    switched(keeper)
    at = public(keeper.club)[2]
    before = api.get(at).json()
    assert before["f_number"] == pytest.approx(before["focal_length"]["value"] / before["hole_diameter"]["value"])
    assert "150.0 mm long and 80.0 mm high" in before["text"]
    assert before["drawing"][0] == "svg"
    CameraSpecFactory.create(camera=keeper.club.cameras.get(), number=2, hole_diameter_mm=0.7)
    after = api.get(at).json()
    assert after["f_number"] == pytest.approx(before["f_number"] / 2)
    assert api.get(at + "?fields=f_number").json() == {"f_number": after["f_number"]}
    assert "5.91 in long" in api.get(at + "?lengths=in").json()["text"]


def test_a_time_needs_no_plug_in_of_the_film_plane(keeper: Any, api: APIClient) -> None:
    """Where the plug-in of a camera's film plane is gone, its card is too, but not its times."""
    gone = {"kind": "annex_shelf", "height_mm": 60.0}
    CameraSpecFactory.create(camera=keeper.club.cameras.get(), number=2, film_plane=gone, focal_length_mm=90.0)
    switched(keeper)
    at = public(keeper.club)
    assert problem_of(api.get(at[2]), 502)
    assert [api.get(one).status_code for one in (at[3], "/embed/saltmarsh/cameras/DRUM/")] == [200, 200]


def test_a_time_is_the_one_of_the_exposure_card(keeper: Any, api: APIClient, as_user: Any) -> None:
    """For nobody in particular: as wide as members differ, which a member's own answer is not."""
    switched(keeper)
    camera, paper = keeper.club.cameras.get(), keeper.club.papers.get()
    told = api.get(public(keeper.club)[3]).json()
    asked = {"camera": camera.code, "paper": str(paper.pk), "reading": {"ev": 12}}
    own = as_user(keeper.user).post("/api/v1/clubs/saltmarsh/recommendation/", asked).json()
    assert told["indicated_time"] == own["indicated_time"]
    assert told["interval"]["high"]["value"] / told["interval"]["low"]["value"] > 1
    width = [one["interval"]["high"]["value"] / one["interval"]["low"]["value"] for one in (told, own)]
    assert width[0] >= width[1]
    assert told["because"][1].startswith("Glasswort: 8 logs by 1 member")
    assert "ISO 12312-2" in told["caution"]


def test_light_may_be_told_in_any_way(keeper: Any, api: APIClient) -> None:
    """EV 12 at ISO 100 is 1/16 s at f/16 (EV = log2(N²/t)), and 2.5·2¹² lx by ISO 2720 with C = 250."""
    switched(keeper)
    at = public(keeper.club)[3].removesuffix("ev=12")
    by_ev = api.get(at + "ev=12").json()
    for told in ("time=1/16 s&f_number=16&iso=100", "ev=13&iso=200", "illuminance=10240 lx"):
        assert api.get(at + told).json()["ev100"] == pytest.approx(by_ev["ev100"]), told


#: By query, what is at fault.
ODD = {
    "": ("/ev", "unknown_reading"),
    "&ev=bright": ("/ev", "not_a_number"),
    "&ev=1_0": ("/ev", "not_a_number"),
    "&ev=nan": ("/ev", "not_a_number"),
    "&ev=1e1": ("/ev", "not_a_number"),
    "&ev=99": ("/ev", "out_of_range"),
    "&ev=12&time=1/60 s&f_number=16": ("/ev", "ambiguous"),
    "&time=1/60&f_number=16": ("/time", "unit_missing"),
    "&ev=12&ev=13": ("/ev", "repeated_query"),
    "&evs=12": ("/evs", "unknown_query"),
    "&ev=": ("/ev", "blank"),
    "&ev=12&camera=DRUM": ("/camera", "unknown_query"),
}


def test_an_odd_question_is_refused_by_name(keeper: Any, api: APIClient) -> None:
    switched(keeper)
    at = public(keeper.club)[3].removesuffix("&ev=12")
    for query, fault in ODD.items():
        refusal = api.get(at + query, HTTP_ORIGIN=SITE)
        assert faults_in(refusal, 400) == {fault}
        assert refusal["Access-Control-Allow-Origin"] == SITE  # or its page could not say what is wrong


def test_a_paper_must_be_named_and_shown(keeper: Any, api: APIClient) -> None:
    switched(keeper)
    at = public(keeper.club)[3].partition("?")[0]
    assert faults_in(api.get(f"{at}?ev=12"), 400) == {("/paper", "required")}
    hidden = PaperFactory.create(club=keeper.club)
    for paper in (hidden.pk, PaperFactory.create().pk):
        assert faults_in(api.get(f"{at}?ev=12&paper={paper}"), 422) == {("/paper", "unknown_paper")}
    assert faults_in(api.get(f"{at}?ev=12&paper=Glasswort"), 400) == {("/paper", "invalid")}


def test_a_data_sheets_law_is_drawn_as_a_line(keeper: Any, api: APIClient) -> None:
    switched(keeper)
    law = {"law": "power", "exponent": 1.4, "from": "2 s"}
    keeper.club.papers.update(published_rows_s=rows_of(PowerLaw(1.4, 2.0)), published_typed=law, published_source="x")
    drawing = str(api.get(public(keeper.club)[4]).json()["drawing"])
    assert drawing.count("'class': 'published'") == 1
    assert r"power law: exponent 1.4, from 2\xa0s," in drawing


def test_private_logs_move_nothing_and_others_do(keeper: Any, api: APIClient) -> None:
    """What everybody reads is the estimate of the club: every log that is not private, and none that is."""
    switched(keeper)
    at, spec, paper = public(keeper.club)[4], keeper.club.cameras.get().spec, keeper.club.papers.get()
    before = api.get(at)
    wild = {"spec": spec, "paper": paper, "indicated_time_s": 10.0, "exposure_time_s": 20.0}
    as_api = {
        "camera": "DRUM", "paper": str(paper.pk), "taken_at": "2026-05-01T12:00:00Z", "reading": {"ev": 12},
        "exposure_time": "2 h", "result": {"judged_stops": 3}, "visibility": "private",
    }  # fmt: skip
    client = APIClient()
    client.force_authenticate(keeper.user)
    assert client.post("/api/v1/clubs/saltmarsh/exposures/", as_api, format="json").status_code == 201
    assert api.get(at)["ETag"] == before["ETag"]
    ExposureLogFactory.create(**wild)
    from exposures.evidence import mark_changed  # noqa: PLC0415

    mark_changed(club_id=keeper.club.pk, shared=False)
    after = api.get(at)
    assert after["ETag"] != before["ETag"]
    assert after.json()["logs"] == before.json()["logs"] + 1


# ------------------------------------------------------------------------------------------ origins and caches


def test_only_sites_that_the_club_allows_may_show_it(keeper: Any, api: APIClient) -> None:
    switched(keeper)
    for at in public(keeper.club):
        for origin in (None, SITE, "http://testserver"):
            answer = api.get(at, **({"HTTP_ORIGIN": origin} if origin else {}))
            assert answer.status_code == 200
            assert answer.get("Access-Control-Allow-Origin") == (SITE if origin == SITE else None)
            assert "Origin" in answer["Vary"]
            assert "Cookie" not in answer["Vary"]
            assert "Access-Control-Allow-Credentials" not in answer
        for origin in ("https://walkers.example.elsewhere.example", "http://walkers.example", "null", f"{SITE}:8443"):
            refusal = api.get(at, HTTP_ORIGIN=origin)
            assert problem_of(refusal, 403)["detail"].startswith("This club does not let that site")
            assert "Access-Control-Allow-Origin" not in refusal


def test_a_browser_may_ask_before(keeper: Any, api: APIClient) -> None:
    switched(keeper)
    for at in public(keeper.club):
        asked = api.options(at, HTTP_ORIGIN=SITE, HTTP_ACCESS_CONTROL_REQUEST_METHOD="GET")
        assert (asked.status_code, asked["Access-Control-Allow-Origin"]) == (204, SITE)
        assert asked["Access-Control-Allow-Methods"] == "GET, HEAD, OPTIONS"
        assert api.options(at, HTTP_ORIGIN="https://elsewhere.example").status_code == 403


def test_it_is_read_only(keeper: Any, api: APIClient) -> None:
    switched(keeper)
    for at in public(keeper.club):
        for method in (api.post, api.put, api.patch, api.delete):
            problem_of(method(at, {}), 405)


def test_what_a_page_has_is_not_sent_again(keeper: Any, api: APIClient) -> None:
    switched(keeper)
    for at in public(keeper.club):
        first = api.get(at, HTTP_ORIGIN=SITE)
        assert first["Cache-Control"] == "public, max-age=60"
        assert not first["ETag"].startswith("W/")
        again = api.get(at, HTTP_IF_NONE_MATCH=first["ETag"], HTTP_ORIGIN=SITE)
        assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])
        assert again["Access-Control-Allow-Origin"] == SITE
        head = api.head(at)
        assert (head.status_code, head["ETag"]) == (200, first["ETag"])
    before = [api.get(at)["ETag"] for at in public(keeper.club)]
    keeper.club.cameras.update(name="Drum, dented")
    after = [api.get(at)["ETag"] for at in public(keeper.club)]
    assert [old == new for old, new in zip(before, after, strict=True)] == [False, False, False, True, True]


def test_one_address_may_ask_only_so_often(keeper: Any, api: APIClient, settings: Any) -> None:
    settings.PINPOOL = {"EMBED_QUESTIONS_PER_ADDRESS": (2, 300)}
    switched(keeper)
    at = public(keeper.club)[3]
    assert [api.get(at).status_code for _ in range(2)] == [200, 200]
    refusal = api.get(at, HTTP_ORIGIN=SITE)
    assert problem_of(refusal, 429)
    assert refusal["Access-Control-Allow-Origin"] == SITE  # so that its page can say so
    assert int(refusal["Retry-After"]) <= 300
    assert api.get(at, REMOTE_ADDR="10.0.0.7").status_code == 200
    assert [api.get(at).status_code for at in public(keeper.club)] == [200, 200, 200, 429, 200]


# -------------------------------------------------------------------------------------------- the keeper's switches


SWITCHES = "/api/v1/clubs/saltmarsh/embed/"


def test_a_keeper_switches_and_the_trail_tells(keeper: Any, as_user: Any) -> None:
    client, paper = as_user(keeper.user), keeper.club.papers.get()
    off = client.get(SWITCHES)
    assert [off.json()[key] for key in ("origins", "registry", "cameras", "papers")] == [[], False, [], []]
    assert problem_of(client.patch(SWITCHES, {"registry": True}), 428)
    on = {"origins": [SITE, SITE], "registry": True, "cameras": ["drum"], "papers": [str(paper.pk)]}
    changed = client.patch(SWITCHES, on, HTTP_IF_MATCH=off["ETag"])
    assert changed.json()["origins"] == [SITE]
    assert changed.json()["cameras"] == ["DRUM"]
    assert problem_of(client.patch(SWITCHES, on, HTTP_IF_MATCH=off["ETag"]), 412)
    left = client.patch(SWITCHES, {"registry": False}, HTTP_IF_MATCH=changed["ETag"]).json()
    assert (left["cameras"], left["papers"], left["registry"]) == (["DRUM"], [str(paper.pk)], False)
    first, second = TrailEntry.objects.filter(club=keeper.club).order_by("pk")
    assert first.after == {"origins": [SITE], "registry": True, "cameras": ["DRUM"], "papers": ["Glasswort"]}
    assert (second.before, second.after) == ({"registry": True}, {"registry": False})


#: By what a keeper may write, what that is told.
ODD_ORIGINS = {
    "https://club.example/": "Write it as browsers do: https://club.example",
    "https://Club.Example": "https://club.example",
    "https://club.example:443": "https://club.example",
    "https://café.example": "https://xn--caf-dma.example",
    "https://straße.example": "xn--",  # browsers keep this ß (IDNA 2008), where IDNA 2003 names another site
    "https://a\u200db.example": "xn--",
    "http://club.example": "Only https",
    "https://*.club.example": "no wildcard",
    "club.example": "https://club.example, with its port",
    "https://club.example:99999": "with its port",
    "https://mara@club.example": "with its port",
    "https://": "with its port",
    "javascript://club.example": "with its port",
    "null": "with its port",
    "*": "with its port",
}
GOOD_ORIGINS = [
    "https://club.example:8443", "http://localhost", "http://127.0.0.1:8080", "http://[::1]:3000", "https://192.0.2.7",
]  # fmt: skip


def test_an_origin_is_exactly_what_a_browser_sends(keeper: Any, as_user: Any) -> None:
    client = as_user(keeper.user)
    for origin, said in ODD_ORIGINS.items():
        sent = client.patch(SWITCHES, {"origins": [SITE, origin]}, HTTP_IF_MATCH="*")
        [fault] = problem_of(sent, 400)["errors"]
        assert fault["pointer"] == "/origins/1"
        assert said in fault["detail"], origin
    sent = client.patch(SWITCHES, {"origins": GOOD_ORIGINS}, HTTP_IF_MATCH="*")
    assert sent.json()["origins"] == GOOD_ORIGINS


def test_only_what_is_the_clubs_can_be_shown(keeper: Any, as_user: Any) -> None:
    other = CameraSpecFactory.create(camera__code="ELSE").camera
    paper = PaperFactory.create(club=other.club)
    client = as_user(keeper.user)
    unknown = client.patch(SWITCHES, {"cameras": ["DRUM", other.code]}, HTTP_IF_MATCH="*")
    assert faults_in(unknown, 422) == {("/cameras/1", "unknown_cameras")}
    unknown = client.patch(SWITCHES, {"papers": [str(paper.pk)]}, HTTP_IF_MATCH="*")
    assert faults_in(unknown, 422) == {("/papers/0", "unknown_papers")}
    many = [f"https://{number}.example" for number in range(21)]
    assert faults_in(client.patch(SWITCHES, {"origins": many}, HTTP_IF_MATCH="*"), 400) == {("/origins", "max_length")}


def test_it_goes_with_the_club_and_stays_out_of_its_archive(keeper: Any, as_user: Any) -> None:
    switched(keeper)
    client = as_user(keeper.user)
    archive = client.get("/api/v1/clubs/saltmarsh/export/archive/")
    assert SITE not in json.dumps(archive.json())
    assert client.delete("/api/v1/clubs/saltmarsh/", HTTP_IF_MATCH="*").status_code == 200
    assert not Embedding.objects.exists()
    assert ClubFactory.create(slug="saltmarsh")
    assert APIClient().get("/api/v1/embed/saltmarsh/").status_code == 404
