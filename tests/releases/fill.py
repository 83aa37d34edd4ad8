"""Fills an empty database with an invented club by the API of the checkout it runs in, and keeps what that answers.

`python fill.py first FILE` asks only for what the very first version had, `python fill.py all FILE` for everything. Run
by `make.py`, in the folder of the checkout; it imports nothing of the tests, so that it runs beside any version.
"""

import base64
import json
import os
import sys
from hashlib import sha256
from pathlib import Path
from typing import Any
from urllib.parse import urljoin

PASSWORD = "salt marsh at low tide"  # noqa: S105  (invented)
PEOPLE = {"heron": "keeper", "plover": "leader", "wader": "member", "knot": "guest"}
JSON = "application/json"
CLUB = "/api/v1/clubs/saltmarsh/"
DRUM = {"kind": "drum", "diameter": "100 mm", "length": "150 mm", "height": "80 mm"}
FLAT = {"kind": "flat", "width": "4 in", "height": "5 in", "distance": "61 mm"}
HOLE = {"diameter": "0.30 mm", "uncertainty": "0.01 mm", "plate_thickness": "0.1 mm"}
#: The smallest of pictures: a grey PNG of 2 × 2.
PICTURE = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAIAAAACCAAAAABX3VL4AAAADklEQVR4nGNoaGBoaAAABgYCASzBUNcAAAAASUVORK5CYII="
)
RESULTS: list[dict[str, Any] | None] = [
    {"judged_stops": -0.5}, {"judged_stops": 0}, {"right_time": "6 min"},
    {"density": 1.2, "target": 1.0, "gradient": 0.9}, None,
]  # fmt: skip
SHEET = 'Code,Name,Shape,Diameter,Length,Height,Hole\r\nK9,Biscuit drum,drum,100 mm,150 mm,80 mm,"0,35"\r\n'


class Site:
    """The API, asked by tokens; every refusal is a fault."""

    def __init__(self) -> None:
        self.tokens: dict[str, str] = {}
        self.answers: dict[str, Any] = {}

    def answer(
        self, who: str, method: str, path: str, sent: tuple[str | bytes, str] = ("", JSON), *, tag: str = ""
    ) -> Any:
        from django.test import Client  # noqa: PLC0415  (Django is set up by then)

        headers = {"host": "localhost"} | ({"authorization": f"Bearer {self.tokens[who]}"} if who else {})
        headers |= {"if-match": tag} if tag else {}
        answer = Client().generic(method, path, sent[0], content_type=sent[1], headers=headers)
        if answer.status_code >= 300:
            raise SystemExit(f"{method} {path}: {answer.status_code} {answer.content[:600]!r}")
        return answer

    def ask(self, who: str, method: str, path: str, body: Any = None, *, tag: str = "", **form: Any) -> Any:
        sent = _multipart(form) if form else ("" if body is None else json.dumps(body), JSON)
        answer = self.answer(who, method, path, sent, tag=tag)
        return json.loads(answer.content) if answer.content else None

    def post(self, who: str, path: str, body: Any = None, **form: Any) -> Any:
        return self.ask(who, "POST", urljoin(CLUB, path), {} if body is None else body, **form)

    def change(self, who: str, method: str, path: str, body: Any = None, *, of: str | None = None, **form: Any) -> Any:
        """Change what stands at `path`, or at `of`, as it is now."""
        now = self.answer(who, "GET", urljoin(CLUB, path if of is None else of))
        return self.ask(who, method, urljoin(CLUB, path), body, tag=now["ETag"], **form)

    def keep(self, who: str, *paths: str) -> None:
        """Ask, and keep the answers; of a picture its digest."""
        for path in paths:
            answer = self.answer(who, "GET", urljoin(CLUB, path))
            content = b"".join(answer) if answer.streaming else answer.content
            told = "json" in answer["Content-Type"]
            self.answers[f"{who} {urljoin(CLUB, path)}"] = json.loads(content) if told else sha256(content).hexdigest()


def _multipart(form: dict[str, Any]) -> tuple[bytes, str]:
    from django.core.files.uploadedfile import SimpleUploadedFile  # noqa: PLC0415
    from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart  # noqa: PLC0415

    ready = {name: SimpleUploadedFile(*value) if isinstance(value, tuple) else value for name, value in form.items()}
    return encode_multipart(BOUNDARY, ready), MULTIPART_CONTENT


def accounts(site: Site) -> None:
    """Accounts as a server's keeper makes them, and a token for each that does not end."""
    from django.contrib.auth import get_user_model  # noqa: PLC0415

    from pinpool.models import ApiToken  # noqa: PLC0415

    for name in PEOPLE:
        facts = {"is_staff": True, "is_superuser": True} if name == "heron" else {}
        user = get_user_model().objects.create_user(name, f"{name}@saltmarsh.example", PASSWORD, **facts)
        _, site.tokens[name] = ApiToken.issue(user=user, name="walk")


def first(site: Site, how: str) -> dict[str, Any]:
    """A club, its people, cameras, papers and log, as the first version had them. Gives papers by name, and a log."""
    site.ask("heron", "POST", "/api/v1/clubs/", {"slug": "saltmarsh", "name": "Saltmarsh Walkers (invented)"})
    for name, role in list(PEOPLE.items())[1:]:
        site.post("heron", "members/", {"username": name, "role": role})
    spec = {"film_plane": DRUM, "hole": HOLE, "focal_length": "98 mm"}
    flat = {"film_plane": FLAT | {"hole_offset": {"x": "-5 mm", "y": "3 mm"}}, "hole": {"diameter": "0.24 mm"}}
    site.post("wader", "cameras/", {"code": "T1", "name": "Tea caddy", "spec": spec})
    site.post("heron", "cameras/", {"code": "S4", "name": "Slide box", "club_owned": True, "spec": flat})
    site.post("wader", "cameras/T1/specs/", spec | {"reason": "measured again", "hole": {"diameter": "0.31 mm"}})
    papers = {}
    for name, family, index in (("Glasswort", "graded paper", 6), ("Sea-lavender  No.2", "Variable", 12)):
        body = {"name": name, "family": family, "nominal_exposure_index": index, "note": "invented"}
        papers[name] = site.post("plover", "papers/", body)["id"]
    entry = {
        "camera": "T1", "paper": papers["Glasswort"], "reading": {"ev": 12, "iso": 200}, "filter_stops": 1,
        "exposure_time": "3 min 20 s", "note": "cloud at the end",
    }  # fmt: skip
    logs = []
    for day, result in enumerate(RESULTS, start=1):
        facts: dict[str, Any] = {"taken_at": f"2026-05-{day:02}T12:00:00Z", "result": result, "shared": day % 2 == 0}
        facts |= {"process": "tray, 2 min"} if how == "first" else {}  # a text then
        logs.append(site.post("wader", "exposures/", entry | facts))
    other = {"camera": "S4", "paper": papers["Sea-lavender  No.2"], "taken_at": "2026-06-01T09:30:00+02:00"}
    site.post("heron", "exposures/", entry | other | {"reading": {"illuminance": "32000 lx"}, "exposure_time": "90 s"})
    return {"papers": papers, "entry": entry, "log": logs[0]["id"]}


def keep_first(site: Site, made: dict[str, Any]) -> None:
    site.keep("heron", "/api/v1/clubs/", "", "members/", "cameras/", "cameras/T1/", "cameras/T1/specs/", "papers/")
    site.keep("wader", "exposures/", f"exposures/{made['log']}/", f"papers/{made['papers']['Glasswort']}/")


def since(site: Site, made: dict[str, Any]) -> None:
    """Something in every other table."""
    entry, glasswort = made["entry"], made["papers"]["Glasswort"]
    mended = entry | {"taken_at": "2026-05-01T12:00:00Z", "exposure_time": "4 min", "reason": "It was 4 min."}
    site.post("wader", f"exposures/{made['log']}/corrections/", mended)
    process = {"developer": "Bladderwrack", "dilution": "1+9", "temperature": "20 °C", "time": "2 min"}
    place = {"latitude": "52.1 deg", "longitude": "5.2°"}
    hidden = {"taken_at": "2026-05-09T12:00:00Z", "visibility": "private", "process": process, "place": place}
    site.post("wader", "exposures/", entry | hidden)
    season = [
        entry | {"taken_at": f"2026-07-{day:02}T12:00:00Z", "exposure_time": f"{20 * day} s", "visibility": "shared",
                 "result": {"judged_stops": 6 if day == 9 else round(0.8 * (day % 3 - 1) / 4, 2)}}
        for day in range(1, 15)
    ]  # fmt: skip
    site.post("wader", "exposures/bulk/", season)
    site.change("wader", "PUT", "cameras/T1/loan/", {"to": "plover", "until": "2099-12-31"}, of="cameras/T1/")
    site.post("wader", "cameras/T1/photos/", image=("t.png", PICTURE), caption="from above")
    log = f"exposures/{made['log']}/"
    site.change("wader", "PUT", f"{log}picture/", of=log, image=("n.png", PICTURE))
    stock = {"batch": "B 7", "sheets_left": 12, "size": "8x10 in"}
    site.change("plover", "PATCH", f"papers/{glasswort}/", stock)
    site.post("heron", "invitations/", {"role": "member", "note": "for the workshop", "uses": 12, "days": 14})
    merged = {"name": "Glass wort", "family": "graded paper", "nominal_exposure_index": 6}
    site.post("plover", "papers/", merged)
    keys = {"key": "glass wort|graded paper", "into_key": "glasswort|graded paper"}
    site.post("heron", "paper-merges/", keys)
    site.change("heron", "PUT", "pool/", {"joined": True})
    embed = {"origins": ["https://walkers.example"], "registry": True, "cameras": ["T1"], "papers": [glasswort]}
    site.change("heron", "PATCH", "embed/", embed)
    imports(site)
    packets(site, entry)
    workshop(site, glasswort)
    site.post("", "/api/v1/accounts/login/", {"username": "knot", "password": PASSWORD})
    site.ask("wader", "GET", f"{CLUB}reciprocity/")  # makes the fit, and finds the doubtful log


def imports(site: Site) -> None:
    sent = site.post("wader", "imports/", kind="cameras", encoding="utf-8", delimiter="comma",
                     file=("cameras.csv", SHEET.encode()))  # fmt: skip
    column = {"column": "Hole", "field": "spec.hole.diameter", "format": {"decimal": ",", "unit": "mm"}}
    batch = f"imports/{sent['id']}/"
    site.change("wader", "PATCH", batch, {"columns": [column]})
    site.change("wader", "POST", f"{batch}apply/", {"rows": "good"}, of=batch)


def packets(site: Site, entry: dict[str, Any]) -> None:
    """A packet as another server's club hands it out."""
    from exposures.reciprocity.cells import Cells  # noqa: PLC0415
    from exposures.reciprocity.packets import make_packet  # noqa: PLC0415

    row = ("cordgrass|graded paper", "camera", "member", "judged", 4, 4, 24, 146, 36, 218, 326, 5, 7)
    source, papers = "8f0c8a52-4b7e-4c8e-9d0e-6a1f0d1c2b3a", {"cordgrass|graded paper": 6.0}
    packet = make_packet(Cells.from_rows([row]), source=source, revision=1, secret=b"invented for this", papers=papers)
    site.post("heron", "packets/", packet)


def workshop(site: Site, paper: str) -> None:
    """A design, a day of it with a place that somebody without an account used, a printed sheet, and its end."""
    design = {"name": "Drum, the small one", "film_plane": DRUM, "wall_thickness": "2 mm",
              "hole": {"diameter": "0.35 mm", "plate_thickness": "0.05 mm"}}  # fmt: skip
    number = site.post("plover", "designs/", design)["id"]
    for name in ("Saltmarsh day", "Creek day"):
        day = {"name": name, "held_on": "2026-06-20", "design": number, "paper": paper, "places": 2}
        held = site.post("plover", "workshops/", day)["number"]
        [code, *_] = [
            place["code"] for place in site.ask("plover", "GET", f"{CLUB}workshops/{held}/places/")["results"]
        ]
        at = f"/api/v1/places/{code}/"
        site.change("", "PATCH", at, {"name": "Finn"})
        site.change("", "PUT", f"{at}hole/", {"readings": [{"diameter": "0.36 mm", "uncertainty": "0.02 mm"}]}, of=at)
        noted = {"taken_at": "2026-06-20T12:00:00+02:00", "reading": {"ev": 12}, "exposure_time": "3 min 20 s"}
        site.post("", f"{at}exposures/", noted | {"result": {"judged_stops": -0.5}})
    site.post("plover", f"designs/{number}/sheets/", {"kind": "camera_spec", "page": "a4"})
    site.change("plover", "POST", f"workshops/{held}/closing/", {}, of=f"workshops/{held}/")


def keep_since(site: Site, made: dict[str, Any]) -> None:
    lists = (
        "cameras/T1/photos/", f"exposures/{made['log']}/picture/image/", "designs/", "sheets/", "workshops/",
        "imports/", "paper-merges/", "packets/", "pool/", "embed/", "invitations/", "trail/", "catalogue/",
    )  # fmt: skip
    site.keep("heron", *lists)
    site.keep("wader", "exposures/?page_size=200", "/api/v1/accounts/me/")
    site.keep("plover", "workshops/1/places/", "workshops/2/places/")


def main(how: str, to: str) -> None:
    sys.path.insert(0, str(Path.cwd()))
    os.environ["DJANGO_SETTINGS_MODULE"] = "pinpool.settings"
    import django  # noqa: PLC0415

    django.setup()
    site = Site()
    accounts(site)
    made = first(site, how)
    if how == "all":
        since(site, made)
    keep_first(site, made)
    if how == "all":
        keep_since(site, made)
    told = {"password": PASSWORD, "tokens": site.tokens, "entry": made["entry"], "answers": site.answers}
    Path(to).write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
