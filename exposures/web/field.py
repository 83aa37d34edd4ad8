"""The field page: one page, the worker that keeps it on a phone, and what lets it be put on the home screen."""

import hashlib
import json
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils import translation
from django.views.generic import View

from pinpool import __version__
from pinpool.conf import LANGUAGE, setting
from pinpool.web.frames import ALONE, framed
from pinpool.web.pages import Page, content_security_policy, protect

#: Every file that the page loads, kept on the phone with it; a browser test holds this against what it really loads.
MODULES = (
    "exposures/field/page.js", "exposures/field/time.js", "optics/exposure.js", "pinpool/quantities.js",
    "exposures/field/queue.js", "exposures/field/kit.js", "exposures/field/store.js", "exposures/field/entries.js",
    "exposures/field/timer.js", "exposures/field/clocks.js", "exposures/field/alarm.js", "exposures/field/ask.js",
    "pinpool/api.js",
)  # fmt: skip
FILES = (*MODULES, "pinpool/pinpool.css", "pinpool/icon.svg", "pinpool/look.js", "pinpool/forms.js")


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
        text = worker(version() if settings.DEBUG else kept_version())
        response = HttpResponse(text, content_type="text/javascript", headers={"Cache-Control": "no-cache"})
        protect(response)
        return response


def files() -> list[str]:
    """Every file that the page loads, the site's own stylesheets among them."""
    return [*FILES, *setting("STYLESHEETS")]


def worker(named: str) -> str:
    """The worker's text, of a version."""
    kept = json.dumps([static(name) for name in files()])
    told = {"version": named, "page": reverse("field_web:page"), "files": kept}
    return render_to_string("exposures/field_worker.js", told)


def version() -> str:
    """A word that stands for all that a phone keeps as it is now, and so for the settings that show in it."""
    digest = hashlib.sha256(__version__.encode())
    for text in (page_of_nobody(), content_security_policy(), worker("")):
        digest.update(text.encode())
    for path in map(finders.find, files()):
        if path:
            digest.update(Path(str(path)).read_bytes())
    return digest.hexdigest()[:16]


def page_of_nobody() -> str:
    """The page without the token against forged requests, which is another each time."""
    request = HttpRequest()
    request.path = request.path_info = reverse("field_web:page")
    page = FieldPage()
    page.setup(request)
    no_request: Any = None
    with translation.override(LANGUAGE):  # or each process might have a version in the language it was first asked in
        return framed(no_request, page.template_name, page.get_context_data(), base=ALONE, language=LANGUAGE)


#: Reckoned once: in service, neither files nor settings change without a restart.
kept_version = cache(version)


class FieldManifest(View):
    """What a home screen shows the page as."""

    http_method_names = ["get", "head", "options"]

    def get(self, _request: HttpRequest) -> HttpResponse:
        page = reverse("field_web:page")
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
