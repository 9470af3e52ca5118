"""What a section is made of, before it is laid out: words, rows of a table, room between them.

The terminal's text and the document (reporting/document/) are laid out from the same blocks, so that both say the
same in the same words and with the same figures.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from clicktimer.reporting.formatting import Align, table, wrap


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph, or one item of a list where it has a mark ("-", "+", "!" a caution, "1." a step)."""

    text: str
    mark: str = ""
    indent: int = 2


@dataclass(frozen=True, slots=True)
class Rows:
    """A table. header and rows have as many cells as ``align``; gap: columns of room between cells, as text."""

    header: Sequence[str]
    rows: Sequence[Sequence[str]]
    align: Sequence[Align]
    gap: int = 2


@dataclass(frozen=True, slots=True)
class Space:
    """A little room."""


Block = Words | Rows | Space
SPACE = Space()


def lines_of(blocks: Iterable[Block]) -> list[str]:
    """Lay blocks out as plain lines of at most 80 columns."""
    lines: list[str] = []
    for block in blocks:
        match block:
            case Words(text, mark, indent):
                left = " " * indent + (f"{mark} " if mark else "")
                lines += wrap(text, left, " " * len(left))
            case Rows(header, rows, align, gap):
                lines += table(header, rows, align, gap=gap)
            case Space():
                lines.append("")
    return lines
