"""Clients that send or read slowly, that go in the middle, and that are very many: others are answered meanwhile."""

import os
import resource
import signal
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.bodies import picture
from tests.faults.service import CREEK, Service, connections_of, form, memory_of

pytestmark = pytest.mark.faults

#: More than the eight threads of the service.
SLOW = 16
#: Seconds after which nothing slow is left; the service's patience is 20 s.
LET_GO_S = 90
MANY = 10_000
HEAD = b"POST /api/v1/optics/f-number/ HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"


def client_of(service: Service, sent: bytes, receives: int = 0) -> socket.socket:
    client = socket.socket()
    if receives:
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receives)
    client.connect(("127.0.0.1", service.port))
    client.sendall(sent)
    return client


def drip(client: socket.socket, piece: bytes) -> bool:
    """Send a little; whether somebody still listens."""
    try:
        client.sendall(piece)
    except OSError:
        return False
    return True


def test_the_slow_are_cut_off_and_others_served_meanwhile(service: Service) -> None:
    """Headers and bodies byte by byte, answers that nobody takes, and connections that nothing comes by."""
    asked = b"GET /api/v1/schema/ HTTP/1.1\r\nHost: localhost\r\nAccept: application/json\r\n\r\n"
    bodies = [client_of(service, HEAD + b"Content-Length: 5000\r\n\r\n{") for _ in range(SLOW)]
    headers = [client_of(service, HEAD) for _ in range(SLOW)]
    readers = [client_of(service, asked * 40, receives=2048) for _ in range(2)]
    idle = [client_of(service, b""), client_of(service, b"GET /health/ HTTP/1.1\r\nHost: localhost\r\n\r\n")]
    everybody = (*bodies, *headers, *readers, *idle)
    ours = {client.getsockname()[1] for client in everybody}
    ends, others, told = time.monotonic() + LET_GO_S, 0, {}
    while ours & connections_of(service.port).keys():
        assert time.monotonic() < ends, (ours & connections_of(service.port).keys(), service.log.read_text()[-2000:])
        for client in bodies:
            if client.fileno() >= 0 and not drip(client, b" "):
                client.close()
            elif client.fileno() >= 0 and (said := said_to(client)):
                told[client] = said
        for client in headers:
            drip(client, b"X")
        for client in readers:
            drip_read(client)
        assert service.ask("GET", "/api/v1/plugins/", timeout=10).status == 200
        others += 1
        time.sleep(0.5)
    assert others > 10
    assert len(told) == SLOW
    assert all(said.startswith(b"HTTP/1.1 408 ") for said in told.values())
    for client in everybody:
        client.close()


def said_to(client: socket.socket) -> bytes:
    client.setblocking(False)
    try:
        return client.recv(4000)
    except OSError:
        return b""
    finally:
        client.setblocking(True)


def drip_read(client: socket.socket) -> None:
    client.setblocking(False)
    try:
        client.recv(1)
    except OSError:
        pass
    finally:
        client.setblocking(True)


def test_nothing_is_left_of_an_upload_that_breaks_off(
    service: Service, known: dict[str, str], here: dict[str, str]
) -> None:
    photos = f"{CREEK}cameras/T1/photos/"
    body, kind = form("image", picture("PNG") + bytes(3_000_000), caption="half")
    head = (
        f"POST {photos} HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {known['manage']}\r\n"
        f"Content-Type: {kind}\r\nContent-Length: {len(body)}\r\n\r\n"
    ).encode()
    workers = service.workers()
    for share in (0.01, 0.5, 0.99):
        client = client_of(service, head + body[: int(len(body) * share)])
        client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")  # a connection that breaks
        client.close()
    broken = client_of(service, head + body[: len(body) // 2])
    broken.shutdown(socket.SHUT_WR)  # one that ends as if all had been sent
    assert said_by_the_end(broken).startswith(b"HTTP/1.1 400 ")
    service.wait_for(lambda: not connections_of(service.port), 30)
    assert service.ask("GET", photos, token=known["manage"]).data["results"] == []
    assert [path for path in (Path(here["PINPOOL_DATA"]) / "media").rglob("*") if path.is_file()] == []
    assert list(Path(here["TMPDIR"]).iterdir()) == []
    for worker in workers:
        assert not [each for each in files_of(worker) if each.startswith(here["TMPDIR"])]
    body, kind = form("image", picture("PNG"), caption="whole")
    assert service.ask("POST", photos, body, token=known["manage"], Content_Type=kind).status == 201
    assert service.workers() == workers


def said_by_the_end(client: socket.socket) -> bytes:
    client.settimeout(30)
    try:
        return client.recv(4000)
    except ConnectionResetError:
        return b""
    finally:
        client.close()


def files_of(process: int) -> list[str]:
    """What a process has open, also what has no name any more."""
    found = []
    for each in Path(f"/proc/{process}/fd").iterdir():
        try:
            found.append(str(each.readlink()))
        except FileNotFoundError:  # closed meanwhile
            continue
    return found


@pytest.fixture
def many_files() -> Iterator[None]:
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if hard < MANY + 500:
        pytest.skip(f"NOT RUN: a process may only have {hard} files open here")
    resource.setrlimit(resource.RLIMIT_NOFILE, (hard, hard))
    yield
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


def test_ten_thousand_connections_keep_nobody_else_out(service: Service, many_files: None) -> None:
    """Of each three one has been answered and is kept, one has sent half a request, and one nothing."""
    kinds = (b"GET /health/ HTTP/1.1\r\nHost: localhost\r\n\r\n", b"GET /health/ HTTP/1.1\r\nHost:", b"")
    before, workers = memory_of(service.workers()), service.workers()
    clients = [client_of(service, kinds[number % 3]) for number in range(MANY)]
    slowest, answered = 0.0, 0
    try:
        open_now = service.wait_for(lambda: (found := len(connections_of(service.port))) >= MANY and found, 15)
        while len(connections_of(service.port)) >= MANY and answered < 50:
            started = time.monotonic()
            assert service.ask("GET", "/api/v1/plugins/", timeout=10).status == 200
            slowest, answered = max(slowest, time.monotonic() - started), answered + 1
        held = memory_of(workers)
        print(f"{open_now} open; {answered} answered, the slowest in {slowest:.2f} s; "  # noqa: T201
              f"{(held - before) / MANY / 1000:.1f} kB each")  # fmt: skip
        assert answered
        assert held - before < MANY * 40_000
    finally:
        for client in clients:
            client.close()
    service.wait_for(lambda: len(connections_of(service.port)) < 10, 30)
    service.wait_for(lambda: max(len(files_of(worker)) for worker in workers) < 200, 30)
    assert service.ask("GET", "/api/v1/plugins/", timeout=10).status == 200
    assert service.workers() == workers


def test_a_worker_that_stands_still_is_replaced(service: Service) -> None:
    """Meanwhile the other one serves; afterwards there are two again."""
    stopped, other = service.workers()
    os.kill(stopped, signal.SIGSTOP)
    answered = 0
    while stopped in service.workers():
        assert service.ask("GET", "/api/v1/plugins/", timeout=10).status == 200
        answered += 1
        assert answered < 3000
        time.sleep(0.1)
    service.wait_for(lambda: len(service.workers()) == 2 and service.is_answered("/ready/"), 60)
    assert other in service.workers()
    assert "hangs" in service.log.read_text()
