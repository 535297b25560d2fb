"""The demo shop holds what it promises, and the same every time."""

from collections import Counter
from datetime import timedelta

import pytest
from django.db import transaction
from pytest_django.plugin import DjangoDbBlocker

from plates.bench.models import Job, Match, MatchState
from plates.buying.models import Order
from plates.buying.sizes import sizes
from plates.catalogue.models import Fit, Kind
from plates.catalogue.spec_models import Spec
from plates.lengths import INCH, THOU
from plates.stock.ledger_models import Act, LedgerLine
from plates.stock.models import Bin, Lot, Plate, State
from plates.stock.verify import differences
from shop.demo import PEOPLE, demo_load, demo_shop, load, passwords_set, real_shop_refuse
from shop.demo.load import NotForDemo
from shop.people.models import Person, Role, Shop
from shop.people.services import shop_open
from tests.conftest import NOW, Urls, pointed_at
from tests.demo.snapshot import content


def test_the_counts_are_as_promised(demo: Shop) -> None:
    counts = {model: model.objects.filter(shop=demo).count() for model in (Spec, Kind, Job)}
    assert counts == {Spec: 12, Kind: 41, Job: 30}
    assert 1450 <= Plate.objects.filter(shop=demo).count() <= 1550
    families = {code.split("-")[0] for code in Fit.objects.filter(shop=demo).values_list("code", flat=True)}
    assert families == {"QUERN", "SEDGE", "ORLOP", "BRACK"}
    assert {spec.code.split("-")[0] for spec in Spec.objects.filter(shop=demo)} == families
    assert (demo.is_demo, demo.demo_ready) == (True, True)


def test_the_people_are_there_and_cannot_sign_in_yet(demo: Shop) -> None:
    people = Person.objects.filter(shop=demo)
    assert {person.username: person.role for person in people} == PEOPLE
    assert PEOPLE == {"rosa": Role.BENCH, "imre": Role.COUNTER, "odile": Role.BUYER, "tomas": Role.OWNER}
    assert not any(person.has_usable_password() for person in people)


@pytest.mark.parametrize(
    ("what", "conditions"),
    [
        ("single-sided", {"slots__lined_faces": 1}),
        ("waved", {"slots__role": "wave", "wave_free_nm__isnull": False, "reads_wave": "free"}),
        ("height in mm", {"measures": "height", "unit": "mm"}),
        ("without adjustment", {"adjustable": False}),
        ("selective ring", {"slots__role": "snap_ring", "slots__swap": True}),
        ("replaced as a set", {"set_only": True}),
        ("further proven fit", {"slots__further_fits__isnull": False}),
        ("with one more", {"slots__extra__gt": 0}),
        ("with a limit that the owner may lift", {"spread_nm__gt": 0, "liftable__contains": "spread"}),
        ("with a place for an odd one", {"slots__place__gt": "", "slots__swap": True}),
        ("rule of the trade", {"source": "rule"}),
        ("manual", {"source": "manual", "reference__gt": ""}),
    ],
)
def test_every_sort_of_pack_is_there(demo: Shop, what: str, conditions: dict[str, object]) -> None:
    assert Spec.objects.filter(shop=demo, **conditions).exists(), what


def test_the_single_sided_pack_counts_half_its_plates(demo: Shop) -> None:
    """Six outer and six inner plates lined on one face count 6: 0.048 to 0.072 in (common practice, no source)."""
    spec = Spec.objects.get(shop=demo, code="QUERN-REVERSE")
    assert (spec.low_nm, spec.high_nm) == (48 * THOU, 72 * THOU)


def test_kinds_carry_what_counter_and_buyer_need(demo: Shop) -> None:
    kinds = Kind.objects.filter(shop=demo)
    assert {kind.role for kind in kinds} == {
        "steel", "friction", "apply", "pressure", "wave", "snap_ring", "spacer",
    }  # fmt: skip
    assert not kinds.filter(scan_codes=None).exists()
    assert not kinds.filter(supplier=None).exists()
    assert kinds.exclude(reuse_minimum_nm=None).count() >= 15
    assert kinds.filter(set_of="ORLOP-RING-SET").exclude(mark="").count() == 6
    metric = [kind for kind in kinds if kind.nominal_nm % (INCH // 10_000)]
    assert 10 < len(metric) < 30


def test_plates_lie_where_their_thickness_belongs(demo: Shop) -> None:
    for plate in Plate.objects.filter(shop=demo, bin__isnull=False).select_related("bin"):
        assert plate.bin.from_nm <= plate.thickness_nm < plate.bin.to_nm
    without = Plate.objects.filter(shop=demo, bin=None).count()
    assert 0 < without < 40
    assert Bin.objects.filter(shop=demo).count() > 40


def test_lots_scatter_as_plates_do(demo: Shop) -> None:
    """Lots scatter by 0.0002 to 0.0006 in: five read plates range over about 2.3 times that (d2, by integration)."""
    lots = list(Lot.objects.filter(shop=demo).select_related("kind"))
    five, whole = [lot for lot in lots if lot.measured == 5], [lot for lot in lots if lot.measured == lot.count]
    assert five and whole and len(five) + len(whole) == len(lots)
    assert max(lot.spread_nm for lot in five) <= INCH // 1000
    sizes = sorted(lot.spread_nm for lot in five)
    assert INCH * 3 // 10_000 < sizes[len(sizes) // 2] < INCH * 12 // 10_000
    for plate in Plate.objects.filter(shop=demo, condition="new").select_related("kind"):
        assert abs(plate.thickness_nm - plate.kind.nominal_nm) <= plate.kind.tolerance_nm


def test_odd_plates_are_there(demo: Shop) -> None:
    plates = Plate.objects.filter(shop=demo)
    assert plates.filter(condition="used").count() > 40
    assert plates.exclude(owner="").exists()
    assert plates.exclude(box="").exists()
    assert any(
        plate.kind.reuse_minimum_nm and plate.thickness_nm < plate.kind.reuse_minimum_nm
        for plate in plates.filter(condition="used").select_related("kind")
    )


def test_the_history_has_every_end(demo: Shop) -> None:
    matches = list(Match.objects.filter(shop=demo))
    states = Counter(match.state for match in matches)
    assert states[MatchState.HELD] == 1 and states[MatchState.TAKEN] == 1
    assert states[MatchState.CLOSED] >= 20
    assert sum(match.shortfall is not None for match in matches) >= 3
    assert any(match.state == MatchState.OPEN and match.options for match in matches)
    assert any(match.final_checks.count() == 2 for match in matches), "one did not come out at first"
    held = Match.objects.get(shop=demo, state=MatchState.HELD)
    assert held.held_until > NOW and Plate.objects.filter(shop=demo, state=State.HELD, match=held).exists()


def test_there_is_something_to_buy_and_to_ask_after(demo: Shop) -> None:
    """A pack that no catalogued steel would close was missed: since then there is a kind, and it has to be bought."""
    found = {size.kind.code: size for size in sizes(demo) if size.buy and size.kind}
    row = found["BRACK-STEEL-280"]
    assert (row.free, row.waiting, row.missed) == (-row.waiting, row.waiting, 1) and row.waiting > 0
    assert row.unit_cost and row.kind and row.kind.unit_cost and row.unit_cost < row.kind.unit_cost
    assert any("no more than two years use up" in reason for reason in row.reasons)
    (order,) = Order.objects.filter(shop=demo)
    assert order.sent_at and order.due and order.sent_at < NOW and order.due < NOW.date()


def test_residuals_are_plausible(demo: Shop) -> None:
    """A pack that closed came out within three standard uncertainties of its prediction."""
    closed = Match.objects.filter(shop=demo, state=MatchState.CLOSED)
    assert len({match.residual_nm for match in closed}) > 10
    for match in closed:
        last = match.final_checks.last()
        assert last and abs(last.residual_nm) <= 3 * last.u_nm


def test_the_ledger_agrees_and_runs_forward(demo: Shop) -> None:
    assert list(differences()) == []
    before: dict[object, object] = {}
    for line in LedgerLine.objects.filter(shop=demo).order_by("plate", "seq"):
        assert line.plate_id not in before or before[line.plate_id] <= line.at
        before[line.plate_id] = line.at
    lines = LedgerLine.objects.filter(shop=demo)
    assert lines.filter(act=Act.TAKEN).count() == Plate.objects.filter(shop=demo, state=State.TAKEN).count() > 30
    assert not lines.filter(at__gt=NOW).exists()


def test_a_second_load_at_another_time_is_the_same(loaded: Urls, fresh_db: Urls) -> None:
    later = NOW + timedelta(seconds=21.5)
    second = content(demo_load(later), later)
    with pointed_at(loaded):
        first = content(Shop.objects.get(is_demo=True), NOW)
    assert first.keys() == second.keys()
    for name in first:
        assert first[name] == second[name], name
    assert len(first["plates"]) > 1450


def test_a_load_cut_short_leaves_nothing(fresh_db: Urls, monkeypatch: pytest.MonkeyPatch) -> None:
    def cut_short(*_: object) -> None:
        assert Shop.objects.filter(is_demo=True, demo_ready=False).exists()
        raise KeyboardInterrupt

    monkeypatch.setattr(load.shelf, "bins_make", cut_short)
    with pytest.raises(KeyboardInterrupt):
        demo_load(NOW)
    assert not Shop.objects.exists() and demo_shop() is None


def test_a_real_shop_is_left_alone(fresh_db: Urls) -> None:
    real_shop_refuse()
    shop_open(name="Corner bench", owner="mara", password=None)
    with pytest.raises(NotForDemo, match=r"'Corner bench'.*PLATES_DATA_DIR"):
        real_shop_refuse()


def test_half_a_demo_is_refused(fresh_db: Urls) -> None:
    with transaction.atomic():
        shop_open(name="Half", owner="mara", password=None, is_demo=True)
    real_shop_refuse()
    with pytest.raises(NotForDemo, match="never filled to its end"):
        demo_shop()


def test_one_password_for_all_and_none_written_twice(own_demo: Urls, django_db_blocker: DjangoDbBlocker) -> None:
    with pointed_at(own_demo), django_db_blocker.unblock():
        shop = Shop.objects.get(is_demo=True)
        passwords_set(shop, "between-the-plates")
        people = list(Person.objects.filter(shop=shop))
        assert all(person.check_password("between-the-plates") for person in people)
        passwords_set(shop, "between-the-plates")
        assert {person.pk: person.password for person in people} == dict(
            Person.objects.filter(shop=shop).values_list("pk", "password")
        )
