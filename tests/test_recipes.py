"""The page of recipes, run as it stands against the demo's club: every line of shell and of Python that it shows."""

import re
import sys
from html.parser import HTMLParser
from io import StringIO
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.test import Client

from tests.printed import is_printed, runs


class Blocks(HTMLParser):
    """The page's `pre` elements in order: what each is (its class, or its id), and its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, str]] = []
        self.inside = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        if tag == "pre":
            self.inside = True
            self.found.append((dict(attrs).get("class") or dict(attrs)["id"], ""))

    def handle_endtag(self, tag: str) -> None:
        self.inside = self.inside and tag != "pre"

    def handle_data(self, data: str) -> None:
        if self.inside:
            what, text = self.found[-1]
            self.found[-1] = (what, text + data)


def test_every_recipe_prints_what_the_page_says(
    live_server: Any, transactional_db: None, settings: Any, tmp_path: Path
) -> None:
    settings.DATA_DIR = tmp_path
    out = StringIO()
    call_command("demo", "--no-serve", stdout=out)
    names = {"TOKEN": re.findall(r"pp_\S+", out.getvalue())[0]}
    page = Client(headers={"host": live_server.url.removeprefix("http://")}).get("/api/v1/docs/recipes/").text
    (_, shell), (_, module), *recipes, (_, client) = Blocks(page).found
    assert f"API={live_server.url}/api/v1\n" in shell
    (tmp_path / "club.py").write_text(module)
    shell = shell.replace("export TOKEN=pp_…", "set -e")
    for (way, text), (prints, expected) in zip(recipes[::2], recipes[1::2], strict=True):
        assert prints == "prints"
        command = ["bash", "-c", f"{shell}\n{text}"] if way == "curl" else [sys.executable, "-c", text]
        is_printed(runs(command, names=names, folder=tmp_path).removesuffix("\n"), expected)
    assert [way for way, _ in recipes[::2]] == ["curl", "python"] * 13
    assert f"generate --url {live_server.url}/api/v1/schema/" in client
