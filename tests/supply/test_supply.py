"""Each dependency has a reason, is pinned, and is under a licence that lets a club use it."""

import re
import subprocess
import sys
from importlib.metadata import version
from typing import Any

import pytest
from packaging.utils import canonicalize_name

from tests.supply import __main__ as supply
from tests.supply.documents import LICENCES, bill, licences
from tests.supply.parts import ROOT, allowed, asked_for, parts, pins


def test_each_dependency_has_a_line_of_reason() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text.split("\n## Dependencies\n")[1].split("\n## ")[0]
    rows = re.findall(r"^\| (?!package|---)(.+?) \| (.+?) \|$", table, re.MULTILINE)
    told = [name for names, _ in rows for name in re.split(r", | with | and ", names)]
    asked = sorted(each.name for each in [*asked_for()["run"], *asked_for()["dev"]])
    assert sorted(told) == asked
    assert all(len(reason) > 5 for _, reason in rows)


def test_what_is_installed_is_what_was_asked_for_and_pinned() -> None:
    pinned = pins()
    off = [
        f"{each} is {version(each.name)}"
        for each in [*asked_for()["run"], *asked_for()["dev"]]
        if not each.specifier.contains(version(each.name))
    ]
    off += [f"{part.name} is not pinned" for part in parts() if part.name not in pinned]
    off += [
        f"{part.name} is {part.version}"
        for part in parts()
        if part.name in pinned and not pinned[part.name].specifier.contains(part.version)
    ]
    assert off == []


def test_every_licence_is_allowed() -> None:
    assert [part.name for part in parts() if not allowed(part.licence)] == []


@pytest.mark.skipif(sys.version_info >= (3, 12), reason="the list is of the oldest Python, whose packages differ")
def test_the_list_of_licences_is_of_today() -> None:
    assert LICENCES.read_text(encoding="utf-8") == licences(parts())


@pytest.mark.parametrize("expression", ["", "GPL-3.0-only", "MIT AND Proprietary", "MIT OR AGPL-3.0-or-later"])
def test_other_licences_are_not(expression: str) -> None:
    assert not allowed(expression)


def test_the_bill_of_materials_names_each_part_once() -> None:
    told = bill(parts())
    assert (told["bomFormat"], told["specVersion"], told["version"]) == ("CycloneDX", "1.6", 1)
    assert re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", told["serialNumber"])
    direct = {canonicalize_name(each.name) for each in asked_for()["run"]}
    assert direct <= {each["name"] for each in told["components"]}
    for each in told["components"]:
        assert each["purl"] == f"pkg:pypi/{each['name']}@{version(each['name'])}"
        assert each["licenses"]
    refs = [each["bom-ref"] for each in told["components"]]
    assert len(refs) == len(set(refs))
    assert [each["ref"] for each in told["dependencies"]] == [told["metadata"]["component"]["bom-ref"], *refs]
    assert {ref for each in told["dependencies"] for ref in each["dependsOn"]} <= set(refs)


@pytest.mark.parametrize(
    ("code", "err", "ends"),
    [(0, "", 0), (1, "", 1), (2, "error: dns", supply.NOT_RUN), (1, "error: dns", supply.NOT_RUN)],
)
def test_an_audit_that_was_not_run_says_so(
    code: int, err: str, ends: int, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    done = subprocess.CompletedProcess([], code, "Found nothing.", err)
    monkeypatch.setattr(supply.subprocess, "run", lambda *_, **__: done)
    assert supply.audit() == ends
    assert ("AUDIT NOT RUN" in capsys.readouterr().err) == (ends == supply.NOT_RUN)
