"""Routes of the pages of papers, exposures and workshops."""

from django.urls import path

from exposures.web import comparison, imports, log, papers, places, pool, workshops

CLUB = "clubs/<slug:club>/"

app_name = "exposures_web"
urlpatterns = [
    path(CLUB + "papers/", papers.PapersPage.as_view(), name="papers"),
    path(CLUB + "papers/<uuid:id>/", papers.PaperPage.as_view(), name="paper"),
    path(CLUB + "pool/", pool.PoolPage.as_view(), name="pool"),
    path(CLUB + "log/", log.LogPage.as_view(), name="log"),
    path(CLUB + "log/<uuid:id>/", log.EntryPage.as_view(), name="entry"),
    path(CLUB + "comparison/", comparison.ComparisonPage.as_view(), name="comparison"),
    path(CLUB + "workshops/", workshops.WorkshopsPage.as_view(), name="workshops"),
    path(CLUB + "workshops/<int:number>/", workshops.WorkshopPage.as_view(), name="workshop"),
    path(CLUB + "workshops/<int:number>/live/", workshops.WorkshopLive.as_view(), name="workshop_live"),
    path(CLUB + "imports/", imports.ImportsPage.as_view(), name="imports"),
    path(CLUB + "imports/<uuid:id>/", imports.ImportPage.as_view(), name="import"),
    path("place/<str:code>/", places.PlacePage.as_view(), name="place"),
]
