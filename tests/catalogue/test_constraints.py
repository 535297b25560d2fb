"""The catalogue's rules stand in the database itself: rows made past every service are refused, clearly."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from plates.catalogue.models import Fit, Kind, ScanCode
from plates.catalogue.spec_models import Slot, SlotFit, Spec
from plates.lengths import THOU
from shop.people.models import Person
from shop.rows import SameShop
from tests.factories import FitFactory, KindFactory, PersonFactory
from tests.refused import broken, refused_by
from tests.shelves import shelf_of

pytestmark = pytest.mark.django_db

SPEC: dict[str, Any] = {
    "code": "S", "title": "S",
    "measures": "gap", "source": "manual", "reference": "p. 1",
    "low_nm": 40 * THOU, "high_nm": 60 * THOU, "target_nm": 50 * THOU,
}  # fmt: skip


def _fit(person: Person, **more: Any) -> Fit:
    return FitFactory.create(shop=person.shop, **more)


def _kind(person: Person, **more: Any) -> Kind:
    return KindFactory.create(fit=_fit(person), **more)


def _spec(person: Person, **more: Any) -> Spec:
    return Spec.objects.create(shop=person.shop, **{**SPEC, **more})


def _again(person: Person) -> dict[str, Any]:
    """What a second revision has besides."""
    return {"revision": 2, "revised_by": person, "revised_at": timezone.now(), "reason": "found wrong"}


def _slot(person: Person, **more: Any) -> Slot:
    plain: dict[str, Any] = {"name": "a", "position": 1, "role": "steel", "count": 1, "lined_faces": 0}
    spec = Spec.objects.filter(code="S").first() or _spec(person)
    return Slot.objects.create(shop=person.shop, spec=spec, fit=_fit(person), **{**plain, **more})


def _code(person: Person) -> ScanCode:
    return ScanCode.objects.create(shop=person.shop, code="0123", kind=_kind(person))


Make = Callable[[Person], object]
#: Each constraint with what breaks it.
BREAKS: list[tuple[str, Make]] = [
    ("fit_teeth", lambda p: _fit(p, tooth_side="none", teeth=1)),
    ("fit_teeth", lambda p: _fit(p, tooth_side="internal", teeth=0)),
    ("fit_diameters", lambda p: _fit(p, inner_nm=10, outer_nm=10)),
    ("fit_diameters", lambda p: _fit(p, inner_nm=0)),
    ("fit_code", lambda p: [_fit(p, code="X"), _fit(p, code="X")]),
    ("kind_code", lambda p: [_kind(p, code="X"), _kind(p, code="X")]),
    ("kind_lined_faces", lambda p: _kind(p, role="steel", lined_faces=1)),
    ("kind_lined_faces", lambda p: _kind(p, role="friction", lined_faces=0)),
    ("kind_lined_faces", lambda p: _kind(p, role="friction", lined_faces=3)),
    ("kind_lengths", lambda p: _kind(p, nominal_nm=0)),
    ("kind_lengths", lambda p: _kind(p, tolerance_nm=0)),
    ("kind_lengths", lambda p: _kind(p, nominal_nm=10, reuse_minimum_nm=11)),
    ("kind_limits", lambda p: _kind(p, taper_limit_nm=0)),
    ("kind_limits", lambda p: _kind(p, cone_limit_nm=-1)),
    ("kind_limits", lambda p: _kind(p, warp_limit_nm=0)),
    ("kind_pack_size", lambda p: _kind(p, pack_size=0)),
    ("scancode_code", lambda p: [_code(p), _code(p)]),
    ("spec_code", lambda p: [_spec(p), _spec(p, **_again(p))]),
    ("spec_revision", lambda p: [_spec(p, replaced_by=_spec(p, code="T")), _spec(p)]),
    ("spec_revised", lambda p: _spec(p, revision=2)),
    ("spec_revised", lambda p: _spec(p, **{**_again(p), "reason": ""})),
    ("spec_revised", lambda p: _spec(p, **{**_again(p), "revised_by": None})),
    ("spec_revised", lambda p: _spec(p, **{**_again(p), "revised_at": None})),
    ("spec_revised", lambda p: _spec(p, reason="found wrong")),
    ("spec_revised", lambda p: _spec(p, **{**_again(p), "revision": 1})),
    ("spec_window", lambda p: _spec(p, low_nm=50 * THOU, high_nm=50 * THOU)),
    ("spec_target", lambda p: _spec(p, target_nm=60 * THOU + 1)),
    ("spec_target", lambda p: _spec(p, target_nm=40 * THOU - 1)),
    ("spec_limits", lambda p: _spec(p, limit_low_nm=41 * THOU)),
    ("spec_limits", lambda p: _spec(p, limit_high_nm=59 * THOU)),
    ("spec_rule_gap", lambda p: _spec(p, source="rule", measures="height")),
    ("spec_reference", lambda p: _spec(p, reference="")),
    ("spec_wave", lambda p: _spec(p, wave_free_nm=10, wave_flat_nm=10)),
    ("spec_stack_limits", lambda p: _spec(p, spread_nm=-1)),
    ("spec_stack_limits", lambda p: _spec(p, splines_nm=0)),
    ("slot_name", lambda p: [_slot(p), _slot(p, position=2)]),
    ("slot_lined_faces", lambda p: _slot(p, role="friction", lined_faces=0)),
    ("slot_lined_faces", lambda p: _slot(p, role="spacer", lined_faces=2)),
    ("slot_hard_rules", lambda p: _slot(p, role="wave", swap=True)),
    ("slot_hard_rules", lambda p: _slot(p, role="wave", extra=1)),
    ("slot_hard_rules", lambda p: _slot(p, role="friction", lined_faces=2, extra=1)),
    ("slot_nominal", lambda p: _slot(p, nominal_nm=0)),
    ("slot_limits", lambda p: _slot(p, cone_limit_nm=0)),
    ("slot_limits", lambda p: _slot(p, reuse_minimum_nm=0)),
    ("slot_limits", lambda p: _slot(p, nominal_nm=10, reuse_minimum_nm=11)),
    ("slot_sizes", lambda p: _slot(p, thinnest_nm=0)),
    ("slot_sizes", lambda p: _slot(p, thickest_nm=0)),
    ("slot_sizes", lambda p: _slot(p, thinnest_nm=11, thickest_nm=10)),
]
#: What no request can break: made by us in the same breath, or looked up by name before.
OURS = {"supplier_name", "slot_position", "slotfit_once"}


@pytest.mark.parametrize(("name", "make"), BREAKS, ids=lambda value: value if isinstance(value, str) else "")
def test_the_database_refuses(owner: Person, name: str, make: Make) -> None:
    with refused_by(name):
        make(owner)


def test_every_constraint_of_the_catalogue_was_tried() -> None:
    named = {
        constraint.name
        for model in (Fit, Kind, ScanCode, Spec, Slot, SlotFit)
        for constraint in model._meta.constraints
        if not isinstance(constraint, SameShop) and not constraint.name.endswith("_shop_id")
    }
    assert named - OURS == {name for name, _ in BREAKS}


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("spec_revised_by", lambda ours, theirs: _spec(ours, **_again(PersonFactory.create(shop=theirs.shop)))),
        ("kind_fit", lambda ours, theirs: KindFactory.create(shop=ours.shop, fit=theirs.fit)),
        ("scancode_kind", lambda ours, theirs: ScanCode.objects.create(shop=ours.shop, code="1", kind=theirs)),
        ("slot_fit", lambda ours, theirs: Slot.objects.create(
            shop=ours.shop, spec=_spec(ours), fit=theirs.fit, name="a", position=1, role="steel", count=1, lined_faces=0
        )),
    ],
)  # fmt: skip
def test_no_link_leaves_the_shop(owner: Person, name: str, make: Callable[[Person, Kind], object]) -> None:
    theirs = _kind(PersonFactory.create())
    with broken(name):
        make(owner, theirs)


def test_what_replaces_a_spec_is_there_at_the_end(owner: Person) -> None:
    """A revision is written after the one that it replaces points to it, so the link is looked at last of all."""
    theirs = _spec(PersonFactory.create())
    with broken("spec_replaced_by"):
        _spec(owner, replaced_by=theirs)
        with connection.cursor() as cursor:
            cursor.execute("SET CONSTRAINTS spec_replaced_by IMMEDIATE")


def test_equal_codes_live_in_two_shops(owner: Person) -> None:
    other = PersonFactory.create()
    assert shelf_of(owner).spec.code == shelf_of(other).spec.code
