"""The rules of the house that a machine can check: the layout, the size of files, and that no call goes undeclared."""

import ast
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.urls import get_resolver
from rest_framework.views import APIView

from clubs.roles import MAY
from clubs.views import ClubView
from pinpool.http.views import Computation, View
from pinpool.openapi import document
from tests.bodies import ACCOUNTS, CLUB, FORMS, OPTICS, OTHERS

ROOT = Path(__file__).parents[2]
SHIPPED = ("pinpool", "optics", "clubs", "exposures")
TOP = {
    ".ci", ".gitignore", ".pre-commit-config.yaml", "DEVELOPERS.md", "LICENSE", "README.md", "clubs", "exposures",
    "fixtures", "manage.py", "optics", "pinpool", "pyproject.toml", "tests",
}  # fmt: skip
LONGEST = 400
#: Where the fields are made that show alike on every site, and where fields of any kind are told apart.
MINE = {ROOT / "pinpool/http/fields.py", ROOT / "exposures/imports/fields.py"}
#: Views of the API that are no calls of it: the document itself, its pages, and what is said of unknown addresses.
NO_CALLS = {"SchemaView", "DocsPage", "RecipesPage", "unknown_address"}


def tracked() -> list[Path]:
    """Every file under version control, or that would be; none where this is no checkout."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    found = [ROOT / line for line in listed.stdout.splitlines()] if listed.returncode == 0 else []
    return [path for path in found if path.is_file()] or [
        path for path in ROOT.rglob("*.py") if ".venv" not in str(path)
    ]


def routes(resolver: Any, before: str = "") -> Iterator[tuple[str, Any]]:
    for pattern in resolver.url_patterns:
        route = before + str(pattern.pattern)
        if hasattr(pattern, "url_patterns"):
            yield from routes(pattern, route)
        else:
            yield route, pattern.callback


def api_views() -> list[tuple[str, type[APIView]]]:
    """(route, class) of every call below /api/v1/."""
    found = []
    for route, callback in routes(get_resolver()):
        view = getattr(callback, "view_class", callback)
        if route.startswith("api/v1/") and view.__name__ not in NO_CALLS:
            found.append((route, view))
    return found


def methods_of(view: type[APIView]) -> set[str]:
    return {name.upper() for name in ("get", "post", "put", "patch", "delete") if hasattr(view, name)}


# ------------------------------------------------------------------------------------------------------- calls


@pytest.mark.parametrize(("route", "view"), api_views(), ids=lambda value: value if isinstance(value, str) else "")
def test_every_call_is_declared(route: str, view: type[View]) -> None:
    """Its view is one of ours, says what each method takes and gives, and stands in the OpenAPI document."""
    assert issubclass(view, View), "An API view descends from pinpool.http.views.View."
    assert view.__doc__
    operations = view().operations
    assert set(operations) == methods_of(view)
    path = "/" + re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", route)
    assert {method.upper() for method in document()["paths"][path]} == methods_of(view)
    for method, operation in operations.items():
        assert (operation.takes is None) == (method in {"GET", "DELETE"})
        if issubclass(view, ClubView):
            assert view.actions[method] in MAY, "Name the action, and give it a least role in clubs.roles.MAY."
    if issubclass(view, ClubView):
        assert set(view.actions) == methods_of(view)


@pytest.mark.parametrize(("route", "view"), api_views(), ids=lambda value: value if isinstance(value, str) else "")
def test_every_call_has_a_good_body_among_the_tests(route: str, view: type[View]) -> None:
    """So that refusals, limits and answers are tried on it: see tests/bodies.py."""
    below = route.removeprefix("api/v1/")
    if below.startswith("accounts/") and methods_of(view) & {"POST", "PATCH"}:
        assert below.removeprefix("accounts/") in ACCOUNTS
    if issubclass(view, Computation):
        assert below.removeprefix("optics/") in OPTICS | FORMS
    elif issubclass(view, ClubView) and "POST" in methods_of(view) and not below.endswith("specs/"):
        assert below.removeprefix("clubs/<slug:club>/") in {*CLUB, *FORMS, *OTHERS}


def test_every_model_field_that_measures_names_its_unit() -> None:
    """A stored quantity is one column with its unit in the name; the others say what they are."""
    plain = {"f_number", "exposure_index", "nominal_exposure_index", "ev100"}
    plain |= {"x", "xx", "y", "xy", "yy"}  # sums of stops and of their products, as the pooled model names them
    for model in apps.get_models():
        if model.__module__.partition(".")[0] in SHIPPED:
            for field in model._meta.get_fields():
                if type(field).__name__ == "FloatField":
                    assert field.name in plain or re.search(r"_(mm|s|stops|share|rad|nm)$", field.name), field


# ------------------------------------------------------------------------------------------------------- files


def test_the_top_level_tells_what_the_service_does() -> None:
    assert {path.relative_to(ROOT).parts[0] for path in tracked()} <= TOP


def test_no_file_is_longer_than_one_can_read() -> None:
    """Migrations and data aside."""
    long = {
        str(path.relative_to(ROOT)): lines
        for path in tracked()
        if path.suffix in {".py", ".js", ".css", ".html"} and "migrations" not in path.parts
        if (lines := len(path.read_text().splitlines())) > LONGEST
    }
    assert not long


def test_names_and_shapes_that_are_not_used_here() -> None:
    for path in tracked():
        if path.suffix != ".py" or "migrations" in path.parts:
            continue
        assert path.name not in {"utils.py", "helpers.py", "misc.py", "common.py"}, path
        shipped = path.relative_to(ROOT).parts[0] in SHIPPED
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom):
                assert all(alias.name != "*" for alias in node.names), f"{path}: import *"
            if shipped and isinstance(node, ast.Import | ast.ImportFrom):
                names = [alias.name for alias in node.names] + [getattr(node, "module", None) or ""]
                assert not any("signals" in name for name in names), f"{path}: a signal for a domain rule"
            if shipped and isinstance(node, ast.Attribute) and ast.unparse(node.value) == "serializers":
                told = f"{path}: looks as a host site's own API says; use Moment, Instant or Day"
                assert node.attr not in {"DateTimeField", "DateField", "TimeField", "DecimalField"} or path in MINE, (
                    told
                )


def test_nothing_tells_of_one_machine_or_of_one_registry() -> None:
    """No home folders, no work folders, no hosts that packages came from."""
    telling = re.compile(
        r"(?<![\w.])/(?:home|root|Users|work)/\w|[A-Z]:\\\\Users|https?://[^\s\"']*(?:pypi|pythonhosted|artifactory|nexus|jfrog)"
        r"|index-url|extra-index"
    )
    for path in tracked():
        if path.suffix in {".png", ".jpg", ".tif", ".tiff", ".woff2", ".ico"} or path == Path(__file__):
            continue
        found = telling.search(path.read_text(errors="replace"))
        assert found is None, f"{path.relative_to(ROOT)}: {found[0]!r}"


def test_the_wheel_holds_the_apps_and_nothing_else() -> None:
    text = (ROOT / "pyproject.toml").read_text()
    assert 'packages = ["pinpool", "clubs", "optics", "exposures"]' in text
    assert not any((ROOT / name / "tests").exists() for name in SHIPPED)
