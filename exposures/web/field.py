"""The field page: one page, the worker that keeps it on a phone, and what lets it be put on the home screen."""

import hashlib
import json
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import get_template, render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.views.generic import View

from pinpool import __version__
from pinpool.conf import setting
from pinpool.web.frames import ALONE
from pinpool.web.pages import Page, protect

#: Every file that the page loads, kept on the phone with it; a browser test holds this against what it really loads.
MODULES = (
    "exposures/field/page.js", "exposures/field/time.js", "optics/exposure.js", "pinpool/quantities.js",
    "exposures/field/queue.js", "exposures/field/kit.js", "exposures/field/store.js", "exposures/field/entries.js",
    "exposures/field/timer.js", "exposures/field/alarm.js", "exposures/field/ask.js", "pinpool/api.js",
)  # fmt: skip
FILES = (*MODULES, "pinpool/pinpool.css", "pinpool/icon.svg", "pinpool/look.js", "pinpool/forms.js")
TEMPLATES = (ALONE, "exposures/field.html", "exposures/field_worker.js", "pinpool/page.html", "pinpool/navigation.html")


class FieldPage(Page):
    """The same for everybody: whose cameras it shows, it learns from the API and from what the phone keeps."""

    template_name = "exposures/field.html"
    extra_context = {"preloaded": MODULES}
    #: A phone keeps the page and the files that are named here, not those of a site's own frame.
    base_template = ALONE


class FieldWorker(View):
    """The service worker. Its text changes with the page and its files, which is how a browser learns of new ones."""

    http_method_names = ["get", "head", "options"]

    def get(self, _request: HttpRequest) -> HttpResponse:
        told = {
            "version": version() if settings.DEBUG else kept_version(),
            "page": reverse("field:page"),
            "files": json.dumps([static(name) for name in files()]),
        }
        text = render_to_string("exposures/field_worker.js", told)
        response = HttpResponse(text, content_type="text/javascript", headers={"Cache-Control": "no-cache"})
        protect(response)
        return response


def files() -> list[str]:
    """Every file that the page loads, the site's own stylesheets among them."""
    return [*FILES, *setting("STYLESHEETS")]


def version() -> str:
    """A word that stands for the page's templates and files as they are now."""
    found = [finders.find(name) for name in files()]
    sources = [Path(str(path)) for path in found if path] + [Path(origin(name)) for name in TEMPLATES]
    digest = hashlib.sha256(__version__.encode())
    for source in sources:
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


def origin(name: str) -> str:
    """The file of a template."""
    template: Any = get_template(name)
    return str(template.template.origin.name)


#: Reckoned once: in service, files do not change without a restart.
kept_version = cache(version)


class FieldManifest(View):
    """What a home screen shows the page as."""

    http_method_names = ["get", "head", "options"]

    def get(self, _request: HttpRequest) -> HttpResponse:
        page = reverse("field:page")
        icon = {"src": static("pinpool/icon.svg"), "sizes": "any", "type": "image/svg+xml"}
        told = {
            "name": "Pinpool, field page",
            "short_name": "Field",
            "start_url": page,
            "scope": page,
            "display": "standalone",
            "background_color": "#000000",
            "theme_color": "#000000",
            "icons": [icon],
        }
        return protect(JsonResponse(told, content_type="application/manifest+json"))  # type: ignore[return-value]
