"""Plug-ins of an invented other package, whole and broken, and how the service is asked for what they contribute."""

import time
from collections.abc import Callable
from dataclasses import replace
from io import StringIO
from types import SimpleNamespace
from typing import Any

from django.core.management import call_command
from rest_framework.test import APIClient

from optics.core.profiles import flat
from pinpool.plugins.model import Contribution, Parameter, Plugin
from tests.bodies import OPTICS

API = "/api/v1/optics/"


def shown(api: APIClient, name: str = "guest_plugin") -> dict[str, Any]:
    """What the list of plug-ins says of one."""
    [row] = [row for row in api.get("/api/v1/plugins/").json()["results"] if row["name"] == name]
    return row  # type: ignore[no-any-return]


def contribution(name: str = "third", function: Callable[..., Any] = dict, **more: Any) -> Contribution:
    return Contribution(name, "a thing of somebody else's", "invented", function, **more)


def plugin(**points: Any) -> Plugin:
    facts: dict[str, Any] = {"name": "guest_plugin", "version": "0.3", "api_version": (1, 0)}
    return Plugin(**facts | points)


class Fake:
    """An entry point of another package that yields what it is given, or raises it."""

    def __init__(self, made: Any, name: str = "guest", package: str = "guest-package") -> None:
        self.made, self.name, self.value = made, name, "guest.module:plugin"
        self.dist = SimpleNamespace(name=package)

    def load(self) -> Any:
        if isinstance(self.made, BaseException):
            raise self.made
        return self.made


def film(function: Callable[..., Any]) -> Plugin:
    return plugin(film_planes=(contribution(function=function, parameters=(Parameter("size", "length", "size"),)),))


def curve(at: Callable[..., Any] = abs, **more: Any) -> Plugin:
    """A film plane whose profile is a flat one with parts replaced."""
    return film(lambda size_mm, **_: replace(flat(width_mm=size_mm, distance_mm=60.0), at=at, **more))


def law(function: Callable[..., Any]) -> Plugin:
    return plugin(reciprocity_laws=(contribution(function=function),))


def correction(correct: Callable[..., Any], **more: Any) -> Plugin:
    return law(lambda: SimpleNamespace(correct=correct, **more))


def rule(function: Callable[..., Any]) -> Plugin:
    return plugin(hole_rules=(contribution(function=function),))


def receptor(function: Callable[..., Any]) -> Plugin:
    return plugin(receptors=(contribution(function=function),))


def reading(function: Callable[..., Any]) -> Plugin:
    return plugin(light_readings=(contribution(function=function, parameters=(Parameter("x", "number", ""),)),))


def raising(*_: Any, **__: Any) -> Any:
    raise ZeroDivisionError("secret")


#: What each point's failure is asked by: the address and a body that names the contribution “third”.
ASK: dict[str, tuple[str, dict[str, Any]]] = {
    "film_planes": ("camera-plan/", {"film_plane": {"kind": "third", "size": "90 mm", "height": "60 mm"}}),
    "reciprocity_laws": ("exposure/", OPTICS["exposure/"] | {"reciprocity": {"law": "third"}}),
    "hole_rules": ("camera-plan/", OPTICS["camera-plan/"] | {"rule": "third"}),
    "receptors": ("hole-diameter/", {"focal_length": "90 mm", "receptor": "third"}),
    "light_readings": ("light/", {"reading": {"x": 1}}),
}
RULE = {"focal_length": "90 mm", "rule": "third"}


def checked() -> str:
    """What `manage.py check` prints."""
    printed = StringIO()
    call_command("check", stderr=printed, stdout=printed)
    return printed.getvalue()


def everything_else_works(api: APIClient) -> None:
    for path in ("film-plane/", "hole-diameter/", "light/", "exposure/", "camera-plan/"):
        response = api.post(API + path, OPTICS[path])
        assert response.status_code == 200, (path, response.content)


def until(true: Callable[[], bool]) -> None:
    for _ in range(500):
        if true():
            return
        time.sleep(0.01)
    raise AssertionError("not within 5 s")
