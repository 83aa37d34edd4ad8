"""Everything below `/api/v1/`. Each app brings its own routes."""

from django.urls import include, path, re_path

from pinpool.docs import DocsPage, RecipesPage
from pinpool.http.problems import unknown_address
from pinpool.openapi import SchemaView
from pinpool.plugins.views import PluginsView

app_name = "pinpool"
urlpatterns = [
    path("optics/", include("optics.urls")),
    path("accounts/", include("pinpool.accounts.urls")),
    path("clubs/", include("exposures.urls_clubs")),
    path("clubs/", include("clubs.urls")),
    path("invitations/", include("clubs.urls_invitations")),
    path("places/", include("exposures.workshops.urls_places")),
    path("clubs/<slug:club>/", include("exposures.urls")),
    path("embed/", include("exposures.embed.urls")),
    path("plugins/", PluginsView.as_view(), name="plugins"),
    path("schema/", SchemaView.as_view(), name="schema"),
    path("docs/", DocsPage.as_view(), name="docs"),
    path("docs/recipes/", RecipesPage.as_view(), name="recipes"),
    re_path("", unknown_address),  # anything at all, a line break too
]
