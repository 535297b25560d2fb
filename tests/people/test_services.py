"""What the owner does with people, terminals and settings, and what a badge and a PIN open."""

from typing import Any

import pytest
from django.db import transaction

from shop.errors import CodeTaken, Forbidden, NotFound, WrongState, refusals
from shop.people import services
from shop.people.audit import audit
from shop.people.badges import (
    BadgeLocked,
    BadPin,
    NotEnrolled,
    UnknownBadge,
    WrongPin,
    badge_make,
    badge_owner,
    is_badge,
    pin_check,
    pin_set,
)
from shop.people.models import AuditLine, Person, Role, Terminal, Token
from shop.people.settings import BadSetting, settings_change
from shop.people.terminals import terminal_end, terminal_enrol, terminal_name, terminal_of
from tests.api import Api
from tests.factories import PersonFactory
from tests.people.conftest import PASSWORD, PIN, At, Badged

pytestmark = pytest.mark.django_db


def said(owner: Person) -> list[tuple[str, str, str, str]]:
    """The audit, oldest first."""
    rows = audit(owner.shop_id).values_list("subject", "what", "before", "after")
    return list(rows)[::-1]


def test_people_come_change_and_go_and_each_step_is_on_record(owner: Person) -> None:
    made = services.person_add(person=owner, username="ines", role="bench", password=PASSWORD)
    assert (made.shop_id, made.role, made.check_password(PASSWORD)) == (owner.shop_id, "bench", True)
    services.person_role(person=owner, username="ines", role="buyer")
    services.person_role(person=owner, username="ines", role="buyer")  # nothing changes, nothing is said
    services.person_active(person=owner, username="ines", active=False)
    services.person_active(person=owner, username="ines", active=True)
    assert said(owner) == [
        ("ines", "added", "", "bench"),
        ("ines", "role", "bench", "buyer"),
        ("ines", "left", "", ""),
        ("ines", "came back", "", ""),
    ]
    assert {line.person_id for line in AuditLine.objects.all()} == {owner.pk}


@pytest.mark.parametrize("role", [Role.BENCH, Role.COUNTER, Role.BUYER])
def test_only_the_owner_changes_people_terminals_and_settings(owner: Person, at: At, role: str) -> None:
    person = PersonFactory.create(shop=owner.shop, username="ines", role=role)
    acts: list[tuple[Any, dict[str, Any]]] = [
        (services.person_add, {"username": "x", "role": "bench", "password": PASSWORD}),
        (services.person_role, {"username": "ines", "role": "owner"}),
        (services.person_active, {"username": owner.username, "active": False}),
        (services.person_password, {"username": owner.username, "password": PASSWORD}),
        (pin_set, {"username": owner.username, "pin": PIN}),
        (badge_make, {"username": "ines"}),
        (terminal_enrol, {"code": "bench-3"}),
        (terminal_name, {"code": "bench-2", "new": "bench-3"}),
        (terminal_end, {"code": "bench-2"}),
        (settings_change, {"hold_minutes": 5}),
    ]
    before = AuditLine.objects.count()
    for act, values in acts:
        with pytest.raises(Forbidden):
            act(person=person, **values)
    assert AuditLine.objects.count() == before


def test_nobody_reaches_into_another_shop(owner: Person, at: At, ines: Badged) -> None:
    stranger = PersonFactory.create()
    acts: list[tuple[Any, dict[str, Any]]] = [
        (services.person_role, {"username": "ines", "role": "owner"}),
        (services.person_active, {"username": "ines", "active": False}),
        (services.person_password, {"username": "ines", "password": PASSWORD}),
        (pin_set, {"username": "ines", "pin": PIN}),
        (badge_make, {"username": "ines"}),
        (terminal_name, {"code": "bench-2", "new": "mine"}),
        (terminal_end, {"code": "bench-2"}),
    ]
    for act, values in acts:
        with pytest.raises(NotFound):
            act(person=stranger, **values)
    assert list(audit(stranger.shop_id)) == []
    theirs = terminal_of(terminal_enrol(person=stranger, code="bench-2"))  # a name is taken within a shop only
    with pytest.raises(UnknownBadge):
        badge_owner(terminal=theirs, badge=ines.badge)
    assert badge_owner(terminal=at.terminal, badge=ines.badge) == ines.person


def test_a_shop_keeps_an_owner(owner: Person) -> None:
    for act, values in (
        (services.person_role, {"role": "bench"}),
        (services.person_active, {"active": False}),
    ):
        with pytest.raises(services.LastOwner):
            act(person=owner, username=owner.username, **values)  # type: ignore[operator]
    second = PersonFactory.create(shop=owner.shop)
    services.person_role(person=owner, username=owner.username, role="bench")
    with pytest.raises(services.LastOwner):
        services.person_active(person=second, username=second.username, active=False)


def test_names_are_plain_and_nobodys_else(owner: Person) -> None:
    for name in ("", "two words", "x" * 41, "a\0b", "ID/1"):
        with pytest.raises(services.BadName):
            services.person_add(person=owner, username=name, role="bench", password=PASSWORD)
    elsewhere = PersonFactory.create()
    with pytest.raises(CodeTaken), refusals(), transaction.atomic():
        services.person_add(person=owner, username=elsewhere.username, role="bench", password=PASSWORD)
    with pytest.raises(services.BadPassword):
        services.person_add(person=owner, username="ines", role="bench", password="short")


def test_whoever_left_has_no_badge_and_no_token(owner: Person, at: At, ines: Badged) -> None:
    api = Api(ines.person)
    assert api.get("bins/").status == 200
    services.person_active(person=owner, username="ines", active=False)
    assert (api.get("bins/").status, Token.objects.filter(person=ines.person).count()) == (401, 0)
    services.person_active(person=owner, username="ines", active=True)
    with pytest.raises(UnknownBadge):
        badge_owner(terminal=at.terminal, badge=ines.badge)
    services.person_active(person=owner, username="ines", active=False)
    with pytest.raises(WrongState, match="Take ines back first"):
        badge_make(person=owner, username="ines")


def test_a_badge_opens_at_an_enrolled_terminal_only(owner: Person, at: At, ines: Badged) -> None:
    assert badge_owner(terminal=at.terminal, badge=f" {ines.badge.lower()} ") == ines.person
    with pytest.raises(NotEnrolled, match="name and password"):
        badge_owner(terminal=terminal_of("no such token"), badge=ines.badge)
    terminal_end(person=owner, code="bench-2")
    assert terminal_of(at.token) is None
    with pytest.raises(WrongState):
        terminal_end(person=owner, code="bench-2")


def test_a_new_badge_ends_the_old_one(owner: Person, at: At, ines: Badged) -> None:
    newer = badge_make(person=owner, username="ines")
    assert badge_owner(terminal=at.terminal, badge=newer) == ines.person
    with pytest.raises(UnknownBadge, match="replaced by a newer one"):
        badge_owner(terminal=at.terminal, badge=ines.badge)


def test_a_badge_without_a_pin_opens_nothing(owner: Person, at: At) -> None:
    PersonFactory.create(shop=owner.shop, username="ines")
    badge = badge_make(person=owner, username="ines")
    with pytest.raises(WrongState, match="no PIN yet"):
        badge_owner(terminal=at.terminal, badge=badge)


def test_nothing_secret_is_kept(owner: Person, at: At, ines: Badged) -> None:
    rows = [*Person.objects.values(), *Terminal.objects.values(), *AuditLine.objects.values()]
    for secret in (ines.badge, at.token, PASSWORD):
        assert secret not in str(rows)
    assert is_badge(ines.badge) and not is_badge("STEEL-77")
    assert {row["after"] for row in AuditLine.objects.filter(what__in=["PIN set", "badge made"]).values()} == {""}


@pytest.mark.parametrize("pin", ["", "123", "123456789", "12a4", "٣٣٤٥", "0000", "1234", "4321"])
def test_what_is_no_pin(owner: Person, pin: str) -> None:
    with pytest.raises(BadPin):
        pin_set(person=owner, username=owner.username, pin=pin)


def test_five_wrong_pins_in_a_row_lock_the_badge(owner: Person, at: At, ines: Badged) -> None:
    person = ines.person
    for left in ("4 more tries", "3 more tries", "2 more tries", "One more try"):
        with pytest.raises(WrongPin, match=left):
            pin_check(person=person, pin="0000")
    with pytest.raises(BadgeLocked):
        pin_check(person=person, pin="0000")
    with pytest.raises(BadgeLocked):  # the right one no longer helps
        pin_check(person=person, pin=PIN)
    with pytest.raises(BadgeLocked, match="password"):
        badge_owner(terminal=at.terminal, badge=ines.badge)
    pin_set(person=owner, username="ines", pin="8260")
    pin_check(person=badge_owner(terminal=at.terminal, badge=ines.badge), pin="8260")


def test_a_good_pin_forgets_the_wrong_ones(ines: Badged) -> None:
    for _ in range(3):
        for _ in range(4):
            with pytest.raises(WrongPin):
                pin_check(person=ines.person, pin="0000")
        pin_check(person=ines.person, pin=PIN)


def test_a_terminal_is_named_and_its_old_name_is_on_record(owner: Person, at: At) -> None:
    assert terminal_name(person=owner, code="bench-2", new="press").code == "press"
    terminal_name(person=owner, code="press", new="press")
    assert said(owner) == [
        ("bench-2", "terminal enrolled", "", ""),
        ("bench-2", "terminal renamed", "bench-2", "press"),
    ]
    terminal_enrol(person=owner, code="bench-2")
    with pytest.raises(CodeTaken), refusals(), transaction.atomic():
        terminal_name(person=owner, code="bench-2", new="press")
    owner.at_terminal = at.terminal
    with pytest.raises(WrongState, match="is terminal bench-2 already"):
        terminal_enrol(person=owner, code="other")


def test_settings_change_and_say_from_what_to_what(owner: Person, at: At) -> None:
    owner.at_terminal = at.terminal
    values = {"unit_first": "mm", "lock_minutes": 3, "u_feeler_nm": 25_400, "sure_level": 0.9, "hold_minutes": 240}
    shop = settings_change(person=owner, **values)
    shop.refresh_from_db()
    assert {name: getattr(shop, name) for name in values} == values
    lines = said(owner)[1:]
    assert lines == [
        ("settings", "Unit shown first", "inch", "millimetre"),
        ("settings", "Lock after", "10 min", "3 min"),
        ("settings", "Reading by feeler", "0.0015 in (0.038 mm)", "0.0010 in (0.025 mm)"),
        ("settings", "Sure from", "95 %", "90 %"),
    ]
    assert {line.terminal for line in audit(owner.shop_id)[:4]} == {at.terminal}


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("lock_minutes", 0),
        ("lock_minutes", 481),
        ("hold_minutes", 0),
        ("sure_level", 0.4),
        ("sure_level", 1.0),
        ("spread_nm", 0),
        ("u_air_nm", 508_001),
        ("name", " "),
    ],
)
def test_a_setting_beyond_its_limits_is_refused_with_them(owner: Person, field: str, value: Any) -> None:
    with pytest.raises(BadSetting) as caught:
        settings_change(person=owner, **{field: value})
    assert caught.value.errors[0][0] == f"/{field}"
    assert AuditLine.objects.count() == 0
