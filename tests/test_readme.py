"""The README's examples, run as they stand: shell lines against a live server, Python as it is."""

import re
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from exposures.models import Paper
from pinpool.plugins import registry
from pinpool.plugins.loading import Entry
from tests.printed import is_printed, runs

TEXT = (Path(__file__).parent.parent / "README.md").read_text()
BLOCKS = re.findall(r"^```(python|python continued|console)\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
PYTHON = [text for kind, text in BLOCKS if kind == "python"]
CONTINUED = [text for kind, text in BLOCKS if kind == "python continued"]
TOUR = re.findall(r"^```text\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
CURL = [text for kind, text in BLOCKS if kind == "console" and "$ curl" in text]
OF_A_CLUB = [text for text in CURL if "$CLUB" in text]
SHELL = [text for text in CURL if text not in OF_A_CLUB]
SITE = "http://127.0.0.1:8000"


@pytest.fixture
def with_example_plugin(monkeypatch: pytest.MonkeyPatch) -> None:
    """The README's plug-in, as if its package were installed."""
    space: dict[str, Any] = {}
    exec(next(text for text in PYTHON if "Plugin(" in text), space)  # noqa: S102
    plugin = space["plugin"]
    entry = Entry(plugin.name, "catenary-laws", plugin.version, "active", "Loaded.", plugin)
    found = (*registry.loaded(), entry)
    monkeypatch.setattr(registry, "loaded", lambda: found)


@pytest.mark.parametrize("text", PYTHON, ids=range(len(PYTHON)))
def test_python_runs(text: str) -> None:
    exec(text, {})  # noqa: S102


def test_the_plugin_is_sound() -> None:
    [test] = CONTINUED
    exec(next(text for text in PYTHON if "Plugin(" in text) + test, {})  # noqa: S102


@pytest.mark.parametrize("text", SHELL, ids=range(len(SHELL)))
def test_shell_gives_what_is_printed(
    text: str, live_server: Any, with_example_plugin: None, transactional_db: None
) -> None:
    gives_what_is_printed(text, live_server.url, {})


def gives_what_is_printed(text: str, url: str, names: dict[str, str]) -> None:
    """Run a block's command against `url` with shell variables; “…” in the answer stands for anything."""
    command, expected = re.fullmatch(r"\$ (.*?[^\\])\n(\{.*)\n", text, re.DOTALL).groups()  # type: ignore[union-attr]
    is_printed(runs(["bash", "-c", command.replace(SITE, url)], names=names), expected)


def test_the_demo_s_club_gives_what_is_printed(
    live_server: Any, transactional_db: None, settings: Any, tmp_path: Path
) -> None:
    settings.DATA_DIR = tmp_path
    out = StringIO()
    call_command("demo", "--no-serve", stdout=out)
    token = re.search(r"pp_\S+", out.getvalue())
    assert token
    [club] = re.findall(rf"`CLUB={SITE}(\S+)`", TEXT)
    names = {
        "AUTH": f"Authorization: Bearer {token[0]}",
        "CLUB": live_server.url + club,
        "PAPER": str(Paper.objects.get(name="Glasswort 2").pk),
    }
    for text in OF_A_CLUB:
        gives_what_is_printed(text, live_server.url, names)


def test_the_tour_is_the_demo_s_own_report(
    db: None, settings: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings.DATA_DIR = tmp_path
    call_command("demo", "--no-serve")
    report = capsys.readouterr().out
    assert len(TOUR) == 5
    for excerpt in TOUR:
        assert excerpt in report


def test_the_two_commands_stand_near_the_top() -> None:
    assert "pip install uv && uv run manage.py demo\n$ uv run pytest" in TEXT[:2000]


def test_every_example_was_found() -> None:
    assert len(PYTHON) == 2
    assert len(SHELL) == 5
    assert len(OF_A_CLUB) == 8
