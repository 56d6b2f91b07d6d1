"""Every page that can be reached by links from Today in the invented mill opens, PDFs included."""

import re
from collections import Counter

import pytest

pytestmark = pytest.mark.django_db(transaction=True)
LINK = re.compile(r'(?:href|hx-get)="(/[^"#]*)"')
NOT_PAGES = ("/static/", "/media/", "/live", "/start/wait/", "/runs/expected/")  # no pages by themselves
MOST_PAGES = 3000
MOST_QUESTIONS = 30  # addresses of one page that differ in their question only: rows of a table, blends
UNSEEN = re.compile(r"<(script|style|code|pre|kbd)\b.*?</\1>|<[^>]*>", re.DOTALL)
PATH = re.compile(r"\S*[/\\]\S*")  # where a folder lies on the disk is shown as it is
KEY_OF_THE_PROGRAM = re.compile(r"[A-Za-z0-9]+_[A-Za-z0-9_]+")


def kind_of(link: str) -> str:
    """What kind of page a link leads to: its path, lots and numbers alike, and whether it asks something."""
    path, asks, _ = link.partition("?")
    return re.sub(r"[A-Z]*[0-9]+", "0", path) + asks


def test_no_link_of_the_invented_mill_leads_nowhere(client, demo_mill):
    waiting, seen, broken, keys = ["/"], {"/"}, [], {}
    questions: Counter[str] = Counter()
    while waiting:
        path = waiting.pop()
        answer = client.get(path.replace("&amp;", "&"), follow=True)
        if answer.status_code != 200:
            broken.append((path, answer.status_code))
            continue
        if "text/html" not in answer["Content-Type"]:
            continue
        page = answer.content.decode()
        for word in KEY_OF_THE_PROGRAM.findall(PATH.sub(" ", UNSEEN.sub(" ", page))):
            keys.setdefault(word, path)
        for link in LINK.findall(page):
            if link.startswith(NOT_PAGES) or link in seen or len(seen) >= MOST_PAGES:
                continue
            questions[kind_of(link)] += "?" in link
            if questions[kind_of(link)] <= MOST_QUESTIONS:
                seen.add(link)
                waiting.append(link)
    assert broken == []
    assert keys == {}, "words of the program stand on pages"
    assert {"/lots/L008/", "/orders/O202/", "/records/tables/regain/", "/lots/L007/tag.pdf"} <= seen
    assert len(seen) < MOST_PAGES
