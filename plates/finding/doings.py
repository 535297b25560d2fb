"""What somebody did of late: lines of the ledger, and packs asked, taken and measured."""

from django.db.models import Q, QuerySet

from plates.bench.models import Match
from plates.bench.selectors import matches
from plates.stock.ledger_models import Act, LedgerLine
from plates.stock.selectors import ledger
from shop.people.models import Person

#: Of late: among so many of the latest lines of the shop's ledger, which grows without end, and of its packs.
LINES = 5000
PACKS = 500


def lines_of(person: Person) -> QuerySet[LedgerLine]:
    """What this person did to plates of late, the latest first. A hold that ran out was nobody's doing."""
    latest = LedgerLine.objects.filter(shop_id=person.shop_id).order_by("-at", "-id").values("pk")[:LINES]
    return ledger(person.shop_id).filter(pk__in=latest, person=person).exclude(act=Act.RAN_OUT).order_by("-at", "-id")


def packs_of(person: Person) -> QuerySet[Match]:
    """The packs that this person asked, took or measured, of the shop's latest, the latest first."""
    latest = Match.objects.filter(shop_id=person.shop_id).order_by("-number").values("pk")[:PACKS]
    measured = Match.objects.filter(shop_id=person.shop_id, final_checks__person=person).values("pk")
    theirs = Q(person=person) | Q(taken_by=person) | Q(pk__in=measured)
    rows = matches(person.shop_id).filter(theirs, pk__in=latest).prefetch_related("final_checks")
    return rows.order_by("-number")
