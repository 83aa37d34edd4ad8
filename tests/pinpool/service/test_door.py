"""The door before the site, with a site and clients that are functions."""

import asyncio
import json
import logging
import time
from collections.abc import Iterator
from io import BytesIO
from typing import Any

import pytest
from django.db import OperationalError

from pinpool.http.request_ids import KEY
from pinpool.service import door, serving
from pinpool.service.door import Door

Said = list[dict[str, Any]]


def site(environ: dict[str, Any], start_response: Any) -> Any:
    """Says what it heard, or fails as its path says."""
    heard = {name: text for name, text in environ.items() if isinstance(text, str)}
    heard["body"] = environ["wsgi.input"].read().decode()
    start_response("200 OK", [("X-Named", "Ü")])
    return Answer(environ["PATH_INFO"], json.dumps(heard).encode())


class Answer:
    def __init__(self, path: str, content: bytes) -> None:
        self.path, self.content, self.closed = path, content, False

    def __iter__(self) -> Iterator[bytes]:
        yield self.content[:10]
        if self.path == "/away/":
            raise OperationalError("no connection")
        if self.path == "/broken/":
            raise ZeroDivisionError
        if self.path == "/hangs/":
            time.sleep(1.5)
        yield self.content[10:]

    def close(self) -> None:
        self.closed = True


def ask(*messages: Any, path: str = "/", headers: dict[str, str] | None = None, **options: Any) -> tuple[int, Any]:
    """The status and the document that the door answers to messages; a number among them is a pause in seconds."""
    said: Said = []
    coming = iter(messages or [{"type": "http.request"}])

    async def receive() -> dict[str, Any]:
        message = next(coming, None)
        if isinstance(message, float):
            await asyncio.sleep(message)
            return await receive()
        return message or {"type": "http.disconnect"}

    async def send(message: dict[str, Any]) -> None:
        said.append(message)

    sent = [(name.encode(), text.encode()) for name, text in (headers or {}).items()]
    scope = {
        "type": "http", "method": "POST", "path": path, "query_string": b"a=1", "http_version": "1.1",
        "headers": sent, "client": ("10.0.0.9", 1234), "server": ("127.0.0.1", 8000),
    }  # fmt: skip
    asyncio.run(Door(site, threads=1, beat=lambda: None, **options)(scope, receive, send))
    if not said:
        return 0, None
    return said[0]["status"], json.loads(b"".join(message["body"] for message in said[1:]))


def body(content: bytes, *, more: bool = False) -> dict[str, Any]:
    return {"type": "http.request", "body": content, "more_body": more}


def test_the_site_hears_a_whole_request() -> None:
    headers = {"transfer-encoding": "chunked", "x-forwarded-for": "1.2.3.4", "x_forwarded_for": "9.9.9.9"}
    status, heard = ask(body(b"one ", more=True), body(b"two"), path="/käfer/", headers=headers)
    assert status == 200
    assert (heard["body"], heard["CONTENT_LENGTH"]) == ("one two", "7")
    assert heard["HTTP_X_FORWARDED_FOR"] == "1.2.3.4"  # and not what only looks like it
    assert heard["PATH_INFO"].encode("latin1").decode() == "/käfer/"
    assert (heard["QUERY_STRING"], heard["REMOTE_ADDR"]) == ("a=1", "10.0.0.9")


@pytest.mark.parametrize("messages", [
    [body(b"ha", more=True), {"type": "http.disconnect"}],
    [body(b"ha")],
], ids=["goes", "ends early"])  # fmt: skip
def test_the_site_is_not_asked_about_half_a_body(messages: Said) -> None:
    assert ask(*messages, headers={"content-length": "4"})[0] == 400


@pytest.mark.parametrize(("claimed", "messages"), [
    ("999999999999", []), ("x", []), ("9" * 30, []), (None, [body(bytes(3000), more=True)]),
])  # fmt: skip
def test_what_is_too_large_is_not_taken_in(monkeypatch: pytest.MonkeyPatch, claimed: str | None, messages: Any) -> None:
    monkeypatch.setattr(door, "FORM_BYTES", 1000)
    monkeypatch.setattr(door, "setting", lambda _name: 1000)
    headers = {"content-length": claimed} if claimed else {"transfer-encoding": "chunked"}
    status, problem = ask(*messages, headers=headers)
    assert (status, problem["type"]) == (413, "urn:pinpool:problem:too_large")


def test_what_is_larger_than_an_archive_is_refused_before_it_comes() -> None:
    assert ask(headers={"content-length": "51000000"})[0] == 413


def test_too_much_at_once_is_asked_to_come_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door, "MOST_HELD", 1000)
    assert ask(body(bytes(2000)), headers={"content-length": "2000"})[0] == 503


def test_a_body_that_comes_too_slowly_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door, "PATIENCE_S", 0.1)
    status, problem = ask(body(b"a", more=True), 5.0, headers={"content-length": "5000"})
    assert (status, problem["title"]) == (408, "The request came too slowly")


@pytest.mark.parametrize(("path", "status"), [("/away/", 503), ("/broken/", 500)])
def test_an_answer_that_breaks_off_is_a_refusal(path: str, status: int, caplog: pytest.LogCaptureFixture) -> None:
    """Nothing has been said until then."""
    told, problem = ask(path=path)
    assert told == problem["status"] == status
    assert "An answer broke off." in caplog.messages


def test_a_door_that_waits_for_an_answer_too_long_beats_no_more(caplog: pytest.LogCaptureFixture) -> None:
    beats: list[float] = []
    here = Door(site, threads=1, beat=lambda: beats.append(time.monotonic()), longest_s=0.5)

    async def live() -> None:
        beating = asyncio.create_task(here._beat_on())
        told = {"REQUEST_METHOD": "GET", "PATH_INFO": "/hangs/", KEY: "0123abcd"}
        waited = asyncio.to_thread(here._ask, told | {"wsgi.input": BytesIO()}, BytesIO())
        await asyncio.gather(beating, waited)

    with caplog.at_level(logging.ERROR):
        asyncio.run(live())
    assert len(beats) == 1
    assert "this worker hangs. It was asked: GET /hangs/ (0123abcd)." in caplog.text


@pytest.mark.parametrize(("hard", "connections", "warns"), [(1_000_000, 16_000, False), (1024, 824, True)])
def test_the_limit_of_open_files_is_raised_or_told(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, hard: int, connections: int, warns: bool
) -> None:
    raised: list[Any] = []
    monkeypatch.setattr(serving.resource, "getrlimit", lambda _which: (256, hard))
    monkeypatch.setattr(serving.resource, "setrlimit", lambda _which, limits: raised.append(limits))
    assert serving._connections() == connections
    assert raised == [(hard, hard)]
    assert ("LimitNOFILE" in caplog.text) is warns
