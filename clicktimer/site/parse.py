"""Texts of the site file and the options that no other room reads: water caught, and one of some words."""

from __future__ import annotations

from collections.abc import Callable

from clicktimer.errors import QuantityError
from clicktimer.units.parse import parse_time_s, parse_volume_l


def parse_caught(text: str) -> tuple[float, float | None]:
    """Read water caught, "15 gal" or "15 gal in 75 s", to litres and the refill in seconds. Raises QuantityError.

    >>> parse_caught("57 L in 75 s")
    (57.0, 75.0)
    """
    volume, mark, refill = " ".join(str(text).casefold().split()).partition(" in ")
    return parse_volume_l(volume), parse_time_s(refill) if mark else None


def read_choice(*allowed: str) -> Callable[[str], str]:
    """Return a reader that takes one of some words and raises QuantityError for any other."""

    def read(text: str) -> str:
        tidy = str(text).strip().casefold()
        if tidy not in allowed:
            shown = "".join(c if c.isprintable() else " " for c in str(text))[:40]
            raise QuantityError(f'"{shown}" is not one of {", ".join(allowed)}')
        return tidy

    return read
