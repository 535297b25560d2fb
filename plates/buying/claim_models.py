"""Claims: plates of an order that are not as they were ordered."""

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from plates.stock.models import Plate
from shop.links import Link
from shop.people.models import Person
from shop.rows import SameShop, ShopRow


class ClaimState(models.TextChoices):
    OPEN = "open", "open"
    SENT_BACK = "sent_back", "sent back"
    CREDITED = "credited", "credited"
    ACCEPTED = "accepted", "accepted as it is"


#: What a claim may become.
SETTLED = [one for one in ClaimState.choices if one[0] != ClaimState.OPEN]


class Claim(ShopRow):
    """One plate to be claimed on the supplier of its order: as it was read then, since it may be read again later."""

    plate = Link(
        Plate, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="claims"
    )
    thickness_nm = models.BigIntegerField()
    #: How far a plate of its kind may be from nominal.
    tolerance_nm = models.BigIntegerField()
    #: What it is beyond, in words.
    why = models.TextField()
    state = models.TextField(choices=ClaimState.choices, default=ClaimState.OPEN)
    opened_at = models.DateTimeField(db_default=Now())
    note = models.TextField(blank=True, default="")
    person = Link(
        Person, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    settled_at = models.DateTimeField(null=True)

    class Meta(ShopRow.Meta):
        ordering = ["id"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="plate", name="claim_plate"),
            SameShop(field="person", name="claim_person"),
            models.UniqueConstraint(fields=["shop", "plate"], name="claim_once"),
            models.CheckConstraint(
                condition=Q(state="open", person=None, settled_at=None)
                | (~Q(state="open") & Q(person__isnull=False, settled_at__isnull=False) & ~Q(note="")),
                name="claim_settled",
            ),
        ]
        indexes = [models.Index(fields=["shop", "plate"], condition=Q(state="open"), name="claim_open")]
