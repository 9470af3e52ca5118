"""Speed and memory: against real time, against bare decoding, against librosa. Each figure from a child process.

    python -m tests.benchmarks.speed [--minutes 60] [--day] [--sounds DIR] [--keep FOLDER]

The hour is composed in one piece; the day is that hour 24 times, each begun at another place.
CPU seconds are the process's own and its threads'. Peak memory is the largest resident set of the whole child.
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.compose import compose
from tests.benchmarks.phone import encoded
from tests.benchmarks.run import commit
from tests.benchmarks.sounds import Array
from tests.benchmarks.tables import grid

RATE_HZ = 48000

CHILD = """
import json, resource, sys, time
job, path = sys.argv[1], sys.argv[2]
import numpy as np

def spent():
    return time.process_time()

def decode():
    import av
    total, quietest = 0, 0.0
    with av.open(path) as container:
        stream = container.streams.audio[0]
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=stream.rate)
        began = spent()
        for frame in container.decode(stream):
            for f in resampler.resample(frame):
                block = f.to_ndarray()[0]
                total += len(block)
                quietest = min(quietest, float(block[0]))
    return total, spent() - began

def samples():
    return np.load(path, mmap_mode="r")

def warm(rate=48000):
    from clicktimer.pipeline import measure_samples
    rng = np.random.default_rng(0)
    measure_samples((0.001 * rng.standard_normal(10 * rate)).astype(np.float32), rate)

out = {}
if job == "decode":
    out["count"], out["cpu_s"] = decode()
elif job == "whole":
    import clicktimer
    if "--warm" in sys.argv:
        warm()
    began, wall = spent(), time.perf_counter()
    m = clicktimer.measure(path)
    out["cpu_s"], out["wall_s"] = spent() - began, time.perf_counter() - wall
    out["clicks"] = len(m.clicks)
elif job == "samples":
    from clicktimer.pipeline import measure_samples
    warm()
    x = np.ascontiguousarray(samples())
    began, wall = spent(), time.perf_counter()
    m = measure_samples(x, 48000)
    out["cpu_s"], out["wall_s"] = spent() - began, time.perf_counter() - wall
    out["clicks"] = len(m.clicks)
elif job == "librosa":
    import librosa
    x = np.ascontiguousarray(samples())
    librosa.onset.onset_detect(y=x[:480000], sr=48000)
    began, wall = spent(), time.perf_counter()
    out["clicks"] = len(librosa.onset.onset_detect(y=x, sr=48000))
    out["cpu_s"], out["wall_s"] = spent() - began, time.perf_counter() - wall
try:  # the kernel's ru_maxrss still counts the parent's memory from before the child was started
    with open("/proc/self/status") as status:
        out["peak_mb"] = next(int(row.split()[1]) for row in status if row.startswith("VmHWM")) / 1024
except OSError:
    out["peak_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(json.dumps(out))
"""


def child(job: str, path: Path, *more: str) -> dict[str, Any]:
    """What a fresh process measured."""
    done = subprocess.run(
        [sys.executable, "-c", CHILD, job, str(path), *more], capture_output=True, text=True, check=False
    )
    if done.returncode:
        return {"error": (done.stderr.strip().splitlines() or ["no output"])[-1]}
    found: dict[str, Any] = json.loads(done.stdout.strip().splitlines()[-1])
    return found


def long_sound(minutes: float, sounds: str | None) -> Array:
    """So many minutes at 48 kHz of a loud house, composed in one piece: nothing in it repeats."""
    made = compose("hard", "develop", 0, sounds, condition="steps", duration_s=minutes * 60, rate_hz=RATE_HZ)
    return made.samples


def day_file(path: Path, hours: int, sounds: str | None) -> None:
    """A flac of a day, joined from hours without holding it all."""
    import av

    hour = (np.clip(long_sound(60, sounds), -1, 1) * 32767).astype(np.int16)
    with av.open(str(path), "w") as container:
        stream: Any = container.add_stream("flac", rate=RATE_HZ)
        stream.layout, stream.format = "mono", "s16"
        for k in range(hours):
            turned = np.roll(hour, len(hour) // 24 * k)
            for first in range(0, len(turned), 1 << 18):
                frame = av.AudioFrame.from_ndarray(turned[None, first : first + (1 << 18)], format="s16", layout="mono")
                frame.sample_rate, frame.pts = RATE_HZ, None
                container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def measure_all(folder: Path, minutes: float, day: bool, sounds: str | None) -> str:
    """Make the files, run every job, and put the figures in tables."""
    span_s = minutes * 60
    sound = long_sound(minutes, sounds)
    array = folder / "hour.npy"
    np.save(array, sound)
    files = {"flac": folder / "hour.flac", "m4a": folder / "hour.m4a"}
    files["flac"].write_bytes(encoded(sound, RATE_HZ, "flac", None))
    files["m4a"].write_bytes(encoded(sound, RATE_HZ, "aac", 96000))
    short = {m: folder / f"{m}min.flac" for m in (1, 5)}
    for m, path in short.items():
        path.write_bytes(encoded(sound[: m * 60 * RATE_HZ], RATE_HZ, "flac", None))
    del sound
    child("whole", short[1])  # fills the cache of compiled code, as a second run by a user would find it
    lines: list[list[str]] = [["what", "CPU s", "x real time", "compared", "peak MB", "clicks"]]

    def line(name: str, got: dict[str, Any], compared: Callable[[float], str] = lambda cpu_s: "") -> None:
        if "error" in got:
            lines.append([name, got["error"][:60], "", "", "", ""])
            return
        cpu_s = got["cpu_s"]
        cells = [f"{cpu_s:.2f}", f"{span_s / cpu_s:.0f}", compared(cpu_s), f"{got['peak_mb']:.0f}"]
        lines.append([name, *cells, str(got.get("clicks", ""))])

    lib, ours = child("librosa", array), child("samples", array)
    line("librosa.onset.onset_detect, from samples", lib)
    line("detection from samples", ours, lambda s: f"{lib.get('cpu_s', 0) / s:.1f} times as fast as librosa")
    for form, path in files.items():
        bare = min((child("decode", path) for _ in range(2)), key=lambda got: got.get("cpu_s", 1e9))
        base = float(bare.get("cpu_s", float("nan")))
        line(f"decoding alone, {form}", bare)
        whole = min((child("whole", path, "--warm") for _ in range(2)), key=lambda got: got.get("cpu_s", 1e9))
        line(f"whole measure, {form}", whole, lambda s, base=base: f"{s / base:.2f} of decoding alone")  # type: ignore[misc]
    memory: list[list[str]] = [["recording (flac)", "peak MB of the process"]]
    for m, path in short.items():
        memory.append([f"{m} min", f"{child('whole', path).get('peak_mb', float('nan')):.0f}"])
    memory.append([f"{minutes:g} min", f"{child('whole', files['flac']).get('peak_mb', float('nan')):.0f}"])
    if day:
        path = folder / "day.flac"
        day_file(path, 24, sounds)
        got = child("whole", path)
        memory.append(["24 h", f"{got['peak_mb']:.0f} ({got['cpu_s']:.0f} s of CPU)" if "cpu_s" in got else str(got)])
    return grid(lines) + "\n\n" + grid(memory)


def main() -> None:
    """Read the options, measure, print."""
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("--minutes", type=float, default=60)
    p.add_argument("--day", action="store_true", help="also 24 h (some GB of disk, several minutes)")
    p.add_argument("--sounds")
    p.add_argument("--keep", help="folder for the files made (else a temporary one)")
    args = p.parse_args()
    print(
        f"{datetime.date.today()}, commit {commit()}, {args.minutes:g} min at 48 kHz, {os.cpu_count()} cores, "
        f"load {os.getloadavg()[0]:.1f}, Python {platform.python_version()}"
    )
    with tempfile.TemporaryDirectory() as made:
        folder = Path(args.keep or made)
        folder.mkdir(parents=True, exist_ok=True)
        print(measure_all(folder, args.minutes, args.day, args.sounds))


if __name__ == "__main__":
    main()
