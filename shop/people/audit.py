"""What was changed of people, terminals and settings: by whom, when, where, from what to what."""

import uuid

from django.db.models import QuerySet

from shop.people.models import AuditLine, Person


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


def audit(shop_id: uuid.UUID) -> QuerySet[AuditLine]:
    """All lines of a shop, the latest first."""
    return AuditLine.objects.filter(shop_id=shop_id).select_related("person", "terminal")
