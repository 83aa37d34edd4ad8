"""In and out, by Django's own views with the cooperative's templates."""

from django.contrib.auth.views import LoginView, LogoutView
from django.urls import path

app_name = "people"
urlpatterns = [
    path("enter/", LoginView.as_view(template_name="cooperative/enter.html"), name="enter"),
    path("leave/", LogoutView.as_view(next_page="front"), name="leave"),
]
