"""10 document: the parts of a section put into groups that both HTML and PDF lay out: paragraphs, lists, tables.

Every text that goes into a document passes here: no control character, no half of a letter, nothing that is no letter.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Literal

from clicktimer.reporting.blocks import Rows, Space, Words
from clicktimer.reporting.document.model import Fact, Facts, Part, Shown
from clicktimer.reporting.formatting import plain

Kind = Literal["text", "bullets", "numbered", "evidence", "cautions", "table", "facts", "figure"]


@dataclass(frozen=True, slots=True)
class Group:
    """One thing to lay out. items: the texts of paragraphs or of a list; marks: of the items of evidence.

    start: number of a numbered list's first item. head, rows, right: a table; right says which columns are figures.
    """

    kind: Kind
    items: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()
    start: int = 1
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    right: tuple[bool, ...] = ()
    facts: tuple[Fact, ...] = ()
    shown: Shown | None = field(default=None)


def groups(parts: Sequence[Part]) -> list[Group]:
    """Put the parts of a section into groups, in their order."""
    return [group for kind, run in groupby(parts, _kind) for group in _grouped(kind, list(run))]


def readable(text: str) -> str:
    """Return a text that may stand in a document: control characters and what is no character become "?"."""
    return "".join("?" if 0xFDD0 <= ord(c) <= 0xFDEF or ord(c) & 0xFFFE == 0xFFFE else c for c in plain(text))


def _kind(part: Part) -> Kind | None:  # noqa: PLR0911
    match part:
        case Words(_, "!"):
            return "cautions"
        case Words(_, mark, indent) if mark in ("+", "-", ".") and indent > 4:
            return "evidence"
        case Words(_, "-"):
            return "bullets"
        case Words(_, mark) if mark:
            return "numbered"
        case Words():
            return "text"
        case Rows():
            return "table"
        case Facts():
            return "facts"
        case Shown():
            return "figure"
    return None


def _grouped(kind: Kind | None, parts: list[Part]) -> Iterator[Group]:
    if kind is None:
        return
    texts = [part for part in parts if isinstance(part, Words)]
    if texts:
        start = int(texts[0].mark[:-1]) if kind == "numbered" else 1
        yield Group(kind, tuple(readable(t.text) for t in texts), tuple(t.mark for t in texts), start)
        return
    for part in parts:
        if isinstance(part, Rows):
            yield _table(part)
        elif isinstance(part, Facts):
            yield Group("facts", facts=tuple(Fact(readable(f.label), readable(f.value)) for f in part.facts))
        elif isinstance(part, Shown):
            yield Group("figure", shown=part)
        elif not isinstance(part, Space | Words):
            raise TypeError(f"no layout for {type(part).__name__}")


def _table(table: Rows) -> Group:
    """A table; columns that are empty throughout are left out, and one without a name gets a dash for its name."""
    used = [i for i in range(len(table.header)) if table.header[i] or any(row[i] for row in table.rows)]
    return Group(
        "table",
        head=tuple(readable(table.header[i]) for i in used),
        rows=tuple(tuple(readable(row[i]) for i in used) for row in table.rows),
        right=tuple(table.align[i] == ">" for i in used),
    )
