"""The example packages, each built to a wheel and installed from it into a folder of its own."""

import shutil
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest
from hatchling.builders.wheel import WheelBuilder

HERE = Path(__file__).parent
PACKAGES = ("tilted", "notebook")

#: Tests that need the packages run in a process that has them: see test_plugin_packages.py.
collect_ignore = [] if find_spec("saltmarsh_tilted") else ["installed", *PACKAGES]


@pytest.fixture
def installed(tmp_path: Path) -> Path:
    """A folder with both packages, as an installer leaves them."""
    folder, wheels = tmp_path / "installed", tmp_path / "wheels"
    built = [path for name in PACKAGES for path in WheelBuilder(str(HERE / name)).build(directory=str(wheels))]
    uv = shutil.which("uv")
    assert uv, "these tests install wheels with uv"
    offline = ["--offline", "--no-deps", "--no-config", "--python", sys.executable, "--target", str(folder)]
    done = subprocess.run([uv, "pip", "install", *offline, *built], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return folder
