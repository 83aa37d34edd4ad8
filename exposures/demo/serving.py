"""Serving the site from the demonstration."""

import os
import signal
import socket
from typing import Any

from django.db import connections

ADDRESS = "127.0.0.1"
DEFAULT_PORT = 8000
PORTS_TRIED = 50


def is_free(port: int) -> bool:
    """Whether nothing listens on this port of this machine."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((ADDRESS, port))
        except OSError:
            return False
    return True


def next_free(port: int) -> int | None:
    """The first free port from `port` on, of the next few."""
    return next((each for each in range(port, min(port + PORTS_TRIED, 65536)) if is_free(each)), None)


def serve(port: int) -> None:
    """Serve the site on `port` until Ctrl-C, or until the terminal is closed."""
    from granian import Granian  # noqa: PLC0415  (only who serves needs the server loaded)
    from granian.constants import Interfaces  # noqa: PLC0415
    from granian.log import LogLevels  # noqa: PLC0415

    # The worker is a copy of this process: an open connection must not be shared between the two.
    connections.close_all()
    server = Granian(
        "pinpool.wsgi:application",
        address=ADDRESS,
        port=port,
        interface=Interfaces.WSGI,
        blocking_threads=4,
        log_level=LogLevels.warning,
    )
    if hasattr(signal, "SIGHUP"):  # left alone, a closed terminal would restart the worker instead
        server.on_startup(lambda: signal.signal(signal.SIGHUP, server.signal_handler_interrupt))
    server.serve(target_loader=_load_site, wrap_loader=False)


def _load_site() -> Any:
    """The site, in a worker with a process group of its own.

    A terminal sends Ctrl-C to a whole group. The worker must not get it as well as the stop that the server sends it:
    two stops at once leave it waiting for itself.
    """
    if hasattr(os, "setpgrp"):
        os.setpgrp()
    from pinpool.wsgi import application  # noqa: PLC0415  (the worker's own)

    return application
