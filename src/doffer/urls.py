"""All addresses: the pages of the office, photos, and a sign of life. `/live` is answered before Django."""

from django.urls import include, path

from doffer.serve import pages

urlpatterns = [
    path("healthz", pages.health, name="health"),
    path("media/<path:path>", pages.media, name="media"),
    path("", include("doffer.office.urls")),
]
