"""The sizes of a shelf: counts, demand, misses shared out, and what to buy."""

from datetime import timedelta
from fractions import Fraction
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from plates.buying.missed import shared, wanted
from plates.stock.hand_outs import hand_out_make
from plates.stock.ledger_models import LedgerLine
from plates.stock.sizes import SizeRow
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory, KindFactory, PersonFactory, shelve
from tests.shelves import Shelf, question, shelf_of

STEP = 25_400


def at(thou: float) -> int:
    return round(thou * STEP)


def span(count: int, low: float, high: float) -> dict[str, Any]:
    return {"slot": "steels", "fit": "F", "role": "steel", "count": count, "from_nm": at(low), "to_nm": at(high)}


def row(_fit: str, _role: str) -> SizeRow:
    return SizeRow(at(77), STEP)


def test_a_miss_is_shared_over_what_the_fewest_plates_would_have_closed() -> None:
    nominals = {("F", "steel"): [at(77), at(87), at(97), at(107)]}
    ranges = [span(1, 94, 118), span(2, 85.5, 97.5)]
    assert shared(ranges, nominals, row) == {("F", "steel", 20): Fraction(1, 2), ("F", "steel", 30): Fraction(1, 2)}
    assert shared(ranges, {("F", "steel"): [at(87)]}, row) == {("F", "steel", 10): Fraction(1)}


def test_where_nothing_is_catalogued_it_is_shared_over_the_sizes_themselves() -> None:
    shares = shared([span(1, 94, 96), span(2, 85, 87)], {("F", "steel"): [at(77)]}, row)
    assert shares == {("F", "steel", number): Fraction(1, 3) for number in (17, 18, 19)}
    assert shared([], {}, row) == {}


def test_a_job_waits_for_the_nominal_with_most_room() -> None:
    nominals = {("F", "steel"): [at(87), at(92), at(97)]}
    assert wanted([span(2, 85.5, 97.5)], nominals, row) == (("F", "steel", 15), 2)
    assert wanted([span(2, 85.5, 97.5)], {}, row) is None


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner, 6)


def sizes(api: Api, shelf: Shelf) -> dict[str, dict[str, Any]]:
    """The sizes of the steels by their centre, in thousandths."""
    rows = api.get("sizes/", fit=shelf.steels.code, role="steel").body["results"]
    return {f"{(row['from']['nm'] + STEP / 2) / STEP:.0f}": row for row in rows}


@pytest.mark.django_db
def test_a_size_is_centred_and_open_at_its_end(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0765 in", "1.968499 mm", "0.0775 in")
    found = sizes(api, shelf)
    assert {name: row["on_shelf"] for name, row in found.items()} == {"77": 2, "78": 1}
    assert (found["77"]["from"]["in"], found["77"]["to"]["in"]) == ("0.0765", "0.0775")


@pytest.mark.django_db
def test_what_counts_as_used(api: Api, shelf: Shelf, owner: Person) -> None:
    """Into jobs, sold, used up, lost and scrapped; not lent, not back to the supplier, and less what came back."""
    plates = shelf.stock(*["0.0770 in"] * 8)
    for plate, reason in zip(plates, ("cash", "lent", "own_use", "warranty", "lost"), strict=False):
        hand_out_make(person=owner, reason=reason, plate_ids=[plate.pk], due=timezone.localdate())
    assert api.post(f"plates/{plates[5].pk}/scrap/", {"reason": "dropped"}).status == 200
    assert sizes(api, shelf)["77"]["taken_13w"] == 4
    for plate in plates[:2]:  # the loan comes back, and so does the plate that was sold
        assert api.post(f"plates/{plate.pk}/put-back/", {"readings": ["0.0770 in"]}).status == 200
    assert sizes(api, shelf)["77"]["taken_13w"] == 3
    shelve(owner, shelf.kind, "0.0770 in", owner="a customer")
    assert sizes(api, shelf)["77"]["on_shelf"] == 4


@pytest.mark.django_db
def test_what_was_taken_long_ago_is_no_demand(api: Api, shelf: Shelf, owner: Person) -> None:
    from plates.stock.ledger import Change, ledger_write
    from plates.stock.ledger_models import Act
    from plates.stock.models import State

    old, new = shelf.stock("0.0770 in", "0.0770 in")
    for plate, weeks in ((old, 14), (new, 12)):
        change = Change(plate=plate.pk, revision=1, state=State.SCRAPPED)
        ledger_write(person=owner, act=Act.SCRAPPED, changes=[change], at=timezone.now() - timedelta(weeks=weeks))
    assert LedgerLine.objects.filter(act="scrapped").count() == 2
    assert sizes(api, shelf)["77"]["taken_13w"] == 1


@pytest.mark.django_db
def test_a_miss_and_the_job_that_waits_for_it(api: Api, shelf: Shelf) -> None:
    KindFactory.create(fit=shelf.steels, nominal_nm=at(87))
    ask = question("0.089 in", ["0.0770 in"] * 6)
    asked = api.post("matches/", {**ask, "job": "1182"}).body
    assert asked["options"] == []
    row = sizes(api, shelf)["87"]
    assert (row["missed_13w"], row["waiting"], row["free"], row["buy"] > 0) == (1, 2, -2, True)
    api.post("matches/", {**ask, "job": "1182"})  # asked again the same day: still one
    api.post("matches/", ask)  # a passer-by is missed, and not waited for
    row = sizes(api, shelf)["87"]
    assert (row["missed_13w"], row["waiting"]) == (2, 2)
    shelf.stock("0.0870 in", "0.0870 in")
    assert sizes(api, shelf)["87"]["free"] == 0
    taken = api.post("matches/", {**ask, "job": "1182", "take": True, "accept_marginal": True}).body
    assert taken["state"] == "taken"
    row = sizes(api, shelf)["87"]
    assert (row["on_shelf"], row["waiting"], row["free"], row["taken_13w"]) == (0, 0, 0, 2)


@pytest.mark.django_db
def test_other_teeth_and_roles_are_refused_with_words(api: Api, shelf: Shelf) -> None:
    assert api.get("sizes/", fit="NONE").status == 400
    assert api.get("sizes/", role="disc").status == 400
    for path in ("sizes/", "buying/"):
        assert api.get(path, fit="\0").status == 400
        slip = api.get(path, fitt=shelf.steels.code)
        assert (slip.status, slip.body["errors"][0]["pointer"]) == (400, "/fitt"), "a slip must not list every fit"
        assert api.get(path, fit="", role="", page="1", page_size="2").status == 200


@pytest.mark.django_db
def test_a_rule_of_one_size_beats_that_of_its_row(api: Api, shelf: Shelf) -> None:
    KindFactory.create(fit=shelf.steels, nominal_nm=at(87))
    row = {"fit": shelf.steels.code, "role": "steel", "method": "weeks", "fill_to": 4}
    assert api.post("buy-rules/", row).status == 201
    assert api.post("buy-rules/", {**row, "nominal": "0.0872 in", "fill_to": 9}).body["nominal"]["in"] == "0.0870"
    assert api.post("buy-rules/", {**row, "nominal": "0.0870 in", "fill_to": 10}).status == 201
    assert {name: row["fill_to"] for name, row in sizes(api, shelf).items()} == {"77": 4, "87": 10}
    assert api.get("buy-rules/").body["count"] == 2
    assert api.post("buy-rules/", {**row, "nominal": "0.0990 in"}).code == "bad_figures"
    for weeks in (True, "2", "٢"):
        refused = api.post("buy-rules/", {**row, "lead_weeks": weeks})
        assert (refused.status, refused.body["errors"][0]["pointer"]) == (400, "/lead_weeks"), weeks
    counter = Api(PersonFactory.create(shop=shelf.person.shop, role="counter"))
    assert counter.post("buy-rules/", row).code == "wrong_role"


@pytest.mark.django_db
def test_as_many_queries_for_twice_as_many_fits(api: Api, owner: Person) -> None:
    def queries() -> int:
        with connection.execute_wrapper(lambda execute, *args: seen.append(args) or execute(*args)):  # type: ignore[func-returns-value]
            api.get("buying/")
        count, seen[:] = len(seen), []
        return count

    seen: list[Any] = []
    for _ in range(3):
        shelve(owner, KindFactory.create(fit=FitFactory.create(shop=owner.shop)), "0.0770 in")
    queries()
    few = queries()
    for _ in range(6):
        shelve(owner, KindFactory.create(fit=FitFactory.create(shop=owner.shop)), "0.0770 in")
    assert queries() == few < 12


def bought(api: Api, kind: str) -> dict[str, Any]:
    (found,) = [row for row in api.get("buying/").body["results"] if row["kind"] == kind]
    return found


@pytest.mark.django_db
def test_the_economic_quantity_and_the_price_that_a_quantity_earns(api: Api, shelf: Shelf) -> None:
    """Six jobs wait for two plates each: the quantity cheapest over the year is bought, at the price it earns."""
    breaks = [{"from": 100, "unit_cost": "1.8000"}, {"from": 40, "unit_cost": "2.0000"}]
    body = {"code": "S-087", "fit": shelf.steels.code, "role": "steel", "nominal": "0.0870 in", "pack_size": 10}
    refused = api.post("kinds/", {**body, "price_breaks": breaks})
    assert (refused.code, refused.body["errors"][0]["pointer"]) == ("bad_figures", "/unit_cost")
    dearer = [{"from": 40, "unit_cost": "2.5"}]
    assert api.post("kinds/", {**body, "unit_cost": "2.5", "price_breaks": dearer}).code == "bad_figures"
    twice = [{"from": 40, "unit_cost": "2.4"}, {"from": 40, "unit_cost": "2.3"}]
    assert api.post("kinds/", {**body, "unit_cost": "2.5", "price_breaks": twice}).code == "bad_figures"
    made = api.post("kinds/", {**body, "unit_cost": "2.5000", "price_breaks": breaks}).body
    assert made["price_breaks"] == breaks[::-1]
    ask = question("0.089 in", ["0.0770 in"] * 6)
    for job in range(6):
        assert api.post("matches/", {**ask, "job": f"J-{job}"}).body["options"] == []
    rule = {"fit": shelf.steels.code, "role": "steel", "order_cost": "9.5", "holding_share": 0.25, "fill_weeks": 0}
    assert api.post("buy-rules/", rule).body["order_cost"] == "9.5000"
    row = bought(api, "S-087")
    said = " ".join(row["reasons"])
    assert row["buy"] == 40 and row["unit_cost"] == "2.0000" and row["fill_to"] == row["buy_below"] + 40
    assert "40 at once: economic quantity" in said and "the price falls at 40, in packs of 10" in said
    assert api.post("buy-rules/", {**rule, "order_cost": "200"}).status == 201
    row = bought(api, "S-087")
    # About 25 a year: the economic quantity of 130 and its price are there, and two years use up 50 or 60.
    assert row["buy"] in (50, 60) and row["unit_cost"] == "2.0000"
    assert "no more than two years use up" in " ".join(row["reasons"])
    assert api.post("buy-rules/", {**rule, "fill_to": 15}).status == 201
    row = bought(api, "S-087")
    assert (row["fill_to"], row["buy"]) == (15, 30), "what is set by hand counts as it is"
    for wrong in ({"order_cost": "-1"}, {"holding_share": 0}, {"holding_share": 11}):
        assert api.post("buy-rules/", {**rule, **wrong}).status == 400


@pytest.mark.django_db
def test_a_rule_that_is_dropped_counts_no_more(api: Api, shelf: Shelf) -> None:
    row = {"fit": shelf.steels.code, "role": "steel", "fill_to": 40}
    rule = api.post("buy-rules/", row).body
    assert sizes(api, shelf)["77"]["fill_to"] == 40
    counter = Api(PersonFactory.create(shop=shelf.person.shop, role="counter"))
    assert counter.post(f"buy-rules/{rule['id']}/drop/", {}).code == "wrong_role"
    assert api.post(f"buy-rules/{rule['id']}/drop/", {}).body == rule
    assert sizes(api, shelf)["77"]["fill_to"] < 40 and api.get("buy-rules/").body["count"] == 0
    assert api.post(f"buy-rules/{rule['id']}/drop/", {}).status == 404


@pytest.mark.django_db
def test_a_fit_asked_for_alone_has_the_figures_that_it_has_among_all(api: Api, shelf: Shelf, owner: Person) -> None:
    """A miss is shared over the fits that would have closed it, whichever of them is asked for."""
    from plates.bench.models import Missed
    from plates.buying.sizes import sizes as sizes_of

    other = FitFactory.create(shop=owner.shop)
    for fit in (shelf.steels, other, FitFactory.create(shop=owner.shop)):
        KindFactory.create(fit=fit, nominal_nm=at(87))
    api.post("matches/", {**question("0.089 in", ["0.0770 in"] * 6), "job": "1182"})
    miss = Missed.objects.get()
    Missed.objects.update(ranges=[*miss.ranges, *({**span, "fit": other.code} for span in miss.ranges)])
    every = {(one.fit, one.centre_nm): one for one in sizes_of(owner.shop)}
    assert every[other.code, at(87)].missed == Fraction(1, 2)
    for fit in (shelf.steels.code, other.code):
        alone = {(one.fit, one.centre_nm): one for one in sizes_of(owner.shop, fits=[fit])}
        assert alone == {key: one for key, one in every.items() if key[0] == fit}
