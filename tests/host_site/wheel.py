"""The wheel, and clean environments that it is installed into beside nothing of the checkout."""

import os
import shutil
import socket
import subprocess
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]
#: What runs the tests there; versions are those of pyproject.toml.
TOOLS = ("factory-boy", "pytest", "pytest-django", "pytest-xdist", "pypdfium2", "zxing-cpp")
INI = """[pytest]
addopts = -q -n 2 --dist worksteal -p tests.host_site.below -p no:cacheprovider --strict-markers --import-mode=importlib
markers = host: of the checkout
    browser: of the checkout
filterwarnings = error
"""

PERSON = """
import django
django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from django.contrib.auth import get_user_model
get_user_model().people.create_user("mara@reedfold.example", "reed is cut at low water", called="Mara")
"""


def built(folder: Path) -> Path:
    """The wheel of the checkout."""
    subprocess.run(["uv", "build", "--quiet", "--wheel", "--out-dir", folder, ROOT], check=True, timeout=300)
    [wheel] = folder.glob("pinpool-*.whl")
    return wheel


def python_of(version: str) -> str | None:
    """An interpreter of that version which can run Django, or None."""
    found = [shutil.which(f"python{version}"), *Path.home().glob(f".pyenv/versions/{version}.*/bin/python")]
    for each in found:
        if each and subprocess.run([each, "-c", "import sqlite3"], capture_output=True, check=False).returncode == 0:
            return str(each)
    return None


def clean_environment() -> dict[str, str]:
    """The environment of this process without what leads to the checkout or to our settings."""
    ours = ("PINPOOL_", "PYTEST_", "VIRTUAL_ENV", "PYTHON", "DJANGO_")
    return {name: value for name, value in os.environ.items() if not name.startswith(ours)}


class Host:
    """The cooperative's site in a folder of its own, on an interpreter of its own, with the wheel installed."""

    def __init__(self, folder: Path, wheel: Path, python: str) -> None:
        self.folder = folder
        folder.mkdir()
        venv = folder / "venv"
        self.python = venv / "bin/python"
        self.environment = clean_environment() | {
            "REEDFOLD_DATA": str(folder),
            "PYTHONPATH": os.pathsep.join([str(folder / "site"), str(folder)]),
            "DJANGO_SETTINGS_MODULE": "cooperative.settings",
        }
        pins = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["uv"]["constraint-dependencies"]
        (folder / "pins.txt").write_text("\n".join(pins))
        self._uv("venv", "--quiet", "--python", python, str(venv))
        asked = ("--python", str(self.python), "--constraint", "pins.txt", str(wheel), *TOOLS)
        self._uv("pip", "install", "--quiet", *asked)
        away = shutil.ignore_patterns("__pycache__", "browser", "bench", "races", "physics", "host_site")
        shutil.copytree(ROOT / "tests", folder / "tests", ignore=away)
        own = shutil.ignore_patterns("__pycache__", "test_from*", "test_in_browser*")
        shutil.copytree(ROOT / "tests/host_site", folder / "tests/host_site", ignore=own)
        shutil.move(folder / "tests/host_site/site", folder / "site")
        (folder / "pytest.ini").write_text(INI)

    def _uv(self, *command: str) -> None:
        subprocess.run(["uv", *command], cwd=self.folder, env=self.environment, check=True, timeout=600)

    def run(self, *command: str) -> subprocess.CompletedProcess[str]:
        """A Python command in the site's folder, its output kept."""
        return subprocess.run(
            [self.python, *command],
            cwd=self.folder, env=self.environment, capture_output=True, text=True, check=False, timeout=600,
        )  # fmt: skip

    @contextmanager
    def served(self) -> Iterator[str]:
        """The site by Django's own server on the embedded database, with a person in it; gives its address."""
        environment = {name: value for name, value in self.environment.items() if name != "DATABASE_URL"}
        subprocess.run([self.python, "-c", PERSON], cwd=self.folder, env=environment, check=True, timeout=120)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        command = [self.python, "site/manage.py", "runserver", "--noreload", "--insecure", f"127.0.0.1:{port}"]
        with (self.folder / "served.log").open("w") as log:
            server = subprocess.Popen(command, cwd=self.folder, env=environment, stdout=log, stderr=log)
        try:
            self._wait(port)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            server.wait(timeout=30)

    @staticmethod
    def _wait(port: int) -> None:
        for _ in range(600):
            try:
                return socket.create_connection(("127.0.0.1", port), timeout=5).close()
            except OSError:
                time.sleep(0.1)
        raise AssertionError("The site does not come up.")

    def django_version(self) -> str:
        return self.run("-c", "import django; print(django.__version__)").stdout.strip()
