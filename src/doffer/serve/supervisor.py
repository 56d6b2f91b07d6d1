"""`doffer serve`: one server process per mill folder, the invented mill and the own one side by side."""

from __future__ import annotations

import signal
import threading
from pathlib import Path
from types import FrameType

from doffer.mill.folder import CARD, DEMO, OWN, begin_demo, mill_folders
from doffer.serve.children import Child, doffer_command

LOOK_S = 0.25


def _child(folder: Path, port: int) -> Child:
    words = ("serve", "--mill", str(folder), "--port", str(port), "--stop-with-parent")
    return Child(doffer_command(*words))


class Supervisor:
    """Watches a data root and keeps one server per mill alive."""

    def __init__(self, root: Path, *, demo_port: int, own_port: int) -> None:
        self.root = root
        self._ports = {DEMO: demo_port, OWN: own_port}
        self._children: dict[str, Child] = {}
        self._stop = threading.Event()

    def run(self) -> int:
        """Serve until told to stop; 1 when no mill could be served."""
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, self._on_signal)
        if not (self.root / DEMO / CARD).exists():
            begin_demo(self.root)
        try:
            while not self._stop.is_set() and not self._all_refused():
                self.look()
                self._stop.wait(LOOK_S)
        finally:
            self._stop_all()
        return 0 if self._stop.is_set() else 1

    def look(self) -> None:
        """Serve folders that are new and servers that have died."""
        for folder in mill_folders(self.root):
            if folder.name not in self._children:
                self._children[folder.name] = _child(folder, self._ports[folder.name])
        for child in self._children.values():
            child.keep_alive()

    def stop(self) -> None:
        """End `run` from another thread."""
        self._stop.set()

    def _on_signal(self, _number: int, _frame: FrameType | None) -> None:
        self._stop.set()

    def _all_refused(self) -> bool:
        children = self._children.values()
        return bool(children) and all(child.has_given_up for child in children)

    def _stop_all(self) -> None:
        for child in self._children.values():
            if child.process is not None and child.process.poll() is None:
                child.process.terminate()
        for child in self._children.values():
            child.stop()
