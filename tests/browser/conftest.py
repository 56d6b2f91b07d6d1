"""Chromium against a real server on a copy of the invented mill.

Every page made by `page_at` fails its test when it asks another host for anything, or when the browser
writes an error to its console.
"""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlparse

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route

ROOT = Path(__file__).parents[2]
AXE = Path(__file__).parent / "vendor" / "axe-core" / "axe.min.js"
AXE_TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
PHONE = (360, 740)
DESK = (1440, 900)
SLOWEST_MS = 15_000
OWNER = "P1"


def environment(root: Path) -> dict[str, str]:
    """The environment of a server on mills under `root`."""
    inherited = {k: v for k, v in os.environ.items() if not k.startswith(("DOFFER_", "DJANGO_"))}
    return {**inherited, "DOFFER_ROOT": str(root), "PYTHONPATH": str(ROOT / "src"), "PYTHONUNBUFFERED": "1"}


FOLDS_ARE_SHUT_IN = "test_phone_pages"  # how folds behave is tested there; elsewhere they stand open
OPEN_FOLDS = """addEventListener('load', () => {
  for (const fold of document.querySelectorAll('details[data-fold]')) {
    fold.open = true;
    fold.dataset.touched = 'yes';  // as by hand: what arrives later does not shut it
  }
});"""


@pytest.fixture(scope="session")
def demo_root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data root with the invented mill, built once and only copied from."""
    root = tmp_path_factory.mktemp("demo-root")
    command = [sys.executable, "-m", "doffer.cli.main", "demo"]
    done = subprocess.run(command, env=environment(root), capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return root


@contextmanager
def serving(demo_root: Path, root: Path) -> Iterator[str]:
    """Serve a copy of the invented mill; gives its address without the last slash."""
    shutil.copytree(demo_root, root, dirs_exist_ok=True)
    command = [sys.executable, "-m", "doffer.cli.main", "serve", "--mill", "demo", "--port", "0"]
    with subprocess.Popen(command, env=environment(root), stdout=subprocess.PIPE, text=True) as server:
        try:
            line = server.stdout.readline()
            assert "http://" in line, f"the server did not start: {line!r}"
            yield "http://" + line.split("http://")[1].strip().rstrip("/")
        finally:
            server.terminate()
            server.wait(10)


@pytest.fixture(scope="module")
def live(demo_root: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a server on a fresh copy of the invented mill, one for a file of tests."""
    with serving(demo_root, tmp_path_factory.mktemp("live")) as address:
        yield address


@pytest.fixture
def fresh_live(demo_root: Path, tmp_path: Path) -> Iterator[str]:
    """The same for one test alone, for tests that change what others look at."""
    with serving(demo_root, tmp_path) as address:
        yield address


@pytest.fixture
def page_at(request: pytest.FixtureRequest, browser: Browser) -> Iterator[Callable[..., Page]]:
    """Open pages: `page_at(360, 740)`, with options of a browser context such as color_scheme="dark".

    The owner is chosen at each, as if that had been asked before; `person=""` leaves it open.
    """
    contexts, faults, meant = [], [], []

    def open_page(width: int, height: int, person: str = OWNER, **options: object) -> Page:
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        context.set_default_timeout(SLOWEST_MS)
        if not request.module.__name__.endswith(FOLDS_ARE_SHUT_IN):
            context.add_init_script(OPEN_FOLDS)
        contexts.append(context)
        page = context.new_page()
        if person:
            context.route("**/*", lambda route: choose(context, route, person), times=1)
        page.on("request", lambda request: foreign(request.url, faults))
        page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.expected = meant.append  # a complaint may reach us after the page shows what it complains of
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert [f for f in faults if not any(text in f for text in meant)] == [], (
        "the browser complained, or asked another host"
    )


def choose(context: BrowserContext, route: Route, person: str) -> None:
    """Before the first request of a browser somebody is chosen at it, where the mill has more than one."""
    address = "{0.scheme}://{0.netloc}".format(urlparse(route.request.url))
    if "Who is here?" in context.request.get(f"{address}/").text():
        token = next(c["value"] for c in context.cookies(address) if c["name"].endswith("csrf"))
        form = {"person": person, "next": "/healthz", "csrfmiddlewaretoken": token}
        assert context.request.post(f"{address}/you", form=form).ok
    route.continue_()


def foreign(url: str, faults: list[str]) -> None:
    """Note a request that leaves this computer."""
    parts = urlparse(url)
    if parts.scheme in ("http", "https", "ws", "wss") and parts.hostname not in ("127.0.0.1", "localhost"):
        faults.append(f"asked another host: {url}")


@pytest.fixture(params=[PHONE, DESK], ids=["phone", "desk"])
def page(request: pytest.FixtureRequest, page_at: Callable[..., Page]) -> Page:
    """A page at phone size and at desk size: a test that asks for it runs twice."""
    return page_at(*request.param)


@pytest.fixture(scope="session")
def axe() -> Callable[[Page], list[str]]:
    """What axe-core finds against WCAG 2.2 AA on a page, one line per fault: `assert axe(page) == []`."""
    source = AXE.read_text(encoding="utf-8")

    def look(page: Page) -> list[str]:
        page.evaluate(source)
        options = json.dumps({"runOnly": {"type": "tag", "values": AXE_TAGS}})
        found = page.evaluate(f"async () => (await axe.run(document, {options})).violations")
        return [
            f"{fault['id']}: {node['target'][0]} {node['failureSummary']}"
            for fault in found
            for node in fault["nodes"]
        ]

    return look


@pytest.fixture
def shot(request: pytest.FixtureRequest) -> Callable[[Page, str], None]:
    """Keep a picture of the page in the folder DOFFER_SHOTS, when that is set."""

    def take(page: Page, name: str) -> None:
        folder = os.environ.get("DOFFER_SHOTS")
        if folder:
            width = page.viewport_size["width"]
            page.screenshot(path=Path(folder) / f"{name}-{width}.png", full_page=True)

    return take


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Read pages by daylight on a telephone and by night at a desk; all four pairs with EVERY_LIGHT=1."""
    if os.environ.get("EVERY_LIGHT"):
        return
    spare = [item for item in items if _is_spare(item)]
    if spare:
        config.hook.pytest_deselected(items=spare)
        items[:] = [item for item in items if item not in set(spare)]


def _is_spare(item: pytest.Item) -> bool:
    """Whether a page by one light at one size is left to EVERY_LIGHT; tests of one size alone never are."""
    called = getattr(item, "callspec", None)
    if called is None or "scheme" not in called.params or len(called.params) < 2:
        return False
    words = item.name.replace("[", "-").replace("]", "-").split("-")
    return ("phone" in words and "dark" in words) or ("desk" in words and "light" in words)
