"""How the reports write times, lengths and sentences: 80 columns, plain text, no control characters."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from clicktimer.reporting.messages.figures import decimals_for

if TYPE_CHECKING:
    from clicktimer.records import RunTime

WIDTH = 80


def plain(text: str) -> str:
    """Return ``text`` with every control character replaced by "?".

    A file name may hold an escape sequence; it must not reach somebody's terminal. Lone halves of a
    surrogate pair (names that are not valid UTF-8) are replaced too, since they cannot be written.
    """
    return "".join("?" if unicodedata.category(c) in ("Cc", "Cs", "Cf") else c for c in text)


def wrap(text: str, indent: str = "", hanging: str | None = None) -> list[str]:
    """Return ``text`` as lines of at most 80 columns, the first after ``indent``, the rest after ``hanging``."""
    return textwrap.wrap(
        plain(text),
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent if hanging is None else hanging,
        break_long_words=False,
        break_on_hyphens=False,
    )


def seconds_text(seconds: float, half_width_s: float = 0.0) -> str:
    """Return a length such as "38.40 s", with no more decimals than its half width (s) deserves."""
    return f"{seconds:.{decimals_for(half_width_s)}f} s"


def half_width_text(half_width_s: float) -> str:
    """Return the half width of an interval in s as "±6 ms" or "±0.3 s"."""
    if half_width_s < 0.0995:
        return f"±{half_width_s * 1000:.0f} ms"
    return f"±{half_width_s:.2g} s"


def length_text(seconds: float) -> str:
    """Return a length in s as people say it: "4.2 s", "48 s", "4 min 07 s", "2 h 05 min", "24 h", "3 d 04 h"."""
    if seconds < 9.95:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    minutes = round(seconds / 60)
    if minutes < 24 * 60:
        return f"{minutes // 60} h {minutes % 60:02d} min"
    hours = round(seconds / 3600)
    if hours < 48:
        return f"{hours} h"
    return f"{hours // 24} d {hours % 24:02d} h"


def position_text(time_s: float) -> str:
    """Return a place in the recording, s from its start, as m:ss.s or h:mm:ss.s."""
    tenths = round(abs(time_s) * 10)
    sign = "-" if time_s < 0 and tenths else ""
    minutes, rest = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    tail = f"{rest // 10:02d}.{rest % 10}"
    return f"{sign}{hours}:{minutes:02d}:{tail}" if hours else f"{sign}{minutes}:{tail}"


def started_time(started_at: str | None) -> datetime | None:
    """Return the start of a recording as a date and time, or None where it is unknown or cannot be read."""
    if started_at is None:
        return None
    try:
        return datetime.fromisoformat(started_at)
    except ValueError:
        return None


def clock_text(time_s: float, started: datetime | None, *, with_day: bool = False) -> str:
    """Return the wall-clock time of a place in the recording, or its place in it where the start is unknown."""
    if started is None:
        return position_text(time_s)
    moment = started + timedelta(seconds=time_s)
    return moment.strftime("%m-%d %H:%M:%S" if with_day else "%H:%M:%S")


Align = Literal["<", ">"]


def table(
    header: Sequence[str], rows: Sequence[Sequence[str]], align: Sequence[Align], *, indent: int = 2, gap: int = 2
) -> list[str]:
    """Return a table as lines of at most 80 columns; the last column takes what is left and wraps inside it.

    gap: columns of room between cells.
    """
    cells = [tuple(map(plain, row)) for row in (header, *rows)]
    last = len(header) - 1
    widths = [max(len(row[i]) for row in cells) for i in range(last)]
    left = " " * indent
    used = indent + sum(w + gap for w in widths)
    room = max(12, WIDTH - used)
    end = max(len(row[last]) for row in cells) if align[last] == ">" else 0
    lines: list[str] = []
    for row in cells:
        front = "".join(f"{cell:{a}{w}}{' ' * gap}" for cell, a, w in zip(row, align, widths, strict=False))
        tail = textwrap.wrap(row[last], room, break_on_hyphens=False) or [""]
        if len(tail) == 1:
            tail = [tail[0].rjust(min(end, room))]
        lines.append((left + front + tail[0]).rstrip())
        lines.extend(" " * used + more for more in tail[1:])
    return lines


def most_starts_text(run: RunTime) -> str:
    """The most starts an hour that a steady use can cause, 900 s over the run; with what the run's interval allows."""
    from clicktimer.cycles.run_time import allowed_interval_s
    from clicktimer.tank.runs import most_starts_per_h  # what asks for help need not wait for numpy

    low_s, high_s = allowed_interval_s(run)
    best, fewest, most = (f"{most_starts_per_h(r0_s):.0f}" for r0_s in (run.seconds, high_s, max(low_s, 1.0)))
    return most if fewest == most else f"{best} ({fewest} to {most})"


def value_text(value: object) -> str:
    """Return a value of a setting as it is told: yes or no, several joined by plus signs."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return " + ".join(value_text(v) for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
