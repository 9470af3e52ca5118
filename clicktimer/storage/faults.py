"""Why a listening folder cannot be read or written: an SQLite or system error in, one code out, and a line to show.

The codes: ``disk-full``, ``locked`` (another program holds the database), ``damaged``, ``read-only``, ``gone`` (the
folder or its drive is no longer there) and ``not-written`` (the disk reports another error).
"""

from __future__ import annotations

import errno
import shutil
import sqlite3
from pathlib import Path
from typing import Final, Literal

Fault = Literal["disk-full", "locked", "damaged", "read-only", "gone", "not-written"]

FULL_BYTES: Final = 1_000_000
"""With less room than this, an input or output error of SQLite is put down to the full disk."""

_SQLITE: Final[dict[int, Fault]] = {
    sqlite3.SQLITE_FULL: "disk-full",
    sqlite3.SQLITE_BUSY: "locked",
    sqlite3.SQLITE_LOCKED: "locked",
    sqlite3.SQLITE_PROTOCOL: "locked",
    sqlite3.SQLITE_CORRUPT: "damaged",
    sqlite3.SQLITE_NOTADB: "damaged",
    sqlite3.SQLITE_READONLY: "read-only",
    sqlite3.SQLITE_PERM: "read-only",
}
"""By primary result code (https://www.sqlite.org/rescode.html)."""
_SQLITE_EXTENDED: Final[dict[int, Fault]] = {
    sqlite3.SQLITE_READONLY_DBMOVED: "gone",
    sqlite3.SQLITE_IOERR_SHORT_READ: "damaged",
    sqlite3.SQLITE_IOERR_CORRUPTFS: "damaged",
}
_SYSTEM: Final[dict[int, Fault]] = {
    errno.ENOSPC: "disk-full",
    errno.EDQUOT: "disk-full",
    errno.EROFS: "read-only",
    errno.EACCES: "read-only",
    errno.EPERM: "read-only",
    errno.ENOENT: "gone",
    errno.ENODEV: "gone",
}
_WHAT: Final[dict[Fault, str]] = {
    "disk-full": "the disk is full; make room and try again",
    "locked": "another program holds it, such as a backup or a viewer; close that program and try again",
    "damaged": "its database is damaged; check the disk, and use a copy of the folder if you have one",
    "read-only": "it may not be written to; check its permissions, or copy it to a disk that can be written to",
    "gone": "it is no longer there; check that its drive is connected",
    "not-written": "the disk reports an error; check the disk, or copy the folder to another one",
}


def fault_of(error: BaseException, folder: Path) -> Fault:
    """Return what an ``sqlite3.Error`` or ``OSError`` on a listening folder comes from."""
    if isinstance(error, OSError):
        return _SYSTEM.get(error.errno or 0, "not-written")
    extended = getattr(error, "sqlite_errorcode", None) or 0
    known = _SQLITE_EXTENDED.get(extended) or _SQLITE.get(extended & 0xFF)
    if known is not None:
        return known
    try:
        free = shutil.disk_usage(folder).free
    except OSError:
        return "gone"
    if extended & 0xFF == sqlite3.SQLITE_IOERR and free < FULL_BYTES:
        return "disk-full"
    if extended & 0xFF == sqlite3.SQLITE_CANTOPEN:
        return "read-only" if folder.is_dir() else "gone"
    return "not-written"


def fault_text(error: BaseException, folder: Path) -> str:
    """Return what happened, what to do about it, and the system's own words, without the folder's name."""
    reason = getattr(error, "strerror", None) or error
    return f"{_WHAT[fault_of(error, folder)]} ({reason})"


def what_to_do(fault: Fault) -> str:
    """Return what happened and what to do about it, without the folder's name."""
    return _WHAT[fault]
