"""A listening as a child process, to be killed: ``python -m tests.support.live_child RECORDING FOLDER PIECE_S [PACE]``.

It prints "ready", then for each step what was said, one JSON line each, after it is on disk. PACE: times real time.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio import open_recording
from clicktimer.records import Block, Gap
from clicktimer.storage.batch import Event
from clicktimer.storage.writer import Folder, is_listening
from clicktimer.streaming.session import RecordingSource, Session


def tell(what: object) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def main(recording: str, folder: str, piece_s: str, pace: str = "0") -> None:
    path = Path(folder)
    opened = open_recording(recording, chunk_s=5.0)
    place = Folder.resume(path) if is_listening(path) else Folder.create(path, {"keep": "default"})
    start_s = 0.0
    blocks = opened.blocks()
    if place.resumed is not None:
        start_s = place.resumed.end_s + 1.0
        gap = Gap(place.resumed.end_s, start_s, "nobody listened")
        blocks = (
            Block(b.samples, b.rate_hz, b.start_s + start_s, gap if i == 0 else b.gap_before)
            for i, b in enumerate(blocks)
        )
    source = RecordingSource(blocks, opened.info.rate_hz, "child", piece_s=float(piece_s))
    session = Session(source, place, MeasureOptions(taps="shut"), program="test", start_s=start_s)
    tell({"ready": True})
    began = time.monotonic()
    while not source.ended:
        for one in session.step():
            if isinstance(one, Event):
                tell([one.what, one.time_s, one.kind])
        if session.engine.end_s - session._committed_s < 1e-9:
            tell({"end_s": session.engine.end_s})
        if float(pace):
            time.sleep(max((session.engine.end_s - start_s) / float(pace) - (time.monotonic() - began), 0.0))
    session.finish("end of the recording")
    tell({"finished": True})


if __name__ == "__main__":
    main(*sys.argv[1:])
