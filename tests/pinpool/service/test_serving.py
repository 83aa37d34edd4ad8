"""`manage.py serve` as a keeper runs it."""

import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
SAFE = {"PINPOOL_HTTPS": "1", "PINPOOL_ALLOWED_HOSTS": "127.0.0.1"}


def environment(folder: Path) -> dict[str, str]:
    kept = {name: text for name, text in os.environ.items() if not name.startswith(("PINPOOL", "DATABASE"))}
    return kept | {"PINPOOL_DATA": str(folder)}


def test_unsafe_settings_are_refused_at_the_start(tmp_path: Path) -> None:
    """No https, debugging, a weak key: all are named, and nothing is served."""
    unsafe = {"PINPOOL_DEBUG": "1", "PINPOOL_SECRET_KEY": "short"}
    done = subprocess.run(
        [sys.executable, "manage.py", "serve", "--port", "1"], cwd=ROOT, env=environment(tmp_path) | unsafe,
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert {"security.W008", "security.W009", "security.W012", "security.W018"} <= set(
        re.findall(r"security\.W\d+", done.stderr)
    )
    assert "Serving" not in done.stdout


@pytest.fixture
def service(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """The service of two workers on an empty folder, and its port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "manage.py", "serve", "--port", str(port), "--workers", "2"]
    with subprocess.Popen(
        command, cwd=ROOT, env=environment(tmp_path) | SAFE, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        yield process, port
        process.kill()


def ask(port: int, path: str, **headers: str) -> int:
    """The status of the answer."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    try:
        connection.request("GET", path, headers=headers)
        return connection.getresponse().status
    finally:
        connection.close()


def wait_until_ready(process: subprocess.Popen[str], port: int) -> None:
    ends = time.monotonic() + 180  # it makes a database first, beside whatever else the machine does
    while time.monotonic() < ends:
        assert process.poll() is None, process.communicate()[1]
        try:
            if ask(port, "/ready/") == 200:
                return
        except (OSError, http.client.HTTPException):
            time.sleep(0.2)
    raise AssertionError("The service did not become ready.")


def workers_of(process: subprocess.Popen[str]) -> list[int]:
    told = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text(encoding="ascii")
    return [int(each) for each in told.split()]


def test_served_healed_and_stopped(service: tuple[subprocess.Popen[str], int]) -> None:
    """From nothing to ready; workers that are killed are replaced; SIGTERM ends all, and the log tells each request."""
    process, port = service
    wait_until_ready(process, port)
    assert ask(port, "/api/v1/plugins/", **{"X-Forwarded-Proto": "https"}) == 200
    first = workers_of(process)
    for worker in first:
        os.kill(worker, signal.SIGKILL)
    time.sleep(0.5)
    wait_until_ready(process, port)
    assert not set(first) & set(workers_of(process))
    process.send_signal(signal.SIGTERM)
    out, err = process.communicate(timeout=60)
    assert (process.returncode, out.splitlines()[-1]) == (0, "Stopped.")
    lines = [json.loads(line) for line in err.splitlines() if line.startswith("{")]
    answers = [line for line in lines if line["logger"] == "pinpool.access"]
    assert [line["status"] for line in answers if line["message"].startswith("GET /api/")] == [200]
    assert len({line["request_id"] for line in answers}) == len(answers)
