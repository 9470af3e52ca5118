"""Stage 4, beside: clicks as a label file that audio editors open, and back; a person's corrections beside them.

A label file is plain text, one label a line: start, end, text, with tabs between, times in seconds. What was detected
is never changed; ``correct`` says what a person kept, moved, renamed, added and struck out, and gives the clicks that
count.
"""

from __future__ import annotations

import itertools
import math
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from clicktimer.errors import InputError
from clicktimer.records import Change, Click, CorrectedClick, Gap, How, Kind, Reason

SAME_S = 0.0005
"""A label this near to a detected click is that click: editors round to a microsecond or to a sample."""

MOVED_S = 2.0
"""A label of the same kind within this distance of a click that has none is that click, moved."""

HAND_SD_S = 0.05
"""Standard deviation of a click set by hand on the picture of a wave. An assumption: nobody has measured it."""

HAND_EDGE_SD_S = 0.3
"""The same of a start or stop of the pump's sound, which has no sharp beginning."""

LARGEST_BYTES = 10_000_000

_TEXTS: dict[tuple[Kind, How], str] = {
    ("cut-in", "clicks"): "cut-in",
    ("cut-out", "clicks"): "cut-out",
    ("unknown", "clicks"): "click",
    ("cut-in", "pump sound"): "pump starts",
    ("cut-out", "pump sound"): "pump stops",
    ("unknown", "pump sound"): "something missed",
}
_KNOWN: dict[str, tuple[Kind, How]] = {
    **{re.sub(r"[\s_-]+", "", text): what for what, text in _TEXTS.items()},
    **dict.fromkeys(("in", "on", "start"), ("cut-in", "clicks")),
    **dict.fromkeys(("out", "off", "stop"), ("cut-out", "clicks")),
    **dict.fromkeys(("unknown", "?"), ("unknown", "clicks")),
    **dict.fromkeys(("pumpon", "pumpstart"), ("cut-in", "pump sound")),
    **dict.fromkeys(("pumpoff", "pumpstop"), ("cut-out", "pump sound")),
    "missed": ("unknown", "pump sound"),
}


@dataclass(frozen=True, slots=True)
class Label:
    """One line of a label file: a time in s from the recording's first sample, what is there, and the line's number."""

    time_s: float
    kind: Kind
    how: How = "clicks"
    line: int = 0


def label_text(clicks: Sequence[Click]) -> str:
    """Clicks (and edges, told by ``how``) as the text of a label file, in order of time, s to a microsecond."""
    ordered = sorted(clicks, key=lambda c: c.time_s)
    return "".join(f"{c.time_s:.6f}\t{c.time_s:.6f}\t{_TEXTS[c.kind, c.how]}\n" for c in ordered)


def read_labels(path: str | os.PathLike[str]) -> tuple[str, tuple[Label, ...]]:
    """Read a label file: its name without the folder, and its labels in order of time.

    Raises InputError where it cannot be read or understood.
    """
    name = Path(path).name
    try:
        with open(path, "rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else "no name of a file"
        raise InputError(f"{path}: {why}; give the label file that you saved") from None
    return name, parse_labels(decode_labels(data, name), name)


def decode_labels(data: bytes, name: str) -> str:
    """The bytes of a label file as text: UTF-8, UTF-16 with its mark, or the old 8-bit alphabets of Windows.

    Raises InputError where it is no text.
    """
    if len(data) > LARGEST_BYTES:
        raise InputError(f"{name}: too large for a label file; give the text file with start, end and text")
    coded = "utf-16" if data.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        text = data.decode(coded)
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if "\0" in text:
        raise InputError(f"{name}: this is no text; give the label file (start, end, text), not the recording")
    return text


def parse_labels(text: str, name: str = "labels") -> tuple[Label, ...]:
    """Read the text of a label file; labels come back in order of time.

    Allowed: decimal commas, blank lines, lines that begin with a backslash (frequencies) or "#", labels that begin with
    "#" (remarks). A label with a length counts at its start. name: of the file, for messages.

    Raises InputError with the number of the line where a time or a text cannot be understood, and for two labels at
    one place.
    """
    found: list[Label] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.lstrip().startswith(("\\", "#")):
            continue
        label = _parse_line(line, number, f"{name}, line {number}")
        if label is not None:
            found.append(label)
    found.sort(key=lambda label: label.time_s)
    for one, two in itertools.pairwise(found):
        if two.time_s - one.time_s < SAME_S:
            lines = " and ".join(str(n) for n in sorted((one.line, two.line)))
            raise InputError(f"{name}, lines {lines}: two labels at {two.time_s:.3f} s; keep one of them")
    return tuple(found)


def _parse_line(line: str, number: int, where: str) -> Label | None:
    fields = line.split("\t") if "\t" in line else line.split(None, 2)
    fields = [field.strip() for field in fields]
    if len(fields) < 2:
        raise InputError(f'{where}: "{_short(line)}" is not "start, end, text" with tabs between')
    start_s, end_s = _seconds(fields[0], where), _seconds(fields[1], where)
    if end_s < start_s:
        raise InputError(f"{where}: the end, {end_s:g} s, lies before the start, {start_s:g} s; exchange them")
    text = " ".join(fields[2:]).strip()
    if text.startswith("#"):
        return None
    what = _KNOWN.get(re.sub(r"[\s_-]+", "", text.lower()))
    if what is None:
        given = f'"{_short(text)}" is not known' if text else "it has no text"
        raise InputError(f'{where}: {given}; write cut-in, cut-out or click, or begin a remark with "#"')
    return Label(start_s, *what, line=number)


def _seconds(text: str, where: str) -> float:
    # A comma is a decimal point where it is the only sign; "1.234,5" has two readings and is refused.
    if re.fullmatch(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?", text) is None:
        raise InputError(f'{where}: "{_short(text)}" is not a time; write seconds, such as 12.345')
    value = float(text.replace(",", "."))
    if not math.isfinite(value) or value < 0.0:
        raise InputError(f"{where}: {value:g} s is outside the recording, which begins at 0")
    return value


def _short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 40 else text[:37] + "..."


def correct(
    labels: Sequence[Label], detected: Sequence[Click], gaps: Sequence[Gap], *, end_s: float, name: str = "labels"
) -> tuple[tuple[CorrectedClick, ...], tuple[Click, ...]]:
    """What a person's labels make of what was detected: the clicks that count in order of time, and those struck out.

    detected: clicks and edges. end_s: length of the recording, s. A click that was kept is given back as detected; one
    that was set by hand is sure (confidence 1) and as fine in time as a hand is (HAND_SD_S). Where the person named the
    kind of some clicks of a recording whose kinds could not be told, the others follow by turns, never across a gap.

    Raises InputError for a label after the end of the recording.
    """
    for label in labels:
        if label.time_s > end_s:
            text = f"{label.time_s:g} s lies after the end of the recording at {end_s:.3f} s"
            raise InputError(f"{name}, line {label.line}: {text}; is it of another recording?")
    free, pairs = list(detected), {}
    for place, label in enumerate(labels):
        near = [c for c in free if abs(c.time_s - label.time_s) <= SAME_S]
        if near:
            pairs[place] = min(near, key=lambda c: (c.how != label.how, abs(c.time_s - label.time_s)))
            free.remove(pairs[place])
    apart = sorted(
        (abs(click.time_s - label.time_s), place, i)
        for place, label in enumerate(labels)
        if place not in pairs
        for i, click in enumerate(free)
        if click.kind == label.kind and click.how == label.how and abs(click.time_s - label.time_s) <= MOVED_S
    )
    used: set[int] = set()
    for _, place, i in apart:
        if place not in pairs and i not in used:
            pairs[place] = free[i]
            used.add(i)
    deleted = tuple(click for i, click in enumerate(free) if i not in used)
    clicks = [_corrected(label, pairs.get(place)) for place, label in enumerate(labels)]
    return tuple(_by_turns(clicks, gaps)), deleted


def _corrected(label: Label, was: Click | None) -> CorrectedClick:
    sd_s = HAND_SD_S if label.how == "clicks" else HAND_EDGE_SD_S
    if was is None:
        by_hand = Reason("click.added-by-hand")
        added = Click(label.time_s, label.kind, 1.0, timing_sd_s=sd_s, note=by_hand, how=label.how)
        return CorrectedClick(added, "added", None, None)
    change: Change = "kept" if (was.kind, was.how) == (label.kind, label.how) else "renamed"
    click = was
    # A hair off, so that a sum of binary fractions cannot make a click moved that was paired as being the same.
    if abs(was.time_s - label.time_s) > SAME_S + 1e-9:
        change = "moved"
        note = Reason("click.moved-by-hand", was_s=was.time_s)
        click = replace(was, time_s=label.time_s, timing_sd_s=sd_s, confidence=1.0, note=note)
    elif change == "renamed":
        note = Reason("click.renamed-by-hand", was=_TEXTS[was.kind, was.how])
        # A place that only the pump's sound told is as fine as that, also when a person calls it a click.
        click = replace(was, kind=label.kind, how=label.how, confidence=1.0, note=note)
    return CorrectedClick(click, change, was.time_s, was.kind)


def _by_turns(clicks: list[CorrectedClick], gaps: Sequence[Gap]) -> list[CorrectedClick]:
    """Give the kinds that follow from those a person named, where all named ones of a stretch agree on them."""
    if all(c.click.kind != "unknown" for c in clicks) or all(c.click.kind == "unknown" for c in clicks):
        return clicks
    out = list(clicks)
    for stretch in _stretches(clicks, gaps):
        # Parity of the place in the stretch decides; a named click says which parity starts the pump.
        starts = {
            (place % 2) ^ (clicks[i].click.kind == "cut-out")
            for place, i in enumerate(stretch)
            if clicks[i].click.kind != "unknown"
        }
        if len(starts) != 1:
            continue
        first = starts.pop()
        for place, i in enumerate(stretch):
            if clicks[i].click.kind == "unknown":
                kind: Kind = "cut-in" if place % 2 == first else "cut-out"
                click = replace(clicks[i].click, kind=kind, note=Reason("click.by-turns"))
                out[i] = CorrectedClick(click, "by turns", clicks[i].was_s, clicks[i].was_kind)
    return out


def _stretches(clicks: list[CorrectedClick], gaps: Sequence[Gap]) -> list[list[int]]:
    """Places of the clicks between which nothing is missing: no gap, and no edge of which only the fact is known."""
    out: list[list[int]] = [[]]
    before_s = -math.inf
    for i, c in enumerate(clicks):
        to_s = c.click.time_s
        if any(before_s <= gap.from_s <= to_s or before_s <= (gap.to_s or gap.from_s) <= to_s for gap in gaps):
            out.append([])
        before_s = to_s
        if c.click.how == "pump sound" and c.click.kind == "unknown":
            out.append([])
            continue
        out[-1].append(i)
    return [stretch for stretch in out if stretch]
