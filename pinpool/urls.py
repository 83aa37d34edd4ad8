"""Routes of the stand-alone service."""

import sys

from django.contrib import admin
from django.urls import include, path, re_path
from django.views.generic import RedirectView

from pinpool.http.problems import UNREADABLE, handle_exception, problem_response, refusal_of
from pinpool.service.security_txt import security_txt
from pinpool.web.views import NowherePage

urlpatterns = [
    path(".well-known/security.txt", security_txt),
    # The desk's own door counts no tries.
    path("admin/login/", RedirectView.as_view(pattern_name="pinpool_web:sign_in", query_string=True)),
    path("admin/", admin.site.urls),
    path("", include("pinpool.mounted")),
    re_path("", NowherePage.as_view()),
]


def handler400(request: object, exception: object) -> object:  # noqa: ARG001  (Django's signature)
    return problem_response(400, UNREADABLE)


def handler500(request: object) -> object:  # noqa: ARG001  (Django's signature)
    refusal = refusal_of(sys.exc_info()[1])
    if refusal is not None:
        return handle_exception(refusal, {})
    return problem_response(500, "The service met a fault of its own; it has been logged. Nothing was stored.")
