"""The service without the lock on plates and without the revision in the statement that writes them."""
# ruff: noqa: I001

from tests.races.wsgi_plates_unlocked import application

from plates.stock import ledger

__all__ = ["application"]

GUARD = " AND p.revision = c.revision"
assert GUARD in ledger._WRITE
ledger._WRITE = ledger._WRITE.replace(GUARD, "")
