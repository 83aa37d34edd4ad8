"""Into an existing Django site: the wheel in a clean environment, the site driven end to end, our tests in it."""

import zipfile
from pathlib import Path

import pytest

from tests.host_site.wheel import ROOT, Host

pytestmark = pytest.mark.host

APPS = ("pinpool", "optics", "clubs", "exposures")
#: Our own tests of the main job: from a box to a camera, a log, a time and a sheet.
MAIN_JOB = (
    "optics/test_api.py", "optics/test_api_light.py", "optics/test_api_cutting.py",
    "clubs/test_cameras.py", "clubs/test_specs.py", "clubs/test_registering.py", "clubs/sheets/test_sheets_api.py",
    "exposures/test_api.py", "exposures/test_papers.py", "exposures/test_corrections.py",
    "exposures/test_recommendation.py", "exposures/sheets/test_exposure_card.py",
)  # fmt: skip
#: What is read by who runs the service alone.
KEEPERS = ("pinpool/service/docs/", "pinpool/service/examples/")
#: They count statements, and the site's ATOMIC_REQUESTS adds two to each request.
COUNTING = "not two_hundred and not asks_the_database_no_more and not queries and not statements"


def test_the_wheel_holds_the_apps_and_nothing_else(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    tops = {name.partition("/")[0] for name in names}
    assert tops == {*APPS, next(top for top in tops if top.endswith(".dist-info"))}
    for app in APPS:
        shipped = {str(path.relative_to(ROOT)) for path in (ROOT / app).rglob("*") if path.is_file()}
        shipped = {name for name in shipped if "__pycache__" not in name and not name.startswith(KEEPERS)}
        assert {name for name in names if name.startswith(f"{app}/")} == shipped
        assert f"{app}/py.typed" in names
    kinds = {Path(name).suffix for name in names if not name.partition("/")[0].endswith(".dist-info")}
    assert kinds <= {".py", ".html", ".js", ".css", ".svg", ".typ", ".typed", ".json", ".csv", ".txt"}
    assert {"pinpool/templates/pinpool/page.html", "pinpool/static/pinpool/pinpool.css"} <= names
    assert not [name for name in names if name.rpartition("/")[2].startswith(("test_", "conftest"))]


def test_the_site_takes_it_in(host: Host) -> None:
    """Its own checks, its own migrations, and nothing left to be migrated."""
    for command in (("check", "--fail-level", "WARNING"), ("makemigrations", "--check", "--dry-run")):
        ran = host.run("-W", "error", "site/manage.py", *command)
        assert ran.returncode == 0, ran.stdout + ran.stderr


def test_the_site_works_and_stays_itself(host: Host) -> None:
    ran = host.run("-m", "pytest", "tests/host_site/inside")
    assert ran.returncode == 0, ran.stdout[-6000:]
    assert "passed" in ran.stdout or "[100%]" in ran.stdout


def test_our_tests_of_the_main_job_pass_inside_it(host: Host) -> None:
    ran = host.run("-m", "pytest", "-k", COUNTING, *(f"tests/{name}" for name in MAIN_JOB))
    assert ran.returncode == 0, ran.stdout[-6000:]
    assert "[100%]" in ran.stdout
