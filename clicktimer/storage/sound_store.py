"""The listening folder's sound: one second around a click, or everything in parts, as flac; never more than was said.

The samples are the 16-bit ones that were heard, so what is kept is exactly what was measured.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from clicktimer.audio.wav_writer import write_sound
from clicktimer.records import Block

BEFORE_S: Final = 0.3
AFTER_S: Final = 0.7
RING_S: Final = 45.0
"""So much sound is remembered (in memory only), for clicks that are recognised late."""
DOUBTFUL_PER_HOUR: Final = 20
PART_S: Final = 600.0
RESERVE_BYTES: Final = 200_000_000
"""With less room than this on the disk no more sound is kept; the timing needs the rest."""

Kept = tuple[float, float, str, str]
"""What was written: from_s, length_s, why, the file's name in the folder."""

Int16 = npt.NDArray[np.int16]


class Ring:
    """The last sound, in memory."""

    def __init__(self) -> None:
        self._blocks: list[tuple[float, int, Int16]] = []

    def add(self, block: Block) -> None:
        """Take a block."""
        self._blocks.append((block.start_s, block.rate_hz, to_int16(block.samples)))
        newest_s = block.start_s
        while self._blocks and self._blocks[0][0] < newest_s - RING_S:
            self._blocks.pop(0)

    def cut(self, from_s: float, to_s: float) -> tuple[float, int, Int16] | None:
        """The sound between two times as far as it is remembered without a gap: its start, rate and samples."""
        inside = [b for b in self._blocks if b[0] + len(b[2]) / b[1] > from_s and b[0] < to_s]
        if not inside:
            return None
        start_s, rate_hz, _ = inside[0]
        samples = np.concatenate([b[2] for b in inside])
        if abs(inside[-1][0] - start_s - sum(len(b[2]) for b in inside[:-1]) / rate_hz) > 0.5 / rate_hz:
            return None  # a gap inside
        first = max(round((from_s - start_s) * rate_hz), 0)
        last = round((to_s - start_s) * rate_hz)
        return start_s + first / rate_hz, rate_hz, samples[first:last]


class ClickSounds:
    """Keeps one second around accepted clicks and around a few doubtful ones."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder / "clicks"
        self._ring = Ring()
        self._wanted: list[tuple[float, str]] = []
        self._doubtful: list[float] = []
        self._kept: list[float] = []

    def add(self, block: Block) -> None:
        """Take a block."""
        self._ring.add(block)

    def want(self, time_s: float, why: str) -> None:
        """Keep the second around this moment once it is whole. why: "click" or "doubtful" (20 an hour at most)."""
        if any(abs(t - time_s) < 0.05 for t in self._kept):
            return
        if why == "doubtful":
            self._doubtful = [t for t in self._doubtful if t > time_s - 3600.0]
            if len(self._doubtful) >= DOUBTFUL_PER_HOUR:
                return
            self._doubtful.append(time_s)
        self._kept = [*self._kept[-500:], time_s]
        self._wanted.append((time_s, why))

    def write(self, end_s: float, *, all_now: bool = False) -> list[Kept]:
        """Write what is whole: (from_s, length_s, why, file) of each. Raises OSError where it cannot be written."""
        ready = [w for w in self._wanted if all_now or w[0] + AFTER_S <= end_s]
        self._wanted = [w for w in self._wanted if w not in ready]
        written = []
        for time_s, why in ready:
            got = self._ring.cut(time_s - BEFORE_S, time_s + AFTER_S)
            if got is None or not len(got[2]):
                continue
            from_s, rate_hz, samples = got
            self._folder.mkdir(exist_ok=True)
            name = f"{time_s:011.3f}s {why}.flac"
            if (self._folder / name).exists():
                continue
            write_sound(self._folder / name, samples / np.float32(32768.0), rate_hz)
            written.append((from_s, len(samples) / rate_hz, why, f"clicks/{name}"))
        return written


class WholeSound:
    """Keeps everything, in flac parts of ten minutes; a part that was cut off can be read up to its last frames."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder / "sound"
        self._container: Any = None
        self._muxer: Any = None
        self._stream: Any = None
        self._rate_hz = 0
        self._from_s = self._next_s = 0.0
        self._count = 0
        self._name = ""
        self._held: list[Int16] = []

    def add(self, block: Block) -> list[Kept]:
        """Take a block; return the parts that are finished by it. Raises OSError where it cannot be written."""
        import av

        done = []
        apart = block.gap_before is not None or abs(block.start_s - self._next_s) > 0.5 / block.rate_hz
        if self._container is not None and (apart or self._next_s - self._from_s >= PART_S):
            done = self.close()
        try:
            if self._container is None:
                self._open(block)
            self._held.append(to_int16(block.samples))
            if sum(map(len, self._held)) >= block.rate_hz // 4:
                self._encode()
        except av.FFmpegError as error:
            raise OSError(str(error)) from None
        self._next_s = block.start_s + len(block.samples) / block.rate_hz
        return done

    def close(self) -> list[Kept]:
        """Finish the part: (from_s, length_s, why, file)."""
        if self._container is None:
            return []
        import av

        container, self._container = self._container, None
        try:
            self._encode()
            container.mux(self._stream.encode(None))
            container.close()
        except (av.FFmpegError, OSError) as error:
            raise OSError(str(error)) from None
        return [(self._from_s, self._next_s - self._from_s, "all", f"sound/{self._name}")]

    def _open(self, block: Block) -> None:
        import av

        self._folder.mkdir(exist_ok=True)
        self._from_s, self._count, self._held, self._rate_hz = block.start_s, 0, [], block.rate_hz
        self._name = f"from {block.start_s:010.3f}s.flac"
        # Every frame is handed to the system at once: a kill then costs no more than the frame being made.
        self._container = av.open(str(self._folder / self._name), "w", format="flac", options={"flush_packets": "1"})
        self._muxer = self._container
        self._stream = self._container.add_stream("flac", rate=block.rate_hz, layout="mono")
        self._stream.codec_context.format = "s16"

    def _encode(self) -> None:
        import av

        if not self._held:
            return
        samples = np.concatenate(self._held)
        self._held = []
        frame = av.AudioFrame.from_ndarray(samples.reshape(1, -1), format="s16", layout="mono")
        frame.sample_rate, frame.pts = self._rate_hz, self._count
        self._count += len(samples)
        self._muxer.mux(self._stream.encode(frame))


def to_int16(samples: npt.NDArray[np.float32]) -> Int16:
    """Full scale 1 to 16 bit."""
    whole: Int16 = np.clip(np.rint(samples * np.float32(32768.0)), -32768, 32767).astype(np.int16)
    return whole


def free_bytes(folder: Path) -> int:
    """Room on the disk that holds the folder."""
    return shutil.disk_usage(folder).free


def needed_bytes(seconds: float, keep: str, rate_hz: int = 48_000) -> int:
    """What a listening of this length needs at the most (docs/listening.md: measured), in bytes."""
    events = 1_200.0  # levels, prints of six candidates a second, and SQLite's own
    # Kept by default: 55 kB for each second around a click; 50 clicks and 20 doubtful sounds an hour are a lot.
    sound = {"all": 1.4 * rate_hz, "default": 1_100.0, "none": 0.0}[keep]
    return int(seconds * (events + sound))
