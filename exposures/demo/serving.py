"""Where the demonstration serves the site."""

import socket

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
