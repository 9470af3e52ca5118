"""In which line of a TOML text an item stands; the parser of the standard library does not say.

The text is parsed again up to the end of each statement: an item begins in the first statement after which it is there.
Slow (the square of the file's length), and only done to tell an error.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any


def line_of(text: str, path: tuple[str | int, ...]) -> int | None:
    """Return the line (from 1) in which the statement of the item at ``path`` begins, None where it is not found.

    A path is made of keys and places in lists, such as ("tank", 1, "volume").

    >>> line_of('height = "5 m"\\n\\n# here\\nswitch = "40/60"', ("switch",))
    4
    """
    lines = text.splitlines(keepends=True)
    begin = 0
    for end in range(1, len(lines) + 1):
        if not "".join(lines[begin:end]).strip():
            continue
        try:
            data = tomllib.loads("".join(lines[:end]))
        except tomllib.TOMLDecodeError:
            continue  # in the midst of a statement
        if _holds(data, path):
            return _first_full(lines, begin, end) + 1
        begin = end
    return None


def one_line(text: str) -> str:
    """Return a text safe to show on one line, shortened."""
    shown = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return shown if len(shown) <= 400 else shown[:397] + "..."


def _holds(data: Any, path: tuple[str | int, ...]) -> bool:
    for step in path:
        if isinstance(data, Mapping) and step in data:
            data = data[str(step)]
        elif isinstance(data, list) and isinstance(step, int) and step < len(data):
            data = data[step]
        else:
            return False
    return True


def _first_full(lines: list[str], begin: int, end: int) -> int:
    return next((i for i in range(begin, end) if lines[i].strip() and not lines[i].lstrip().startswith("#")), begin)
