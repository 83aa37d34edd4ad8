"""Routes below `/api/v1/places/`: for whoever has a claim code, with or without an account."""

from django.urls import path

from exposures.workshops import views_places as views

app_name = "places"
urlpatterns = [
    path("<str:claim_code>/", views.CodeView.as_view(), name="place"),
    path("<str:claim_code>/hole/", views.HoleView.as_view(), name="hole"),
    path("<str:claim_code>/hole-scan/", views.HoleScanView.as_view(), name="hole-scan"),
    path("<str:claim_code>/exposure-table/", views.TableView.as_view(), name="exposure-table"),
    path("<str:claim_code>/exposures/", views.EntriesView.as_view(), name="exposures"),
    path("<str:claim_code>/exposures/<uuid:id>/", views.EntryView.as_view(), name="exposure"),
    path("<str:claim_code>/claim/", views.ClaimView.as_view(), name="claim"),
]
