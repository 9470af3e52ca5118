"""The listening folder, read: everything that was heard, as the chain takes it, whatever end the listening had."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.detection.spectral_lines import ToneSegment
from clicktimer.errors import StoreError
from clicktimer.records import Gap, Notice
from clicktimer.storage import schema
from clicktimer.storage.batch import Event
from clicktimer.storage.faults import fault_text, what_to_do
from clicktimer.storage.reasons import text_reason
from clicktimer.storage.writer import events_of, is_listening


def notices_of(db: sqlite3.Connection) -> tuple[Notice, ...]:
    """Return the notices of a listening folder, in the order in which they were written."""
    rows = db.execute("SELECT code, text, time_s FROM notices ORDER BY rowid")
    return tuple(Notice(code, text_reason(text), time_s) for code, text, time_s in rows)


@dataclass(frozen=True, slots=True)
class SessionNote:
    """One session: from starting to listen until it ended. ended: None where it was cut off."""

    start_s: float
    end_s: float
    rate_hz: int
    device: str
    began: datetime
    end: datetime
    zone: str
    program: str
    ended: str | None
    began_boot_s: float
    end_boot_s: float


@dataclass(frozen=True, slots=True)
class Stored:
    """All that lies in a listening folder, but the sound."""

    path: Path
    about: dict[str, Any]
    sessions: tuple[SessionNote, ...]
    candidates: Candidates
    levels: list[LevelSegment]
    tones: list[ToneSegment]
    gaps: tuple[Gap, ...]
    events: Sequence[Event]
    marks: tuple[tuple[float, str, str], ...]
    log: tuple[tuple[float, str, str, str], ...]
    notices: tuple[Notice, ...]
    sounds: tuple[tuple[float, float, str, str], ...]

    @property
    def end_s(self) -> float:
        """Where the sound ends."""
        return self.sessions[-1].end_s if self.sessions else 0.0


def read_folder(path: Path) -> Stored:
    """Read a listening folder; it may still be written to. Raises StoreError."""
    if not is_listening(path):
        raise StoreError(schema.NOT_OURS.format(path=path))
    with reading(path):
        connection = schema.connect_to_read(path / schema.DATABASE)
        try:
            connection.execute("BEGIN")
            return _read(connection, path)
        finally:
            connection.close()


@contextmanager
def reading(path: Path) -> Iterator[None]:
    """Inside, what goes wrong with a folder that is read is one StoreError that says what happened."""
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_NOTADB:
            raise StoreError(schema.NOT_OURS.format(path=path)) from None
        raise StoreError(f"{path} cannot be read: {fault_text(error, path)}") from None
    except (ValueError, TypeError) as error:  # a date, a list of bytes or a JSON text that is none
        reason = " ".join(str(error).split())[:100]
        raise StoreError(f"{path} cannot be read: {what_to_do('damaged')} ({reason})") from None


def _read(db: sqlite3.Connection, path: Path) -> Stored:
    about, sessions = about_of(db, path), sessions_of(db)
    if not sessions:
        raise StoreError(f"{path}: nothing was heard into it; listen again")
    found = Candidates.join([schema.get_candidates(db, "candidates"), schema.get_candidates(db, "pending")])
    return Stored(
        path=path,
        about=about,
        sessions=sessions,
        candidates=found,
        levels=schema.get_levels(db),
        tones=schema.get_tones(db),
        gaps=tuple(Gap(*row) for row in db.execute("SELECT from_s, to_s, why FROM gaps ORDER BY id")),
        events=events_of(db),
        marks=tuple(db.execute("SELECT time_s, what, text FROM marks ORDER BY id")),
        log=tuple(db.execute("SELECT at_s, utc, code, text FROM log ORDER BY id")),
        notices=notices_of(db),
        sounds=tuple(db.execute("SELECT from_s, length_s, why, file FROM sounds ORDER BY id")),
    )


def about_of(db: sqlite3.Connection, path: Path) -> dict[str, Any]:
    """What is noted of the listening. Raises StoreError where it is none of ours or of a newer program."""
    return {
        name: value if name in ("format", "version") else json.loads(value)
        for name, value in schema.check_format(db, path).items()
    }


def sessions_of(db: sqlite3.Connection) -> tuple[SessionNote, ...]:
    """The sessions in their order."""
    rows = db.execute(
        "SELECT start_s, end_s, rate_hz, device, began_utc, end_utc, offset_s, zone, program, ended, began_boot_s, "
        "end_boot_s FROM sessions ORDER BY id"
    )
    return tuple(
        SessionNote(start_s, end_s, rate_hz, device, _local(began, offset_s), _local(end, offset_s), *rest)
        for start_s, end_s, rate_hz, device, began, end, offset_s, *rest in rows
    )


def _local(utc: str, offset_s: int) -> datetime:
    return datetime.fromisoformat(utc).astimezone(timezone(timedelta(seconds=offset_s)))
