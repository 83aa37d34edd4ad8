"""Plug-ins that change what others contribute: it is undone, and whoever did it is named and left out."""

import threading
from contextvars import copy_context
from typing import Any

import pytest
from rest_framework.test import APIClient

from clubs.web import panels
from optics import builtin
from optics.core.profiles import flat
from pinpool.http.problems import PluginFailed
from pinpool.plugins import keeping, registry
from pinpool.plugins.loading import find, load_all
from tests.guests import (
    API,
    RULE,
    Fake,
    checked,
    contribution,
    everything_else_works,
    plugin,
    rule,
    shown,
)
from tests.problems import problem_of


def theirs(**_: Any) -> Any:
    return flat(width_mm=1.0, distance_mm=1.0)


def write(**_: Any) -> float:
    object.__setattr__(builtin.FILM_PLANES[0], "function", theirs)
    return 0.3


def write_fields(**_: Any) -> float:
    vars(registry.contributions("film_planes")["flat"].parameters[0])["maximum"] = 1e9
    return 0.3


def drop(**_: Any) -> float:
    object.__setattr__(builtin.plugin, "film_planes", ())
    return 0.3


def add(**_: Any) -> float:
    vars(builtin.plugin)["film_planes"] += (contribution("fourth", theirs),)
    return 0.3


def hide(**_: Any) -> float:
    registry.entries = tuple  # type: ignore[assignment]
    return 0.3


def put_a_panel(**_: Any) -> float:
    panels.contribute("camera", "Buy more tins", lambda **_: None)
    return 0.3


def write_and_raise(**values: Any) -> float:
    raise ZeroDivisionError(write(**values))


TAMPERING = [write, write_fields, drop, add, hide, put_a_panel, write_and_raise]


def unharmed(api: APIClient) -> None:
    everything_else_works(api)
    flat_kind = registry.contributions("film_planes")["flat"]
    assert flat_kind is builtin.FILM_PLANES[0]
    assert flat_kind.function is flat
    assert flat_kind.parameters[0].maximum == 10_000.0
    assert "fourth" not in registry.contributions("film_planes")
    assert "Buy more tins" not in panels._panels["camera"]


@pytest.mark.parametrize("tampers", TAMPERING)
def test_a_call_that_changes_what_others_contribute(db: None, install: Any, api: APIClient, tampers: Any) -> None:
    """It is undone, and whoever did it is named and left out."""
    install(rule(tampers))
    problem = problem_of(api.post(API + "hole-diameter/", RULE), 502)
    assert problem["detail"].startswith("Plug-in guest_plugin: hole_rules “third” ")
    assert "changed what others contribute" in problem["detail"]
    row = shown(api)
    assert (row["state"], row["contributes"]) == ("invalid", {})
    assert "guest-package: changed what others contribute, which was undone" in row["reason"]
    assert row["reason"] in checked()
    unharmed(api)
    rules = api.post(API + "hole-diameter/", {"focal_length": "90 mm"}).json()["rules"]
    assert "third" not in [each["rule"] for each in rules]
    with pytest.raises(PluginFailed, match="guest_plugin is put aside"):
        registry.call("hole_rules", "third")


@pytest.mark.parametrize("tampers", [write, drop, put_a_panel])
def test_an_import_that_changes_what_others_contribute(db: None, install: Any, api: APIClient, tampers: Any) -> None:
    class Meddling(Fake):
        def load(self) -> Any:
            tampers()
            return self.made

    entry = install(Meddling(plugin()))
    assert (entry.state, entry.plugin) == ("invalid", None)
    assert entry.reason == "guest-package: changed what others contribute, which was undone."
    assert entry.reason in checked()
    unharmed(api)


def test_a_call_given_up_on_that_changes_something_later_is_named(
    install: Any, api: APIClient, impatient: None, door: threading.Event
) -> None:
    done = threading.Event()

    def lurking(**_: Any) -> float:
        door.wait(20)
        write()
        done.set()
        return 0.3

    bystander = plugin(name="bystander", receptors=(contribution("tame", lambda: None),))
    install(rule(lurking), Fake(bystander, "bystander", "bystander-package"))
    problem_of(api.post(API + "hole-diameter/", RULE), 502)
    door.set()
    assert done.wait(5)
    assert registry.call("receptors", "tame") is None
    assert (shown(api)["state"], shown(api, "bystander")["state"]) == ("invalid", "active")
    unharmed(api)


def test_nobody_is_named_for_what_two_may_have_done(api: APIClient, door: threading.Event) -> None:
    """It is undone all the same, and logged."""
    inside = threading.Event()

    def waiting() -> None:
        inside.set()
        door.wait(20)

    bystander = plugin(name="bystander", receptors=(contribution("tame", waiting),))
    found = load_all([*find(), Fake(rule(write)), Fake(bystander, "bystander", "bystander-package")])  # type: ignore[list-item]
    with registry.trying(found):
        other = threading.Thread(target=copy_context().run, args=(registry.call, "receptors", "tame"))
        other.start()
        assert inside.wait(5)
        with pytest.raises(PluginFailed, match="changed what others contribute"):
            registry.call("hole_rules", "third")
        door.set()
        other.join()
        assert {entry.state for entry in registry.entries()} == {"active"}
        unharmed(api)


def test_what_is_handed_out_cannot_be_written_to() -> None:
    with pytest.raises(TypeError, match="does not support item assignment"):
        registry.contributions("film_planes")["flat"] = contribution()  # type: ignore[index]


def test_what_stands_in_for_what_is_not_seen_by_its_own_word() -> None:
    """Only the same object counts, or one that calls itself equal to everything would pass."""

    class Equal:
        def __eq__(self, other: object) -> bool:
            return True

        __hash__ = None  # type: ignore[assignment]

    table: dict[str, Any] = {"kept": [1]}
    kept = keeping.Kept([table])
    assert not kept.mend()
    first, table["kept"] = table["kept"], Equal()
    assert kept.mend()
    assert table["kept"] is first
