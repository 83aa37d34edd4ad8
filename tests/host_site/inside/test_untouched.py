"""What is in force in the site with Pinpool and without it: only what came in is new, and all of it under its own names."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import clubs
import exposures
import optics
import pinpool
import pytest

APPS = ["pinpool", "optics", "clubs", "exposures"]


def state(*, without: bool) -> Any:
    program = Path(__file__).with_name("state.py")
    ran = subprocess.run(
        [sys.executable, "-W", "error", str(program)],
        env=os.environ | {"REEDFOLD_WITHOUT": "1" if without else "0", "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout.splitlines()[-1])


@pytest.fixture(scope="module")
def before_and_after() -> tuple[Any, Any]:
    return state(without=True), state(without=False)


def test_it_is_the_wheel_that_is_tested() -> None:
    for app in (pinpool, optics, clubs, exposures):
        assert "site-packages" in Path(str(app.__file__)).parts


def test_settings_differ_by_what_the_site_wrote(before_and_after: tuple[Any, Any]) -> None:
    before, after = (each["settings"] for each in before_and_after)
    differing = {name for name in before.keys() | after.keys() if before.get(name) != after.get(name)}
    assert differing == {"INSTALLED_APPS", "PINPOOL", "WITHOUT"}
    assert after["INSTALLED_APPS"] == before["INSTALLED_APPS"][:-1] + "".join(f", {app!r}" for app in APPS) + "]"


@pytest.mark.parametrize(
    "what",
    ["drf", "receivers", "hosts_admin", "person_model", "routes", "bare_names", "template_folders", "databases",
     "warnings", "environment", "hooks"],
)  # fmt: skip
def test_what_the_site_had_is_as_it_was(before_and_after: tuple[Any, Any], what: str) -> None:
    before, after = before_and_after
    assert before[what] == after[what]


def test_what_came_has_names_of_its_own(before_and_after: tuple[Any, Any]) -> None:
    before, after = before_and_after

    def came(what: str) -> set[str]:
        assert set(before[what]) <= set(after[what])
        return set(after[what]) - set(before[what])

    assert came("namespaces") == {
        "pinpool", "web", "optics_web", "clubs_web", "exposures_web", "darkroom", "field", "embed_web"
    } & came("namespaces")  # fmt: skip
    assert all(name.startswith("pinpool") for name in came("person"))
    assert all(name.partition("/")[0] in APPS for name in came("statics"))
    assert came("commands") <= {"demo", "issuetoken"}
    assert came("checks") <= {"pinpool.I001"}
    assert all(name.partition("_")[0] in {*APPS} for name in came("tag_libraries"))
