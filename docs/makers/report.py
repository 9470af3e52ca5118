"""Makes the sample of docs/report.md and the README's picture of its first page.

The recording is that of ``clicktimer demo``, of an invented household.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from clicktimer import __version__
from clicktimer.cli.demo import DEMO_SEED
from clicktimer.reporting.document.compose import Presented, compose
from clicktimer.reporting.document.evidence import gather_evidence
from clicktimer.reporting.document.model import Document
from clicktimer.reporting.document.remeasure import Asked, measure_asked
from clicktimer.reporting.pdf import render_pages, render_pdf
from clicktimer.simulator.demo import demo_recording

SYSTEM = {"tank": ("20 gal",), "pump_rate": "8 gpm", "switch": "40/60"}
HOUSE = {"yield": "3 gpm", "bore": "6 in", "pump-depth": "200 ft", "static-level": "40 ft", "people": 4}
ASKED = Asked(
    taps="shut", given=SYSTEM, origins=dict.fromkeys(SYSTEM, "site file"), site="house.toml", house=HOUSE, prove=True
)
PRESENTED = Presented(
    who="A. Inspector",
    client="the owner of the cottage",
    where="the cottage by the mill (invented)",
    date="2031-05-04",
    date_style="us",
    notes="The sound is synthetic.",
)


def sample() -> Document:
    """Return the document of the demo's recording."""
    with tempfile.TemporaryDirectory() as folder:
        path, _ = demo_recording(Path(folder) / "clicktimer-demo.wav", DEMO_SEED)
        result = measure_asked(ASKED, [str(path)])
        return compose(result, ASKED, PRESENTED, gather_evidence([str(path)], result.measured), program=__version__)


def made() -> dict[str, bytes]:
    document = sample()
    return {
        "docs/report-sample.pdf": render_pdf(document).data,
        "docs/report-page-one.png": render_pages(document, dots_per_inch=78.0)[0],
    }
