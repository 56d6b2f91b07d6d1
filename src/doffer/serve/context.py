"""What every page knows without asking: the mill, who is acting, who else works here, the day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest

from doffer import __version__
from doffer.mill import clock
from doffer.mill.queries import house
from doffer.ui.places import PLACES

UNITS_KEY = "units"  # a device may speak other units than its mill; kept in the session


@dataclass(frozen=True, slots=True)
class PageMill:
    """The mill as the page frame shows it."""

    name: str
    is_demo: bool
    units: str
    country: str


def page_head(request: HttpRequest) -> dict[str, Any]:
    """Context processor of every template."""
    made = {row.key: row.value for row in house.settings()}
    mill = PageMill(
        name=made["name"] or str(settings.MILL.get("name", "")),
        is_demo=settings.IS_DEMO,
        units=made["units"],
        country=made["country_rules"],
    )
    return {
        "mill": mill,
        # what a page says for its owner wins: a context processor would overrule the page's own value
        "units": getattr(request, "page_units", None) or request.session.get(UNITS_KEY) or mill.units,
        "person": getattr(request, "person", None),
        "people": house.people(),
        "version": __version__,
        "today": clock.today(),
        "places": PLACES,
    }
