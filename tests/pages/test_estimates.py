"""What a clearance does, at the counter."""

import pytest

from plates.catalogue.spec_models import Spec
from shop.people.models import Person
from tests.catalogue.test_estimates import KNOWN
from tests.factories import FitFactory
from tests.pages.conftest import Bench
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db
TYPED = {f"hydraulics-{name}": text for name, text in KNOWN.items()}


@pytest.fixture
def keeper(owner: Person) -> Counter:
    """Before a form for a pack of five frictions that is filled in but for its hydraulics."""
    for code, side in (("DRUM", "external"), ("HUB", "internal")):
        FitFactory.create(shop=owner.shop, code=code, tooth_side=side)
    counter = Counter(owner)
    counter.open("/add/spec/")
    return counter


SPEC = {
    "code": "DIR", "title": "Direct", "source": "rule",
    "slot0-name": "steels", "slot0-role": "steel", "slot0-fit": "DRUM", "slot0-count": "5", "slot0-swap": "on",
    "slot1-name": "frictions", "slot1-role": "friction", "slot1-fit": "HUB", "slot1-count": "5",
}  # fmt: skip


def test_hydraulics_are_typed_with_the_spec_and_looked_at_on_its_page(keeper: Counter) -> None:
    text = keeper.send("", {**SPEC, **TYPED})
    assert keeper.path == "/specs/DIR/"
    assert "What this clearance does" in text and "At 0.0500 in (1.270 mm)" in text
    assert "Holding torque left 301 lb·ft (408 N·m) estimate, warm oil" in text
    keeper.open("/specs/DIR/estimates/")
    assert "What this clearance does" not in keeper.text
    text = keeper.open("/specs/DIR/estimates/", clearance="74", learned="12 mL")
    assert "At 0.0740 in (1.880 mm)" in text and "Piston stroke from the learned fill 0.0474 in (1.203 mm)" in text
    assert "Excess fill time 117 ms estimate" in text and "√(2 · Δp / ρ)" in text


def test_metric_shops_see_metric_first(keeper: Counter, owner: Person) -> None:
    owner.shop.unit_first = "mm"
    owner.shop.save()
    keeper.send("", {**SPEC, **TYPED})
    assert "Holding torque left 408 N·m (301 lb·ft)" in keeper.text


def test_a_misprinted_pressure_is_not_saved_until_a_person_says_which_unit_governs(keeper: Counter) -> None:
    """One manual prints 550 kPa as 111 psi (true 79.8; S, C)."""
    pair = {"hydraulics-apply_pressure": "550 kPa", "hydraulics-apply_pressure_also": "111 psi"}
    assert "550 kPa is 79.8 psi, not 111 psi" in keeper.send("", {**SPEC, **TYPED, **pair})
    assert not Spec.objects.exists()
    keeper.send("", {"hydraulics-apply_pressure_governs": "kPa"})
    assert keeper.path == "/specs/DIR/"
    assert Spec.objects.get().hydraulics["apply_pressure_pa"] == 550_000


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("pressure", "40", "Write the pressure as a plain number with its unit: psi, kPa, bar."),
        ("piston_outer", "5.5", "has no unit"),
        ("orifice", "0 in", "A length here is above zero."),
        ("piston_inner", "6 in", "is not below the outer one"),
        ("friction", "2", "less than or equal to 1"),
    ],
)
def test_what_cannot_be_is_said_and_what_was_typed_stays(keeper: Counter, field: str, typed: str, said: str) -> None:
    assert said in keeper.send("", {**SPEC, **TYPED, f"hydraulics-{field}": typed})
    assert keeper.form("")["fields"]["hydraulics-spring_rate"] == ["2400 lbf/in"]
    assert not Spec.objects.exists()


def test_one_more_slot_keeps_the_hydraulics(keeper: Counter) -> None:
    keeper.send("", {**TYPED, "more": "1"})
    assert keeper.form("")["fields"]["hydraulics-pressure"] == ["40 psi"]
    assert "Write the" not in keeper.text


def test_a_spec_without_hydraulics_keeps_none(keeper: Counter) -> None:
    keeper.send("", SPEC)
    assert Spec.objects.get().hydraulics is None
    assert "Wear left on each lined face" in keeper.text and "Holding torque" not in keeper.text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"clearance": "x"}, "is not a reading"),
        ({"clearance": ""}, "Fill this in."),
        ({"clearance": "74", "learned": "12"}, "Write the volume"),
        ({"clearance": "74", "learned": "0 mL"}, "above zero"),
    ],
)
def test_a_clearance_that_cannot_be_read(keeper: Counter, query: dict[str, str], said: str) -> None:
    keeper.send("", {**SPEC, **TYPED})
    assert said in keeper.open("/specs/DIR/estimates/", **query)
    assert "What this clearance does" not in keeper.text


def test_a_pack_that_is_not_there(keeper: Counter) -> None:
    keeper.open("/specs/NOT/estimates/")
    assert keeper.status == 404


def test_cold_oil_says_why_there_is_no_figure(keeper: Counter) -> None:
    keeper.send("", {**SPEC, **TYPED, "hydraulics-viscosity": "1400 mm2/s"})
    assert "Excess fill time no estimate" in keeper.text and "too cold and thick" in keeper.text


def test_a_match_shows_what_its_clearance_does_with_its_uncertainty(bench: Bench, counter: Counter) -> None:
    counter.open(f"/close-a-pack/{bench.spec.code}/")
    steels = ".0698 .0699 .0700 .0701 .0702"
    counter.send("", {"reading": "74 74 74", "slot1": steels, "job": "J-1", "go": "ask"})
    assert counter.path == "/matches/1/"
    assert "What this clearance does At 0.0740 in (1.880 mm) ±" in counter.text
    # Ten faces share 0.060 - 0.074 in.
    assert "Wear left on each lined face −0.0014 in (−0.036 mm)" in counter.text


def test_a_closed_match_shows_what_it_came_out_at(bench: Bench, counter: Counter) -> None:
    counter.open(f"/close-a-pack/{bench.spec.code}/")
    steels = ".0698 .0699 .0700 .0701 .0702"
    counter.send("", {"reading": "74 74 74", "slot1": steels, "job": "J-1", "go": "ask"})
    counter.send("/matches/1/take/")
    counter.open("/matches/1/")
    counter.send("/final/", {"reading": "53 53"})
    counter.send("/final/")
    # Ten faces share 0.060 - 0.053 in.
    assert "What this clearance does At 0.0530 in (1.346 mm) ±" in counter.open("/matches/1/")
    assert "Wear left on each lined face 0.0007 in (0.018 mm)" in counter.text
