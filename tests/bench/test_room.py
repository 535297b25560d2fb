"""A pack built from the room of the empty drum: clearance = room - everything that stays - what is chosen."""

import math
from itertools import combinations
from typing import Any

import pytest
from django.core.management import call_command
from uncertainties import ufloat

from plates.catalogue.models import Fit
from plates.lengths import INCH, length_parse
from plates.measuring.models import Gauge
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import FitFactory, KindFactory, shelve

pytestmark = pytest.mark.django_db

TENTH = INCH / 10_000
STEELS = ["0.0768 in", "0.0769 in", "0.0770 in", "0.0770 in", "0.0771 in", "0.0772 in", "0.0790 in"]
RINGS = ["0.0600 in", "0.0620 in", "0.0640 in"]
LEFT_OUT = ["steels", "ring"]


@pytest.fixture(autouse=True)
def catalogue(owner: Person) -> None:
    FitFactory.create(shop=owner.shop, code="S")
    FitFactory.create(shop=owner.shop, code="F", tooth_side="external")
    FitFactory.create(shop=owner.shop, code="R", tooth_side="none", teeth=0)


def stock(owner: Person, fit: str, role: str, *lengths: str, **tags: str) -> None:
    row = Fit.objects.get(shop=owner.shop, code=fit)
    faces = 2 if role == "friction" else 0
    kind = KindFactory.create(fit=row, role=role, lined_faces=faces, nominal_nm=length_parse(lengths[0]))
    shelve(owner, kind, *lengths, **tags)


def spec(api: Api, **more: Any) -> None:
    """Six steels and a ring to be chosen; six frictions of .0800, a wave plate and a pressure plate of .2000 stay."""
    wave = more.pop("wave", {"free": "0.0650 in", "flat": "0.0600 in"})
    slots = [
        {"name": "wave", "role": "wave", "fit": "S", "count": 1},
        {"name": "steels", "role": "steel", "fit": "S", "count": 6, "swap": True, "nominal": "0.0770 in"},
        {"name": "frictions", "role": "friction", "fit": "F", "count": 6, "nominal": "0.0800 in"},
        {"name": "pressure plate", "role": "pressure", "fit": "S", "count": 1, "nominal": "0.2000 in"},
        {"name": "ring", "role": "snap_ring", "fit": "R", "count": 1, "swap": True, "nominal": "0.0620 in"},
    ]
    for slot in slots:
        slot.update(more.pop(str(slot["name"]), {}))
    window = {"source": "manual", "low": "0.048 in", "high": "0.072 in", "reference": "p. 1"}
    body = {
        "code": "DRUM", "title": "Drum", "measures": "gap", "window": window, "slots": slots, "reads_wave": "flat",
        **({"wave": wave} if wave else {}), **more,
    }  # fmt: skip
    reply = api.post("specs/", body)
    assert reply.status == 201, reply


def room(api: Api, reading: str = "1.3240 in", installed: dict[str, Any] | None = None, **more: Any) -> Reply:
    body = {
        "spec": "DRUM", "readings": [reading] * 3, "method": "depth", "installed": installed or {}, "room": True,
        "left_out": LEFT_OUT, **more,
    }  # fmt: skip
    return api.post("matches/", body)


def asked(api: Api, *said: Any, **more: Any) -> dict[str, Any]:
    reply = room(api, *said, **more)
    assert reply.status == 201, reply
    match: dict[str, Any] = reply.body
    return match


def codes(match: dict[str, Any]) -> set[str]:
    return {one["code"] for one in match["cautions"]}


def chosen(option: dict[str, Any]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for row in option["in"]:
        found.setdefault(row["slot"], []).append(row["thickness"]["in"])
    return {slot: sorted(sizes) for slot, sizes in found.items()}


def test_by_hand_in_inch(api: Api, owner: Person) -> None:
    """1.3240 less six of .0800, .0600 of the wave flat and .2000 leaves .5840; six steels of .4620 together and a ring
    of .0620 leave .0600, the middle.
    """
    spec(api)
    stock(owner, "S", "steel", *STEELS)
    stock(owner, "R", "snap_ring", *RINGS)
    match = asked(api)
    assert (match["room"], match["as_read"]["in"], match["clearance"]["in"]) == (True, "1.3240", "0.5840")
    first = match["options"][0]
    assert (first["predicted"]["in"], first["changes"], first["out"]) == ("0.0600", 7, [])
    assert chosen(first) == {
        "steels": ["0.0768", "0.0769", "0.0770", "0.0770", "0.0771", "0.0772"], "ring": ["0.0620"]
    }  # fmt: skip
    assert codes(match) == {"room"}


def test_by_hand_in_millimetres(api: Api, owner: Person) -> None:
    """20.40 less four frictions of 2.00, read, and a wave of 1.50 counted free at 1.80 leaves 10.60; four steels of 2
    and one of the selective pressure plates 1.40, 1.60, 1.80 leave 1.00 with the middle one; target 1.00.
    """
    window = {"source": "manual", "low": "0.80 mm", "high": "1.20 mm", "reference": "p. 2"}
    slots = [
        {"name": "wave", "role": "wave", "fit": "S", "count": 1},
        {"name": "steels", "role": "steel", "fit": "S", "count": 4, "swap": True},
        {"name": "frictions", "role": "friction", "fit": "F", "count": 4},
        {"name": "end", "role": "pressure", "fit": "S", "count": 1, "swap": True},
    ]
    body = {
        "code": "MM", "title": "Metric", "measures": "gap", "window": window, "slots": slots, "reads_wave": "free",
        "wave": {"free": "1.80 mm", "flat": "1.50 mm"},
    }  # fmt: skip
    assert api.post("specs/", body).status == 201
    stock(owner, "S", "steel", *["2.00 mm"] * 5)
    stock(owner, "S", "pressure", "1.40 mm", "1.60 mm", "1.80 mm")
    frictions = {"frictions": ["1.99 mm", "2.00 mm", "2.00 mm", "2.01 mm"]}
    match = asked(api, "20.40 mm", frictions, spec="MM", left_out=["steels", "end"])
    assert match["clearance"]["mm"] == "10.600"
    assert match["options"][0]["predicted"]["mm"] == "1.000"
    assert chosen(match["options"][0])["end"] == ["0.0630"]
    own = asked(api, "20.40 mm", frictions, spec="MM", left_out=["steels", "end"], wave_free="1.95 mm")
    assert own["clearance"]["mm"] == "10.450"


def test_housing_depth_less_piston_depth(api: Api, owner: Person) -> None:
    """Eight plates and seven discs, window 0.073 to 0.141 in (TM 9-2320-272-24-4, §5-56; thicknesses invented)."""
    window = {"source": "manual", "low": "0.073 in", "high": "0.141 in", "reference": "TM 9-2320-272-24-4, 5-56"}
    slots = [
        {"name": "plates", "role": "steel", "fit": "S", "count": 8, "swap": True},
        {"name": "discs", "role": "friction", "fit": "F", "count": 7, "nominal": "0.0850 in"},
    ]
    body = {"code": "TM", "title": "Forward", "measures": "gap", "window": window, "slots": slots}
    assert api.post("specs/", body).status == 201
    stock(owner, "S", "steel", *["0.0980 in"] * 4, *["0.1010 in"] * 8)
    # 3.900 to the housing, 2.400 to the piston: .595 of discs and .107, the middle, leave .798 for eight of .09975.
    first = asked(api, "1.500 in", spec="TM", left_out=["plates"])["options"][0]
    assert (first["predicted"]["in"], first["changes"]) == ("0.1060", 8)
    assert chosen(first)["plates"] == ["0.0980"] * 3 + ["0.1010"] * 5


@pytest.mark.parametrize("reads", ["flat", "free"])
def test_the_same_pack_asked_otherwise_is_predicted_the_same(api: Api, owner: Person, reads: str) -> None:
    """The room; the stack read without what is chosen; and the stack as it was, where all of that must go."""
    spec(api, reads_wave=reads)
    stock(owner, "S", "steel", *STEELS)
    stock(owner, "R", "snap_ring", *RINGS)
    taken_up = {"flat": "1.3240 in", "free": "1.3290 in"}[reads]
    by_room = asked(api, taken_up)
    left_out = api.post("matches/", {
        "spec": "DRUM", "readings": ["0.5840 in"] * 3, "method": "depth", "installed": {}, "left_out": LEFT_OUT,
    }).body  # fmt: skip
    old = {
        "steels": [{"thickness": "0.0700 in", "must_go": True}] * 6,
        "ring": [{"thickness": "0.0640 in", "must_go": True}],
    }
    exchanged = api.post("matches/", {
        "spec": "DRUM", "readings": ["0.1000 in"] * 3, "method": "depth", "installed": old,
    }).body  # fmt: skip

    def told(match: dict[str, Any]) -> list[Any]:
        return [(one["predicted"]["nm"], sorted(row["plate"] for row in one["in"])) for one in match["options"]]

    assert told(by_room)[0] == told(left_out)[0] == told(exchanged)[0]


@pytest.mark.parametrize(
    ("reading", "steels", "rings"),
    [
        ("1.3240 in", STEELS, RINGS),
        ("1.3301 in", ["0.0731 in", "0.0755 in", "0.0771 in", "0.0790 in", "0.0802 in", "0.0811 in", "0.0843 in",
                       "0.0850 in", "0.0766 in"], RINGS),
        ("33.6331 mm", [f"{1.9 + 0.0137 * k:.6f} mm" for k in range(9)], ["1.553 mm", "1.612 mm"]),
    ],
)  # fmt: skip
def test_nothing_on_a_small_shelf_is_nearer(
    api: Api, owner: Person, reading: str, steels: list[str], rings: list[str]
) -> None:
    spec(api)
    stock(owner, "S", "steel", *steels)
    stock(owner, "R", "snap_ring", *rings)
    left_nm = length_parse(reading) - length_parse("0.7400 in")
    target_nm = length_parse("0.0600 in")
    sums = [
        left_nm - sum(map(length_parse, six)) - length_parse(ring) for six in combinations(steels, 6) for ring in rings
    ]
    match = asked(api, reading)
    assert min(abs(one["predicted"]["nm"] - target_nm) for one in match["options"]) == min(
        abs(one - target_nm) for one in sums
    )


def test_a_shelf_that_is_short_says_so(api: Api, owner: Person) -> None:
    spec(api)
    stock(owner, "S", "steel", *STEELS[:5])
    stock(owner, "R", "snap_ring", *RINGS)
    match = asked(api)
    assert (match["options"], match["shortfall"]["nearest"]) == ([], None)


def test_what_the_bench_has_is_chosen_too(api: Api, owner: Person) -> None:
    spec(api)
    stock(owner, "R", "snap_ring", *RINGS)
    kit = {"steels": [{"thickness": "0.0770 in", "count": 6, "source": "open kit"}]}
    first = asked(api, bench=kit)["options"][0]
    assert first["predicted"]["in"] == "0.0600"
    assert sum(row["plate"] is None for row in first["in"]) == 6


def test_what_the_bench_has_for_a_slot_that_stays_is_refused(api: Api, owner: Person) -> None:
    spec(api)
    reply = room(api, left_out=["steels"], bench={"ring": [{"thickness": "0.0620 in"}]})
    assert (reply.status, [error["pointer"] for error in reply.body["errors"]]) == (400, ["/bench/ring"])
    assert "'ring' stays as it is" in reply.body["detail"]


# Uncertainty


def micrometer(owner: Person, code: str, limit_nm: int = 4_000) -> None:
    Gauge.objects.create(
        shop=owner.shop, code=code, type="micrometer", resolution_nm=INCH // 10_000, limit_nm=limit_nm
    )


@pytest.mark.parametrize("gauges", [("", ""), ("M-1", "M-1"), ("M-1", "M-2"), ("M-1", ""), ("", "M-1")])
@pytest.mark.parametrize("pack_gauge", ["", "M-1"])
@pytest.mark.parametrize("reads", ["flat", "free"])
def test_u_agrees_with_another_library(
    api: Api, owner: Person, gauges: tuple[str, str], pack_gauge: str, reads: str
) -> None:
    """``uncertainties`` carries the errors that plates of one gauge share through the expression itself. Limit of error
    of a 0-50 mm micrometer: 4 µm (DIN 863 extract, old edition); the other figures: common practice, no source.
    """
    micrometer(owner, "M-1")
    micrometer(owner, "M-2")
    stays, goes = gauges
    spec(api, reads_wave=reads)
    stock(owner, "S", "steel", *["0.0770 in"] * 6, gauge=goes)
    stock(owner, "R", "snap_ring", "0.0620 in", gauge=goes)
    installed = {"frictions": [{"thickness": "0.0800 in", "gauge": stays}] * 6}
    reading = {"flat": "1.3240 in", "free": "1.3290 in"}[reads]
    (option,) = asked(api, reading, installed, gauge=pack_gauge)["options"]

    limit = 4_000 / math.sqrt(3) / TENTH
    shared = {code: ufloat(0, limit) for code in ("M-1", "M-2")}

    def plate(gauge: str, own: float | None = None) -> Any:
        if own is None:
            own = math.sqrt(2**2 - limit**2) if gauge else 2
        return ufloat(0, own) + ufloat(0, 5) + shared.get(gauge, 0)

    room_read = ufloat(0, math.sqrt(14**2 - limit**2)) + shared[pack_gauge] if pack_gauge else ufloat(0, 14)
    at_book = 25 / math.sqrt(3)
    clearance = room_read - sum(plate(stays) for _ in range(6)) - plate("", at_book) - plate("", at_book)
    if reads == "free":
        clearance -= ufloat(0, 15)
    clearance -= sum(plate(goes) for _ in range(7))
    assert option["u"]["nm"] / TENTH == pytest.approx(clearance.std_dev, abs=0.001)
    shown: dict[str, float] = {}
    square = 0.0
    for part in option["budget"]:
        if part["shared"]:
            shown[part["shared"]] = shown.get(part["shared"], 0) + part["times"] * part["u"]["nm"]
        else:
            square += part["times"] * part["u"]["nm"] ** 2
    assert math.sqrt(square + sum(u**2 for u in shown.values())) == pytest.approx(option["u"]["nm"], abs=5)


def test_the_budget_names_the_plates_that_stay(api: Api, owner: Person) -> None:
    micrometer(owner, "M-1")
    spec(api)
    stock(owner, "S", "steel", *["0.0770 in"] * 6, gauge="M-1")
    stock(owner, "R", "snap_ring", "0.0620 in", gauge="M-1")
    match = asked(api, "1.3240 in", {"frictions": ["0.0800 in"] * 6}, plates_gauge="M-1")
    lines = {part["name"]: part["times"] for part in match["options"][0]["budget"]}
    assert lines == {
        "reading by depth": 1,
        "plates that stay, stacked against measured height": 8,
        "plates that stay, each reading by micrometer M-1": 6,
        "plates that stay, limit of error of M-1": -6,
        "a plate that stays, at book size": 2,
        "stacked against measured height": 7,
        "micrometer M-1, each reading by itself": 7,
        "limit of error of M-1": -7,
    }


def test_mixed_gauges_choose_a_sure_pack(api: Api, owner: Person) -> None:
    """Six steels of the coarse gauge that read the frictions make twelve times its error: nearer, and not sure."""
    micrometer(owner, "M-1", 25_000)
    spec(api)
    stock(owner, "S", "steel", *["0.0770 in"] * 6, gauge="M-1")
    stock(owner, "S", "steel", *["0.0771 in"] * 6)
    stock(owner, "R", "snap_ring", "0.0620 in")
    options = asked(api, "1.3240 in", {"frictions": ["0.0800 in"] * 6}, plates_gauge="M-1", method="indicator")[
        "options"
    ]
    assert [one["confidence"] for one in options] == ["sure", "marginal"]
    assert options[0]["predicted"]["in"] < options[1]["predicted"]["in"] == "0.0600"
    assert options[1]["u"]["nm"] > 12 * 25_000 / math.sqrt(3)


def test_a_zero_error_is_taken_off_the_plates_that_stay(api: Api, owner: Person) -> None:
    micrometer(owner, "M-1")
    Gauge.objects.filter(code="M-1").update(zero_nm=1_000)
    spec(api)
    plain = asked(api, "1.3240 in", {"frictions": ["0.0800 in"] * 6})
    match = asked(api, "1.3240 in", {"frictions": ["0.0800 in"] * 6}, plates_gauge="M-1")
    assert match["clearance"]["nm"] - plain["clearance"]["nm"] == 6 * 1_000


def test_a_gauge_found_wrong_corrects_what_stays(api: Api, owner: Person) -> None:
    """Six frictions read .0003 in too thick: .0018 in more is predicted, taken or not."""
    micrometer(owner, "M-1")
    spec(api)
    stock(owner, "S", "steel", *STEELS)
    stock(owner, "R", "snap_ring", *RINGS)
    read = {"frictions": ["0.0800 in"] * 6}
    taken = asked(api, "1.3240 in", read, plates_gauge="M-1", take=True)
    assert taken["state"] == "taken"
    still = asked(api, "1.3240 in", read, plates_gauge="M-1")
    check = api.post("gauges/M-1/checks/", {"standard": "0.0750 in", "readings": ["0.0753 in"] * 3}).body
    before = next(one for one in taken["options"] if one["number"] == taken["option_taken"])
    reply = api.post("gauges/M-1/correct/", {"check": check["id"]})
    assert reply.status == 200, reply
    after = api.get(f"matches/{taken['id']}/").body
    built = next(one for one in after["options"] if one["number"] == taken["option_taken"])
    assert built["predicted"]["nm"] - before["predicted"]["nm"] == length_parse("0.0018 in")
    open_one = api.get(f"matches/{still['id']}/").body
    assert open_one["clearance"]["nm"] - still["clearance"]["nm"] == length_parse("0.0018 in")


# What does not go


@pytest.mark.parametrize(
    ("of_spec", "ask", "status", "code", "pointer"),
    [
        ({"frictions": {"nominal": None}}, {}, 400, "malformed", "/installed/frictions"),
        ({}, {"left_out": []}, 400, "malformed", "/left_out"),
        ({}, {"left_out": ["wave"]}, 422, "bad_room", "/left_out/0"),
        ({}, {"left_out": ["frictions"]}, 400, "malformed", "/left_out/0"),
        ({}, {"readings": ["0.7400 in"]}, 400, "malformed", "/readings"),
        ({}, {"readings": ["0.7000 in"]}, 400, "malformed", "/readings"),
        ({}, {"wave_state": "free"}, 400, "malformed", "/wave_state"),
        ({"wave": None}, {}, 422, "wave_unknown", "/installed/wave"),
        ({"wave": None, "reads_wave": "free"}, {}, 422, "wave_unknown", "/wave_free"),
        ({"reads_wave": None}, {}, 422, "wave_unknown", "/wave_state"),
        ({"reads_wave": "free"}, {"installed": {"wave": ["0.0600 in"]}}, 400, "malformed", "/installed/wave"),
        ({"adjustable": False}, {}, 422, "bad_room", "/room"),
        ({"measures": "height"}, {}, 422, "bad_room", "/room"),
        ({}, {"left_out": ["ring"], "installed": {"steels": [{"thickness": "0.077 in", "must_go": True}] * 6}}, 422,
         "bad_room", "/installed/steels"),
        ({}, {"readings": ["1.3240 in", "1.3340 in", "1.3240 in"]}, 422, "suspect_reading", "/readings"),
        ({}, {"room": "yes, it is"}, 400, "malformed", "/room"),
    ],
)  # fmt: skip
def test_what_does_not_go_is_refused(
    api: Api, of_spec: dict[str, Any], ask: dict[str, Any], status: int, code: str, pointer: str
) -> None:
    spec(api, **of_spec)
    reply = room(api, **ask)
    assert (reply.status, reply.code, reply.body["errors"][0]["pointer"]) == (status, code, pointer)
    assert api.get("matches/").body["count"] == 0


def test_a_friction_slot_that_may_be_exchanged_may_be_chosen(api: Api, owner: Person) -> None:
    spec(api, frictions={"swap": True})
    stock(owner, "F", "friction", *["0.0800 in"] * 6)
    steels = {"steels": {"nominal": True}, "ring": {"nominal": True}}
    first = asked(api, "1.3240 in", steels, left_out=["frictions"])["options"][0]
    assert (first["predicted"]["in"], first["changes"]) == ("0.0600", 6)


def test_a_window_that_does_not_say_counts_the_wave_as_it_will_be_read(api: Api) -> None:
    spec(api, reads_wave=None)
    flat, free = (asked(api, wave_state=state) for state in ("flat", "free"))
    assert (flat["clearance"]["in"], free["clearance"]["in"]) == ("0.5840", "0.5790")
    assert "wave_untranslated" in codes(flat)


def test_a_wave_read_flat_beats_the_book(api: Api) -> None:
    spec(api, wave=None)
    assert asked(api, "1.3240 in", {"wave": ["0.0590 in"]})["clearance"]["in"] == "0.5850"


def test_what_is_named_stays_though_it_might_be_exchanged(api: Api, owner: Person) -> None:
    spec(api)
    stock(owner, "S", "steel", *STEELS)
    stock(owner, "R", "snap_ring", *RINGS)
    options = asked(api, "1.3240 in", {"steels": ["0.0770 in"] * 6}, left_out=["ring"])["options"]
    assert [(one["changes"], list(chosen(one)), one["out"]) for one in options] == [(1, ["ring"], [])]


def test_one_more_may_join_those_that_stay(api: Api, owner: Person) -> None:
    """Six steels of .0770 stay in a unit that is proven with seven; nothing comes out of an empty drum."""
    spec(api, steels={"extra": 1})
    stock(owner, "S", "steel", "0.0790 in", "0.0770 in")
    stock(owner, "R", "snap_ring", "0.0620 in")
    six = asked(api, "1.3260 in", {"steels": ["0.0770 in"] * 6}, left_out=["ring"])  # a .0790 in their place: .0600
    assert [(one["changes"], one["predicted"]["in"]) for one in six["options"]] == [(1, "0.0620")]
    match = asked(api, "1.4010 in", {"steels": ["0.0770 in"] * 6}, left_out=["ring"])
    assert [(one["way"], one["changes"], one["predicted"]["in"], one["out"]) for one in match["options"]] == [
        ("extra", 2, "0.0600", [])
    ]


def test_an_old_steel_below_its_limit_does_not_stay(api: Api) -> None:
    spec(api, steels={"reuse_minimum": "0.0755 in"})
    reply = room(api, "1.3240 in", {"steels": ["0.0750 in"] + ["0.0770 in"] * 5}, left_out=["ring"])
    assert (reply.status, reply.code) == (422, "bad_room")
    assert "reuse minimum" in reply.body["detail"]


# Cautions and limits


def test_a_room_that_is_a_plate_off_asks_to_count(api: Api, owner: Person) -> None:
    spec(api)
    stock(owner, "S", "steel", *["0.0640 in"] * 6)
    stock(owner, "R", "snap_ring", *RINGS)
    match = asked(api, "1.2470 in")  # the thickness of a steel too small: one is still in the drum
    assert "still in the drum" in next(one["text"] for one in match["cautions"] if one["code"] == "count_first")
    take = api.post(f"matches/{match['id']}/take/", {"option": match["options"][0]["number"]})
    assert (take.status, take.code) == (422, "count_first")


def test_how_the_manual_reads_the_assembled_pack_says_nothing_of_the_room(api: Api) -> None:
    spec(api, reads_method="feeler", reads_load="50 N")
    assert codes(asked(api)) == {"room"}


@pytest.mark.parametrize(("splines", "kept"), [("1.2020 in", True), ("1.2019 in", False)])
def test_the_chosen_plates_stay_on_their_splines(api: Api, owner: Person, splines: str, kept: bool) -> None:
    """.7400 stay and six of .0770 go in beside the ring, which stands on no spline: 1.2020 high."""
    spec(api, splines=splines)
    stock(owner, "S", "steel", *["0.0770 in"] * 6)
    stock(owner, "R", "snap_ring", *RINGS)
    match = asked(api)
    assert bool(match["options"]) is kept
    assert codes(match) == {"room"}


@pytest.mark.parametrize(("spread", "kept"), [("0.0021 in", True), ("0.0020 in", False)])
def test_the_chosen_steels_keep_together(api: Api, owner: Person, spread: str, kept: bool) -> None:
    spec(api, spread=spread)
    stock(owner, "S", "steel", *["0.0769 in"] * 5, "0.0790 in")
    stock(owner, "R", "snap_ring", *RINGS)
    assert bool(asked(api, "1.3250 in")["options"]) is kept


# From the ask to the proof


def test_the_assembled_pack_proves_it(api: Api, owner: Person) -> None:
    spec(api)
    stock(owner, "S", "steel", *STEELS)
    stock(owner, "R", "snap_ring", *RINGS)
    match = asked(api, job="J-7", take=True)
    assert (match["state"], match["outs"]) == ("taken", [])
    assert sorted(row["slot"] for row in match["slip"]) == ["ring", *["steels"] * 6]
    final = api.post(f"matches/{match['id']}/final/", {"readings": ["0.0612 in"] * 3, "method": "feeler"}).body
    assert (final["state"], final["residual"]["in"]) == ("closed", "0.0012")
    assert api.get("residuals/").body["results"][0]["apart"] == "room"
    call_command("ledger_verify")


def test_out_of_the_window_it_goes_on_as_any_other_pack(api: Api, owner: Person) -> None:
    """The assembled pack reads .0820: the stack as built stands, and one thicker steel or ring closes it."""
    spec(api)
    stock(owner, "S", "steel", *STEELS, "0.0990 in")
    stock(owner, "R", "snap_ring", *RINGS)
    match = asked(api, take=True)
    after = api.post(f"matches/{match['id']}/final/", {"readings": ["0.0820 in"] * 3, "method": "feeler"}).body
    assert (after["state"], after["room"], after["clearance"]["in"]) == ("open", False, "0.0820")
    assert "room" not in codes(after)
    assert {row["slot"] for one in after["options"] for row in one["out"]} <= {"steels", "ring"}
    assert any(one["changes"] == 1 and one["confidence"] == "sure" for one in after["options"])


def test_plates_gone_meanwhile_give_fresh_options(api: Api, owner: Person) -> None:
    spec(api)
    stock(owner, "S", "steel", *STEELS)
    stock(owner, "R", "snap_ring", *RINGS)
    one, two = asked(api), asked(api)
    assert api.post(f"matches/{one['id']}/take/", {"option": one["options"][0]["number"]}).status == 200
    reply = api.post(f"matches/{two['id']}/take/", {"option": two["options"][0]["number"]})
    assert (reply.status, reply.code) == (409, "stock_moved")
