"""The service without the claim on an Idempotency-Key: what one press may then do."""
# ruff: noqa: I001

from shop.wsgi import application  # first, since it sets Django up

from shop import once

__all__ = ["application"]

CLAIM = "ON CONFLICT (shop_id, person_id, key) DO UPDATE"
assert CLAIM in once._CLAIM
once._CLAIM = once._CLAIM.replace(CLAIM, "ON CONFLICT (id) DO UPDATE")


def believe(self):
    """Nobody was here before."""


once.Once.replay = believe
