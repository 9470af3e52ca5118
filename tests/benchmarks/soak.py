"""A long listening at an accelerated pace: memory, disk and processor. ``python -m tests.benchmarks.soak --hours 24``.

The sound: a room's noise at 48 kHz, a sudden sound every ten seconds or so, and a pump cycle with its two clicks every
three minutes (the shortest fixture's own switch and pump, again and again).
"""

from __future__ import annotations

import argparse
import resource
import shutil
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio import open_recording
from clicktimer.records import Block
from clicktimer.storage.sound_store import needed_bytes
from clicktimer.storage.writer import Folder, Keep
from clicktimer.streaming.session import RecordingSource, Session

ROOT = Path(__file__).parents[2]
RATE = 48_000
EVERY_S = 180


def household(hours: float, seed: int = 1) -> Iterator[Block]:
    """Blocks of five seconds; the cycle takes the first 55 s of every three minutes."""
    pump = np.concatenate([b.samples for b in open_recording(ROOT / "fixtures_audio/very-short-3s.flac").blocks()])
    rng = np.random.default_rng(seed)
    level = float(np.std(pump[: RATE // 2]))
    for number in range(int(hours * 720)):
        second = number * 5 % EVERY_S
        sound = rng.normal(0.0, level, 5 * RATE).astype(np.float32)
        piece = pump[second * RATE : (second + 5) * RATE]
        sound[: len(piece)] = piece
        if second >= 60 and rng.random() < 0.5:
            at = int(rng.integers(0, 4 * RATE))
            n = RATE // 20
            bang = rng.normal(0.0, 0.1, n) * np.exp(-np.arange(n) / rng.uniform(100.0, 1500.0))
            sound[at : at + n] += bang.astype(np.float32)
        yield Block(sound, RATE, number * 5.0)


def memory_mb() -> float:
    """What this process holds now, or has held at most where the system does not tell."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
        return pages * resource.getpagesize() / 1e6
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--keep", choices=["default", "all", "none"], default="default")
    given = parser.parse_args()
    keep: Keep = given.keep
    folder = Path(tempfile.mkdtemp()) / "soak"
    source = RecordingSource(household(given.hours), RATE, "soak", piece_s=0.04)
    session = Session(source, Folder.create(folder, {}), MeasureOptions(), program="soak", keep=keep)
    began, cpu = time.monotonic(), time.process_time()
    told = 0
    first_mb = hour_mb = 0.0
    while not source.ended:
        session.step()
        if session.engine.end_s >= told * 900.0:
            if told == 1:
                first_mb = memory_mb()  # by then everything is loaded and the memory of sounds is full
            if told == 4:
                hour_mb = memory_mb()
            size = sum(p.stat().st_size for p in folder.rglob("*") if p.is_file()) / 1e6
            share = 100 * (time.process_time() - cpu) / max(session.engine.end_s, 1.0)
            print(
                f"{session.engine.end_s / 3600:6.2f} h  memory {memory_mb():6.1f} MB  disk {size:7.2f} MB  "
                f"processor {share:5.2f} % of a core (making the sound included)",
                flush=True,
            )
            told += 1
    listened = time.process_time() - cpu
    making = -time.process_time()
    for _ in household(min(given.hours, 0.25)):
        pass
    making = (making + time.process_time()) * given.hours / min(given.hours, 0.25)
    hours_s = given.hours * 3600.0
    print(f"listening: {100 * (listened - making) / hours_s:.2f} % of a core; wall {time.monotonic() - began:.0f} s")
    size = sum(p.stat().st_size for p in folder.rglob("*") if p.is_file()) / 1e6
    print(
        f"disk {size:.1f} MB, {size / given.hours:.2f} MB an hour; said beforehand: at the most "
        f"{needed_bytes(hours_s, keep, RATE) / 1e6:.0f} MB"
    )
    runs, grown, since_mb = session.state().runs, memory_mb() - first_mb, memory_mb() - hour_mb
    measured = session.finish("end of the recording")
    whole = [c for c in measured.cycles if c.complete]
    print(
        f"runs told live {runs}, by the whole {len(whole)}; memory since the first quarter of an hour "
        f"{grown:+.1f} MB, "
        f"since the first hour {since_mb:+.1f} MB"
    )
    shutil.rmtree(folder.parent)


if __name__ == "__main__":
    main()
