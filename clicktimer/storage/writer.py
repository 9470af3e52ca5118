"""The listening folder, written: what is heard goes to disk, committed, before it is shown; nothing is overwritten.

One folder has one writer at a time. A listening that was cut off (power, kill) is resumed in the same folder: what was
not committed is a gap. While the disk is full, or the folder cannot be written for another reason, what is heard waits
in memory and is written later, in its order.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Literal

from clicktimer.audio.clock import Clock
from clicktimer.detection.candidates import Candidates
from clicktimer.errors import PlaceTakenError, StoreError
from clicktimer.storage import schema
from clicktimer.storage.batch import Batch, Event, Waiting
from clicktimer.storage.faults import Fault, fault_of, fault_text, what_to_do
from clicktimer.storage.migrations import migrate
from clicktimer.storage.reasons import reason_text
from clicktimer.units.format import format_time

LOCK: Final = "in-use.sqlite"
CLOCKS_AGREE_S: Final = 5.0
MOST_WAITING_S: Final = 12 * 3600.0
"""So much sound waits in memory at the most while nothing can be written: a night, 1 to 3 kB for each second."""
BUSY_AGAIN_S: Final = 0.1
"""How long a held database is waited for once it is known to be held: the sound must not wait."""

Keep = Literal["default", "all", "none"]


@dataclass(frozen=True, slots=True)
class Resumed:
    """Where a listening goes on. gap_s: what is missing since, None where no clock can tell."""

    end_s: float
    gap_s: float | None
    cut_off: bool


class Folder:
    """A listening folder that is open for writing.

    fault: why the last commit could not be written and waits in memory, None where everything is on disk.
    """

    def __init__(
        self,
        path: Path,
        connection: sqlite3.Connection,
        lock: sqlite3.Connection,
        clock: Clock,
        resumed: Resumed | None,
    ) -> None:
        self.path, self.resumed = path, resumed
        self._db, self._lock, self._clock = connection, lock, clock
        self._session = 0
        self._waiting = Waiting()
        self._noted: dict[str, Any] = {}
        self._written_s = 0.0 if resumed is None else resumed.end_s
        self.fault: Fault | None = None
        self.about = schema.check_format(connection, path)

    # -- opening ---------------------------------------------------------------------------------------------------

    @classmethod
    def create(cls, path: Path, about: dict[str, Any], *, clock: Clock | None = None) -> Folder:
        """Make a new folder. about: what is noted of the listening, as JSON can hold it.

        Raises StoreError where something is there already or it cannot be written.
        """
        if path.exists() and (not path.is_dir() or any(p.name != LOCK for p in path.iterdir())):
            what = "a listening already; clicktimer measure reads it" if is_listening(path) else "there already"
            raise PlaceTakenError(f"{path} is {what}; give another place with --into")
        try:
            path.mkdir(parents=True, exist_ok=True)
            lock = _locked(path)
            connection = schema.connect(path / schema.DATABASE)
            schema.create(connection, {name: json.dumps(value) for name, value in about.items()})
        except (OSError, sqlite3.Error) as error:
            reason = getattr(error, "strerror", None) or error
            raise StoreError(f"cannot write into {path} ({reason}); give another place with --into") from None
        return cls(path, connection, lock, clock or Clock(), None)

    @classmethod
    def resume(cls, path: Path, *, clock: Clock | None = None) -> Folder:
        """Go on in a folder, whatever end it had. Raises StoreError (none of ours, newer, in use, damaged)."""
        clock = clock or Clock()
        if not is_listening(path):
            raise StoreError(schema.NOT_OURS.format(path=path))
        lock = None
        try:
            lock = _locked(path)
            connection = schema.connect(path / schema.DATABASE)
            schema.check_format(connection, path)
            migrate(connection)
            resumed = _where(connection, clock)
            connection.execute("BEGIN IMMEDIATE")
            rows = connection.execute("SELECT count(*) FROM pending").fetchone()[0]
            if rows:
                schema.put_candidates(connection, "candidates", schema.get_candidates(connection, "pending"))
                connection.execute("DELETE FROM pending")
            connection.execute("COMMIT")
            return cls(path, connection, lock, clock, resumed)
        except (OSError, sqlite3.Error) as error:
            if lock is not None:
                lock.close()
            raise StoreError(
                f"{path} cannot be opened: {fault_text(error, path)}; or start a new listening with --into"
            ) from None

    def begin(self, *, rate_hz: int, device: str, start_s: float, program: str) -> None:
        """Begin a session: from now on ``commit`` may be called. Raises StoreError where it cannot be written."""
        now, boot_s = self._clock.wall(), self._clock.boot_s()
        offset = now.utcoffset()
        offset_s = 0 if offset is None else round(offset.total_seconds())
        utc, zone = _utc(now), self._clock.zone()
        row = (start_s, rate_hz, device, utc, offset_s, zone, boot_s, program, start_s, utc, boot_s)
        try:
            cursor = self._db.execute(
                "INSERT INTO sessions (start_s, rate_hz, device, began_utc, offset_s, zone, began_boot_s, program, "
                "end_s, end_utc, end_boot_s) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                row,
            )
        except sqlite3.Error as error:
            raise StoreError(f"cannot write into {self.path}: {fault_text(error, self.path)}") from None
        self._session = int(cursor.lastrowid or 0)
        self._written_s = start_s

    def note(self, name: str, value: Any) -> None:
        """Note one more thing of the listening, as JSON can hold it; the next commit writes it."""
        self._noted[name] = value

    # -- writing ---------------------------------------------------------------------------------------------------

    def commit(self, batch: Batch, *, ended: str | None = None) -> bool:
        """Write all of it or nothing, to the disk itself. False where it waits in memory: ``fault`` says why.

        Raises StoreError where nothing can be written any more: the database is damaged, or too much waits.
        """
        self._waiting.add(replace(batch, about={**batch.about, **self._noted}, ended=ended))
        self._noted = {}
        self._write_waiting()
        if self.fault == "damaged" or (self.fault and batch.end_s - self._written_s > MOST_WAITING_S):
            raise StoreError(
                f"{self.path}: {what_to_do(self.fault)}. The listening ended; what was heard after "
                f"{format_time(self._written_s)} is not kept. Start a new one with --into"
            )
        return self.fault is None

    def _write_waiting(self) -> None:
        """Write what waits, oldest first, as far as it goes."""
        while len(self._waiting):
            batch = self._waiting.oldest()
            try:
                self._write(batch, batch.ended)
            except (sqlite3.Error, OSError) as error:
                with contextlib.suppress(sqlite3.Error):
                    self._db.execute("ROLLBACK")
                self._fail(fault_of(error, self.path))
                return
            self._waiting.written()
            self._written_s = batch.end_s
        self._fail(None)

    def _fail(self, fault: Fault | None) -> None:
        if fault != self.fault:
            self.fault = fault
            wait_s = BUSY_AGAIN_S if fault == "locked" else schema.BUSY_S
            with contextlib.suppress(sqlite3.Error):
                self._db.execute(f"PRAGMA busy_timeout = {round(wait_s * 1000)}")

    def _write(self, batch: Batch, ended: str | None) -> None:
        db, utc = self._db, _utc(self._clock.wall())
        db.execute("BEGIN IMMEDIATE")
        found = Candidates.join(batch.candidates)
        if len(found):
            schema.put_candidates(db, "candidates", found)
        if batch.pending is not None:
            db.execute("DELETE FROM pending")
            if len(batch.pending):
                schema.put_candidates(db, "pending", batch.pending)
        for stretch_s, new in batch.levels:
            schema.put_levels(db, stretch_s, new)
        for stretch_s, lines in batch.tones:
            schema.put_tones(db, stretch_s, lines)
        db.executemany(
            "INSERT INTO gaps (from_s, to_s, why) VALUES (?, ?, ?)", [(g.from_s, g.to_s, g.why) for g in batch.gaps]
        )
        db.executemany(
            "INSERT INTO events (at_s, utc, what, time_s, kind, confidence, level_db, note, timing_sd_s) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                (e.at_s, utc, e.what, e.time_s, e.kind, e.confidence, e.level_db, e.note, e.timing_sd_s)
                for e in batch.events
            ],
        )
        db.executemany(
            "INSERT INTO marks (time_s, utc, what, text) VALUES (?, ?, ?, ?)",
            [(t, utc, w, x) for t, w, x in batch.marks],
        )
        db.executemany(
            "INSERT INTO log (at_s, utc, code, text) VALUES (?, ?, ?, ?)", [(t, utc, c, x) for t, c, x in batch.log]
        )
        db.executemany("INSERT INTO sounds (from_s, length_s, why, file) VALUES (?, ?, ?, ?)", batch.sounds)
        if batch.notices is not None:
            db.execute("DELETE FROM notices WHERE session = ?", (self._session,))
            rows = [(self._session, n.code, reason_text(n.reason), n.time_s) for n in batch.notices]
            db.executemany("INSERT INTO notices VALUES (?, ?, ?, ?)", rows)
        noted = [(name, json.dumps(value)) for name, value in batch.about.items()]
        db.executemany("INSERT OR REPLACE INTO about VALUES (?, ?)", noted)
        db.execute(
            "UPDATE sessions SET end_s = ?, end_utc = ?, end_boot_s = ?, ended = ? WHERE id = ?",
            (batch.end_s, utc, self._clock.boot_s(), ended, self._session),
        )
        db.execute("COMMIT")

    def close(self) -> None:
        """Let go of it; what waits is tried once more. ``fault`` says why it is lost where that fails."""
        self._write_waiting()
        with contextlib.suppress(sqlite3.Error):
            self._db.close()
        with contextlib.suppress(sqlite3.Error):
            self._lock.close()


def is_listening(path: Path) -> bool:
    """Whether a listening folder is there."""
    return (path / schema.DATABASE).is_file()


def in_use(path: Path) -> bool:
    """Whether a program is listening into this folder now: it holds the lock that the system frees when it ends."""
    if not (path / LOCK).is_file():
        return False
    try:
        lock = sqlite3.connect(f"{(path / LOCK).absolute().as_uri()}?mode=ro", uri=True, timeout=0.0)
        try:
            lock.execute("SELECT count(*) FROM sqlite_master").fetchone()
        finally:
            lock.close()
    except sqlite3.OperationalError as error:
        return "locked" in str(error)
    return False


def _where(connection: sqlite3.Connection, clock: Clock) -> Resumed:
    """The end of the last session, and how long ago that was: by clocks that agree, else by the better one."""
    row = connection.execute(
        "SELECT end_s, end_utc, end_boot_s, ended FROM sessions ORDER BY id DESC LIMIT 1"
    ).fetchone()
    if row is None:
        return Resumed(0.0, 0.0, False)
    end_s, end_utc, end_boot_s, ended = row
    by_wall_s = (clock.wall() - datetime.fromisoformat(end_utc)).total_seconds()
    by_boot_s = clock.boot_s() - end_boot_s
    if by_boot_s >= 0.0 and (abs(by_boot_s - by_wall_s) <= CLOCKS_AGREE_S or by_wall_s < 0.0):
        return Resumed(end_s, by_boot_s, ended is None)
    return Resumed(end_s, by_wall_s if by_wall_s >= 0.0 else None, ended is None)


def _locked(path: Path) -> sqlite3.Connection:
    """Hold the folder: SQLite's own lock, which the system frees however the program ends."""
    lock = sqlite3.connect(path / LOCK, timeout=0.2, isolation_level=None)
    try:
        lock.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as error:
        lock.close()
        if "locked" not in str(error):
            raise
        raise StoreError(
            f"{path}: another clicktimer is listening into it; stop that one or give another --into"
        ) from None
    return lock


def _utc(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="milliseconds")


def events_of(connection: sqlite3.Connection, after: int = 0) -> Sequence[Event]:
    """All events in the order in which they were said, but the first ``after`` of them."""
    rows = connection.execute(
        "SELECT at_s, what, time_s, kind, confidence, level_db, note, timing_sd_s FROM events WHERE id > ? ORDER BY id",
        (after,),
    )
    return [Event(*row) for row in rows]
