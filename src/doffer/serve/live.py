"""`/live`: tells open pages that something changed, and nothing more.

One poller thread per process reads the newest change number four times a second, so changes made by the
command line, the worker or another process arrive as well. A page gets the number and the topics; it then
asks for its parts again, so rights are checked anew and nothing leaks.
"""

from __future__ import annotations

import asyncio
import json
import logging
import threading
from collections import deque
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from dataclasses import dataclass
from typing import Any

POLL_S = 0.25
HEARTBEAT_S = 15.0
MAX_AGE_S = 300.0
REMEMBERED = 500
EVERYTHING = "everything"

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class News:
    """What changed up to a change number."""

    cursor: int
    topics: tuple[str, ...]


class Feed:
    """The poller and the pages that listen to it."""

    def __init__(self, head: Callable[[], int], since: Callable[[int], Iterable[str]]) -> None:
        self._head = head
        self._since = since
        self._news: deque[News] = deque(maxlen=REMEMBERED)
        self._listeners: dict[asyncio.Event, asyncio.AbstractEventLoop] = {}
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self.cursor = 0
        self._oldest = 0

    def start(self) -> None:
        """Begin polling; a second call does nothing."""
        if self._thread is None:
            self.cursor = self._oldest = self._head()
            self._thread = threading.Thread(target=self._poll, name="live", daemon=True)
            self._thread.start()

    def close(self) -> None:
        """Stop polling and let every open stream end."""
        self._stop.set()
        self._wake()

    @property
    def is_closed(self) -> bool:
        """Whether streams should end."""
        return self._stop.is_set()

    def listen(self) -> asyncio.Event:
        """An event of the running loop that is set at each change."""
        event = asyncio.Event()
        self._listeners[event] = asyncio.get_running_loop()
        return event

    def leave(self, event: asyncio.Event) -> None:
        """The page is gone."""
        self._listeners.pop(event, None)

    def after(self, cursor: int) -> News | None:
        """All topics since a change number, or None; asks for everything when that is too long ago."""
        now = self.cursor
        if cursor == now:
            return None
        if (
            cursor > now
            or cursor < self._oldest
            or (len(self._news) == REMEMBERED and self._news[0].cursor > cursor)
        ):
            return News(now, (EVERYTHING,))
        topics = {topic for news in tuple(self._news) if news.cursor > cursor for topic in news.topics}
        return News(now, tuple(sorted(topics)))

    def _poll(self) -> None:
        while not self._stop.wait(POLL_S):
            try:
                self._look()
            except Exception:
                # The database may be busy or restarting: pages keep what they have, the next look decides.
                log.exception("could not read the newest change")
        self._close_connection()

    def _look(self) -> None:
        head = self._head()
        if head != self.cursor:
            self._news.append(News(head, tuple(self._since(self.cursor))))
            self.cursor = head
            self._wake()

    def _wake(self) -> None:
        for event, loop in tuple(self._listeners.items()):
            loop.call_soon_threadsafe(event.set)

    def _close_connection(self) -> None:
        from django.db import connections

        connections.close_all()


def _last_seen(scope: Scope, feed: Feed) -> int:
    """The change number the page has seen, from the header a browser sends when it reconnects."""
    value = dict(scope["headers"]).get(b"last-event-id", b"").decode("latin-1")
    return int(value) if value.isdigit() else feed.cursor


def _message(news: News) -> bytes:
    data = json.dumps({"cursor": news.cursor, "topics": news.topics})
    return f"id: {news.cursor}\nevent: change\ndata: {data}\n\n".encode()


async def _until_gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass


async def _pause(event: asyncio.Event, gone: asyncio.Task[None], seconds: float) -> None:
    """Wait for a change, the page leaving, or the time to pass."""
    change = asyncio.ensure_future(event.wait())
    await asyncio.wait({change, gone}, timeout=seconds, return_when=asyncio.FIRST_COMPLETED)
    change.cancel()


async def stream(scope: Scope, receive: Receive, send: Send, feed: Feed) -> None:
    """Answer one page until it leaves, five minutes pass (it reconnects by itself) or the server stops."""
    head = [
        (b"content-type", b"text/event-stream; charset=utf-8"),
        (b"cache-control", b"no-store"),
        (b"x-content-type-options", b"nosniff"),
    ]
    await send({"type": "http.response.start", "status": 200, "headers": head})
    await send({"type": "http.response.body", "body": b"retry: 1000\n\n", "more_body": True})
    loop = asyncio.get_running_loop()
    event, gone = feed.listen(), asyncio.ensure_future(_until_gone(receive))
    seen, end = _last_seen(scope, feed), loop.time() + MAX_AGE_S
    try:
        while not gone.done() and not feed.is_closed and loop.time() < end:
            event.clear()
            news = feed.after(seen)
            if news:
                seen = news.cursor
            body = _message(news) if news else b": still here\n\n"
            await send({"type": "http.response.body", "body": body, "more_body": True})
            await _pause(event, gone, min(HEARTBEAT_S, end - loop.time()))
        await send({"type": "http.response.body", "body": b"", "more_body": False})
    finally:
        feed.leave(event)
        gone.cancel()
