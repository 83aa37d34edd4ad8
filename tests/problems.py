"""What every refusal must look like (RFC 9457, RFC 6901), checked wherever a test meets one."""

import json
import re
from typing import Any

POINTER = re.compile(r"(/([^~/]|~[01])*)*")


def problem_of(response: Any, status: int) -> dict[str, Any]:
    """The problem document in a response of this status; fails unless it has our one shape."""
    assert response.status_code == status, f"{response.status_code}: {response.content[:2000].decode()}"
    assert response["Content-Type"] == "application/problem+json"
    body: dict[str, Any] = json.loads(response.content)
    always = {"type", "title", "status", "detail"}
    assert always <= body.keys() <= always | {"errors", "request_id"}
    assert body.get("request_id", "") == response.get("X-Request-ID", "")
    assert re.fullmatch(r"urn:pinpool:problem:[a-z_]+", body["type"])
    assert body["status"] == status
    assert body["title"]
    assert body["detail"]
    for error in body.get("errors", []):
        assert error.keys() == {"pointer", "code", "detail"}
        assert POINTER.fullmatch(error["pointer"])
        assert re.fullmatch(r"[a-z0-9_-]+", error["code"])
        assert error["detail"]
    return body


def but_for_its_id(response: Any) -> bytes:
    """The content of a refusal without what differs from one request to the next."""
    return re.sub(rb',"request_id":"[0-9a-f]{32}"', b"", response.content)


def faults_in(response: Any, status: int = 400) -> set[tuple[str, str]]:
    """(pointer, code) of every fault in a refusal."""
    return {(error["pointer"], error["code"]) for error in problem_of(response, status).get("errors", [])}
