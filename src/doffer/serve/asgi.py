"""The front of the server: `/live` is a stream that costs no thread, all else is Django in four threads.

Four threads, because more make pages slower here (one interpreter lock), and a fixed pool, because each
thread keeps its database connection.
"""

from __future__ import annotations

from a2wsgi import WSGIMiddleware
from django.conf import settings
from django.core.wsgi import get_wsgi_application
from django.http.request import split_domain_port, validate_host
from django.urls import get_resolver

from doffer.mill.queries.house import changes_after, latest_change
from doffer.mill.queries.pages import ROWS_A_PAGE
from doffer.serve.live import EVERYTHING, Feed, Receive, Scope, Send, stream

THREADS = 4


def topics_after(change_id: int) -> set[str]:
    """What changed: each topic ("lot"), each of its subjects ("lot:L041"), everything if much."""
    rows = changes_after(change_id)
    topics = {row.topic for row in rows} | {f"{row.topic}:{row.subject}" for row in rows if row.subject}
    return topics | {EVERYTHING} if len(rows) == ROWS_A_PAGE else topics


class Front:
    """The ASGI application of one mill."""

    def __init__(self) -> None:
        self.feed = Feed(latest_change, topics_after)
        self._pages = WSGIMiddleware(get_wsgi_application(), workers=THREADS)
        # Load every page module now: a broken one must stop the start, not the first visitor.
        _ = get_resolver().url_patterns

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["path"] == "/live":
            await self._live(scope, receive, send)
        else:
            await self._pages(scope, receive, send)  # type: ignore[arg-type]

    async def _live(self, scope: Scope, receive: Receive, send: Send) -> None:
        host = dict(scope["headers"]).get(b"host", b"").decode("latin-1")
        if scope["method"] == "GET" and validate_host(split_domain_port(host)[0], settings.ALLOWED_HOSTS):
            await stream(scope, receive, send, self.feed)
            return
        await send(
            {"type": "http.response.start", "status": 400, "headers": [(b"content-type", b"text/plain")]}
        )
        await send({"type": "http.response.body", "body": b"Not an address of this mill.\n"})
