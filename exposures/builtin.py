"""What the log contributes: to optics the law pooled for a paper, to printed sheets the exposure card."""

from typing import Any

from pinpool import __version__
from pinpool.plugins.model import PLUGIN_API_VERSION, Contribution, Parameter, Plugin


def _paper(*, paper: str, actor: Any) -> Any:
    from exposures.selectors import law_of_paper  # noqa: PLC0415  (plug-ins load before the tables are ready)

    return law_of_paper(paper=paper, actor=actor)


def _exposure_card(*, camera: Any, actor: Any, papers: str) -> Any:
    from exposures.sheets.exposure_card import card_for  # noqa: PLC0415  (as above)

    return card_for(camera=camera, actor=actor, papers=papers)


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
    sheet_sections=(
        Contribution(
            "exposure_card",
            "how long to expose in which light",
            "the club's own log, by a mixed model (REML); what a light looks like: common practice, no source",
            _exposure_card,
            (Parameter("papers", "text", "the ids of one or two papers, separated by commas"),),
            needs_actor=True,
        ),
    ),
)
