"""The project room as a Django app."""

from django.apps import AppConfig
from django.contrib.auth.signals import user_logged_in, user_login_failed
from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate

from shop.database import grant_after_migrate
from shop.metrics import database_watched


class ShopConfig(AppConfig):
    name = "shop"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.database import line  # noqa: F401  # a check of check --deploy
        from shop.entry import signed_in  # they need the tables, which are not there yet while this module is read
        from shop.sign_in import password_refused

        post_migrate.connect(grant_after_migrate, sender=self)
        user_logged_in.connect(signed_in)
        user_login_failed.connect(password_refused)
        connection_created.connect(database_watched)
