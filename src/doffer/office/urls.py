"""Addresses of the office: every place brings its own."""

from __future__ import annotations

from django.urls import URLPattern

from doffer.office import (
    bench,
    bench_costs,
    colour_photo,
    colour_readings,
    door_papers,
    doses,
    grade,
    holds,
    imports,
    lot_weigh,
    lot_words,
    lots,
    machines,
    new_order,
    order_wish,
    orders,
    owners,
    photos,
    recipes,
    records,
    runs,
    samples,
    scan,
    set_up,
    shades,
    shades_batch,
    tables,
    today,
    weigh_in,
)

urlpatterns: list[URLPattern] = [
    *today.urlpatterns,
    *scan.urlpatterns,
    *lots.urlpatterns,
    *lot_words.urlpatterns,
    *holds.urlpatterns,
    *new_order.urlpatterns,  # before orders: “new” is no order number
    *order_wish.urlpatterns,
    *orders.urlpatterns,
    *bench.urlpatterns,
    *bench_costs.urlpatterns,
    *recipes.urlpatterns,
    *colour_readings.urlpatterns,  # before shades: “file” and “mixing” are no shades
    *colour_photo.urlpatterns,
    *samples.urlpatterns,
    *shades.urlpatterns,
    *shades_batch.urlpatterns,
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
