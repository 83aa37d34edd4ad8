"""What races start from."""

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.databases import copied, database_of_its_own


@pytest.fixture
def own_database(tmp_path: Path) -> Iterator[dict[str, str]]:
    with database_of_its_own(tmp_path) as environment:
        yield environment


class Start:
    """The process of start.py, and a copy of its empty database for each race."""

    def __init__(self, folder: Path, environment: dict[str, str]) -> None:
        self.folder, self.environment = folder, environment
        self.errors = folder / "errors"
        with self.errors.open("w") as errors:
            self.process = subprocess.Popen(
                [sys.executable, str(Path(__file__).with_name("start.py"))],
                env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=errors, text=True,
            )  # fmt: skip
        assert self.told() == "ready", self.errors.read_text()

    def told(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline().strip()

    def run(self, race: str) -> Any:
        """What came of a race."""
        with copied(self.environment, self.folder) as database:
            assert self.process.stdin is not None
            self.process.stdin.write(f"{race} {database}\n")
            self.process.stdin.flush()
            found = json.loads(self.told() or "null")
        assert found is not None, self.errors.read_text()
        return found


@pytest.fixture(scope="session")
def start(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Start]:
    folder = tmp_path_factory.mktemp("races")
    with database_of_its_own(folder) as environment:
        start = Start(folder, environment)
        with start.process:
            yield start
            assert start.process.stdin is not None
            start.process.stdin.close()


@pytest.fixture
def run(start: Start) -> Callable[[str], Any]:
    """`run(name)`: what came of a race, in processes and a database of its own."""
    return start.run
