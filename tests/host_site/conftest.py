"""The host site, built from the wheel. What is `inside` it is collected there alone."""

import os
from pathlib import Path

import pytest

from tests.host_site.wheel import Host, built, python_of

collect_ignore = [] if os.environ.get("REEDFOLD_DATA") else ["inside"]
#: Python, and the oldest and the newest Django of pyproject.toml that go with it.
RUNS = {"3.11": "5.2", "3.13": "6.1"}


@pytest.fixture(scope="session")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return built(tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="session", params=RUNS)
def host(request: pytest.FixtureRequest, wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Host:
    python = python_of(request.param)
    if python is None:
        pytest.skip(f"NOT RUN: the host site on Django {RUNS[request.param]}: no Python {request.param} here")
    host = Host(tmp_path_factory.mktemp("host") / "site", wheel, python)
    assert host.django_version().startswith(RUNS[request.param])
    return host
