"""The shop as Django knows it."""

from django.apps import AppConfig


class ShopConfig(AppConfig):
    name = "shop"

    def ready(self):
        from shop import checks  # noqa: F401  registers them
