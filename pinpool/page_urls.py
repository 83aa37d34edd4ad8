"""Every page for people. Each app brings its own, below wherever a site mounts them."""

from django.urls import include, path

urlpatterns = [
    path("", include("pinpool.web.urls")),
    path("", include("optics.web.urls")),
    path("", include("clubs.web.urls")),
    path("", include("exposures.web.urls")),
    path("", include("exposures.web.darkroom_urls")),
    path("", include("exposures.embed.page_urls")),
    path("field/", include("exposures.web.field_urls")),
]
