"""What whoever books a reading is told of the gauge."""

from datetime import timedelta

import pytest
from django.utils import timezone

from plates.measuring.gauges import GaugeWithdrawn, gauge_notes, shared_errors
from plates.measuring.models import Gauge, GaugeCheck
from shop.people.models import Person
from tests.factories import PersonFactory

pytestmark = pytest.mark.django_db


def gauge_of(person: Person, code: str = "MIC-1", type_: str = "micrometer", **more: object) -> Gauge:
    figures = {"resolution_nm": 2540, "limit_nm": 4000, "interval_days": 90, **more}
    return Gauge.objects.create(shop=person.shop, code=code, type=type_, **figures)


def check_of(gauge: Gauge, person: Person, error_nm: int = 0, after_nm: int = 0, days: float = 0) -> GaugeCheck:
    return GaugeCheck.objects.create(
        shop=gauge.shop, gauge=gauge, person=person, standard_nm=25_000_000, readings=["25.000 mm"],
        error_nm=error_nm, zero_before_nm=0, zero_after_nm=after_nm, passed=abs(error_nm) <= 4000,
        at=timezone.now() - timedelta(days=days),
    )  # fmt: skip


def codes(person: Person, code: str = "MIC-1", **more: str) -> list[str]:
    return [said["code"] for said in gauge_notes(person.shop_id, code, **more).warnings]


def test_a_good_gauge_says_nothing(owner: Person) -> None:
    check_of(gauge_of(owner), owner, days=89)
    notes = gauge_notes(owner.shop_id, "MIC-1", act="plate")
    assert (notes.warnings, notes.zero_nm) == ([], 0)
    assert notes.shared_u_nm == pytest.approx(4000 / 3**0.5)


@pytest.mark.parametrize("code", ["", "  "])
def test_no_gauge_is_no_warning(owner: Person, code: str) -> None:
    notes = gauge_notes(owner.shop_id, code)
    assert (notes.gauge, notes.warnings, notes.shared_u_nm) == (None, [], None)


def test_each_thing_amiss_has_its_warning(owner: Person) -> None:
    assert codes(owner) == ["gauge_unknown"]
    gauge = gauge_of(owner)
    assert codes(owner) == ["gauge_unchecked"]
    check_of(gauge, owner, days=91)
    assert codes(owner) == ["gauge_overdue"]
    check_of(gauge, owner, error_nm=7620, days=1)
    assert codes(owner) == ["gauge_failed"]
    check_of(gauge, owner, error_nm=7620, after_nm=7620)
    assert codes(owner) == [], "works on with its error taken off"


def test_another_shops_gauge_is_unknown(owner: Person) -> None:
    gauge_of(PersonFactory.create())
    assert codes(owner) == ["gauge_unknown"]
    assert shared_errors(owner.shop_id, ["MIC-1"]) == {}


def test_a_withdrawn_gauge_is_refused(owner: Person) -> None:
    gauge_of(owner, withdrawn_at=timezone.now(), withdrawn_why="dropped")
    with pytest.raises(GaugeWithdrawn, match="dropped") as refused:
        gauge_notes(owner.shop_id, "MIC-1")
    assert refused.value.errors[0][0] == "/gauge" and refused.value.code == "gauge_withdrawn"


def test_a_gauge_of_another_type_is_warned_about(owner: Person) -> None:
    check_of(gauge_of(owner, "FEEL", "feeler", interval_days=None), owner, days=9999)
    assert codes(owner, "FEEL") == codes(owner, "FEEL", act="feeler") == codes(owner, "FEEL", act="air") == []
    assert codes(owner, "FEEL", act="plate") == codes(owner, "FEEL", act="depth") == ["gauge_type"]


def test_errors_that_the_readings_of_a_gauge_share(owner: Person) -> None:
    gauge_of(owner)
    gauge_of(owner, "MIC-2", limit_nm=8000)
    found = shared_errors(owner.shop_id, ["MIC-1", "MIC-2", "", "old one"])
    assert found == pytest.approx({"MIC-1": 4000 / 3**0.5, "MIC-2": 8000 / 3**0.5})
