"""granian's server, watched: a worker that hangs is replaced, and one that keeps dying does not end the service.

Each worker beats: it writes the time into memory shared with the server once a second. A worker that stands still, and
one of which an answer has taken too long, stops doing so; it is killed, and granian starts another in its place.
"""

import errno
import logging
import multiprocessing
import os
import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from queue import Empty, SimpleQueue
from typing import Any

from django.core.management.base import CommandError
from granian import Granian
from granian.net import SocketHolder

#: Seconds that a worker may be silent, and that a new one has to load.
SILENT_S, LOADING_S = 20, 120
#: Seconds before workers that die as soon as they are started are started again.
PAUSE_S = 5
#: Seconds that a port may still be somebody else's.
BUSY_S = 10
#: Seconds that a client may take nothing of an answer that is being sent.
UNTAKEN_S = 20

logger = logging.getLogger(__name__)


class Waker:
    """In the place of granian's event, which its signal handlers set while the same thread may be waiting for it.

    An event's lock would then be waited for by who holds it, and nothing would stop the service any more; a queue of
    this kind may be put into at any moment. Each call of `set` ends one call of `wait`, so that none is lost and nobody
    turns in circles.
    """

    def __init__(self) -> None:
        self._told: SimpleQueue[None] = SimpleQueue()

    def set(self) -> None:
        self._told.put(None)

    def clear(self) -> None:
        """Nothing: who waited has taken what there was."""

    def forget(self) -> None:
        """Whatever was set before."""
        with suppress(Empty):
            while True:
                self._told.get_nowait()

    def wait(self, timeout: float | None = None) -> None:
        with suppress(Empty):
            self._told.get(timeout=timeout)


class Server(Granian):  # type: ignore[misc, valid-type]
    """Calls the loader of each worker with `beat`, a function that the worker is to call every second."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.main_loop_interrupt = Waker()
        # Two for each, since a worker that is renewed and the one in its place both beat for a while.
        self._beats = multiprocessing.RawArray("d", 2 * self.workers)
        self._slots = list(range(self.workers))
        self.on_startup(threading.Thread(target=self._watch, daemon=True).start)

    def _init_shared_socket(self) -> None:
        """One socket for all workers, where granian has one for each: what queues for it any worker can take.

        Behind its own a worker that hangs would keep whoever the system puts there, and take them along when killed.
        """
        family = socket.AF_INET6 if ":" in self.bind_addr else socket.AF_INET
        self._sso = socket.socket(family, socket.SOCK_STREAM)
        self._sso.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._sso.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if hasattr(socket, "TCP_USER_TIMEOUT"):
            self._sso.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, UNTAKEN_S * 1000)
        self._bind(self._sso)
        self._sso.set_inheritable(True)
        self._shd = SocketHolder(self._sso.fileno(), False, self.backlog)  # type: ignore[call-arg]

    def _bind(self, listener: socket.socket) -> None:
        """Wait a little for who has the port: a service that was killed is gone only when its workers noticed."""
        ends = time.monotonic() + BUSY_S
        while True:
            try:
                return listener.bind((self.bind_addr, self.bind_port))
            except OSError as fault:
                if fault.errno != errno.EADDRINUSE or time.monotonic() > ends:
                    raise CommandError(f"{self._bind_addr_fmt} cannot be listened on: {fault.strerror}.") from fault
            time.sleep(0.2)

    def _spawn_worker(self, idx: int, target: Any, callback_loader: Any) -> Any:
        slot = self._slots[idx] = (self._slots[idx] + self.workers) % (2 * self.workers)
        self._beats[slot] = time.monotonic() + LOADING_S
        loader = partial(_load, callback_loader, partial(_beat, self._beats, slot), os.getpid())
        return super()._spawn_worker(idx, target, loader)

    def _watch(self) -> None:
        looked = time.monotonic()
        while not self.interrupt_signal:  # a worker that is stopping beats no more
            time.sleep(1)
            now, looked_before = time.monotonic(), looked
            looked = now
            if now - looked_before > SILENT_S / 2:
                continue  # not a worker stood still but this machine
            for worker in list(self.wrks):
                slot = self._slots[worker.idx]
                if now - self._beats[slot] > SILENT_S:
                    logger.error("Worker %s hangs, and is replaced.", worker.idx + 1)
                    self._beats[slot] = now + LOADING_S
                    worker.inner.kill()
                    if worker.inner.exitcode is not None:  # it had ended, and granian missed it
                        self.interrupt_children.append(worker.idx)
                        self.main_loop_interrupt.set()

    def _serve_loop(self, spawn_target: Any, target_loader: Any) -> None:
        """granian's, which ends where a worker dies twice within seconds; then we wait a little, and go on."""
        while True:
            super()._serve_loop(spawn_target, target_loader)
            if not self.interrupt_signal:
                logger.error("Workers die as soon as they are started; trying again in %s s.", PAUSE_S)
                self.main_loop_interrupt.forget()
                self.main_loop_interrupt.wait(PAUSE_S)
            if self.interrupt_signal:
                self.interrupt_children.clear()  # that some died before is no reason to call this a failure
                return
            self.respawned_wrks.clear()
            self.main_loop_interrupt.set()


def _load(loader: Callable[..., Any], beat: Callable[[], None], server: int) -> Any:
    """In a worker: what it serves."""
    threading.Thread(target=_end_with, args=(server,), daemon=True).start()
    return loader(beat=beat)


def _end_with(server: int) -> None:
    """In a thread, since a worker that was told to stop beats no more, and may yet wait long for an answer."""
    while os.getppid() == server:
        time.sleep(1)
    os._exit(1)  # nobody is left to stop this worker, and a new server wants the port


def _beat(beats: Any, slot: int) -> None:
    beats[slot] = time.monotonic()
