"""What wakes the server's main loop, and how it comes by its port."""

import socket
import subprocess
import sys
import time
from threading import Timer

import pytest
from django.core.management.base import CommandError

from pinpool.service import watched
from pinpool.service.watched import Server, Waker

#: A timer's signals set what the main thread waits for, at whatever moment they come.
SIGNALS = """
import signal
from pinpool.service.watched import Waker
waker, came = Waker(), 0
def wake(*_):
    global came
    came += 1
    waker.set()
signal.signal(signal.SIGALRM, wake)
signal.setitimer(signal.ITIMER_REAL, 1e-3, 1e-3)
while came < 1000:
    waker.wait(1e-6)
    waker.clear()
signal.setitimer(signal.ITIMER_REAL, 0)
print(came >= 1000)
"""


def test_a_signal_may_come_while_it_is_waited_for() -> None:
    """A lock that is held while a handler asks for it would be waited for for ever."""
    done = subprocess.run([sys.executable, "-c", SIGNALS], capture_output=True, text=True, check=False, timeout=60)
    assert (done.returncode, done.stdout) == (0, "True\n"), done.stderr


def test_each_wake_up_is_waited_for_once() -> None:
    """None is lost where two come at once, and none is left to turn in circles by."""
    waker, began = Waker(), time.monotonic()
    waker.set()
    waker.set()
    waker.wait(60)
    waker.clear()
    waker.wait(60)
    assert time.monotonic() - began < 30
    waker.wait(0.05)
    assert time.monotonic() - began >= 0.05


def test_a_port_that_is_taken_is_waited_for_a_while(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken, socket.socket() as ours:
        server = Server("pinpool.wsgi:application", port=taken.getsockname()[1])
        monkeypatch.setattr(watched, "BUSY_S", 0)
        with pytest.raises(CommandError, match=r"^127\.0\.0\.1:\d+ cannot be listened on: Address already in use\.$"):
            server._bind(ours)
        monkeypatch.setattr(watched, "BUSY_S", 30)
        Timer(0.3, taken.close).start()
        server._bind(ours)
        assert ours.getsockname() == ("127.0.0.1", server.bind_port)
