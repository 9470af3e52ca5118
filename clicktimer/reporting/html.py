"""10 document: the model in, one HTML page out that holds everything: pictures, sounds, data. No script, no address.

Jinja2 escapes every word; what it is given is the model, and the groups of layout.py.
"""

from __future__ import annotations

import base64
import re
from typing import Any, Final

from clicktimer.errors import SettingsError
from clicktimer.reporting.document.layout import groups, readable
from clicktimer.reporting.document.model import Document, Sound

DATA_ID: Final = "clicktimer-data"
PAPER_SIZE: Final = {"letter": "letter", "a4": "A4"}
SIGNS: Final = {"short": "!", "below": "↓", "good": "✓", "open": "?"}  # drawn beside the verdict, never alone


def render_html(document: Document) -> bytes:
    """Return the document as one HTML page in UTF-8. Same model, same bytes. Raises SettingsError without Jinja2."""
    try:
        from jinja2 import Environment, PackageLoader, StrictUndefined
    except ImportError:
        raise SettingsError("a report needs the package jinja2, which is missing: pip install jinja2") from None
    environment = Environment(
        loader=PackageLoader("clicktimer.reporting"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {"readable": readable, "audio": _audio}
    context: dict[str, Any] = {
        "document": document,
        "first": document.first,
        "labels": document.labels,
        "paper": PAPER_SIZE[document.paper],
        "sign": SIGNS[document.first.tone],
        "sections": [(section, groups(section.parts)) for section in document.sections],
        "prices": groups(document.first.prices),
        "certificate": document.certificate,
        "data": _data(document.data),
        "data_id": DATA_ID,
    }
    return environment.get_template("report.html").render(context).encode("utf-8")


def _audio(sound: Sound) -> str:
    return "data:audio/flac;base64," + base64.b64encode(sound.flac).decode("ascii")


def _data(text: str) -> str:
    """JSON that no part of can end the element it stands in; read back it is the same."""
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def embedded_data(page: str) -> str | None:
    """Return the JSON that is embedded in a page, or None where there is none."""
    found = re.search(rf'<script type="application/json" id="{DATA_ID}">(.*?)</script>', page, re.DOTALL)
    return found[1] if found else None
