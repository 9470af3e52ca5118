"""10 document: the model in, a PDF out, set by typst; tagged for screen readers, with the figures attached as JSON.

Words of the user reach typst as data, never as markup. Only fonts that come with typst and matplotlib are used, so that
a document looks the same on every computer; a letter that they lack becomes "?" and is told.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, Final

from clicktimer.errors import InputError, SettingsError
from clicktimer.reporting.document.layout import Group, groups, readable
from clicktimer.reporting.document.model import Document, Fact
from clicktimer.reporting.figures import Picture
from clicktimer.reporting.html import SIGNS

ATTACHED: Final = "clicktimer-report.json"
PAPER_NAME: Final = {"letter": "us-letter", "a4": "a4"}
LONG_WORD: Final = 28
FINGERPRINT: Final = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class Pdf:
    """A PDF. lacking: letters that its fonts do not have, each once; they stand as "?" in it."""

    data: bytes
    lacking: str


def render_pdf(document: Document) -> Pdf:
    """Return the document as a PDF. Same model, same bytes. Raises SettingsError without typst or matplotlib."""
    data, lacking = _set(document, format="pdf", pdf_standards=["ua-1"])
    return Pdf(data, lacking)


def render_pages(document: Document, *, dots_per_inch: float) -> list[bytes]:
    """Return the pages of the PDF as PNG pictures, to be looked at or shown elsewhere."""
    data, _ = _set(document, format="png", ppi=dots_per_inch)
    return data if isinstance(data, list) else [data]


def _set(document: Document, **how: Any) -> tuple[Any, str]:
    """Have typst set it, and tell what letters were lacking."""
    try:
        import matplotlib
        import typst
    except ImportError as error:
        missing = error.name
        raise SettingsError(f"a PDF needs the package {missing}, which is missing: pip install {missing}") from None
    plain_data = _plain_data(document)
    lacking = "".join(sorted({c for text in _texts(plain_data) for c in text if ord(c) not in _letters()}))
    if lacking:
        letters = ", ".join(f"U+{ord(c):04X}" for c in lacking[:20])
        plain_data["lacking"] = document.messages.text("document.pdf.lacking", letters=letters)
    shown = _settable(plain_data)
    shown["pictures"] = {name: picture.svg() for name, picture in _pictures(document)}
    shown["data"] = document.data
    source = resources.files("clicktimer.reporting").joinpath("templates/report.typ").read_bytes()
    fonts = typst.Fonts(
        include_system_fonts=False, font_paths=[str(Path(matplotlib.get_data_path()) / "fonts" / "ttf")]
    )
    inputs = {"document": json.dumps(shown)}
    return typst.compile(source, sys_inputs=inputs, font_paths=fonts, timestamp=0, **how), lacking


def _plain_data(document: Document) -> dict[str, Any]:
    first = document.first
    title = document.title
    return {
        "title": title,
        "language": document.messages.language,
        "paper": PAPER_NAME[document.paper],
        "about": _facts(document.about),
        "tone": first.tone,
        "sign": SIGNS[first.tone],
        "verdict": first.verdict,
        "found": [readable(text) for text in first.found],
        "notes": [readable(text) for text in first.notes],
        "scale": _picture(first.picture),
        "meaning": [readable(text) for text in first.meaning],
        "steps": [[readable(step.text), step.who] for step in first.steps],
        "prices": [_group(group) for group in groups(first.prices)],
        "cautions": [readable(text) for text in first.cautions],
        "terms": _facts(first.terms),
        "certificate": document.certificate,
        "sections": [
            {"title": section.title, "parts": [_group(group) for group in groups(section.parts)]}
            for section in document.sections
        ],
        "signing": _facts(document.signing),
        "produced": document.produced,
        "labels": document.labels,
        "sounds": document.messages.text("document.clicks.no-sound-pdf"),
        "lacking": "",
    }


def _facts(facts: tuple[Fact, ...]) -> list[list[str]]:
    return [[readable(fact.label), readable(fact.value)] for fact in facts]


def _picture(picture: Picture) -> dict[str, str]:
    return {"name": picture.name, "alt": readable(picture.alt), "caption": readable(picture.caption)}


def _group(group: Group) -> dict[str, Any]:
    return {
        "kind": group.kind,
        "items": list(group.items),
        "marks": list(group.marks),
        "start": group.start,
        "head": list(group.head),
        "rows": [list(row) for row in group.rows],
        "right": list(group.right),
        "facts": _facts(group.facts),
        "picture": None if group.shown is None else _picture(group.shown.picture),
        "sounds": group.shown is not None and bool(group.shown.sounds),
    }


def _pictures(document: Document) -> Iterator[tuple[str, Picture]]:
    yield document.first.picture.name, document.first.picture
    for section in document.sections:
        for group in groups(section.parts):
            if group.shown is not None:
                yield group.shown.picture.name, group.shown.picture


def _texts(data: Any) -> Iterator[str]:
    """Every text in plain data."""
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for value in data.values():
            yield from _texts(value)
    elif isinstance(data, list):
        for value in data:
            yield from _texts(value)


def _settable(data: Any) -> Any:
    """The same with letters that are lacking replaced, and very long words given places to be broken."""
    if isinstance(data, str):
        text = "".join(c if ord(c) in _letters() else "?" for c in data)
        return " ".join(word if FINGERPRINT.fullmatch(word) else _breakable(word) for word in text.split(" "))
    if isinstance(data, dict):
        return {name: _settable(value) for name, value in data.items()}
    if isinstance(data, list):
        return [_settable(value) for value in data]
    return data


def _breakable(word: str) -> str:
    if len(word) <= LONG_WORD:
        return word
    return "\u200b".join(word[i : i + LONG_WORD // 4] for i in range(0, len(word), LONG_WORD // 4))


@cache
def _letters() -> frozenset[int]:
    """What the font that stands in for all others has."""
    import matplotlib
    from matplotlib.font_manager import get_font

    path = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
    return frozenset(get_font(str(path)).get_charmap())


def attached_data(path: Path) -> str | None:
    """Return the JSON attached to a PDF, or None where there is none. Raises InputError for what is no whole PDF."""
    try:
        from pypdf import PdfReader
        from pypdf.errors import PyPdfError
    except ImportError:
        raise SettingsError("to check a PDF the package pypdf is needed: pip install pypdf") from None
    try:
        with path.open("rb") as file:
            found = PdfReader(file).attachments.get(ATTACHED)
    except (PyPdfError, ValueError, KeyError, RecursionError) as error:
        raise InputError(f"{path.name} cannot be read as a PDF ({error}); give the one that was written") from None
    return None if not found else found[0].decode("utf-8")
