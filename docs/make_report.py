"""Writes the sample of docs/report.md and the README's picture of its first page: ``python docs/make_report.py``.

The recording is that of ``clicktimer demo``, of an invented household. A test holds the sample against the program.
"""

from __future__ import annotations

import sys
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

HERE = Path(__file__).parent
SAMPLE, PICTURE = HERE / "report-sample.pdf", HERE / "report-page-one.png"
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


if __name__ == "__main__":
    document = sample()
    SAMPLE.write_bytes(render_pdf(document).data)
    PICTURE.write_bytes(render_pages(document, dots_per_inch=78.0)[0])
    sys.stdout.write(f"{SAMPLE.name}, {PICTURE.name}\n")
