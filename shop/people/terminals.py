"""Terminals: browsers that the owner has enrolled, so that a badge and a PIN sign in there."""

import secrets
import uuid

from django.db.models import QuerySet
from django.db.models.functions import Now

from shop.errors import NotFound, WrongState
from shop.people.audit import audit_write
from shop.people.models import Person, Terminal, sha256_of


def terminals(shop_id: uuid.UUID) -> QuerySet[Terminal]:
    """All terminals of a shop, those in use first."""
    rows = Terminal.objects.filter(shop_id=shop_id).select_related("enrolled_by")
    return rows.order_by("-ended_at", "code")  # NULL comes first when descending


def terminal_of(token: str) -> Terminal | None:
    """The terminal that carries this token; None when it has ended, or none ever had it."""
    return Terminal.objects.filter(sha256=sha256_of(token), ended_at=None).first() if token else None


def terminal_enrol(*, person: Person, code: str) -> str:
    """A new terminal; returns its token, which is only ever known to that browser. Raises CodeTaken, WrongState."""
    person.require("people")
    if person.at_terminal is not None:
        raise WrongState(f"This browser is terminal {person.at_terminal.code} already. Rename it, or end it first.")
    token = secrets.token_urlsafe(32)
    Terminal.objects.create(shop_id=person.shop_id, code=code, sha256=sha256_of(token), enrolled_by=person)
    audit_write(person=person, subject=code, what="terminal enrolled")
    return token


def _lock(person: Person, code: str) -> Terminal:
    found = Terminal.objects.select_for_update(no_key=True).filter(shop_id=person.shop_id, code=code).first()
    if found is None:
        raise NotFound(f"No terminal of this shop is called {code!r}.")
    return found


def terminal_name(*, person: Person, code: str, new: str) -> Terminal:
    """Another name for a terminal; what was done at it goes by the new one too. Raises NotFound, CodeTaken."""
    person.require("people")
    found = _lock(person, code)
    if new != found.code:
        audit_write(person=person, subject=found.code, what="terminal renamed", before=found.code, after=new)
        found.code = new
        found.save(update_fields=["code"])
    return found


def terminal_end(*, person: Person, code: str) -> Terminal:
    """From now on no badge signs in there, and who signed in by badge is out. Raises NotFound, WrongState."""
    person.require("people")
    found = _lock(person, code)
    if found.ended_at is not None:
        raise WrongState(f"Terminal {code} has ended already.")
    found.ended_at = Now()
    found.save(update_fields=["ended_at"])
    audit_write(person=person, subject=code, what="terminal ended")
    return found
