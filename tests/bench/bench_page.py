"""How soon the bench page shows the answer to a changed number, in Debian's chromium, beside the API's share of it.

python tests/bench/bench_page.py [address of a running service]

Without an address the service is started as in deployment, one worker, on a database of its own. A number is changed as
typing does, the strip's length by 0.1 mm a time; the time runs from the input event until the frame that holds the new
figure is painted. Then the same questions go to the API alone, one after the other.
"""

import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from urllib.request import urlopen

from playwright.sync_api import Page, sync_playwright

CHROMIUM = "/usr/bin/chromium"
CHANGES = 50
STRIP = {"bowed-film_plane/width": "171", "bowed-film_plane/depth": "60", "bowed-film_plane/length": "203"}
MORE = {"height": "61", "diameter": "0.3", "plate": "0.05", "wall": "1.5", "index": "6"}
#: Milliseconds from the input event to the frame after the figures are in place.
CHANGED = """
([text]) => new Promise((done) => {
  const field = document.getElementById("bowed-film_plane/length")
  const answer = document.getElementById("answer")
  let start = 0
  answer.addEventListener("shown", () => requestAnimationFrame(() => {
    const channel = new MessageChannel()
    channel.port1.onmessage = () => done(performance.now() - start)
    channel.port2.postMessage(null)
  }), { once: true })
  field.value = text
  start = performance.now()
  field.dispatchEvent(new Event("input", { bubbles: true }))
})
"""
#: Milliseconds of the same question to the API, from the same page.
ASKED = """
async ([text]) => {
  const film_plane = {kind: "bowed", width: "171 mm", depth: "60 mm", length: `${text} mm`, height: "61 mm"}
  const hole = {diameter: "0.3 mm", plate_thickness: "0.05 mm"}
  const body = {film_plane, hole, wall_thickness: "1.5 mm", exposure_index: 6, sheet: "8x10 in"}
  const start = performance.now()
  const answer = await fetch(`${document.documentElement.dataset.api}optics/camera-plan/?lengths=mm`, {
    method: "POST", body: JSON.stringify(body), headers: {"Content-Type": "application/json"},
  })
  await answer.json()
  return performance.now() - start
}
"""


@contextmanager
def service() -> Iterator[str]:
    """The service with one worker on a free port, by its address."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    with tempfile.TemporaryDirectory() as data:
        env = os.environ | {"PINPOOL_DATA": data, "OPENBLAS_NUM_THREADS": "1"}
        here = Path(__file__).resolve().parents[2]
        subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], cwd=here, env=env, check=True)
        command = [
            sys.executable,
            "-m",
            "granian",
            "--interface",
            "wsgi",
            "--port",
            str(port),
            "pinpool.wsgi:application",
        ]
        with subprocess.Popen(command, cwd=here, env=env, stdout=subprocess.DEVNULL) as server:
            try:
                yield _awaited(f"http://127.0.0.1:{port}")
            finally:
                server.terminate()


def _awaited(address: str) -> str:
    for _ in range(100):
        try:
            with urlopen(address + "/bench/", timeout=2):  # noqa: S310  (this machine)
                return address
        except OSError:
            time.sleep(0.1)
    raise SystemExit(f"nothing answers at {address}")


def fill(page: Page, address: str) -> None:
    page.goto(address + "/bench/")
    page.select_option("#kind", "bowed")
    page.select_option("#sheet", "8x10 in")
    for name, text in (STRIP | MORE).items():
        page.locator(f"[id='{name}']").fill(text)
    page.wait_for_selector("[data-slot='sharpness_plot'] svg")


def measure(address: str) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        fill(page, address)
        lengths = [f"{195 + 0.1 * k:.1f}" for k in range(CHANGES + 5)]
        seen = []
        for length in lengths:
            seen.append(page.evaluate(CHANGED, [length]))
            page.wait_for_timeout(700)  # as somebody who looks before they type on: what takes longer is asked for too
        asked = [page.evaluate(ASKED, [length]) for length in lengths]
        browser.close()
    seen, asked = sorted(seen[5:]), sorted(asked[5:])  # the first few warm up
    print(f"a changed number is answered on the page in {median(seen):.0f} ms (median of {len(seen)}),")
    print(f"nine times in ten within {seen[int(0.9 * len(seen))]:.0f} ms; the API alone takes {median(asked):.0f} ms")


def main() -> None:
    if len(sys.argv) > 1:
        measure(sys.argv[1])
        return
    with service() as address:
        measure(address)


if __name__ == "__main__":
    main()
