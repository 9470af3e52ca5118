"""The listening folder's format by number, and the steps from each number to the next.

``PRAGMA user_version`` holds the number. The first format held 0 there: 0 reads as 1. A step is never changed once it
has been released; a new format is a new step at the end of STEPS, and the same change in ``schema``.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import Final

Step = Callable[[sqlite3.Connection], None]


def _waveforms_and_tones(db: sqlite3.Connection) -> None:
    """1 -> 2: waveforms of candidates, tones, and how well a reported click is timed.

    Some folders of format 1 hold these already: they were added one by one before formats were numbered.
    """
    db.execute(
        "CREATE TABLE IF NOT EXISTS tones (id INTEGER PRIMARY KEY, stretch_s REAL NOT NULL, start_s REAL NOT NULL, "
        "step_s REAL NOT NULL, n INTEGER NOT NULL, freq BLOB NOT NULL, over BLOB NOT NULL)"
    )
    _add_columns(db, "events", {"timing_sd_s": "REAL"})
    for table in ("candidates", "pending"):
        _add_columns(db, table, {"approach_s": "BLOB", "wave_hz": "BLOB", "waves": "BLOB"})


STEPS: Final[tuple[Step, ...]] = (_waveforms_and_tones,)
"""Step number 0 leads from format 1 to format 2, and so on."""
FIRST: Final = 1
CURRENT: Final = FIRST + len(STEPS)


def version_of(db: sqlite3.Connection) -> int:
    """Return the number of a database's format."""
    return int(db.execute("PRAGMA user_version").fetchone()[0]) or FIRST


def stamp(db: sqlite3.Connection) -> None:
    """Write the number of the current format, inside the caller's transaction."""
    db.execute(f"PRAGMA user_version = {CURRENT:d}")
    # The first programs read the number here, and refuse a newer one by it.
    db.execute("INSERT OR REPLACE INTO about VALUES ('version', ?)", (str(CURRENT),))


def migrate(db: sqlite3.Connection) -> None:
    """Bring a database to the current format: all steps in one transaction, or none. Raises sqlite3.Error."""
    if version_of(db) >= CURRENT:
        return
    db.execute("BEGIN IMMEDIATE")
    try:
        for version in range(version_of(db), CURRENT):
            STEPS[version - FIRST](db)
        stamp(db)
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def _add_columns(db: sqlite3.Connection, table: str, columns: dict[str, str]) -> None:
    there = {row[1] for row in db.execute(f"PRAGMA table_info({table})")}
    for name, kind in columns.items():
        if name not in there:
            db.execute(f"ALTER TABLE {table} ADD COLUMN {name} {kind}")
