"""Parts of a club on a page of another origin, under a policy as strict as there is, and where something goes wrong."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Browser, Page, expect

from exposures.embed.models import Embedding
from exposures.embed.script import script
from tests.browser.conftest import LISTEN
from tests.browser.every_page import clean, sign_in
from tests.browser.webdriver import WebKit
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

AWAY, OFF = "its server is away, or does not let this site show it", "the club does not let everybody see it"
#: The site's own look: nothing like ours.
LOOKS = {
    "light": "body { background: #fffdf5; color: #201800; font: 17px/1.5 'Liberation Serif', serif; margin: 1rem }",
    "dark": "body { background: #14161a; color: #e8e6e0; font: 17px/1.5 'Liberation Serif', serif; margin: 1rem }",
}


class Elsewhere:
    """A site of another origin, whose pages come with a content security policy."""

    def __init__(self, server: str) -> None:
        self.server, self.pages = server, dict[str, str]()
        site = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                self.send_response(200)
                style = self.path.endswith(".css")
                self.send_header("Content-Type", "text/css" if style else "text/html; charset=utf-8")
                self.send_header("Content-Security-Policy", site.policy)
                self.end_headers()
                self.wfile.write(site.pages.get(self.path, "").encode())

            def log_message(self, *_: Any) -> None:
                pass

        self.http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.origin = f"http://127.0.0.1:{self.http.server_port}"
        self.pages |= {f"/{look}.css": css for look, css in LOOKS.items()}
        Thread(target=self.http.serve_forever, daemon=True).start()

    @property
    def policy(self) -> str:
        return (
            f"default-src 'none'; script-src {self.server}; connect-src {self.server}; style-src 'self'; "
            "require-trusted-types-for 'script'; trusted-types 'none'"
        )

    def page(self, *snippets: str, look: str = "light") -> str:
        """A page with these parts in it; returns its address."""
        self.pages["/"] = (
            "<!doctype html><html lang=en><meta name=viewport content='width=device-width'><title>Walkers</title>"
            f"<link rel=stylesheet href=/{look}.css>"
            f"<main><h1>Walkers of the weir (invented)</h1>{''.join(snippets)}</main></html>"
        )
        return f"{self.origin}/"


@pytest.fixture
def elsewhere(live_server: Any) -> Iterator[Elsewhere]:
    site = Elsewhere(live_server.url)
    yield site
    site.http.shutdown()
    site.http.server_close()


@pytest.fixture
def keeper() -> Any:
    keeper = MembershipFactory.create(role="keeper", club__slug="saltmarsh", club__name="Saltmarsh club")
    spec = CameraSpecFactory.create(camera__club=keeper.club, camera__code="DRUM", camera__name="Biscuit drum")
    CameraSpecFactory.create(camera__club=keeper.club, camera__code="T1", camera__name="Tea caddy")
    paper = PaperFactory.create(club=keeper.club, name="Glasswort")
    PaperFactory.create(club=keeper.club, name="Samphire")
    for time_s in np.geomspace(5, 3000, 8):
        told = {"exposure_time_s": float(time_s), "indicated_time_s": float(2 ** (0.5 + np.log2(time_s) / 1.3))}
        ExposureLogFactory.create(spec=spec, paper=paper, member=keeper.user, **told)
    return keeper


@pytest.fixture
def shown(keeper: Any, elsewhere: Elsewhere) -> Any:
    """All is on, for the site elsewhere."""
    embedding = Embedding.objects.create(club=keeper.club, registry=True, origins=[elsewhere.origin])
    embedding.cameras.set(keeper.club.cameras.all())
    embedding.papers.set(keeper.club.papers.all())
    return keeper.club


@contextmanager
def visitor(
    browser: Browser, *origins: str, width: int = 1280, expected: tuple[str, ...] = (), **options: Any
) -> Iterator[Page]:
    """A page that fails the test on any request beyond these origins, and on any console error but what is expected."""
    context = browser.new_context(viewport={"width": width, "height": 900}, **options)
    context.add_init_script(LISTEN)
    faults: list[str] = []
    context.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
    context.on("weberror", lambda error: faults.append(str(error.error)))
    context.on("request", lambda sent: None if sent.url.startswith((*origins, "data:")) else faults.append(sent.url))
    yield context.new_page()
    context.close()
    assert [fault for fault in faults if not any(each in fault for each in expected)] == []
    assert not expected or faults


def tag(server: str, *, integrity: str = "", version: str = "v1.js") -> str:
    """The script as the keeper's page tells it."""
    pinned = f'integrity="{integrity or script().integrity}" crossorigin="anonymous"'
    return f'<script type="module" src="{server}/embed/{version}" {pinned}></script>'


CARD = '<pinpool-camera club="saltmarsh" camera="DRUM"><a href="/drum/">The biscuit drum</a></pinpool-camera>'


def parts_of(club: Any) -> str:
    paper = club.papers.get(name="Glasswort").pk
    link = '<a href="/club/">The club</a>'
    return (
        f'<pinpool-registry club="saltmarsh">{link}</pinpool-registry>{CARD}'
        f'<pinpool-curve club="saltmarsh" paper="{paper}">{link}</pinpool-curve>'
        f'<pinpool-exposure club="saltmarsh" camera="DRUM">{link}</pinpool-exposure>'
    )


# ------------------------------------------------------------------------------------------------- all is well


def test_from_the_keepers_switches_to_another_site(browser: Browser, live_server: Any, keeper: Any,
                                                   elsewhere: Elsewhere) -> None:  # fmt: skip
    """What is copied from the keeper's page works under the strictest policy, without cookies."""
    with visitor(browser, live_server.url, base_url=live_server.url, expected=("400",)) as page:
        sign_in(page, keeper.user)
        page.goto("/clubs/saltmarsh/embed/")
        page.get_by_label("The list of all cameras in use").check()
        page.get_by_label("DRUM, Biscuit drum").check()
        page.get_by_label("Glasswort").check()
        page.get_by_label("Sites that may show it").fill(f"https://walkers.example\n{elsewhere.origin}/")
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_label("Sites that may show it")).to_have_attribute("aria-invalid", "true")
        page.get_by_label("Sites that may show it").fill(f"https://walkers.example\n{elsewhere.origin}")
        page.get_by_role("button", name="Save").click()
        copied = page.locator("textarea[readonly]")
        expect(copied).to_have_count(5)  # the script, the registry, a card, times and a curve
        snippets = [each.input_value() for each in copied.all()]
        expect(page.get_by_label("Sites that may show it")).to_have_value(
            f"https://walkers.example\n{elsewhere.origin}"
        )
        page.get_by_label("Sites that may show it").fill("")
        with page.expect_navigation():
            page.get_by_role("button", name="Save").click()
    embedding = Embedding.objects.get()
    assert embedding.origins == []
    embedding.origins = [elsewhere.origin]
    embedding.save()

    with visitor(browser, live_server.url, elsewhere.origin) as page:
        cookie = {"name": "sessionid", "value": "a-members", "url": live_server.url, "sameSite": "Lax"}
        page.context.add_cookies([cookie])  # type: ignore[list-item]
        sent: list[Any] = []
        page.on("request", lambda request: sent.append(request) if "/api/" in request.url else None)
        page.goto(elsewhere.page(*snippets))
        expect(page.locator("pinpool-registry").get_by_role("row")).to_have_count(3)
        expect(page.locator("pinpool-camera")).to_contain_text("DRUM, Biscuit drum")
        expect(page.get_by_role("img", name="How the film lies in DRUM")).to_be_visible()
        expect(page.get_by_role("img", name="Times for Glasswort")).to_be_visible()
        assert page.get_by_role("link").count() == 0  # each part stands in the place of its link
        asked = page.locator("pinpool-exposure")
        asked.get_by_label("EV", exact=True).fill("12")
        asked.get_by_label("EV", exact=True).press("Enter")
        expect(asked.get_by_role("status")).to_contain_text("Nine times in ten the right time lies from")
        assert len(sent) == 5
        assert all("cookie" not in request.all_headers() for request in sent)


@pytest.mark.parametrize(("width", "look"), [(360, "light"), (1280, "dark")])
def test_it_looks_like_the_page_and_keeps_nobody_out(  # noqa: PLR0917  (fixtures)
    browser: Browser, live_server: Any, shown: Any, elsewhere: Elsewhere, width: int, look: str
) -> None:
    # axe-core itself would breach the policy.
    with visitor(browser, live_server.url, elsewhere.origin, width=width, bypass_csp=True, expected=("400",)) as page:
        page.goto(elsewhere.page(tag(live_server.url), parts_of(shown), look=look))
        expect(page.get_by_role("img", name="Times for Glasswort")).to_be_visible()
        asked = page.locator("pinpool-exposure")
        asked.get_by_label("Paper").select_option("Samphire")
        asked.get_by_label("The light by").select_option("a time at an f-number")
        asked.get_by_label("Time", exact=True).fill("1/60")
        asked.get_by_label("f-number", exact=True).fill("16")
        asked.get_by_role("button").click()
        expect(asked.get_by_label("Time", exact=True)).to_be_focused()
        expect(asked.get_by_role("alert")).to_contain_text("unit")
        clean(page)
        asked.get_by_label("Time", exact=True).fill("1/60 s")
        asked.get_by_role("button").click()
        expect(asked.get_by_role("status")).to_contain_text("to give")
        for folded in page.locator("summary").all():
            folded.click()
        clean(page)
        card = page.locator("pinpool-camera dd").first
        for what in ("color", "font-family"):
            look_of = f"element => getComputedStyle(element)['{what}']"
            assert card.evaluate(look_of) == page.locator("body").evaluate(look_of)


def test_attributes_may_change_and_parts_may_go(browser: Browser, live_server: Any, shown: Any,
                                                elsewhere: Elsewhere) -> None:  # fmt: skip
    with visitor(browser, live_server.url, elsewhere.origin) as page:
        page.goto(elsewhere.page(tag(live_server.url), CARD))
        card = page.locator("pinpool-camera")
        expect(card).to_contain_text("Biscuit drum")
        asked: list[str] = []
        page.on("request", lambda sent: asked.append(sent.url))
        card.evaluate("card => { card.setAttribute('camera', 't1'); card.setAttribute('lengths', 'in') }")
        expect(card).to_contain_text("Tea caddy")
        expect(card).to_contain_text(" in long")
        assert len(asked) == 1  # once for both
        card.evaluate("card => { card.setAttribute('camera', 'DRUM'); card.remove() }")
        page.evaluate("document.querySelector('main').append(document.createElement('pinpool-camera'))")
        expect(page.locator("pinpool-camera")).to_contain_text("it lacks the attribute “club”")
        assert len(asked) == 1


def test_a_second_copy_of_the_script_does_no_harm(browser: Browser, live_server: Any, shown: Any,
                                                  elsewhere: Elsewhere) -> None:  # fmt: skip
    with visitor(browser, live_server.url, elsewhere.origin) as page:
        loaded: list[str] = []
        page.on("requestfinished", lambda sent: loaded.append(sent.url) if "v1.js" in sent.url else None)
        twice = tag(live_server.url) + tag(live_server.url) + tag(live_server.url, version="v1.js?again")
        page.goto(elsewhere.page(twice, CARD))
        expect(page.locator("pinpool-camera")).to_contain_text("Biscuit drum")
        assert len(loaded) == 2
        assert page.locator("pinpool-camera dl").count() == 1


# ----------------------------------------------------------------------------------------------- what goes wrong


def expect_the_link(page: Page, why: str | None) -> None:
    """The link is there to be followed, with one line why where the script runs."""
    link = page.get_by_role("link", name="The biscuit drum")
    expect(link).to_be_visible()
    if why:
        expect(page.locator("pinpool-camera")).to_contain_text("The biscuit drum")
        expect(page.locator("pinpool-camera .small")).to_contain_text(why)
    else:
        assert not page.evaluate("Boolean(customElements.get('pinpool-camera'))")
    clean_link = link.evaluate("link => getComputedStyle(link).display")
    assert clean_link == "inline"


def test_another_script_than_the_one_meant_does_not_run(browser: Browser, live_server: Any, shown: Any,
                                                        elsewhere: Elsewhere) -> None:  # fmt: skip
    wrong = "sha384-" + "A" * 64
    with visitor(browser, live_server.url, elsewhere.origin, expected=("integrity",)) as page:
        page.goto(elsewhere.page(tag(live_server.url, integrity=wrong), CARD))
        expect_the_link(page, None)


def test_the_server_is_away(browser: Browser, live_server: Any, shown: Any, elsewhere: Elsewhere) -> None:
    for gone, why in (("**/api/**", AWAY), ("**/v1.js", None)):
        with visitor(browser, live_server.url, elsewhere.origin, expected=("net::ERR",)) as page:
            page.context.route(gone, lambda route: route.abort("connectionrefused"))
            page.goto(elsewhere.page(tag(live_server.url), CARD))
            expect_the_link(page, why)
    with visitor(browser, live_server.url, elsewhere.origin, expected=("500",)) as page:
        page.context.route("**/api/**", lambda route: route.fulfill(status=500, body="<h1>Bad gateway"))
        page.goto(elsewhere.page(tag(live_server.url), CARD))
        expect_the_link(page, AWAY)


def test_the_server_hangs(browser: Browser, live_server: Any, shown: Any, elsewhere: Elsewhere) -> None:
    """A page does not wait for ever: the patience of the script, a tenth as long here, is all that a server gets."""
    hurry = "const { timeout } = AbortSignal; AbortSignal.timeout = (ms) => timeout.call(AbortSignal, ms / 10);"
    with visitor(browser, live_server.url, elsewhere.origin) as page:
        page.add_init_script(hurry)
        page.context.route("**/api/**", lambda _: None)
        page.goto(elsewhere.page(tag(live_server.url), CARD))
        expect_the_link(page, AWAY)


def test_the_server_goes_away_while_somebody_asks(browser: Browser, live_server: Any, shown: Any,
                                                  elsewhere: Elsewhere) -> None:  # fmt: skip
    """What was filled in stays, and may be sent again."""
    with visitor(browser, live_server.url, elsewhere.origin, expected=("net::ERR",)) as page:
        page.goto(elsewhere.page(tag(live_server.url), parts_of(shown)))
        asked = page.locator("pinpool-exposure")
        asked.get_by_label("EV", exact=True).fill("12")
        page.context.route("**/exposure/**", lambda route: route.abort("connectionrefused"))
        asked.get_by_role("button").click()
        expect(asked.get_by_role("status")).to_contain_text(AWAY)
        page.context.unroute("**/exposure/**")
        asked.get_by_role("button").click()
        expect(asked.get_by_role("status")).to_contain_text("to give")


def test_the_club_does_not_allow_the_origin(browser: Browser, live_server: Any, shown: Any,
                                            elsewhere: Elsewhere, tmp_path: Path) -> None:  # fmt: skip
    Embedding.objects.update(origins=["https://walkers.example"])
    with visitor(browser, live_server.url, elsewhere.origin, expected=("CORS", "net::ERR")) as page:
        page.goto(elsewhere.page(tag(live_server.url), CARD))
        expect_the_link(page, AWAY)
    file = tmp_path / "page.html"
    file.write_text(elsewhere.pages["/"].replace("href=/light.css", ""))
    with visitor(browser, live_server.url, "file:", expected=("CORS", "net::ERR")) as page:  # whose origin is “null”
        page.goto(file.as_uri())
        expect_the_link(page, AWAY)


def test_what_is_off_is_not_shown(browser: Browser, live_server: Any, shown: Any, elsewhere: Elsewhere) -> None:
    shown.embedding.cameras.clear()
    with visitor(browser, live_server.url, elsewhere.origin, expected=("404",)) as page:
        page.goto(elsewhere.page(tag(live_server.url), CARD))
        expect_the_link(page, OFF)


# ------------------------------------------------------------------------------------------- pages of our own


def test_our_own_pages_show_the_same_to_everybody(browser: Browser, live_server: Any, shown: Any) -> None:
    with visitor(browser, live_server.url, base_url=live_server.url, width=360) as page:
        page.goto("/embed/saltmarsh/")
        page.get_by_role("link", name="DRUM, Biscuit drum").click()
        expect(page.get_by_role("img", name="How the film lies in DRUM")).to_be_visible()
        expect(page.get_by_role("button", name="Say how long")).to_be_visible()
        clean(page)
        page.goto("/embed/saltmarsh/")
        page.get_by_role("link", name="Glasswort").click()
        expect(page.get_by_role("img", name="Times for Glasswort")).to_be_visible()
        page.goto("/embed/saltmarsh/cameras/")
        expect(page.get_by_role("row")).to_have_count(3)


# ---------------------------------------------------------------------------------------------- another browser


def expect_words(browser: WebKit, part: str, words: str, patience_s: float = 30.0) -> None:
    """Wait until a part shows these words."""
    script = f"return document.querySelector('pinpool-{part}')?.shadowRoot?.textContent ?? ''"
    end = time.monotonic() + patience_s
    while words not in (found := browser.run(script)):
        assert time.monotonic() < end, found
        time.sleep(0.1)


def test_webkit_shows_the_same(live_server: Any, shown: Any, elsewhere: Elsewhere) -> None:
    """Under the same policy, which it holds a page to in its own way."""
    browser = WebKit()
    try:
        browser.go(elsewhere.page(tag(live_server.url), parts_of(shown)))
        for part, words in {"camera": "0.350 mm", "registry": "Tea caddy", "curve": "Glasswort"}.items():
            expect_words(browser, part, words)
        browser.run(
            "const part = document.querySelector('pinpool-exposure').shadowRoot\n"
            "part.querySelector('[name=ev]').value = '12'\n"
            "part.querySelector('button').click()"
        )
        expect_words(browser, "exposure", "to give, where")
    finally:
        browser.close()
