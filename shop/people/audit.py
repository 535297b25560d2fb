"""What was changed of people, terminals and settings, and who signed in: by whom, when, where, from what to what."""

import uuid

from django.db.models import QuerySet

from shop.people.models import AuditLine, Person

SIGNED_IN, SIGNED_OUT, REFUSED, WRONG_PIN = "signed in", "signed out", "wrong password", "wrong PIN"
ENDED, WRONG_CODE = "ended password", "wrong one-time code"
#: That the password was right and the code is still to come: where it stays at that, somebody has learnt a password.
HALF_IN = "password, without its code"
#: Of these there are many, so they are listed apart.
SIGN_INS = (SIGNED_IN, SIGNED_OUT, REFUSED, WRONG_PIN, ENDED, WRONG_CODE, HALF_IN)


def audit_write(*, person: Person, subject: str, what: str, before: str = "", after: str = "") -> None:
    """One line, in the transaction of the change that it tells of. Nothing secret goes in."""
    AuditLine.objects.create(
        shop_id=person.shop_id,
        person=person,
        terminal_id=person.terminal_id,
        subject=subject,
        what=what,
        before=before,
        after=after,
    )


def audit(shop_id: uuid.UUID, *, sign_ins: bool = False) -> QuerySet[AuditLine]:
    """The changes of a shop, or its sign-ins, the latest first."""
    rows = AuditLine.objects.filter(shop_id=shop_id).select_related("person", "terminal")
    return rows.filter(what__in=SIGN_INS) if sign_ins else rows.exclude(what__in=SIGN_INS)
