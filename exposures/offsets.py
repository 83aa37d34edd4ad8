"""What the logs say of a club's cameras and members: how far each lies off, and what to make of it."""

from collections.abc import Iterable
from dataclasses import dataclass

from clubs.models import Camera, CameraSpec, Club, Membership
from exposures.pooled import pooled
from exposures.reciprocity.doubts import say_count
from exposures.reciprocity.result import Offset
from exposures.scopes import camera_key, member_key
from optics.core.say import say_f_number


@dataclass(frozen=True)
class Known:
    """An offset, where it lies with 90 % (stops), and a sentence on it."""

    offset: Offset
    low_stops: float
    high_stops: float
    text: str


@dataclass(frozen=True)
class CameraKnown(Known):
    """A camera with its spec in force; diameters in mm are those that would explain the offset by the hole alone."""

    camera: Camera
    spec: CameraSpec
    diameter_mm: float
    low_diameter_mm: float
    high_diameter_mm: float


@dataclass(frozen=True)
class MemberKnown(Known):
    membership: Membership


def cameras_known(cameras: Iterable[Camera], club: Club) -> list[CameraKnown]:
    """What the logs made with each camera's spec in force say of it, in the order given."""
    found = []
    fit = pooled(club).fit
    for camera in cameras:
        spec = camera.spec
        assert spec is not None  # noqa: S101  (a camera is registered with one)
        offset = fit.offset("camera", camera_key(spec.pk))
        reach = fit.quantile(0.9) * offset.error_stops
        low, high = offset.stops - reach, offset.stops + reach
        holes = tuple(spec.hole_diameter_mm * 2 ** (stops / 2) for stops in (offset.stops, low, high))
        found.append(CameraKnown(offset, low, high, _of_camera(offset, spec, *holes), camera, spec, *holes))
    return found


def members_known(memberships: Iterable[Membership], club: Club) -> list[MemberKnown]:
    """What each member's logs say of their meter and eye, in the order given."""
    found = []
    fit = pooled(club).fit
    for membership in memberships:
        offset = fit.offset("member", member_key(membership.user_id))
        reach = fit.quantile(0.9) * offset.error_stops
        low, high = offset.stops - reach, offset.stops + reach
        found.append(MemberKnown(offset, low, high, _of_member(offset, low, high), membership))
    return found


def _apart(low: float, high: float) -> bool:
    return low > 0 or high < 0


def _of_camera(offset: Offset, spec: CameraSpec, hole_mm: float, low_mm: float, high_mm: float) -> str:
    logs = offset.evidence.logs
    by = f"By {say_count(logs, 'log')}"
    if not logs:
        return "Nobody has logged anything with this hole yet; it is taken to be as measured."
    if not _apart(low_mm - spec.hole_diameter_mm, high_mm - spec.hole_diameter_mm):
        return (
            f"{by} the light agrees with {say_f_number(spec.f_number)}: the hole lies between {low_mm:.3f} and "
            f"{high_mm:.3f} mm by them, and was measured as {spec.hole_diameter_mm:.3f} mm."
        )
    less, smaller = ("less", "smaller") if offset.stops < 0 else ("more", "larger")
    return (
        f"{by} it gives {abs(offset.stops):.2f} stop {less} light than {say_f_number(spec.f_number)} "
        f"promises, as if the hole were {hole_mm:.3f} mm ({low_mm:.3f} to {high_mm:.3f}) and not "
        f"{spec.hole_diameter_mm:.3f} mm: {smaller} than measured. Measure it again."
    )


def _of_member(offset: Offset, low: float, high: float) -> str:
    logs = offset.evidence.logs
    by = f"By {say_count(logs, 'log')}"
    if not logs:
        return "No judged log yet."
    if not _apart(low, high):
        return f"{by}, meter and eye agree with the others' to within {max(-low, high):.2f} stop."
    if offset.stops > 0:
        return (
            f"{by}, results come out {offset.stops:.2f} stop over where others' are right: the meter "
            "asks for more time than theirs, or the eye calls a picture over sooner."
        )
    return (
        f"{by}, results come out {-offset.stops:.2f} stop under where others' are right: the meter asks "
        "for less time than theirs, or the eye calls a picture under sooner."
    )
