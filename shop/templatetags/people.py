"""What a page may offer to whoever looks at it."""

from django import template

from shop.people.models import Person

register = template.Library()


@register.filter
def may(person: Person, right: str) -> bool:
    """Whether this person's role carries the right: ``{% if user|may:"stock" %}``."""
    return person.may(right)
