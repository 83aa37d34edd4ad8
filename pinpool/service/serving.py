"""The site under granian: worker processes with threads, renewed, and stopped gracefully."""

import gc
import logging
import os
import signal
import sys
from collections.abc import Callable
from functools import partial
from typing import Any

from django.conf import settings
from django.db import connections
from django.urls import resolve

try:
    import resource
except ImportError:  # not a Unix
    resource = None  # type: ignore[assignment]

#: A worker is renewed after so many seconds, or when it holds so many bytes: whatever leaks does so for a day.
LIFETIME_S, MOST_BYTES = 24 * 3600, 1_000_000_000
#: Seconds that a worker has to finish what it is answering, and a client to send a request's headers.
GRACE_S, HEADERS_S = 30, 20
#: Seconds that a request waits for a connection of the pool before it is refused. Trying to connect ends no later, or
#: pauses between tries would grow until a database that is back is not seen for minutes.
POOL_S = 3
#: Seconds that a thread may reckon before others go on. Each statement of the database ends in such a wait: with
#: Python's 0.005 a short answer beside long ones takes about a fifth longer.
TURN_S = 0.0005
#: Connections that each worker takes at once, most of them idle, and that wait for one to take them; files that it may
#: have open beside them; and what is few.
MOST_CONNECTIONS, BACKLOG, OTHER_FILES, FEW_CONNECTIONS = 16_000, 2048, 200, 1000

logger = logging.getLogger(__name__)


def serve(*, address: str, port: int, workers: int, threads: int, tell_requests: bool = True) -> None:
    """Serve the site until Ctrl-C or SIGTERM, or until the terminal is closed. A worker that dies is replaced."""
    from granian.constants import HTTPModes, Interfaces  # noqa: PLC0415  (only who serves needs the server loaded)
    from granian.http import HTTP1Settings  # noqa: PLC0415
    from granian.log import LogLevels  # noqa: PLC0415

    from .watched import Server  # noqa: PLC0415

    # The workers are copies of this process: what is loaded here is shared, an open connection must not be.
    resolve("/api/v1/clubs/")
    connections.close_all()
    gc.collect()
    gc.freeze()  # or a worker would stand still for a tenth of a second each time it looks through all that for garbage
    connections_each = _connections()
    server = Server(
        "pinpool.wsgi:application",
        address=address,
        port=port,
        interface=Interfaces.ASGI,
        http=HTTPModes.http1,  # to tell a client's HTTP/2 from its first bytes granian waits for them for ever
        workers=workers,
        backlog=BACKLOG,
        backpressure=connections_each,
        respawn_failed_workers=True,
        workers_lifetime=LIFETIME_S,
        workers_max_rss=MOST_BYTES // 1_000_000,
        workers_kill_timeout=GRACE_S,
        http1_settings=HTTP1Settings(header_read_timeout=HEADERS_S * 1000),
        websockets=False,
        log_level=LogLevels.error,
    )
    if hasattr(signal, "SIGHUP"):  # left alone, a closed terminal would restart the workers instead
        server.on_startup(lambda: signal.signal(signal.SIGHUP, server.signal_handler_interrupt))
    loader = partial(_load_site, threads=threads, tell_requests=tell_requests)
    server.serve(target_loader=loader, wrap_loader=False)


def _connections() -> int:
    """How many connections a worker may have open; raises the limit of open files as far as this process may."""
    if resource is None:
        return MOST_CONNECTIONS
    _, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    files = min(hard, 2**20) if hard != resource.RLIM_INFINITY else 2**20
    resource.setrlimit(resource.RLIMIT_NOFILE, (files, hard))
    connections = min(MOST_CONNECTIONS, max(100, files - OTHER_FILES))
    if connections < FEW_CONNECTIONS:
        logger.warning(
            "A process may open %s files here, so that each worker takes %s connections at once: raise the limit "
            "(ulimit -n, or LimitNOFILE= of systemd).", files, connections,
        )  # fmt: skip
    return connections


def _load_site(*, threads: int, tell_requests: bool, beat: Callable[[], None]) -> Any:
    """The site, in a worker with a process group of its own.

    A terminal sends Ctrl-C to a whole group. A worker must not get it as well as the stop that the server sends it:
    two stops at once leave it waiting for itself.
    """
    if hasattr(os, "setpgrp"):
        os.setpgrp()
    signal.signal(signal.SIGTERM, signal.SIG_DFL)  # a copy of the server's would let a stop pass while this loads
    sys.setswitchinterval(TURN_S)
    _pool_connections(threads if settings.DATABASE_POOL is None else settings.DATABASE_POOL)
    from pinpool.service.door import Door  # noqa: PLC0415  (the worker's own)
    from pinpool.wsgi import application  # noqa: PLC0415

    if not tell_requests:
        logging.getLogger("pinpool.access").setLevel(logging.WARNING)
    return Door(application, threads=threads, beat=beat)


def _pool_connections(most: int) -> None:
    """Let the threads of this process share so many connections to PostgreSQL, opened when they are first needed.

    Only here: commands and tests fork, and a pool's own threads stay behind in the process that started them.
    """
    database = connections.settings["default"]
    if most and database["ENGINE"] == "django.db.backends.postgresql":
        pool = {"min_size": 0, "max_size": most, "timeout": POOL_S, "reconnect_timeout": POOL_S}
        database["CONN_MAX_AGE"] = 0
        database["OPTIONS"] = {**database["OPTIONS"], "pool": pool}
