"""A ring set bought as one line, received in two deliveries; then a ring of it is taken."""

from decimal import Decimal
from typing import Any

import pytest

from plates.buying.models import OrderLine
from plates.catalogue.models import Kind
from plates.lengths import length_parse
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory, KindFactory
from tests.pages.counter import Counter
from tests.shelves import question

pytestmark = pytest.mark.django_db
SIZES = ("1.40", "1.60", "1.80", "2.00", "2.20", "2.40")


@pytest.fixture(autouse=True)
def ring_set(api: Api, owner: Person) -> None:
    fit = FitFactory.create(shop=owner.shop, code="GROOVE", tooth_side="none", teeth=0)
    for mark, size in enumerate(SIZES, 1):
        KindFactory.create(
            fit=fit, role="snap_ring", code=f"R-{size}", nominal_nm=length_parse(f"{size} mm"), set_of="RINGS",
            mark=str(mark),
        )  # fmt: skip
    body: dict[str, Any] = {
        "code": "RING",
        "title": "Overrun clutch",
        "measures": "gap",
        "window": {"source": "manual", "low": "1.00 mm", "high": "1.30 mm", "reference": "manual, p. 3-4"},
        "slots": [{"name": "ring", "role": "snap_ring", "fit": "GROOVE", "count": 1, "swap": True}],
    }
    assert api.post("specs/", body).status == 201


def bought(api: Api, sets: int = 1, **more: Any) -> dict[str, Any]:
    lines = [{"set": "RINGS", "quantity": sets, "unit_cost": "35.00", **more}]
    made: dict[str, Any] = api.post("orders/", {"supplier": "North Works", "lines": lines}).body
    api.post(f"orders/{made['id']}/send/", {})
    return made


def came(api: Api, order: dict[str, Any], *sizes: str) -> dict[str, Any]:
    plates = [{"kind": f"R-{size}", "readings": [f"{size} mm"]} for size in sizes]
    answer = api.post(f"orders/{order['id']}/receive/", {"plates": plates})
    assert answer.status == 200, answer.body
    return answer.body


def on_order(api: Api) -> list[int]:
    return [row["on_order"] for row in api.get("sizes/", fit="GROOVE", role="snap_ring").body["results"]]


def test_one_line_becomes_its_rings_and_then_shows_five_of_six(api: Api, owner: Person) -> None:
    order, window = bought(api), Counter(owner)
    line = order["lines"][0]
    assert (line["set"], line["kind"], line["quantity"], line["unit_cost"]) == ("RINGS", None, 1, "35.0000")
    assert [(piece["kind"], piece["quantity"], piece["unit_cost"]) for piece in line["pieces"]] == [
        (f"R-{size}", 1, "5.8333") for size in SIZES
    ]
    assert on_order(api) == [1] * 6

    part = came(api, order, "1.40", "1.60", "1.80", "2.20", "2.40")
    line = part["lines"][0]
    assert (part["state"], line["received"], line["to_come"]) == ("part", 0, 1)
    assert line["unfinished"] == {"number": 1, "there": 5, "of": 6, "missing": ["R-2.00"]}
    assert "Set RINGS: set 1: 5 of 6" in window.open("/orders/1/") and on_order(api) == [0, 0, 0, 1, 0, 0]

    mark = {"set": "RINGS", "mark": "4", "readings": ["2.00 mm"]}
    whole = api.post(f"orders/{order['id']}/receive/", {"plates": [mark]}).body
    line = whole["lines"][0]
    assert (whole["state"], line["received"], line["unfinished"]) == ("received", 1, None)
    assert "1 whole on the shelf" in window.open("/find/", q="RINGS") and window.path.startswith("/sets/")

    asked = question("0.82 mm", {"ring": ["2.00 mm"]}, "RING", method="air", take=True, accept_marginal=True)
    assert api.post("matches/", asked).body["slip"][0]["kind"] == "R-1.60"
    assert "5 of 6 on the shelf; to the next whole one R-1.60 is missing" in window.open("/sets/", code="RINGS")
    assert "A piece of the set RINGS: 5 of 6 here" in window.open("/kinds/R-2.00/")


def test_of_several_sets_each_is_told_until_it_is_whole(api: Api, owner: Person) -> None:
    order, window = bought(api, 2), Counter(owner)
    came(api, order, *SIZES, *SIZES[:5])
    line = api.get(f"orders/{order['id']}/").body["lines"][0]
    assert (line["received"], line["to_come"]) == (1, 1)
    assert line["unfinished"] == {"number": 2, "there": 5, "of": 6, "missing": ["R-2.40"]}
    assert "set 2: 5 of 6" in window.open("/orders/") and on_order(api) == [0, 0, 0, 0, 0, 1]
    assert "1 whole, and 5 of 6 on the shelf" in window.open("/sets/", code="RINGS")


def test_a_set_without_a_cost_costs_what_its_pieces_cost(api: Api) -> None:
    lines = [{"set": "RINGS", "quantity": 1}]
    assert api.post("orders/", {"supplier": "North Works", "lines": lines}).body["lines"][0]["unit_cost"] is None
    Kind.objects.update(unit_cost=Decimal("6.30"))
    line = api.post("orders/", {"supplier": "North Works", "lines": lines}).body["lines"][0]
    assert (line["unit_cost"], line["pieces"][0]["unit_cost"]) == ("37.8000", "6.3000")


def test_more_of_a_ring_than_its_sets_have_is_asked_about_and_makes_no_set(api: Api) -> None:
    order = bought(api)
    path = f"orders/{order['id']}/receive/"
    two = {"plates": [{"kind": "R-1.40", "readings": ["1.40 mm"]}] * 2}
    assert api.post(path, two).code == "over_delivery"
    line = api.post(path, {**two, "confirm": True}).body["lines"][0]
    assert line["unfinished"]["there"] == 1 and line["pieces"][0]["received"] == 2
    rest = [{"kind": f"R-{size}", "readings": [f"{size} mm"]} for size in SIZES[1:] * 2]
    line = api.post(path, {"plates": rest, "confirm": True}).body["lines"][0]
    assert (line["received"], line["to_come"], line["unfinished"]) == (1, 0, None)


@pytest.mark.parametrize(
    ("lines", "pointer"),
    [
        ([{"set": "NONE", "quantity": 1}], "/lines/0/set"),
        ([{"set": "", "quantity": 1}], "/lines/0/set"),
        ([{"quantity": 1}], "/lines/0/kind"),
        ([{"kind": "R-1.40", "set": "RINGS", "quantity": 1}], "/lines/0/kind"),
        ([{"kind": "R-1.40", "quantity": 1}, {"set": "RINGS", "quantity": 1}], "/lines"),
        ([{"set": "RINGS", "quantity": 1}, {"set": "RINGS", "quantity": 1}], "/lines"),
    ],
)
def test_what_cannot_be_ordered_as_a_set(api: Api, lines: list[dict[str, Any]], pointer: str) -> None:
    refused = api.post("orders/", {"supplier": "North Works", "lines": lines})
    assert refused.status in (400, 422) and refused.body["errors"][0]["pointer"] == pointer


@pytest.mark.parametrize(
    "plate", [{"set": "RINGS", "mark": "9"}, {"set": "NONE", "mark": "1"}, {"set": "RINGS"}, {"mark": "1"}]
)
def test_a_piece_that_no_mark_names(api: Api, plate: dict[str, str]) -> None:
    order = bought(api)
    refused = api.post(f"orders/{order['id']}/receive/", {"plates": [{**plate, "readings": ["1.40 mm"]}]})
    assert refused.status == 400 and refused.body["errors"][0]["pointer"].startswith("/plates/0/")


def test_at_the_counter_the_mark_names_the_piece(api: Api, owner: Person) -> None:
    bought(api)
    window = Counter(owner)
    assert "Set RINGS, set 1: 0 of 6" in window.open("/scan-in/", order="1")
    window.open("/scan-in/", order="1", code="mark 2")
    assert window.path.startswith("/scan-in/kind/R-1.60/") and "mark 2: 0 of 1 mark 1: 0 of 1" in window.text
    window.send("R-1.60/", {"reading": "1.60 mm"})
    assert "Set RINGS, set 1: 1 of 6" in window.text
    window.send("R-1.60/", {"reading": "mark 5"})
    assert window.path.startswith("/scan-in/kind/R-2.20/")
    window.send("R-2.20/", {"reading": "mark 9"})
    assert window.path.startswith("/scan-in/kind/R-2.20/")


def test_the_buyer_orders_it_on_its_page_and_the_file_has_one_row(owner: Person) -> None:
    desk = Counter(owner)
    desk.open("/sets/", code="RINGS")
    form = desk.form("/buying/order/")
    fields = {**form["fields"], "set-RINGS": "2", "cost-RINGS": "35.00", "supplier": "North Works"}
    for _ in range(2):
        desk.post(form["action"], fields)
        assert desk.path == "/orders/1/"
    assert OrderLine.objects.count() == 6
    rows = desk.client.get("/orders/1.csv").content.decode().splitlines()
    assert rows[1:] == ["1,RINGS,set of 6,,,2,35.0000"]
    desk.open("/sets/", code="RINGS")
    desk.send("/buying/order/", {"cost-RINGS": "ten", "supplier": "North Works"})
    assert "is no cost of a set RINGS" in desk.text


def test_a_late_set_stands_in_the_week(api: Api, owner: Person) -> None:
    lines = [{"set": "RINGS", "quantity": 1}]
    made = api.post("orders/", {"supplier": "North Works", "lines": lines, "due": "2020-01-01"}).body
    api.post(f"orders/{made['id']}/send/", {})
    came(api, made, *SIZES[:5])
    assert "due 2020-01-01; RINGS, set 1: 5 of 6, R-2.40 to come" in Counter(owner).open("/week/")
