"""Every page as data: the addresses that are opened, and one good form for each that is sent, with who may send it.

A word in braces stands for something of the asking shop, as `tests.access.furnished` calls it. Each form gets a fresh
key where it is sent.
"""

from typing import Any, NamedTuple

from shop.rows import uuid7
from tests.access.api_calls import ALL, BUYING, CATALOGUE, GAUGES, MATCHES, OWNER, STOCK

ONLY_OWNER = frozenset({OWNER})


class Sent(NamedTuple):
    """``free``: names that are texts of one's own, which another shop may use as well. ``writes``: whether it is to
    change something.
    """

    path: str
    fields: dict[str, Any]
    may: frozenset[str]
    free: frozenset[str] = frozenset({"code", "supplier", "job"})
    writes: bool = True


_BATCH, _LOT = str(uuid7()), str(uuid7())
#: Of a shop that does not know the gauge its code is a text like any other.
_READ = frozenset({"gauge"})
_SPEC = {
    "rows": "2", "title": "Direct", "measures": "gap", "source": "rule",
    "slot0-name": "steels", "slot0-role": "steel", "slot0-fit": "{fit}", "slot0-count": "5",
    "slot0-nominal": "0.0770 in", "slot0-swap": "on",
    "slot1-name": "frictions", "slot1-role": "friction", "slot1-fit": "{hub}", "slot1-count": "5",
    "slot1-nominal": "0.0800 in",
}  # fmt: skip
_PROVEN = {**_SPEC, "slot0-fits": "{fit}"}
_ASKED = {
    "at": "job", "go": "ask", "reading-kept": ["0.0640 in"] * 3, "method": "feeler", "slot1-how": "change",
    "slot1-kept": ["0.0670 in"] * 5, "job": "{job}",
}  # fmt: skip
_STUDY = {"people": "a, b", "plates": "2", "trials": "2", "finish": "on"}
_STUDY |= {f"r{row}-{trial}-{plate}": "0.0770 in" for row in (0, 1) for trial in (0, 1) for plate in (0, 1)}
_CHECK = {"standard": "25.000 mm", "reading": "25.001 mm"}
_FINAL = {"go": "done", "reading-kept": ["0.0500 in"] * 3, "method": "feeler"}
_OUT = {"slot": "steels", "thickness": "0.0670 in"}
_SETTINGS = {
    "name": "Ours", "unit_first": "mm", "sure_level": "95", "hold_minutes": "240", "lock_minutes": "10",
    "spread_nm": "0.0030 in", "u_feeler_nm": "0.0015 in", "u_indicator_nm": "0.0010 in", "u_depth_nm": "0.0014 in",
    "u_air_nm": "0.0020 in", "u_single_nm": "0.0010 in", "u_wave_nm": "0.0015 in", "u_micrometer_nm": "0.0002 in",
    "u_stacked_nm": "0.0005 in",
}  # fmt: skip
_PASSWORD = "a mile of string 4"
#: Of everybody who asks; said once more with what opens doors to somebody.
OWN_PASSWORD = "a drawer of feeler blades"

SENT = [
    Sent("/add/person/", {"username": "{code}", "role": "bench", "password": _PASSWORD, "now": OWN_PASSWORD},
         ONLY_OWNER),
    Sent("/shop/people/{person}/", {"act": "role", "role": "counter", "now": OWN_PASSWORD}, ONLY_OWNER),
    Sent("/shop/people/{person}/", {"act": "password", "password": _PASSWORD, "now": OWN_PASSWORD}, ONLY_OWNER),
    Sent("/shop/people/{person}/", {"act": "pin", "pin": "739152", "now": OWN_PASSWORD}, ONLY_OWNER),
    Sent("/shop/people/{person}/", {"act": "leave"}, ONLY_OWNER),
    Sent("/shop/people/{person}/", {"act": "sessions"}, ONLY_OWNER),
    Sent("/shop/people/{person}/", {"act": "tokens"}, ONLY_OWNER),
    Sent("/shop/people/{person}/", {"act": "code", "now": OWN_PASSWORD}, ONLY_OWNER),
    Sent("/shop/people/{person}/", {"act": "badge", "now": OWN_PASSWORD}, ONLY_OWNER),
    Sent("/labels/badge/{person}/", {"badge": "{badge}"}, ONLY_OWNER),
    Sent("/shop/terminals/", {"code": "{code}"}, ONLY_OWNER),
    Sent("/shop/terminals/{terminal}/", {"code": "{code}"}, ONLY_OWNER),
    Sent("/shop/terminals/{terminal}/end/", {}, ONLY_OWNER),
    Sent("/shop/settings/", _SETTINGS, ONLY_OWNER),
    Sent("/add/fit/", {"code": "{code}", "tooth_side": "internal", "teeth": "36", "outer": "5.5 in",
                       "inner": "4.2 in"}, CATALOGUE),
    Sent("/add/kind/", {"code": "{code}", "fit": "{fit}", "role": "steel", "nominal": "0.087 in"}, CATALOGUE),
    Sent("/kinds/{kind}/prices/", {"unit_cost": "2.10", "price_breaks": "50: 1.95"}, CATALOGUE),
    Sent("/add/spec/", {"code": "{code}", **_SPEC}, CATALOGUE),
    Sent("/specs/{other_spec}/revise/", {**_SPEC, "code": "{other_spec}", "revision": "1", "reason": "printed anew"},
         CATALOGUE, frozenset({"other_spec"})),
    Sent("/add/spec/drawing/", {"code": "{code}", **_SPEC}, ALL, writes=False),
    Sent("/add/bin/", {"code": "{code}", "fit": "{fit}", "role": "steel", "from_": "0.09 in", "to": "0.1 in"}, STOCK),
    Sent("/import/bins/", {"file": "code,fit,role,from,to\n{code},{fit},steel,0.09 in,0.1 in\n"}, STOCK, writes=False),
    Sent("/import/bins/", {"file": "code,fit,role,from,to\n{code},{fit},steel,0.09 in,0.1 in\n", "write": "on"}, STOCK),
    Sent("/import/kinds/", {"file": "code,fit,role,nominal\n{code},{fit},steel,0.087 in\n", "write": "on"}, CATALOGUE),
    Sent("/import/plates/", {"file": "kind,thickness\n{kind},0.0770 in\n", "write": "on"}, STOCK),
    Sent("/scan-in/kind/{kind}/", {"batch": _BATCH, "condition": "new", "reading": "0.0772 in", "bin": "{bin}",
                                   "gauge": "{gauge}"}, STOCK, _READ),
    Sent("/scan-in/kind/{kind}/", {"batch": _BATCH, "condition": "new", "reading": "0.0772 in",
                                   "order": "{sent_number}"}, ALL),
    Sent("/scan-in/kind/{kind}/lot/", {"batch": _BATCH, "lot": _LOT, "condition": "new", "count": "2",
                                       "read": "0.0770 in~0.0771 in", "bin": "{bin}", "gauge": "{gauge}"}, STOCK,
         _READ),
    Sent("/scan-in/undo/", {"plate": "{plate}", "batch": _BATCH}, STOCK),
    Sent("/plates/{lent}/read-again/", {"reading": "0.0768 in", "condition": "used", "gauge": "{gauge}"}, STOCK, _READ),
    Sent("/plates/{plate}/scrap/", {"reason": "burnt"}, STOCK),
    Sent("/bins/{bin}/hand-out/", {"count": "1", "reason": "cash"}, STOCK),
    Sent("/bins/{bin}/hand-out/", {"count": "1t", "to": "Riverside"}, STOCK),
    Sent("/bins/{bin}/count/", {"gauge": "{gauge}"}, STOCK, _READ),
    Sent("/counts/{count_read}/read/", {"reading": "0.0781 in"}, STOCK),
    Sent("/counts/{count_read}/undo/", {}, STOCK),
    Sent("/counts/{count_read}/all-read/", {}, STOCK),
    Sent("/counts/{count_look}/book/", {"gone-{missing}": "on"}, STOCK),
    Sent("/counts/{count_look}/drop/", {}, STOCK),
    Sent("/add/gauge/", {"code": "{code}", "type": "depth"}, GAUGES),
    Sent("/gauges/{gauge}/check/", _CHECK, GAUGES),
    Sent("/gauges/{gauge}/withdraw/", {"reason": "dropped"}, GAUGES),
    Sent("/gauges/{withdrawn}/return/", {}, GAUGES),
    Sent("/gauges/{wrong}/correct/", {"check": "{check}"}, GAUGES),
    Sent("/gauges/{gauge}/study/", _STUDY, GAUGES),
    Sent("/close-a-pack/{spec}/", _ASKED, MATCHES),
    Sent("/close-a-pack/{spec}/", {**_ASKED, "again": "{closed_number}"}, MATCHES),
    Sent("/close-a-pack/{spec}/", {**_ASKED, "gauge": "{gauge}", "plates_gauge": "{gauge}", "second": "0.0641 in",
                                   "second_person": "{person}"}, MATCHES,
         frozenset({"job", "gauge", "person"})),
    Sent("/close-a-pack/{spec}/preview/", {**_ASKED, "job": "{open_job}"}, MATCHES, frozenset({"open_job"}),
         writes=False),
    Sent("/matches/{open_number}/take/", {"option": "1"}, MATCHES),
    Sent("/matches/{open_number}/hold/", {"option": "1"}, MATCHES),
    Sent("/matches/{held_number}/release/", {}, MATCHES),
    Sent("/matches/{taken_number}/pull-check/", {"reading": "{gone_reading}", "plate": "{gone}", "gauge": "{gauge}"},
         MATCHES, _READ),
    Sent("/matches/{taken_number}/outs/", {**_OUT, "fate": "shelf", "kind": "{kind}", "bin": "{bin}", "confirm": "on",
                                           "reading": "0.0670 in", "gauge": "{gauge}"}, MATCHES, _READ),
    Sent("/matches/{taken_number}/outs/", {**_OUT, "fate": "pack", "to_job": "{open_job}"}, MATCHES,
         frozenset({"open_job"})),
    Sent("/matches/{taken_number}/final/", {**_FINAL, "gauge": "{gauge}"}, MATCHES, _READ),
    Sent("/matches/{closed_number}/comeback/", {**_FINAL, "gauge": "{gauge}"}, MATCHES, _READ),
    Sent("/bench-plan/", {"match": ["{open_number}", "{held_number}"]}, MATCHES),
    Sent("/bench-plan/", {"match": ["{open_number}"], "go": "chosen", "only": ["{open_number}"],
                          "shown": ["{open_number}:1"], "accept_marginal": "on", "counted": "on"}, MATCHES),
    Sent("/buying/order/", {"supplier": "{supplier}", "of-{kind}": "5", "set-{set}": "1"}, BUYING),
    Sent("/orders/{draft_number}/send/", {}, BUYING),
    Sent("/orders/{sent_number}/cancel/", {}, BUYING),
    Sent("/orders/{sent_number}/claim/", {}, BUYING),
    Sent("/claims/settle/", {"claim": ["{claim}"], "state": "credited", "note": "agreed"}, BUYING),
    Sent("/buying/rules/set/", {"fit": "{fit}", "role": "steel", "nominal": "0.077 in", "method": "service",
                                "service": "95"}, BUYING),
    Sent("/buying/rules/{rule}/drop/", {}, BUYING),
    Sent("/labels/", {"sort": "bin", "fit": "{fit}", "pick": ["{bin}"], "paper": "57x32"}, ALL,
         frozenset({"bin"}), writes=False),
    Sent("/labels/pdf/", {"sort": "bin", "pick": ["{bin}"], "paper": "57x32"}, ALL, writes=False),
]  # fmt: skip

#: What is opened of the whole shop. All of these show something, and nothing of another shop.
LISTS = [
    "/", "/how-it-goes/", "/me/", "/find/", "/find/?q=0.077 in", "/scan-in/", "/close-a-pack/", "/benches/",
    "/on-the-bench/?job=x", "/matches/", "/missed/", "/buying/", "/buying/cover/?weeks=3&target=95&assume=on",
    "/buying/cover/could-go.csv?weeks=3&target=95&assume=on", "/buying/rules/", "/week/", "/orders/", "/claims/",
    "/claims.csv", "/residuals/", "/residuals/?by=person", "/residuals/?by=gauge", "/shelf/", "/bins/", "/hand-outs/",
    "/hand-outs/?reason=cash", "/hand-outs/?reason=transfer", "/gauges/", "/labels/?sort=bin", "/labels/?sort=kind",
    "/labels/?sort=job",
    "/labels/pdf/?sort=bin", "/import/bins/", "/export/bins.csv", "/export/kinds.csv", "/export/plates.csv", "/fits/",
    "/kinds/", "/specs/", "/add/fit/", "/add/kind/", "/add/spec/", "/add/gauge/", "/add/bin/", "/echo/?reading=75",
    "/me/code/",
]  # fmt: skip
#: The owner's alone: everybody else reads why.
OWNERS = [
    "/shop/people/", "/shop/people/{person}/", "/shop/terminals/", "/shop/terminals/{terminal}/", "/shop/settings/",
    "/shop/changes/", "/shop/changes/?sign_ins", "/add/person/",
]  # fmt: skip
#: For who buys, and the owner; everybody else is refused.
BUYERS = ["/figures/", "/figures/worth.csv"]
#: One thing of the shop, or a list that names one.
NAMED = [
    "/find/?q={kind}", "/find/?q={bin}", "/find/?q={open_job}", "/find/?q={gauge}", "/find/?q={spec}",
    "/find/?q={supplier}", "/scan-in/?code={kind}", "/scan-in/?code={scan_code}", "/scan-in/?order={sent_number}",
    "/scan-in/kind/{kind}/", "/scan-in/kind/{kind}/?order={sent_number}&bin={bin}&gauge={gauge}&batch=" + _BATCH,
    "/scan-in/kind/{kind}/?undone={plate}&batch=" + _BATCH, "/scan-in/kind/{kind}/lot/",
    "/scan-in/kind/{kind}/lot/?count=3&order={sent_number}&bin={bin}&batch=" + _BATCH + "&lot=" + _LOT,
    "/close-a-pack/?find={spec}", "/close-a-pack/{spec}/", "/close-a-pack/{spec}/?again={closed_number}",
    "/on-the-bench/?job={taken_job}", "/matches/?job={open_job}", "/matches/{open_number}/", "/matches/{held_number}/",
    "/matches/{taken_number}/slip/", "/matches/{taken_number}/slip/?laid={plate}&gauge={gauge}",
    "/matches/{taken_number}/final/", "/matches/{closed_number}/build-sheet/", "/matches/{closed_number}/comeback/",
    "/matches/{open_number}/take/", "/matches/{open_number}/hold/", "/matches/{held_number}/release/",
    "/matches/{taken_number}/pull-check/", "/matches/{taken_number}/outs/", "/bench-plan/?match={open_number}",
    "/missed/?spec={spec}", "/buying/rules/set/?fit={fit}&role=steel&nominal=0.077 in", "/orders/{sent_number}/",
    "/orders/{sent_number}.csv", "/claims/?supplier={supplier}", "/claims/?order={sent_number}",
    "/claims.csv?order={sent_number}", "/residuals/?by=person&name={person}", "/shelf/?fit={fit}",
    "/shelf/{fit}/steel/?from=0.05 in&to=0.09 in", "/bins/{bin}/", "/counts/{count_read}/", "/counts/{count_look}/",
    "/plates/{plate}/", "/plates/{lent}/", "/transfers/{transfer}/", "/gauges/{gauge}/", "/gauges/{wrong}/",
    "/gauges/{gauge}/check/",
    "/gauges/{wrong}/corrected/?check={check}&matches={open_number}", "/gauges/{gauge}/study/",
    "/gauge-studies/{study}/", "/labels/?sort=bin&fit={fit}", "/labels/?sort=job&find={open_job}",
    "/labels/pdf/?sort=kind&find={kind}", "/import/bins/?written=1", "/kinds/?find={kind}", "/kinds/{kind}/",
    "/kinds/{kind}/prices/", "/sets/?code={set}", "/jobs/{open_job}/", "/people/{person}/", "/specs/?find={spec}",
    "/specs/{spec}/", "/specs/{spec}/?revision=1", "/specs/{other_spec}/revise/", "/specs/{spec}/cover/",
    "/specs/{spec}/cover/?first=0.06 in&last=0.07 in", "/specs/{spec}/estimates/?clearance=0.05 in",
    "/add/bin/?fit={fit}&role=steel",
]  # fmt: skip
OPENED = [*LISTS, *OWNERS, *BUYERS, *NAMED]
#: Addresses that are not of a shop, each with why.
BEFORE_A_SHOP = {
    "healthz": "for machines", "readyz": "for machines", "metrics": "for machines", "favicon.ico": "a picture",
    "sign-in/": "before there is a shop", "unlock/": "the same person again", "go-on/": "the same form again",
    "sign-in/code/": "before one is in the shop", "me/password/": "for a password that somebody else chose",
    "sign-out/": "of the own session", "change-person/": "of the own session", "import/": "leads to the first table",
}  # fmt: skip
#: Forms that move nothing of the shop, but the own password, PIN and codes, by the present ones: `test_own` has them.
OWN = {"me/", "me/code/"}
