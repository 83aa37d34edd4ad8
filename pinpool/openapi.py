"""The service's own OpenAPI document and its readable pages, with settings of their own: a host's stay untouched."""

from typing import Any

from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerView
from rest_framework.permissions import AllowAny

from pinpool import __version__
from pinpool.http.views import View

SETTINGS: dict[str, Any] = {
    "TITLE": "Pinpool",
    "DESCRIPTION": (
        "The service a pinhole-photography club runs. Optics needs no account. Quantities carry their unit; refusals "
        "are problem documents (RFC 9457) with a pointer to every fault.\n\n"
        "Never look at the sun directly or through any hole. Cut away from the hand. Handle chemicals by your local "
        "codes and the maker's safety data sheet."
    ),
    "VERSION": __version__,
    "OAS_VERSION": "3.1.1",
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "SCHEMA_PATH_PREFIX": r".*/api/v1",
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "SWAGGER_UI_SETTINGS": {"deepLinking": True, "defaultModelsExpandDepth": 0, "docExpansion": "list"},
    "TOS": None,
}


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


class DocsView(SpectacularSwaggerView):
    """The same document as pages a person reads."""

    schema = None
    permission_classes = [AllowAny]
    authentication_classes = []
    throttle_classes = []
    url_name = "pinpool:schema"
    custom_settings = SETTINGS
