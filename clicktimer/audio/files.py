"""Stage 1: a recording (any file a phone or laptop makes) in, blocks of mono sound out, and what was odd about it.

The chain inside: packets -> frames -> windows of all channels, placed in time (placing) -> mono (mixing) ->
looked at (quality) -> blocks of the length asked for. Nothing is resampled, nothing is held for longer than
some seconds, so a day costs the memory of a minute.
"""

from __future__ import annotations

import itertools
import os
import weakref
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import av
import numpy as np

from clicktimer.audio import containers
from clicktimer.audio.frames import Shape
from clicktimer.audio.mixing import Mixer
from clicktimer.audio.placing import Placer
from clicktimer.audio.quality import Watch
from clicktimer.errors import InputError
from clicktimer.records import Block, Notice, Reason, SourceInfo

RATE_MIN_HZ, RATE_MAX_HZ = 8_000, 192_000

SHORT_BY_S = 0.5
"""A recording that ends so much before its own header says was cut; less is how codecs round."""

_ANY_TEXT: dict[str, Any] = {"metadata_errors": "replace"} if int(av.__version__.split(".")[0]) < 19 else {}
"""A title in an old alphabet must not make a recording unreadable. From 19 on the library sees to that itself."""

DEMUXERS = "wav,w64,aiff,caf,flac,mp3,aac,ogg,matroska,webm,mov,mp4,m4a,3gp,amr,amrnb,amrwb,avi,mpegts,au"
"""Containers that are opened. Never a list of other files (a playlist, a concatenation): only sound is sound."""

OPENING_MAX_S = 20.0
"""A file that says nothing of itself after so long, in seconds, is given up."""

READ_ERRORS_MAX = 20
"""After so many failures to read on, without a packet between, the rest is given up."""


@dataclass(frozen=True, slots=True)
class RecordingInfo:
    """What is known before the sound is read. duration_hint_s is for a progress bar only; None when not known."""

    name: str
    rate_hz: int
    channels: int
    container: str
    codec: str
    started_at: str | None
    duration_hint_s: float | None


def open_recording(path: str | os.PathLike[str], *, started: str | None = None, chunk_s: float = 10.0) -> Recording:
    """Open a recording and decode its first frame, so that whatever is wrong with the file is said here.

    path: wav, flac, mp3, m4a/aac, ogg/opus, webm, aiff, caf, 3gp/amr, or the sound track of mp4/mov/mkv; 8 to 192 kHz,
    any number of channels. started: when the recording began, "YYYY-MM-DD HH:MM". chunk_s: length of the blocks, s.

    Raises InputError (missing, empty, no sound in it, not closed, rate out of range) and SettingsError (``started``).
    """
    return Recording(Path(path), started=started, chunk_s=chunk_s)


class Recording:
    """One open recording: read ``info``, go through ``blocks()`` once, then call ``finish()`` and read ``notices``."""

    def __init__(self, path: Path, *, started: str | None = None, chunk_s: float = 10.0) -> None:
        if not chunk_s > 0.0:
            raise ValueError(f"chunk_s is {chunk_s}; it must be more than 0 s")
        self.path = path
        self._chunk_s = chunk_s
        self._notices: list[Notice] = []
        self._started = containers.started(started, {})
        self._file = containers.open_regular(path)
        opened = os.fstat(self._file.fileno())
        self._as_opened = (opened.st_size, opened.st_mtime_ns)
        weakref.finalize(self, self._file.close)  # a recording that nobody finishes leaves no file open
        self._promise = containers.promise(self._file)
        self._open()
        try:
            if started is None:
                self._started = containers.started(None, {**self._stream.metadata, **self._container.metadata})
            self._packet_bytes = 0
            frames = self._decoded()
            first = self._first(frames)
            codec = self._stream.codec_context.name
            self._frames = itertools.chain([first], frames)
            self._placer = Placer(first, self._container.format.name, codec, self._checked)
        except BaseException:
            self._container.close()
            raise
        self._watch = Watch()
        self._read = self._whole = self._closed = False
        self._sha256: str | None = None
        self.info = RecordingInfo(
            name=path.name,
            rate_hz=first.sample_rate,
            channels=first.layout.nb_channels,
            container=self._container.format.name.split(",")[0],
            codec=codec,
            started_at=self._started[0],
            duration_hint_s=self._duration_hint_s(),
        )
        self._only_stream = len(self._container.streams) == 1

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What was odd, as far as known by now; complete after ``finish()``."""
        return tuple(self._notices)

    @property
    def now_s(self) -> float:
        """How far the reading has come, in seconds of the recording."""
        return self._placer.timeline.now_s

    def blocks(self) -> Iterator[Block]:
        """Mono blocks of ``chunk_s`` (shorter before a gap and at the end), at the file's own rate; once only."""
        if self._read:
            raise RuntimeError("the blocks of a recording can be read once; open it again")
        self._read = True
        return _cut(self._watched(), self._chunk_s)

    def finish(self) -> SourceInfo:
        """Close the file and sum up.

        duration_s is the time at which what was read ends: counted samples plus the gaps of known length.
        """
        if not self._closed:
            self._notices += self._placer.notices() + self._watch.notices()
            if self._whole:
                self._notices += self._cut_short()
            self._sha256 = self._checksum()
            self.close()
        return SourceInfo(
            name=self.path.name,
            duration_s=self.now_s,
            sample_rate_hz=self.info.rate_hz,
            channels=self.info.channels,
            sha256=self._sha256,
            started_at=self._started[0],
            started_how=self._started[1],
        )

    def _checksum(self) -> str | None:
        now = os.fstat(self._file.fileno())
        if (now.st_size, now.st_mtime_ns) != self._as_opened:
            self._notices.append(Notice("changed", Reason("notice.changed-while-read")))
            return None
        return containers.sha256_of(self._file)

    @property
    def file(self) -> BinaryIO:
        """The open file that is read; closed by ``finish()``."""
        return self._file

    def close(self) -> None:
        """Let go of the file without reading on."""
        self._closed = True
        self._container.close()
        self._file.close()

    def _open(self) -> None:
        av.logging.set_level(av.logging.PANIC)
        # The library reads the one file that is open here and may open no other, whatever stands in it.
        options = {"format_whitelist": DEMUXERS, "protocol_whitelist": "none"}
        if self._promise.beyond:
            options["ignore_length"] = "1"
            self._notices.append(Notice("wrong-length", Reason("notice.wrong-length")))
        try:
            self._container = av.open(self._file, options=options, timeout=(OPENING_MAX_S, None), **_ANY_TEXT)
        except (av.FFmpegError, OSError, ValueError) as error:
            raise containers.not_sound(self.path, error) from None
        tracks = [stream for stream in self._container.streams.audio if stream.codec_context is not None]
        if not tracks:
            pictures = bool(self._container.streams.video)
            self._container.close()
            raise containers.no_track(self.path, pictures)
        best = self._container.streams.best("audio")
        self._stream = next((track for track in tracks if best is not None and track.index == best.index), tracks[0])
        if len(tracks) > 1:
            reason = Reason("notice.several-tracks", count=len(tracks), used=tracks.index(self._stream) + 1)
            self._notices.append(Notice("several-tracks", reason))
        if self._stream.codec_context.name == "flac":
            # Without this a frame whose checksum is wrong is decoded all the same, as a burst of noise. Costs nothing.
            self._stream.codec_context.options = {"err_detect": "crccheck+explode"}

    def _duration_hint_s(self) -> float | None:
        if self._stream.duration and self._stream.time_base:
            return float(self._stream.duration * self._stream.time_base)
        return self._container.duration / av.time_base if self._container.duration else None

    def _decoded(self) -> Iterator[av.AudioFrame | None]:
        """Frames as they come; None where something could not be read or decoded."""
        packets, failures = self._container.demux(self._stream), 0
        while failures < READ_ERRORS_MAX:
            try:
                packet = next(packets)
            except StopIteration:
                return
            except (av.FFmpegError, OSError, IndexError):  # IndexError: a stream that was not there at the opening
                failures += 1
                packets = self._container.demux(self._stream)
                yield None
                continue
            failures = 0
            self._packet_bytes += packet.size
            try:
                frames = packet.decode()
            except av.EOFError:
                continue
            except (av.FFmpegError, ValueError):  # ValueError: a codec that this build of the library lacks
                yield None
                continue
            yield from frames

    def _first(self, frames: Iterator[av.AudioFrame | None]) -> av.AudioFrame:
        damaged = False
        for frame in frames:
            if frame is not None and frame.samples:
                if damaged:
                    self._notices.append(Notice("damaged", Reason("notice.damaged-beginning"), 0.0))
                return frame
            damaged = True
        raise InputError(f"{self.path}: no sound could be decoded from it; copy it again or save it as wav or flac")

    def _checked(self, shape: Shape) -> Shape:
        if not RATE_MIN_HZ <= shape.rate_hz <= RATE_MAX_HZ:
            allowed = f"{RATE_MIN_HZ} to {RATE_MAX_HZ} Hz are read; set the recorder to 44100 or 48000"
            raise InputError(f"{self.path}: sampled at {shape.rate_hz} Hz; {allowed}")
        return shape

    def _watched(self) -> Iterator[Block]:
        mixer, rate_hz, channels = Mixer(), self.info.rate_hz, self.info.channels
        try:
            for window in self._placer.windows(self._frames):
                if (window.rate_hz, len(window.samples)) != (rate_hz, channels):
                    for block in mixer.flush():
                        yield from self._watch.feed(block)
                    self._notices += mixer.notices
                    mixer, rate_hz, channels = Mixer(), window.rate_hz, len(window.samples)
                for block in mixer.feed(window):
                    yield from self._watch.feed(block)
            for block in mixer.flush():
                yield from self._watch.feed(block)
            self._whole = True
        finally:
            self._notices += mixer.notices

    def _cut_short(self) -> list[Notice]:
        """What tells that the file once was longer, or that pieces of it were passed over."""
        size, end = os.fstat(self._file.fileno()).st_size, self._promise.end
        told = any(notice.code == "truncated" for notice in self._notices)
        if end is not None and not self._promise.beyond and size < end - 1024:
            reason = Reason("notice.cut-bytes", there=size, of=end)
            return [] if told else [Notice("truncated", reason, self.now_s)]
        if self.info.container == "aac":
            missing = size - self._packet_bytes
            if missing > max(4096, size // 200) or (missing > 128 and not self._placer.damages and not told):
                return [Notice("damaged", Reason("notice.damaged-bytes", count=missing))]
            return []
        exact = self.info.container in ("mov", "flac", "aiff", "caf", "w64") or (
            self.info.container == "matroska" and self._only_stream
        )
        hint_s = self.info.duration_hint_s
        if not exact or hint_s is None or told or self._placer.length_unknown:
            return []
        if self.now_s < hint_s - max(SHORT_BY_S, 0.002 * hint_s):
            return [Notice("truncated", Reason("notice.cut-short", there_s=self.now_s, of_s=hint_s), self.now_s)]
        return []


def _cut(blocks: Iterator[Block], chunk_s: float) -> Iterator[Block]:
    """Lay blocks end to end and cut them to length, never across a gap or a change of rate."""
    held: list[Block] = []
    count = 0
    for block in blocks:
        if held and (block.gap_before is not None or block.rate_hz != held[0].rate_hz):
            yield _joined(held)
            held, count = [], 0
        held.append(block)
        count += len(block.samples)
        length = max(1, round(chunk_s * block.rate_hz))
        if count < length:
            continue
        whole = _joined(held)
        at = 0
        while count - at >= length:
            yield _part(whole, at, at + length)
            at += length
        held, count = ([_part(whole, at, count)], count - at) if at < count else ([], 0)
    if held:
        yield _joined(held)


def _joined(blocks: list[Block]) -> Block:
    first = blocks[0]
    if len(blocks) == 1:
        return first
    samples = np.concatenate([block.samples for block in blocks])
    return Block(samples, first.rate_hz, first.start_s, first.gap_before)


def _part(block: Block, start: int, stop: int) -> Block:
    if start == 0 and stop == len(block.samples):
        return block
    gap = block.gap_before if start == 0 else None
    return Block(block.samples[start:stop], block.rate_hz, block.start_s + start / block.rate_hz, gap)
