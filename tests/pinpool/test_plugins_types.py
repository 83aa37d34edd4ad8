"""A type checker finds a wrongly typed plug-in before anybody installs it."""

import re
import sys
from pathlib import Path

from mypy import api

PLUGIN = Path(__file__).with_name("typed_plugin.py")
ROOT = PLUGIN.parents[2]


def test_wrong_types_are_found_and_no_others(tmp_path: Path) -> None:
    config = tmp_path / "mypy.ini"
    config.write_text(f"[mypy]\nstrict = True\nfollow_imports = silent\nmypy_path = {ROOT}\n")
    options = ["--config-file", str(config), "--cache-dir", str(tmp_path / "cache")]
    found, broken, _ = api.run([*options, "--python-executable", sys.executable, str(PLUGIN)])
    assert not broken, broken
    marked = {n for n, line in enumerate(PLUGIN.read_text().splitlines(), 1) if line.endswith("# WRONG")}
    assert {int(line) for line in re.findall(r"typed_plugin\.py:(\d+): error", found)} == marked, found
    assert len(marked) == 10
    assert 'expected "Callable[..., float]"' in found
