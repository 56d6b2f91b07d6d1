"""Addresses of the office: every place brings its own."""

from __future__ import annotations

from django.urls import URLPattern

from doffer.office import lots, today

urlpatterns: list[URLPattern] = [
    *today.urlpatterns,
    *lots.urlpatterns,
]
