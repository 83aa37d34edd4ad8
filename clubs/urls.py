"""Routes below `/api/v1/clubs/`."""

from django.urls import path

from clubs import views

app_name = "clubs"
urlpatterns = [
    path("", views.ClubsView.as_view(), name="clubs"),
    path("<slug:club>/", views.OneClubView.as_view(), name="club"),
    path("<slug:club>/members/", views.MembersView.as_view(), name="members"),
    path("<slug:club>/cameras/", views.CamerasView.as_view(), name="cameras"),
    path("<slug:club>/cameras/<slug:code>/", views.CameraView.as_view(), name="camera"),
    path("<slug:club>/cameras/<slug:code>/specs/", views.SpecsView.as_view(), name="specs"),
]
