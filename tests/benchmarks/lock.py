"""Regression lock: every figure that the command line writes, stored and compared. For refactorings.

    python -m tests.benchmarks.lock store   FILE [--corpus small|repository|composed] [--sounds DIR]
    python -m tests.benchmarks.lock compare FILE [--corpus small|repository|composed] [--sounds DIR] [--relative 1e-9]

``compare`` exits with 1 and lists each figure that differs or is missing. A changed sentence is counted as "wording
changed", a new figure as "added"; neither fails. The lock knows nothing of the package but the entry point
``clicktimer.cli:main``, so modules and identifiers may move freely. What is left out, and why, is in
``lock_figures.EXCLUDED``.

The references of "small" and "repository" are in tests/data/lock; tests/test_lock.py compares with them. "composed"
measures recordings composed from the sounds of a folder; its reference is stored outside the repository.

A change that is meant: look at what ``compare`` lists, run ``store`` again on the same file, commit both together, and
say in CHANGELOG.md which figures changed and by how much. Never store over a difference that nobody can explain.

The command compares numbers to the last digit. Other processors and versions of Python may differ in the last digits
(the mathematical library, the order of sums in vectors): the tests allow 1e-9, relative.
"""

from __future__ import annotations

import argparse
import contextlib
import gzip
import json
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks.lock_cases import CORPORA, prepare
from tests.benchmarks.lock_figures import Differences, Figures, compare, run_case

LARGEST_PLAIN_BYTES = 300_000
SHOWN = 60


def measured(corpus: str, sounds: str | None = None, each: bool = False) -> dict[str, Figures]:
    """Run all cases of a corpus in a new folder and return their figures by case."""
    found: dict[str, Figures] = {}
    with tempfile.TemporaryDirectory() as made, contextlib.chdir(made):
        folder = Path(made)
        os.environ.pop("COLUMNS", None)
        prepare(corpus, folder)
        for case in CORPORA[corpus](folder, sounds):
            if case.name in found:
                raise ValueError(f"two cases are named {case.name}")
            began = time.perf_counter()
            found[case.name] = run_case(case, folder)
            if each:
                spent = time.perf_counter() - began
                print(f"{spent:7.2f} s  {len(found[case.name]):5}  exit {found[case.name]['exit']}  {case.name}",
                      flush=True)  # fmt: skip
    return found


def write_reference(path: Path, found: dict[str, Figures]) -> Path:
    """Write a reference, compressed to PATH.gz where it is large; return where it is. Same figures, same bytes."""
    data = (json.dumps(found, sort_keys=True, separators=(",", ":"), ensure_ascii=False) + "\n").encode()
    packed = path.with_name(path.name + ".gz")
    if len(data) <= LARGEST_PLAIN_BYTES:
        path.write_bytes(data)
        packed.unlink(missing_ok=True)
        return path
    path.unlink(missing_ok=True)
    packed.write_bytes(gzip.compress(data, 9, mtime=0))
    return packed


def read_reference(path: Path) -> dict[str, Figures]:
    """Read a reference from PATH or PATH.gz."""
    packed = path if path.suffix == ".gz" else path.with_name(path.name + ".gz")
    text = gzip.decompress(packed.read_bytes()) if packed.exists() else path.read_bytes()
    found: dict[str, Figures] = json.loads(text)
    return found


def told(found: Differences, cases: int, seconds: float) -> str:
    """Return the report: what differs, then the counts."""
    lines = [f"DIFFERS  {case}  {path}: {a} -> {b}" for case, path, a, b in found.differing]
    lines += [f"wording  {case}  {path}: {a[:150]} -> {b[:150]}" for case, path, a, b in found.wording[: SHOWN // 6]]
    lines += [f"added    {case}  {path}" for case, path in found.added[: SHOWN // 6]]
    lines += [
        f"cases            {cases:8}", f"figures compared {found.compared:8}", f"equal            {found.equal:8}",
        f"differing        {len(found.differing):8}", f"added            {len(found.added):8}",
        f"wording changed  {len(found.wording):8}  ({found.wording_figures} with other numbers in the sentence)",
        f"seconds          {seconds:8.1f}",
    ]  # fmt: skip
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Store or compare; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.lock", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("what", choices=("store", "compare"))
    parser.add_argument("file", type=Path)
    parser.add_argument("--corpus", choices=tuple(CORPORA), default="small")
    parser.add_argument("--sounds", help="folder of sounds for the composed corpus; synthetic ones without it")
    parser.add_argument("--relative", type=float, default=0.0, help="tolerance of numbers; 0: to the last digit")
    parser.add_argument("--each", action="store_true", help="print each case with its seconds")
    given = parser.parse_args(arguments)
    path, began = given.file.resolve(), time.perf_counter()
    sounds = None if given.sounds is None else str(Path(given.sounds).resolve())
    before = read_reference(path) if given.what == "compare" else {}
    found = measured(given.corpus, sounds, given.each)
    spent = time.perf_counter() - began
    if given.what == "store":
        where = write_reference(path, found)
        print(f"{len(found)} cases, {sum(map(len, found.values()))} figures in {spent:.1f} s, stored in {where.name}")
        return 0
    differences = compare(before, found, given.relative)
    print(told(differences, len(before), spent))
    return 1 if differences.differing else 0


if __name__ == "__main__":
    sys.exit(main())
