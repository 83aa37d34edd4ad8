"""Our own film planes, hole rules, receptors, reciprocity laws and light readings, by the door strangers use."""

from functools import partial

from optics.core import holes, light, profiles, reciprocity
from optics.core.reciprocity import Law
from pinpool import __version__
from pinpool.plugins.model import PLUGIN_API_VERSION, Contribution, Parameter, Plugin

_SCIENCE = "geometry [derived]"


def _size(name: str, description: str) -> Parameter:
    return Parameter(name, "length", description, minimum=0.001, maximum=10_000.0)


def _number(name: str, description: str, minimum: float, maximum: float, **more: object) -> Parameter:
    return Parameter(name, "number", description, minimum=minimum, maximum=maximum, **more)  # type: ignore[arg-type]


_ISO = _number("iso", "ISO speed the meter is set to", 0.01, 1e7, required=False, default=100.0)

FILM_PLANES = (
    Contribution(
        "flat", "flat sheet", _SCIENCE, profiles.flat,
        (_size("width", "width of the sheet"), _size("distance", "from the hole's plate to the sheet")),
    ),
    Contribution(
        "bowed", "strip sprung between the side walls", _SCIENCE, profiles.bowed,
        (
            _size("width", "between the side walls"),
            _size("depth", "from the hole's wall to the back wall"),
            _size("length", "length of the strip"),
        ),
    ),
    Contribution(
        "drum", "round tin, hole in the wall", _SCIENCE, profiles.drum,
        (_size("diameter", "inside diameter of the tin"), _size("length", "length of the strip")),
    ),
    Contribution(
        "half_drum", "arc centred on the hole", _SCIENCE, profiles.half_drum,
        (_size("radius", "from the hole to the film"), _size("length", "length of the strip")),
    ),
    Contribution(
        "profile", "measured section", "a cubic spline through what was measured", profiles.measured,
        (Parameter("points", "points", "x across and z from the hole's plate, in order along the film"),),
    ),
)  # fmt: skip


def _power(*, exponent: float, from_s: float) -> Law:
    return reciprocity.PowerLaw(exponent, from_s)


def _table(*, rows: list[list[float]]) -> Law:
    return reciprocity.TableLaw(tuple((row[0], row[1]) for row in rows))


RECIPROCITY_LAWS = (
    Contribution("none", "no reciprocity failure", "definition", reciprocity.NoFailure),
    Contribution(
        "power", "power law", "K. Schwarzschild, Astrophys. J. 11, 89 (1900) [read as quoted]", _power,
        (
            _number("exponent", "exponent above `from`, 1 = no failure", 1.0, 3.0),
            Parameter(
                "from", "time", "indicated time from which the law holds", minimum=1e-6, maximum=3.2e8,
                required=False, default=1.0,
            ),
        ),
    ),
    Contribution(
        "table", "a data sheet's times", "F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5, 300 (1984) [memory]",
        _table, (Parameter("rows", "rows", "pairs of indicated and corrected time, rising"),),
    ),
)  # fmt: skip

_ISO_2720 = "ISO 2720:1974 [read in secondary sources]"
_F_NUMBER = _number("f_number", "f-number the meter shows", 0.5, 100_000.0)

LIGHT_READINGS = (
    Contribution(
        "ev", "exposure value", _ISO_2720, light.ev100_from_ev,
        (_number("ev", "exposure value", -20.0, 30.0), _ISO),
    ),
    Contribution(
        "time", "time at an f-number", _ISO_2720, light.ev100_from_time,
        (
            Parameter("time", "time", "time the meter shows", minimum=1e-6, maximum=1e6),
            _F_NUMBER,
            _ISO,
        ),
    ),
    Contribution(
        "illuminance", "incident reading", _ISO_2720, light.ev100_from_illuminance,
        (
            Parameter("illuminance", "illuminance", "light falling on the subject", minimum=1e-9, maximum=1e7),
            _number("calibration_constant", "the meter's C", 100.0, 500.0, required=False, default=light.C_FLAT),
        ),
    ),
    Contribution(
        "luminance", "reflected reading", _ISO_2720, light.ev100_from_luminance,
        (
            Parameter("luminance", "luminance", "light from the subject", minimum=1e-10, maximum=1e7),
            _number("calibration_constant", "the meter's K", 5.0, 30.0, required=False, default=light.K_REFLECTED),
        ),
    ),
)  # fmt: skip


def _receptor(receptor: holes.Receptor) -> holes.Receptor:
    return receptor


plugin = Plugin(
    name="optics",
    version=__version__,
    api_version=PLUGIN_API_VERSION,
    film_planes=FILM_PLANES,
    hole_rules=tuple(Contribution(r.name, r.name, r.source, r.diameter_mm) for r in holes.HOLE_RULES),
    receptors=tuple(Contribution(r.name, r.label, r.source, partial(_receptor, r)) for r in holes.RECEPTORS),
    reciprocity_laws=RECIPROCITY_LAWS,
    light_readings=LIGHT_READINGS,
)
