"""The listening folder, followed while another program writes to it: each look reads only what is new.

Nothing is written here, and no transaction stays open: whoever listens is never waited for.
"""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
from collections import deque
from pathlib import Path
from typing import Any, Final

import numpy as np

from clicktimer.detection.candidates import N_BANDS, from_codes
from clicktimer.errors import StoreError
from clicktimer.records import Gap, Notice
from clicktimer.storage import schema
from clicktimer.storage.batch import Event
from clicktimer.storage.reader import SessionNote, about_of, notices_of, reading, sessions_of
from clicktimer.storage.writer import events_of, in_use, is_listening

LEVELS_S: Final = 60.0
"""So much of the level is remembered."""
STEP_S: Final = 0.25

Mark = tuple[float, str, str]
Logged = tuple[float, str, str, str]


class Following:
    """Follows one folder. ``look`` reads on; the rest is what has been read so far.

    there: whether a listening lies in it yet. in_use: whether a program is listening into it. levels_db: the room's
    level in the click's bands, dB of full scale, newest last, four a second. free_bytes: room on its disk.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.there = self.in_use = False
        self.about: dict[str, Any] = {}
        self.sessions: tuple[SessionNote, ...] = ()
        self.events: list[Event] = []
        self.gaps: list[Gap] = []
        self.marks: list[Mark] = []
        self.log: list[Logged] = []
        self.notices: tuple[Notice, ...] = ()
        self.levels_db: deque[float] = deque(maxlen=round(LEVELS_S / STEP_S))
        self.free_bytes = 0
        self._db: sqlite3.Connection | None = None
        self._read = dict.fromkeys(("events", "gaps", "marks", "log", "levels"), 0)

    def look(self) -> list[Event]:
        """Read what is new; return the events of it. Raises StoreError where the folder can no longer be read."""
        if not self.there and not is_listening(self.path):
            if not self.path.is_dir():
                raise StoreError(schema.NOT_OURS.format(path=self.path))
            return []
        self.in_use = in_use(self.path)
        with reading(self.path):
            if self._db is None:
                self._db = schema.connect_to_read(self.path / schema.DATABASE, any_thread=True)
            with contextlib.suppress(OSError):
                self.free_bytes = shutil.disk_usage(self.path).free
            self._db.execute("BEGIN")
            try:
                return self._look(self._db)
            finally:
                self._db.execute("COMMIT")
                if self.in_use and self._is_copy(self._db):
                    self.close()  # an earlier program goes on writing: the next look takes a new copy

    @staticmethod
    def _is_copy(db: sqlite3.Connection) -> bool:
        return not db.execute("PRAGMA database_list").fetchone()[2]

    def close(self) -> None:
        """Let go of the folder."""
        if self._db is not None:
            self._db.close()
            self._db = None

    def _look(self, db: sqlite3.Connection) -> list[Event]:
        if not self.there and not schema.is_made(db):
            return []  # it is being made just now
        self.about, self.sessions, self.there = about_of(db, self.path), sessions_of(db), True
        new = list(events_of(db, self._read["events"]))
        self._read["events"] += len(new)
        self.events += new
        self.gaps += [Gap(*row) for row in self._newer(db, "gaps", "from_s, to_s, why")]
        self.marks += self._newer(db, "marks", "time_s, what, text")
        self.log += self._newer(db, "log", "at_s, utc, code, text")
        self._read_levels(db)
        self.notices = notices_of(db)
        return new

    def _newer(self, db: sqlite3.Connection, table: str, columns: str) -> list[Any]:
        """The rows of a table that were not read yet; their numbers go up from 1, and none is ever taken out."""
        rows = db.execute(f"SELECT {columns} FROM {table} WHERE id > ? ORDER BY id", (self._read[table],)).fetchall()
        self._read[table] += len(rows)
        return rows

    def _read_levels(self, db: sqlite3.Connection) -> None:
        last = db.execute("SELECT max(id) FROM levels").fetchone()[0] or 0
        first = max(self._read["levels"], last - self.levels_db.maxlen)  # type: ignore[operator]
        self._read["levels"] = last
        for n, used, codes in db.execute("SELECT n, used, codes FROM levels WHERE id > ? ORDER BY id", (first,)):
            if n:
                bands = np.frombuffer(codes, np.uint8).reshape(n, -1)[:, -N_BANDS:][:, :used]
                energy = (10.0 ** (from_codes(bands) / 10.0)).sum(axis=1)
                self.levels_db.extend((10.0 * np.log10(energy)).tolist())
