"""The service behind the nginx and the Caddy of our examples, over https: `pytest -n 0 tests/keeper/behind_proxies.py`.

Run by hand, since it needs nginx, caddy and openssl. Ports and the certificate are put in place of the examples' own,
and nothing else.
"""

import io
import json
import os
import shutil
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
from PIL import Image

from tests.served import shell

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "pinpool/service/examples"
PREPARE = """
import json
from django.contrib.auth import get_user_model
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests.factories import CameraSpecFactory, MembershipFactory
keeper = get_user_model().objects.create_superuser("ada", "ada@club.example", "a quiet creek")
member = MembershipFactory.create(user=keeper, role="keeper", club__slug="creek")
CameraSpecFactory.create(camera__club=member.club, camera__code="T1")
print(json.dumps({}))
"""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def until_it_listens(port: int) -> None:
    for _ in range(300):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise AssertionError(f"Nothing listens on {port}.")


@contextmanager
def service(folder: Path) -> Iterator[tuple[int, Path]]:
    """The service with the environment of the example; its port and its log."""
    told = [line.partition("=")[::2] for line in (EXAMPLES / "pinpool.env").read_text().splitlines() if line[:1] != "#"]
    environment = os.environ | {name: value.strip("'") for name, value in told} | {"PINPOOL_DATA": str(folder)}
    environment.pop("DATABASE_URL", None)
    shell(environment, PREPARE)
    port, log = free_port(), folder / "log"
    command = [sys.executable, "manage.py", "serve", "--port", str(port), "--workers", "2"]
    with log.open("w") as said, subprocess.Popen(command, cwd=ROOT, env=environment, stderr=said) as process:
        until_it_listens(port)
        yield port, log
        process.terminate()


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("certificate")
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
         "-subj", "/CN=club.example", "-addext", "subjectAltName=DNS:club.example",
         "-keyout", folder / "key.pem", "-out", folder / "certificate.pem"],
        check=True, capture_output=True,
    )  # fmt: skip
    return folder


def nginx(folder: Path, certificate: Path, service: int, plain: int, secure: int) -> list[str]:
    text = (EXAMPLES / "nginx.conf").read_text()
    for ours, theirs in {
        "listen 80;": f"listen 127.0.0.1:{plain};", "listen [::]:80;": "",
        "listen 443 ssl": f"listen 127.0.0.1:{secure} ssl", "listen [::]:443 ssl http2;": "",
        "/etc/letsencrypt/live/club.example/fullchain.pem": str(certificate / "certificate.pem"),
        "/etc/letsencrypt/live/club.example/privkey.pem": str(certificate / "key.pem"),
        "127.0.0.1:8000": f"127.0.0.1:{service}",
    }.items():  # fmt: skip
        assert ours in text
        text = text.replace(ours, theirs)
    kept = "\n".join(f"{kind}_temp_path {folder};" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi"))
    around = f"pid {folder}/pid;\nerror_log {folder}/error.log;\nevents {{}}\nhttp {{\n{kept}\n{text}\n}}\n"
    (folder / "nginx.conf").write_text(around)
    command = ["nginx", "-p", str(folder), "-c", str(folder / "nginx.conf")]
    subprocess.run([*command, "-t"], check=True)
    return [*command, "-g", "daemon off; user root;"]


def caddy(folder: Path, certificate: Path, service: int, plain: int, secure: int) -> list[str]:
    text = (EXAMPLES / "Caddyfile").read_text()
    tls = f"club.example {{\n\ttls {certificate}/certificate.pem {certificate}/key.pem"
    for ours, theirs in {"club.example {": tls, "127.0.0.1:8000": f"127.0.0.1:{service}"}.items():
        assert ours in text
        text = text.replace(ours, theirs, 1)
    (folder / "Caddyfile").write_text(f"{{\n\tadmin off\n\thttp_port {plain}\n\thttps_port {secure}\n}}\n{text}")
    command = ["caddy", "run", "--config", str(folder / "Caddyfile"), "--adapter", "caddyfile"]
    subprocess.run(["caddy", "validate", *command[2:]], check=True)
    return command


@pytest.fixture(scope="module", params=[nginx, caddy], ids=lambda each: each.__name__)
def proxy(request: Any, certificate: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[int, int, Path]]:
    """Ports of http and of https, and the service's log."""
    if not shutil.which(request.param.__name__):
        pytest.skip(f"{request.param.__name__} is not installed here.")
    folder, plain, secure = tmp_path_factory.mktemp("proxy"), free_port(), free_port()
    with service(tmp_path_factory.mktemp("service")) as (port, log):
        command = request.param(folder, certificate, port, plain, secure)
        with subprocess.Popen(command, env=os.environ | {"HOME": str(folder)}, stderr=subprocess.DEVNULL) as process:
            until_it_listens(secure)
            yield plain, secure, log
            process.terminate()


class Visitor(httpx.Client):
    """A browser, as far as cookies, origin and certificate go; the name leads to this machine."""

    def __init__(self, port: int, certificate: Path) -> None:
        context = ssl.create_default_context(cafile=certificate / "certificate.pem")
        told = {"Host": "club.example", "Origin": "https://club.example", "Referer": "https://club.example/"}
        super().__init__(base_url=f"https://127.0.0.1:{port}", verify=context, timeout=60, headers=told)

    def ask(self, method: str, path: str, **more: Any) -> httpx.Response:
        more["headers"] = {"X-CSRFToken": self.cookies.get("csrftoken", "")} | more.get("headers", {})
        return self.request(method, path, extensions={"sni_hostname": "club.example"}, **more)


@pytest.fixture
def visitor(proxy: tuple[int, int, Path], certificate: Path) -> Iterator[Visitor]:
    with Visitor(proxy[1], certificate) as found:
        yield found


def sign_in(visitor: Visitor) -> httpx.Response:
    visitor.ask("GET", "/sign-in/")
    done = visitor.ask("POST", "/api/v1/accounts/login/", json={"username": "ada", "password": "a quiet creek"})
    assert done.status_code == 200, done.text
    return done


def test_plain_http_leads_to_https(proxy: tuple[int, int, Path]) -> None:
    answer = httpx.get(f"http://127.0.0.1:{proxy[0]}/clubs/", headers={"Host": "club.example"})
    assert answer.status_code in {301, 308}
    assert answer.headers["Location"].startswith("https://club.example")


def test_headers_and_cookies(visitor: Visitor) -> None:
    answer = visitor.ask("GET", "/sign-in/")
    assert answer.status_code == 200
    assert answer.headers["Strict-Transport-Security"] == "max-age=2592000"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
    cookies = sign_in(visitor).headers.get_list("Set-Cookie")
    assert {cookie.partition("=")[0] for cookie in cookies} == {"csrftoken", "sessionid"}
    assert all("Secure" in cookie and "SameSite=Lax" in cookie for cookie in cookies)
    assert ["HttpOnly" in cookie for cookie in cookies if cookie.startswith("sessionid")] == [True]


def test_signed_in_and_no_other_site_may_write(visitor: Visitor) -> None:
    sign_in(visitor)
    club = {"slug": f"club-{visitor.base_url.port}", "name": "Creek"}
    for wrong in ({"X-CSRFToken": "x" * 64}, {"Origin": "https://elsewhere.example"}):
        assert visitor.ask("POST", "/api/v1/clubs/", headers=wrong, json=club).status_code == 403
    assert visitor.ask("POST", "/api/v1/clubs/", json=club).status_code == 201


def test_a_photo_of_ten_megabytes_goes_up_and_comes_back(visitor: Visitor) -> None:
    file = io.BytesIO()
    Image.frombytes("RGB", (1800, 1850), os.urandom(1800 * 1850 * 3)).save(file, "PNG")
    assert 9_900_000 < len(file.getvalue()) < 11_000_000
    sign_in(visitor)
    done = visitor.ask(
        "POST", "/api/v1/clubs/creek/cameras/T1/photos/", files={"image": ("tin.png", file.getvalue(), "image/png")}
    )
    assert done.status_code == 201, done.text
    shown = visitor.ask("GET", f"/api/v1/clubs/creek/cameras/T1/photos/{done.json()['id']}/image/")
    assert (shown.status_code, shown.headers["Content-Type"]) == (200, "image/jpeg")


def test_an_archive_passes_and_what_is_larger_does_not(visitor: Visitor) -> None:
    sign_in(visitor)
    for size, status in ((49_000_000, 422), (60_000_000, 413)):
        told = {"files": {"file": ("club.json", b" " * size, "application/json")}, "data": {"slug": "brook"}}
        assert visitor.ask("POST", "/api/v1/clubs/import-archive/", **told).status_code == status


def test_the_proxy_s_request_id_is_the_log_s(visitor: Visitor, proxy: tuple[int, int, Path]) -> None:
    answer = visitor.ask("GET", "/api/v1/clubs/", headers={"X-Request-ID": "made-up-by-a-caller"})
    told = answer.headers["X-Request-ID"]
    assert (answer.status_code, answer.json()["request_id"]) == (401, told)
    assert told != "made-up-by-a-caller"
    lines = [json.loads(line) for line in proxy[2].read_text().splitlines() if line.startswith("{")]
    assert [line["message"] for line in lines if line.get("request_id") == told] == ["GET /api/v1/clubs/ 401"]


def test_another_host_s_name_is_refused(visitor: Visitor) -> None:
    """By the service or, for want of a site of that name, by Caddy with nothing."""
    answer = visitor.ask("GET", "/", headers={"Host": "elsewhere.example"})
    assert answer.status_code == 400 or not answer.content


def test_nobody_chooses_the_address_that_tries_are_counted_by(visitor: Visitor) -> None:
    """Another address in each request helps nobody; 81, since a window of 40 may end meanwhile."""
    visitor.ask("GET", "/sign-in/")
    for number in range(81):
        answer = visitor.ask(
            "POST", "/api/v1/accounts/login/", json={"username": f"nobody-{number}", "password": "x"},
            headers={"X-Forwarded-For": f"192.0.2.{number}"},
        )  # fmt: skip
        if answer.status_code == 429:
            return
    raise AssertionError("Nobody was told to slow down.")
