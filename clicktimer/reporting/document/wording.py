"""10 document: sentences of the terminal in, the same for paper out: no option of a command line, decimals as asked.

Whoever reads a document has no command line, so where a shared sentence names an option, its thing is named instead.
Every text of a document passes here once; what people typed (names of files and of price lists) is left as it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from clicktimer.reporting.blocks import Block, Rows, Words
from clicktimer.reporting.document.model import Document, Fact, Facts, FirstPage, Part, Section, Shown, Step
from clicktimer.reporting.figures import Picture
from clicktimer.reporting.figures.style import write_axes
from clicktimer.reporting.messages.catalogue import Decimal

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Write = Callable[[str], str]

_BRACKETS: Final = re.compile(r" \((?:clicktimer [^()]*|[^()]*--[a-z][^()]*)\)")
_NUMBER: Final = r"(?<![\w.,])(\d+)\.(\d+(?:e[-+]\d+)?)(?!\.?\w)"
"""A number of ours: not a part of a name ("v2.1", "2.1.wav"), of a version ("0.1.0") or of an address."""


def for_paper(text: str) -> str:
    """Return a sentence without the options of a command line.

    >>> for_paper("Check the air valve with an air gauge: steps below (--precharge).")
    'Check the air valve with an air gauge: steps below.'
    """
    if "--" not in text and "(clicktimer " not in text and "JSON" not in text:
        return text
    return _BRACKETS.sub("", text).replace(" in the JSON.", " in the figures that this document carries.")


def with_decimal(text: str, decimal: Decimal, typed: Collection[str] = ()) -> str:
    """Return a text of ours with its numbers written as asked for. typed: names in it that stay as they are.

    >>> with_decimal("11.99 s at 0:16.9 in tank 1.5.wav", "comma", ["tank 1.5.wav"])
    '11,99 s at 0:16,9 in tank 1.5.wav'
    """
    if decimal == "point":
        return text
    names = "|".join(re.escape(name) for name in sorted(typed, key=len, reverse=True) if "." in name)
    pattern = f"({names})|{_NUMBER}" if names else f"((?!))|{_NUMBER}"
    return re.sub(pattern, lambda found: found[0] if found[1] else f"{found[2]},{found[3]}", text)


def worded(document: Document, decimal: Decimal, typed: Collection[str]) -> Document:
    """Return the document with every text of ours as a reader of paper wants it. typed: what people wrote, as it is."""

    def write(text: str) -> str:
        return with_decimal(for_paper(text), decimal, typed)

    sections = tuple(_section(section, write, decimal) for section in document.sections)
    return replace(document, first=_first(document.first, write, decimal), sections=sections)


def _first(first: FirstPage, write: Write, decimal: Decimal) -> FirstPage:
    def all_of(texts: Collection[str]) -> tuple[str, ...]:
        return tuple(write(text) for text in texts)

    return replace(
        first,
        verdict=write(first.verdict),
        found=all_of(first.found),
        notes=all_of(first.notes),
        picture=_picture(first.picture, write, decimal),
        meaning=all_of(first.meaning),
        steps=tuple(Step(write(step.text), step.who) for step in first.steps),
        prices=tuple(_block(block, write) for block in first.prices),
        cautions=all_of(first.cautions),
        terms=tuple(Fact(term.label, write(term.value)) for term in first.terms),
    )


def _section(section: Section, write: Write, decimal: Decimal) -> Section:
    return Section(section.name, section.title, tuple(_part(part, write, decimal) for part in section.parts))


def _part(part: Part, write: Write, decimal: Decimal) -> Part:
    match part:
        case Facts(facts):
            return Facts(tuple(Fact(fact.label, write(fact.value)) for fact in facts))
        case Shown(picture, sounds):
            return Shown(_picture(picture, write, decimal), sounds)
        case _:
            return _block(part, write)


def _block(block: Block, write: Write) -> Block:
    match block:
        case Words(text, mark, indent):
            return Words(write(text), mark, indent)
        case Rows(header, rows, align, gap):
            return Rows(tuple(map(write, header)), [tuple(map(write, row)) for row in rows], align, gap)
        case _:
            return block


def _picture(picture: Picture, write: Write, decimal: Decimal) -> Picture:
    drawn = picture.draw

    def draw() -> Figure:
        from matplotlib.text import Text

        figure = drawn()
        write_axes(figure, write)
        for text in figure.findobj(Text):
            if isinstance(text, Text):
                text.set_text(write(text.get_text()))
        return figure

    return replace(
        picture, caption=write(picture.caption), alt=write(picture.alt), draw=drawn if decimal == "point" else draw
    )
