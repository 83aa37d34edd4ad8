"""Routes of the pages that need no account: the bench and the hole."""

from django.urls import path

from optics.web import views

app_name = "optics_web"
urlpatterns = [
    path("bench/", views.BenchPage.as_view(), name="bench"),
    path("hole/", views.HolePage.as_view(), name="hole"),
]
