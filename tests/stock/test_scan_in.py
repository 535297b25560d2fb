"""Scan in: one micrometer press gives the bin, or says why not."""

from typing import Any

import pytest

from plates.lengths import length_parse
from plates.scan_codes import scan_format
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import BinFactory, FitFactory, KindFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def steels(owner: Person) -> None:
    """Steels of .077, .087 and .097, a bin for the first."""
    fit = FitFactory.create(shop=owner.shop, code="DRUM")
    for code, nominal in [("S-77", "0.077 in"), ("S-87", "0.087 in"), ("S-97", "0.097 in")]:
        kind = KindFactory.create(
            fit=fit, code=code, nominal_nm=length_parse(nominal), reuse_minimum_nm=length_parse("0.0755 in")
        )
        kind.scan_codes.create(shop=owner.shop, code=f"0-{code}")
    BinFactory.create(fit=fit, code="B-14")  # .0765 to .0775
    BinFactory.create(fit=fit, code="B-15", from_nm=length_parse("0.0775 in"), to_nm=length_parse("0.0785 in"))


def scan(api: Api, *readings: str, **more: Any) -> Reply:
    return api.post("plates/", {"kind": "S-77", "readings": list(readings), **more})


def codes(reply: Reply) -> list[str]:
    return [warning["code"] for warning in reply.body["warnings"]]


def test_a_reading_gives_thickness_spread_bin_and_one_line(api: Api) -> None:
    status, plate = scan(api, "0.0770 in", "0.0772 in", "77.1 thou")
    assert status == 201
    assert (plate["thickness"]["in"], plate["spread"]["in"]) == ("0.0771", "0.0002")
    assert (plate["kind"], plate["fit"], plate["bin"], plate["state"], plate["warnings"]) == (
        "S-77", "DRUM", "B-14", "on_shelf", [],
    )  # fmt: skip
    (line,) = api.get("ledger/", plate=plate["id"]).body["results"]
    assert (line["act"], line["seq"], line["delta"], line["balance"]) == ("received", 1, 1, 1)
    assert line["readings"] == ["0.0770 in", "0.0772 in", "77.1 thou"]
    assert line["person"] == api.person.username


@pytest.mark.parametrize(
    ("reading", "bin_code"),
    [("0.0765 in", "B-14"), ("1.968499 mm", "B-14"), ("0.0775 in", "B-15"), ("1.993899 mm", "B-15")],
)
def test_a_bin_holds_from_and_not_to(api: Api, reading: str, bin_code: str) -> None:
    assert scan(api, reading).body["bin"] == bin_code


@pytest.mark.parametrize("reading", ["1.943099 mm", "0.0785 in"])
def test_without_a_bin_it_is_booked_with_a_warning(api: Api, reading: str) -> None:
    reply = scan(api, reading)
    assert (reply.status, reply.body["bin"], codes(reply)) == (201, None, ["no_bin"])


def test_a_chosen_bin_outside_its_span_warns(api: Api) -> None:
    reply = scan(api, "0.0771 in", bin="B-15")
    assert (reply.body["bin"], codes(reply)) == ("B-15", ["outside_bin"])


def test_a_chosen_bin_of_another_fit_is_refused(api: Api, owner: Person) -> None:
    BinFactory.create(fit=FitFactory.create(shop=owner.shop), code="C-1")
    reply = scan(api, "0.0771 in", bin="C-1")
    assert (reply.status, reply.code) == (422, "wrong_bin")


def test_the_other_unit_is_named(api: Api) -> None:
    status, body = scan(api, "1.955 in")
    assert (status, body["code"]) == (422, "implausible")
    assert (body["would_be"]["unit"], body["would_be"]["thickness"]["in"]) == ("mm", "0.0770")
    assert body["would_be"]["plausible"] is True
    assert Plate.objects.count() == LedgerLine.objects.count() == 0


def test_the_catalogued_size_that_it_may_be_is_named(api: Api) -> None:
    status, body = scan(api, "0.0871 in")
    assert (status, body["code"]) == (422, "implausible")
    assert [one["kind"] for one in body["may_be"]] == ["S-87"]


@pytest.mark.parametrize(
    ("reading", "status"), [("0.0820 in", 201), ("2.082801 mm", 422), ("0.0720 in", 201), ("1.828799 mm", 422)]
)
def test_without_a_tolerance_half_the_way_to_the_next_size_counts(api: Api, reading: str, status: int) -> None:
    assert scan(api, reading).status == status


def test_without_a_tolerance_and_a_next_size_ten_thou_count(api: Api, owner: Person) -> None:
    KindFactory.create(fit=FitFactory.create(shop=owner.shop), code="ALONE")
    assert scan(api, "0.0870 in", kind="ALONE").status == 201
    assert scan(api, "2.209801 mm", kind="ALONE").status == 422


def test_a_tolerance_of_its_own_counts_instead(api: Api, owner: Person) -> None:
    fit = FitFactory.create(shop=owner.shop)
    KindFactory.create(fit=fit, code="TIGHT", tolerance_nm=length_parse("0.001 in"))
    assert scan(api, "0.0780 in", kind="TIGHT").status == 201
    assert scan(api, "0.0781 in", kind="TIGHT").status == 422


def test_confirmed_is_booked_as_it_is(api: Api) -> None:
    reply = scan(api, "1.955 in", confirm=True)
    assert (reply.status, reply.body["thickness"]["in"], codes(reply)) == (201, "1.9550", ["no_bin"])


@pytest.mark.parametrize("label", ["0-S-77", "S-77", scan_format("kind", "S-77"), scan_format("kind", "S-77").lower()])
def test_a_kind_is_read_by_the_makers_barcode_our_label_or_its_code(api: Api, label: str) -> None:
    reply = api.post("plates/", {"scan_code": label, "readings": ["0.0771 in"]})
    assert (reply.status, reply.body["kind"]) == (201, "S-77")


def test_a_label_of_another_sort_names_no_kind(api: Api) -> None:
    reply = api.post("plates/", {"scan_code": scan_format("bin", "S-77"), "readings": ["0.0771 in"]})
    assert (reply.status, reply.code) == (400, "malformed")


def test_our_label_never_becomes_a_makers_barcode(api: Api, owner: Person) -> None:
    body = {"code": "NEW", "fit": FitFactory.create(shop=owner.shop).code, "role": "steel", "nominal": "0.087 in"}
    label = scan_format("bin", "B-14")
    reply = api.post("kinds/", {**body, "scan_codes": ["8904000210037", label.lower()]})
    assert (reply.status, reply.code) == (409, "code_taken")
    assert "bin B-14" in reply.body["detail"]
    assert api.post("kinds/", {**body, "scan_codes": ["8904000210037", label + "1"]}).status == 201


@pytest.mark.parametrize(
    ("reading", "condition", "warned"),
    [("0.0754 in", "used", ["below_reuse_minimum"]), ("0.0755 in", "used", []), ("0.0754 in", "new", [])],
)
def test_used_below_the_reuse_minimum_is_set_aside(api: Api, reading: str, condition: str, warned: list[str]) -> None:
    reply = scan(api, reading, condition=condition)
    assert reply.status == 201
    assert [code for code in codes(reply) if code != "no_bin"] == warned
    assert reply.body["state"] == ("quarantined" if warned else "on_shelf")


def test_what_is_said_of_a_plate_stays_with_it(api: Api) -> None:
    said = {"condition": "used", "source": "core 12", "owner": "somebody", "box": "kit 3", "mark": "C", "gauge": "M-2"}
    made = scan(api, "0.0771 in", **said).body
    shown = api.get(f"plates/{made['id']}/").body
    assert {name: shown[name] for name in said} == said
