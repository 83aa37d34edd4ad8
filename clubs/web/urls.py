"""Routes of the pages of clubs."""

from django.urls import URLPattern

app_name = "clubs_web"
urlpatterns: list[URLPattern] = []
