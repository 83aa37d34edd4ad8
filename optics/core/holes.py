"""What hole to make, which drill is nearest, and what f-number comes of it."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .faults import Flag

LN2 = float(np.log(2))


@dataclass(frozen=True)
class HoleRule:
    """A rule for the best hole: `diameter_mm(focal_length_mm=…, wavelength_nm=…, subject_distance_mm=…)` in mm."""

    name: str
    source: str
    diameter_mm: Callable[..., float]


def image_distance_mm(*, focal_length_mm: float, subject_distance_mm: float = np.inf) -> float:
    """F with 1/F = 1/f + 1/g: the distance a hole rule works with; `focal_length_mm` for a far subject."""
    return 1 / (1 / focal_length_mm + 1 / subject_distance_mm)


def root_rule(name: str, factor: float, source: str) -> HoleRule:
    """The rule d = c·√(λF) with `factor` c; the f-number and the picture's scale keep f, only the rule takes F.

    [SCIENCE §1]
    """

    def diameter_mm(*, focal_length_mm: float, wavelength_nm: float, subject_distance_mm: float = np.inf) -> float:
        reach = image_distance_mm(focal_length_mm=focal_length_mm, subject_distance_mm=subject_distance_mm)
        return float(factor * np.sqrt(wavelength_nm * 1e-6 * reach))

    return HoleRule(name, source, diameter_mm)


#: Every rule is a matter of what is asked of the picture: coarse contrast wants c ≈ 1.4, the finest visible detail
#: 1.8 to 2. [SCIENCE §1, with each mark]
HOLE_RULES = (
    root_rule(
        "petzval_1857",
        float(np.sqrt(2)),
        "J. Petzval, Sitzungsber. Akad. Wiss. Wien XXVI, 33 (1857); K. D. Mielenz, J. Res. NIST 104(5), 479–485 "
        "(1999), doi 10.6028/jres.104.029 [read: abstract]",
    ),
    root_rule("airy_match", float(np.sqrt(2.44)), "geometric blur = Airy disc, d² = 2.44 λF; textbook [derived]"),
    root_rule("brightest_axis", 1.722811, "most light on the axis per unit flux, max sin²x/x [derived]"),
    root_rule(
        "rayleigh_1891",
        float(np.sqrt(3.6)),
        "Lord Rayleigh, “On pin-hole photography”, Phil. Mag. XXXI, 87–99 (1891), r² = 0.9 λF [r² from memory]",
    ),
    root_rule("sayanagi_1967", 1.9, "K. Sayanagi, J. Opt. Soc. Am. 57, 1091 (1967), r = 0.95 √(λF) [memory]"),
    root_rule("young_1971", 2.0, "M. Young, “Pinhole optics”, Appl. Opt. 10, 2763 (1971), first zone [memory]"),
)

#: Used where nobody names a rule: its c is in the middle of those for fine detail.
DEFAULT_RULE = "rayleigh_1891"


@dataclass(frozen=True)
class Receptor:
    """What the light falls on: the wavelength that stands for it, and the band it sees, in nm."""

    name: str
    label: str
    wavelength_nm: float
    band_nm: tuple[float, float]
    source: str


_JUDGED = "design judgement within the range general encyclopedias give [SCIENCE §1]"
RECEPTORS = (
    Receptor("graded_paper", "blue-sensitive graded paper", 445.0, (400.0, 500.0), _JUDGED),
    Receptor("variable_contrast_paper", "variable-contrast paper", 500.0, (400.0, 560.0), _JUDGED),
    Receptor("ortho_film", "orthochromatic film", 510.0, (400.0, 590.0), _JUDGED),
    Receptor("pan_film", "panchromatic film", 550.0, (400.0, 660.0), _JUDGED),
)

#: Number drills, mm. [ASME B94.11M, read]
NUMBER_DRILLS_MM = {
    80: 0.3429, 79: 0.3683, 78: 0.4064, 77: 0.4572, 76: 0.5080, 75: 0.5334, 74: 0.5715, 73: 0.6096,
    72: 0.6350, 71: 0.6604, 70: 0.7112, 65: 0.8890, 60: 1.0160,
}  # fmt: skip
NEEDLE_WARNING = Flag(
    "needle_numbers_vary",
    "Needle numbers are no standard: two makers' No. 10 differ. Measure the hole you made, not the needle.",
)


def nearest_drill(diameter_mm: float) -> tuple[int, float]:
    """The number drill nearest in size by ratio, and its diameter in mm; the table ends at No. 80 and No. 60."""
    number = min(NUMBER_DRILLS_MM, key=lambda n: abs(np.log(NUMBER_DRILLS_MM[n] / diameter_mm)))
    return number, NUMBER_DRILLS_MM[number]


@dataclass(frozen=True)
class FNumber:
    """N = f/d with one standard deviation of its own and in stops of exposure."""

    f_number: float
    f_number_uncertainty: float
    uncertainty_stops: float
    nearest_third_stop: float
    stops_from_f22: float


def f_number(*, focal_length_mm: float, diameter_mm: float, diameter_uncertainty_mm: float = 0.0) -> FNumber:
    """N = f/d; u(N) = N·u(d)/d, in stops (2/ln 2)·u(d)/d, first order (JCGM 100:2008 §5.1.2).

    `stops_from_f22` counts from the exact f/22.627 that a meter's “f/22” stands for, positive = more light.
    """
    n = focal_length_mm / diameter_mm
    relative = diameter_uncertainty_mm / diameter_mm
    return FNumber(
        f_number=n,
        f_number_uncertainty=n * relative,
        uncertainty_stops=2 / LN2 * relative,
        nearest_third_stop=nominal_f_number(n),
        stops_from_f22=float(9 - 2 * np.log2(n)),
    )


#: The nominal apertures a lens scale carries from f/1 to f/90, by thirds of a stop. [ISO 517, memory]
_NOMINAL = (
    1, 1.1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1, 8, 9, 10, 11, 13, 14,
    16, 18, 20, 22, 25, 29, 32, 36, 40, 45, 51, 57, 64, 72, 80, 90,
)  # fmt: skip


def nominal_f_number(n: float) -> float:
    """The third-stop f-number nearest in stops to `n` > 0, as a scale prints it: exact beyond f/90, to 3 digits."""
    step = round(6 * np.log2(n))
    if 0 <= step < len(_NOMINAL):
        return float(_NOMINAL[step])
    return float(f"{2 ** (step / 6):.3g}")
