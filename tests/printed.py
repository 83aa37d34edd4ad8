"""Examples of a text, run as they stand: what they print must be what the text says they do."""

import os
import re
import subprocess
from pathlib import Path


def runs(command: list[str], *, names: dict[str, str], folder: Path | None = None) -> str:
    """What a command prints, run with `names` in its environment; it must succeed."""
    ran = subprocess.run(
        command, capture_output=True, text=True, check=False, timeout=60, env=os.environ | names, cwd=folder
    )
    assert ran.returncode == 0, ran.stderr
    return ran.stdout


def is_printed(printed: str, expected: str) -> None:
    """Fail unless `printed` is what is expected, where “…” stands for anything."""
    pattern = ".*?".join(re.escape(part) for part in expected.split("…"))
    assert re.fullmatch(pattern + (".*" if expected.endswith("…") else ""), printed, re.DOTALL), printed
