"""Calls one after another: what one gives the next names, with the ETag it came with, by members of every kind.

Schemathesis infers from the OpenAPI document which answers name what other calls take; the rest names what exists.
Whoever calls, and whether the body is a good one or made up, follows from the call itself and from how many came before
it, so that a run can be repeated: names that the service draws at random have no part in it.
"""

import copy
import json
from collections import Counter
from typing import Any
from zlib import crc32

import pytest
from django.db import transaction
from schemathesis.generation.stateful import run_state_machine_as_test

from pinpool.models import ApiToken
from pinpool.scopes import Scope
from pinpool.wsgi import application
from tests.clubs.test_api import Here
from tests.factories import AccountFactory
from tests.fuzz.effort import tries
from tests.fuzz.known import ANY_CALL, CHECKS, DOCUMENT, Known

NAMES = ("id", "code", "number", "place")


class Walk(DOCUMENT.as_state_machine()):  # type: ignore[misc]
    """One walk through the API. Everything stored on it is forgotten at its end."""

    known: Known
    tokens: dict[str, str]
    #: How often each status was answered, on all walks.
    answers: Counter[str]

    def setup(self) -> None:
        self.stored = transaction.atomic()
        self.stored.__enter__()
        self.tags: dict[str, str] = {}
        self.seen: set[str] = set()
        self.calls = 0

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.stored.__exit__(None, None, None)

    def before_call(self, case: Any) -> None:
        self.calls += 1
        drawn = crc32(repr((self.calls, case.operation.label, case.query, case.body)).encode("utf-8", "replace"))
        named = dict(case.path_parameters or {})
        self.known.put_names(case)
        case.path_parameters = case.path_parameters | {
            name: value for name, value in named.items() if name in NAMES and str(value) in self.seen
        }
        if drawn % 4 and case.media_type == "application/json" and isinstance(case.body, dict | list):
            case.body = self.good(case, drawn)
        who = list(self.tokens)[drawn // 4 % len(self.tokens)]
        secret, tag = self.tokens[who if drawn // 64 % 2 else "keeper"], self.tags.get(case.formatted_path, "*")
        case.headers = {"If-Match": tag if drawn // 128 % 4 else '"r99"'}
        if secret:
            case.headers["Authorization"] = f"Bearer {secret}"

    def good(self, case: Any, drawn: int) -> Any:
        """A body that is taken as it is, under names that no call before it took."""
        try:
            body = copy.deepcopy(self.known.good_body(case.path))
        except KeyError:
            return case.body
        for key in ("code", "slug", "name", "username"):
            if isinstance(body, dict) and isinstance(body.get(key), str) and case.method == "POST":
                body[key] = f"{body[key]}{drawn % 1000}"[:20]
        if isinstance(body, dict) and "id" in body:
            body["id"] = f"{drawn:08x}{body['id'][8:]}"
        return body

    def call(self, case: Any, **_: Any) -> Any:
        return case.call(app=application, base_url="http://localhost", headers=case.headers)

    def after_call(self, response: Any, case: Any) -> None:
        self.answers[str(response.status_code)] += 1
        if tag := response.headers.get("etag"):
            self.tags[case.formatted_path] = tag[0]
        if "json" in response.headers.get("content-type", [""])[0]:
            told = json.loads(response.content or b"null")
            for row in told.get("results", [told]) if isinstance(told, dict) else []:
                self.seen |= {str(row[name]) for name in NAMES if isinstance(row, dict) and name in row}

    def validate_response(self, response: Any, case: Any, **_: Any) -> None:
        case.validate_response(response, checks=CHECKS)
        assert str(response.status_code) in {*case.operation.responses.status_codes, *ANY_CALL}


@pytest.fixture
def tokens(here: Here) -> dict[str, str]:
    """By whom: each role, each scope of a keeper's token, somebody of no club, and nobody."""

    def secret(user: Any, scope: str = "manage") -> str:
        return ApiToken.issue(user=user, name="fuzz", scope=scope)[1]

    found = {role: secret(member.user) for role, member in here.members.items()}
    found |= {f"keeper's {scope}": secret(here.members["keeper"].user, scope) for scope in Scope.values}
    return found | {"stranger": secret(AccountFactory.create()), "nobody": ""}


def test_walks(here: Here, one_connection: None, tokens: dict[str, str]) -> None:
    Walk.known, Walk.tokens, Walk.answers = Known(here), tokens, Counter()
    run_state_machine_as_test(Walk, settings=tries(6, 1500, stateful_step_count=12))
    assert {"200", "201", "400", "403", "404", "422"} <= Walk.answers.keys()
