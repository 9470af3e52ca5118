"""10 document: two results as JSON in; where they differ out: which kind of thing each is, and both sides in words."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

Kind = Literal["figure", "text", "entry"]
MOST_SHOWN: Final = 60
KINDS: Final[dict[Kind, tuple[str, str]]] = {
    "figure": ("figure", "figures"),
    "text": ("text", "texts"),
    "entry": ("other entry", "other entries"),
}
SOME_DIFFER: Final = "Measured again: {what} differ{s}."
TEXTS_DIFFER: Final = "Measured again: every figure agrees, but {what} differ{s}."


@dataclass(frozen=True, slots=True)
class Difference:
    """One place where two results differ. kind: a number, a text, or anything else (a yes or no, a list's length)."""

    kind: Kind
    text: str


def differences(before: Any, now: Any, at: str = "") -> Iterator[Difference]:
    """Where two JSON documents differ, in words; the program's version is told by itself."""
    if at == "program.version":
        return
    if isinstance(before, Mapping) and isinstance(now, Mapping):
        for key in (*before, *(k for k in now if k not in before)):
            yield from differences(before.get(key), now.get(key), f"{at}.{key}".lstrip("."))
    elif isinstance(before, list) and isinstance(now, list) and len(before) == len(now):
        for i, (one, other) in enumerate(zip(before, now, strict=True), start=1):
            yield from differences(one, other, f"{at} {i}")
    elif before != now:
        was, is_now = _shown(before, now)
        yield Difference(_kind(before, now), f"{at}: {was} in the document, {is_now} now")


def differ_text(found: Sequence[Difference]) -> str:
    """Say how many of which kind differ, in one sentence; and that no figure does, where it is so."""
    parts = []
    for kind, (one, many) in KINDS.items():
        count = sum(d.kind == kind for d in found)
        if count:
            parts.append(f"{count} {one if count == 1 else many}")
    what = " and ".join(parts) if len(parts) < 3 else f"{parts[0]}, {parts[1]} and {parts[2]}"
    template = TEXTS_DIFFER if only_texts(found) else SOME_DIFFER
    return template.format(what=what, s="s" if len(found) == 1 else "")


def only_texts(found: Sequence[Difference]) -> bool:
    """Whether every figure agrees, and whatever could stand for one."""
    return all(d.kind == "text" for d in found)


def _kind(before: Any, now: Any) -> Kind:
    there = [value for value in (before, now) if value is not None]  # a figure that is missing is one that differs
    if all(isinstance(value, int | float) and not isinstance(value, bool) for value in there):
        return "figure"
    return "text" if all(isinstance(value, str) for value in there) else "entry"


def _shown(before: Any, now: Any) -> tuple[str, str]:
    """Both values, shortened; of two long texts the part in which they differ."""
    skip = 0
    if isinstance(before, str) and isinstance(now, str) and max(len(before), len(now)) > MOST_SHOWN - 2:
        skip = max(0, _alike(before, now) - MOST_SHOWN // 3)
    return _short(before, skip), _short(now, skip)


def _short(value: Any, skip: int) -> str:
    if value is None:
        return "nothing"
    text = json.dumps("…" + value[skip:] if skip else value, ensure_ascii=False)
    return text if len(text) <= MOST_SHOWN else text[: MOST_SHOWN - 2] + ('…"' if isinstance(value, str) else "…")


def _alike(one: str, other: str) -> int:
    """With how many same letters two texts begin."""
    pairs = zip(one, other, strict=False)
    return next((i for i, (a, b) in enumerate(pairs) if a != b), min(len(one), len(other)))
