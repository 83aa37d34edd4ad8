"""PostgreSQL of a test's own, to be stopped, killed and started."""

import os
import shutil
import signal
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

#: Who may run PostgreSQL: not root.
USER = "postgres"


def _bin() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda each: int(each.parent.name))
    return found[-1] if found else None


def programs() -> str:
    """What is missing; empty where a cluster can be made."""
    if os.geteuid() != 0:
        return "a cluster of the test's own takes root, to run it as another user"
    return "" if _bin() else "PostgreSQL's server is not installed"


class Cluster:
    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self._run("initdb", "-D", str(folder / "data"), "-A", "trust", "-U", "pinpool", "--no-sync")

    @classmethod
    @contextmanager
    def made(cls) -> Iterator["Cluster"]:
        folder = Path(tempfile.mkdtemp(prefix="cluster-"))
        shutil.chown(folder, USER)
        cluster = cls(folder)
        cluster.start()
        try:
            yield cluster
        finally:
            cluster.stop()
            shutil.rmtree(folder)

    def url(self) -> str:
        return f"postgres://pinpool@127.0.0.1:{self.port}/postgres"

    def start(self) -> None:
        options = f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1"
        data, log = str(self.folder / "data"), str(self.folder / "log")
        self._run("pg_ctl", "-D", data, "-w", "-l", log, "-o", options, "start")

    def stop(self) -> None:
        """At once, without waiting for anybody."""
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-w", "-m", "immediate", "stop", must=False)

    def kill(self) -> None:
        """The postmaster alone, as a system short of memory does."""
        pid = int((self.folder / "data" / "postmaster.pid").read_text().split()[0])
        os.kill(pid, signal.SIGKILL)

    def copy(self, url: str) -> None:
        """All of another server's database."""
        dumped = subprocess.run([f"{_bin()}/pg_dump", "--no-owner", url], capture_output=True, check=True)
        subprocess.run([f"{_bin()}/psql", "-q", self.url()], input=dumped.stdout, capture_output=True, check=True)

    def _run(self, program: str, *words: str, must: bool = True) -> None:
        command = ["runuser", "-u", USER, "--", f"{_bin()}/{program}", *words]
        done = subprocess.run(
            command, cwd="/", stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=False
        )
        assert not must or done.returncode == 0, done.stderr
