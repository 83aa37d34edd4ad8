"""Who may import whom: the contracts of pyproject.toml, by import-linter, and what they cannot say."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ALLOWED_IN_THE_CORE = {*sys.stdlib_module_names, "numpy", "scipy", "optics"}


def modules(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


def imported(path: Path) -> Iterator[str]:
    """The dotted name of every module that a file imports, also inside functions; relative ones made absolute."""
    package = path.relative_to(ROOT).with_suffix("").parts[:-1]
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(package[: len(package) - node.level + 1]) if node.level else ""
            yield ".".join(part for part in (base, node.module or "") if part)


def test_the_contracts_hold() -> None:
    """In a process of its own: it sets up logging for the whole of the one it runs in."""
    linter = Path(sys.executable).with_name("lint-imports")
    ran = subprocess.run([linter, "--no-cache"], cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    assert ran.returncode == 0, ran.stdout
    assert re.search(r"Contracts: [1-9]\d* kept, 0 broken", ran.stdout)


@pytest.mark.parametrize("path", modules("optics/core"), ids=lambda path: path.name)
def test_the_core_knows_numpy_scipy_and_itself(path: Path) -> None:
    for name in imported(path):
        assert name.partition(".")[0] in ALLOWED_IN_THE_CORE, name
        assert not name.startswith("optics") or name.startswith("optics.core"), name


def test_pint_has_one_importer() -> None:
    importers = {
        str(path.relative_to(ROOT))
        for folder in ("pinpool", "optics", "clubs", "exposures")
        for path in modules(folder)
        if any(name.partition(".")[0] == "pint" for name in imported(path))
    }
    assert importers == {"pinpool/units.py"}


def test_the_pooled_model_is_pure() -> None:
    for path in modules("exposures/reciprocity"):
        for name in imported(path):
            top = name.partition(".")[0]
            assert top in {*sys.stdlib_module_names, "numpy", "scipy", "optics", "exposures"}, (path.name, name)
            assert top != "optics" or name.startswith("optics.core"), (path.name, name)
            assert top != "exposures" or name.startswith("exposures.reciprocity"), (path.name, name)


def test_nothing_that_ships_imports_the_tests() -> None:
    for folder in ("pinpool", "optics", "clubs", "exposures"):
        for path in modules(folder):
            assert not any(name.partition(".")[0] in {"tests", "pytest", "hypothesis"} for name in imported(path)), path
