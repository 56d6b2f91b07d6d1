"""The people app."""

from django.apps import AppConfig


class PeopleConfig(AppConfig):
    """People, roles and enrolled tablets."""

    name = "doffer.people"
    label = "people"
    verbose_name = "People"
