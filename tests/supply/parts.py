"""What the service is made of when it runs: every package that its own metadata asks for here, with its licence."""

import re
import tomllib
from dataclasses import dataclass
from importlib.metadata import Distribution, distribution
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[2]
#: Licences that let a club run, change and pass on the whole. The LGPL's parts are used unchanged, as libraries.
ALLOWED = {
    "0BSD", "Apache-2.0", "BSD", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "LGPL-3.0-only", "MIT", "MIT-0", "MIT-CMU",
    "MPL-2.0", "PSF-2.0", "Zlib",
}  # fmt: skip
#: How packages that give no SPDX expression say it. Which BSD licence it is, these do not say.
_SAID = {
    "BSD 3-Clause OR Apache-2.0": "BSD-3-Clause OR Apache-2.0",
    "License :: OSI Approved :: BSD License": "BSD",
    "License :: OSI Approved :: MIT License": "MIT",
    "License :: OSI Approved :: Python Software Foundation License": "PSF-2.0",
}


@dataclass(frozen=True)
class Part:
    name: str
    version: str
    licence: str
    needs: tuple[str, ...]

    @property
    def purl(self) -> str:
        return f"pkg:pypi/{self.name}@{self.version}"


def project() -> dict[str, Any]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def asked_for() -> dict[str, list[Requirement]]:
    """What `pyproject.toml` asks for, to run and to develop."""
    told = project()
    lists = {"run": told["project"]["dependencies"], "dev": told["dependency-groups"]["dev"]}
    return {name: [Requirement(line) for line in lines] for name, lines in lists.items()}


def pins() -> dict[str, Requirement]:
    """The pinned version of each package, where its marker is true here."""
    lines = map(Requirement, project()["tool"]["uv"]["constraint-dependencies"])
    return {canonicalize_name(each.name): each for each in lines if _wanted(each, set())}


def parts() -> list[Part]:
    """Every installed package that running the service takes, by name. `PackageNotFoundError`: one is not."""
    found: dict[str, Part] = {}
    todo = list(asked_for()["run"])
    seen: set[tuple[str, frozenset[str]]] = set()
    while todo:
        asked = todo.pop()
        key = canonicalize_name(asked.name), frozenset(asked.extras)
        if key in seen:
            continue
        seen.add(key)
        told = distribution(asked.name)
        needs = [each for each in map(Requirement, told.requires or []) if _wanted(each, asked.extras)]
        todo += needs
        before = found[key[0]].needs if key[0] in found else ()
        names = sorted({*before, *(canonicalize_name(each.name) for each in needs)})
        found[key[0]] = Part(key[0], told.version, licence_of(told), tuple(names))
    return sorted(found.values(), key=lambda part: part.name)


def _wanted(asked: Requirement, extras: set[str]) -> bool:
    return asked.marker is None or any(asked.marker.evaluate({"extra": extra}) for extra in {*extras, ""})


def licence_of(told: Distribution) -> str:
    """An SPDX expression, or empty where its metadata tells none that is known here."""
    metadata = told.metadata
    given = [metadata.get("License-Expression"), metadata.get("License"), *metadata.get_all("Classifier", [])]
    return next((said for text in given if text and allowed(said := _SAID.get(text, text))), "")


def allowed(expression: str) -> bool:
    words = re.findall(r"[\w.+-]+", expression)
    return bool(words) and {word for word in words if word not in {"AND", "OR"}} <= ALLOWED
