"""The listening folder, written: what is heard goes to disk, committed, before it is shown; nothing is overwritten.

One folder has one writer at a time. A listening that was cut off (power, kill) is resumed in the same folder: what was
not committed is a gap. When the disk is full, what cannot be written waits in memory and is written later.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Literal

from clicktimer.audio.clock import Clock
from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.detection.spectral_lines import ToneSegment
from clicktimer.errors import PlaceTakenError, StoreError
from clicktimer.records import Gap, Kind, Notice
from clicktimer.storage import schema

LOCK: Final = "in-use.sqlite"
CLOCKS_AGREE_S: Final = 5.0

What = Literal["heard", "kind", "settled", "withdrawn"]
Keep = Literal["default", "all", "none"]


@dataclass(frozen=True, slots=True)
class Event:
    """Something said of one click. at_s: when, by the sound; time_s: of the click.

    what: "heard" (kind unknown yet), "kind" (told, provisional), "settled", "withdrawn" (not the switch after all).
    timing_sd_s: standard deviation of the click's time, where it is told.
    """

    at_s: float
    what: What
    time_s: float
    kind: Kind = "unknown"
    confidence: float | None = None
    level_db: float | None = None
    note: str = ""
    timing_sd_s: float | None = None


@dataclass
class Batch:
    """What is committed together. pending: replaces what was pending; levels, tones: each with its stretch's
    beginning."""

    end_s: float = 0.0
    candidates: list[Candidates] = field(default_factory=list)
    pending: Candidates | None = None
    levels: list[tuple[float, LevelSegment]] = field(default_factory=list)
    tones: list[tuple[float, ToneSegment]] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    marks: list[tuple[float, str, str]] = field(default_factory=list)
    log: list[tuple[float, str, str]] = field(default_factory=list)
    sounds: list[tuple[float, float, str, str]] = field(default_factory=list)
    notices: list[Notice] | None = None


@dataclass(frozen=True, slots=True)
class Resumed:
    """Where a listening goes on. gap_s: what is missing since, None where no clock can tell."""

    end_s: float
    gap_s: float | None
    cut_off: bool


class Folder:
    """A listening folder that is open for writing."""

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
        self._late = Batch()
        self.full = False
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
            raise StoreError(f"cannot write into {path} ({_reason(error)}); give another place with --into") from None
        return cls(path, connection, lock, clock or Clock(), None)

    @classmethod
    def resume(cls, path: Path, *, clock: Clock | None = None) -> Folder:
        """Go on in a folder, whatever end it had. Raises StoreError (none of ours, newer, in use, damaged)."""
        clock = clock or Clock()
        if not is_listening(path):
            raise StoreError(schema.NOT_OURS.format(path=path))
        lock = _locked(path)
        try:
            connection = schema.connect(path / schema.DATABASE)
            schema.check_format(connection, path)
            resumed = _where(connection, clock)
            connection.execute("BEGIN IMMEDIATE")
            schema.add_later(connection)
            rows = connection.execute("SELECT count(*) FROM pending").fetchone()[0]
            if rows:
                schema.put_candidates(connection, "candidates", schema.get_candidates(connection, "pending"))
                connection.execute("DELETE FROM pending")
            connection.execute("COMMIT")
        except sqlite3.Error as error:
            lock.close()
            raise StoreError(f"{path} cannot be opened ({_reason(error)}); start a new listening with --into") from None
        return cls(path, connection, lock, clock, resumed)

    def begin(self, *, rate_hz: int, device: str, start_s: float, program: str) -> None:
        """Begin a session: from now on ``commit`` may be called."""
        now, boot_s = self._clock.wall(), self._clock.boot_s()
        offset = now.utcoffset()
        offset_s = 0 if offset is None else round(offset.total_seconds())
        utc, zone = _utc(now), self._clock.zone()
        row = (start_s, rate_hz, device, utc, offset_s, zone, boot_s, program, start_s, utc, boot_s)
        cursor = self._db.execute(
            "INSERT INTO sessions (start_s, rate_hz, device, began_utc, offset_s, zone, began_boot_s, program, end_s, "
            "end_utc, end_boot_s) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            row,
        )
        self._session = int(cursor.lastrowid or 0)

    def note(self, name: str, value: Any) -> None:
        """Note one more thing of the listening, as JSON can hold it."""
        self._db.execute("INSERT OR REPLACE INTO about VALUES (?, ?)", (name, json.dumps(value)))

    # -- writing ---------------------------------------------------------------------------------------------------

    def commit(self, batch: Batch, *, ended: str | None = None) -> bool:
        """Write it all or nothing, to the disk itself. False where the disk is full: it is kept and tried again."""
        late = self._late
        for name in ("candidates", "levels", "tones", "gaps", "events", "marks", "log", "sounds"):
            getattr(late, name).extend(getattr(batch, name))
        late.end_s = batch.end_s
        late.pending = batch.pending if batch.pending is not None else late.pending
        late.notices = batch.notices if batch.notices is not None else late.notices
        try:
            self._write(late, ended)
        except sqlite3.Error:
            with contextlib.suppress(sqlite3.Error):
                self._db.execute("ROLLBACK")
            self.full = True
            return False
        self._late, self.full = Batch(), False
        return True

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
            rows = [(self._session, n.code, n.text, n.time_s) for n in batch.notices]
            db.executemany("INSERT INTO notices VALUES (?, ?, ?, ?)", rows)
        db.execute(
            "UPDATE sessions SET end_s = ?, end_utc = ?, end_boot_s = ?, ended = ? WHERE id = ?",
            (batch.end_s, utc, self._clock.boot_s(), ended, self._session),
        )
        db.execute("COMMIT")

    def close(self) -> None:
        """Let go of it; what could not be written for want of room is tried once more."""
        with contextlib.suppress(sqlite3.Error):
            if self.full:
                self._write(self._late, "disk full")
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


def _reason(error: Exception) -> str:
    return str(getattr(error, "strerror", None) or error)


def events_of(connection: sqlite3.Connection, after: int = 0) -> Sequence[Event]:
    """All events in the order in which they were said, but the first ``after`` of them."""
    timing = "timing_sd_s" if "timing_sd_s" in schema.columns_of(connection, "events") else "NULL"
    rows = connection.execute(
        f"SELECT at_s, what, time_s, kind, confidence, level_db, note, {timing} FROM events WHERE id > ? ORDER BY id",
        (after,),
    )
    return [Event(*row) for row in rows]
