"""The addresses that belong to no place of the mill: a sign of life, and the photos."""

from __future__ import annotations

import mimetypes
from pathlib import PurePosixPath

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connection
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase, JsonResponse

SHOWN_INLINE = {"image/jpeg", "image/png", "image/webp"}
PRIVATE_YEAR = "private, max-age=31536000, immutable"


def health(_request: HttpRequest) -> HttpResponse:
    """`/healthz`: the server answers and its database does too."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return JsonResponse({"ok": True, "mill": settings.MILL.get("name", ""), "demo": settings.IS_DEMO})


def media(_request: HttpRequest, path: str) -> HttpResponseBase:
    """A stored photo: pictures are shown, anything else is offered as a download, nothing is run."""
    if ".." in PurePosixPath(path).parts or not default_storage.exists(path):
        raise Http404
    kind = mimetypes.guess_type(path)[0] or "application/octet-stream"
    response = FileResponse(
        default_storage.open(path),
        as_attachment=kind not in SHOWN_INLINE,
        content_type=kind,
        filename=PurePosixPath(path).name,
    )
    response["Content-Security-Policy"] = "sandbox; default-src 'none'"
    response["Cache-Control"] = PRIVATE_YEAR  # file names are random and contents never change
    return response
