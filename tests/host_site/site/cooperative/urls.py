"""The cooperative's routes. Pinpool came in by one line."""

from django.conf import settings
from django.contrib import admin
from django.urls import include, path
from django.views.generic import TemplateView

from cooperative import api

urlpatterns = [
    path("", TemplateView.as_view(template_name="cooperative/front.html"), name="front"),
    path("door/", include("people.urls")),
    path("api/bundles/", api.BundlesView.as_view(), name="bundles"),
    path("api/open-bundles/", api.OpenBundlesView.as_view(), name="open-bundles"),
    path("desk/", admin.site.urls),
]
if "pinpool" in settings.INSTALLED_APPS:
    urlpatterns += [path("pinhole/", include("pinpool.mounted"))]
