"""The door before the site: requests are taken in whole and answers given out whole, however slow the client is.

In between the site is asked by one of a few threads. A thread that waited for a client would be lost for everybody
else, so none does: what comes and goes slowly waits here, where waiting costs a little memory.
"""

import asyncio
import logging
import time
from collections.abc import Awaitable, Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from tempfile import SpooledTemporaryFile
from typing import IO, Any

from asgiref.wsgi import WsgiToAsgiInstance
from django.core.handlers.wsgi import WSGIRequest
from rest_framework.exceptions import APIException

from pinpool.conf import setting
from pinpool.http.problems import UNREADABLE, StorageFull, problem_response, refusal_of
from pinpool.http.request_ids import KEY, told_path
from pinpool.http.uploads import FORM_BYTES

#: The settings that say how large a body may be.
BODIES = ("MAX_BODY_BYTES", "MAX_PACKET_BYTES", "MAX_SCAN_BYTES", "MAX_IMPORT_BYTES", "MAX_ARCHIVE_BYTES")
#: A body may be silent for so many seconds, and take those in all and a second more for so many bytes.
PATIENCE_S, LEAST_BYTES_A_SECOND = 20, 1000
#: Bytes of a body or an answer that are held in memory; the rest is on disk. Then of all bodies held at once.
IN_MEMORY, MOST_HELD = 1_000_000, 500_000_000
#: Bytes of an answer that are given out at once.
PIECE = 256_000
#: Seconds that an answer may take to come about. What takes longer is not coming any more.
LONGEST_S = 300

logger = logging.getLogger("pinpool.access")

Scope = dict[str, Any]
Receive = Callable[[], Awaitable[dict[str, Any]]]
Send = Callable[[dict[str, Any]], Awaitable[None]]


class _Refused(Exception):
    """A request that the site is not asked about; what is said instead."""

    def __init__(self, status: int, detail: str, wait_s: int | None = None) -> None:
        super().__init__(detail)
        self.status, self.wait_s = status, wait_s


class Door:
    """An ASGI application around a WSGI one. `beat` is called every second, unless an answer takes `longest_s`."""

    def __init__(
        self,
        site: Callable[..., Any],
        *,
        threads: int,
        beat: Callable[[], None],
        longest_s: float = LONGEST_S,
    ) -> None:
        self._site, self._beat, self._longest_s = site, beat, longest_s
        self._threads = ThreadPoolExecutor(threads, thread_name_prefix="site")
        self._most = FORM_BYTES + max(map(setting, BODIES))
        self._held = 0
        #: When those that are being answered were asked, and what.
        self._asked: dict[int, tuple[float, dict[str, Any]]] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._live(receive, send)
            return
        with SpooledTemporaryFile(IN_MEMORY) as body, SpooledTemporaryFile(IN_MEMORY) as answer, self._room() as hold:
            try:
                length = await self._take(scope, receive, body, hold)
                loop = asyncio.get_running_loop()
                start = await loop.run_in_executor(self._threads, self._ask, _environ(scope, body, length), answer)
            except _Refused as refused:
                answer.seek(0)
                answer.truncate()
                start = _say(scope, refused, answer)
            await _give(start, answer, send)

    @contextmanager
    def _room(self) -> Iterator[Callable[[int], None]]:
        """Count what one body holds, until it is done with."""
        mine = 0

        def hold(size: int) -> None:
            nonlocal mine
            mine, self._held = mine + size, self._held + size
            if mine > self._most:
                raise _Refused(413, f"A body may have at most {self._most} bytes.")
            if self._held > MOST_HELD:
                raise _Refused(503, "Too much is being sent at once.", wait_s=30)

        try:
            yield hold
        finally:
            self._held -= mine

    async def _take(self, scope: Scope, receive: Receive, body: IO[bytes], hold: Callable[[int], None]) -> int:
        """Write the whole body; gives its length in bytes."""
        headers = dict(scope["headers"])
        claimed = headers.get(b"content-length", b"0")
        if claimed == b"0" and b"transfer-encoding" not in headers:
            return 0
        if not claimed.isdigit() or len(claimed) > 18 or int(claimed) > self._most:
            raise _Refused(413, f"A body may have at most {self._most} bytes.")
        # The client may be gone, or only have no more to send. Without an answer of ours granian says 500.
        broken_off = _Refused(400, "The body broke off before its end.")
        started, length, more = time.monotonic(), 0, True
        try:
            while more:
                left = PATIENCE_S + length / LEAST_BYTES_A_SECOND - (time.monotonic() - started)
                async with asyncio.timeout(min(PATIENCE_S, left)):
                    message = await receive()
                if message["type"] != "http.request":
                    raise broken_off
                piece = message.get("body", b"")
                hold(len(piece))
                body.write(piece)
                length, more = length + len(piece), message.get("more_body", False)
            body.seek(0)
        except TimeoutError:
            raise _Refused(408, f"The body came too slowly: {length} bytes until now.") from None
        except OSError as fault:
            raise _Refused(507, str(StorageFull.default_detail)) from fault
        if length < int(claimed):
            raise broken_off
        return length

    def _ask(self, environ: dict[str, Any], answer: IO[bytes]) -> Scope:
        """Ask the site, in a thread, and write its whole answer; gives how that starts."""
        start: Scope = {"type": "http.response.start"}

        def start_response(status: str, headers: list[tuple[str, str]], exc_info: Any = None) -> None:  # noqa: ARG001
            start["status"] = int(status[:3])
            start["headers"] = [(name.lower().encode("latin1"), text.encode("latin1")) for name, text in headers]

        number = id(environ)
        self._asked[number] = time.monotonic(), environ
        try:
            with closing(self._site(environ, start_response)) as pieces:
                for piece in pieces:
                    answer.write(piece)
        except Exception as fault:  # in the middle of an answer; before that the site has answers for its own faults
            logger.exception("An answer broke off.")
            refusal = refusal_of(fault) or APIException("The service met a fault of its own; it has been logged.")
            raise _Refused(refusal.status_code, str(refusal.detail), getattr(refusal, "wait", None)) from fault
        finally:
            del self._asked[number]
        return start

    async def _live(self, receive: Receive, send: Send) -> None:
        """From the worker's start to its end."""
        await receive()
        beating = asyncio.create_task(self._beat_on())
        await send({"type": "lifespan.startup.complete"})
        await receive()
        beating.cancel()
        await send({"type": "lifespan.shutdown.complete"})

    async def _beat_on(self) -> None:
        while not (late := self._late()):
            self._beat()
            await asyncio.sleep(1)
        what = "; ".join(map(_told, late))
        logger.error("An answer has taken more than %s s: this worker hangs. It was asked: %s.", self._longest_s, what)

    def _late(self) -> list[dict[str, Any]]:
        now = time.monotonic()
        return [environ for asked, environ in self._asked.copy().values() if now - asked >= self._longest_s]


def _told(environ: dict[str, Any]) -> str:
    """A request as logs tell it, with its id if it has come as far as that."""
    return f"{environ['REQUEST_METHOD']} {told_path(WSGIRequest(environ))} ({environ.get(KEY, 'no id yet')})"


def _environ(scope: Scope, body: IO[bytes], length: int) -> dict[str, Any]:
    """What WSGI calls a request. A name with an underscore could pass for one that a proxy set with a hyphen."""
    heard = scope | {"headers": [(name, text) for name, text in scope["headers"] if b"_" not in name]}
    adapter = WsgiToAsgiInstance(None)
    adapter.scope = heard
    try:
        return adapter.build_environ(heard, body) | {"CONTENT_LENGTH": str(length)}
    except ValueError as fault:
        raise _Refused(400, UNREADABLE) from fault


def _say(scope: Scope, refused: _Refused, answer: IO[bytes]) -> Scope:
    response = problem_response(refused.status, str(refused))
    logger.info("%s refused %s", scope["method"], refused.status, extra={"status": refused.status})
    answer.write(response.content)
    headers = [*response.items(), ("Connection", "close")]
    if refused.wait_s:
        headers.append(("Retry-After", str(refused.wait_s)))
    return {
        "type": "http.response.start",
        "status": refused.status,
        "headers": [(name.lower().encode("latin1"), text.encode("latin1")) for name, text in headers],
    }


async def _give(start: Scope, answer: IO[bytes], send: Send) -> None:
    await send(start)
    left = answer.tell()
    answer.seek(0)
    while left > PIECE:
        await send({"type": "http.response.body", "body": answer.read(PIECE), "more_body": True})
        left -= PIECE
    await send({"type": "http.response.body", "body": answer.read(), "more_body": False})
