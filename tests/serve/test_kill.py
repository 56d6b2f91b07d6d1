"""Killed without warning: what was answered as saved is there afterwards, whole; work is taken up again.

A killed process is no power cut: what the operating system had not yet put on the disk stays readable here.
"""

import json
import os
import re
import signal
import sqlite3
import threading
import urllib.error
import urllib.request
import uuid
from contextlib import closing
from urllib.parse import urlencode

import pytest
from tests.serve.processes import linux, serving, wait_for

from doffer.mill.folder import DATABASE, StartAnswers, begin_own_mill

pytestmark = [pytest.mark.slow, pytest.mark.faults]
TOKEN = "a" * 32  # Django compares the token in the form with the cookie's: anybody may bring their own
SAVED = 302
LOTS = ("L001", "L002", "L003")
ENOUGH = 24
PATIENCE_S = 60  # for a machine with much else to do


class _Stay(urllib.request.HTTPRedirectHandler):
    """A redirect is the answer: it was saved, look there."""

    def redirect_request(self, *_args):
        return None


class Till:
    """A browser at a scale: sends forms to one server."""

    def __init__(self, server):
        self.address = "http://" + server.stdout.readline().split("http://")[1].strip()
        self.open = urllib.request.build_opener(_Stay).open
        with self.open(f"{self.address}weigh-in/", timeout=20) as answer:
            self.cookie = answer.headers["Set-Cookie"].split("=")[0]

    def send(self, path, **fields):
        """Status and new address of a form that was sent."""
        body = {"csrfmiddlewaretoken": TOKEN, "key": str(uuid.uuid4()), **fields}
        asked = urllib.request.Request(
            f"{self.address}{path}", urlencode(body).encode(), {"Cookie": f"{self.cookie}={TOKEN}"}
        )
        try:
            with self.open(asked, timeout=20) as answer:
                return answer.status, ""
        except urllib.error.HTTPError as answer:
            with answer:
                return answer.code, answer.headers.get("Location", "")

    def bring_bags(self):
        _, bag = self.send("weigh-in/new-owner/", name="Moss Edge Farm", units="metric")
        for _ in LOTS:
            status, door = self.send(bag.lstrip("/"), gross="4.25", tare="0.25", fibre="shetland", rh="60")
            assert (status, bool(re.search(r"/lots/L00\d/door/", door))) == (SAVED, True)


@pytest.fixture
def folder(tmp_path):
    return begin_own_mill(tmp_path, StartAnswers("Barrow Lane Mill", "metric", "UK", (), "Ida"))


def ask(folder, question, *values):
    """Rows of the mill's file, as they stand."""
    with closing(sqlite3.connect(f"{(folder / DATABASE).as_uri()}?mode=ro", uri=True, timeout=5)) as db:
        return db.execute(question, values).fetchall()


def weigh_until_it_dies(till, lot, first_g, saved):
    """One weighing after the other, each by one gram heavier, until nobody answers any more."""
    for gross_g in range(first_g, first_g + 1000):
        try:
            status, _ = till.send(
                f"lots/{lot}/weigh/",
                gross=str(gross_g / 1000),
                rh="60",
                confirmation="weighed by one gram more",
            )
        except OSError:
            return
        assert status == SAVED
        saved.append((lot, gross_g * 1000))


@linux
def test_every_weighing_that_was_saved_outlives_a_killed_server(folder):
    saved = []
    with serving(folder.parent, "--mill", folder, "--port", 0) as server:
        till = Till(server)
        till.bring_bags()
        hands = [
            threading.Thread(target=weigh_until_it_dies, args=(till, lot, 3000 + 2000 * i, saved))
            for i, lot in enumerate(LOTS)
        ]
        for hand in hands:
            hand.start()
        assert wait_for(lambda: len(saved) >= ENOUGH, PATIENCE_S)
        server.kill()
        for hand in hands:
            hand.join()
    with serving(folder.parent, "--mill", folder, "--port", 0) as server:
        till = Till(server)
        kept = ask(
            folder,
            "SELECT l.code, w.gross_mg FROM mill_weighing w JOIN mill_lot l ON l.id = w.lot_id "
            "WHERE w.moment = 'stock' ORDER BY w.id",
        )
        assert set(saved) <= set(kept)
        # besides them at most the one per hand that was written when the answer could not be given any more
        assert len(kept) == len(set(kept)) <= len(saved) + len(LOTS)
        assert each_act_is_whole(folder, kept)
        assert (
            till.send("lots/L001/weigh/", gross="9.5", confirmation="three bags together", rh="60")[0]
            == SAVED
        )
        assert till.send("records/backups/", kind="verify")[0] == SAVED
        verified = wait_for(
            lambda: ask(folder, "SELECT result FROM mill_job WHERE kind = 'verify' AND state = 'done'"),
            PATIENCE_S,
        )
    verdict = json.loads(verified[0][0])
    assert (verdict["is_whole"], verdict["weighings"]) == (True, len(LOTS) + len(kept) + 1)


def each_act_is_whole(folder, kept):
    """A weighing, where its lot stands now, and the line in the feed of changes: all three or none."""
    latest = dict(kept)
    stands = dict(ask(folder, "SELECT code, now_mass_mg FROM mill_lot"))
    told = ask(folder, "SELECT COUNT(*) FROM mill_change WHERE topic = 'lot' AND what LIKE 'weighed %'")
    return stands == latest and told[0][0] == len(kept)


@linux
def test_work_whose_worker_was_killed_is_taken_up_again_at_once(folder):
    def job(state):
        if not (folder / DATABASE).exists():
            return None
        try:
            rows = ask(folder, "SELECT worker, attempts FROM mill_job WHERE state = ?", state)
        except sqlite3.OperationalError:  # the tables are being made
            return None
        return rows[0] if rows else None

    with serving(folder.parent, "--mill", folder, "--port", 0) as server:
        server.stdout.readline()  # it answers now
        worker, attempts = wait_for(lambda: job("run"))  # a mill without a copy of the day asks for one
        os.kill(int(worker.split(":")[1]), signal.SIGKILL)
        assert (job("run"), attempts) == ((worker, 1), 1)
        never_lapses(folder)
        again, attempts = wait_for(lambda: job("done"), PATIENCE_S)
    assert again != worker
    assert attempts == 2
    assert [path.suffix for path in sorted((folder / "backups").glob("*.sqlite3"))] == [".sqlite3"]


def never_lapses(folder):
    """Whoever waits for the lease of the killed worker waits for ever."""
    with closing(sqlite3.connect(folder / DATABASE, timeout=20)) as db:
        db.execute("UPDATE mill_job SET lease_until = '2999-01-01 00:00:00' WHERE state = 'run'")
        db.commit()
