import pytest
from django.http import HttpResponse
from django.test import RequestFactory

from doffer.errors import ConflictError, InfeasibleError, InputError, NotFoundError, RefusedError, TableError
from doffer.serve.error_pages import ErrorPages, status_of
from doffer.serve.headers import headers


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (InputError("weight", "-3", "above zero"), 400),
        (TableError("regain", "wool", "regain_pct", "a number"), 400),
        (NotFoundError("lot", "L999"), 404),
        (ConflictError("Somebody else was first", "Load the page again"), 409),
        (RefusedError("Joining", ("two owners",)), 422),
        (InfeasibleError("This", "too little wool", "Add 1 kg"), 422),
    ],
)
def test_each_way_out_has_its_status(error, status):
    assert status_of(error) == status


def test_a_part_of_a_page_gets_the_plain_sentence():
    request = RequestFactory().get("/lots/L999/", headers={"HX-Request": "true"})
    answer = ErrorPages(lambda _request: HttpResponse()).process_exception(
        request, NotFoundError("lot", "L999")
    )
    assert (answer.status_code, answer.content.decode()) == (404, "There is no lot “L999”.")


def test_an_error_that_is_none_of_ours_is_left_to_django():
    pages = ErrorPages(lambda _request: HttpResponse())
    assert pages.process_exception(RequestFactory().get("/"), ValueError("x")) is None


def test_every_answer_forbids_inline_and_foreign_content():
    answer = headers(lambda _request: HttpResponse("x"))(RequestFactory().get("/"))
    assert answer["Content-Security-Policy"].startswith("default-src 'self'; script-src 'self'")
    assert "unsafe" not in answer["Content-Security-Policy"]
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_a_page_may_be_stricter_than_the_rule():
    strict = HttpResponse("x", headers={"Content-Security-Policy": "sandbox"})
    answer = headers(lambda _request: strict)(RequestFactory().get("/"))
    assert answer["Content-Security-Policy"] == "sandbox"
