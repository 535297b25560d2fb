"""The tables of the project room; they live with the people."""

from shop.people.models import Counter, Person, RequestKey, Shop, Token

__all__ = ["Counter", "Person", "RequestKey", "Shop", "Token"]
