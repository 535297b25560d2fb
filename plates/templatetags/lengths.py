"""Lengths as a person reads them: both units, the shop's own first."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django import template
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from plates import lengths
from plates.lengths import half_even

register = template.Library()


def _unit(context: template.Context, unit: str) -> str:
    if unit:
        return unit
    request: Any = context.get("request")
    shop = getattr(getattr(request, "user", None), "shop", None)
    return shop.unit_first if shop else "in"


@register.simple_tag(takes_context=True)
def length(context: template.Context, length_nm: float | None, unit: str = "") -> SafeString | str:
    """Both units; ``unit`` names the one that governs, else it is the shop's."""
    if length_nm is None:
        return ""
    whole_nm = half_even(length_nm)
    parts = f"{lengths.inch(whole_nm)} in", f"{lengths.mm(whole_nm)} mm"
    first, second = parts if _unit(context, unit) == "in" else parts[::-1]
    return format_html('<span class="length"><b>{}</b> <span class="also">({})</span></span>', first, second)


@register.simple_tag
def signed(length_nm: int, places: int = 1) -> str:
    """A difference, with its sign, in thousandths of an inch (to so many places) and millimetres."""
    return f"{lengths.signed(length_nm, 'in', places)} ({lengths.signed(length_nm, 'mm')})"


@register.simple_tag
def thou(length_nm: float, places: int = 1) -> str:
    """Thousandths of an inch to so many places, and millimetres behind them."""
    whole_nm = half_even(length_nm)
    return f"{lengths.thou(whole_nm, places)} thou ({lengths.mm(whole_nm)} mm)"


@register.filter
def percent(probability: float) -> str:
    """A probability; never rounded up to a certainty."""
    return f"{min(probability * 100, 99.9):.1f} %" if probability >= 0.9 else f"{probability * 100:.0f} %"


@register.simple_tag
def exact(length_nm: int) -> str:
    """A length to the nanometre with its unit, for an address or a hidden field."""
    return f"{length_nm // 1000}.{length_nm % 1000:03d} um"


@register.filter
def share(part: float) -> str:
    """A share of a price, which may be more than all of it."""
    return f"{part * 100:g} %"


@register.filter
def money(amount: Decimal) -> str:
    """An amount in the shop's own money: two places, or as many as it has."""
    places = max(2, -int(amount.normalize().as_tuple().exponent))
    return f"{amount:.{places}f}"


@register.filter
def left(until: datetime | None) -> str:
    """Time left until then, in hours and minutes."""
    if until is None:
        return ""
    minutes = max(0, int((until - timezone.now()).total_seconds() // 60))
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min"
