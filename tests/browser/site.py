"""The site as a process of its own on a database of its own, for browser tests that kill it or drive it apart."""

import time
from typing import Any
from urllib.request import urlopen

from tests.races.test_killed import Server, shell

#: The smallest club that can log, and a session of its member.
PREPARE = """
import json
from django.core.management import call_command
call_command("migrate", verbosity=0)
from django.test import Client
from tests.factories import CameraSpecFactory, MembershipFactory, PaperFactory
member = MembershipFactory.create(club__slug="creek")
CameraSpecFactory.create(camera__club=member.club, camera__code="T1")
PaperFactory.create(club=member.club, name="Glasswort")
client = Client()
client.force_login(member.user)
print(json.dumps({"session": client.cookies["sessionid"].value}))
"""
LOGGED = """
import json
from exposures.models import ExposureLog
print(json.dumps(list(ExposureLog.objects.values("result", "typed_time"))))
"""


class Site:
    """A running site; `session` is the cookie that signs its member in."""

    def __init__(self, environment: dict[str, str]) -> None:
        self.environment = environment
        self.session: str = shell(environment, PREPARE)["session"]
        self.server = Server(environment)
        self.url = f"http://127.0.0.1:{self.server.port}"
        self.expect_answer()

    def expect_answer(self) -> None:
        """Wait until the server answers."""
        for _ in range(300):
            try:
                urlopen(f"{self.url}/field/", timeout=5).close()  # noqa: S310  (our own address)
            except OSError:
                time.sleep(0.1)
            else:
                return
        raise AssertionError("The server does not come up.")

    def logged(self) -> list[dict[str, Any]]:
        """What is in the log."""
        found: list[dict[str, Any]] = shell(self.environment, LOGGED)
        return found
