"""Writes what is generated in README.md and docs/: ``python docs/make.py [--check] [NAME ...]``.

Without names everything is made. ``--check`` writes nothing and lists what is out of date; then the exit code is 1.
Each name is a module in docs/makers/ whose ``made()`` returns what its files should hold, by path from the root.
"""

from __future__ import annotations

import argparse
import importlib
import io
import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
Content = str | bytes


@dataclass(frozen=True)
class Maker:
    """One module of docs/makers/. quick: takes about a second, so that every run of the tests checks it."""

    name: str
    makes: str
    quick: bool = True


MAKERS = (
    Maker("cli", "the command line's reference"),
    Maker("api", "the reference of the public Python names"),
    Maker("causes", "the page of causes"),
    Maker("site", "the tables of the site file's page"),
    Maker("schemas", "the schemas of the JSON documents"),
    Maker("well", "the output shown on the page of the well"),
    Maker("day", "the day's picture and its sentence", quick=False),
    Maker("readme", "the demo's output in README.md", quick=False),
    Maker("detection", "the pictures of detection", quick=False),
    Maker("report", "the sample report and the picture of its first page", quick=False),
)


def made(name: str) -> dict[str, Content]:
    """Return what a maker's files should hold, by path from the root of the repository."""
    if str(ROOT) not in sys.path:
        sys.path.insert(0, str(ROOT))
    content: Callable[[], dict[str, Content]] = importlib.import_module(f"docs.makers.{name}").made
    return content()


def stale(name: str) -> list[str]:
    """Return the paths that do not hold what the maker makes."""
    return [path for path, content in made(name).items() if not same(ROOT / path, content)]


def same(path: Path, content: Content) -> bool:
    """Return True if a file holds this content.

    A page is compared to the letter, a PDF by its words without fingerprints. The bytes of pictures differ with the
    platform's fonts and drawing library, so of a PNG or SVG only its being there is checked: look at it.
    """
    if not path.exists():
        return False
    if path.suffix == ".pdf" and isinstance(content, bytes):
        return words_of(path.read_bytes()) == words_of(content)
    return path.suffix in (".png", ".svg") or path.read_text("utf-8") == content


def words_of(pdf: bytes) -> str:
    """Return the words of a PDF, without line breaks and SHA-256 fingerprints."""
    from pypdf import PdfReader

    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).replace("\u200b", "")
    return re.sub(r"[0-9a-f]{64}", "", " ".join(text.split()))


def write(name: str) -> None:
    """Make a maker's files anew."""
    for path, content in made(name).items():
        data = content.encode("utf-8") if isinstance(content, str) else content
        (ROOT / path).write_bytes(data)
        print(f"{path} ({len(data) / 1000:.0f} kB)")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; return its exit code."""
    names = [maker.name for maker in MAKERS]
    parser = argparse.ArgumentParser(description="Make what is generated in README.md and docs/.")
    parser.add_argument("--check", action="store_true", help="write nothing, list what is out of date")
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"one or more of {', '.join(names)}; without, all")
    asked = parser.parse_args(arguments)
    if unknown := set(asked.names) - set(names):
        parser.error(f"there is no maker {', '.join(sorted(unknown))}")
    old: list[str] = []
    for name in asked.names or names:
        if asked.check:
            old += stale(name)
        else:
            write(name)
    for path in old:
        print(f"out of date: {path}")
    return 1 if old else 0


if __name__ == "__main__":
    sys.exit(main())
