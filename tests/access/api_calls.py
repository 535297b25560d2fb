"""Every call of the API as data: one good request for each POST, who may make it, and what it names.

A word in braces stands for something of the asking shop, as `tests.access.furnished` calls it.
"""

from typing import Any, NamedTuple

from tests.access.furnished import GOOD, STUDY, asked_of, pack_of

OWNER, BENCH, COUNTER, BUYER = "owner", "bench", "counter", "buyer"
ROLES = (OWNER, BENCH, COUNTER, BUYER)
#: The roles of the contract: who may what. Everybody reads everything of the own shop.
STOCK = MATCHES = GAUGES = frozenset({OWNER, BENCH, COUNTER})
CATALOGUE = BUYING = frozenset({OWNER, BUYER})
ALL = frozenset(ROLES)


class Post(NamedTuple):
    """``free``: names that are texts of one's own, which another shop may use as well."""

    path: str
    body: dict[str, Any]
    may: frozenset[str]
    free: frozenset[str] = frozenset({"code", "supplier", "gone_reading"})


READING, FINAL = {"readings": ["0.0772 in"]}, {"readings": ["0.0500 in"] * 3, "method": "feeler"}
TEETH = {"tooth_side": "internal", "teeth": 36, "outer": "5.5 in", "inner": "4.2 in"}
RING = {"readings": ["1.5 mm"]}
_PACK = pack_of("{fit}", "{hub}")
_PROVEN = {**_PACK, "slots": [{**_PACK["slots"][0], "fits": ["{fit}"]}, _PACK["slots"][1]]}

POSTS = [
    Post("fits/", {"code": "{code}", **TEETH}, CATALOGUE),
    Post("kinds/", {"code": "{code}", "fit": "{fit}", "role": "steel", "nominal": "0.087 in"}, CATALOGUE),
    Post("specs/", {"code": "{code}", **_PACK}, CATALOGUE),
    Post("specs/{other_spec}/revise/", {**_PACK, "revision": 1, "reason": "printed anew"}, CATALOGUE),
    Post("bins/", {"code": "{code}", "fit": "{fit}", "role": "steel", "from": "0.09 in", "to": "0.1 in"}, STOCK),
    Post("plates/", {"kind": "{kind}", **READING, "bin": "{bin}"}, STOCK),
    Post("plates/", {"kind": "{kind}", **READING, "condition": "used", "agreed_by": "{person}"}, STOCK),
    Post("plates/", {"scan_code": "{scan_code}", **READING}, STOCK),
    Post("plates/{lent}/put-back/", {**READING, "bin": "{bin}"}, STOCK),
    Post("plates/{plate}/rework/", {**READING, "kind": "{kind}", "bin": "{bin}"}, STOCK),
    Post("plates/{plate}/scrap/", {"reason": "burnt"}, STOCK),
    Post("lots/", {"kind": "{kind}", "count": 3, "readings": [["0.077 in"]] * 3, "bin": "{bin}"}, STOCK),
    Post("lots/", {"scan_code": "{scan_code}", "count": 3, "readings": [["0.077 in"]] * 3}, STOCK),
    Post("hand-outs/", {"plates": ["{plate}", "{lot_plate}"], "reason": "cash"}, STOCK),
    Post("hand-outs/", {"bin": "{bin}", "count": 1, "reason": "cash"}, STOCK),
    Post("hand-outs/", {"bin": "{bin}", "count": 1, "reason": "transfer", "to": "Riverside"}, STOCK),
    Post("counts/", {"bin": "{bin}"}, STOCK),
    Post("counts/{count_read}/read/", {"readings": ["0.0781 in"]}, STOCK),
    Post("counts/{count_read}/undo/", {}, STOCK),
    Post("counts/{count_read}/all-read/", {}, STOCK),
    Post("counts/{count_look}/book/", {"gone": ["{missing}"]}, STOCK),
    Post("counts/{count_look}/drop/", {}, STOCK),
    Post("gauges/", {"code": "{code}", "type": "depth"}, GAUGES),
    Post("gauges/{gauge}/checks/", GOOD, GAUGES),
    Post("gauges/{wrong}/correct/", {"check": "{check}", "plates": ["{read_wrong}"]}, STOCK),
    Post("gauges/{gauge}/withdraw/", {"reason": "dropped"}, GAUGES),
    Post("gauges/{withdrawn}/return/", {}, GAUGES),
    Post("gauge-studies/", {"gauge": "{gauge}", "people": ["a", "b"], "plates": ["1", "2"], "readings": STUDY}, GAUGES),
    Post("matches/", {**asked_of("{spec}"), "job": "{job}"}, MATCHES, frozenset({"job"})),
    Post("matches/{open}/take/", {"option": 1}, MATCHES),
    Post("matches/{open}/hold/", {"option": 1}, MATCHES),
    Post("matches/{held}/release/", {}, MATCHES),
    Post("matches/{taken}/pull-check/", {"plate": "{gone}", "readings": ["{gone_reading}"]}, MATCHES),
    Post(
        "matches/{taken}/outs/",
        {"outs": [{
            "slot": "steels", "thickness": "0.067 in", "fate": "shelf", "kind": "{kind}", "bin": "{bin}",
            "confirm": True,
        }]},
        MATCHES,
    ),
    Post("matches/{taken}/final/", FINAL, MATCHES),
    Post("matches/{closed}/comeback/", FINAL, MATCHES),
    Post("cover/", {"spec": "{spec}", "from": "0.06 in", "to": "0.07 in", "without": ["{plate}"]}, ALL),
    Post("bench-plan/", {"matches": ["{open}", "{held}"]}, MATCHES),
    Post("bench-plan/", {"matches": ["{open}", "{held}"], "take": True, "only": ["{open}"]}, MATCHES),
    Post("bench-plan/", {"job": "{open_job}"}, MATCHES),
    Post("buy-rules/", {"fit": "{fit}", "role": "steel"}, BUYING),
    Post("buy-rules/{rule}/drop/", {}, BUYING),
    Post("orders/", {"supplier": "{supplier}", "lines": [
        {"kind": "{kind}", "quantity": 5}, {"set": "{set}", "quantity": 1}
    ]}, BUYING),
    Post("orders/{draft}/send/", {}, BUYING),
    Post("orders/{sent}/cancel/", {}, BUYING),
    Post("orders/{sent}/receive/", {"plates": [{"kind": "{kind}", **READING, "bin": "{bin}"}]}, ALL),
    Post("claims/{claim}/settle/", {"state": "credited", "note": "agreed"}, BUYING),
]  # fmt: skip

#: Lists, and what one of their rows is called in the address.
LISTS = {
    "fits/": "fit", "kinds/": "kind", "specs/": "spec", "bins/": "bin", "plates/": "plate", "gauges/": "gauge",
    "gauge-studies/": "study", "lots/": "lot", "hand-outs/": "hand_out", "counts/": "count_look", "ledger/": "line",
    "matches/": "open", "missed/": "miss", "buy-rules/": "rule", "orders/": "sent", "claims/": "claim",
}  # fmt: skip
#: What is read beside those: of the whole shop, or below one of its rows.
READS = [
    "sizes/", "buying/", "buying-cover/", "residuals/", "residuals/charts/", "residuals/charts/?by=person",
    "specs/{spec}/estimates/?clearance=0.05 in", "gauges/{wrong}/checks/", "gauges/{wrong}/affected/?check={check}",
    "matches/{built}/build-sheet/",
]  # fmt: skip
#: Filters that name something of a shop.
FILTERS = [
    "plates/?fit={fit}", "plates/?kind={kind}", "plates/?bin={bin}", "ledger/?plate={plate}", "ledger/?match={taken}",
    "ledger/?job={taken_job}", "ledger/?kind={kind}", "ledger/?person={person}", "missed/?spec={spec}",
    "sizes/?fit={fit}", "buying/?fit={fit}", "claims/?supplier={supplier}", "residuals/?person={person}",
    "gauges/{wrong}/affected/?check={check}", "gauge-studies/?gauge={gauge}", "kinds/?fit={fit}",
]  # fmt: skip
