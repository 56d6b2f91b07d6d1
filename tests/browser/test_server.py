"""What the server promises to every page, seen from Chromium."""

import re


def test_the_first_page_is_the_demo_and_says_so(live, page, axe, shot):
    page.goto(f"{live}/")
    assert "invented" in page.inner_text("body")
    assert axe(page) == []
    shot(page, "first")


def test_the_fonts_and_scripts_come_from_the_mill_and_are_kept(live, page_at):
    page = page_at(1440, 900)
    answers = []
    page.on("response", lambda answer: answers.append((answer.url, answer.headers.get("cache-control", ""))))
    page.goto(f"{live}/", wait_until="networkidle")
    kept = [url for url, rule in answers if "/static/" in url and "immutable" not in rule]
    assert kept == []
    assert any(url.endswith(".woff2") for url, _ in answers)


def test_what_is_not_there_is_a_page_with_a_way_on(live, page):
    page.goto(f"{live}/lots/L99999/nothing-here")
    page.expected("404")
    assert page.locator("h1").count() == 1
    assert re.search(r"nothing|no ", page.inner_text("main"), re.IGNORECASE)


def test_an_inline_script_is_not_run(live, page_at):
    page = page_at(360, 740)
    page.goto(f"{live}/")
    page.evaluate("document.body.insertAdjacentHTML('beforeend', '<img src=x onerror=\"window.bad = 1\">')")
    page.wait_for_timeout(200)
    page.expected("Content Security Policy")
    page.expected("404")
    assert page.evaluate("window.bad") is None


def test_two_mills_on_one_computer_do_not_share_cookies(live, page_at):
    page = page_at(360, 740)
    page.goto(f"{live}/")
    names = {cookie["name"] for cookie in page.context.cookies()}
    assert names
    assert [name for name in names if not re.fullmatch(r"doffer_[0-9a-f]{8}_(session|csrf)", name)] == []
