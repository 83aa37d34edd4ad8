"""All of Pinpool below one address: `path("pinhole/", include("pinpool.mounted"))` in any site's routes."""

from django.urls import include, path

urlpatterns = [path("api/v1/", include("pinpool.api_urls")), path("", include("pinpool.page_urls"))]
