"""10 pictures: a picture as it is handed on: drawn when it is asked for, as SVG or PNG, always the same bytes."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from xml.sax.saxutils import quoteattr

from clicktimer.reporting.figures.style import styled

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_PROLOG = re.compile(r"^<\?xml[^>]*\?>\s*(<!DOCTYPE[^>]*>)?\s*")
_IDS = re.compile(r'(\bid="|href="#|url\(#)')


@dataclass(frozen=True)
class Picture:
    """A picture that explains itself.

    name: of lower-case letters, digits and hyphens, its own among the pictures of a document; good for a file's name
    and for an id. caption: a sentence or two to stand beside it. alt: the same figures in words, for whoever cannot
    see it. draw: makes the figure, under the style.
    """

    name: str
    caption: str
    alt: str
    draw: Callable[[], Figure] = field(repr=False, compare=False)

    def svg(self) -> str:
        """The picture as an SVG document without a date, a host or an outside document type."""
        return '<?xml version="1.0" encoding="utf-8"?>\n' + self.svg_element()

    def svg_element(self) -> str:
        """The <svg> element alone, to stand inside an HTML page: its ids begin with its name, its label is ``alt``."""
        metadata = {"Date": None, "Creator": None, "Format": None, "Type": None}
        text = _PROLOG.sub("", self._saved("svg", metadata, 72.0).decode("utf-8"))
        text = _IDS.sub(rf"\g<1>{self.name}-", text)
        return text.replace("<svg ", f'<svg role="img" aria-label={quoteattr(self.alt)} ', 1).strip() + "\n"

    def png(self, dpi: float = 200.0) -> bytes:
        """The picture as PNG, at so many dots an inch."""
        return self._saved("png", {"Software": None}, dpi)

    def file_bytes(self, kind: str) -> bytes:
        """What a file of this kind, "svg" or "png", holds."""
        return self.svg().encode("utf-8") if kind == "svg" else self.png()

    def data_uri(self) -> str:
        """The SVG as the address of an <img>: nothing has to be fetched from elsewhere."""
        return "data:image/svg+xml;base64," + base64.b64encode(self.svg().encode()).decode("ascii")

    def _saved(self, kind: str, metadata: dict[str, None], dpi: float) -> bytes:
        out = io.BytesIO()
        with styled(f"clicktimer-{self.name}"):
            self.draw().savefig(out, format=kind, dpi=dpi, metadata=metadata)
        return out.getvalue()
