"""What the log contributes to the club's pages: a camera's latest entries, its offset and next test; what is new."""

from clubs.models import Camera, Membership
from clubs.roles import allows
from clubs.web.panels import Panel
from exposures.offsets import cameras_known
from exposures.selectors import exposures_for, papers_in
from exposures.teaching import plan_tests
from exposures.workshops.selectors import workshops_in

#: The newest logs shown, and the most workshops that are open.
SHOWN_LOGS, SHOWN_WORKSHOPS = 6, 5


def latest_logs(*, camera: Camera, membership: Membership) -> Panel | None:
    """The camera's newest log entries that the reader may see."""
    if not allows(membership.role, "read_exposures"):
        return None
    rows = exposures_for(reader=membership).filter(spec__in=camera.specs.all(), corrected_at=None)
    logs = rows.select_related("paper").order_by("-number")[:SHOWN_LOGS]
    return Panel("Latest in its log", "exposures/camera_logs.html", {"logs": logs})


def offset(*, camera: Camera, membership: Membership) -> Panel | None:
    """What the logs made with the spec in force say of its hole, and the form for a card with its times."""
    if camera.spec is None or not allows(membership.role, "compare"):
        return None
    [known] = cameras_known([camera], membership.club)
    papers = papers_in(club=membership.club).filter(retired_at=None).order_by("name")
    context = {"known": known, "papers": papers if allows(membership.role, "issue_sheet") else []}
    return Panel("What its log says of the hole", "exposures/camera_offset.html", context)


def next_test(*, camera: Camera, membership: Membership) -> Panel | None:
    """The exposure with this camera that would teach the club most."""
    in_use = camera.spec is not None and camera.retired_at is None
    if not in_use or not allows(membership.role, "ask_next_tests"):
        return None
    plan = plan_tests(actor=membership, count=1, camera=camera)
    return Panel("The next test with it", "exposures/camera_next_test.html", {"plan": plan}) if plan.tests else None


def new_logs(*, membership: Membership) -> Panel | None:
    """The club's newest log entries that the reader may see."""
    if not allows(membership.role, "read_exposures"):
        return None
    rows = exposures_for(reader=membership).filter(corrected_at=None).select_related("paper")
    return Panel("Latest in the log", "exposures/camera_logs.html", {"logs": rows.order_by("-number")[:SHOWN_LOGS]})


def open_workshops(*, membership: Membership) -> Panel | None:
    """Workshops that are not closed yet."""
    if not allows(membership.role, "read_workshops"):
        return None
    rows = workshops_in(club=membership.club).filter(closed_at=None).order_by("held_on", "pk")[:SHOWN_WORKSHOPS]
    return Panel("Open workshops", "exposures/open_workshops.html", {"workshops": rows}) if rows else None
