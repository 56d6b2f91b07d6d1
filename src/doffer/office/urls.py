"""Addresses of the office: every place brings its own."""

from __future__ import annotations

from django.urls import URLPattern

from doffer.office import (
    door_papers,
    doses,
    grade,
    imports,
    lot_weigh,
    lots,
    machines,
    new_order,
    orders,
    owners,
    photos,
    records,
    runs,
    set_up,
    tables,
    today,
    weigh_in,
)

urlpatterns: list[URLPattern] = [
    *today.urlpatterns,
    *lots.urlpatterns,
    *new_order.urlpatterns,  # before orders: “new” is no order number
    *orders.urlpatterns,
    *doses.urlpatterns,
    *records.urlpatterns,
    *owners.urlpatterns,
    *machines.urlpatterns,
    *tables.urlpatterns,
    *imports.urlpatterns,
    *set_up.urlpatterns,
    *weigh_in.urlpatterns,
    *grade.urlpatterns,
    *photos.urlpatterns,
    *door_papers.urlpatterns,
    *lot_weigh.urlpatterns,
    *runs.urlpatterns,
]
