"""Beyond a limit of its kind a plate is set aside: booked, but never offered and never counted as lying."""

from typing import Any

import pytest
from django.core.management import call_command

from plates.lengths import length_parse
from plates.stock import selectors
from plates.stock.findings import Reading
from plates.stock.ledger_models import LedgerLine
from plates.stock.life import plate_put_back, plate_undo
from plates.stock.models import Plate
from shop.errors import WrongState
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import BinFactory, FitFactory, KindFactory
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def shelf(owner: Person) -> Shelf:
    """Steels of .077, all in B-14, with every limit; they are made coned .004."""
    made = shelf_of(owner)
    BinFactory.create(fit=made.steels, code="B-14", from_nm=length_parse("0.0750 in"))
    kind = made.kind
    kind.code = "S-77"
    for name, limit in [
        ("taper_limit", "0.0010 in"), ("made_coned", "0.0040 in"), ("cone_limit", "0.0020 in"),
        ("warp_limit", "0.0050 in"), ("reuse_minimum", "0.0755 in"),
    ]:  # fmt: skip
        setattr(kind, f"{name}_nm", length_parse(limit))
    kind.save()
    return made


def scan(api: Api, *readings: str, **more: Any) -> Reply:
    return api.post("plates/", {"kind": "S-77", "readings": list(readings or ["0.0771 in"]), **more})


def codes(reply: Reply) -> list[str]:
    return [warning["code"] for warning in reply.body["warnings"]]


#: What is said of a plate, and the code and the figures with which it is set aside; None: it goes to the shelf.
#: A plate at its limit keeps to it, one nanometre more does not: 0.0010 in = 25 400 nm.
CASES: list[tuple[dict[str, Any], str | None, tuple[str, str]]] = [
    ({"readings": ["1.958340 mm", "1.932940 mm"]}, None, ("", "")),
    ({"readings": ["1.958341 mm", "1.932940 mm"]}, "beyond_taper", ("0.0010 in", "0.0010 in")),
    ({"readings": ["0.0760 in", "0.0775 in"]}, "beyond_taper", ("0.0015 in", "0.0010 in")),
    ({"cone": "0.0060 in"}, None, ("", "")),
    ({"cone": "0.0020 in"}, None, ("", "")),
    ({"cone": "0.0061 in"}, "beyond_cone", ("0.0021 in", "0.0020 in")),
    ({"cone": "0.0019 in"}, "beyond_cone", ("0.0021 in", "0.0020 in")),
    ({"cone": "0 in"}, "beyond_cone", ("0.0040 in", "0.0020 in")),
    ({"warp": "0.0050 in"}, None, ("", "")),
    ({"warp": "0.127001 mm"}, "beyond_warp", ("0.0050 in", "0.0050 in")),
    ({"warp": "0 in", "hot_spot": False}, None, ("", "")),
    ({"readings": ["0.0755 in"], "condition": "used"}, None, ("", "")),
    ({"readings": ["1.917699 mm"], "condition": "used"}, "below_reuse_minimum", ("0.0755 in", "0.0755 in")),
    ({"readings": ["0.0754 in"], "condition": "new"}, None, ("", "")),
    ({"hot_spot": True, "condition": "used"}, "hot_spot", ("hot spot", "burns the lining")),
]


@pytest.mark.parametrize(("said", "code", "figures"), CASES)
def test_each_limit(api: Api, said: dict[str, Any], code: str | None, figures: tuple[str, str]) -> None:
    reply = api.post("plates/", {"kind": "S-77", "readings": ["0.0771 in"], **said})
    assert reply.status == 201
    (line,) = api.get("ledger/", plate=reply.body["id"]).body["results"]
    if code is None:
        assert (reply.body["state"], reply.body["bin"], codes(reply)) == ("on_shelf", "B-14", [])
        assert (line["delta"], line["balance"], line["reason"]) == (1, 1, "")
    else:
        assert (reply.body["state"], reply.body["bin"], codes(reply)) == ("quarantined", None, [code])
        text = reply.body["warnings"][0]["text"]
        for figure in (*figures, "read it again", "scrap it", "claim it on the supplier"):
            assert figure in text
        assert (line["act"], line["state"], line["delta"], line["balance"]) == ("received", "quarantined", 0, 0)
        assert line["reason"] and text.startswith(line["reason"])
    call_command("ledger_verify")


def test_a_kind_without_limits_sets_nothing_aside(api: Api, shelf: Shelf) -> None:
    KindFactory.create(fit=FitFactory.create(shop=shelf.person.shop), code="PLAIN")
    said = {"cone": "1 in", "warp": "1 in", "condition": "used"}
    reply = scan(api, "0.0740 in", "0.0790 in", kind="PLAIN", **said)
    assert (reply.body["state"], codes(reply)) == ("on_shelf", ["no_bin"])


def test_several_limits_all_stand_in_the_reason(api: Api) -> None:
    reply = scan(api, "0.0740 in", "0.0760 in", condition="used", warp="0.0080 in", hot_spot=True)
    assert codes(reply) == ["beyond_taper", "beyond_warp", "below_reuse_minimum", "hot_spot"]
    reason = LedgerLine.objects.get(plate=reply.body["id"]).reason
    assert all(words in reason for words in ("range over", "warp", "reuse minimum", "hot spot"))


def test_a_chosen_bin_does_not_take_what_is_set_aside(api: Api, shelf: Shelf) -> None:
    reply = scan(api, warp="0.0080 in", bin="B-14")
    assert (reply.body["state"], reply.body["bin"]) == ("quarantined", None)
    BinFactory.create(fit=FitFactory.create(shop=shelf.person.shop), code="C-1")
    assert scan(api, warp="0.0080 in", bin="C-1").code == "wrong_bin"


def test_confirm_says_that_it_is_this_kind_and_lifts_no_limit(api: Api) -> None:
    reply = scan(api, "0.0640 in", condition="used", confirm=True)
    assert (reply.body["state"], codes(reply)) == ("quarantined", ["below_reuse_minimum"])


def test_what_is_set_aside_is_offered_nowhere_and_counted_nowhere(api: Api, shelf: Shelf) -> None:
    ask = question("0.0640 in", ["0.0670 in"] * 5)  # one of about .077 closes it
    aside = scan(api, warp="0.0080 in").body
    assert api.post("matches/", {**ask, "used_ok": True, "open_boxes": True}).body["options"] == []
    shop_id = shelf.person.shop_id
    assert [one.lying for one in selectors.bins_with_contents(shop_id)] == [0]
    assert not selectors.unsorted(shop_id).exists()
    assert [str(one.pk) for one in selectors.quarantined(shop_id)] == [aside["id"]]
    assert api.get("plates/", state="on_shelf").body["count"] == 0
    assert api.get("plates/", state="quarantined").body["count"] == 1
    assert api.post("hand-outs/", {"bin": "B-14", "count": 1, "reason": "cash"}).code == "stock_moved"
    # The same plate within its limits is offered: what kept it from being so was the limit alone.
    scan(api, warp="0.0050 in")
    assert len(api.post("matches/", ask).body["options"]) == 1


def test_a_minimum_raised_later_holds_for_what_lies_there(api: Api, shelf: Shelf) -> None:
    scan(api, "0.0771 in", condition="used")
    ask = question("0.0640 in", ["0.0670 in"] * 5)
    assert api.post("matches/", ask).body["options"]
    shelf.kind.reuse_minimum_nm = length_parse("0.0775 in")
    shelf.kind.nominal_nm = length_parse("0.0775 in")
    shelf.kind.save()
    assert api.post("matches/", ask).body["options"] == []


@pytest.mark.parametrize("read", [False, True])
def test_a_taper_limit_lowered_later_sets_nothing_aside_that_nobody_read_again(
    api: Api, shelf: Shelf, read: bool
) -> None:
    scan(api, "0.0768 in", "0.0774 in")
    assert api.post("matches/", question("0.0640 in", ["0.0670 in"] * 5, take=True)).body["state"] == "taken"
    plate = Plate.objects.get()
    assert (plate.state, plate.spread_nm) == ("taken", length_parse("0.0006 in"))
    shelf.kind.taper_limit_nm = length_parse("0.0005 in")
    shelf.kind.save()
    points = ["0.0768 in", "0.0774 in"]
    reading = Reading(points, [length_parse(point) for point in points]) if read else None
    back = plate_put_back(person=shelf.person, plate_id=plate.pk, reading=reading)
    assert [(one.state, one.spread_nm) for one in back.plates] == [
        ("quarantined" if read else "on_shelf", plate.spread_nm)
    ]
    assert [warning["code"] for warning in back.warnings] == (["beyond_taper"] if read else [])
    call_command("ledger_verify")


def test_what_was_set_aside_comes_back_read_or_not_at_all(api: Api, shelf: Shelf) -> None:
    made = scan(api, "0.0760 in", "0.0775 in").body
    with pytest.raises(WrongState, match="unread"):
        plate_put_back(person=shelf.person, plate_id=made["id"], reading=None)


def test_put_back_judges_again(api: Api) -> None:
    made = scan(api, "0.0760 in", "0.0775 in").body
    path = f"plates/{made['id']}/put-back/"
    again = api.post(path, {"readings": ["0.0760 in", "0.0774 in"]})
    assert (again.status, again.body["state"], codes(again)) == (200, "quarantined", ["beyond_taper"])
    good = api.post(path, {"readings": ["0.0770 in", "0.0771 in"]})
    assert (good.body["state"], good.body["bin"], codes(good)) == ("on_shelf", "B-14", [])
    lines = api.get("ledger/", plate=made["id"]).body["results"]
    assert [(line["act"], line["delta"], line["balance"], bool(line["reason"])) for line in lines] == [
        ("received", 0, 0, True), ("put_back", 0, 0, True), ("put_back", 1, 1, False),
    ]  # fmt: skip
    call_command("ledger_verify")


def test_a_plate_out_of_a_job_may_come_back_beyond_its_limits(api: Api) -> None:
    scan(api)
    match = api.post("matches/", question("0.0640 in", ["0.0670 in"] * 5, take=True, job="J-1")).body
    path = f"plates/{match['slip'][0]['plate']}/put-back/"
    reply = api.post(path, {"readings": ["0.0740 in"], "condition": "used"})
    assert (reply.status, reply.body["state"], reply.body["bin"], codes(reply)) == (
        200, "quarantined", None, ["below_reuse_minimum"],
    )  # fmt: skip
    assert (reply.body["match"], reply.body["job"]) == (None, None)
    call_command("ledger_verify")


def test_a_plate_set_aside_is_scrapped_or_its_scan_undone(api: Api, shelf: Shelf) -> None:
    first, second = (scan(api, warp="0.0080 in").body for _ in range(2))
    assert api.post(f"plates/{first['id']}/scrap/", {"reason": "warped"}).body["state"] == "scrapped"
    plate_undo(person=shelf.person, plate_id=second["id"])
    assert list(Plate.objects.values_list("state", flat=True)) == ["scrapped", "scrapped"]
    assert sorted(LedgerLine.objects.values_list("act", "delta")) == [
        ("received", 0), ("received", 0), ("scrapped", 0), ("undone", 0),
    ]  # fmt: skip
    call_command("ledger_verify")


def test_rework_is_judged_as_well(api: Api) -> None:
    made = scan(api, "0.0771 in", condition="used").body
    reply = api.post(f"plates/{made['id']}/rework/", {"readings": ["0.0750 in"], "reason": "face ground"})
    assert (reply.status, reply.body["state"]) == (200, "quarantined")
    assert codes(reply) == ["below_reuse_minimum", "lining_dust"]
    (line,) = api.get("ledger/", plate=reply.body["id"]).body["results"]
    assert line["reason"].startswith("face ground. 0.0750 in")
    call_command("ledger_verify")


def test_of_a_lot_each_plate_read_is_judged_on_its_own(api: Api) -> None:
    readings = [["0.0771 in", "0.0770 in"], ["0.0765 in", "0.0776 in"], ["0.0771 in"]]
    made = api.post("lots/", {"kind": "S-77", "count": 5, "readings": readings}).body
    assert [(plate["state"], plate["bin"]) for plate in made["plates"]] == [
        ("on_shelf", "B-14"), ("quarantined", None), *[("on_shelf", "B-14")] * 3,
    ]  # fmt: skip
    assert [warning["code"] for warning in made["warnings"]] == ["beyond_taper", "few_read"]
    call_command("ledger_verify")


def test_the_unread_of_a_lot_are_not_judged_by_the_range_of_the_lot(api: Api, shelf: Shelf) -> None:
    """The range of a lot is no taper: five plates .0009 apart are each flat."""
    shelf.kind.taper_limit_nm = length_parse("0.0005 in")
    shelf.kind.save()
    readings = [["0.0765 in"], ["0.0774 in"], ["0.0770 in"], ["0.0770 in"], ["0.0770 in"]]
    made = api.post("lots/", {"kind": "S-77", "count": 20, "readings": readings}).body
    assert {plate["state"] for plate in made["plates"]} == {"on_shelf"}


def test_what_is_found_on_a_lot_holds_for_all_of_it(api: Api) -> None:
    made = api.post("lots/", {"kind": "S-77", "count": 3, "readings": [["0.0771 in"]], "warp": "0.0060 in"}).body
    assert {plate["state"] for plate in made["plates"]} == {"quarantined"}
    assert [warning["code"] for warning in made["warnings"]] == ["beyond_warp", "few_read"]
    used = {"kind": "S-77", "count": 6, "readings": [["0.0750 in"]] * 5, "condition": "used"}
    assert {plate["state"] for plate in api.post("lots/", used).body["plates"]} == {"quarantined"}
    call_command("ledger_verify")
