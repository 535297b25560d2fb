"""All addresses: the pages from the root, the API under api/v1/."""

from django.urls import include, path
from drf_spectacular.views import SpectacularJSONAPIView

from plates.bench import api as bench
from plates.catalogue import api as catalogue
from plates.stock import api as stock
from shop.health import healthz
from shop.rest import unknown_address

api = [
    path("fits/", catalogue.Fits.as_view()),
    path("fits/<str:code>/", catalogue.OneFit.as_view()),
    path("kinds/", catalogue.Kinds.as_view()),
    path("kinds/<str:code>/", catalogue.OneKind.as_view()),
    path("specs/", catalogue.Specs.as_view()),
    path("specs/<str:code>/", catalogue.OneSpec.as_view()),
    path("bins/", stock.Bins.as_view()),
    path("bins/<str:code>/", stock.OneBin.as_view()),
    path("plates/", stock.Plates.as_view()),
    path("plates/<str:pk>/", stock.OnePlate.as_view()),
    path("plates/<str:pk>/put-back/", stock.PutBack.as_view()),
    path("plates/<str:pk>/rework/", stock.Rework.as_view()),
    path("plates/<str:pk>/scrap/", stock.Scrap.as_view()),
    path("lots/", stock.Lots.as_view()),
    path("lots/<str:pk>/", stock.OneLot.as_view()),
    path("hand-outs/", stock.HandOuts.as_view()),
    path("hand-outs/<str:pk>/", stock.OneHandOut.as_view()),
    path("ledger/", stock.Ledger.as_view()),
    path("ledger/<str:pk>/", stock.OneLedgerLine.as_view()),
    path("matches/", bench.Matches.as_view()),
    path("matches/<str:pk>/", bench.OneMatch.as_view()),
    path("matches/<str:pk>/take/", bench.Take.as_view()),
    path("matches/<str:pk>/hold/", bench.Hold.as_view()),
    path("matches/<str:pk>/release/", bench.Release.as_view()),
    path("matches/<str:pk>/final/", bench.Final.as_view()),
    path("schema/", SpectacularJSONAPIView.as_view(), name="schema"),
    path("<path:rest>", unknown_address),
    path("", unknown_address),
]

urlpatterns = [
    path("healthz", healthz, name="healthz"),
    path("api/v1/", include((api, "api"))),
]

handler400 = "shop.rest.bad_request"
handler500 = "shop.rest.server_error"
