"""Figures that explain themselves on demand, without a script."""

from django import template

from plates.bench.explained import EXPLAINED, Explained

register = template.Library()


@register.inclusion_tag("plates/explain.html")
def explain(figure: str) -> dict[str, Explained]:
    """What a figure of a match is: one of :data:`~plates.bench.explained.EXPLAINED`."""
    return {"one": EXPLAINED[figure]}
