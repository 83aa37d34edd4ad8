"""Plug-ins from packages of their own: everything they bring while they are installed, and no harm once they are not.

What needs them installed runs in a process that finds them on its path; what is left of them is then read by this one,
which does not have them. It is one test, so that one worker alone builds and installs them.
"""

import os
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client

from clubs.models import Club
from pinpool.plugins.registry import entries
from tests.plugins.conftest import HERE, PACKAGES
from tests.problems import faults_in, problem_of

ROOT = HERE.parents[1]


@pytest.mark.django_db
def test_installed_they_work_and_removed_they_leave_no_harm(installed: Path, tmp_path: Path, as_user: Any) -> None:
    rows = tmp_path / "rows.json"
    run_where_installed(installed, rows)
    assert find_spec("saltmarsh_tilted") is None
    assert all(entry.package == "pinpool" for entry in entries())
    call_command("loaddata", str(rows), verbosity=0)
    keeper = Club.objects.get(slug="saltmarsh").memberships.get(role="keeper").user
    client = as_user(keeper)
    everything_is_still_read(client, keeper)
    a_law_answers_by_its_rows(client)
    what_needs_one_names_what_is_missing(client)


AT = "/api/v1/clubs/saltmarsh/"


def run_where_installed(folder: Path, rows: Path) -> None:
    """Run the packages' own tests and those of `installed/`, which write the rows of a club that used the packages."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith(("DATABASE_URL", "PYTEST"))}
    environment |= {"PYTHONPATH": str(folder), "PINPOOL_DATA": str(rows.parent), "LEFT_ROWS": str(rows)}
    tests = [HERE / "installed", *(HERE / name / "tests" for name in PACKAGES)]
    options = ["-n", "0", "--no-migrations", "-p", "no:cacheprovider"]
    command = [sys.executable, "-m", "pytest", *options, *map(str, tests)]
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def everything_is_still_read(client: Any, keeper: Any) -> None:
    assert client.get(AT).json()["plugins"] == ["saltmarsh_notebook", "saltmarsh_tilted"]
    [camera] = client.get(AT + "cameras/").json()["results"]
    assert (camera["code"], camera["spec"]["film_plane"]["kind"]) == ("TILT", "tilted")
    for path in ("cameras/TILT/", "papers/", "exposures/", "sheets/", "field-kit/", "export/archive/", "imports/"):
        response = client.get(AT + path)
        assert response.status_code == 200, (path, response.content[:500])
    [sheet] = client.get(AT + "sheets/").json()["results"]
    assert client.get(sheet["pdf"]).content.startswith(b"%PDF"), "what was printed is printed again"
    [paper] = client.get(AT + "papers/").json()["results"]
    pages = Client()
    pages.force_login(keeper)
    for page in ("", "cameras/", "cameras/TILT/", "papers/", f"papers/{paper['id']}/", "imports/", "log/"):
        response = pages.get(f"/clubs/saltmarsh/{page}")
        assert response.status_code == 200, (page, response.content[-500:])


def a_law_answers_by_its_rows(client: Any) -> None:
    """What the paper's law gave when it was entered is what it gives; nobody has logged the paper."""
    [paper] = client.get(AT + "papers/").json()["results"]
    assert paper["published"]["reciprocity"] == {"law": "catenary", "best_time": "1 s", "steepness": 0.2}
    body = {"camera": "TILT", "paper": paper["id"], "reading": {"ev": 10}}
    found = client.post(AT + "recommendation/", body).json()
    assert found["exposure_time"]["value"] > 1.5 * found["indicated_time"]["value"]
    tag = client.get(f"{AT}papers/{paper['id']}/")["ETag"]
    noted = client.patch(f"{AT}papers/{paper['id']}/", {"note": "kept dry"}, headers={"If-Match": tag})
    assert noted.json()["published"] == paper["published"]


def what_needs_one_names_what_is_missing(client: Any) -> None:
    sheet = client.post(AT + "cameras/TILT/sheets/", {"kind": "camera_spec", "wall_thickness": "2 mm"})
    assert "tilted" in problem_of(sheet, 502)["detail"]
    flat = {"kind": "flat", "width": "80 mm", "distance": "60 mm", "height": "60 mm"}
    spec = {"film_plane": flat, "hole": {"diameter": "0.3 mm"}, "reason": "put upright"}
    assert client.post(AT + "cameras/TILT/specs/", spec).status_code == 201
    spec["film_plane"] = flat | {"kind": "tilted", "turn": "20 deg"}
    refused = client.post(AT + "cameras/TILT/specs/", spec)
    assert faults_in(refused, 400) == {("/film_plane/kind", "invalid_choice")}
