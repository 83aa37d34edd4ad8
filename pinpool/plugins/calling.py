"""Somebody else's function, run where it can be given up on: in a thread beside ours, with a time to answer in."""

import os
from collections.abc import Callable
from concurrent.futures import Future
from contextvars import copy_context
from queue import SimpleQueue
from threading import Thread
from typing import Any

from django.db import connections


class Late(Exception):
    """The function has not come back in time; `call` is done once it does."""

    def __init__(self, call: "Future[Any]") -> None:
        super().__init__("not back in time")
        self.call = call


class _Worker(Thread):
    """A thread for one call after another; a daemon, so that one which never ends keeps no process alive."""

    def __init__(self) -> None:
        super().__init__(name="plug-in", daemon=True)
        self.jobs: SimpleQueue[Callable[[], None]] = SimpleQueue()
        self.start()

    def run(self) -> None:
        while True:
            self.jobs.get()()


_idle: list[_Worker] = []
os.register_at_fork(after_in_child=_idle.clear)  # threads stay behind in the parent


def within(seconds: float, function: Callable[[], Any]) -> tuple[Any, BaseException | None]:
    """What `function` returned and what it raised, of whatever kind; raises `Late` after `seconds`.

    It sees a copy of our context variables, and has database connections of its own: what it reads is committed, and
    nothing it does there is part of our transaction.
    """
    try:
        worker = _idle.pop()
    except IndexError:
        worker = _Worker()
    call: Future[Any] = Future()
    context = copy_context()

    def job() -> None:
        outcome = outcome_of(lambda: context.run(function))
        connections.close_all()
        _idle.append(worker)
        call.set_result(outcome)

    worker.jobs.put(job)
    try:
        return call.result(timeout=max(seconds, 0.0))
    except TimeoutError:
        raise Late(call) from None


def outcome_of(function: Callable[[], Any]) -> tuple[Any, BaseException | None]:
    """What `function` returned and what it raised, of whatever kind."""
    try:
        return function(), None
    except BaseException as fault:  # noqa: BLE001  (a stranger's SystemExit or KeyboardInterrupt must end nothing of ours)
        return None, fault
