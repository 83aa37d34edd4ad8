"""What the field page weighs, and how soon it can be used without signal on a slow phone.

    uv run python tests/bench/field_page.py [rounds, default 9]

Weight: everything the first visit loads, each file compressed by gzip at its usual level (the limit is 60 kB in all),
and beside it the kit that a large club hands out. Speed: the server is killed and the processor slowed down fourfold;
timed is from the start of the navigation until the page reckons by what it keeps (the limit is 1 s), and until a typed
reading is answered, beside an empty page in the same browser. Medians over rounds.
"""

import gzip
import os
import statistics
import sys
import tempfile
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from figures import Figure, print_table
from playwright.sync_api import BrowserContext, Response, sync_playwright

from tests.browser.conftest import CHROMIUM, FLAGS
from tests.browser.site import Site
from tests.races.test_killed import shell

ROUNDS, SLOWDOWN, CAMERAS, PAPERS = 9, 4, 40, 12
MOST_KB, MOST_MS = 60, 1000
COMMAND = "python tests/bench/field_page.py"
#: As many cameras and papers as a large club has, all logged.
FILL = f"""
import json
import numpy as np
from clubs.models import Club
from tests.factories import AccountFactory, CameraSpecFactory, ExposureLogFactory, PaperFactory
AccountFactory.reset_sequence(1000)
club = Club.objects.get(slug="creek")
specs = [CameraSpecFactory.create(camera__club=club) for _ in range({CAMERAS})]
papers = [PaperFactory.create(club=club) for _ in range({PAPERS})]
rng = np.random.default_rng(1)
for number in range(400):
    time = float(np.exp2(rng.uniform(2, 12)))
    indicated = 2 ** (0.3 * rng.standard_normal()) * time ** (1 / 1.3)
    spec, paper = specs[number % {CAMERAS}], papers[number % {PAPERS}]
    ExposureLogFactory.create(spec=spec, paper=paper, exposure_time_s=time, indicated_time_s=indicated)
print(json.dumps({{}}))
"""
#: Notes when the page says that it is ready, on the clock that starts with the navigation.
WATCH = """new MutationObserver(() => {
    if (document.querySelector("#field[data-ready]")) globalThis.ready ??= performance.now();
}).observe(document, { subtree: true, childList: true, attributes: true });"""
ANSWER = """async () => {
    const [ev, give] = [document.getElementById("ev"), document.getElementById("give")];
    const start = performance.now();
    ev.value = "13";
    ev.dispatchEvent(new Event("input", { bubbles: true }));
    while (!give.textContent) await new Promise(requestAnimationFrame);
    return performance.now() - start;
}"""


def weigh(context: BrowserContext, site: Site) -> list[Figure]:
    """One visit, and what came over the wire for it."""
    sizes: dict[str, int] = {}

    def heard(response: Response) -> None:
        path = urlsplit(response.url).path
        if response.ok and path not in sizes:
            sizes[path] = len(gzip.compress(response.body()))

    page = context.new_page()
    page.on("response", heard)
    page.goto(f"{site.url}/field/")
    page.locator("#offline-says", has_text="from now on").wait_for()
    page.locator("#state", has_text="Up to date").wait_for()
    page.wait_for_timeout(500)
    page.close()
    kits = sum(size for path, size in sizes.items() if path.startswith("/api/")) / 1000
    files = sum(sizes.values()) / 1000 - kits
    goal = f"≤ {MOST_KB} kB"
    return [
        Figure("field page: page and files, gzip", files, "kB", goal=goal, met=files <= MOST_KB, command=COMMAND),
        Figure(f"field page: the kit of a club of {CAMERAS} cameras, gzip", kits, "kB", command=COMMAND),
    ]


def time_offline(context: BrowserContext, site: Site, rounds: int) -> list[Figure]:
    """Rounds of opening the page with the server dead, on a processor slowed down."""
    context.add_init_script(WATCH)
    ready, answered, empty = [], [], []
    for _ in range(rounds):
        page = context.new_page()
        slow: Any = context.new_cdp_session(page)
        slow.send("Emulation.setCPUThrottlingRate", {"rate": SLOWDOWN})
        page.goto("data:text/html,<p>empty")
        empty.append(page.evaluate("performance.timing.loadEventEnd - performance.timing.navigationStart"))
        page.goto(f"{site.url}/field/")
        page.locator("#field[data-ready]").wait_for(state="attached")
        ready.append(page.evaluate("globalThis.ready"))
        answered.append(page.evaluate(ANSWER))
        page.close()
    floor, ours, answer = (statistics.median(times) for times in (empty, ready, answered))
    slow_phone, goal = f"field page offline, {SLOWDOWN} × slower", f"≤ {MOST_MS} ms"
    return [
        Figure(f"{slow_phone}: ready, beside an empty page", ours, "ms", floor, ours / max(floor, 1), goal,
               ours <= MOST_MS, COMMAND),
        Figure(f"{slow_phone}: a reading answered", answer, "ms", command=COMMAND),
    ]  # fmt: skip


def measure(rounds: int = ROUNDS) -> list[Figure]:
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        site = Site(os.environ | {"PINPOOL_DATA": folder, "OPENBLAS_NUM_THREADS": "1", "PINPOOL_ACCESS_LOG": "WARNING"})
        try:
            shell(site.environment, FILL)
            context = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS).new_context(
                viewport={"width": 360, "height": 800}
            )
            context.add_cookies([{"name": "sessionid", "value": site.session, "url": site.url}])
            weight = weigh(context, site)
        finally:
            site.server.kill()
        return [*weight, *time_offline(context, site, rounds)]


if __name__ == "__main__":
    print_table(measure(*(int(rounds) for rounds in sys.argv[1:2])))
