"""Addresses of the office: every place brings its own."""

from __future__ import annotations

from django.urls import URLPattern

from doffer.office import doses, lots, new_order, orders, today

urlpatterns: list[URLPattern] = [
    *today.urlpatterns,
    *lots.urlpatterns,
    *new_order.urlpatterns,  # before orders: “new” is no order number
    *orders.urlpatterns,
    *doses.urlpatterns,
]
