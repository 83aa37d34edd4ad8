"""`manage.py demo` as a person runs it: in an empty folder, twice, and serving the site until Ctrl-C."""

import json
import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from clubs.models import Club
from exposures.demo.generator import EXPOSURES
from exposures.demo.serving import next_free

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def taken_port() -> Iterator[int]:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        yield other.getsockname()[1]


def test_a_port_in_use_is_refused_before_anything_is_done(db: None, taken_port: int) -> None:
    with pytest.raises(CommandError, match=str(taken_port)):
        call_command("demo", port=taken_port, stdout=StringIO())
    assert not Club.objects.exists()


def test_a_free_port_is_looked_for_past_the_one_in_use(taken_port: int) -> None:
    found = next_free(taken_port)
    assert found is None or found > taken_port


def environment(folder: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "PINPOOL_DEBUG"}}
    return kept | {"PINPOOL_DATA": str(folder)}


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty data folder in which the demo has been run, as a person would run it."""
    folder = tmp_path_factory.mktemp("demo")
    assert "Password" in manage(folder, "demo", "--no-serve")
    return folder


def manage(folder: Path, *words: str) -> str:
    command = [sys.executable, "manage.py", *words]
    done = subprocess.run(
        command, cwd=ROOT, env=environment(folder), capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_run_twice_in_an_empty_folder(demo_folder: Path) -> None:
    again = manage(demo_folder, "demo", "--no-serve")
    assert "Give " in again
    assert "Password" not in again
    with sqlite3.connect(demo_folder / "pinpool.sqlite3") as database:
        (logs,) = database.execute("SELECT count(*) FROM pinpool_exposures_exposurelog").fetchone()
    database.close()
    assert logs == EXPOSURES


def test_the_site_is_served_where_it_says_and_stops_at_ctrl_c(demo_folder: Path, tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "manage.py", "demo", "--port", str(port)]
    printed = tmp_path / "printed"
    with (
        printed.open("w") as output,
        subprocess.Popen(
            command, cwd=ROOT, env=environment(demo_folder), stdout=output, stderr=output, start_new_session=True
        ) as serving,
    ):
        try:
            plugins = json.loads(fetch(f"http://127.0.0.1:{port}/api/v1/plugins/"))
            # As a terminal does it: Ctrl-C goes to every process of the group.
            os.killpg(serving.pid, signal.SIGINT)
            assert serving.wait(timeout=30) == 0, printed.read_text()
        finally:
            serving.terminate()
            serving.wait(timeout=30)
    assert {plugin["state"] for plugin in plugins["results"]} == {"active"}
    assert f"http://127.0.0.1:{port}/api/v1/docs/" in printed.read_text()
    assert printed.read_text().endswith("Stop with Ctrl-C.\nStopped.\n")


def fetch(url: str) -> bytes:
    """The body at `url`, once a server answers there: within a minute, or not at all."""
    for _ in range(300):
        try:
            with urllib.request.urlopen(url, timeout=30) as answer:  # noqa: S310  (our own server)
                return answer.read()
        except OSError:  # nobody listens yet
            time.sleep(0.2)
    raise AssertionError(f"Nothing answers at {url}.")
