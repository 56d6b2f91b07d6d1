"""A deliberate error becomes a page with its sentence; nobody at the mill ever sees a traceback."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.template import TemplateDoesNotExist
from django.template.loader import select_template

from doffer.errors import ConflictError, DofferError, InfeasibleError, InputError, NotFoundError, RefusedError

STATUS = (
    (NotFoundError, 404),
    (ConflictError, 409),
    (RefusedError, 422),
    (InfeasibleError, 422),
    (InputError, 400),
)
UNKNOWN_FORM = (
    "This form has been open too long, or the page came from another address. "
    "Go back, load the page again and send it once more: what you typed is still in the form."
)


def status_of(error: DofferError) -> int:
    """The HTTP status that fits an error."""
    return next((status for kind, status in STATUS if isinstance(error, kind)), 400)


def sentence_page(request: HttpRequest, sentence: str, status: int) -> HttpResponse:
    """The page (or, for a part of a page, the plain sentence) that says what is wrong."""
    if request.headers.get("HX-Request") == "true":
        return HttpResponse(sentence, status=status, content_type="text/plain; charset=utf-8")
    try:
        template = select_template([f"{status}.html", "400.html"])
    except TemplateDoesNotExist:
        return HttpResponse(sentence, status=status, content_type="text/plain; charset=utf-8")
    return HttpResponse(template.render({"sentence": sentence, "status": status}, request), status=status)


class ErrorPages:
    """Middleware: DofferError -> 400, 404, 409 or 422 with its sentence."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Django calls this when a page raises."""
        if isinstance(exception, DofferError):
            return sentence_page(request, str(exception), status_of(exception))
        return None


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Django calls this when a form's token does not fit; `reason` is for the log, which Django writes."""
    del reason
    return sentence_page(request, UNKNOWN_FORM, 403)
