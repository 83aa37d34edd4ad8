"""A client that a public generator makes from the committed document, untouched, and what it needs to ask a server."""

import re
import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from pinpool.models import ApiToken
from tests.factories import AccountFactory

DOCUMENT = Path(__file__).parents[2] / "fixtures/openapi.yaml"
PACKAGE = "club_client"


class Generated:
    """The generated package, and what its generator said."""

    def __init__(self, folder: Path, said: str) -> None:
        self.folder, self.said = folder / PACKAGE, said
        self.models = import_module(f"{PACKAGE}.models")
        self.types = import_module(f"{PACKAGE}.types")
        self.client = import_module(f"{PACKAGE}.client")
        self.modules = {path.stem: path.parent.name for path in self.folder.glob("api/*/[!_]*.py")}

    def operation(self, name: str) -> ModuleType:
        return import_module(f"{PACKAGE}.api.{self.modules[name]}.{name}")


@pytest.fixture(scope="session")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Generated]:
    """Made once. Only the generator's tidying afterwards is left out: it takes longer than all else."""
    folder = tmp_path_factory.mktemp("clients")
    (folder / "config.yaml").write_text("post_hooks: []\n")
    made = subprocess.run(
        [sys.executable, "-m", "openapi_python_client", "generate", "--path", str(DOCUMENT), "--meta", "none",
         "--output-path", str(folder / PACKAGE), "--config", str(folder / "config.yaml"), "--fail-on-warning"],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    said = made.stdout + made.stderr
    assert made.returncode == 0, said
    sys.path.insert(0, str(folder))
    yield Generated(folder, re.sub(r"Generating \S+\s*", "", said))
    sys.path.remove(str(folder))


class Asking:
    """The generated client of one account, against a live server."""

    def __init__(self, generated: Generated, url: str, token: str) -> None:
        self.generated, self.models, self.File = generated, generated.models, generated.types.File
        self.client = generated.client.AuthenticatedClient(base_url=url, token=token)

    def __call__(self, operation: str, *where: Any, status: int = 200, **what: Any) -> Any:
        """Call an operation with its path's parameters in order; what the client parsed from the answer."""
        return self.whole(operation, *where, status=status, **what).parsed

    def whole(self, operation: str, *where: Any, status: int = 200, **what: Any) -> Any:
        """The same, with the answer's headers."""
        response = self.generated.operation(operation).sync_detailed(*where, client=self.client, **what)
        assert response.status_code == status, response.content
        return response


@pytest.fixture
def ask(generated: Generated, live_server: Any, transactional_db: None) -> Iterator[Asking]:
    _, secret = ApiToken.issue(user=AccountFactory.create(username="walker"), name="a club's own program")
    asking = Asking(generated, live_server.url, secret)
    with asking.client:
        yield asking
