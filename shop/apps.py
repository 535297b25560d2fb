"""The project room as a Django app."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate

from shop.database import grant_after_migrate


class ShopConfig(AppConfig):
    name = "shop"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        post_migrate.connect(grant_after_migrate, sender=self)
