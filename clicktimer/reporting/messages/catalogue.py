"""The message catalogue: a reason code and its figures in, a sentence for one audience out.

Every sentence stands in a TOML file of its language (``en/*.toml``) under its code. An entry has ``text`` and, where a
reader without a command line needs other words, ``document`` or ``page``; ``page`` falls back to ``document`` and
both to ``text``. ``code = "..."`` alone is an entry with one text for all. Figures are put in here, so that units and
the decimal sign are those the reader asked for.
"""

from __future__ import annotations

import string
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any, Final, Literal

from clicktimer.errors import ClicktimerError
from clicktimer.records import Figure, Reason
from clicktimer.reporting import formatting
from clicktimer.reporting.messages import figures as write
from clicktimer.reporting.messages.day_figures import DAY_OF_UNITS, DAY_WRITERS
from clicktimer.units import format as units_format
from clicktimer.units.format import UnitSystem
from clicktimer.well.parse import format_bore, format_depth

Audience = Literal["terminal", "document", "page"]
Decimal = Literal["point", "comma"]

FALLBACK: Final[dict[Audience, tuple[str, ...]]] = {
    "terminal": ("text",),
    "document": ("document", "text"),
    "page": ("page", "document", "text"),
}
"""Forms of an entry that an audience reads, the best first."""


class CatalogueError(ClicktimerError):
    """A code without a message, or a message without one of its figures: a defect of the program."""


@lru_cache
def entries(language: str = "en") -> Mapping[str, Mapping[str, str]]:
    """Return every message of a language: code -> {form: template}.

    Raises
    ------
    CatalogueError
        If there is no such language, or a code stands in two files.
    """
    found: dict[str, Mapping[str, str]] = {}
    folder = resources.files("clicktimer.reporting.messages").joinpath(language)
    if not folder.is_dir():
        raise CatalogueError(f"there are no messages in the language {language!r}")
    for file in sorted(folder.iterdir(), key=lambda f: f.name):
        for code, forms in _flat(tomllib.loads(file.read_text(encoding="utf-8"))):
            if code in found:
                raise CatalogueError(f"{file.name}: the message {code!r} stands in two files")
            found[code] = forms
    return found


def _flat(table: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Mapping[str, str]]]:
    if "text" in table and isinstance(table["text"], str):
        yield prefix[:-1], table
        return
    for name, inner in table.items():
        if isinstance(inner, str):  # one text for all readers
            yield f"{prefix}{name}", {"text": inner}
        else:
            yield from _flat(inner, f"{prefix}{name}.")


@dataclass(frozen=True, slots=True)
class Messages:
    """The sentences for one reader.

    Parameters
    ----------
    audience : {"terminal", "document", "page"}
        Who reads: only the terminal may be told of an option of the command line.
    units : {"us", "metric"}
        The units in which quantities are written.
    decimal : {"point", "comma"}
        The decimal sign.
    language : str
        The folder of the catalogue.
    """

    audience: Audience = "terminal"
    units: UnitSystem = "us"
    decimal: Decimal = "point"
    language: str = "en"

    def text(self, code: str | Reason, /, **figures: Figure) -> str:
        """Return the sentence of a code, or of a reason with its figures.

        Raises
        ------
        CatalogueError
            If the code has no message, or the message needs a figure that was not given.
        """
        if isinstance(code, Reason):
            return self.text(code.code, **{**dict(code.figures), **figures})
        forms = entries(self.language).get(code)
        if forms is None:
            raise CatalogueError(f"the catalogue has no message {code!r}")
        template = next(forms[form] for form in FALLBACK[self.audience] if form in forms)
        try:
            return _Formatter(self, figures).format(template)
        except KeyError as error:
            raise CatalogueError(f"the message {code!r} needs the figure {error.args[0]!r}") from None

    def texts(self, reasons: Iterable[Reason]) -> str:
        """Return the sentences of several reasons, one after the other; reasons without words are left out."""
        return " ".join(text for text in map(self.text, reasons) if text)

    def note(self, reasons: Iterable[Reason]) -> str:
        """Return the words of several reasons as one note: parted by semicolons."""
        return "; ".join(text for text in map(self.text, reasons) if text)

    def has(self, code: str) -> bool:
        """Return whether the catalogue has a message of this code."""
        return code in entries(self.language)

    def number(self, written: str) -> str:
        """Return a written number with the decimal sign that was asked for."""
        return write.with_comma(written) if self.decimal == "comma" else written


class _Formatter(string.Formatter):
    """``str.format`` whose format spec is the kind of a figure: ``{rate:flow}``, ``{runs_s:seconds-list}``."""

    def __init__(self, messages: Messages, figures: Mapping[str, Figure]) -> None:
        self.messages = messages
        self.figures = figures

    def format(self, template: str, /, *args: Any, **kwargs: Any) -> str:
        return self.vformat(template, args, {**self.figures, **kwargs})

    def parse(self, template: Any) -> Iterator[tuple[str, str | None, str | None, str | None]]:
        """Split a template; a number that stands in the sentence itself has the reader's decimal sign, too."""
        for literal, name, spec, conversion in super().parse(template):
            yield self.messages.number(literal), name, spec, conversion

    def format_field(self, value: Any, spec: str) -> str:  # noqa: C901, PLR0911
        kind, _, rest = spec.partition(" ")
        if kind == "message":  # {band:message band-name} -> the message "band-name.<value>", with the same figures
            return self.messages.text(_code(rest, value), **self.figures)
        if kind == "reason":
            return self.messages.text(value)
        if kind == "capital":  # a reason that begins a sentence
            text = self.messages.text(value)
            return text[:1].upper() + text[1:]
        if kind == "capital-list":  # reasons as one list that begins a sentence
            items = ", ".join(map(self.messages.text, value))
            return items[:1].upper() + items[1:]
        if kind == "reasons":
            return self.messages.texts(value)
        if kind in JOINED:  # {charges:either} -> "one, or another"
            return JOINED[kind].join(map(self.messages.text, value))
        if kind == "messages":  # {causes:messages cause.*.name} -> "one; another"
            return "; ".join(self.messages.text(_code(rest, name)) for name in value)
        if kind == "choice":  # {count:choice run|runs} -> "run" where it is one
            one, _, other = rest.partition("|")
            return one if value == 1 else other
        if kind in OF_UNITS:
            return self.messages.number(OF_UNITS[kind](value, self.messages.units))
        if kind in WRITERS:
            return self.messages.number(WRITERS[kind](value))
        if isinstance(value, str):
            return format(value, spec)
        if isinstance(value, Sequence):
            return ", ".join(self.format_field(one, spec) for one in value)
        return self.messages.number(format(value, spec))


def _code(pattern: str, value: Figure) -> str:
    """Return the code that a pattern and a value name: band-name + short, cause.*.name + lost-air."""
    return pattern.replace("*", str(value)) if "*" in pattern else f"{pattern}.{value}"


def _switch(value: Sequence[float], units: UnitSystem) -> str:
    return units_format.format_switch(value[0], value[1], units)


def _span(ends: Sequence[float], units: UnitSystem, one: Callable[[float, UnitSystem], str]) -> str:
    """Write the two ends of a range, each with its unit; once where they look alike."""
    low, high = one(ends[0], units), one(ends[1], units)
    return low if low == high else f"{low} to {high}"


def _range(ends: Sequence[float], units: UnitSystem, one: Callable[[float, UnitSystem], str]) -> str:
    """Write the two ends of a range with the unit once: "16.7 to 27.4 psi"."""
    low, high = one(ends[0], units), one(ends[1], units)
    return low if low == high else f"{low.split(' ')[0]} to {high}"


JOINED: Final = {"either": ", or ", "and": " and ", "list": ", ", "clauses": "; "}
"""Kinds of several reasons in a row, and what stands between two."""

OF_UNITS: Final[dict[str, Callable[[Any, UnitSystem], str]]] = {
    "volume": units_format.format_volume,
    "flow": units_format.format_flow,
    "pressure": units_format.format_pressure,
    "height": units_format.format_height,
    "power": units_format.format_power,
    "switch": _switch,
    "pressure-range": lambda ends, units: _range(ends, units, units_format.format_pressure),
    "volume-range": lambda ends, units: _range(ends, units, units_format.format_volume),
    "volume-span": lambda ends, units: _span(ends, units, units_format.format_volume),
    "depth": lambda depth_m, units: format_depth(depth_m, units),
    "bore": lambda bore_m, units: format_bore(bore_m, units),
    "flow-span": lambda ends, units: _span(ends, units, units_format.format_flow),
    **DAY_OF_UNITS,
}
"""Kinds of figures written in the reader's units; values are SI: L, L/min, kPa, m, W, (kPa, kPa)."""

WRITERS: Final[dict[str, Callable[[Any], str]]] = {
    "time": units_format.format_time,
    "length": formatting.length_text,
    "position": formatting.position_text,
    "half-width": formatting.half_width_text,
    "share": units_format.format_share,
    "seconds": write.plain_seconds,
    "seconds-list": write.list_seconds,
    "seconds-interval": lambda figure: write.seconds_text(*figure),
    "seconds-interval-coarse": lambda figure: write.seconds_text(figure[0], figure[1], figure[2], 1),
    "seconds-ends": lambda figure: "{} to {} s".format(*write.seconds_texts(*figure)[1:]),
    "seconds-at-most": lambda figure: write.at_most_text(*figure),
    "interval": lambda figure: units_format.format_interval(*figure),
    "times": write.how_often,
    "time-list": write.list_times,
    "percent": lambda share: f"{round(100 * share):d} %",
    "whole-percent": lambda share: f"{share:.0%}",
    "hours": write.hours,
    "few-digits": write.few_digits,
    "count-range": write.count_range,
    **DAY_WRITERS,
}
"""Kinds of figures that look alike in all units. Intervals are (value, low, high); "at most" is (value, high)."""

KINDS: Final = frozenset(
    {*OF_UNITS, *WRITERS, *JOINED, "message", "messages", "reason", "capital", "reasons", "capital-list", "choice"}
)
