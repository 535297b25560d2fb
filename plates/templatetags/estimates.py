"""What a clearance does, as a person reads it: the shop's own units first."""

from typing import Any

from django import template

from plates.catalogue.estimates import Case, estimates
from plates.catalogue.spec_models import Spec

register = template.Library()


@register.simple_tag
def estimates_of(
    spec: Spec, clearance_nm: int, u_nm: float | None, learned_m3: float | None, unit: str
) -> list[dict[str, Any]]:
    """Each estimate of this pack at this clearance, its figure with the governing unit first."""
    found = estimates(Case(spec, clearance_nm, u_nm or None, learned_m3 or None))
    ordered = [(one, (one.us, one.metric) if unit == "in" else (one.metric, one.us)) for one in found]
    return [{"one": one, "first": first, "second": second} for one, (first, second) in ordered]
