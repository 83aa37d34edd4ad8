"""What a member may do with one thing of the club, by whose it is: for showing forms to those who can use them."""

from typing import Literal

from clubs.models import Camera, CameraPhoto, Design, Membership
from clubs.roles import allows

CAMERA_ACTIONS = ("add_spec", "change_camera", "lend_camera", "bring_back_camera", "add_photo")


def may_with_camera(membership: Membership, camera: Camera) -> set[str]:
    """The names of the actions with this camera that the member's role allows."""
    whose = _whose_camera(membership, camera)
    return {action for action in CAMERA_ACTIONS if allows(membership.role, action, whose=whose)}


def may_change_photo(membership: Membership, camera: Camera, photo: CameraPhoto) -> bool:
    """Whether the member may word a photo's caption and remove it: its author, or who may change the camera."""
    whose = "own" if photo.added_by_id == membership.user_id else _whose_camera(membership, camera)
    return allows(membership.role, "remove_photo", whose=whose)


def may_change_design(membership: Membership, design: Design) -> bool:
    """Whether the member may rename or retire a design."""
    whose: Literal["own", "others"] = "own" if design.author_id == membership.user_id else "others"
    return allows(membership.role, "change_design", whose=whose)


def _whose_camera(membership: Membership, camera: Camera) -> Literal["own", "clubs", "others"]:
    if camera.owner_id is None:
        return "clubs"
    return "own" if camera.owner_id == membership.user_id else "others"
