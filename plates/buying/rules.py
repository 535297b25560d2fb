"""By what sizes are bought: set by the buyer for a fit and role, or for one size of it."""

import uuid
from typing import Any

from plates.buying.models import BuyRule
from plates.catalogue.models import BadFigures, Fit, Kind
from plates.stock.sizes import SizeRow
from shop.errors import NotFound
from shop.people.models import Person, Shop

#: What a rule sets.
RULE_FIGURES = (
    "method", "service", "lead_weeks", "lead_sd_weeks", "safety_weeks", "review_weeks", "fill_to", "fill_weeks",
    "least", "order_cost", "holding_share",
)  # fmt: skip


def size_centre(shop: Shop, fit: Fit, role: str, nominal_nm: int) -> int:
    """The centre of the size in which this lies, by which its rule goes. Raises BadFigures where nothing of the size is
    catalogued.
    """
    nominals = list(Kind.objects.filter(shop_id=shop.pk, fit=fit, role=role).values_list("nominal_nm", flat=True))
    row = SizeRow.of(nominals or [nominal_nm], shop.unit_first)
    number = row.number(nominal_nm)
    if number not in {row.number(nominal) for nominal in nominals}:
        raise BadFigures(
            "No kind of this fit and role is catalogued in this size. Name the nominal of one that is.",
            [("/nominal", "not a catalogued size")],
        )
    return row.centre_nm(number)


def rule_drop(*, person: Person, rule_id: uuid.UUID) -> BuyRule:
    """What it set is bought again by the rule of its row, or as a shop begins with. Raises NotFound."""
    person.require("buying")
    rule = BuyRule.objects.select_for_update(of=("self",)).filter(shop_id=person.shop_id, pk=rule_id).first()
    if rule is None:
        raise NotFound("There is no such rule. It may have been dropped already: look in the list of rules.")
    BuyRule.objects.filter(shop_id=person.shop_id, pk=rule_id).delete()
    return rule


def rule_set(*, person: Person, fit: Fit, role: str, nominal_nm: int | None = None, **figures: Any) -> BuyRule:
    """Set the rule of a row of sizes, or of the one size in which ``nominal_nm`` lies; it takes the place of what was
    set before, and what is not given is as a shop begins with. Raises BadFigures where nothing of the size is
    catalogued.
    """
    person.require("buying")
    if nominal_nm is not None:
        nominal_nm = size_centre(person.shop, fit, role, nominal_nm)
    fresh = {field.name: field.get_default() for field in BuyRule._meta.fields if field.name in RULE_FIGURES}
    rule, _ = BuyRule.objects.update_or_create(
        shop_id=person.shop_id, fit=fit, role=role, nominal_nm=nominal_nm, defaults={**fresh, **figures}
    )
    return rule
