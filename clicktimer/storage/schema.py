"""The listening folder's database: the tables of the current format, and the arrays that go into it as bytes.

SQLite keeps it whole: write-ahead log, synchronous FULL. Times named ``*_s`` are seconds of the sound (the count of
samples, gaps included); ``utc`` is the computer's clock at that moment, ISO 8601.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any, Final

import numpy as np

from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.detection.spectral_lines import LINES, ToneSegment
from clicktimer.errors import StoreError
from clicktimer.storage import migrations

DATABASE: Final = "listening.sqlite"
FORMAT: Final = "clicktimer-listening"
NOT_OURS: Final = "{path}: no listening of clicktimer lies in it; give a folder that clicktimer listen made"

_TABLES: Final = """
CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE sessions (id INTEGER PRIMARY KEY, start_s REAL NOT NULL, rate_hz INTEGER NOT NULL, device TEXT NOT NULL,
    began_utc TEXT NOT NULL, offset_s INTEGER NOT NULL, zone TEXT NOT NULL, began_boot_s REAL NOT NULL,
    program TEXT NOT NULL, end_s REAL NOT NULL, end_utc TEXT NOT NULL, end_boot_s REAL NOT NULL, ended TEXT);
CREATE TABLE candidates (id INTEGER PRIMARY KEY, n INTEGER NOT NULL, time_s BLOB NOT NULL, rise_db BLOB NOT NULL,
    timing_sd_s BLOB NOT NULL, attack_s BLOB NOT NULL, decay_s BLOB NOT NULL, peak_db BLOB NOT NULL,
    prints BLOB NOT NULL, context BLOB NOT NULL, room BLOB NOT NULL, bands BLOB NOT NULL, approach_s BLOB, wave_hz BLOB,
    waves BLOB);
CREATE TABLE pending (id INTEGER PRIMARY KEY, n INTEGER NOT NULL, time_s BLOB NOT NULL, rise_db BLOB NOT NULL,
    timing_sd_s BLOB NOT NULL, attack_s BLOB NOT NULL, decay_s BLOB NOT NULL, peak_db BLOB NOT NULL,
    prints BLOB NOT NULL, context BLOB NOT NULL, room BLOB NOT NULL, bands BLOB NOT NULL, approach_s BLOB, wave_hz BLOB,
    waves BLOB);
CREATE TABLE levels (id INTEGER PRIMARY KEY, stretch_s REAL NOT NULL, start_s REAL NOT NULL, step_s REAL NOT NULL,
    used INTEGER NOT NULL, n INTEGER NOT NULL, codes BLOB NOT NULL);
CREATE TABLE gaps (id INTEGER PRIMARY KEY, from_s REAL NOT NULL, to_s REAL, why TEXT NOT NULL);
CREATE TABLE events (id INTEGER PRIMARY KEY, at_s REAL NOT NULL, utc TEXT NOT NULL, what TEXT NOT NULL,
    time_s REAL NOT NULL, kind TEXT NOT NULL, confidence REAL, level_db REAL, note TEXT NOT NULL,
    timing_sd_s REAL);
CREATE TABLE marks (id INTEGER PRIMARY KEY, time_s REAL NOT NULL, utc TEXT NOT NULL, what TEXT NOT NULL,
    text TEXT NOT NULL);
CREATE TABLE log (id INTEGER PRIMARY KEY, at_s REAL NOT NULL, utc TEXT NOT NULL, code TEXT NOT NULL,
    text TEXT NOT NULL);
CREATE TABLE notices (session INTEGER NOT NULL, code TEXT NOT NULL, text TEXT NOT NULL, time_s REAL);
CREATE TABLE tones (id INTEGER PRIMARY KEY, stretch_s REAL NOT NULL, start_s REAL NOT NULL,
    step_s REAL NOT NULL, n INTEGER NOT NULL, freq BLOB NOT NULL, over BLOB NOT NULL);
CREATE TABLE sounds (id INTEGER PRIMARY KEY, from_s REAL NOT NULL, length_s REAL NOT NULL, why TEXT NOT NULL,
    file TEXT NOT NULL);
"""

_ARRAYS: Final[dict[str, np.dtype[Any]]] = {
    "time_s": np.dtype("<f8"),
    "rise_db": np.dtype("<f4"),
    "timing_sd_s": np.dtype("<f4"),
    "attack_s": np.dtype("<f4"),
    "decay_s": np.dtype("<f4"),
    "peak_db": np.dtype("<f4"),
    "prints": np.dtype("u1"),
    "context": np.dtype("u1"),
    "room": np.dtype("u1"),
    "bands": np.dtype("u1"),
    "approach_s": np.dtype("<f4"),
    "wave_hz": np.dtype("<f4"),
    "waves": np.dtype("i1"),
}
BUSY_S: Final = 5.0
"""How long a statement waits for another program that holds the database."""


def connect(path: Path) -> sqlite3.Connection:
    """Open a database to write to, durable. Raises sqlite3.Error."""
    connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
    try:
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
    except sqlite3.Error:
        connection.close()
        raise
    return connection


def connect_to_read(path: Path, *, any_thread: bool = False) -> sqlite3.Connection:
    """Open a database to read, in the current format: of an older one a migrated copy in memory. Raises sqlite3.Error.

    any_thread: several threads may use it, one at a time.
    """
    # Not mode=ro: what lies in the write-ahead log after a power cut must be read too.
    connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None, check_same_thread=not any_thread)
    try:
        connection.execute("PRAGMA query_only=ON")
        if not is_made(connection) or migrations.version_of(connection) >= migrations.CURRENT:
            return connection
        copy = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=not any_thread)
        connection.backup(copy)
        migrations.migrate(copy)
    except BaseException:
        connection.close()
        raise
    connection.close()
    return copy


def is_made(connection: sqlite3.Connection) -> bool:
    """Return whether the tables are there: they are made all at once."""
    return "about" in {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}


def create(connection: sqlite3.Connection, about: dict[str, str]) -> None:
    """Make the tables, all or none."""
    connection.execute("BEGIN IMMEDIATE")
    for statement in _TABLES.split(";"):
        if statement.strip():
            connection.execute(statement)
    migrations.stamp(connection)
    connection.executemany("INSERT INTO about VALUES (?, ?)", {"format": FORMAT, **about}.items())
    connection.execute("COMMIT")


def check_format(connection: sqlite3.Connection, folder: Path) -> dict[str, str]:
    """What the database says about itself. Raises StoreError where it is none of ours or newer than this program."""
    try:
        about = dict(connection.execute("SELECT name, value FROM about").fetchall())
        version = max(migrations.version_of(connection), int(about.get("version", "0")))
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", None) in (sqlite3.SQLITE_ERROR, sqlite3.SQLITE_NOTADB):
            raise StoreError(NOT_OURS.format(path=folder)) from None
        raise
    except ValueError:
        raise StoreError(NOT_OURS.format(path=folder)) from None
    if about.get("format") != FORMAT:
        raise StoreError(NOT_OURS.format(path=folder))
    if version > migrations.CURRENT:
        raise StoreError(f"{folder}: written by a newer clicktimer ({about.get('program', '?')}); install that one")
    return about


def put_candidates(connection: sqlite3.Connection, table: str, found: Candidates) -> None:
    """Write a set of candidates as one row; ``table`` is "candidates" or "pending"."""
    blobs = [np.ascontiguousarray(getattr(found, name), dtype=kind).tobytes() for name, kind in _ARRAYS.items()]
    marks = ", ".join("?" * (len(blobs) + 1))
    connection.execute(f"INSERT INTO {table} (n, {', '.join(_ARRAYS)}) VALUES ({marks})", (len(found), *blobs))


def get_candidates(connection: sqlite3.Connection, table: str) -> Candidates:
    """All candidates of a table, in the order in which they were handed out."""
    none = Candidates.none()
    parts = []
    for n, *blobs in connection.execute(f"SELECT n, {', '.join(_ARRAYS)} FROM {table} ORDER BY id"):
        arrays = {}
        for (name, kind), blob in zip(_ARRAYS.items(), blobs, strict=True):
            own = getattr(none, name)
            if blob is None:  # of a first program, which wrote no waveforms: compared by their prints alone
                arrays[name] = np.zeros((0 if name == "waves" else n, *own.shape[1:]), own.dtype)
            else:
                arrays[name] = np.frombuffer(blob, kind).astype(own.dtype).reshape((-1, *own.shape[1:]))
        parts.append(Candidates(**arrays))
    return Candidates.join(parts)


def put_levels(connection: sqlite3.Connection, stretch_s: float, new: LevelSegment) -> None:
    """Write further steps of the level track of the stretch that began at ``stretch_s``."""
    connection.execute(
        "INSERT INTO levels (stretch_s, start_s, step_s, used, n, codes) VALUES (?, ?, ?, ?, ?, ?)",
        (stretch_s, new.start_s, new.step_s, new.used, len(new.codes), new.codes.astype(np.uint8).tobytes()),
    )


def get_levels(connection: sqlite3.Connection) -> list[LevelSegment]:
    """The level track, one segment for each stretch without a gap, as the detector would hand it out."""
    segments: dict[float, list[tuple[float, int, np.ndarray]]] = {}
    for stretch_s, step_s, used, n, codes in connection.execute(
        "SELECT stretch_s, step_s, used, n, codes FROM levels ORDER BY id"
    ):
        width = len(codes) // n if n else 1
        segments.setdefault(stretch_s, []).append((step_s, used, np.frombuffer(codes, np.uint8).reshape(n, width)))
    return [
        LevelSegment(stretch_s, parts[0][0], np.concatenate([p[2] for p in parts]), parts[0][1])
        for stretch_s, parts in segments.items()
        if parts
    ]


def put_tones(connection: sqlite3.Connection, stretch_s: float, new: ToneSegment) -> None:
    """Write further steps of the tones of the stretch that began at ``stretch_s``."""
    connection.execute(
        "INSERT INTO tones (stretch_s, start_s, step_s, n, freq, over) VALUES (?, ?, ?, ?, ?, ?)",
        (
            stretch_s,
            new.start_s,
            new.step_s,
            len(new.freq_codes),
            new.freq_codes.astype("<u2").tobytes(),
            new.over_codes.astype(np.uint8).tobytes(),
        ),
    )


def get_tones(connection: sqlite3.Connection) -> list[ToneSegment]:
    """The tones, one segment for each stretch without a gap; none in a folder of a first program."""
    stretches: dict[float, list[ToneSegment]] = {}
    for stretch_s, start_s, step_s, n, freq, over in connection.execute(
        "SELECT stretch_s, start_s, step_s, n, freq, over FROM tones ORDER BY id"
    ):
        codes = np.frombuffer(freq, "<u2").astype(np.uint16).reshape(n, LINES)
        part = ToneSegment(start_s, step_s, codes, np.frombuffer(over, np.uint8).reshape(n, LINES))
        stretches.setdefault(stretch_s, []).append(part)
    return [
        ToneSegment(
            stretch_s,
            parts[0].step_s,
            np.concatenate([p.freq_codes for p in parts]),
            np.concatenate([p.over_codes for p in parts]),
        )
        for stretch_s, parts in stretches.items()
    ]
