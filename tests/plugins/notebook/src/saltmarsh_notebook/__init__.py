"""What this package contributes to Pinpool."""

from pinpool.plugins.model import Contribution, Plugin

from .notebook import table_of

__version__ = "1.0"

plugin = Plugin(
    name="saltmarsh_notebook",
    version=__version__,
    api_version=(1, 0),
    log_importers=(
        Contribution(
            name="saltmarsh_notebook",
            label="a notebook of the Saltmarsh club",
            source="the package's README; the format is invented",
            function=table_of,
        ),
    ),
)
