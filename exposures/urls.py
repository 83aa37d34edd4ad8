"""Routes below `/api/v1/clubs/{club}/` that concern papers and exposures."""

from django.urls import path

from exposures import views, views_exports, views_field_kit, views_imports, views_known, views_pool
from exposures.embed.views import SwitchesView
from exposures.workshops import views as workshops
from exposures.workshops import views_preparing as preparing
from exposures.workshops import views_sheets as workshop_sheets

app_name = "exposures"
urlpatterns = [
    path("papers/", views.PapersView.as_view(), name="papers"),
    path("papers/<uuid:id>/", views.PaperView.as_view(), name="paper"),
    path("exposures/", views.ExposuresView.as_view(), name="exposures"),
    path("exposures/bulk/", views.BulkView.as_view(), name="bulk"),
    path("exposures/<uuid:id>/", views.ExposureView.as_view(), name="exposure"),
    path("exposures/<uuid:id>/picture/image/", views.NegativeImageView.as_view(), name="picture-image"),
    path("exposures/<uuid:id>/picture/", views.NegativeView.as_view(), name="picture"),
    path("exposures/<uuid:id>/corrections/", views.CorrectionsView.as_view(), name="corrections"),
    path("doubts/", views_known.DoubtsView.as_view(), name="doubts"),
    path("reciprocity/", views_known.ReciprocityView.as_view(), name="reciprocity"),
    path("reciprocity/cameras/", views_known.CameraOffsetsView.as_view(), name="camera-offsets"),
    path("reciprocity/members/", views_known.MemberOffsetsView.as_view(), name="member-offsets"),
    path("reciprocity/model/", views_known.ModelView.as_view(), name="model"),
    path("recommendation/", views_known.RecommendationView.as_view(), name="recommendation"),
    path("field-kit/", views_field_kit.FieldKitView.as_view(), name="field-kit"),
    path("next-tests/", views_known.NextTestsView.as_view(), name="next-tests"),
    path("comparison/", views_known.ComparisonView.as_view(), name="comparison"),
    path("pool/", views_pool.PoolView.as_view(), name="pool"),
    path("catalogue/", views_pool.CatalogueView.as_view(), name="catalogue"),
    path("paper-merges/", views_pool.MergesView.as_view(), name="merges"),
    path("paper-merges/<int:number>/", views_pool.MergeView.as_view(), name="merge"),
    path("packets/", views_pool.PacketsView.as_view(), name="packets"),
    path("packets/own/", views_pool.OwnPacketView.as_view(), name="own-packet"),
    path("packets/<uuid:id>/", views_pool.PacketView.as_view(), name="packet"),
    path("imports/", views_imports.ImportsView.as_view(), name="imports"),
    path("imports/<uuid:id>/", views_imports.ImportView.as_view(), name="import"),
    path("imports/<uuid:id>/rows/", views_imports.ImportRowsView.as_view(), name="import-rows"),
    path("imports/<uuid:id>/apply/", views_imports.ApplyView.as_view(), name="import-apply"),
    path("imports/<uuid:id>/undo/", views_imports.UndoView.as_view(), name="import-undo"),
    path("workshops/", workshops.WorkshopsView.as_view(), name="workshops"),
    path("workshops/<int:number>/", workshops.WorkshopView.as_view(), name="workshop"),
    path("workshops/<int:number>/places/", workshops.PlacesView.as_view(), name="workshop-places"),
    path("workshops/<int:number>/places/<int:place>/", workshops.PlaceView.as_view(), name="workshop-place"),
    path("workshops/<int:number>/places/<int:place>/code/", workshops.PlaceCodeView.as_view(), name="place-code"),
    path("workshops/<int:number>/results/", workshops.ResultsView.as_view(), name="workshop-results"),
    path("workshops/<int:number>/preparation/", preparing.PreparationView.as_view(), name="workshop-preparation"),
    path("workshops/<int:number>/sheets/", workshop_sheets.WorkshopSheetsView.as_view(), name="workshop-sheets"),
    path("workshops/<int:number>/closing/", workshops.ClosingView.as_view(), name="workshop-closing"),
    path("embed/", SwitchesView.as_view(), name="embed"),
    path("export/", views_exports.ExportView.as_view(), name="export"),
    path("export/archive/", views_exports.ArchiveView.as_view(), name="archive"),
]
