"""Light: exposure values, what a meter shows, and the times that follow.

EV = log₂(N²/t). ISO 2720:1974 [read in secondary sources]: reflected N²/t = L·S/K, incident N²/t = E·S/C, with
K = 12.5 and C = 250 for a flat receptor, 320 to 340 for a dome.
"""

from dataclasses import dataclass

import numpy as np

K_REFLECTED = 12.5
C_FLAT = 250.0


def ev100_from_ev(*, ev: float, iso: float = 100.0) -> float:
    """EV at ISO 100 of a meter set to `iso` that shows `ev`."""
    return float(ev - np.log2(iso / 100))


def ev100_from_time(*, time_s: float, f_number: float, iso: float = 100.0) -> float:
    """EV at ISO 100 of a meter set to `iso` that gives `time_s` at `f_number`, both taken as written."""
    return float(np.log2(f_number**2 / time_s * 100 / iso))


def ev100_from_illuminance(*, illuminance_lx: float, calibration_constant: float = C_FLAT) -> float:
    """EV at ISO 100 of an incident reading in lux; `calibration_constant` is the meter's C, lx·s·ISO."""
    return float(np.log2(illuminance_lx * 100 / calibration_constant))


def ev100_from_luminance(*, luminance_cd_m2: float, calibration_constant: float = K_REFLECTED) -> float:
    """EV at ISO 100 of a reflected reading in cd/m²; `calibration_constant` is the meter's K."""
    return float(np.log2(luminance_cd_m2 * 100 / calibration_constant))


@dataclass(frozen=True)
class Light:
    """One light on every scale: EV at ISO 100, lux on a flat receptor (C = 250), cd/m² (K = 12.5)."""

    ev100: float

    @property
    def illuminance_lx(self) -> float:
        return float(2**self.ev100 * C_FLAT / 100)

    @property
    def luminance_cd_m2(self) -> float:
        return float(2**self.ev100 * K_REFLECTED / 100)

    def time_s(self, *, f_number: float, exposure_index: float = 100.0) -> float:
        """t = N²/(2^EV · EI/100), before filters and reciprocity."""
        return float(f_number**2 / (2**self.ev100 * exposure_index / 100))
