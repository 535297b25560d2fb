"""Why what is on hand does not go into this pack: every plate under one reason, told in a few lines."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.bench.models import Match
from plates.catalogue.selectors import MOST_OF_THE_SAME_TEETH
from plates.catalogue.spec_models import Slot
from plates.catalogue.specs import StackLimits
from plates.catalogue.windows import Window
from plates.lengths import length_parse
from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api
from tests.bench.test_overrides import SPREAD
from tests.factories import FitFactory, KindFactory, shelve
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

FIVE = ["0.0670 in"] * 5
#: One of .0710 to .0910 closes it, nearest .0810.
LOOSE = question("0.0640 in", FIVE)
CLOSES = "0.0771 in"


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def kept(api: Api, **more: Any) -> list[dict[str, Any]]:
    reply = api.post("matches/", {**LOOSE, **more})
    assert reply.status == 201, reply
    assert api.get(f"matches/{reply.body['id']}/").body["kept_away"] == reply.body["kept_away"]
    found: list[dict[str, Any]] = reply.body["kept_away"]
    return found


def one(api: Api, reason: str, **more: Any) -> dict[str, Any]:
    found = [row for row in kept(api, **more) if row["reason"] == reason]
    assert len(found) == 1, (reason, found)
    return found[0]


@pytest.mark.parametrize(
    ("reason", "tags", "ask", "said"),
    [
        ("owner", {"owner": "Widow Hale"}, {}, "a customer's, never for another job, 0.0771 in (1.958 mm): Widow Hale"),
        ("box", {"box": "kit 3"}, {}, "in a sealed box, not opened unless you say so, 0.0771 in (1.958 mm): kit 3"),
        ("used", {"condition": "used"}, {"used_ok": False}, "used, and used ones are not asked for"),
    ],
)
def test_one_reason_and_what_it_names(
    api: Api, shelf: Shelf, reason: str, tags: dict[str, str], ask: dict[str, Any], said: str
) -> None:
    shelf.stock(CLOSES, CLOSES, **tags)
    row = one(api, reason, **ask)
    assert (row["slot"], row["count"], row["closes"], row["kinds"]) == ("steels", 2, True, [shelf.kind.code])
    assert (row["from"]["in"], row["to"]["in"]) == ("0.0771", "0.0771")
    assert f"steels: 2 {said}" in row["text"]
    assert "one of them would close it." in row["text"].lower()
    opened = {"box": {"open_boxes": True}, "used": {"used_ok": True}}.get(reason)
    if opened:
        assert reason not in [row["reason"] for row in kept(api, **opened)]


def test_one_plate_alone_says_it(api: Api, shelf: Shelf) -> None:
    shelf.stock(CLOSES, box="kit 3")
    assert one(api, "box")["text"].endswith("kit 3. It would close it.")


def test_held_ones_name_the_match_the_job_and_until_when(api: Api, shelf: Shelf) -> None:
    shelf.stock(CLOSES)
    held = api.post("matches/", {**LOOSE, "job": "J-7"}).body
    until = api.post(f"matches/{held['id']}/hold/", {"option": 1}).body["held_until"]
    row = one(api, "held")
    assert row["matches"] == [{"number": held["number"], "job": "J-7", "until": until}]
    assert f"match {held['number']}, job J-7, until " in row["text"]
    # What this match holds itself is offered to it.
    assert Match.objects.get(pk=held["id"]).kept_away == []
    released = api.post(f"matches/{held['id']}/release/", {}).body
    assert "held" not in [row["reason"] for row in released["kept_away"]]


def test_what_is_set_aside_says_why(api: Api, shelf: Shelf) -> None:
    shelf.kind.cone_limit_nm = length_parse("0.005 in")
    shelf.kind.save()
    api.post("plates/", {"kind": shelf.kind.code, "readings": [CLOSES], "cone": "0.008 in"})
    row = one(api, "quarantined")
    assert "0.0080 in" in row["text"] and "By its thickness it would close it." in row["text"]


def test_used_ones_below_their_minimum(api: Api, owner: Person) -> None:
    """The minimum of a kind holds for every pack: what the owner lifts is that of a slot, for what is in it."""
    shelf = shelf_of(owner, limits=StackLimits(liftable=["reuse_minimum"]))
    shelf.stock("0.0750 in", condition="used")
    shelf.kind.reuse_minimum_nm = length_parse("0.0755 in")
    shelf.kind.save()
    row = one(api, "worn", used_ok=False)
    assert row["count"] == 1 and "lift" not in row["text"]


def test_another_material_facing_and_lining(api: Api, owner: Person, shelf: Shelf) -> None:
    Slot.objects.filter(name="steels").update(material="hardened")
    shelf.stock(CLOSES)
    assert one(api, "material")["text"].count("the slot takes hardened") == 1
    Slot.objects.filter(name="frictions").update(swap=True, facing="paper")
    single = KindFactory.create(fit=shelf.frictions, role="friction", lined_faces=1)
    woven = KindFactory.create(fit=shelf.frictions, role="friction", lined_faces=2, facing="woven")
    for kind in (single, woven):
        shelve(owner, kind, "0.0800 in")
    rows = kept(api, installed={"frictions": ["0.0700 in"] * 5})
    assert {(row["reason"], row["slot"], row["kinds"][0]) for row in rows} == {
        ("lining", "frictions", single.code),
        ("facing", "frictions", woven.code),
    }


@pytest.mark.parametrize(
    ("fit", "told"),
    [({}, True), ({"teeth": 40}, False), ({"tooth_side": "external"}, False)],
)
def test_a_siblings_fit_is_told_where_its_teeth_are_the_same(
    api: Api, owner: Person, shelf: Shelf, fit: dict[str, Any], told: bool
) -> None:
    sibling = FitFactory.create(shop=owner.shop, code="WIDE", **fit)
    kind = KindFactory.create(fit=sibling)
    shelve(owner, kind, CLOSES)
    shelve(owner, kind, CLOSES, owner="a customer")
    rows = kept(api)
    assert [(row["reason"], row["count"]) for row in rows] == ([("fit", 1)] if told else [])
    assert all("WIDE" in row["text"] for row in rows)


def test_what_has_no_teeth_is_like_nothing(api: Api, owner: Person, shelf: Shelf) -> None:
    for fit in (shelf.steels, FitFactory.create(shop=owner.shop)):
        fit.tooth_side, fit.teeth = "none", 0
        fit.save()
    shelve(owner, KindFactory.create(fit=fit), CLOSES)
    assert kept(api) == []


@pytest.mark.parametrize("size", ["thinnest", "thickest"])
def test_sizes_that_the_slot_does_not_take(api: Api, owner: Person, size: str) -> None:
    shelf = shelf_of(owner, limits=StackLimits(liftable=[size]))
    shelf.stock(CLOSES)
    limit = {"thinnest": "0.0772 in", "thickest": "0.0770 in"}[size]
    Slot.objects.filter(name="steels").update(**{f"{size}_nm": length_parse(limit)})
    row = one(api, size)
    assert row["closes"] and limit in row["text"] and "The owner may lift that for one pack." in row["text"]
    assert kept(api, overrides=[{"rule": size, "reason": "old stock"}]) == []


def test_a_rule_of_the_whole_stack_is_told_once_with_its_figure(api: Api, owner: Person) -> None:
    shelf = shelf_of(owner, limits=StackLimits(spread_nm=length_parse("0.010 in"), liftable=["spread"]))
    (rule,) = kept(api)
    assert (rule["reason"], rule["slot"], rule["count"], rule["from"], rule["closes"]) == (
        "spread", None, None, None, False,
    )  # fmt: skip
    assert "0.0100 in (0.254 mm)" in rule["text"]
    shelf.stock(*["0.0771 in"] * 3, "0.0771 in", "0.0500 in")  # .0101 beside .0670
    rows = {row["reason"]: row for row in kept(api)}
    assert (rows["spread"]["count"], rows["spread"]["closes"], rows["spread"]["slot"]) == (4, True, "steels")
    assert "The steels of this pack differ by no more than 0.0100 in" in rows["spread"]["text"]
    assert "spread" not in [row["reason"] for row in kept(api, overrides=SPREAD)]


def test_a_stack_that_would_stand_too_high(api: Api, owner: Person) -> None:
    """Five of .067 and five of .080 stand .735; a .0771 in place of one makes it .7451."""
    shelf = shelf_of(owner, limits=StackLimits(splines_nm=length_parse("0.745 in")))
    shelf.stock(CLOSES)
    row = one(api, "splines")
    assert (row["count"], row["closes"]) == (1, True)
    assert "0.7450 in" in row["text"] and "lift" not in row["text"]


@pytest.mark.parametrize("measures", ["gap", "height"])
def test_what_lies_free_and_is_in_no_option(api: Api, owner: Person, measures: str) -> None:
    """A gap of .064 over .060 wants thicker plates, a height of .064 thinner ones."""
    window = Window("manual", *map(length_parse, ("0.040 in", "0.060 in", "0.050 in")), "p. 1", "in")
    shelf = shelf_of(owner, window=window, measures=measures)
    best, farther, beyond = {
        "gap": ("0.0810 in", "0.0800 in", "0.0950 in"),
        "height": ("0.0530 in", "0.0540 in", "0.0400 in"),
    }[measures]
    shelf.stock(best, farther, farther, beyond, "0.0671 in")
    rows = kept(api, max_changes=1)
    told = {row["reason"]: (row["count"], row["from"]["in"], row["closes"]) for row in rows}
    assert told == {
        "farther": (2, farther.removesuffix(" in"), True),
        "ends_below": (1, beyond.removesuffix(" in"), False),
        "ends_above": (1, "0.0671", False),
    }


def test_those_that_would_have_helped_most_come_first(api: Api, owner: Person, shelf: Shelf) -> None:
    shelf.stock("0.0671 in", box="kit 3")  # easy to open, but it closes nothing
    shelf.stock(CLOSES, owner="Widow Hale")
    shelf.stock(CLOSES, condition="used")
    rows = kept(api, used_ok=False)
    assert [(row["reason"], row["closes"]) for row in rows] == [("used", True), ("owner", True), ("box", False)]


def test_a_pack_in_its_window_needs_no_help(api: Api, shelf: Shelf) -> None:
    shelf.stock(CLOSES, box="kit 3")
    shelf.stock(CLOSES)
    (row,) = kept(api, readings=["0.0500 in"] * 3)
    assert (row["reason"], row["closes"]) == ("box", False)


def test_nothing_is_told_of_a_pack_that_is_not_adjusted(api: Api, shelf: Shelf) -> None:
    shelf.stock(CLOSES, box="kit 3")
    assert kept(api, set_only=True) == []


@pytest.mark.parametrize("used_ok", [None, True, False])
@pytest.mark.parametrize("boxes", [True, False])
def test_every_plate_is_offered_or_kept_away(api: Api, owner: Person, used_ok: bool | None, boxes: bool) -> None:
    """What lies or is held or set aside for the slot: each is in an option, free, or under exactly one reason."""
    shelf = shelf_of(owner)
    for condition in ("new", "used"):
        for box in ("", "kit 3"):
            for whose in ("", "Widow Hale"):
                # more alike than the pack has places for: the shelf is read as a histogram
                shelf.stock(*[CLOSES] * 9, "0.0740 in", condition=condition, box=box, owner=whose)
    shelf.kind.reuse_minimum_nm = length_parse("0.0755 in")
    shelf.kind.cone_limit_nm = length_parse("0.005 in")
    shelf.kind.save()
    api.post("plates/", {"kind": shelf.kind.code, "readings": [CLOSES], "cone": "0.008 in"})
    ask = {**LOOSE, "used_ok": used_ok, "open_boxes": boxes, "max_changes": 1}
    api.post(f"matches/{api.post('matches/', LOOSE).body['id']}/hold/", {"option": 1})
    match = api.post("matches/", ask).body
    offered = {row["plate"] for option in match["options"] for row in option["in"]}
    assert len(offered) + sum(row["count"] for row in match["kept_away"]) == Plate.objects.count()


def test_twice_the_plates_take_no_more_queries(api: Api, shelf: Shelf) -> None:
    counts = []
    for round_ in range(2):
        for tags in ({"box": f"kit {round_}"}, {"owner": f"customer {round_}"}, {"condition": "used"}):
            shelf.stock(CLOSES, CLOSES, **tags)
        with CaptureQueriesContext(connection) as captured:
            rows = kept(api, used_ok=False)
        counts.append(len(captured))
        assert len(rows) == 3
    assert counts[0] == counts[1]
    assert sum("AS any_size" in query["sql"] for query in captured.captured_queries) == 1


def test_the_page_shows_five_lines_and_folds_the_rest(api: Api, owner: Person, shelf: Shelf) -> None:
    shelf.stock(CLOSES, box="kit 3")
    counter = Counter(owner)
    api.post("matches/", LOOSE)
    text = counter.open("/matches/1/")
    assert "why it does not go in" in text and "It would close it." in text
    assert "<details><summary>1 more" not in counter.html
    Match.objects.update(kept_away=Match.objects.get().kept_away * 6)
    counter.open("/matches/1/")
    assert counter.html.count("kit 3") == 6 and "<details><summary>1 more" in counter.html


def test_of_very_many_fits_with_the_same_teeth_only_the_nearest_are_looked_at(api: Api, shelf: Shelf) -> None:
    near, far = length_parse("5.5 in"), length_parse("9.5 in")
    for outer_nm, count in ((near, 3), (far, MOST_OF_THE_SAME_TEETH)):
        for _ in range(count):
            sibling = FitFactory.create(shop=shelf.person.shop, outer_nm=outer_nm)
            shelve(shelf.person, KindFactory.create(fit=sibling), CLOSES)
    (told,) = [row for row in kept(api) if row["reason"] == "fit"]
    assert told["count"] == MOST_OF_THE_SAME_TEETH - 1  # the slot's own fit is one of them
