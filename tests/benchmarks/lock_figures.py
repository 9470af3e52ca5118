"""Runs one command line and flattens all that it wrote into {path: value}; compares two such results.

A value is a number, a truth value, null or a string. A string with a space is a sentence: its wording may change.
"""

from __future__ import annotations

import contextlib
import csv
import io
import json
import math
import re
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from unittest.mock import patch

Value = str | int | float | bool | None
Figures = dict[str, Value]

EXCLUDED: tuple[tuple[str, str], ...] = (
    (r"(^|\.)program\.version$", "the program's version changes with each release"),
    (r"(^|\.)program$", "a document names the program with its version"),
    (r"(^|\.)stderr\.\d+$", "only the first line of an error is kept; the rest is usage help"),
    (r"(^|\.)settings\.detection\.values(\.|$)", "the parameters of the detector: params.toml, kept beside the code"),
)
"""Paths that are left out, as a pattern, and the reason."""

PREPARING = re.compile(r"preparing the detector")  # said once on each machine, while the loops are compiled
DATA = re.compile(r'<script type="application/json"[^>]*>(.*?)</script>', re.DOTALL)
NUMBER = re.compile(r"\d+(?:[.,]\d+)*")


@dataclass(frozen=True)
class Case:
    """One command line, run in the folder of its corpus. keep: files it writes; their suffix says how to read them."""

    name: str
    arguments: tuple[str, ...]
    keep: tuple[str, ...] = ()


@dataclass
class Differences:
    """What differs between two stored corpora. rows: (case, path, before, after)."""

    compared: int = 0
    equal: int = 0
    differing: list[tuple[str, str, str, str]] = field(default_factory=list)
    added: list[tuple[str, str]] = field(default_factory=list)
    wording: list[tuple[str, str, str, str]] = field(default_factory=list)
    wording_figures: int = 0


def run_main(arguments: Sequence[str]) -> tuple[int, str]:
    """Run the program as its entry point does, in this process; return the exit code and stderr."""
    from clicktimer.cli import main

    err = io.StringIO()
    with (
        patch.object(sys, "argv", ["clicktimer", *arguments]),
        contextlib.redirect_stdout(io.StringIO()),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as ended:
            return (ended.code if isinstance(ended.code, int) else 0 if ended.code is None else 1), err.getvalue()
    return 0, err.getvalue()


def run_case(case: Case, folder: Path) -> Figures:
    """Run a case in ``folder``, which must be the working folder, and return all figures it wrote."""
    code, err = run_main(case.arguments)
    figures: Figures = {"exit": code}
    lines = [line for line in err.splitlines() if line.strip() and not PREPARING.search(line)]
    if code >= 2 and lines:
        # An option error of the click library prints its usage first; the sentence is the last line.
        figures["stderr"] = lines[-1]
    for name in case.keep:
        path = folder / name
        figures[f"{path.suffix[1:]}.written"] = path.exists()
        if path.exists():
            figures.update(read_output(path))
    return {p: v for p, v in figures.items() if not any(re.search(pattern, p) for pattern, _ in EXCLUDED)}


def read_output(path: Path) -> Figures:
    """Return the figures of one written file: JSON (one document or one a line), HTML, CSV, or a label file."""
    kind, text = path.suffix[1:], path.read_text("utf-8")
    if kind == "json":
        try:
            return dict(flatten(json.loads(text), "json"))
        except json.JSONDecodeError:
            return dict(flatten([json.loads(line) for line in text.splitlines()], "json"))
    if kind == "html":
        return dict(flatten([json.loads(found) for found in DATA.findall(text)], "html"))
    rows: list[object]
    if kind == "csv":
        rows = list(csv.DictReader(io.StringIO(text)))
    else:
        rows = [list(line.split("\t")) for line in text.splitlines()]
    return dict(flatten(rows, kind))


def flatten(value: object, path: str) -> Iterator[tuple[str, Value]]:
    """Yield (path, value) of everything in a JSON value. The length of each list is a figure too, under ``#``."""
    if isinstance(value, Mapping):
        if not value:
            yield path, "{}"
        for key, inner in value.items():
            yield from flatten(inner, f"{path}.{key}")
    elif isinstance(value, list):
        yield f"{path}.#", len(value)
        for place, inner in enumerate(value):
            yield from flatten(inner, f"{path}.{place}")
    elif value is None or isinstance(value, str | int | float):
        yield path, value
    else:
        raise TypeError(f"{path}: {type(value).__name__} is no JSON value")


def compare(before: Mapping[str, Figures], after: Mapping[str, Figures], relative: float = 0.0) -> Differences:
    """Compare two corpora figure by figure. relative: tolerance of numbers, 0 for equal to the last digit."""
    found = Differences()
    for name, old in before.items():
        new = after.get(name, {})
        for path, value in old.items():
            found.compared += 1
            if path not in new:
                found.differing.append((name, path, json.dumps(value), "missing"))
            elif same(value, new[path], relative):
                found.equal += 1
            else:
                row = (name, path, json.dumps(value), json.dumps(new[path]))
                (found.wording if is_sentence(value) and is_sentence(new[path]) else found.differing).append(row)
        found.added += [(name, path) for path in new if path not in old]
    found.added += [(name, "all of it") for name in after if name not in before]
    found.wording_figures = sum(NUMBER.findall(r[2]) != NUMBER.findall(r[3]) for r in found.wording)
    return found


def is_sentence(value: Value) -> bool:
    """Return True for a string with a space in it, which is for people to read."""
    return isinstance(value, str) and " " in value


def same(a: Value, b: Value, relative: float) -> bool:
    """Return True if two values are equal; numbers, in a CSV too, within the relative tolerance."""
    if isinstance(a, bool) or isinstance(b, bool) or a is None or b is None:
        return a is b
    if isinstance(a, str) != isinstance(b, str):
        return False
    if a == b or not relative:
        return a == b
    try:
        return math.isclose(float(a), float(b), rel_tol=relative)
    except ValueError:
        return False
