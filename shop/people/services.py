"""Writes of the people room: shops, who works there and as what, and short numbers.

What may take an owner away locks the shop's row first: two owners at once cannot leave a shop without one.
"""

import re
import uuid

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.db.models import F

from shop.errors import NotFound, Refusal
from shop.people.audit import audit_write
from shop.people.models import TOKEN_DAYS, Person, Role, Shop, Token
from shop.rows import uuid7
from shop.texts import line_refused

#: What a person may be called: it is typed at every sign-in, and stands on slips and in the ledger.
USERNAME = re.compile(r"[\w.@+-]{1,40}")
#: Of a shop, so that it goes onto a label and into the line of a page.
LONGEST_NAME = 100


class BadName(Refusal):
    code, title = "bad_name", "Not a name"


class BadPassword(Refusal):
    code, title = "bad_password", "This password will not do"


class LastOwner(Refusal):
    status, code, title = 409, "last_owner", "A shop keeps an owner"


def shop_name_refused(name: str) -> str:
    """Why a shop cannot be called that, or nothing."""
    if not name.strip():
        return "A shop has a name."
    if len(name) > LONGEST_NAME:
        return f"The name of a shop has at most {LONGEST_NAME} characters."
    return line_refused(name)


def username_check(username: str) -> str:
    """The name as it is kept. Raises BadName for what nobody could sign in with."""
    name = Person.normalize_username(username)
    if not USERNAME.fullmatch(name):
        raise BadName("A name is 1 to 40 letters, digits and . _ @ + -, without blanks.", [("/username", "choose one")])
    return name


def shop_open(*, name: str, owner: str, password: str | None, is_demo: bool = False, unit_first: str = "in") -> Person:
    """A new shop and its owner, nothing else. Without a password the owner cannot sign in on pages. Raises BadName."""
    if why := shop_name_refused(name):
        raise BadName(why, [("/name", "choose another")])
    owner = username_check(owner)
    with transaction.atomic():
        shop = Shop.objects.create(name=name, is_demo=is_demo, unit_first=unit_first)
        return Person.objects.create_person(shop=shop, username=owner, password=password, role=Role.OWNER)


def shop_lock(*, person: Person) -> Shop:
    """The person's shop, locked against other changes of its people and settings."""
    return Shop.objects.select_for_update(no_key=True).get(pk=person.shop_id)


def colleague(*, person: Person, username: str) -> Person:
    """Somebody of the person's own shop. Raises NotFound."""
    found = Person.objects.filter(shop_id=person.shop_id, username=username).first()
    if found is None:
        raise NotFound(f"Nobody in this shop has the name {username!r}.")
    return found


def password_check(password: str, person: Person) -> None:
    """Whether the person, who need not be kept yet, may have it. Raises BadPassword, saying what is wrong with it."""
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise BadPassword(" ".join(error.messages), [("/password", "choose another one")]) from None


def person_add(*, person: Person, username: str, role: str, password: str) -> Person:
    """Somebody new at the shop. Raises BadName, BadPassword, CodeTaken."""
    person.require("people")
    name = username_check(username)
    password_check(password, Person(shop=person.shop, username=name))
    made = Person.objects.create_person(shop=person.shop, username=name, password=password, role=role, given=True)
    audit_write(person=person, subject=made.username, what="added", after=role)
    return made


def _keep_owner(shop: Shop, leaving: Person) -> None:
    others = Person.objects.filter(shop=shop, role=Role.OWNER, is_active=True).exclude(pk=leaving.pk)
    if leaving.role == Role.OWNER and leaving.is_active and not others.exists():
        raise LastOwner(
            f"{leaving.username} is the only owner here, and nobody else may change people and settings. Make somebody "
            "else an owner first.",
            [("/role", "make another owner first")],
        )


def person_role(*, person: Person, username: str, role: str) -> Person:
    """Another role from now on. Raises NotFound, LastOwner."""
    person.require("people")
    shop = shop_lock(person=person)
    found = colleague(person=person, username=username)
    if role == found.role:
        return found
    if role != Role.OWNER:
        _keep_owner(shop, found)
    audit_write(person=person, subject=found.username, what="role", before=found.role, after=role)
    found.role = role
    found.save(update_fields=["role"])
    return found


def person_active(*, person: Person, username: str, active: bool) -> Person:
    """Whether somebody works here. Who left is signed out, and sessions, tokens and the badge have ended for good.

    Raises NotFound, LastOwner.
    """
    person.require("people")
    shop = shop_lock(person=person)
    found = colleague(person=person, username=username)
    if active == found.is_active:
        return found
    if not active:
        _keep_owner(shop, found)
        found.badge_sha256 = found.badge_made_at = None
        found.sessions_ended += 1
        found.tokens.all().delete()
    audit_write(person=person, subject=found.username, what="came back" if active else "left")
    found.is_active = active
    found.save(update_fields=["is_active", "badge_sha256", "badge_made_at", "sessions_ended"])
    return found


def person_password(*, person: Person, username: str, password: str) -> Person:
    """A new password, by the person, or by the owner: then the person has to choose another one with it, within
    :data:`GIVEN_DAYS`. It ends what was signed in with the old one, and frees the badge.

    Raises Forbidden, NotFound, BadPassword.
    """
    found = colleague(person=person, username=username)
    own = found == person
    if not own:
        person.require("people")
    password_check(password, found)
    if own and any(map(found.check_password, {password, password.strip()})):  # blanks at its ends make no other one
        raise BadPassword("This is the password that you have now. Choose another one.", [("/password", "the same")])
    found.set_password(password, given=not own)
    found.pin_wrong = 0
    found.save(update_fields=["password", "password_given_at", "pin_wrong"])
    audit_write(person=person, subject=found.username, what="password set")
    return found


def sessions_end(*, person: Person, username: str) -> Person:
    """Whoever is signed in as this person anywhere is out at the next request. Raises Forbidden, NotFound."""
    person.require("people")
    found = colleague(person=person, username=username)
    Person.objects.filter(pk=found.pk).update(sessions_ended=F("sessions_ended") + 1)
    audit_write(person=person, subject=found.username, what="sessions ended")
    return found


def token_make(*, person: Person, days: int = TOKEN_DAYS) -> str:
    """A new API token of somebody who works here; returns its text, which is never to be had again."""
    with transaction.atomic():
        audit_write(person=person, subject=person.username, what="API token made", after=f"for {days} days")
        return Token.make(person, days)


def tokens_end(*, person: Person, username: str) -> int:
    """No API token of this person opens anything any more; returns how many there were. Raises Forbidden, NotFound."""
    person.require("people")
    found = colleague(person=person, username=username)
    ended, _ = found.tokens.all().delete()
    audit_write(person=person, subject=found.username, what="API tokens ended", before=str(ended))
    return ended


def number_next(*, shop_id: uuid.UUID, name: str) -> int:
    """The next short number; its row stays locked until the transaction ends, so it comes last in the lock order."""
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO shop_counter (id, shop_id, name, value) VALUES (%s, %s, %s, 1)"
            " ON CONFLICT (shop_id, name) DO UPDATE SET value = shop_counter.value + 1 RETURNING value",
            [uuid7(), shop_id, name],
        )
        return cursor.fetchone()[0]
