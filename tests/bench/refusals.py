"""How long the service takes to refuse what nobody should send, beside how long it takes to answer a plain question.

Run by hand: `python -m tests.bench.refusals`. Prints the median and the slowest of each, in one run; none may take
50 ms. The calls run in this process through Django's test client, so its own overhead is in every figure.
"""

import json
import logging
import os
import statistics
import time

import django
from django.conf import settings
from django.test import Client

from tests.bodies import FILM_PLANES, OPTICS

ROUNDS = 30
LIMIT_MS = 50.0


def f_number(focal_length: object) -> bytes:
    return json.dumps({"focal_length": focal_length, "diameter": "0.24 mm"}).encode()


def film_plane(**change: object) -> bytes:
    return json.dumps({"film_plane": FILM_PLANES["flat"] | change}).encode()


PAIRS = [["1,5 mm", 3]] * 500
REFUSED: dict[str, tuple[str, bytes]] = {
    "power tower as text": ("f-number", f_number("9**9**9 mm")),
    "power tower as JSON": ("f-number", b'{"focal_length": 9**9**9}'),
    "100 000 digits as text": ("f-number", f_number("9" * 100_000 + " mm")),
    "100 000 digits as a number": ("f-number", b'{"focal_length": ' + b"9" * 100_000 + b"}"),
    "900 000 digits as a number": ("f-number", b'{"focal_length": ' + b"9" * 900_000 + b"}"),
    "64 digits over 60 digits": ("f-number", f_number("1/" + "9" * 58 + " mm")),
    "decimal comma": ("f-number", f_number("1,5 mm")),
    "NaN literal": ("f-number", b'{"focal_length": NaN}'),
    "1e999": ("f-number", b'{"focal_length": 1e999}'),
    "a megabyte of opening brackets": ("f-number", b"[" * 999_999),
    "nested 30 000 deep": ("f-number", b'{"a":' * 30_000 + b"1" + b"}" * 30_000),
    "a megabyte of quotes": ("f-number", b'"' * 999_999),
    "a megabyte of backslashes": ("f-number", b'"' + b"\\\\" * 499_000 + b'"'),
    "a megabyte of escapes": ("f-number", b'"' + b"\\u0041" * 160_000 + b'\\u0000"'),
    "a megabyte of commas": ("f-number", b"[" + b"1," * 499_000 + b"1]"),
    "40 000 unknown keys": ("f-number", json.dumps({f"k{n}": n for n in range(39_000)}).encode()),
    "one key 40 000 times": ("f-number", b"{" + b",".join([b'"a":1'] * 39_000) + b"}"),
    "a megabyte and a byte": ("f-number", b'"' + b"x" * 1_000_001 + b'"'),
    "not UTF-8": ("f-number", b"\xff" * 999_999),
    "a text of a megabyte": ("f-number", f_number("x" * 990_000)),
    "a name of a megabyte": ("film-plane", film_plane(kind="x" * 990_000)),
    "a film that turns its back": ("film-plane", json.dumps({"film_plane": FILM_PLANES["profile"] | {
        "points": [["-5 mm", "9 mm"], ["40 mm", "60 mm"], ["5 mm", "90 mm"]]}}).encode()),
    "a strip too long": ("camera-plan", json.dumps({"film_plane": FILM_PLANES["drum"] | {"length": "4 m"}}).encode()),
    "a million pieces": ("sheet-cuts", json.dumps({
        "sheet": {"width": "10 m", "height": "10 m"}, "piece": {"width": "9 mm", "height": "9.1 mm"}}).encode()),
    "columns without end": ("illumination", json.dumps(OPTICS["illumination/"] | {"columns": 10**9}).encode()),
    "an empty body": ("camera-plan", b""),
}  # fmt: skip
#: Refused only after thousands of values were read one by one: each fault is named.
MANY: dict[str, tuple[str, bytes]] = {
    "100 readings, all wrong": ("hole-measurement", json.dumps({"readings": [{"diameter": "x"}] * 100}).encode()),
    "500 points, all wrong": ("film-plane", film_plane(kind="profile", points=PAIRS)),
    "20 tries of 20 readings": ("hole-measurement", json.dumps(
        {"target": "1 mm", "tries": [{"label": "a", "readings": [{"diameter": "x"}] * 20}] * 20}).encode()),
}  # fmt: skip


def milliseconds(client: Client, path: str, body: bytes) -> tuple[list[float], int]:
    took = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        response = client.generic("POST", f"/api/v1/optics/{path}/", body, content_type="application/json")
        took.append(1000 * (time.perf_counter() - start))
    return took, response.status_code


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pinpool.settings")
    django.setup()
    settings.ALLOWED_HOSTS = ["*"]
    logging.disable(logging.CRITICAL)
    client = Client(raise_request_exception=False)
    plain = statistics.median(milliseconds(client, "light", json.dumps(OPTICS["light/"]).encode())[0])
    print(f"yardstick: a light reading is answered in {plain:.2f} ms (median of {ROUNDS})\n")
    print(f"{'refused':32} status   median    worst   × yardstick")
    for name, (path, body) in (REFUSED | MANY).items():
        took, status = milliseconds(client, path, body)
        middle, worst = statistics.median(took), max(took)
        note = "" if worst < LIMIT_MS else "   many faults, each named" if name in MANY else "   TOO SLOW"
        print(f"{name:32} {status:6} {middle:8.2f} {worst:8.2f} {middle / plain:10.1f}{note}")


if __name__ == "__main__":
    main()
