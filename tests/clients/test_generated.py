"""The generated client keeps a club: every answer comes back as its model, every refusal as a problem document."""

from datetime import UTC, datetime, timedelta
from io import BytesIO
from typing import Any
from urllib.parse import parse_qs, urlsplit
from uuid import UUID

import pytest
from PIL import Image
from pypdf import PdfReader

from tests.bodies import FILM_PLANES, PICTURE
from tests.clients.conftest import Asking
from tests.optics.synthetic_scans import random_recipe, render

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)
ENTRY = UUID("3f2b7a52-0b7e-4c8e-9d0e-6a1f0d1c2b3a")
CLUB = "saltmarsh"
PLANES = {"flat": "FlatPlane", "bowed": "BowedPlane", "drum": "DrumPlane", "half_drum": "HalfDrumPlane",
          "profile": "ProfilePlane"}  # fmt: skip


def camera(ask: Asking, code: str, kind: str = "drum") -> Any:
    """Register a camera whose hole's other figures are left to the model's own defaults."""
    models = ask.models
    plane = getattr(models, f"{PLANES[kind]}Request").from_dict(FILM_PLANES[kind])
    counted = models.HoleReadingRequest(holes_across=3.0, span="1 mm")
    spec = models.SpecRequest(film_plane=plane, hole=models.MadeHoleRequest(readings=[counted]))
    body = models.CameraRequest(code=code, name=f"Tea caddy {code}", spec=spec)
    return ask("cameras_create", CLUB, body=body, status=201)


def entry(ask: Asking, paper: Any, **facts: Any) -> Any:
    """The body of a log entry."""
    models = ask.models
    return models.LogRequest(**{
        "camera": "T1", "paper": paper.id, "taken_at": NOON, "reading": models.EvReadingRequest(ev=12.0),
        "exposure_time": models.TimeValueRequest(value=3.0, unit=models.TimeValueRequestUnit("min")),
        "result": models.ResultRequest(judged_stops=-0.5),
    } | facts)  # fmt: skip


@pytest.fixture
def paper(ask: Asking) -> Any:
    """A paper of a club with the camera T1, all of it made by the client."""
    models = ask.models
    ask("clubs_create", body=models.ClubRequest(slug=CLUB, name="Saltmarsh (invented)"), status=201)
    camera(ask, "T1")
    stock = models.PaperRequest(name="Glasswort 2", family="graded paper", nominal_exposure_index=6.0)
    return ask("papers_create", CLUB, body=stock, status=201)


def test_the_token_is_its_account_s(ask: Asking) -> None:
    assert ask("accounts_me_read").username == "walker"


def test_cameras_of_every_film_plane(ask: Asking, paper: Any) -> None:
    for code, kind in enumerate(PLANES, start=2):
        made = camera(ask, f"T{code}", kind)
        assert type(made.spec.film_plane).__name__ == PLANES[kind]
        assert made.spec.film_plane.kind == kind
        assert made.spec.hole.diameter.value == pytest.approx(1 / 3)
        assert made.retired_at is made.loan is None
    inches = ask("cameras_read", CLUB, "T2", lengths=ask.models.Lengths("in"))
    assert inches.spec.hole.diameter.value == pytest.approx(1 / 3 / 25.4)
    assert inches.spec.hole.diameter.unit == "in"


def test_a_log_and_what_it_teaches(ask: Asking, paper: Any) -> None:
    models = ask.models
    bath = models.ProcessRequest(developer="Bladderwrack", temperature="20 °C", method=models.ProcessRequestMethod.TRAY)
    body = entry(ask, paper, id=ENTRY, process=bath)
    made = ask("exposures_create", CLUB, body=body, status=201)
    assert (made.id, made.taken_at, made.exposure_time.text) == (ENTRY, NOON, "3 min")
    assert (made.process.developer, made.process.method) == ("Bladderwrack", "tray")
    assert ask("exposures_create", CLUB, body=body) == made  # the same sent again is the same entry
    asked = models.RecommendationRequest(camera="T1", paper=paper.id, reading=models.TimeReadingRequest(
        time="1/60 s", f_number=16.0, iso=100.0
    ))  # fmt: skip
    found = ask("recommendation", CLUB, body=asked)
    assert found.exposure_time.unit == "s"
    assert found.interval.low.value < found.exposure_time.value < found.interval.high.value
    assert found.because


def test_a_log_page_by_page_and_filtered(ask: Asking, paper: Any) -> None:
    camera(ask, "T2")
    for day in range(5):
        taken = NOON + timedelta(days=day)
        result = None if day == 4 else ask.models.ResultRequest(judged_stops=0.0)
        ask("exposures_create", CLUB, status=201, body=entry(
            ask, paper, camera=f"T{1 + day % 2}", taken_at=taken, result=result
        ))  # fmt: skip
    found, cursor = [], {}
    while True:
        page = ask("exposures_list", CLUB, page_size=2, **cursor)
        found += [log.taken_at for log in page.results]
        if page.next_ is None:
            break
        cursor = {"cursor": parse_qs(urlsplit(page.next_).query)["cursor"][0]}
    assert found == [NOON + timedelta(days=day) for day in (4, 3, 2, 1, 0)]
    assert len(ask("exposures_list", CLUB, camera="T2").results) == 2
    assert len(ask("exposures_list", CLUB, judged=False, paper=paper.id).results) == 1
    assert len(ask("exposures_list", CLUB, since=NOON + timedelta(days=3)).results) == 2


def test_refusals_are_problem_documents(ask: Asking, paper: Any) -> None:
    models = ask.models
    body = models.FilmPlaneRequest(film_plane=models.DrumPlaneRequest.from_dict(FILM_PLANES["drum"]))
    body.film_plane.length = "900 mm"
    refused = ask("optics_film_plane", body=body, status=422)
    assert isinstance(refused, models.Problem)
    assert [fault.pointer for fault in refused.errors] == ["/film_plane/length"]
    refused = ask("exposures_create", CLUB, body=entry(ask, paper, exposure_time="3"), status=400)
    assert [fault.pointer for fault in refused.errors] == ["/exposure_time"]
    assert ask("cameras_read", "elsewhere", "T1", status=404).status == 404
    ask.client.get_httpx_client().headers.pop("Authorization")
    assert ask("clubs_list", status=401).title


def test_a_change_knows_what_it_changes(ask: Asking, paper: Any) -> None:
    models = ask.models
    first = ask.whole("cameras_read", CLUB, "T1").headers["ETag"]
    body = models.CameraChangeRequest(note="new lid")
    changed = ask("cameras_change", CLUB, "T1", if_match=first, body=body)
    assert (changed.note, changed.revision) == ("new lid", 2)
    late = ask(
        "cameras_change", CLUB, "T1", if_match=first, body=models.CameraChangeRequest(note="old lid"), status=412
    )
    assert isinstance(late, models.Problem)
    assert ask("cameras_read", CLUB, "T1") == changed


def test_files_go_in_and_come_out(ask: Asking, paper: Any) -> None:
    models, scan = ask.models, render(random_recipe(7))
    picture = BytesIO()
    Image.fromarray(scan.image).save(picture, "PNG")
    picture.seek(0)
    sent = models.HoleScanRequest(
        image=ask.File(picture, "hole.png", "image/png"),
        resolution=f"{25.4 / scan.mm_per_pixel:.6f} dpi",
        tone_curve=models.HoleScanRequestToneCurve(scan.tone_curve),
    )
    found = ask("optics_hole_scan", body=sent)
    assert found.diameter.value == pytest.approx(scan.diameter_mm, rel=0.01)

    photo = models.PhotoRequest(image=ask.File(BytesIO(PICTURE), "t1.jpg", "image/jpeg"), caption="the lid")
    kept = ask("cameras_photos_create", CLUB, "T1", body=photo, status=201)
    shown = ask("cameras_photos_image_read", CLUB, "T1", kept.id)
    assert Image.open(shown.payload).size == (kept.width_pixels, kept.height_pixels)

    kind = models.CameraSheetRequestKind("camera_spec")
    sheet = ask(
        "cameras_sheets_create",
        CLUB,
        "T1",
        body=models.CameraSheetRequest(kind=kind, wall_thickness="0.5 mm"),
        status=201,
    )
    printed = ask("sheets_pdf_read", CLUB, sheet.id)
    assert "T1" in PdfReader(printed.payload).pages[0].extract_text()
    assert "T1" in ask("export_read", CLUB, what=models.ExportReadWhat("cameras"))
