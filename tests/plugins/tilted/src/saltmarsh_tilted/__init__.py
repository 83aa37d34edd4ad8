"""What this package contributes to Pinpool."""

from pinpool.plugins.model import Contribution, Parameter, Plugin

from .catenary import Catenary
from .stretch import stretch
from .tilted import tilted

__version__ = "1.0"

plugin = Plugin(
    name="saltmarsh_tilted",
    version=__version__,
    api_version=(1, 0),
    film_planes=(
        Contribution(
            name="tilted",
            label="flat sheet standing askew",
            source="geometry [derived]",
            function=tilted,
            parameters=(
                Parameter("width", "length", "width of the sheet", minimum=0.001, maximum=10_000.0),
                Parameter("distance", "length", "from the hole's plate to the sheet's middle line", minimum=0.001),
                Parameter(
                    "turn", "angle", "about the sheet's upright middle line; positive: its right edge goes back",
                    minimum=-80.0, maximum=80.0,
                ),
            ),
        ),
    ),
    reciprocity_laws=(
        Contribution(
            name="catenary",
            label="catenary",
            source="form after E. Kron (1913) and J. Halm (1915) [memory]; its figures are yours to measure",
            function=Catenary,
            parameters=(
                Parameter(
                    "best_time", "time", "indicated time that needs no more light", minimum=1e-6, maximum=1e6
                ),
                Parameter("steepness", "number", "how fast the failure grows", minimum=0.0, maximum=0.9),
            ),
        ),
    ),
    sheet_sections=(
        Contribution(
            name="stretch",
            label="how far pictures are drawn out",
            source="geometry [derived]",
            function=stretch,
        ),
    ),
)  # fmt: skip
