"""The invented Saltmarsh club, and how it is loaded: by the same serializers and services that a client's calls meet.

Every name, measurement and exposure is made up. Loading is one transaction: either all of it is there or nothing is,
and a club that is there is left alone.
"""

import secrets
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.models import Permission
from django.db import transaction
from django.utils import timezone
from rest_framework.serializers import Serializer

from clubs.members import add_member
from clubs.models import Club, Membership
from clubs.selectors import camera_in, cameras_in
from clubs.serializers import CameraIn, ClubIn, MemberIn, SpecIn
from clubs.services import add_spec, create_club, register_camera
from exposures.demo.generator import PAPERS, Season, draw_season
from exposures.models import Paper
from exposures.serializers import LogIn, PaperIn
from exposures.services import add_paper, log_exposure
from pinpool.http.problems import Conflict
from pinpool.models import ApiToken

CLUB = {"slug": "saltmarsh", "name": "Saltmarsh Pinhole Walkers (invented)"}

#: Plain names with the club's after them, so that no account of a real person is ever taken for one of these.
KEEPER = "ada-saltmarsh"
MEMBERS = {
    "ben-saltmarsh": "leader",
    "cleo-saltmarsh": "member",
    "dev-saltmarsh": "member",
    "edith-saltmarsh": "member",
    "finn-saltmarsh": "guest",
}

#: Those who photograph.
WALKERS = [KEEPER, *(username for username, role in MEMBERS.items() if role != "guest")]

TOKEN_NAME = "demo"  # noqa: S105  (a name, not a secret)
TOKEN_DAYS = 30

INVENTED = "Invented for the demonstration."


def _counted(*counts: tuple[str, float], span: str, plate: str) -> dict[str, Any]:
    readings = [{"holes_across": n, "span": span, "direction": way} for way, n in counts]
    return {"readings": readings, "plate_thickness": plate}


#: Owner's username (None: the club's own) and what a client would post for each camera.
CAMERAS: tuple[tuple[str | None, dict[str, Any]], ...] = (
    (
        None,
        {
            "code": "SLIDE",
            "name": "Slide box, sheet on the back wall",
            "spec": {
                "film_plane": {"kind": "flat", "width": "127 mm", "height": "101.6 mm", "distance": "88 mm"},
                "hole": _counted(("across", 13.25), ("down", 13.0), span="5 mm", plate="0.05 mm"),
            },
        },
    ),
    (
        None,
        {
            "code": "CADDY",
            "name": "Round tea caddy",
            "spec": {
                "film_plane": {"kind": "drum", "diameter": "96 mm", "length": "150 mm", "height": "101.6 mm"},
                "hole": _counted(("across", 12.5), ("down", 13.0), span="5 mm", plate="0.05 mm"),
            },
        },
    ),
    (
        None,
        {
            "code": "DRUM",
            "name": "Biscuit drum, takes a whole 8x10 in sheet",
            "spec": {
                "film_plane": {"kind": "drum", "diameter": "7 1/2 in", "length": "10 in", "height": "8 in"},
                "hole": {
                    "readings": [
                        {"pixels": 109, "resolution": "4800 dpi", "direction": "across"},
                        {"pixels": 106, "resolution": "4800 dpi", "direction": "down"},
                    ],
                    "plate_thickness": "0.1 mm",
                },
            },
        },
    ),
    (
        "cleo-saltmarsh",
        {
            "code": "PENCIL",
            "name": "Pencil tin, strip sprung in",
            "spec": {
                "film_plane": {
                    "kind": "bowed",
                    "width": "150 mm",
                    "depth": "62 mm",
                    "length": "178 mm",
                    "height": "63 mm",
                },
                "hole": {"readings": [{"pixels": 58, "resolution": "4800 dpi"}], "plate_thickness": "0.1 mm"},
            },
        },
    ),
    (
        "dev-saltmarsh",
        {
            "code": "TOFFEE",
            "name": "Flat toffee tin, strip pressed on the back wall",
            "spec": {
                "film_plane": {
                    "kind": "bowed",
                    "width": "190 mm",
                    "depth": "36 mm",
                    "length": "215 mm",
                    "height": "70 mm",
                },
                "hole": _counted(("across", 10.75), ("down", 11.25), span="3 mm", plate="0.05 mm"),
            },
        },
    ),
    (
        "edith-saltmarsh",
        {
            "code": "ARC",
            "name": "Card arc round the hole",
            "spec": {
                "film_plane": {"kind": "half_drum", "radius": "75 mm", "length": "200 mm", "height": "90 mm"},
                "hole": {"diameter": "0.35 mm", "uncertainty": "0.01 mm", "plate_thickness": "0.05 mm"},
            },
        },
    ),
    (
        "ben-saltmarsh",
        {
            "code": "OILCAN",
            "name": "Dented oil can, section measured at seven points",
            "spec": {
                "film_plane": {
                    "kind": "profile",
                    "points": [
                        ["-72 mm", "34 mm"],
                        ["-55 mm", "61 mm"],
                        ["-28 mm", "78 mm"],
                        ["0 mm", "81 mm"],
                        ["26 mm", "79 mm"],
                        ["54 mm", "64 mm"],
                        ["73 mm", "36 mm"],
                    ],
                    "height": "110 mm",
                },
                "hole": _counted(("across", 8.0), ("down", 7.75), span="3 mm", plate="0.1 mm"),
            },
        },
    ),
    (
        None,
        {
            "code": "RISE",
            "name": "Shoebox with the hole above the middle, for towers",
            "spec": {
                "film_plane": {
                    "kind": "flat",
                    "width": "178 mm",
                    "height": "127 mm",
                    "distance": "115 mm",
                    "hole_offset": {"x": "0 mm", "y": "24 mm"},
                },
                "hole": {"diameter": "0.45 mm", "plate_thickness": "0.1 mm"},
            },
        },
    ),
)

CODES = [body["code"] for _, body in CAMERAS]

#: A better measurement is a new spec; the old one stays in the camera's history.
REMEASURED = (
    "RISE",
    {
        "film_plane": CAMERAS[-1][1]["spec"]["film_plane"],
        "hole": _counted(("across", 10.5), ("down", 10.75), span="5 mm", plate="0.1 mm"),
        "reason": "The hole had only been guessed from the needle; now it is counted against a ruler.",
    },
)


@dataclass(frozen=True)
class Login:
    """How to sign in; shown once, for neither secret is kept."""

    username: str
    password: str
    token: str


@transaction.atomic
def load_club() -> tuple[Membership, Login | None]:
    """The keeper's membership of the club, and the new secrets if this call is the one that loaded it.

    Raises `Conflict` where another club goes by its short name, or accounts go by its members' names.
    """
    found = demo_keeper()
    if found is not None:
        return found, None
    accounts = get_user_model()._default_manager
    usernames = (KEEPER, *MEMBERS)
    if accounts.filter(username__in=usernames).exists():
        raise Conflict(f"There are accounts here already by the names it would use: {', '.join(usernames)}.")
    keeper, *_ = (accounts.create_user(username, password=None) for username in usernames)
    club = create_club(actor=keeper, **_read(ClubIn, CLUB))
    members = {KEEPER: Membership.objects.get(club=club, user=keeper)}
    for username, role in MEMBERS.items():
        members[username] = add_member(actor=members[KEEPER], **_read(MemberIn, {"username": username, "role": role}))
    _register_cameras(members)
    _log_season(members)
    return members[KEEPER], Login(KEEPER, _let_in(keeper), fresh_token(keeper))


def demo_keeper() -> Membership | None:
    """The keeper's membership if the demonstration's club is loaded."""
    wanted = {"club__slug": CLUB["slug"], "user__username": KEEPER, "role": "keeper"}
    return Membership.objects.select_related("club", "user").filter(**wanted).first()


def fresh_token(user: Any) -> str:
    """The secret of a new API token for the demonstration; those issued before it stop working."""
    with transaction.atomic():
        ApiToken.objects.filter(user=user, name=TOKEN_NAME).delete()
        expires = timezone.now() + timedelta(days=TOKEN_DAYS)
        return ApiToken.issue(user=user, name=TOKEN_NAME, expires_at=expires)[1]


def _let_in(keeper: Any) -> str:
    """Give the keeper a random password, and leave to see, not to change, what is on the keeper's desk."""
    password = secrets.token_urlsafe(12)
    keeper.set_password(password)
    keeper.is_staff = True
    keeper.save()
    apps = ("pinpool_clubs", "pinpool_exposures")
    keeper.user_permissions.add(
        *Permission.objects.filter(content_type__app_label__in=apps, codename__startswith="view_")
    )
    return password


def _register_cameras(members: dict[str, Membership]) -> None:
    for owner, body in CAMERAS:
        member = members[owner or KEEPER]
        register_camera(actor=member, **_read(CameraIn, body | {"club_owned": owner is None}))
    code, spec = REMEASURED
    camera = camera_in(club=members[KEEPER].club, code=code)
    add_spec(actor=members[KEEPER], camera=camera, spec=_read(SpecIn, spec))


def _log_season(members: dict[str, Membership]) -> None:
    keeper = members[KEEPER]
    papers: dict[str, Paper] = {}
    for true in PAPERS:
        body = {"name": true.name, "family": true.family, "nominal_exposure_index": true.nominal_exposure_index}
        papers[true.name] = add_paper(actor=keeper, **_read(PaperIn, body | {"note": INVENTED}))
    cameras = {camera.code: camera for camera in cameras_in(club=keeper.club)}
    for drawn in season_of(keeper.club).exposures:
        paper = papers[drawn.paper.name]
        facts = _read(LogIn, drawn.body | {"paper": str(paper.pk)})
        camera = cameras[facts["camera"]]
        log_exposure(actor=members[drawn.member], **facts | {"camera": camera, "paper": paper})


def season_of(club: Club) -> Season:
    """The season as it is drawn for the club's cameras as they are specified now."""
    specs = {camera.code: camera.spec for camera in cameras_in(club=club)}
    return draw_season(f_numbers={code: spec.f_number for code in CODES if (spec := specs[code])}, members=WALKERS)


def _read(serializer: type[Serializer], body: dict[str, Any]) -> Any:
    bound = serializer(data=body)
    bound.is_valid(raise_exception=True)
    return bound.validated_data
