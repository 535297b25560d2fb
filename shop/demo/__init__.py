"""The invented demo shop: filled from ``fixtures/demo``, served or answered by ``manage.py demo``, and nowhere else."""

from .load import PEOPLE, demo_load, demo_shop, passwords_set, real_shop_refuse
from .server import demo_server

__all__ = ["PEOPLE", "demo_load", "demo_server", "demo_shop", "passwords_set", "real_shop_refuse"]
