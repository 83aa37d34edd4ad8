"""Routes below `/api/v1/clubs/{club}/` that concern papers and exposures."""

from django.urls import path

from exposures import views

app_name = "exposures"
urlpatterns = [
    path("papers/", views.PapersView.as_view(), name="papers"),
    path("papers/<uuid:id>/", views.PaperView.as_view(), name="paper"),
    path("exposures/", views.ExposuresView.as_view(), name="exposures"),
    path("exposures/<uuid:id>/", views.ExposureView.as_view(), name="exposure"),
    path("reciprocity/", views.ReciprocityView.as_view(), name="reciprocity"),
    path("recommendation/", views.RecommendationView.as_view(), name="recommendation"),
]
