"""What is in force in the site with Pinpool and without it: only what came in is new, under names of its own."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import clubs
import exposures
import optics
import pinpool

APPS = ["pinpool", "optics", "clubs", "exposures"]
OUR_NAMESPACES = {"pinpool", *(f"{name}_web" for name in [*APPS, "field", "darkroom", "embed"])}


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
    ["drf", "hosts_admin", "person_model", "routes", "bare_names", "template_folders", "databases", "environment",
     "hooks"],
)  # fmt: skip
def test_what_the_site_had_is_as_it_was(before_and_after: tuple[Any, Any], what: str) -> None:
    before, after = before_and_after
    assert before[what] == after[what]


def test_nothing_of_ours_listens_to_signals(before_and_after: tuple[Any, Any]) -> None:
    """Libraries of ours reload their own settings where tests change some; nobody else hears of anything."""
    before, after = (each["receivers"] for each in before_and_after)
    assert {name: each for name, each in before.items() if name != "setting_changed"} == {
        name: each for name, each in after.items() if name != "setting_changed"
    }
    came = set(after["setting_changed"]) - set(before["setting_changed"])
    assert not [name for name in came if name.partition(".")[0] in APPS]


def test_what_came_has_names_of_its_own(before_and_after: tuple[Any, Any]) -> None:
    before, after = before_and_after

    def came(what: str) -> set[str]:
        assert set(before[what]) <= set(after[what])
        return set(after[what]) - set(before[what])

    assert came("namespaces") == OUR_NAMESPACES
    assert all(name.startswith("pinpool") for name in came("person"))
    assert all(name.partition("/")[0] in APPS for name in came("statics"))
    assert {name: after["commands"][name] for name in before["commands"]} == before["commands"]
    assert {after["commands"][name] for name in came("commands")} <= {*APPS}
    assert came("checks") <= {"pinpool.I001"}
    assert all(name.partition("_")[0] in {*APPS} for name in came("tag_libraries"))
