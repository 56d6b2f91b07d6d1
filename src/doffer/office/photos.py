"""Photos of a lot: taken at the door with the tag in the picture, shown as they are kept."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods

from doffer.errors import InputError
from doffer.mill.commands.lots import MOST_PHOTO_BYTES, MOST_PHOTO_PIXELS, add_photo
from doffer.mill.queries.lots import one_lot
from doffer.office.asked import acting
from doffer.people.rights import Right, may

WAYS_BACK = {"door": "lot_door", "photos": "lot_photos"}
MB = 1_000_000


@require_http_methods(["GET", "POST"])
def photos(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L041/photos/`: see the photos of a lot, add one."""
    sentence = ""
    if request.method == "POST":
        sentence = _keep(request, code)
        if not sentence:
            back = WAYS_BACK.get(request.POST.get("back", ""), "lot_photos")
            return HttpResponseRedirect(reverse(back, args=[code]))
    page = {
        "here": "lots",
        "lot": one_lot(code),
        "sentence": sentence,
        "most_mb": MOST_PHOTO_BYTES // MB,
        "most_megapixels": MOST_PHOTO_PIXELS // MB,
        "may_write": may(acting(request), Right.INTAKE),
    }
    return render(request, "office/weigh_in_photos.html", page, status=422 if sentence else 200)


def _keep(request: HttpRequest, code: str) -> str:
    """Keep the uploaded photo; gives the sentence that says what is wrong with it, or nothing."""
    upload = request.FILES.get("photo")
    if upload is None:
        return "Choose a picture first, or take one with the camera."
    if upload.size is not None and upload.size > MOST_PHOTO_BYTES:
        return (
            f"The photo has {upload.size / MB:.0f} MB; at most {MOST_PHOTO_BYTES // MB} MB are kept. "
            "Take it again with a smaller picture size."
        )
    try:
        add_photo(acting(request), code, data=upload.read())
    except InputError as wrong:
        return str(wrong)
    return ""


urlpatterns = [path("lots/<str:code>/photos/", photos, name="lot_photos")]
