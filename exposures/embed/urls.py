"""Routes below `/api/v1/embed/`."""

from django.urls import path

from exposures.embed import views

app_name = "embed"
urlpatterns = [
    path("<slug:club>/", views.EmbeddedClubView.as_view(), name="club"),
    path("<slug:club>/cameras/", views.EmbeddedCamerasView.as_view(), name="cameras"),
    path("<slug:club>/cameras/<slug:code>/", views.EmbeddedCameraView.as_view(), name="camera"),
    path("<slug:club>/cameras/<slug:code>/exposure/", views.EmbeddedExposureView.as_view(), name="exposure"),
    path("<slug:club>/papers/<uuid:id>/", views.EmbeddedPaperView.as_view(), name="paper"),
]
