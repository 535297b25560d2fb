"""The shop floor as one Django app; its rooms hold the parts."""

from django.apps import AppConfig


class PlatesConfig(AppConfig):
    name = "plates"
    default_auto_field = "django.db.models.BigAutoField"
