"""Parts for the tests of the page of a listening: what it is told, a folder with runs in it, a server of it."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from clicktimer.storage.batch import Batch, Event
from clicktimer.storage.writer import Folder
from clicktimer.web.server import PageServer
from clicktimer.web.view_state import Shown


def told(path: Path) -> dict[str, Any]:
    """All that the page of this folder is sent."""
    shown = Shown(path)
    try:
        return json.loads(json.dumps(shown.now()))
    finally:
        shown.close()


def hour(place: Folder, runs: int, *, end_s: float | None = None) -> None:
    """Runs of 20 s, one a minute, told and settled."""
    for number in range(runs):
        at_s = 60.0 * number
        batch = Batch(end_s=at_s + 60.0 if end_s is None else end_s)
        batch.events = [
            Event(at_s + after_s, what, at_s + when_s, kind, 0.99, 12.0, "", 0.0005)
            for what, after_s in (("kind", 2.0), ("settled", 59.0))
            for when_s, kind in ((5.0, "cut-in"), (25.0, "cut-out"))
        ]
        place.commit(batch)


@contextmanager
def served(path: Path, **more: Any) -> Iterator[PageServer]:
    """The page, served as long as this lasts."""
    shown = Shown(path)
    server = PageServer(shown, produced="clicktimer test", **more)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        thread.join(5)
        server.server_close()
        shown.close()
