"""WebKitGTK by the W3C WebDriver protocol, as far as one test needs it: Debian's webkit2gtk-driver under Xvfb."""

import http.client
import json
import os
import socket
import subprocess
import time
from pathlib import Path
from typing import Any

DRIVER, SCREEN = Path("/usr/bin/WebKitWebDriver"), Path("/usr/bin/Xvfb")
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"
PATIENCE_S = 30.0


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class WebKit:
    """A browser window of its own; `close` ends it with everything it started."""

    def __init__(self) -> None:
        display = self._start_screen()
        environment = os.environ | {"DISPLAY": display, "LIBGL_ALWAYS_SOFTWARE": "1", "GDK_BACKEND": "x11"}
        self.port = free_port()
        self.driver = subprocess.Popen([str(DRIVER), f"--port={self.port}"], env=environment, start_new_session=True)
        browser = str(sorted(Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser"))[-1])
        wanted = {"webkitgtk:browserOptions": {"binary": browser, "args": ["--automation"]}}
        session = self._patiently("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
        self.at = f"/session/{session['sessionId']}"

    def _start_screen(self) -> str:
        """The display of a screen that nobody sees; Xvfb itself looks for a free number and tells it."""
        read, write = os.pipe()
        command = [str(SCREEN), "-displayfd", str(write), "-screen", "0", "800x1000x24", "-nolisten", "tcp"]
        self.screen = subprocess.Popen(command, pass_fds=[write], stderr=subprocess.DEVNULL, start_new_session=True)
        os.close(write)
        with os.fdopen(read) as told:
            return f":{told.readline().strip()}"

    def close(self) -> None:
        try:
            self._call("DELETE", self.at)
        finally:
            for process in (self.driver, self.screen):
                process.terminate()
                process.wait(timeout=20)

    def _call(self, method: str, path: str, body: Any = None) -> Any:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            text = None if method in {"GET", "DELETE"} else json.dumps(body or {})
            connection.request(method, path, text, {"Content-Type": "application/json"})
            response = connection.getresponse()
            value = json.loads(response.read())["value"]
        finally:
            connection.close()
        if response.status != 200:
            raise RuntimeError(value)
        return value

    def _patiently(self, method: str, path: str, body: Any) -> Any:
        """The same until the driver listens."""
        end = time.monotonic() + PATIENCE_S
        while True:
            try:
                return self._call(method, path, body)
            except ConnectionError:
                if time.monotonic() > end:
                    raise
                time.sleep(0.1)

    def go(self, url: str) -> None:
        self._call("POST", f"{self.at}/url", {"url": url})

    def reload(self) -> None:
        self._call("POST", f"{self.at}/refresh")

    def set_cookie(self, name: str, value: str) -> None:
        self._call("POST", f"{self.at}/cookie", {"cookie": {"name": name, "value": value, "path": "/"}})

    def run(self, script: str) -> Any:
        """What a function body returns."""
        return self._call("POST", f"{self.at}/execute/sync", {"script": script, "args": []})

    def text(self, selector: str) -> str:
        """What an element shows, "" where there is none."""
        return str(self.run(f"return document.querySelector({json.dumps(selector)})?.innerText ?? ''"))

    def expect_text(self, selector: str, wanted: str, *, patience_s: float = PATIENCE_S) -> None:
        """Wait until an element shows a text."""
        end = time.monotonic() + patience_s
        while wanted not in (found := self.text(selector)):
            assert time.monotonic() < end, f"{selector} shows {found!r}, not {wanted!r}."
            time.sleep(0.1)

    def _element(self, selector: str) -> str:
        found = self._call("POST", f"{self.at}/element", {"using": "css selector", "value": selector})
        return str(found[ELEMENT])

    def click(self, selector: str) -> None:
        self._call("POST", f"{self.at}/element/{self._element(selector)}/click")

    def type(self, selector: str, text: str) -> None:
        self._call("POST", f"{self.at}/element/{self._element(selector)}/value", {"text": text})
