"""What is far too large is refused by its announced size, and nothing of it is read."""

import pytest
from django.test import Client, RequestFactory
from tests.office.page_words import words

from doffer.serve.uploads import MOST_BODY_BYTES, uploads

HALF_GIGABYTE = "500000000"


def test_an_announced_half_gigabyte_is_refused_with_a_sentence(client: Client, people):
    answer = client.generic("POST", "/shades/file/", b"x", CONTENT_LENGTH=HALF_GIGABYTE)
    assert answer.status_code == 413
    assert "has 500 MB; a page takes 12 MB at most. Nothing was kept." in words(answer)


def test_a_part_of_a_page_gets_the_bare_sentence(client: Client, people):
    more = {"CONTENT_LENGTH": HALF_GIGABYTE, "HTTP_HX_REQUEST": "true"}
    answer = client.generic("POST", "/shades/file/", b"x", **more)
    assert answer["Content-Type"].startswith("text/plain")


@pytest.mark.parametrize("said", ["", "0", str(MOST_BODY_BYTES), "nonsense"])
def test_everything_else_goes_on(said):
    request = RequestFactory().generic("POST", "/", b"x", CONTENT_LENGTH=said)
    assert uploads(lambda _: "went on")(request) == "went on"
