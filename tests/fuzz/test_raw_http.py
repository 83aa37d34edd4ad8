"""Bytes that are hardly HTTP, sent to the served site: each is answered or cut off, and the worker lives."""

import json
import socket
import subprocess
import sys
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.fuzz.effort import tries
from tests.pinpool.service.test_serving import ROOT, environment, wait_until_ready, workers_of

HOST = b"Host: localhost\r\n"
END = b"Connection: close\r\n\r\n"
LOGIN = b"POST /api/v1/accounts/login/ HTTP/1.1\r\n" + HOST + b"Content-Type: application/json\r\n"


def get(path: bytes, headers: bytes = b"", method: bytes = b"GET", version: bytes = b"HTTP/1.1") -> bytes:
    return method + b" " + path + b" " + version + b"\r\n" + HOST + headers + END


ODD = [
    # Paths.
    get(b"/%"), get(b"/%zz/"), get(b"/%00"), get(b"/clubs/%00/"), get(b"/%ff%fe/"), get(b"/api/v1/%ed%a0%80/"),
    get(b"/%2e%2e/%2e%2e/etc"),
    get(b"/../../etc/passwd"), get(b"/static/%2e%2e/%2e%2e/settings.py"), get(b"/static/..%2fsettings.py"),
    get(b"/static/%00"), get(b"//"),
    get(b"//evil.example/"), get(b"/\xff\xfe/"), get(b"/\0"), get(b"/a b"), get(b"/\t"), get(b""), get(b"*"),
    get(b"clubs/"), get(b"/#a"),
    get(b"/?%"), get(b"/?\xff=\0"), get(b"/?" + b"a&" * 3000), get(b"/" + b"a" * 60_000),
    get(b"http://localhost/health/"),
    get(b"http://evil.example/health/"), get(b"http:///"), get(b"ftp://localhost/"), get(b"http://[::1/"),
    get(b"/api/v1/clubs/?cursor=%ff"),
    # Methods and versions.
    get(b"/", method=b"FOO"), get(b"/", method=b"get"), get(b"*", method=b"OPTIONS"), get(b"/api/v1/clubs/",
    method=b"OPTIONS"),
    get(b"localhost:80", method=b"CONNECT"), get(b"/", method=b"TRACE"), get(b"/", method=b"PRI"), get(b"/",
    method=b"\xff"),
    get(b"/", method=b"A" * 5000), get(b"/", version=b"HTTP/0.9"), get(b"/", version=b"HTTP/1.0"), get(b"/",
    version=b"HTTP/2.0"),
    get(b"/", version=b"HTTP/9.9"), get(b"/", version=b"http/1.1"), get(b"/", version=b""), b"GET /\r\n",
    b"GET /\r\n\r\n", b"\r\n" * 50,
    b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\0" * 200, b"\0" * 300,
    b"\xff" * 300, b"GET",
    # Headers.
    get(b"/", b"A: " + b"a" * 100_000 + b"\r\n"), get(b"/", b"A: a\r\n" * 500), get(b"/", b"A\r\n"), get(b"/",
    b": a\r\n"),
    get(b"/", b"A : a\r\n"), get(b"/", b" A: a\r\n"), get(b"/", b"A: a\r\n b\r\n"), get(b"/", b"A: \0\r\n"), get(b"/",
    b"A: \xff\r\n"),
    get(b"/", b"\xff: a\r\n"), get(b"/", b"A: a\nB: b\r\n"), get(b"/", b"A: a\rB: b\r\n"), get(b"/",
    b"Host: evil.example\r\n"),
    b"GET / HTTP/1.1\r\n" + END, b"GET / HTTP/1.1\r\nHost:\r\n" + END, b"GET / HTTP/1.1\r\nHost: a b\r\n" + END,
    b"GET / HTTP/1.1\r\nHost: localhost:99999999\r\n" + END, b"GET / HTTP/1.1\r\nHost: [::1\r\n" + END, get(b"/",
    b"Cookie: " + b"a=b; " * 3000),
    get(b"/", b'Cookie: sessionid="\\000\\377aaaaaaaaaaa"\r\n'), get(b"/api/v1/clubs/",
    b"Authorization: Bearer \xff\r\n"),
    get(b"/", b"Content-Type: a/b; charset=hex\r\n"), get(b"/?a=%41", b"Content-Type: a/b; x*=bogus''y\r\n"),
    get(b"/", b"X-Forwarded-For: \xff, ,\r\n"),
    get(b"/static/pinpool/pinpool.css", b"Range: bytes=0-0,5-,-1\r\n"), get(b"/static/pinpool/pinpool.css",
    b"Range: bytes=" + b"9" * 40 + b"-\r\n"),
    get(b"/static/pinpool/pinpool.css", b"Range: bytes=-\r\n"), get(b"/static/pinpool/pinpool.css",
    b"If-Modified-Since: Mon, 99 Foo 99999\r\n"),
    get(b"/", b"Range: lines=a-b\r\n"), get(b"/", b"Expect: 100-continue\r\n"), get(b"/", b"Expect: the moon\r\n"),
    get(b"/", b"Upgrade: websocket\r\nConnection: Upgrade\r\n"), get(b"/",
    b"Upgrade: h2c\r\nHTTP2-Settings: AAMAAABkAAQAAP__\r\n"),
    # Bodies.
    LOGIN + b"Content-Length: 2\r\nContent-Length: 3\r\n" + END + b"{}x",
    LOGIN + b"Content-Length: 2\r\nContent-Length: 2\r\n" + END + b"{}",
    LOGIN + b"Content-Length: -1\r\n" + END, LOGIN + b"Content-Length: +2\r\n" + END + b"{}",
    LOGIN + b"Content-Length: 2, 2\r\n" + END + b"{}",
    LOGIN + b"Content-Length: \xb2\r\n" + END + b"{}",
    LOGIN + b"Content-Length: 99999999999999999999\r\n" + END + b"{}",
    LOGIN + b"Content-Length: 18446744073709551615\r\n" + END,
    LOGIN + b"Content-Length: 9999999999\r\n" + END + b"{}", LOGIN + END + b"{}",
    LOGIN + b"Content-Length: 0x2\r\n" + END + b"{}",
    LOGIN + b"Content-Length: 2\r\nTransfer-Encoding: chunked\r\n" + END + b"0\r\n\r\n",
    LOGIN + b"Transfer-Encoding: chunked\r\n" + END + b"zz\r\n{}\r\n0\r\n\r\n",
    LOGIN + b"Transfer-Encoding: chunked\r\n" + END + b"-1\r\n{}\r\n",
    LOGIN + b"Transfer-Encoding: chunked\r\n" + END + b"ffffffffffffffffff\r\n{}\r\n",
    LOGIN + b"Transfer-Encoding: chunked\r\n" + END + b"2\r\n{}\r\n",
    LOGIN + b"Transfer-Encoding: chunked\r\n" + END + b"2\r\n{}\r\n0\r\n\r\n",
    LOGIN + b"Transfer-Encoding: chunked\r\n" + END + b"2;" + b"a" * 70_000,
    LOGIN + b"Transfer-Encoding: chunked\r\n" + END + b"5\r\n{}\r\n0\r\n\r\n",
    LOGIN + b"Transfer-Encoding: gzip\r\n" + END + b"{}",
    LOGIN + b"Transfer-Encoding: chunked, chunked\r\n" + END + b"0\r\n\r\n",
    LOGIN + b"Content-Encoding: gzip\r\nContent-Length: 2\r\n" + END + b"{}",
    LOGIN + b"Expect: 100-continue\r\nContent-Length: 2\r\n" + END + b"{}",
    LOGIN + b"Content-Length: 2\r\n" + END + b"{}" + get(b"/health/") * 3,
]  # fmt: skip


class Served:
    """The site with one worker, as a keeper runs it."""

    def __init__(self, process: subprocess.Popen[str], port: int) -> None:
        self.process, self.port = process, port

    def send(self, data: bytes) -> bytes:
        """What comes back until the connection ends; nothing more is sent, as `data` says or not."""
        found = b""
        with socket.create_connection(("127.0.0.1", self.port), timeout=60) as connection:
            try:
                connection.sendall(data)
                connection.shutdown(socket.SHUT_WR)
                while part := connection.recv(65_536):
                    found += part
            except TimeoutError:
                raise AssertionError(f"Neither answered nor cut off: {data[:500]!r}") from None
            except OSError:
                pass  # cut off
        return found

    def expect_refusal_or_answer(self, data: bytes) -> None:
        answer = self.send(data)
        assert not answer or answer.startswith((b"HTTP/1.1 ", b"HTTP/1.0 ")), answer[:200]
        assert not answer or b"1" <= answer[9:10] < b"5", (data[:500], answer[:500])


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "manage.py", "serve", "--trial", "--port", str(port), "--workers", "1"]
    folder = tmp_path_factory.mktemp("served")
    with (
        (folder / "log").open("w", encoding="utf-8") as log,
        subprocess.Popen(
            command, cwd=ROOT, env=environment(folder), text=True, stdout=subprocess.DEVNULL, stderr=log
        ) as process,
    ):
        try:
            wait_until_ready(process, port)
            first = workers_of(process)
            yield Served(process, port)
            wait_until_ready(process, port)
            assert workers_of(process) == first, "A worker died."
        finally:
            process.kill()
    said = (folder / "log").read_text(encoding="utf-8")
    assert "panicked" not in said, said[-5000:]
    lines = [json.loads(line) for line in said.splitlines() if line.startswith("{")]
    assert not [line for line in lines if line["logger"] == "django.request"]


def test_odd_requests(served: Served) -> None:
    for data in ODD:
        served.expect_refusal_or_answer(data)


def test_bent_requests(served: Served) -> None:
    pieces = st.sampled_from(
        [
            b"\r\n",
            b"\n",
            b"\r",
            b" ",
            b":",
            b"\0",
            b"\xff",
            b"%",
            b"%00",
            b"0",
            b"-",
            b",",
            b";",
            b"chunked",
            b"HTTP/1.1",
        ]
    )

    @tries(60, 10_000)
    @given(good=st.sampled_from([data for data in ODD if len(data) < 3000]), data=st.data())
    def answered(good: bytes, data: st.DataObject) -> None:
        for _ in range(data.draw(st.integers(1, 3))):
            at, put = data.draw(st.integers(0, len(good))), data.draw(st.one_of(pieces, st.binary(max_size=2)))
            good = good[:at] + put + good[at + data.draw(st.integers(0, 2)) :]
        served.expect_refusal_or_answer(good)

    answered()
