"""Parts of our pages that apps above contribute: to a camera's page its log, to a club's start what is new."""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from pinpool.plugins.keeping import watched

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Panel:
    """A titled part of a page: `template` is rendered with the page's own context and `context` over it."""

    title: str
    template: str
    context: dict[str, Any]


@dataclass(frozen=True)
class Shown:
    """A panel as it stands on the page; `html` is empty where it could not be made."""

    title: str
    html: str


_panels: dict[str, dict[str, Callable[..., Panel | None]]] = watched({"camera": {}, "club": {}})


def contribute(page: str, title: str, panel: Callable[..., Panel | None]) -> None:
    """Add a panel to the page “camera” or “club”, from `AppConfig.ready`.

    `panel` is called with the keywords `camera` (on a camera's page) and `membership`; None leaves it out. `title`
    stands where it fails.
    """
    _panels[page][title] = panel


def shown(page: str, request: HttpRequest, context: dict[str, Any], **about: Any) -> list[Shown]:
    """The panels of a page in the order in which they came; one that fails is logged and harms nothing else."""
    found = []
    for title, panel in _panels[page].items():
        try:
            made = panel(**about)
            if made is not None:
                html = render_to_string(made.template, {**context, **made.context}, request)
                found.append(Shown(made.title, html))
        except Exception:  # whatever a floor above does wrong, the page stands
            logger.exception("The panel “%s” of the page “%s” failed", title, page)
            found.append(Shown(title, ""))
    return found
