"""What is said while a listening folder cannot be written to, by the code of what went wrong (storage/faults)."""

from __future__ import annotations

from typing import Final

FAULT: Final = {
    "disk-full": "the disk is full: the timing goes on in memory and is written as soon as there is room; "
    "make room now",
    "locked": "another program holds the listening folder: the timing goes on in memory and is written as soon as "
    "that program lets go; close it (a backup or a viewer) now",
    "read-only": "the listening folder may no longer be written to: the timing goes on in memory and is written "
    "as soon as it may; check its permissions and its drive now",
    "gone": "the listening folder is no longer there: the timing goes on in memory; connect its drive again now",
    "not-written": "the disk reports an error: the timing goes on in memory and is written as soon as the disk "
    "takes it; check the disk now",
}
OVER: Final = {
    "disk-full": "there is room on the disk again: everything is written",
}
OVER_ELSE: Final = "the listening folder can be written to again: everything is written"
