"""The one Chromium of a test process: a second Playwright beside it would not start."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

PLACES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
ARGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests that drive Chromium are marked, and go to one process, which then starts it once."""
    for item in items:
        if Path(__file__).parent / "browser" in item.path.parents:
            item.add_marker(pytest.mark.browser)
        if item.get_closest_marker("browser"):
            item.add_marker(pytest.mark.xdist_group("browser"))


def chromium() -> str:
    """Path of Chromium; without one the test is skipped, or fails where a browser is compulsory."""
    found = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, PLACES)), None)
    if found:
        return found
    if os.environ.get("REQUIRE_BROWSER") == "1":
        pytest.fail("no Chromium, and REQUIRE_BROWSER=1")
    pytest.skip("no Chromium")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The one Chromium."""
    path = chromium()
    # Playwright's loop runs in this thread; Django would refuse its database in every later test here.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=list(ARGS))
        yield started
        started.close()
