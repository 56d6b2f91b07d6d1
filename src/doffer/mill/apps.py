"""The mill app."""

from django.apps import AppConfig


class MillConfig(AppConfig):
    """Owners, lots, containers, weighings, runs, orders, plans."""

    name = "doffer.mill"
    label = "mill"
    verbose_name = "Mill"
