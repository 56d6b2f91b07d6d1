"""The small scripts in a real browser; every answer of the mill is played by the test."""

import mimetypes
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route

pytestmark = pytest.mark.browser
UI = Path(__file__).parents[2] / "src" / "doffer" / "ui"
ORIGIN = "http://mill.test"
BODY = """
{% extends "base.html" %}{% block main %}
{% for name in ("good", "refused", "fault", "silence") %}
<button type="button" id="{{ name }}" hx-get="/{{ name }}" hx-target="#answer">{{ name }}</button>
{% endfor %}
<div id="answer" class="answer"></div>
<form method="post" action="/never"><button class="button" type="submit" id="save">Save</button></form>
<section id="fresh" data-live="lot">
<details><summary>working</summary>3 x 4</details><span>COUNT</span></section>
{% endblock %}
"""
ANSWERS = {
    "/good": (200, "text/html", "<b>fine</b>"),
    "/refused": (400, "text/plain; charset=utf-8", "gross is “<img id=evil src=x>”."),
    "/fault": (500, "text/html", "<h1>Traceback</h1>"),
    "/live": (
        200,
        "text/event-stream",
        'retry: 600000\nevent: change\ndata: {"cursor": 1, "topics": ["lot"]}\n\n',
    ),
}


class Mill:
    """Plays the server: the page counts how often it was asked for."""

    def __init__(self, html: str) -> None:
        self.html = html
        self.asked = 0

    def answer(self, route: Route) -> None:
        path = route.request.url.removeprefix(ORIGIN)
        if path == "/":
            self.asked += 1
            headers = {
                "Content-Security-Policy": "default-src 'self'; img-src 'self' data:",
                "Content-Type": "text/html",
            }
            route.fulfill(status=200, headers=headers, body=self.html.replace("COUNT", f"seen {self.asked}"))
        elif path.startswith("/static/"):
            file = UI / path.removeprefix("/")
            route.fulfill(
                status=200, body=file.read_bytes(), content_type=mimetypes.guess_type(file)[0] or "font/woff2"
            )
        elif path in ANSWERS:
            status, kind, body = ANSWERS[path]
            route.fulfill(status=status, content_type=kind, body=body)
        else:
            route.abort()


@pytest.fixture
def page(browser, env, gallery) -> Page:
    env.globals["static"] = lambda path: f"/static/{path}"
    mill = Mill(env.from_string(BODY).render(**gallery.context()))
    context = browser.new_context()
    opened = context.new_page()
    opened.set_default_timeout(8000)
    opened.route("**/*", mill.answer)
    opened.goto(f"{ORIGIN}/")
    yield opened
    context.close()


def test_the_chosen_look_is_kept_and_marked(page):
    page.get_by_label("How the pages look").click()
    page.get_by_role("button", name="Dark").click()
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"
    page.reload()
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"
    assert page.locator("[data-look=dark]").get_attribute("aria-pressed") == "true"
    assert page.evaluate("getComputedStyle(document.body.parentElement).backgroundColor") == "rgb(28, 25, 21)"


def test_escape_closes_a_menu_and_gives_the_focus_back(page):
    menu = page.locator("details.menu").first
    menu.locator("summary").click()
    assert menu.get_attribute("open") is not None
    page.keyboard.press("Escape")
    assert menu.get_attribute("open") is None
    assert page.evaluate("document.activeElement.tagName") == "SUMMARY"


def test_a_good_answer_is_put_in_place(page):
    page.click("#good")
    page.wait_for_selector("#answer b")
    assert page.locator("#answer").get_attribute("aria-busy") is None


def test_a_refusal_is_shown_as_text_and_what_was_typed_stays_text(page):
    page.click("#refused")
    page.wait_for_selector("#answer [role=alert]")
    assert page.inner_text("#answer") == "gross is “<img id=evil src=x>”."
    assert page.locator("#evil").count() == 0


def test_our_own_fault_is_told_without_its_traceback(page):
    page.click("#fault")
    page.wait_for_selector("#answer [role=alert]")
    assert page.inner_text("#answer").startswith("Doffer stumbled over this; nothing was written down.")


def test_a_mill_that_does_not_answer_is_told(page):
    page.click("#silence")
    page.wait_for_selector("#answer [role=alert]")
    assert page.inner_text("#answer").startswith("The mill's computer does not answer.")


def test_a_form_that_was_sent_says_so_and_is_not_sent_twice(page):
    state = page.evaluate(
        """() => {
          const form = document.querySelector("main form");
          const stopped = [];
          document.addEventListener("submit", (event) => {
            stopped.push(event.defaultPrevented);
            event.preventDefault();
          });
          form.requestSubmit();
          form.requestSubmit();
          return [...stopped, document.querySelector("#save").getAttribute("aria-busy")];
        }"""
    )
    assert state == [False, True, "true"]


def test_a_part_whose_topic_changed_is_fetched_anew_and_keeps_what_was_open(page):
    page.locator("#fresh summary").click()
    page.evaluate("document.activeElement.blur()")
    page.locator("#fresh span", has_text="seen 2").wait_for()
    page.locator("#fresh details[open]").wait_for()
