"""All addresses: the pages from the root, the API under api/v1/."""

from django.urls import include, path
from drf_spectacular.views import SpectacularJSONAPIView

from plates.bench import api as bench
from plates.bench import half_spec, spec_pages
from plates.bench import pages as bench_pages
from plates.bench.cover import api as bench_cover
from plates.bench.cover import pages as cover_pages
from plates.bench.day import day
from plates.bench.gauges import api as bench_gauges
from plates.bench.gauges import pages as gauge_pages
from plates.bench.plan import api as bench_plan
from plates.bench.plan import pages as plan_pages
from plates.bench.preview import preview
from plates.bench.proof import api as bench_proof
from plates.bench.proof import pages as proof_pages
from plates.bench.short import api as bench_short
from plates.bench.short import pages as short_pages
from plates.bench.slip import api as bench_slip
from plates.bench.slip import pages as slip_pages
from plates.buying import api as buying
from plates.buying import claim_pages, claims_api, cover_api, deliveries, rule_pages
from plates.buying import cover_pages as buying_cover_pages
from plates.buying import pages as buying_pages
from plates.buying.figures import pages as figure_pages
from plates.buying.sizes import bought
from plates.catalogue import api as catalogue
from plates.catalogue import pages as catalogue_pages
from plates.catalogue import spec_pages as catalogue_spec_pages
from plates.finding import pages as finding_pages
from plates.labels import badge_pages, transfer_pages
from plates.labels import pages as label_pages
from plates.measuring import api as measuring
from plates.measuring import pages as measuring_pages
from plates.stock import api as stock
from plates.stock import bin_pages, count_api, count_pages, lot_pages, scanning, shelf_pages
from plates.stock import pages as stock_pages
from plates.stock.deliveries import Orders
from plates.stock.shelf import BoughtOf
from plates.tables import pages as table_pages
from shop import pages, second_step, sign_in
from shop.health import healthz, readyz
from shop.metrics import metrics
from shop.people import pages as people_pages
from shop.rest import unknown_address

api = [
    path("fits/", catalogue.Fits.as_view()),
    path("fits/<str:code>/", catalogue.OneFit.as_view()),
    path("kinds/", catalogue.Kinds.as_view()),
    path("kinds/<str:code>/", catalogue.OneKind.as_view()),
    path("specs/", catalogue.Specs.as_view()),
    path("specs/<str:code>/", catalogue.OneSpec.as_view()),
    path("specs/<str:code>/estimates/", catalogue.Estimates.as_view()),
    path("specs/<str:code>/revise/", catalogue.Revise.as_view()),
    path("bins/", stock.Bins.as_view()),
    path("bins/<str:code>/", stock.OneBin.as_view()),
    path("plates/", stock.Plates.as_view()),
    path("plates/<str:pk>/", stock.OnePlate.as_view()),
    path("plates/<str:pk>/put-back/", stock.PutBack.as_view()),
    path("plates/<str:pk>/rework/", stock.Rework.as_view()),
    path("plates/<str:pk>/scrap/", stock.Scrap.as_view()),
    path("gauges/", measuring.Gauges.as_view()),
    path("gauges/<str:code>/", measuring.OneGauge.as_view()),
    path("gauges/<str:code>/checks/", bench_gauges.Checks.as_view()),
    path("gauges/<str:code>/affected/", bench_gauges.Affected.as_view()),
    path("gauges/<str:code>/correct/", bench_gauges.Correct.as_view()),
    path("gauges/<str:code>/withdraw/", measuring.Withdraw.as_view()),
    path("gauges/<str:code>/return/", measuring.Return.as_view()),
    path("gauge-studies/", measuring.GaugeStudies.as_view()),
    path("gauge-studies/<str:pk>/", measuring.OneGaugeStudy.as_view()),
    path("lots/", stock.Lots.as_view()),
    path("lots/<str:pk>/", stock.OneLot.as_view()),
    path("hand-outs/", stock.HandOuts.as_view()),
    path("hand-outs/<str:pk>/", stock.OneHandOut.as_view()),
    path("counts/", count_api.Counts.as_view()),
    path("counts/<str:pk>/", count_api.OneCount.as_view()),
    path("counts/<str:pk>/read/", count_api.Read.as_view()),
    path("counts/<str:pk>/undo/", count_api.Unread.as_view()),
    path("counts/<str:pk>/all-read/", count_api.AllRead.as_view()),
    path("counts/<str:pk>/book/", count_api.Book.as_view()),
    path("counts/<str:pk>/drop/", count_api.Drop.as_view()),
    path("ledger/", stock.Ledger.as_view()),
    path("ledger/<str:pk>/", stock.OneLedgerLine.as_view()),
    path("matches/", bench.Matches.as_view()),
    path("matches/<str:pk>/", bench.OneMatch.as_view()),
    path("matches/<str:pk>/take/", bench.Take.as_view()),
    path("matches/<str:pk>/hold/", bench.Hold.as_view()),
    path("matches/<str:pk>/release/", bench.Release.as_view()),
    path("matches/<str:pk>/pull-check/", bench_slip.PullCheck.as_view()),
    path("matches/<str:pk>/outs/", bench_slip.Outs.as_view()),
    path("matches/<str:pk>/final/", bench.Final.as_view()),
    path("matches/<str:pk>/comeback/", bench_proof.Comeback.as_view()),
    path("matches/<str:pk>/build-sheet/", bench_proof.Sheet.as_view()),
    path("cover/", bench_cover.PackCover.as_view()),
    path("missed/", bench_short.Misses.as_view()),
    path("missed/<str:pk>/", bench_short.OneMiss.as_view()),
    path("sizes/", buying.Sizes.as_view()),
    path("buying/", buying.Buying.as_view()),
    path("buying-cover/", cover_api.BuyingForCover.as_view()),
    path("buy-rules/", buying.Rules.as_view()),
    path("buy-rules/<str:pk>/", buying.OneRule.as_view()),
    path("buy-rules/<str:pk>/drop/", buying.DropRule.as_view()),
    path("orders/", buying.Orders.as_view()),
    path("orders/<str:pk>/", buying.OneOrder.as_view()),
    path("orders/<str:pk>/send/", buying.Send.as_view()),
    path("orders/<str:pk>/cancel/", buying.Cancel.as_view()),
    path("orders/<str:pk>/receive/", buying.Receive.as_view()),
    path("claims/", claims_api.Claims.as_view()),
    path("claims/<str:pk>/", claims_api.OneClaim.as_view()),
    path("claims/<str:pk>/settle/", claims_api.Settle.as_view()),
    path("bench-plan/", bench_plan.BenchPlan.as_view()),
    path("residuals/", bench_proof.Residuals.as_view()),
    path("residuals/charts/", bench_proof.ResidualCharts.as_view()),
    path("schema/", SpectacularJSONAPIView.as_view(), name="schema"),
    path("<path:rest>", unknown_address),
    path("", unknown_address),
]

#: *Scan in* and *Shelf* lie below the room of the buyer, so what they need of it is handed to them here.
_ORDERS: Orders = deliveries
AGAINST = {"orders": _ORDERS}
_BOUGHT_OF: BoughtOf = bought
BUYER = {"bought_of": _BOUGHT_OF}

urlpatterns = [
    path("healthz", healthz, name="healthz"),
    path("readyz", readyz, name="readyz"),
    path("metrics", metrics, name="metrics"),
    path("api/v1/", include((api, "api"))),
    path("", pages.home, name="home"),
    path("how-it-goes/", pages.how, name="how"),
    path("sign-in/", sign_in.sign_in, name="sign-in"),
    path("sign-in/code/", second_step.second_step, name="second-step"),
    path("unlock/", sign_in.unlock, name="unlock"),
    path("go-on/", sign_in.go_on, name="go-on"),
    path("sign-out/", sign_in.sign_out, name="sign-out"),
    path("change-person/", sign_in.change_person, name="change-person"),
    path("me/", people_pages.me, name="me"),
    path("me/password/", people_pages.own_password, name="own-password"),
    path("me/code/", second_step.own_code, name="own-code"),
    path("shop/people/", people_pages.people, name="people"),
    path("shop/people/<str:username>/", people_pages.one_person, name="shop-person"),
    path("shop/terminals/", people_pages.terminal_list, name="terminals"),
    path("shop/terminals/<str:code>/", people_pages.one_terminal, name="terminal"),
    path("shop/terminals/<str:code>/end/", people_pages.end_terminal, name="terminal-end"),
    path("shop/settings/", people_pages.settings, name="settings"),
    path("shop/changes/", people_pages.changes, name="changes"),
    path("echo/", pages.echo, name="echo"),
    path("favicon.ico", pages.favicon),
    path("find/", finding_pages.find, name="find"),
    path("scan-in/", scanning.scan_start, AGAINST, name="scan-start"),
    path("scan-in/undo/", scanning.scan_undo, AGAINST, name="scan-undo"),
    path("scan-in/kind/<str:code>/", scanning.scan_in, AGAINST, name="scan-in"),
    path("scan-in/kind/<str:code>/lot/", lot_pages.scan_lot, AGAINST, name="scan-lot"),
    path("close-a-pack/", bench_pages.close_start, name="close-start"),
    path("close-a-pack/<str:code>/", bench_pages.close_pack, name="close-pack"),
    path("close-a-pack/<str:code>/preview/", preview, name="preview"),
    path("benches/", day, name="benches"),
    path("on-the-bench/", bench_pages.on_bench, name="on-bench"),
    path("matches/", bench_pages.matches, name="matches"),
    path("matches/<int:number>/", bench_pages.match, name="match"),
    path("matches/<int:number>/take/", bench_pages.take, name="take"),
    path("matches/<int:number>/hold/", bench_pages.hold, name="hold"),
    path("matches/<int:number>/release/", bench_pages.release, name="release"),
    path("matches/<int:number>/slip/", slip_pages.slip, name="slip"),
    path("matches/<int:number>/pull-check/", slip_pages.pull, name="pull-check"),
    path("matches/<int:number>/outs/", slip_pages.outs, name="outs"),
    path("matches/<int:number>/final/", bench_pages.final, name="final"),
    path("matches/<int:number>/build-sheet/", proof_pages.sheet, name="build-sheet"),
    path("matches/<int:number>/comeback/", proof_pages.comeback, name="comeback"),
    path("missed/", short_pages.missed, name="missed"),
    path("buying/", buying_pages.buying, name="buying"),
    path("buying/cover/", buying_cover_pages.buying_cover, name="buying-cover"),
    path("buying/cover/could-go.csv", buying_cover_pages.buying_cover_idle_csv, name="buying-cover-csv"),
    path("buying/order/", buying_pages.order_draft, name="order-draft"),
    path("buying/rules/", rule_pages.rules, name="buy-rules"),
    path("buying/rules/set/", rule_pages.rule, name="buy-rule"),
    path("buying/rules/<uuid:pk>/drop/", rule_pages.drop, name="buy-rule-drop"),
    path("week/", buying_pages.week_sheet, name="week"),
    path("figures/", figure_pages.figures, name="figures"),
    path("figures/<str:name>.csv", figure_pages.figures_csv, name="figures-csv"),
    path("orders/", buying_pages.orders, name="orders"),
    path("orders/<int:number>/", buying_pages.order, name="order"),
    path("orders/<int:number>/send/", buying_pages.send, name="order-send"),
    path("orders/<int:number>/cancel/", buying_pages.cancel, name="order-cancel"),
    path("orders/<int:number>.csv", buying_pages.order_csv, name="order-csv"),
    path("orders/<int:number>/claim/", claim_pages.claim_order, name="order-claim"),
    path("claims/", claim_pages.claims, name="claims"),
    path("claims.csv", claim_pages.claims_csv, name="claims-csv"),
    path("claims/settle/", claim_pages.settle, name="claims-settle"),
    path("bench-plan/", plan_pages.together, name="bench-plan"),
    path("residuals/", proof_pages.residuals, name="residuals"),
    path("shelf/", shelf_pages.shelf, BUYER, name="shelf"),
    path("shelf/<str:code>/<str:role>/", shelf_pages.size, name="shelf-size"),
    path("bins/", stock_pages.bins, name="bins"),
    path("bins/<str:code>/", bin_pages.one_bin, name="bin"),
    path("bins/<str:code>/hand-out/", bin_pages.hand_out, name="bin-hand-out"),
    path("bins/<str:code>/count/", count_pages.begin, name="count-begin"),
    path("counts/<str:pk>/", count_pages.count, name="count"),
    path("counts/<str:pk>/read/", count_pages.read, name="count-read"),
    path("counts/<str:pk>/undo/", count_pages.unread, name="count-unread"),
    path("counts/<str:pk>/all-read/", count_pages.all_read, name="count-all-read"),
    path("counts/<str:pk>/book/", count_pages.book, name="count-book"),
    path("counts/<str:pk>/drop/", count_pages.drop, name="count-drop"),
    path("hand-outs/", bin_pages.hand_outs, name="hand-outs"),
    path("plates/<str:pk>/", stock_pages.one_plate, name="plate"),
    path("plates/<str:pk>/read-again/", stock_pages.read_again, name="read-again"),
    path("plates/<str:pk>/scrap/", stock_pages.scrap, name="scrap"),
    path("gauges/", measuring_pages.gauges, name="gauges"),
    path("gauges/<str:code>/", gauge_pages.gauge, name="gauge"),
    path("gauges/<str:code>/check/", gauge_pages.check, name="gauge-check"),
    path("gauges/<str:code>/withdraw/", gauge_pages.withdraw, name="gauge-withdraw"),
    path("gauges/<str:code>/return/", gauge_pages.take_back, name="gauge-return"),
    path("gauges/<str:code>/correct/", gauge_pages.correct, name="gauge-correct"),
    path("gauges/<str:code>/corrected/", gauge_pages.corrected, name="gauge-corrected"),
    path("gauges/<str:code>/study/", measuring_pages.study, name="gauge-study-new"),
    path("gauge-studies/<str:pk>/", measuring_pages.one_study, name="gauge-study"),
    path("labels/", label_pages.labels, name="labels"),
    path("labels/pdf/", label_pages.printed, name="labels-pdf"),
    path("labels/badge/<str:username>/", badge_pages.badge_label, name="badge-label"),
    path("transfers/<str:pk>/", transfer_pages.transfer, name="transfer"),
    path("import/", table_pages.tables, name="tables"),
    path("import/<str:name>/", table_pages.upload, name="import"),
    path("export/<str:name>.csv", table_pages.download, name="export"),
    path("fits/", catalogue_pages.fits, name="fits"),
    path("kinds/", catalogue_pages.kinds, name="kinds"),
    path("kinds/<str:code>/", finding_pages.kind, name="kind"),
    path("kinds/<str:code>/prices/", catalogue_pages.kind_prices, name="kind-prices"),
    path("sets/", finding_pages.one_set, name="set"),
    path("jobs/<str:code>/", finding_pages.job, name="job"),
    path("people/<str:username>/", finding_pages.person, name="person"),
    path("specs/", spec_pages.spec_list, name="specs"),
    path("specs/<str:code>/", spec_pages.spec, name="spec"),
    path("specs/<str:code>/revise/", catalogue_spec_pages.revise, name="spec-revise"),
    path("specs/<str:code>/cover/", cover_pages.cover, name="cover"),
    path("specs/<str:code>/estimates/", catalogue_pages.estimates, name="estimates"),
    path("add/fit/", catalogue_pages.add_fit, name="add-fit"),
    path("add/kind/", catalogue_pages.add_kind, name="add-kind"),
    path("add/spec/", catalogue_spec_pages.add_spec, name="add-spec"),
    path("add/person/", people_pages.add_person, name="add-person"),
    path("add/spec/drawing/", half_spec.drawing, name="spec-drawing"),
    path("add/gauge/", measuring_pages.add_gauge, name="add-gauge"),
    path("add/bin/", stock_pages.add_bin, name="add-bin"),
]

handler400 = "shop.rest.bad_request"
handler500 = "shop.rest.server_error"
