"""Routes below `/api/v1/optics/`."""

from django.urls import path

from optics import views

app_name = "optics"
urlpatterns = [
    path("film-plane/", views.FilmPlaneView.as_view(), name="film-plane"),
    path("hole-diameter/", views.HoleDiameterView.as_view(), name="hole-diameter"),
    path("f-number/", views.FNumberView.as_view(), name="f-number"),
    path("hole-measurement/", views.HoleMeasurementView.as_view(), name="hole-measurement"),
    path("illumination/", views.IlluminationView.as_view(), name="illumination"),
    path("light/", views.LightView.as_view(), name="light"),
    path("exposure/", views.ExposureView.as_view(), name="exposure"),
    path("exposure-table/", views.ExposureTableView.as_view(), name="exposure-table"),
    path("sheet-cuts/", views.SheetCutsView.as_view(), name="sheet-cuts"),
    path("wall-opening/", views.WallOpeningView.as_view(), name="wall-opening"),
    path("exposure-progress/", views.ExposureProgressView.as_view(), name="exposure-progress"),
    path("hole-scan/", views.HoleScanView.as_view(), name="hole-scan"),
    path("sharpness/", views.SharpnessView.as_view(), name="sharpness"),
    path("hole-comparison/", views.HoleComparisonView.as_view(), name="hole-comparison"),
    path("sun/", views.SunView.as_view(), name="sun"),
    path("camera-plan/", views.CameraPlanView.as_view(), name="camera-plan"),
]
