"""Every page of the counter with an address that shows it filled, for whatever looks at all of them.

The shop is the demo's. What the demo does not have, :func:`furnish` adds: counts of bins, plates handed out, a
terminal, a gauge found wrong. Both are called where Django's connections lead to the database that is served.
"""

from datetime import timedelta
from urllib.parse import quote

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from plates.bench.gauges.corrections import gauge_correct
from plates.bench.models import Match
from plates.bench.selectors import matches
from plates.buying.orders import Wanted, WantedSet, order_make, order_send
from plates.buying.receiving import order_receive
from plates.catalogue.models import Kind
from plates.catalogue.sets import pieces_of
from plates.lengths import inch, length_parse
from plates.measuring.models import Gauge, GaugeCheck, GaugeStudy
from plates.measuring.services import gauge_check
from plates.stock.arrivals import Arrival
from plates.stock.count_models import BinCount
from plates.stock.counts import count_all_read, count_begin, count_read
from plates.stock.findings import Reading, Tags
from plates.stock.hand_outs import hand_out_make
from plates.stock.models import Bin, HandOut, Plate, State
from shop.demo.crew import Crew, committed
from shop.people.models import Shop
from shop.people.terminals import terminal_enrol

#: Names of addresses that show no page of their own, each with why.
NO_PAGE = {
    "healthz": "for machines",
    "readyz": "for machines",
    "metrics": "for machines",
    "api:schema": "for machines",
    "export": "a download",
    "labels-pdf": "a download",
    "echo": "a fragment",
    "on-bench": "a fragment",
    "preview": "a fragment, by POST",
    "spec-drawing": "a fragment, by POST",
    "own-password": "for whoever came by a password that somebody else chose",
    "second-step": "behind a password: `test_second_step` looks at it",
    "go-on": "leads home where no form waits",
    "bench-plan": "leads to the matches unless some are sent",
    "tables": "leads to the first table",
    "sign-out": "by POST",
    "change-person": "by POST",
    "terminal-end": "by POST",
    "scan-undo": "by POST",
    "take": "by POST",
    "hold": "by POST",
    "release": "by POST",
    "pull-check": "by POST",
    "outs": "by POST",
    "bin-hand-out": "by POST",
    "count-begin": "by POST",
    "count-read": "by POST",
    "count-unread": "by POST",
    "count-all-read": "by POST",
    "count-book": "by POST",
    "count-drop": "by POST",
    "badge-label": "by POST, and a download",
    "order-draft": "by POST",
    "order-send": "by POST",
    "order-cancel": "by POST",
    "order-csv": "a download",
    "order-claim": "by POST",
    "claims-settle": "by POST",
    "claims-csv": "a download",
    "buying-cover-csv": "a download",
    "figures-csv": "a download",
    "buy-rule-drop": "by POST",
    "read-again": "by POST",
    "scrap": "by POST",
    "gauge-check": "by POST; leads to the gauge",
    "gauge-withdraw": "by POST",
    "gauge-return": "by POST",
    "gauge-correct": "by POST",
}
#: Beside the URL names: what somebody sees who asks for what there is not, or what is not theirs.
BESIDE = {"not-there", "not-yours"}
#: Who is to open a page, where it is not the owner.
BY = {"sign-in": "nobody", "unlock": "locked", "not-yours": "bench", "add-fit forbidden": "bench"}
RINGS = "ORLOP-RING-SET"
COUNTED, OTHERWISE = "A-10", "A-13"
GAUGE, WRONG = "M-2", "0.5012 in"


@transaction.atomic
def furnish(shop: Shop) -> None:
    """Add to the demo shop what every page needs to show something."""
    crew = Crew.of(shop)
    bins = {one.code: one for one in Bin.objects.filter(shop=shop)}
    begun = count_begin(person=crew.counter, found=bins[COUNTED])
    count_read(person=crew.counter, count_id=begun.pk, reading=Reading(["0.0790 in"], [length_parse("0.0790 in")]))
    _count(crew, bins[COUNTED], left_out=0)
    _count(crew, bins[OTHERWISE], left_out=1)
    due = timezone.localdate() - timedelta(days=3)
    hand_out_make(person=crew.counter, reason="lent", from_bins=[(bins["A-06"], 2)], to="the shop next door", due=due)
    plate = Plate.objects.filter(shop=shop, state=State.ON_SHELF, bin=bins["A-08"], owner="", box="").earliest("id")
    hand_out_make(person=crew.counter, reason="cash", plate_ids=[plate.pk], to="over the counter")
    hand_out_make(person=crew.counter, reason="transfer", from_bins=[(bins["A-06"], 2)], to="the shop in the valley")
    terminal_enrol(person=crew.owner, code="BENCH-1")
    gauge = Gauge.objects.get(shop=shop, code=GAUGE)
    standard_nm, read_nm = length_parse("0.5000 in"), length_parse(WRONG)
    check = gauge_check(
        person=crew.counter, gauge_id=gauge.pk, standard_nm=standard_nm, texts=[WRONG], readings_nm=[read_nm]
    )
    gauge_correct(person=crew.counter, check=check, run=committed)
    kind = Kind.objects.filter(shop=shop, role="steel").earliest("code")
    order = order_make(person=crew.buyer, supplier="North Works", lines=[Wanted(kind, 10)])
    order_send(person=crew.buyer, order_id=order.pk)
    rings = pieces_of(shop.pk, [RINGS])[RINGS]
    bought = order_make(person=crew.buyer, supplier="North Works", lines=[WantedSet(RINGS, rings, 2)])
    order_send(person=crew.buyer, order_id=bought.pk)
    thick = Reading(["1.50 mm"], [length_parse("1.50 mm")])
    came = [Arrival(rings[0], thick, Tags(), confirm=True)]
    came += [Arrival(kind, Reading([f"{inch(kind.nominal_nm)} in"], [kind.nominal_nm]), Tags()) for kind in rings[1:]]
    order_receive(person=crew.counter, order_id=bought.pk, arrivals=came)


def _count(crew: Crew, found: Bin, left_out: int) -> None:
    """Read all plates of the bin as they are on record, but for some."""
    count = count_begin(person=crew.counter, found=found)
    lying = [Plate.objects.get(pk=pk) for pk in count.seen]
    for plate in lying[left_out:]:
        reading = Reading([f"{inch(plate.thickness_nm)} in"], [plate.thickness_nm])
        count_read(person=crew.counter, count_id=count.pk, reading=reading)
    count_all_read(person=crew.counter, count_id=count.pk)


def every_page(shop: Shop) -> list[tuple[str, str]]:
    """Names and addresses of all pages, as the owner is to open them; of a page that has several looks, each.

    A name is the URL name, with a word behind it for the look: ``match held``. :data:`BY` says which are for others.
    """
    numbers = dict(matches(shop.pk).order_by("number").values_list("state_now", "number"))
    closed, taken, held, opened = (numbers[state] for state in ("closed", "taken", "held", "open"))
    short = Match.objects.filter(shop=shop, state="open", shortfall__isnull=False).latest("number").number
    job = Match.objects.filter(shop=shop, number=closed).values_list("job__code", flat=True).get()
    plate = Plate.objects.filter(shop=shop, state=State.ON_SHELF).latest("id")
    aside = Plate.objects.filter(shop=shop, state=State.TAKEN).latest("id")
    sent = HandOut.objects.get(shop=shop, reason="transfer")
    kind = plate.kind.code
    counts = {
        "reading": BinCount.objects.get(shop=shop, all_read_at=None),
        "look": BinCount.objects.get(shop=shop, all_read_at__isnull=False, booked_at=None),
        "booked": BinCount.objects.filter(shop=shop, booked_at__isnull=False).latest("begun_at"),
    }
    check = GaugeCheck.objects.filter(shop=shop, corrected_at__isnull=False).latest("at")
    study = GaugeStudy.objects.filter(shop=shop).latest("at")
    spec, dry = "QUERN-DIRECT", "BRACK-ROAD"

    def at(name: str, *args: object, **query: object) -> str:
        asked = "&".join(f"{key}={quote(str(value))}" for key, value in query.items())
        return reverse(name, args=args) + (f"?{asked}" if asked else "")

    return [
        ("home", at("home")),
        ("how", at("how")),
        ("sign-in", at("sign-in")),
        ("unlock", at("unlock")),
        ("me", at("me")),
        ("own-code", at("own-code")),
        ("people", at("people")),
        ("shop-person", at("shop-person", "rosa")),
        ("terminals", at("terminals")),
        ("terminal", at("terminal", "BENCH-1")),
        ("settings", at("settings")),
        ("changes", at("changes")),
        ("add-person", at("add-person")),
        ("find", at("find")),
        ("find hits", at("find", q="QUERN")),
        ("find size", at("find", q=".077")),
        ("find nothing", at("find", q="zzz")),
        ("scan-start", at("scan-start")),
        ("scan-start order", at("scan-start", order=1)),
        ("scan-in", at("scan-in", kind)),
        ("scan-in order", at("scan-in", kind, order=1)),
        ("scan-lot", at("scan-lot", kind)),
        ("scan-lot begun", at("scan-lot", kind, count=20)),
        ("close-start", at("close-start")),
        ("close-pack", at("close-pack", spec)),
        ("close-pack again", at("close-pack", spec, again=closed)),
        ("close-pack height", at("close-pack", dry)),
        ("benches", at("benches")),
        ("matches", at("matches")),
        ("match open", at("match", opened)),
        ("match short", at("match", short)),
        ("match held", at("match", held)),
        ("match taken", at("match", taken)),
        ("match closed", at("match", closed)),
        ("slip taken", at("slip", taken)),
        ("slip closed", at("slip", closed)),
        ("final", at("final", taken)),
        ("build-sheet", at("build-sheet", closed)),
        ("comeback", at("comeback", closed)),
        ("missed", at("missed")),
        ("buying", at("buying")),
        ("buying-cover", at("buying-cover", weeks="3", target="95", assume="on")),
        ("buy-rules", at("buy-rules")),
        ("buy-rule", at("buy-rule", fit="QUERN-DRUM", role="steel", nominal="0.0770 in")),
        ("buy-rule row", at("buy-rule", fit="SEDGE-DRUM", role="steel")),
        ("orders", at("orders")),
        ("order", at("order", 1)),
        ("order set", at("order", 2)),
        ("scan-in set", at("scan-in", "ORLOP-RING-2", order=2)),
        ("claims", at("claims")),
        ("set", at("set", code=RINGS)),
        ("week", at("week")),
        ("figures", at("figures")),
        ("residuals", at("residuals")),
        ("residuals gauge", at("residuals", by="gauge")),
        ("shelf", at("shelf")),
        ("shelf-size", at("shelf-size", "QUERN-DRUM", "steel", **{"from": "0.0695 in", "to": "0.0705 in"})),
        ("bins", at("bins")),
        ("bin", at("bin", "A-05")),
        ("bin counted", at("bin", COUNTED)),
        ("count", at("count", counts["reading"].pk)),
        ("count look", at("count", counts["look"].pk)),
        ("count booked", at("count", counts["booked"].pk)),
        ("hand-outs", at("hand-outs")),
        ("hand-outs cash", at("hand-outs", reason="cash")),
        ("hand-outs sent", at("hand-outs", reason="transfer")),
        ("transfer", at("transfer", sent.pk)),
        ("scan-start sent", at("scan-start", transfer=str(plate.pk))),
        ("plate", at("plate", plate.pk)),
        ("plate taken", at("plate", aside.pk)),
        ("gauges", at("gauges")),
        ("gauge", at("gauge", "M-1")),
        ("gauge wrong", at("gauge", GAUGE)),
        ("gauge-corrected", at("gauge-corrected", GAUGE, check=check.pk)),
        ("gauge-study-new", at("gauge-study-new", "M-1")),
        ("gauge-study", at("gauge-study", study.pk)),
        ("labels", at("labels", sort="bin", find="A-0")),
        ("labels sheet", at("labels", sort="kind", find="QUERN", paper="a4")),
        ("import", at("import", "bins")),
        ("fits", at("fits")),
        ("kinds", at("kinds")),
        ("kind", at("kind", kind)),
        ("kind-prices", at("kind-prices", kind)),
        ("job", at("job", job)),
        ("person", at("person", "rosa")),
        ("specs", at("specs")),
        ("spec", at("spec", spec)),
        ("spec-revise", at("spec-revise", spec)),
        ("cover", at("cover", spec)),
        ("estimates", at("estimates", spec)),
        ("estimates told", at("estimates", spec, clearance="0.050 in")),
        ("add-fit", at("add-fit")),
        ("add-kind", at("add-kind")),
        ("add-spec", at("add-spec")),
        ("add-gauge", at("add-gauge")),
        ("add-bin", at("add-bin")),
        ("not-there", "/no-such-page/"),
        ("not-yours", at("people")),
        ("add-fit forbidden", at("add-fit")),
    ]
