"""How long the report of a whole day's recording takes: ``python -m tests.benchmarks.report_day [--hours 24]``.

The day is that of the simulator: an ordinary household, its switch and pump, steps and doors, written as
16-bit flac. Each stage of the report is timed by itself; the machine's load is told, since wall time hangs on it.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import av
import numpy as np

from clicktimer.pipeline import measure_all, measure_samples
from clicktimer.reporting.document.compose import Presented, compose
from clicktimer.reporting.document.evidence import gather_evidence
from clicktimer.reporting.document.remeasure import Asked, conclude_asked, request_of
from clicktimer.reporting.html import render_html
from clicktimer.reporting.pdf import render_pdf
from clicktimer.simulator.household import simulate, us_system
from clicktimer.simulator.noises import Noise
from clicktimer.simulator.sounds import SoundSettings, render
from clicktimer.simulator.system import Timeline
from clicktimer.simulator.uses import household_uses

Made = TypeVar("Made")


def write_day(path: Path, *, hours: float, rate_hz: int, seed: int) -> Timeline:
    """Write the day as flac, block by block, and tell when its switch operated."""
    house = us_system(20.0, pump_gpm=8.0)
    duration_s = 3600.0 * hours
    line = simulate(house, household_uses("ordinary", duration_s, seed), duration_s=duration_s, seed=seed)
    noises = (Noise("footsteps", per_min=0.1), Noise("doors", per_min=0.05))
    sound = SoundSettings(noises=noises)
    with av.open(str(path), "w", format="flac") as container:
        stream = container.add_stream("flac", rate=rate_hz, layout="mono")
        at = 0
        for block in render(line, sound, rate_hz=rate_hz, seed=seed):
            whole = np.clip(np.rint(block * 2.0**15), -(2.0**15), 2.0**15 - 1).astype(np.int16)
            for start in range(0, len(whole), 4096):
                piece = np.ascontiguousarray(whole[start : start + 4096].reshape(1, -1))
                frame = av.AudioFrame.from_ndarray(piece, format="s16", layout="mono")
                frame.sample_rate, frame.pts = rate_hz, at
                at += piece.shape[1]
                container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return line


def timed(what: str, do: Callable[[], Made]) -> Made:
    """Do it and tell how long that took: wall and processor."""
    wall, cpu = time.monotonic(), time.process_time()
    made = do()
    print(f"{what:32} {time.monotonic() - wall:7.1f} s wall  {time.process_time() - cpu:7.1f} s processor", flush=True)
    return made


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--rate", type=int, default=16_000)
    parser.add_argument("--seed", type=int, default=4)
    parser.add_argument("--recording", type=Path, required=True, help="where it lies, or is to be written (.flac)")
    parser.add_argument("--no-prove", action="store_true")
    given = parser.parse_args()
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    if not given.recording.exists():
        line = timed(
            "making the recording",
            lambda: write_day(given.recording, hours=given.hours, rate_hz=given.rate, seed=given.seed),
        )
        print(
            f"true: {len(line.cut_ins_s)} starts, {len(line.cut_outs_s)} stops, run with no water in use "
            f"{line.no_use_run_s:.1f} s"
        )
    rng = np.random.default_rng(0)
    measure_samples((0.001 * rng.standard_normal(160_000)).astype(np.float32), 16_000)  # compiled before it is timed
    paths = [str(given.recording)]
    plain: dict[str, str | tuple[str, ...]] = {"tank": ("20 gal",), "pump_rate": "8 gpm"}
    asked = Asked(kind="day", given=plain, started="2031-05-04 00:00", prove=not given.no_prove)
    outcome = timed("measuring and proof", lambda: measure_all(request_of(asked, paths)))
    m = outcome.measured
    print(
        f"told: {len(m.clicks)} clicks, {sum(c.complete for c in m.cycles)} whole runs in "
        f"{m.source.duration_s / 3600:.2f} h"
    )
    result = timed("day", lambda: conclude_asked(asked, outcome, paths))
    if result.measured.proof is not None:
        p = result.measured.proof
        print(
            f"proof: {p.usual.caught} of {p.usual.put}, fainter {p.fainter.caught} of {p.fainter.put}, "
            f"{p.passes} hearings, {p.hours:.1f} h heard; {p.why}"
        )
    evidence = timed("sound of the shown clicks", lambda: gather_evidence(paths, result.measured))
    document = timed("composing", lambda: compose(result, asked, Presented(), evidence, program="benchmark"))
    page = timed("HTML", lambda: render_html(document))
    pdf = timed("PDF", lambda: render_pdf(document).data)
    print(f"HTML {len(page) / 1e6:.2f} MB, PDF {len(pdf) / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
