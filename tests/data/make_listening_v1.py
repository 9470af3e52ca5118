"""Made tests/data/listening-v1 once, with the first released format of the listening folder. Not to be run again."""

from __future__ import annotations

import shutil
from pathlib import Path

from clicktimer.assessment.options import MeasureOptions
from clicktimer.streaming.import_recording import measure_into

HERE = Path(__file__).parent

if __name__ == "__main__":
    target = HERE / "listening-v1"
    measure_into(
        HERE.parents[1] / "fixtures_audio/short-cycling-12s.flac",
        target,
        MeasureOptions(taps="shut"),
        program="0.1.0",
        keep="none",
    )
    (target / "in-use.sqlite").unlink()
    shutil.rmtree(target / "clicks", ignore_errors=True)
