"""Daylight estimates: the formulas by hand, their order, and what is said where none can be made."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optics.core.daylight import SKIES, daylight, illuminance_lx
from optics.core.faults import Impossible


@pytest.mark.parametrize(
    ("sky", "zenith_lx", "thirty_lx"),
    [
        # 127.5·exp(−c/sin h)·sin h + A + B·sinᶜh by hand: IES 1984, J. Illum. Eng. Soc. 13(4) 381 [memory].
        (
            "clear",
            1000 * (127.5 * np.exp(-0.21) + 16.3),
            1000 * (63.75 * np.exp(-0.42) + 0.8 + 15.5 * 0.5**0.5),
        ),
        ("hazy", 1000 * (127.5 * np.exp(-0.8) + 45.3), 1000 * (63.75 * np.exp(-1.6) + 22.8)),
        ("overcast", 21_300, 10_800),
    ],
)
def test_the_published_formulas(sky, zenith_lx, thirty_lx):
    assert illuminance_lx(altitude_deg=90.0, sky=sky) == pytest.approx(zenith_lx, rel=1e-8)
    assert illuminance_lx(altitude_deg=30.0, sky=sky) == pytest.approx(thirty_lx, rel=1e-8)


def test_a_clear_sky_is_within_a_stop_of_the_bright_sun_rule():
    # f/16 at 1/ISO: EV 14.6439 (SCIENCE §4) [common practice], said of a sun well up.
    for altitude in (30, 45, 60):
        assert daylight(altitude_deg=altitude, sky="clear").ev100 == pytest.approx(14.6439, abs=1)


def test_ev_follows_from_illuminance_at_c_250():
    estimate = daylight(altitude_deg=40, sky="hazy")
    assert 2.5 * 2**estimate.ev100 == pytest.approx(estimate.illuminance_lx)
    assert estimate.spread_stops == 1


@given(altitude=st.floats(0.01, 89), higher=st.floats(0.01, 1))
@settings(derandomize=True, max_examples=50)
def test_higher_sun_is_brighter_and_cloud_is_darker(altitude, higher):
    for sky in SKIES:
        assert illuminance_lx(altitude_deg=altitude + higher, sky=sky) > illuminance_lx(altitude_deg=altitude, sky=sky)
    if altitude > 5:
        clear, hazy, overcast = (illuminance_lx(altitude_deg=altitude, sky=sky) for sky in SKIES)
        assert clear > hazy > overcast


def test_no_estimate_with_the_sun_down():
    for altitude in (0.0, -0.5, -90.0):
        estimate = daylight(altitude_deg=altitude, sky="clear")
        assert estimate.ev100 is None
        assert estimate.illuminance_lx is None
        assert [flag.code for flag in estimate.flags] == ["sun_below_horizon"]
    assert np.isnan(illuminance_lx(altitude_deg=-1.0, sky="clear"))


def test_arrays_and_a_sun_just_on_the_horizon():
    lux = illuminance_lx(altitude_deg=np.array([-5.0, 1e-9, 10.0]), sky="clear")
    assert np.isnan(lux[0])
    assert lux[1] == pytest.approx(800, abs=1)
    assert lux[2] == illuminance_lx(altitude_deg=10.0, sky="clear")


def test_the_sentence_says_that_it_is_an_estimate_and_how_wide():
    estimate = daylight(altitude_deg=31.2, sky="clear")
    assert estimate.text.startswith("Estimate for a clear sky with the sun 31° up: about EV 14.5 at ISO 100")
    assert "half or double" in estimate.text
    assert estimate.flags == ()
    assert [flag.code for flag in daylight(altitude_deg=3, sky="clear").flags] == ["low_sun"]


def test_another_sky_is_refused_with_the_ones_there_are():
    with pytest.raises(Impossible, match="clear, hazy, overcast") as refusal:
        daylight(altitude_deg=10, sky="stormy")
    assert (refusal.value.code, refusal.value.field) == ("unknown_sky", "sky")
