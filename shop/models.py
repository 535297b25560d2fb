"""The tables of the project room; they live with the people."""

from shop.people.models import AuditLine, Counter, Person, RequestKey, Shop, Terminal, Token

__all__ = ["AuditLine", "Counter", "Person", "RequestKey", "Shop", "Terminal", "Token"]
