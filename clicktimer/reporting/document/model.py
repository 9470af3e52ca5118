"""10 document: the one model from which both HTML and PDF are laid out: worded sentences, written figures, pictures.

Nothing is computed or worded behind this: a layout only places what is here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from clicktimer.reporting.blocks import Block
from clicktimer.reporting.figures import Picture
from clicktimer.reporting.headline import Tone
from clicktimer.reporting.messages.catalogue import Messages

Paper = Literal["letter", "a4"]


@dataclass(frozen=True, slots=True)
class Fact:
    """A name and its value, as written. An empty value is room to fill in by hand."""

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class Facts:
    """Facts in a table of two columns."""

    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """What to do next, and who is to do it."""

    text: str
    who: str


@dataclass(frozen=True, slots=True)
class Sound:
    """A short sound: flac bytes, its length in s, and where in it the moment lies that is timed, s."""

    label: str
    flac: bytes
    length_s: float
    rate_hz: int
    onset_s: float


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture, with the sounds that belong to it."""

    picture: Picture
    sounds: tuple[Sound, ...] = ()


Part = Block | Facts | Shown


@dataclass(frozen=True, slots=True)
class Section:
    """A section. name: of lower-case letters and hyphens, its own in the document."""

    name: str
    title: str
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class FirstPage:
    """The page for the client.

    found: what was found, in two sentences. notes: what must be said beside it (a doubt). meaning: what it means for
    the pump. prices: only where the user gave some. terms: the words used here, with what they mean.
    """

    tone: Tone
    verdict: str
    found: tuple[str, ...]
    notes: tuple[str, ...]
    picture: Picture
    meaning: tuple[str, ...]
    steps: tuple[Step, ...]
    prices: tuple[Block, ...]
    cautions: tuple[str, ...]
    terms: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """The whole. messages: its language, units and decimal sign. about: who, for whom, where, when.

    data: the JSON that is embedded (docs/report.md).

    produced: the program and its version. labels: the few words that the layout itself sets, by name.
    """

    title: str
    messages: Messages
    paper: Paper
    about: tuple[Fact, ...]
    first: FirstPage
    sections: tuple[Section, ...]
    signing: tuple[Fact, ...]
    produced: str
    labels: dict[str, str]
    certificate: str
    data: str
