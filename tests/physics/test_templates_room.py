"""Parts that must fit on the camera: the tripod's block under it, the plate and the opening on its wall."""

import numpy as np
import pytest

from optics.core.camera_plan import Hole
from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.profiles import bowed, drum
from optics.core.templates.opening import wall_opening_template
from optics.core.templates.plate import plate_template
from optics.core.templates.template import Template
from optics.core.templates.tripod import tripod_template


def caddy(hole_offset_x_mm: float) -> FilmPlane:
    sizes = {"width_mm": 171.0, "depth_mm": 80.0, "length_mm": 203.0, "hole_offset_x_mm": hole_offset_x_mm}
    return FilmPlane(bowed(**sizes), 90.0, 0.0, "bowed", sizes)


def tin(diameter_mm: float) -> FilmPlane:
    profile = drum(diameter_mm=diameter_mm, length_mm=diameter_mm)
    return FilmPlane(profile, diameter_mm, 0.0, "drum", {"diameter_mm": diameter_mm})


def block_mm(template: Template) -> tuple[float, float]:
    lengths = {length.name: length.mm for length in template.lengths}
    return lengths["block width"], lengths["block length"]


@pytest.mark.parametrize("offset", [-70.5, 70.5])
def test_a_block_under_a_hole_near_the_side_does_not_stick_out(offset: float) -> None:
    """171 mm wide, the hole 70.5 mm off its middle: 15 mm are left to the nearer side."""
    assert block_mm(tripod_template(caddy(offset))) == pytest.approx((30, 30))


def test_a_block_under_a_tin_stays_within_its_circle() -> None:
    """A square in a circle 50 mm across has sides of 50/√2 mm."""
    assert block_mm(tripod_template(tin(50))) == pytest.approx((50 / np.sqrt(2), 50 / np.sqrt(2)))
    assert block_mm(tripod_template(tin(100))) == (40, 40)


@pytest.mark.parametrize("plane", [caddy(75.0), tin(35.0)], ids=["hole near the side", "narrow tin"])
def test_no_block_where_it_would_not_hold_the_nut(plane: FilmPlane) -> None:
    with pytest.raises(Impossible) as refused:
        tripod_template(plane)
    assert refused.value.code == "no_room_for_block"


def test_a_plate_larger_than_the_front_is_refused() -> None:
    """The strip's ends lie at the hole's wall: 95 % of it seen through a wall of 4 mm takes a plate too wide."""
    with pytest.raises(Impossible) as refused:
        plate_template(caddy(0.0), hole=Hole(0.4), wall_thickness_mm=4.0, overlap_mm=8.0, used_share=0.95)
    assert refused.value.code == "plate_too_large"
    assert "171.0 x 90.0 mm" in str(refused.value)


@pytest.mark.parametrize(("wall_mm", "told"), [(0.5, False), (3.0, True)])
def test_an_opening_of_more_than_half_the_front_is_drawn_and_told_of(wall_mm: float, told: bool) -> None:
    template = wall_opening_template(caddy(0.0), hole=Hole(0.4), wall_thickness_mm=wall_mm, used_share=0.95)
    assert (max(length.mm for length in template.lengths) > 171 / 2) == told
    assert any("more than half of the camera's front" in note for note in template.notes) == told
