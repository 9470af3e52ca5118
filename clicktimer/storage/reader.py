"""The listening folder, read: everything that was heard, as the chain takes it, whatever end the listening had."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.detection.spectral_lines import ToneSegment
from clicktimer.errors import StoreError
from clicktimer.records import Gap, Notice
from clicktimer.storage import schema
from clicktimer.storage.writer import Event, events_of, is_listening


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
    try:
        connection = schema.connect(path / schema.DATABASE, read_only=True)
        try:
            connection.execute("BEGIN")
            return _read(connection, path)
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise StoreError(f"{path} cannot be read ({error}); copy the folder to another disk and try again") from None


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
        notices=tuple(Notice(*row) for row in db.execute("SELECT code, text, time_s FROM notices ORDER BY rowid")),
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
