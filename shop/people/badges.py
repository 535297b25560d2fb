"""Badges and PINs: a code that is scanned, and a few digits that only its person knows.

A badge's code is random and long, so a plain hash keeps it; a PIN is short, so it is kept like a password, and five
wrong ones in a row lock the badge until a password or the owner frees it.
"""

import re
import secrets

from django.contrib.auth.hashers import check_password, make_password
from django.db.models.functions import Now

from shop.errors import Refusal, WrongState
from shop.people.audit import WRONG_PIN, audit_write
from shop.people.models import MOST_PIN_TRIES, Person, Terminal, sha256_of
from shop.people.services import colleague

#: No I, L, O, U: nobody mistakes one for another, should a badge have to be typed.
LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
#: Twenty letters of five bits.
BADGE = re.compile(f"ID-[{LETTERS}]{{20}}")
PIN = re.compile(r"[0-9]{4,8}")


class UnknownBadge(Refusal):
    status, code, title = 403, "unknown_badge", "This badge opens nothing"


class NotEnrolled(Refusal):
    status, code, title = 403, "not_enrolled", "Badges do not work here"


class WrongPin(Refusal):
    status, code, title = 403, "wrong_pin", "This is not the PIN"


class BadgeLocked(Refusal):
    status, code, title = 403, "badge_locked", "The badge is locked"


class BadPin(Refusal):
    code, title = "bad_pin", "Not a PIN"


def is_badge(text: str) -> bool:
    """Whether what was scanned into a field is the code of a badge."""
    return BADGE.fullmatch(text.strip().upper()) is not None


def badge_make(*, person: Person, username: str) -> str:
    """A new badge for somebody; returns its code, to be printed now, since only its hash is kept. The old badge has
    ended, and whoever was signed in by it is out. Raises NotFound, WrongState.
    """
    person.require("people")
    found = colleague(person=person, username=username)
    if not found.is_active:
        raise WrongState(f"{found.username} does not work here any more. Take {found.username} back first.")
    code = "ID-" + "".join(secrets.choice(LETTERS) for _ in range(20))
    found.badge_sha256, found.badge_made_at = sha256_of(code), Now()
    found.save(update_fields=["badge_sha256", "badge_made_at"])
    audit_write(person=person, subject=found.username, what="badge made")
    return code


def badge_print(*, person: Person, username: str, code: str) -> Person:
    """Whose badge ``code`` is, for the owner to print it now; an entry in the audit says so.

    Raises Forbidden, NotFound, UnknownBadge where it is not the badge that this person has.
    """
    person.require("people")
    found = colleague(person=person, username=username)
    if not is_badge(code) or found.badge_sha256 != sha256_of(code.strip().upper()):
        raise UnknownBadge(f"This is not the badge that {found.username} has now. Make a new one, and print that.")
    audit_write(person=person, subject=found.username, what="badge printed")
    return found


def pin_set(*, person: Person, username: str, pin: str) -> Person:
    """A PIN of 4 to 8 digits, by the person or by the owner; it frees a locked badge.

    Raises Forbidden, NotFound, BadPin.
    """
    found = colleague(person=person, username=username)
    if found != person:
        person.require("people")
    if not PIN.fullmatch(pin):
        raise BadPin("A PIN is 4 to 8 digits.", [("/pin", "4 to 8 digits")])
    if len(set(pin)) == 1 or pin in "0123456789876543210":
        raise BadPin("This PIN is the first that anybody would try. Choose another.", [("/pin", "choose another")])
    found.pin, found.pin_wrong = make_password(pin), 0
    found.save(update_fields=["pin", "pin_wrong"])
    audit_write(person=person, subject=found.username, what="PIN set")
    return found


def badge_owner(*, terminal: Terminal | None, badge: str) -> Person:
    """Whose badge this is. Raises NotEnrolled, UnknownBadge, BadgeLocked."""
    if terminal is None:
        raise NotEnrolled(
            "This browser is not an enrolled terminal, so no badge signs in here. Sign in with name and password; an "
            "owner who does so can enrol it, under Shop, Terminals."
        )
    mine = Person.objects.filter(shop_id=terminal.shop_id, is_active=True)
    found = mine.filter(badge_sha256=sha256_of(badge.strip().upper())).select_related("shop").first()
    if found is None:
        raise UnknownBadge(
            "Nobody here has this badge: it may have been replaced by a newer one. Sign in with name and password, or "
            "ask the owner for a new badge."
        )
    if not found.pin:
        raise WrongState(
            f"{found.username} has no PIN yet. Sign in with name and password and set one under Me, or ask the owner."
        )
    if found.badge_locked:
        raise _locked(found)
    return found


def _locked(person: Person) -> BadgeLocked:
    return BadgeLocked(
        f"{MOST_PIN_TRIES} wrong PINs in a row have locked the badge of {person.username}. Signing in with name and "
        "password frees it, and so does the owner by setting a new PIN."
    )


def pin_check(*, person: Person, pin: str) -> None:
    """Compare a PIN. Each try is counted before it is judged, so that many at once are no more than one after another.

    Not to be called inside a transaction that a refusal would undo: a wrong try has to stay counted.
    Raises WrongPin, BadgeLocked.
    """
    counted = person.try_count("pin_wrong", MOST_PIN_TRIES)
    if not counted:
        raise _locked(person)
    if not check_password(pin, person.pin):
        audit_write(person=person, subject=person.username, what=WRONG_PIN)
        left = MOST_PIN_TRIES - Person.objects.values_list("pin_wrong", flat=True).get(pk=person.pk)
        if left <= 0:
            raise _locked(person)
        tries = f"{left} more tries" if left > 1 else "One more try"
        raise WrongPin(f"This is not the PIN of {person.username}. {tries}, then the badge is locked.")
    pin_free(person=person)


def pin_free(*, person: Person) -> None:
    """Forget wrong PINs: whoever knows the PIN, or the password, is in."""
    Person.objects.filter(pk=person.pk, pin_wrong__gt=0).update(pin_wrong=0)
