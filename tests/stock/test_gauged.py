"""A plate read with a registered gauge: its warnings, its zero error, and that it stands on line and plate."""

from typing import Any

import pytest
from django.core.management import call_command
from django.utils import timezone

from plates.lengths import length_parse
from plates.measuring.models import Gauge, GaugeCheck, GaugeType
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def steels(owner: Person) -> None:
    fit = FitFactory.create(shop=owner.shop)
    KindFactory.create(fit=fit, code="S-77")
    BinFactory.create(fit=fit, code="B-14")


def gauge(owner: Person, code: str, zero: str = "", **more: Any) -> Gauge:
    """A checked micrometer, with this zero error in force; a sign in front tells the side."""
    zero_nm = length_parse(zero.lstrip("-")) * (-1 if zero.startswith("-") else 1) if zero else 0
    figures = {"type": GaugeType.MICROMETER, "resolution_nm": 2540, "limit_nm": 4000, "zero_nm": zero_nm}
    made = Gauge.objects.create(shop=owner.shop, code=code, **{**figures, **more})
    GaugeCheck.objects.create(
        shop=owner.shop, gauge=made, person=owner, standard_nm=25_000_000, readings=[], error_nm=zero_nm,
        zero_before_nm=zero_nm, zero_after_nm=zero_nm, passed=True,
    )  # fmt: skip
    return made


PLATE = {"kind": "S-77", "readings": ["0.0771 in", "0.0773 in"]}


def warned(body: dict[str, Any]) -> list[str]:
    return [one["code"] for one in body["warnings"]]


def test_a_good_gauge_says_nothing_and_stands_on_line_and_plate(api: Api, owner: Person) -> None:
    gauge(owner, "MIC-1")
    made = api.post("plates/", {**PLATE, "gauge": "MIC-1"}).body
    assert (warned(made), made["gauge"]) == ([], "MIC-1")
    assert LedgerLine.objects.get().gauge == "MIC-1"


@pytest.mark.parametrize(
    ("zero", "thickness", "side"),
    [("0.0003 in", "0.0769", "high"), ("-0.0003 in", "0.0775", "low"), ("0.0100 in", "0.0672", "high")],
)
def test_a_zero_error_in_force_is_taken_off_every_point(
    api: Api, owner: Person, zero: str, thickness: str, side: str
) -> None:
    gauge(owner, "MIC-1", zero)
    made = api.post("plates/", {**PLATE, "gauge": "MIC-1"}).body
    assert (made["thickness"]["in"], made["spread"]["in"]) == (thickness, "0.0002")
    text = next(one["text"] for one in made["warnings"] if one["code"] == "zero_taken_off")
    assert zero.lstrip("-") in text and side in text
    line = LedgerLine.objects.get()
    assert (line.readings, line.thickness_nm) == (PLATE["readings"], length_parse(f"{thickness} in"))
    call_command("ledger_verify")


def test_of_a_lot_too_the_unread_ones_included(api: Api, owner: Person) -> None:
    gauge(owner, "MIC-1", "0.0003 in")
    body = {"kind": "S-77", "count": 7, "readings": [["0.0773 in"]] * 5, "gauge": "MIC-1"}
    made = api.post("lots/", body).body
    assert {plate["thickness"]["in"] for plate in made["plates"]} == {"0.0770"}
    assert (made["mean"]["in"], warned(made)) == ("0.0770", ["zero_taken_off"])


def test_what_counts_is_the_length_and_not_what_the_gauge_shows(api: Api, owner: Person) -> None:
    """.0872 by a gauge .0003 high is .0869, within .010 of .077; .0770 by one .0101 high is .0669, and is not."""
    gauge(owner, "HIGH", "0.0003 in")
    gauge(owner, "FAR", "0.0101 in")
    assert api.post("plates/", {"kind": "S-77", "readings": ["0.0872 in"]}).code == "implausible"
    assert api.post("plates/", {"kind": "S-77", "readings": ["0.0872 in"], "gauge": "HIGH"}).status == 201
    assert api.post("plates/", {"kind": "S-77", "readings": ["0.0770 in"], "gauge": "FAR"}).code == "implausible"
    refused = api.post("plates/", {"kind": "S-77", "readings": ["0.0101 in"], "gauge": "FAR", "confirm": True})
    assert (refused.status, refused.code) == (422, "bad_figures")


def test_a_withdrawn_gauge_is_refused_everywhere(api: Api, owner: Person) -> None:
    made = api.post("plates/", PLATE).body
    gauge(owner, "OLD", withdrawn_at=timezone.now(), withdrawn_why="dropped")
    before = LedgerLine.objects.count()
    for path, body in [
        ("plates/", PLATE),
        ("lots/", {"kind": "S-77", "count": 1, "readings": [["0.0771 in"]]}),
        (f"plates/{made['id']}/rework/", {"readings": ["0.0771 in"]}),
    ]:
        reply = api.post(path, {**body, "gauge": "OLD"})
        assert (reply.status, reply.code) == (422, "gauge_withdrawn"), path
        assert reply.body["errors"][0]["pointer"] == "/gauge"
    assert LedgerLine.objects.count() == before


def test_an_unknown_gauge_and_a_feeler_are_warned_about(api: Api, owner: Person) -> None:
    gauge(owner, "FEEL", type=GaugeType.FEELER)
    assert warned(api.post("plates/", {**PLATE, "gauge": "a borrowed one"}).body) == ["gauge_unknown"]
    assert warned(api.post("plates/", {**PLATE, "gauge": "FEEL"}).body) == ["gauge_type"]


def test_the_plate_keeps_the_gauge_of_its_last_reading_blank_or_not(api: Api, owner: Person) -> None:
    gauge(owner, "MIC-1", "0.0003 in")
    made = api.post("plates/", {**PLATE, "gauge": "MIC-1"}).body
    back = f"plates/{made['id']}/put-back/"
    for name, thickness in (("", "0.0771"), ("MIC-1", "0.0768")):
        api.post("hand-outs/", {"plates": [made["id"]], "reason": "lent"})
        assert Plate.objects.get().gauge != name, "handing out reads nothing, so it changes no gauge"
        reply = api.post(back, {"readings": ["0.0771 in"], "gauge": name}).body
        assert (reply["gauge"], reply["thickness"]["in"]) == (name, thickness)
    call_command("ledger_verify")
