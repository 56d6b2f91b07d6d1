"""One mill's server: its folder is locked and made ready, its worker started, then pages are served."""

from __future__ import annotations

import ipaddress
import signal
import socket
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import uvicorn

from doffer.errors import ConflictError, RefusedError
from doffer.serve.children import Child, doffer_command, stop_with_parent
from doffer.serve.lock import hold

GRACE_S = 3
WATCH_S = 1.0


def require_loopback(host: str) -> None:
    """Until people sign in, only this computer may look at the mill.

    Raises
    ------
    RefusedError
        The address can be reached from outside.
    """
    try:
        is_own = ipaddress.ip_address(host).is_loopback
    except ValueError:
        is_own = host == "localhost"
    if not is_own:
        raise RefusedError(
            f"The mill cannot be served on {host}",
            ("there is no sign-in yet, so anyone in the network could change your records",),
            "Use 127.0.0.1",
        )


def bind(host: str, port: int) -> socket.socket:
    """Take the port before anything else is started.

    Raises
    ------
    ConflictError
        Another program has it.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    if sys.platform != "win32":  # on Windows this option would let two servers share the port
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError:
        listener.close()
        raise ConflictError(
            f"Port {port} on {host} is already taken by another program",
            "Stop that program, or choose another port with --port",
        ) from None
    return listener


class _Server(uvicorn.Server):
    """uvicorn that says when it answers, and that ends open streams before it waits for them."""

    def __init__(
        self, config: uvicorn.Config, on_start: Callable[[], None], on_stop: Callable[[], None]
    ) -> None:
        super().__init__(config)
        self._on_start = on_start
        self._on_stop = on_stop

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets=sockets)
        self._on_start()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._on_stop()
        await super().shutdown(sockets=sockets)


def _watch(worker: Child, stopped: threading.Event) -> None:
    while not stopped.is_set():
        worker.keep_alive()
        stopped.wait(WATCH_S)


def serve_mill(folder: Path, *, host: str, port: int, is_child: bool, say: Callable[[str], None]) -> None:
    """Serve one mill until stopped by a signal (or, as a child, by its parent's end)."""
    require_loopback(host)
    listener = bind(host, port)
    address = f"http://{f'[{host}]' if ':' in host else host}:{listener.getsockname()[1]}/"
    with listener, hold(folder, address):
        from doffer.serve import startup  # sets Django up for this folder

        name = startup.prepare(folder)
        from doffer.serve.asgi import Front

        front = Front()
        front.feed.start()
        stopped = threading.Event()
        worker = Child(doffer_command("worker", "--mill", str(folder), "--stop-with-parent"))
        config = uvicorn.Config(
            front, log_config=None, access_log=False, timeout_graceful_shutdown=GRACE_S, server_header=False
        )
        server = _Server(config, lambda: say(f"{name}: {address}"), front.feed.close)
        if is_child:
            stop_with_parent(lambda: setattr(server, "should_exit", True))
        watcher = threading.Thread(target=_watch, args=(worker, stopped), name="worker-watch", daemon=True)
        watcher.start()
        for number in (signal.SIGINT, signal.SIGTERM):
            # uvicorn stops on them and then raises them once more; that must not skip what follows here.
            signal.signal(number, lambda _number, _frame: None)
        try:
            server.run(sockets=[listener])
        finally:
            stopped.set()
            watcher.join()
            worker.stop()
