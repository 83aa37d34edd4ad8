"""`manage.py demo`: the invented club, its season of exposures, and the report."""

import json
import re
from io import StringIO
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from django.contrib.auth import get_user_model
from django.core.management import CommandError, call_command
from django.urls import reverse

from clubs.models import Club
from exposures.demo import club as demo_club
from exposures.demo.generator import EXPOSURES, PAPERS, SEED, CameraInUse, Drawn, draw_season
from exposures.demo.job import BOX, PAPER, READING, STRIP_HEIGHT, STRIP_LENGTH, Job, Step, work_through
from exposures.models import ExposureLog
from exposures.reciprocity.estimate import estimate
from exposures.selectors import estimate_of
from exposures.serializers import LogIn
from optics.core.light import Light
from optics.core.say import say_f_number, say_stops, say_time
from optics.urls import urlpatterns as optics_urls
from pinpool.http.views import JSONRenderer
from pinpool.models import ApiToken
from tests.factories import AccountFactory, ClubFactory

CAMERAS = [CameraInUse("A", 200.0, 0.02), CameraInUse("B", 240.0, 0.03), CameraInUse("C", 300.0, 0.01)]
MEMBERS = ["ada", "ben", "cleo", "dev"]


@pytest.fixture
def data(settings: Any, tmp_path: Path) -> Path:
    """The data folder of the run."""
    settings.DATA_DIR = tmp_path
    return tmp_path


def run(**options: Any) -> str:
    out = StringIO()
    call_command("demo", no_serve=True, stdout=out, **options)
    return out.getvalue()


@pytest.fixture
def said(db: None, data: Path) -> str:
    """What a first run prints."""
    return run()


def the_club() -> Club:
    return Club.objects.get(slug="saltmarsh")


def keeper() -> Any:
    found = demo_club.demo_keeper()
    assert found is not None
    return found


def counts() -> dict[str, int]:
    club = the_club()
    return {
        "clubs": Club.objects.count(),
        "accounts": get_user_model().objects.count(),
        "members": club.memberships.count(),
        "cameras": club.cameras.count(),
        "specs": sum(camera.specs.count() for camera in club.cameras.all()),
        "papers": club.papers.count(),
        "exposures": club.exposures.count(),
        "tokens": ApiToken.objects.count(),
    }


# -------------------------------------------------------------------------------------------------- the club


def test_a_second_run_loads_nothing_twice_and_shows_no_secret_again(said: str) -> None:
    first = counts()
    again = run()
    assert counts() == first
    assert first["cameras"] >= 6
    assert first["papers"] >= 5
    assert first["exposures"] == EXPOSURES >= 200
    assert "pp_" in said
    assert "Password" in said
    assert "pp_" not in again
    assert "Password" not in again
    assert "demo --token" in again


def test_the_club_has_every_shape_role_and_way_of_measuring(said: str) -> None:
    club = the_club()
    specs = [camera.spec for camera in club.cameras.all() if camera.spec]
    assert {spec.film_plane["kind"] for spec in specs} == {"flat", "bowed", "drum", "half_drum", "profile"}
    assert {spec.as_film_plane().profile.shape for spec in specs} >= {"arc", "pressed"}
    assert any(spec.film_plane["hole_offset_y_mm"] for spec in specs)
    assert {spec.hole_measured_by for spec in specs} == {"counted", "scanned", "given"}
    assert any(spec.number == 2 for spec in specs)
    assert all(100 < spec.f_number < 400 for spec in specs)
    assert set(club.memberships.values_list("role", flat=True)) == {"keeper", "leader", "member", "guest"}
    assert len(set(club.papers.values_list("family", flat=True))) == 3
    logs = ExposureLog.objects.filter(club=club)
    assert {key for result in logs.values_list("result", flat=True) if result for key in result} >= {
        "judged_stops",
        "right_time",
        "density",
    }
    assert logs.filter(result__isnull=True).exists()
    assert {key for reading in logs.values_list("reading", flat=True) for key in reading} >= {
        "ev",
        "time",
        "illuminance",
        "luminance",
    }
    assert not logs.filter(member__username="finn-saltmarsh").exists()


def test_the_printed_token_and_password_open_the_club_and_nobody_elses_do(said: str, client: Any, api: Any) -> None:
    token = re.search(r"pp_\S+", said)
    password = re.search(r"Password +(\S+)", said)
    assert token
    assert password
    found = api.get("/api/v1/clubs/saltmarsh/", HTTP_AUTHORIZATION=f"Bearer {token[0]}")
    assert found.status_code == 200
    assert client.login(username="ada-saltmarsh", password=password[1])
    assert client.get("/admin/pinpool_clubs/camera/").status_code == 200
    assert client.get("/admin/pinpool_clubs/camera/add/").status_code == 403
    others = get_user_model().objects.exclude(username="ada-saltmarsh")
    assert not any(user.has_usable_password() or user.is_staff for user in others)


def test_a_fresh_token_ends_the_one_before(said: str, api: Any) -> None:
    old, new = (re.search(r"pp_\S+", text) for text in (said, run(token=True)))
    assert old
    assert new
    answers = [api.get("/api/v1/clubs/", HTTP_AUTHORIZATION=f"Bearer {token[0]}").status_code for token in (old, new)]
    assert answers == [401, 200]


def test_an_interrupted_load_leaves_nothing_and_the_next_run_heals(
    db: None, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, logged = demo_club.log_exposure, 0

    def stops_half_way(**facts: Any) -> Any:
        nonlocal logged
        logged += 1
        if logged > EXPOSURES // 2:
            raise KeyboardInterrupt
        return real(**facts)

    monkeypatch.setattr(demo_club, "log_exposure", stops_half_way)
    with pytest.raises(KeyboardInterrupt):
        run()
    assert not Club.objects.exists()
    assert not get_user_model().objects.exists()
    monkeypatch.setattr(demo_club, "log_exposure", real)
    assert "pp_" in run()
    assert counts()["exposures"] == EXPOSURES


def test_another_club_of_that_name_is_left_alone(db: None, data: Path) -> None:
    ClubFactory.create(slug="saltmarsh")
    with pytest.raises(CommandError, match="saltmarsh"):
        run()
    assert not the_club().cameras.exists()
    assert not get_user_model().objects.exists()


def test_an_account_of_a_members_name_is_left_alone(db: None, data: Path) -> None:
    taken = AccountFactory.create(username="ada-saltmarsh")
    with pytest.raises(CommandError, match="ada-saltmarsh"):
        run()
    taken.refresh_from_db()
    assert not taken.is_staff
    assert not Club.objects.exists()


# ---------------------------------------------------------------------------------------------- the generator


def test_the_season_is_the_same_for_the_same_seed() -> None:
    one, two, other = (draw_season(cameras=CAMERAS, members=MEMBERS, seed=seed) for seed in (SEED, SEED, SEED + 1))
    assert one == two
    assert one != other
    assert len({drawn.body["id"] for drawn in one}) == EXPOSURES
    taken = [drawn.body["taken_at"] for drawn in one]
    assert taken == sorted(taken)


def pooled_errors(season: list[Drawn]) -> np.ndarray:
    """How far the pooled (a, q) of each paper lies from its truth, in standard errors; shape (papers, 2)."""
    f_numbers = {camera.code: camera.f_number for camera in CAMERAS}
    evidence: dict[str, list[tuple[float, float]]] = {paper.name: [] for paper in PAPERS}
    for drawn in season:
        bound = LogIn(data=drawn.body | {"paper": "6f0c9f0e-8a3b-4d6c-9a52-0f2f5a3f7c11"})
        bound.is_valid(raise_exception=True)
        facts = bound.validated_data
        if facts["result"] is None:
            continue
        indicated = Light(facts["reading"]).time_s(
            f_number=f_numbers[facts["camera"]], exposure_index=drawn.paper.nominal_exposure_index
        )
        effective = np.log2(indicated) + facts["filter_stops"] + (facts["result"].stops or 0.0)
        time_s = facts["result"].right_time_s or facts["exposure_time"]
        evidence[drawn.paper.name].append((np.log2(time_s), effective))
    errors = []
    for paper in PAPERS:
        found = estimate(*np.array(evidence[paper.name]).T)
        off = np.array([found.offset_stops - paper.offset_stops, found.slope - paper.slope])
        errors.append(off / np.sqrt(np.diag(found.covariance)))
    return np.array(errors)


def test_the_model_recovers_the_generators_truth_season_after_season() -> None:
    """Over seasons the errors are about as large as their standard errors; shared errors make them a little larger."""
    errors = np.array(
        [pooled_errors(draw_season(cameras=CAMERAS, members=MEMBERS, seed=SEED + season)) for season in range(6)]
    )
    assert np.abs(errors).max() < 4
    assert 0.5 < np.sqrt((errors**2).mean()) < 1.6
    assert np.abs(errors.mean(axis=(0, 1))).max() < 0.6


def test_the_clubs_log_recovers_each_papers_truth_within_three_standard_errors(said: str) -> None:
    club = the_club()
    for true in PAPERS:
        found = estimate_of(club.papers.get(name=true.name)).estimate
        off = np.array([found.offset_stops - true.offset_stops, found.slope - true.slope])
        assert (np.abs(off) < 3 * np.sqrt(np.diag(found.covariance))).all(), true.name


# ------------------------------------------------------------------------------------------------- the report


@pytest.fixture
def job(said: str) -> Job:
    return work_through(member=keeper())


def test_every_answer_in_the_report_is_the_apis(job: Job, as_user: Any) -> None:
    client = as_user(keeper().user)
    names = {pattern.callback.view_class: pattern.name for pattern in optics_urls}  # type: ignore[union-attr]
    steps = [step for step in vars(job).values() if isinstance(step, Step)]
    assert len(steps) == 10
    for step in steps:
        answered = client.post(reverse(f"pinpool:optics:{names[step.view]}"), step.body)
        assert answered.status_code == 200, answered.json()
        assert answered.json() == json.loads(JSONRenderer().render(step.view.gives(step.answer).data))


def test_the_figures_printed_are_those_the_api_answers(said: str, job: Job, as_user: Any) -> None:
    client = as_user(keeper().user)

    def ask(name: str, step: Step) -> dict[str, Any]:
        return client.post(f"/api/v1/optics/{name}/", step.body).json()

    text = re.sub(r"\s+", " ", said)
    strip, flat = ask("film-plane", job.strip), ask("film-plane", job.flat)
    tries, light = ask("hole-measurement", job.tries), ask("illumination", job.strip_light)
    hole, cuts, opening = ask("hole-diameter", job.hole), ask("sheet-cuts", job.cuts), ask("wall-opening", job.opening)
    exposure, corners = ask("exposure", job.exposure), ask("exposure", job.balanced_exposure)
    best, number = tries["ranking"][0], tries["f_number"]
    printed = [
        f"focal length {strip['distance']['mean']['value']:.1f} mm {flat['distance']['mean']['value']:.1f} mm",
        f"farthest corner {strip['distance']['longest']['value']:.1f} mm {flat['distance']['longest']['value']:.1f} mm",
        f"{cuts['count']} strips of {STRIP_LENGTH} × {STRIP_HEIGHT}; {cuts['waste_share']:.1%} is left over",
        *(cut["text"] for cut in cuts["cuts"]),
        f"{hole['chosen']['diameter']['value']:.3f} mm {say_f_number(hole['chosen']['f_number'])} taken",
        f"No. {hole['nearest_drill']['number']}, {hole['nearest_drill']['diameter']['value']:.3f} mm",
        f"{best['measurement']['diameter']['value']:.3f} ± {best['measurement']['uncertainty']['value']:.3f} mm",
        f"the camera is {say_f_number(number['f_number'])}, give or take {number['f_number_uncertainty']:.0f}",
        f"which is ± {number['uncertainty_stops']:.2f} stop",
        f"that is {say_stops(number['stops_from_f22'])}",
        f"Its darkest corner gets {say_stops(light['darkest_stops'])}",
        f"the brightest point is off by {say_stops(light['trade']['brightest_stops'])}",
        f"the darkest by {say_stops(light['trade']['darkest_stops'])}",
        f"Balanced, it is {say_f_number(light['balanced']['f_number'])}",
        f"under, {light['balanced']['error_stops']:.1f} stops each",
        f"{light['by_used_share'][0]['within_one_stop_share']:.0%}",
        f"at least {opening['width']['value']:.0f} mm wide and {opening['height']['value']:.0f} mm high",
        f"EV {exposure['ev100']:.1f}",
        f"arithmetic says {exposure['indicated_time']['text']}",
        f"it needs {exposure['exposure_time']['text']}, which is {say_stops(exposure['reciprocity_stops'])}",
        f"Give {exposure['exposure_time']['text']}.",
        f"of section 5: {corners['exposure_time']['text']}",
        *(
            f"{step['strip']} {step['uncover']['text']} {step['total']['text']} {say_stops(step['stops'])}"
            for step in exposure["test_strip_plan"]
        ),
    ]
    assert [each for each in printed if each not in text] == []


def test_the_time_and_its_interval_are_what_the_club_would_recommend(said: str, job: Job, as_user: Any) -> None:
    """The box registered as a camera of the club gets the same time, interval and test strip."""
    client = as_user(keeper().user)
    strip = {"kind": "bowed", **BOX, "length": STRIP_LENGTH, "height": STRIP_HEIGHT}
    spec = {"film_plane": strip, "hole": job.strip_light.body["hole"]}
    made = client.post("/api/v1/clubs/saltmarsh/cameras/", {"code": "NEW", "name": "Slide box", "spec": spec})
    assert made.status_code == 201, made.json()
    paper = the_club().papers.get(name=PAPER)
    body = {"camera": "NEW", "paper": str(paper.pk), "reading": READING}
    answer = client.post("/api/v1/clubs/saltmarsh/recommendation/", body).json()
    found = job.exposure.answer
    assert answer["exposure_time"]["value"] == pytest.approx(found["exposure_time_s"], rel=1e-12)
    assert [step["value"] for step in answer["test_strip"]] == pytest.approx(found["strip_totals_s"], rel=1e-12)
    interval = [answer["interval"][end]["value"] for end in ("low", "high")]
    assert interval == pytest.approx(job.interval_s, rel=1e-12)
    text = re.sub(r"\s+", " ", said)
    assert "lies between {} and {}.".format(*map(say_time, interval)) in text


def test_the_report_says_what_is_invented_and_warns_where_the_hand_is(said: str) -> None:
    text = re.sub(r"\s+", " ", said)
    assert "Everything here is invented" in text
    sections = re.split(r"\n\n\n(?=[^\n]+\n=+\n)", said)
    cautions = {section.split("\n")[0]: "".join(re.findall(r"^  ! [^\n]+", section, re.M)) for section in sections}
    assert "blade" in cautions["2. Cut the sheet"]
    assert "cut away from the hand" in cautions["3. The hole to make"]
    assert "clamp" in cautions["6. Open up the wall"]
    assert "Never look at the sun" in cautions["7. From the light to the time"]
    assert "Developer harms skin" in cautions["8. Or find the time with a test strip"]
    for words in ("Deburr", "ISO 12312-2", "never water into acid", "local codes and the maker's safety data sheet"):
        assert words in text


def test_the_report_fits_a_terminal_and_is_kept_with_its_drawings(said: str, data: Path) -> None:
    report = (data / "demo" / "report.txt").read_text(encoding="utf-8")
    assert report in said
    assert max(len(line) for line in report.splitlines() if str(data) not in line) <= 90
    for name in ("section.svg", "sheet-cuts.svg"):
        drawing = data / "demo" / name
        assert str(drawing) in report
        assert ET.parse(drawing).getroot().tag == "{http://www.w3.org/2000/svg}svg"  # noqa: S314  (our own)


def test_the_drawing_shows_the_strip_between_the_hole_and_the_sheet(said: str) -> None:
    rows = re.findall(r"^    ([#|=].*[#|=])$", said, re.M)
    assert {len(row) for row in rows} == {61}
    middle = "".join(row[30] for row in rows)
    assert middle[0] == "o"
    assert middle[-1] == "#"
    assert all(row == row[::-1] for row in rows)
