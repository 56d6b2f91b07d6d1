"""A file that is far too large is refused by what its sender says of it, before any of it is taken in."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from doffer.serve.error_pages import sentence_page

MOST_BODY_BYTES = 12_000_000  # the largest file a page takes has 10 MB; the rest is the form around it
BYTES_PER_MB = 1e6
TOO_LARGE = 413


def uploads(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: answer before the body is read; it stands before everything that looks into a form."""

    def answer(request: HttpRequest) -> HttpResponse:
        said = request.META.get("CONTENT_LENGTH") or "0"
        if said.isdecimal() and int(said) > MOST_BODY_BYTES:
            most = f"{MOST_BODY_BYTES / BYTES_PER_MB:.0f} MB"
            sentence = (
                f"What you sent has {int(said) / BYTES_PER_MB:.0f} MB; a page takes {most} at most. "
                "Nothing was kept. Is it the right file?"
            )
            return sentence_page(request, sentence, TOO_LARGE)
        return get_response(request)

    return answer
