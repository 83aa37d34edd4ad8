"""Routes below `/api/v1/invitations/`: for whoever has a code, with or without an account."""

from django.urls import path

from clubs import views_people

app_name = "invitations"
urlpatterns = [
    path("<slug:code>/", views_people.CodeView.as_view(), name="code"),
    path("<slug:code>/accept/", views_people.AcceptView.as_view(), name="accept"),
]
