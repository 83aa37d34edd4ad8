"""Routes of the pages of papers, exposures and workshops."""

from django.urls import URLPattern

app_name = "exposures_web"
urlpatterns: list[URLPattern] = []
