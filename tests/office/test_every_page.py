"""Every page that can be reached by links from Today in the invented mill opens, PDFs included."""

import re

import pytest

pytestmark = pytest.mark.django_db(transaction=True)
LINK = re.compile(r'(?:href|hx-get)="(/[^"#]*)"')
NOT_PAGES = ("/static/", "/media/", "/live", "/start/wait/", "/runs/expected/")  # no pages by themselves
MOST_PAGES = 900


def test_no_link_of_the_invented_mill_leads_nowhere(client, demo_mill):
    waiting, seen, broken = ["/"], {"/"}, []
    while waiting:
        path = waiting.pop()
        answer = client.get(path.replace("&amp;", "&"), follow=True)
        if answer.status_code != 200:
            broken.append((path, answer.status_code))
            continue
        if "text/html" not in answer["Content-Type"]:
            continue
        for link in LINK.findall(answer.content.decode()):
            if not link.startswith(NOT_PAGES) and link not in seen and len(seen) < MOST_PAGES:
                seen.add(link)
                waiting.append(link)
    assert broken == []
    assert {"/lots/L008/", "/orders/O202/", "/records/tables/regain/", "/lots/L007/tag.pdf"} <= seen
