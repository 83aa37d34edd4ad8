"""The list of licences for keepers, and the bill of materials for programs (CycloneDX 1.6)."""

import uuid
from datetime import UTC, datetime
from typing import Any

from packaging.utils import canonicalize_name

from pinpool import __version__
from tests.supply.parts import ROOT, Part, asked_for

LICENCES = ROOT / "pinpool" / "service" / "docs" / "licences.md"
_ABOVE = """# Licences

Pinpool itself is under the MIT licence. These are the packages that it runs with, and what their own metadata says of
their licences; “BSD” stands where it does not say which. Each is used unchanged, as a library; its licence's text
lies beside it where it is installed. All of them let a club run the service, change it and pass it on, as long as the
licences go along. What only the tests need is not in the list, nor is Python, PostgreSQL or what else the system has.

`python -m tests.supply licences` renews this; `python -m tests.supply sbom` gives the same with versions, as CycloneDX.

| package | licence |
| --- | --- |
"""


def licences(parts: list[Part]) -> str:
    return _ABOVE + "".join(f"| {part.name} | {part.licence} |\n" for part in parts)


def bill(parts: list[Part]) -> dict[str, Any]:
    service = f"pkg:pypi/pinpool@{__version__}"
    purls = {part.name: part.purl for part in parts}
    whole = {"type": "application", "bom-ref": service, "name": "pinpool", "version": __version__, "purl": service}
    direct = sorted({purls[canonicalize_name(each.name)] for each in asked_for()["run"]})
    return {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "serialNumber": uuid.uuid4().urn,
        "version": 1,
        "metadata": {
            "timestamp": datetime.now(UTC).isoformat(timespec="seconds"),
            "component": whole | {"licenses": [{"license": {"id": "MIT"}}]},
        },
        "components": [
            {"type": "library", "bom-ref": part.purl, "name": part.name, "version": part.version, "purl": part.purl,
             "licenses": [_licence(part.licence)]}
            for part in parts
        ],
        "dependencies": [
            {"ref": service, "dependsOn": direct},
            *({"ref": part.purl, "dependsOn": [purls[need] for need in part.needs]} for part in parts),
        ],
    }  # fmt: skip


def _licence(expression: str) -> dict[str, Any]:
    """“BSD” alone is no SPDX expression, but a name."""
    return {"license": {"name": expression}} if expression == "BSD" else {"expression": expression}
