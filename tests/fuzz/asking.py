"""A request put to the WSGI application byte for byte, as a server hands it on."""

import sys
import traceback
from io import BytesIO
from typing import Any

from django.core.signals import got_request_exception

from pinpool.wsgi import application


def ask(method: str, path: str, *, query: str = "", body: bytes = b"", **headers: str) -> int:
    """The status of the answer, whose body is read; fails with the traceback where it is the service's own fault.

    `path` and headers are Latin-1 texts that stand for bytes; headers go by their names in the environment.
    """
    environment: dict[str, Any] = {
        "REQUEST_METHOD": method, "SCRIPT_NAME": "", "PATH_INFO": path, "QUERY_STRING": query,
        "SERVER_NAME": "localhost", "SERVER_PORT": "80", "SERVER_PROTOCOL": "HTTP/1.1", "REMOTE_ADDR": "127.0.0.1",
        "HTTP_HOST": "localhost", "CONTENT_LENGTH": str(len(body)), "wsgi.input": BytesIO(body),
        "wsgi.url_scheme": "http", "wsgi.errors": sys.stderr, "wsgi.version": (1, 0),
    }  # fmt: skip
    started: list[str] = []
    faults: list[str] = []

    def note(**_: Any) -> None:
        faults.append(traceback.format_exc())

    got_request_exception.connect(note)
    try:
        answer: Any = application(environment | headers, lambda status, _: started.append(status))
        b"".join(answer)
        answer.close()
    finally:
        got_request_exception.disconnect(note)
    status = int(started[0][:3])
    assert status < 500, (method, path, query, headers, body[:2000], status, "\n".join(faults))
    return status
