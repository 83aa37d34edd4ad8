"""What the log contributes to optics: the law that a club has pooled for a paper."""

from typing import Any

from pinpool import __version__
from pinpool.plugins.model import PLUGIN_API_VERSION, Contribution, Parameter, Plugin


def _paper(*, paper: str, actor: Any) -> Any:
    from exposures.selectors import law_of_paper  # noqa: PLC0415  (plug-ins load before the tables are ready)

    return law_of_paper(paper=paper, actor=actor)


plugin = Plugin(
    name="exposures",
    version=__version__,
    api_version=PLUGIN_API_VERSION,
    reciprocity_laws=(
        Contribution(
            "paper",
            "what the club has pooled for a paper",
            "the club's own log, by a mixed model (REML)",
            _paper,
            (Parameter("paper", "text", "the paper's id"),),
            needs_actor=True,
        ),
    ),
)
