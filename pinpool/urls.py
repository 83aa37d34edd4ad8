"""Routes of the stand-alone service."""

from django.contrib import admin
from django.urls import include, path
from django.views.generic import TemplateView

from pinpool.http.problems import UNREADABLE, problem_response

urlpatterns = [
    path("", TemplateView.as_view(template_name="pinpool/home.html"), name="home"),
    path("admin/", admin.site.urls),
    path("api/v1/", include("pinpool.api_urls")),
]


def handler400(request: object, exception: object) -> object:  # noqa: ARG001  (Django's signature)
    return problem_response(400, UNREADABLE)


def handler500(request: object) -> object:  # noqa: ARG001  (Django's signature)
    return problem_response(500, "The service met a fault of its own; it has been logged. Nothing was stored.")
