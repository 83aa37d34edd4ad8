"""Plug-ins that take too long, change what is others', or end what is not theirs: named, put aside, and outlived."""

import logging
import threading
import time
import warnings
from contextvars import ContextVar
from typing import Any

import numpy as np
import pytest
from django.db import connections
from rest_framework.test import APIClient

from clubs.models import Club
from optics import contributed
from optics.core.profiles import flat
from pinpool.http.problems import PluginFailed
from pinpool.plugins import registry
from pinpool.plugins.calling import Late, within
from pinpool.plugins.model import Parameter
from tests.factories import ClubFactory
from tests.guests import (
    API,
    ASK,
    RULE,
    Fake,
    checked,
    contribution,
    correction,
    curve,
    everything_else_works,
    film,
    plugin,
    reading,
    rule,
    shown,
    until,
)
from tests.problems import problem_of

# ---------------------------------------------------------------------------------------------------- too long


def hanging(door: threading.Event) -> dict[str, Any]:
    """A plug-in that hangs, for each place where it can."""

    def wait(*_: Any, **__: Any) -> Any:
        door.wait(20)
        return 0.3

    class Slow:
        @property
        def flags(self) -> Any:
            return wait()

    return {
        "film_planes": film(wait),
        "film_planes along its curve": curve(wait),
        "reciprocity_laws": plugin(reciprocity_laws=(contribution(function=Slow),)),
        "reciprocity_laws correct": correction(wait),
        "hole_rules": rule(wait),
        "receptors": plugin(receptors=(contribution(function=wait),)),
        "light_readings": reading(wait),
    }


@pytest.mark.parametrize("where", hanging(threading.Event()))
def test_a_call_that_hangs_is_given_up_on_and_named(  # noqa: PLR0917
    install: Any, api: APIClient, impatient: None, door: threading.Event, caplog: pytest.LogCaptureFixture, where: str
) -> None:
    install(hanging(door)[where])
    point = where.split(maxsplit=1)[0]
    path, body = ASK[point]
    with caplog.at_level(logging.WARNING, logger="pinpool.plugins.registry"):
        problem = problem_of(api.post(API + path, body), 502)
    assert problem["detail"].startswith(f"Plug-in guest_plugin: {point} “third” has not answered within 0.2 s")
    assert any(record.getMessage() in problem["detail"] for record in caplog.records)
    row = shown(api)
    assert (row["state"], row["failures"]) == ("active", 1)
    assert row["last_failure"] in problem["detail"]


def test_a_third_call_that_hangs_lets_it_rest_until_they_come_back(
    db: None, install: Any, api: APIClient, impatient: None, door: threading.Event
) -> None:
    called = []
    install(rule(lambda **_: (called.append(1), door.wait(20), 0.3)[-1]))
    for _ in range(3):
        problem_of(api.post(API + "hole-diameter/", RULE), 502)
    row = shown(api)
    assert (row["state"], row["contributes"], row["failures"]) == ("failed", {}, 3)
    assert "guest-package: 3 calls into it have not come back" in row["reason"]
    assert row["reason"] in checked()
    with pytest.raises(PluginFailed, match=r"guest_plugin is put aside: .*have not come back"):
        registry.call("hole_rules", "third")
    assert len(called) == 3
    everything_else_works(api)
    door.set()
    until(lambda: shown(api)["state"] == "active")
    assert api.post(API + "hole-diameter/", RULE).json()["chosen"]["diameter"]["value"] == 0.3


def test_calls_into_what_it_returned_share_one_time(install: Any, settings: Any, api: APIClient) -> None:
    """A curve that is asked dozens of times may take as long for all of them as for one."""
    settings.PINPOOL = {"PLUGIN_SECONDS": 0.3}
    asked = []

    def dawdling(s: Any) -> Any:
        asked.append(len(s))
        time.sleep(0.07)
        return flat(width_mm=90.0, distance_mm=60.0).at(s)

    install(curve(dawdling))
    path, body = ASK["film_planes"]
    problem = problem_of(api.post(API + path, body), 502)
    assert "has not answered within 0.3 s along its curve" in problem["detail"]
    assert len(asked) <= 5


def test_an_import_that_hangs_is_given_up_on(
    db: None, install: Any, api: APIClient, impatient: None, door: threading.Event
) -> None:
    class Endless(Fake):
        def load(self) -> Any:
            door.wait(20)

    entry = install(Endless(None))
    assert (entry.state, entry.plugin) == ("failed", None)
    assert entry.reason == "guest-package: importing guest.module:plugin took more than 1 s."
    assert entry.reason in checked()
    everything_else_works(api)


def test_our_own_run_where_they_are_called(impatient: None) -> None:
    """Nobody waits for a thread there, and no time is set."""
    names = {threading.current_thread().name}
    registry.run("hole_rules", "young_1971", lambda: (names.add(threading.current_thread().name), time.sleep(0.25)))
    assert names == {threading.current_thread().name}


# ---------------------------------------------------------------------------------- what goes along to the thread

spoken: ContextVar[str] = ContextVar("spoken", default="nothing")


def test_it_sees_our_context_and_leaves_it_as_it_is(install: Any) -> None:
    def speaking(**_: Any) -> float:
        seen.append(spoken.get())
        spoken.set("theirs")
        np.seterr(all="raise")
        return 0.3

    seen: list[str] = []
    install(rule(speaking))
    before = np.geterr()
    spoken.set("ours")
    assert registry.call("hole_rules", "third") == 0.3
    assert (seen, spoken.get(), np.geterr()) == (["ours"], "ours", before)


def test_its_connections_to_the_database_are_its_own_and_closed(install: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    closed = []
    monkeypatch.setattr(
        "pinpool.plugins.calling.connections.close_all", lambda: closed.append(threading.current_thread().name)
    )
    ours = connections["default"]
    install(rule(lambda **_: connections["default"] is not ours))
    closed.clear()
    assert registry.call("hole_rules", "third") is True
    assert closed == ["plug-in"]


@pytest.mark.django_db(transaction=True)
def test_it_reads_what_is_committed(install: Any) -> None:
    ClubFactory.create_batch(2)
    install(rule(lambda **_: float(Club.objects.count())))
    assert registry.call("hole_rules", "third") == 2.0


def test_threads_are_used_again(install: Any) -> None:
    install(rule(lambda **_: float(threading.get_ident())))
    until(lambda: registry.call("hole_rules", "third") == registry.call("hole_rules", "third"))


@pytest.mark.parametrize("ends", [KeyboardInterrupt, GeneratorExit, SystemExit, RecursionError, MemoryError])
def test_what_would_end_the_service_ends_the_call_alone(install: Any, ends: type[BaseException]) -> None:
    def ending(**_: Any) -> Any:
        raise ends

    install(rule(ending))
    with pytest.raises(PluginFailed, match=f"guest_plugin: hole_rules “third” raised {ends.__name__}"):
        registry.call("hole_rules", "third")


def test_one_that_recurses_without_end_fails_alone(install: Any, api: APIClient) -> None:
    def deeper(**values: Any) -> Any:
        return deeper(**values)

    install(rule(deeper))
    assert "raised RecursionError" in problem_of(api.post(API + "hole-diameter/", RULE), 502)["detail"]


def test_a_warning_of_its_is_a_warning(install: Any) -> None:
    def warning(**_: Any) -> float:
        warnings.warn("half a millimetre is wide", UserWarning, stacklevel=1)
        return 0.5

    install(rule(warning))
    with pytest.warns(UserWarning, match="wide"):
        assert registry.call("hole_rules", "third") == 0.5


@pytest.mark.parametrize("huge", [10**400, float("inf"), True, "0.3", np.array([0.3]), 0.3j])
def test_what_is_no_length_is_none(install: Any, huge: Any) -> None:
    install(rule(lambda **_: huge))
    values = {"focal_length_mm": 90.0, "wavelength_nm": 500.0, "subject_distance_mm": np.inf}
    with pytest.raises(PluginFailed, match="did not return a diameter"):
        contributed.hole_rules(chosen="third", **values)


def test_a_narrow_float_is_a_number(install: Any, api: APIClient) -> None:
    install(rule(lambda **_: np.float32(0.5)))
    assert api.post(API + "hole-diameter/", RULE).json()["chosen"]["diameter"]["value"] == 0.5


def test_it_cannot_write_into_our_arrays(install: Any, api: APIClient) -> None:
    def shifting(s: Any) -> Any:
        s += 1.0
        return s, s, s, s

    install(curve(shifting))
    path, body = ASK["film_planes"]
    assert "raised ValueError along its curve" in problem_of(api.post(API + path, body), 502)["detail"]


def test_it_cannot_write_into_our_lists(install: Any) -> None:
    def emptying(*, points_mm: Any, **_: Any) -> Any:
        points_mm.clear()
        return flat(width_mm=90.0, distance_mm=60.0)

    points = [[0.0, 60.0], [1.0, 60.0]]
    install(plugin(film_planes=(contribution(function=emptying, parameters=(Parameter("points", "points", ""),)),)))
    plane = contributed.film_plane("third", height_mm=60.0, points_mm=points)
    assert plane.parameters["points_mm"] == points == [[0.0, 60.0], [1.0, 60.0]]


def test_a_fault_of_another_is_not_laid_on_who_called_it(install: Any) -> None:
    install(rule(lambda **_: 1 / 0))
    with pytest.raises(PluginFailed, match="Plug-in guest_plugin: hole_rules “third” raised ZeroDivisionError"):
        registry.run("reciprocity_laws", "paper", lambda: registry.call("hole_rules", "third"))


def test_a_thread_that_was_given_up_on_says_when_it_is_done(door: threading.Event) -> None:
    with pytest.raises(Late) as late:
        within(0.01, lambda: door.wait(20))
    assert not late.value.call.done()
    door.set()
    assert late.value.call.result(timeout=5) == (True, None)
