import asyncio
import json
from concurrent.futures import ThreadPoolExecutor

import pytest

from doffer.serve import live


class Records:
    """A change table of numbers and topics."""

    def __init__(self):
        self.rows = []

    def add(self, topic):
        self.rows.append(topic)

    def head(self):
        return len(self.rows)

    def since(self, cursor):
        return self.rows[cursor:]


@pytest.fixture
def records():
    return Records()


@pytest.fixture
def feed(records):
    return live.Feed(records.head, records.since)


def look(feed):
    feed._look()


def test_a_page_that_has_seen_everything_hears_nothing(feed, records):
    records.add("lot")
    look(feed)
    assert feed.after(1) is None


def test_a_page_hears_every_topic_since_it_last_looked_once(feed, records):
    for topic in ("lot", "order", "lot"):
        records.add(topic)
        look(feed)
    assert feed.after(0) == live.News(3, ("lot", "order"))
    assert feed.after(2) == live.News(3, ("lot",))


def test_a_page_from_before_the_server_started_is_told_to_load_everything(feed, records):
    records.add("lot")
    look(feed)
    feed._oldest = 1
    assert feed.after(0) == live.News(1, (live.EVERYTHING,))


def test_a_page_from_another_database_is_told_to_load_everything(feed, records):
    records.add("lot")
    look(feed)
    assert feed.after(900).topics == (live.EVERYTHING,)


def test_a_page_that_slept_too_long_is_told_to_load_everything(feed, records):
    for _ in range(live.REMEMBERED + 5):
        records.add("lot")
        look(feed)
    assert feed.after(1).topics == (live.EVERYTHING,)
    assert feed.after(records.head() - 1).topics == ("lot",)


def listen(feed, *, headers=(), during=None):
    """Open one stream, do something, leave; gives the text that was sent."""
    sent = []

    async def talk():
        leave = asyncio.Event()

        async def receive():
            await leave.wait()
            return {"type": "http.disconnect"}

        async def send(message):
            sent.append(message.get("body", b"").decode())

        task = asyncio.create_task(live.stream({"headers": list(headers)}, receive, send, feed))
        await asyncio.sleep(0.05)
        if during:
            during()
            await asyncio.sleep(0.05)
        leave.set()
        await asyncio.wait_for(task, 2)

    # A thread of its own: in this one a browser's loop may be running.
    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, talk()).result()
    return "".join(sent)


def messages(text):
    return [
        json.loads(line.removeprefix("data: ")) for line in text.splitlines() if line.startswith("data: ")
    ]


def test_an_open_page_hears_of_a_change_with_its_number_and_topics(feed, records):
    def happen():
        records.add("lot")
        look(feed)

    text = listen(feed, during=happen)
    assert messages(text) == [{"cursor": 1, "topics": ["lot"]}]
    assert "id: 1\n" in text


def test_a_page_that_comes_back_hears_what_it_missed(feed, records):
    for topic in ("lot", "order"):
        records.add(topic)
        look(feed)
    text = listen(feed, headers=[(b"last-event-id", b"1")])
    assert messages(text) == [{"cursor": 2, "topics": ["order"]}]


def test_streams_end_when_the_server_stops(feed):
    text = listen(feed, during=feed.close)
    assert text.startswith("retry: 1000")
    assert feed._listeners == {}


def test_a_busy_database_does_not_end_the_poller(records, caplog, monkeypatch):
    monkeypatch.setattr(live, "POLL_S", 0.01)
    fails = iter([0, RuntimeError("busy"), 1, 1, 1, 1])

    def head():
        value = next(fails, 1)
        if isinstance(value, Exception):
            raise value
        return value

    feed = live.Feed(head, lambda _cursor: ["lot"])
    feed.start()
    for _ in range(200):
        if feed.cursor == 1:
            break
        feed._stop.wait(0.01)
    feed.close()
    feed._thread.join(2)
    assert feed.cursor == 1
    assert "could not read the newest change" in caplog.text
