"""Addresses of the office: every place brings its own."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
