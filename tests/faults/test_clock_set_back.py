"""A clock that is set back by an hour while the service runs.

`clock.c`, compiled here and loaded before the service, stands between it and the system's clock of the day.
"""

import shutil
import subprocess
import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from http.cookies import SimpleCookie
from pathlib import Path
from typing import Any

import pytest

from tests.bodies import SPEC
from tests.faults.service import CREEK, PASSWORD, Answer, Service

pytestmark = pytest.mark.faults

ACCOUNTS = "/api/v1/accounts/"


@pytest.fixture
def clocked(
    here: dict[str, str], untouched: str, tmp_path: Path
) -> Iterator[tuple[Service, Callable[[timedelta], None]]]:
    """The service, and how its clock is put off by a time."""
    if not shutil.which("cc"):
        pytest.skip("NOT RUN: there is no C compiler, which makes what puts the clock off")
    library, offset = tmp_path / "clock.so", tmp_path / "offset"
    source = Path(__file__).with_name("clock.c")
    subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-o", str(library), str(source), "-ldl"], check=True)
    offset.write_text("0")
    faked = {"LD_PRELOAD": str(library), "CLOCK_OFFSET_FILE": str(offset)}
    service = Service(here | faked, tmp_path / "log")
    try:
        yield service, lambda time: offset.write_text(f"{time.total_seconds():.0f}") and None
    finally:
        service.stop()


class Member:
    """What a member does with a token, and in a session."""

    def __init__(self, service: Service, known: dict[str, str]) -> None:
        self.service, self.known = service, known

    def ask(self, method: str, path: str, body: Any = None, **headers: str) -> Answer:
        return self.service.ask(method, CREEK + path, body, token=self.known["manage"], **headers)

    def log(self, **more: Any) -> str:
        chosen = str(uuid.uuid4())
        answer = self.service.log_one(self.known, chosen, **more)
        assert answer.status == 201, answer.content
        return chosen

    def sign_in(self, username: str, password: str) -> Answer:
        page = self.service.ask("GET", f"{ACCOUNTS}login/")
        cookies = {"csrftoken": _cookie(page, "csrftoken")}
        return self.service.ask(
            "POST", f"{ACCOUNTS}login/", {"username": username, "password": password},
            Cookie=f"csrftoken={cookies['csrftoken']}", X_CSRFToken=page.data["csrf_token"],
        )  # fmt: skip


def _cookie(answer: Answer, name: str) -> str:
    cookies = SimpleCookie()
    for each in answer.headers.get_all("Set-Cookie", []):
        cookies.load(each)
    return cookies[name].value


def told_at(member: Member) -> datetime:
    """When the last thing happened, by the service's clock."""
    return datetime.fromisoformat(member.ask("GET", "trail/?page_size=1").data["results"][0]["at"])


def use_up(member: Member, username: str) -> int:
    """Guess until no more guesses are taken; gives the seconds until the next one."""
    for _ in range(12):
        answer = member.sign_in(username, "not it")
        if answer.status == 429:
            return int(answer.headers["Retry-After"])
    raise AssertionError("Nobody stopped the guesses.")


def test_a_clock_set_back_breaks_nothing(
    clocked: tuple[Service, Callable[[timedelta], None]], known: dict[str, str]
) -> None:
    service, put_off = clocked
    member = Member(service, known)
    before = service.logged(known)
    early = [member.log() for _ in range(5)]
    page = member.ask("GET", "exposures/?page_size=2").data
    session = member.sign_in(known["user"], PASSWORD)
    assert session.status == 200
    mine = {"Cookie": f"sessionid={_cookie(session, 'sessionid')}"}
    first_tag = member.ask("GET", "cameras/T1/").headers["ETag"]
    changed = member.ask("PATCH", "cameras/T1/", {"note": "lid sticks"}, If_Match=first_tag)
    assert changed.status == 200
    list_tag = member.ask("GET", "exposures/").headers["ETag"] or '"none"'
    assert use_up(member, "guessed-before") <= 900

    put_off(timedelta(hours=-1))
    late = [member.log() for _ in range(5)]
    assert datetime.now(UTC) - told_at(member) > timedelta(minutes=55)
    assert member.service.log_one(known, early[0]).status == 200  # the same entry again
    everything = sorted([*before, *early, *late])
    assert sorted(service.logged(known)) == everything
    rest = []
    while page["next"]:
        page = service.ask("GET", page["next"].split(str(service.port), 1)[1], token=known["token"]).data
        rest += page["results"]
    assert [log["id"] for log in rest][:3] == early[2::-1]  # the pages after one that was read before lose none
    assert member.ask("GET", "exposures/", If_None_Match=list_tag).status == 200

    assert service.ask("GET", f"{ACCOUNTS}me/", **mine).status == 200
    assert member.sign_in(known["user"], PASSWORD).status == 200
    assert member.sign_in("guessed-before", "not it").status == 401  # another window, with tries of its own
    assert use_up(member, "guessed-after") <= 900

    stale = member.ask("PATCH", "cameras/T1/", {"note": "lid holds"}, If_Match=first_tag)
    assert stale.status == 412
    tag = changed.headers["ETag"]
    again = member.ask("PATCH", "cameras/T1/", {"note": "lid holds"}, If_Match=tag)
    assert again.status == 200
    assert again.headers["ETag"] not in {first_tag, tag}
    assert member.ask("GET", "cameras/T1/", If_None_Match=tag).status == 200

    spec = member.ask("POST", "cameras/T1/specs/", SPEC)
    assert spec.status == 201, spec.content
    logged = member.log(taken_at=datetime.now(UTC).isoformat())
    assert member.ask("GET", f"exposures/{logged}/").data["spec"] == spec.data["number"]
    assert member.ask("GET", "trail/?page_size=1").data["results"][0]["action"] == "log_exposure"

    put_off(timedelta(0))
    assert sorted(service.logged(known)) == sorted([*everything, logged])
    assert service.ask("GET", f"{ACCOUNTS}me/", **mine).status == 200
