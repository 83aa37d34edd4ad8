"""Plug-ins that take too long, change what is others', or end what is not theirs: named, put aside, and outlived."""

import logging
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from contextvars import ContextVar, copy_context
from io import StringIO
from typing import Any

import numpy as np
import pytest
from django.core.management import call_command
from django.db import connections
from rest_framework.test import APIClient

from clubs.models import Club
from clubs.web import panels
from optics import builtin, contributed
from optics.core.profiles import flat
from pinpool.http.problems import PluginFailed
from pinpool.plugins import keeping, registry
from pinpool.plugins.calling import Late, within
from pinpool.plugins.loading import find, load_all
from pinpool.plugins.model import Parameter
from tests.bodies import OPTICS
from tests.factories import ClubFactory
from tests.guests import API, ASK, Fake, contribution, correction, curve, film, plugin, reading, rule, shown
from tests.problems import problem_of

RULE = {"focal_length": "90 mm", "rule": "third"}
SECONDS = 0.1


@pytest.fixture
def impatient(settings: Any) -> None:
    settings.PINPOOL = {"PLUGIN_SECONDS": SECONDS, "PLUGIN_IMPORT_SECONDS": SECONDS}


@pytest.fixture
def door() -> Iterator[threading.Event]:
    """What a plug-in that hangs waits for."""
    event = threading.Event()
    yield event
    event.set()


def checked() -> str:
    """What `manage.py check` prints."""
    printed = StringIO()
    call_command("check", stderr=printed, stdout=printed)
    return printed.getvalue()


def everything_else_works(api: APIClient) -> None:
    for path in ("film-plane/", "hole-diameter/", "light/", "exposure/", "camera-plan/"):
        response = api.post(API + path, OPTICS[path])
        assert response.status_code == 200, (path, response.content)


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
    assert problem["detail"].startswith(f"Plug-in guest_plugin: {point} “third” has not answered within 0.1 s")
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


def until(true: Callable[[], bool]) -> None:
    for _ in range(500):
        if true():
            return
        time.sleep(0.01)
    raise AssertionError("not within 5 s")


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
    assert entry.reason == "guest-package: importing guest.module:plugin took more than 0.1 s."
    assert entry.reason in checked()
    everything_else_works(api)


def test_our_own_run_where_they_are_called(impatient: None) -> None:
    """Nobody waits for a thread there, and no time is set."""
    names = {threading.current_thread().name}
    registry.run("hole_rules", "young_1971", lambda: (names.add(threading.current_thread().name), time.sleep(0.15)))
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


# -------------------------------------------------------------------------------------- what others contribute


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


def test_a_thread_that_was_given_up_on_says_when_it_is_done(door: threading.Event) -> None:
    with pytest.raises(Late) as late:
        within(0.01, lambda: door.wait(20))
    assert not late.value.call.done()
    door.set()
    assert late.value.call.result(timeout=5) == (True, None)
