"""A mill of one's own begins beside the demo, and nothing of the demo changes by it."""

import contextlib
import hashlib
import json
import os
import sqlite3
import subprocess
import sys
import time
import urllib.parse
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

import pytest
from tests.office.page_words import words

from doffer.mill.folder import DATABASE, read_card, served_at
from doffer.office import set_up

ANSWERS = {
    "name": "Barrow Lane Mill",
    "units": "us",
    "country_rules": "US",
    "machines": ["card", "picker"],
    "your_name": "Ida",
}
ANSWERS_WITHIN_S = 60


@pytest.fixture
def demo_client(client, people, settings, tmp_path):
    """A client of a demo that lies in a folder of its own."""
    settings.IS_DEMO = True
    settings.DATA = tmp_path / "demo"
    return client


def test_the_five_questions_are_asked_in_the_demo(demo_client):
    text = words(demo_client.get("/start/"))
    for question in ("1. What is your mill called?", "2. How", "3. Whose", "4. Which", "5. Who are you?"):
        assert question in text
    assert "Start my own mill" in words(demo_client.get("/records/"))


def test_the_answers_are_laid_down_in_a_folder_beside_the_demo_and_no_record_is_written(
    demo_client, tmp_path, django_assert_max_num_queries
):
    with django_assert_max_num_queries(10) as asked:
        assert demo_client.post("/start/", ANSWERS).url == "/start/wait/"
    written = [q["sql"] for q in asked.captured_queries if not q["sql"].lstrip().upper().startswith("SELECT")]
    assert written == []
    card = read_card(tmp_path / "mill")
    assert (card["name"], card["kind"]) == ("Barrow Lane Mill", "own")
    assert card["start"] == ANSWERS
    assert sorted(path.name for path in tmp_path.iterdir()) == ["mill"]


def test_sent_twice_it_begins_once_and_a_second_mill_is_not_begun(demo_client, tmp_path):
    demo_client.post("/start/", ANSWERS)
    again = demo_client.post("/start/", {**ANSWERS, "name": "Another"})
    assert again.url == "/start/wait/"
    assert read_card(tmp_path / "mill")["name"] == "Barrow Lane Mill"
    assert demo_client.get("/start/").url == "/start/wait/"


@pytest.mark.parametrize(
    ("wrong", "field", "sentence"),
    [
        ({"name": " "}, "name-error", "name of the mill is missing"),
        ({"your_name": ""}, "your_name-error", "your name is missing"),
        ({"machines": ["card", "catapult"]}, "machines-error", "machines is “catapult”"),
        ({"country_rules": "MOON"}, "country_rules-error", "label rules is “MOON”"),
    ],
)
def test_a_missing_answer_is_asked_for_and_the_others_stay(demo_client, tmp_path, wrong, field, sentence):
    answer = demo_client.post("/start/", {**ANSWERS, **wrong})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert f'id="{field}"' in text
    assert sentence in words(answer)
    assert 'value="us" checked' in text
    assert 'value="card" checked' in text
    assert not (tmp_path / "mill").exists()


def test_from_a_mill_of_ones_own_no_other_is_started(client, people):
    answer = client.get("/start/")
    assert answer.status_code == 422
    assert "this is a mill of your own already" in words(answer)


def test_the_page_waits_until_the_mill_answers(demo_client, tmp_path, monkeypatch):
    assert demo_client.get("/start/wait/").url == "/start/"
    demo_client.post("/start/", ANSWERS)
    waiting = demo_client.get("/start/wait/?looked=3").content.decode()
    assert 'hx-get="/start/wait/?looked=4"' in waiting
    assert "Barrow Lane Mill begins" in waiting
    assert "nobody serves it" in words(demo_client.get("/start/wait/?looked=60"))
    address = "http://127.0.0.1:8766/"
    (tmp_path / "mill" / "lock").write_text(json.dumps({"pid": 1, "what": address}))
    monkeypatch.setattr(set_up, "_answers_at", lambda asked: asked == address)
    ready = demo_client.get("/start/wait/").content.decode()
    assert f'href="{address}"' in ready
    assert "hx-get" not in ready[ready.index("<main") :]


def test_where_a_mill_is_served_is_read_from_its_lock(tmp_path):
    assert served_at(tmp_path) == ""
    (tmp_path / "lock").write_text("")
    assert served_at(tmp_path) == ""
    (tmp_path / "lock").write_text('{"pid": 4, "what": "init"}')
    assert served_at(tmp_path) == ""
    (tmp_path / "lock").write_text('{"pid": 4, "what": "http://127.0.0.1:9001/"}')
    assert served_at(tmp_path) == "http://127.0.0.1:9001/"


def test_an_address_where_nobody_answers_is_not_ready():
    assert set_up._answers_at("http://127.0.0.1:1/") is False
    assert set_up._answers_at("elsewhere") is False


def contents(database: Path) -> str:
    """Fingerprint over every row of a database, except who is visiting and how far long work is."""
    with contextlib.closing(sqlite3.connect(database)) as records:
        lines = [
            line
            for line in records.iterdump()
            if not any(f'INSERT INTO "{table}"' in line for table in ("django_session", "mill_job"))
            and "'job'" not in line
            and "sqlite_sequence" not in line
        ]
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


def answer_of(address: str) -> dict:
    with urllib.request.urlopen(f"{address}healthz", timeout=2) as said:
        return json.loads(said.read())


def until(question, within_s: float = ANSWERS_WITHIN_S):
    """The first answer that is not empty."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        with contextlib.suppress(OSError):
            if found := question():
                return found
        time.sleep(0.2)
    pytest.fail(f"no answer within {within_s:g} s")


def post(address: str, form: dict) -> str:
    """Send a form as a browser does, with its token; gives the page one lands on."""
    jar = CookieJar()
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
    browser.open(address).read()
    token = next(cookie.value for cookie in jar if cookie.name.endswith("_csrf"))
    data = urllib.parse.urlencode({**form, "csrfmiddlewaretoken": token}, doseq=True).encode()
    with browser.open(urllib.request.Request(address, data, {"Referer": address})) as page:
        return page.url


@pytest.mark.faults
def test_the_new_mill_is_served_beside_the_demo_and_the_demo_keeps_every_row(tmp_path, free_ports):
    command = [sys.executable, "-m", "doffer.cli.main", "serve", "--port", str(free_ports)]
    inherited = {name: value for name, value in os.environ.items() if not name.startswith("DOFFER_")}
    environment = {**inherited, "DOFFER_ROOT": str(tmp_path)}
    demo, own = f"http://127.0.0.1:{free_ports}/", f"http://127.0.0.1:{free_ports + 1}/"
    with subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL) as server:
        try:
            assert until(lambda: answer_of(demo))["demo"] is True
            before = contents(tmp_path / "demo" / DATABASE)
            assert post(f"{demo}start/", ANSWERS) == f"{demo}start/wait/"
            assert until(lambda: answer_of(own)) == {"ok": True, "mill": "Barrow Lane Mill", "demo": False}
            ready = urllib.request.urlopen(f"{demo}start/wait/").read().decode()
            assert f'href="{own}"' in ready
            page = urllib.request.urlopen(own).read().decode()
            assert "The first day of Barrow Lane Mill" in page
            assert "invented demo mill" not in page
            assert contents(tmp_path / "demo" / DATABASE) == before
        finally:
            server.terminate()
            server.wait(20)
    with contextlib.closing(sqlite3.connect(tmp_path / "mill" / DATABASE)) as records:
        assert records.execute("SELECT name FROM people_person").fetchall() == [("Ida",)]
        assert records.execute("SELECT count(*) FROM mill_lot").fetchone() == (0,)


@pytest.fixture
def free_ports() -> int:
    """A port with its next one free too."""
    import socket

    for _ in range(50):
        with socket.socket() as first, socket.socket() as second:
            first.bind(("127.0.0.1", 0))
            port = first.getsockname()[1]
            with contextlib.suppress(OSError, OverflowError):
                second.bind(("127.0.0.1", port + 1))
                return port
    pytest.fail("no two free ports side by side")
