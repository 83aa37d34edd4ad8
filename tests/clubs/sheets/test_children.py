"""The typesetters are processes of their own: they may hang, die or grow, and the service neither waits nor leaks."""

import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from clubs.sheets import press, typesetting
from pinpool.http.problems import Unavailable
from tests.clubs.sheets.printed import of_blocks

ROOT = Path(__file__).parents[3]
SHORT = {"kind": "text", "text": "A tea caddy."}
ENDLESS = [{"kind": "table", "columns": ["a", "b"], "rows": [[str(n), "x"] for n in range(2000)]} for _ in range(60)]


@pytest.fixture(autouse=True)
def fresh() -> Iterator[None]:
    press.close()
    yield
    press.close()


def children() -> list[int]:
    """The typesetters that this process started and that are not gone, by their ids."""
    found = Path(f"/proc/{os.getpid()}/task").glob("*/children")
    return [int(child) for each in found for child in each.read_text().split() if "typesetting.py" in command_of(child)]


def command_of(process: str) -> str:
    try:
        return Path(f"/proc/{process}/cmdline").read_text()
    except FileNotFoundError:  # gone meanwhile
        return ""


def wait_until(holds: Any, seconds: float = 10) -> None:
    until = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < until
        time.sleep(0.01)


def test_one_child_serves_one_after_the_other() -> None:
    made_of = of_blocks(SHORT)
    first = press.pdf(made_of)
    [child] = children()
    assert press.pdf(made_of) == first
    assert children() == [child]
    press.close()
    assert children() == []
    assert press.pdf(made_of) == first


def test_eight_at_once_are_each_their_own(settings: Any) -> None:
    settings.PINPOOL = {"SHEET_PROCESSES": 2}
    made_of = [of_blocks(SHORT, title=f"Tea caddy {n}") for n in range(8)]
    alone = [press.pdf(each) for each in made_of]
    with ThreadPoolExecutor(8) as threads:
        assert list(threads.map(press.pdf, made_of * 4)) == alone * 4
    assert len(children()) <= 2


def test_a_child_killed_in_the_middle_is_said_and_renewed() -> None:
    press.pdf(of_blocks(SHORT))
    [child] = children()
    os.kill(child, signal.SIGSTOP)  # so that it surely is in the middle when it is killed
    faults: list[Exception] = []

    def ask() -> None:
        try:
            press.pdf(of_blocks(SHORT))
        except Unavailable as fault:
            faults.append(fault)

    thread = threading.Thread(target=ask)
    thread.start()
    time.sleep(0.05)
    os.kill(child, signal.SIGKILL)
    thread.join(10)
    [fault] = faults
    assert str(fault) == "The typesetter stopped in the middle of this sheet. Ask again."
    assert press.pdf(of_blocks(SHORT)).startswith(b"%PDF")
    assert len(children()) == 1
    assert children() != [child]


def test_a_child_killed_while_idle_is_not_noticed() -> None:
    press.pdf(of_blocks(SHORT))
    [child] = children()
    os.kill(child, signal.SIGKILL)
    gone = {"State:\tZ (zombie)", "Threads:\t1"}
    wait_until(lambda: gone <= set(Path(f"/proc/{child}/status").read_text().splitlines()))
    assert press.pdf(of_blocks(SHORT)).startswith(b"%PDF")


def test_what_takes_too_long_is_ended(settings: Any) -> None:
    settings.PINPOOL = {"SHEET_SECONDS": 0.4, "SHEET_PROCESSES": 1}
    with pytest.raises(Unavailable, match=r"longer than 0\.4 s"):
        press.pdf(of_blocks(*ENDLESS))
    settings.PINPOOL = {"SHEET_PROCESSES": 1}
    assert press.pdf(of_blocks(SHORT)).startswith(b"%PDF")
    assert len(children()) == 1


def test_who_waits_too_long_is_told(settings: Any) -> None:
    settings.PINPOOL = {"SHEET_SECONDS": 0.1, "SHEET_PROCESSES": 1}
    busy = press._press_here()._free
    taken = busy.get()
    with pytest.raises(Unavailable, match="Too many sheets are being set just now"):
        press.pdf(of_blocks(SHORT))
    busy.put(taken)


def test_a_child_that_grew_is_renewed(settings: Any) -> None:
    settings.PINPOOL = {"SHEET_PROCESS_BYTES": 1}
    for _ in range(3):
        assert press.pdf(of_blocks(SHORT)).startswith(b"%PDF")
        assert children() == []


def test_a_child_of_a_large_service_is_not_taken_for_large() -> None:
    """What a process held when it started another counts to the other's peak, not to what it holds."""
    ballast = bytearray(400_000_000)
    ballast[::4096] = b"x" * len(ballast[::4096])
    press.pdf(of_blocks(SHORT))
    assert len(children()) == 1


def test_a_folder_of_fonts_is_asked(settings: Any, tmp_path: Path) -> None:
    """Fonts of a site's own are found; a folder without any is no fault."""
    settings.PINPOOL = {"SHEET_FONTS": str(tmp_path)}
    assert press.pdf(of_blocks(SHORT)).startswith(b"%PDF")


def in_a_service(code: str) -> subprocess.CompletedProcess[str]:
    start = """
        import os, sys, time, warnings
        warnings.simplefilter("error")
        os.environ["DJANGO_SETTINGS_MODULE"] = "pinpool.settings"
        import django
        django.setup()
        from clubs.sheets import press
        from tests.clubs.sheets.printed import of_blocks
        made_of = of_blocks({"kind": "text", "text": "A tea caddy."})
        def children():
            with open(f"/proc/{os.getpid()}/task/{os.getpid()}/children") as found:
                return found.read().split()
    """
    script = textwrap.dedent(start) + textwrap.dedent(code)
    command = [sys.executable, "-X", "dev", "-c", script]
    return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=60, check=False)


def test_no_process_and_no_warning_is_left_at_the_end() -> None:
    ran = in_a_service("press.pdf(made_of); print(*children())")
    assert (ran.returncode, ran.stderr) == (0, "")
    [child] = ran.stdout.split()
    assert not Path(f"/proc/{child}").exists()


def test_a_service_that_is_killed_leaves_none_either() -> None:
    ran = in_a_service("press.pdf(made_of); print(*children(), flush=True); os.kill(os.getpid(), 9)")
    [child] = ran.stdout.split()
    wait_until(lambda: not Path(f"/proc/{child}").exists())


def test_forked_workers_have_children_of_their_own() -> None:
    """A process that forks after it set a sheet, as servers do, lends its typesetters to nobody."""
    ran = in_a_service("""
        first = press.pdf(made_of)
        mine = children()
        worker = os.fork()
        if worker == 0:
            same = press.pdf(made_of) == first
            press.close()
            sys.stdout.flush()
            os._exit(0 if same and children() == [] else 1)
        _, status = os.waitpid(worker, 0)
        assert os.waitstatus_to_exitcode(status) == 0
        assert press.pdf(made_of) == first
        assert children() == mine
    """)
    assert (ran.returncode, ran.stderr) == (0, "")


def test_a_typesetter_is_no_module_of_the_service() -> None:
    """It starts with typst alone: neither Django nor our settings are read in it."""
    code = "import sys, runpy; runpy.run_path(sys.argv[1], run_name='x'); print(*sys.modules)"
    command = [sys.executable, "-P", "-c", code, typesetting.__file__]
    loaded = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    assert "typst" in loaded
    assert not {"django", "clubs", "numpy", "pypdf"} & set(loaded)
