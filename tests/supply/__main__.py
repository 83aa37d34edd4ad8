"""What the service is made of: `python -m tests.supply [licences|sbom|audit]`; with no word, all of it.

licences   renews the list for keepers
sbom       prints the bill of materials, CycloneDX 1.6
audit      asks uv whether a weakness of a pinned version is known

Ends with 0; with 1 where a weakness is known; with 3 where `audit` could not be run.
"""

# ruff: noqa: T201
import json
import subprocess
import sys

from tests.supply.documents import LICENCES, bill, licences
from tests.supply.parts import ROOT, parts

NOT_RUN = 3


def renew() -> int:
    LICENCES.write_text(licences(parts()), encoding="utf-8")
    print(f"{LICENCES.relative_to(ROOT)}: {len(parts())} packages")
    return 0


def sbom() -> int:
    print(json.dumps(bill(parts()), indent=1))
    return 0


def audit() -> int:
    """uv's own check of the locked versions; it ends with 1 where it finds something, and says what."""
    try:
        done = subprocess.run(
            ["uv", "audit", "--frozen", "--no-dev", "--preview-features", "audit-command"],
            cwd=ROOT, capture_output=True, text=True, timeout=300, check=False,
        )  # fmt: skip
    except (FileNotFoundError, subprocess.TimeoutExpired) as fault:
        return not_run(str(fault))
    if done.returncode > 1 or "error: " in done.stderr:
        return not_run(done.stderr)
    print(done.stdout + done.stderr)
    return done.returncode


def not_run(reason: str) -> int:
    print(f"AUDIT NOT RUN: whether weaknesses are known was not found out.\n{reason.strip()}", file=sys.stderr)
    return NOT_RUN


DOES = {"licences": renew, "sbom": sbom, "audit": audit}

if __name__ == "__main__":
    asked = sys.argv[1:] or list(DOES)
    if not set(asked) <= DOES.keys():
        sys.exit(__doc__)
    sys.exit(max([DOES[word]() for word in asked]))
