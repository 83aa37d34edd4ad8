"""The service's own OpenAPI document, with settings of its own: a host's stay untouched."""

import threading
from typing import Any

from django.http import HttpResponse
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.settings import patched_settings
from drf_spectacular.views import SpectacularAPIView
from rest_framework.permissions import AllowAny
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request

from pinpool import __version__
from pinpool.http.views import View
from pinpool.plugins.registry import entries, loaded

SETTINGS: dict[str, Any] = {
    "TITLE": "Pinpool",
    "DESCRIPTION": (
        "The service a pinhole-photography club runs. Optics needs no account. Quantities carry their unit; refusals "
        "are problem documents (RFC 9457) with a pointer to every fault.\n\n"
        "Never look at the sun directly or through any hole. Cut away from the hand. Handle chemicals by your local "
        "codes and the maker's safety data sheet."
    ),
    "VERSION": __version__,
    "EXTERNAL_DOCS": {"description": "Recipes, in curl and Python.", "url": "../docs/recipes/"},
    "OAS_VERSION": "3.1.1",
    "COMPONENT_SPLIT_REQUEST": True,
    # What a change needs, it needs: the bodies of changes say themselves what may be left out.
    "COMPONENT_SPLIT_PATCH": False,
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    # The hook that names choices takes the units of a request and of an answer for one and the same.
    "POSTPROCESSING_HOOKS": [],
    "SCHEMA_PATH_PREFIX": r".*/api/v1",
}


#: Making the document changes settings and views that all threads share.
_one_at_a_time = threading.Lock()


class _Written:
    """The document as it was last made, by renderer; anew where other plug-ins are active than there were."""

    def __init__(self) -> None:
        self.plugins: Any = None
        self.texts: dict[type[BaseRenderer], Any] = {}

    def by(self, renderer: BaseRenderer) -> Any:
        plugins = loaded(), [entry.state for entry in entries()]
        if self.plugins is None or self.plugins[0] is not plugins[0] or self.plugins[1] != plugins[1]:
            self.plugins, self.texts = plugins, {}
        if type(renderer) not in self.texts:
            self.texts[type(renderer)] = renderer.render(_made(), renderer_context={})
        return self.texts[type(renderer)]


_written = _Written()


def document() -> dict[str, Any]:
    """The OpenAPI document as data."""
    with _one_at_a_time, patched_settings(SETTINGS):
        return _made()


def _made() -> dict[str, Any]:
    made: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return made


class SchemaView(SpectacularAPIView):
    """The OpenAPI 3.1 document of this service."""

    schema = None
    permission_classes = [AllowAny]
    authentication_classes = []
    throttle_classes = []
    versioning_class = None
    custom_settings = SETTINGS

    def get_exception_handler(self) -> Any:
        return View.get_exception_handler(self)  # type: ignore[arg-type]

    def get(self, request: Request) -> HttpResponse:
        renderer = request.accepted_renderer
        with _one_at_a_time, patched_settings(SETTINGS):
            text = _written.by(renderer)
        charset = f"; charset={renderer.charset}" if renderer.charset else ""
        name = f'inline; filename="Pinpool.{"json" if "json" in renderer.format else "yaml"}"'
        headers = {"Content-Type": renderer.media_type + charset, "Content-Disposition": name}
        return HttpResponse(text, headers=headers)
