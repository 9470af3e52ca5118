"""Stage 1, live: a microphone in, blocks of mono sound with times and gaps out, and what befell the device.

The callback only copies and queues. PortAudio raises nothing when a device goes, so its end is found by the stream's
own end and by the time since the last block; after that it is opened again and again until it is back. The count of
samples is the clock; the computer's clock (one that goes on while the machine sleeps) only measures what is missing.
"""

from __future__ import annotations

import queue
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final, Literal, Protocol

import numpy as np
import numpy.typing as npt

from clicktimer.audio.clock import Clock
from clicktimer.audio.timeline import merged
from clicktimer.records import Block, Gap

QUEUE_S: Final = 120.0
"""Sound that may wait for us (11.5 MB at 48 kHz); beyond it sound is dropped, counted and told as a gap."""

FIRST_S: Final = 6.0
"""The first sound may take so long: some sound servers deliver in pieces of two seconds."""

QUIET_S: Final = 3.0
"""No block for so long: the driver is hung or the device is gone, and that is said."""

HUNG_S: Final = 12.0
"""No block for so long although the stream says that it runs: it is closed and opened anew."""

BACK_OFF_S: Final = (0.5, 1.0, 2.0, 4.0, 8.0, 15.0)
"""Waits between attempts to open it again; the last is repeated."""

STALL_S: Final = 0.8
"""A pause between blocks after which it is looked at whether sound was lost, or came late in one burst."""

CATCH_UP_S: Final = 1.0
"""A burst brings what came late within this time; what has not come by then is lost."""

LOST_S: Final = 0.25
"""Least loss that can be told from the jitter of delivery."""

NoteCode = Literal["opened", "silent", "gone", "back", "again", "overflow", "dropped", "slept"]


@dataclass(frozen=True, slots=True)
class DeviceNote:
    """Something that befell the device: a code, and one sentence for the user. at_s: time of the sound so far."""

    code: NoteCode
    text: str
    at_s: float


@dataclass(frozen=True, slots=True)
class Delivered:
    """What a callback hands over: samples (n,) int16, the clock's time of its arrival, whether sound was discarded.

    lost: samples just before these that we had no room for.
    """

    samples: npt.NDArray[np.int16]
    at_s: float
    overflow: bool = False
    lost: int = 0


class Stream(Protocol):
    """An open stream."""

    rate_hz: int
    name: str

    def close(self) -> None:
        """Stop it; must never raise."""


class Backend(Protocol):
    """What opens streams: sounddevice, or a fake in tests. ``open`` raises DeviceError."""

    def open(
        self,
        device: str | None,
        rate_hz: int | None,
        deliver: Callable[[npt.NDArray[np.int16], bool], None],
        ended: Callable[[], None],
    ) -> Stream:
        """Open an input and let it call ``deliver(samples, overflow)``, and ``ended()`` when it ends by itself."""


class Microphone:
    """A microphone that is opened again when it goes. ``read`` is its whole use; ``close`` ends it.

    device: name, part of it, or number; None: the system's default. Raises DeviceError where it cannot be opened now.
    start_s: time of the first sample (more than 0 where a listening is resumed).
    """

    ended = False
    """A microphone has no end of its own: it is waited for."""

    def __init__(
        self,
        device: str | None = None,
        *,
        rate_hz: int | None = None,
        start_s: float = 0.0,
        gap_before: Gap | None = None,
        backend: Backend | None = None,
        clock: Clock | None = None,
    ) -> None:
        if backend is None:
            from clicktimer.audio.inputs import PortAudio

            backend = PortAudio()
        self._backend, self._device, self._clock = backend, device, clock or Clock()
        self._notes: list[DeviceNote] = []
        self._stream: Stream | None = None
        self._gap = gap_before
        self._start_s, self._count = start_s, 0
        self._last_at_s: float | None = None
        self._held: list[Delivered] = []
        self._stall_lag_s = 0.0
        self._lag_s: float | None = None
        self._attempt, self._try_at_s = 0, 0.0
        self._said_silent = False
        self._was_gone_at_s: float | None = None
        self._open(rate_hz)
        assert self._stream is not None
        self.rate_hz: int = self._stream.rate_hz
        self.name: str = self._stream.name

    @property
    def now_s(self) -> float:
        """The time of the next sample."""
        return self._start_s + self._count / self.rate_hz

    def close(self) -> None:
        """Stop listening."""
        if self._stream is not None:
            self._stream.close()
            self._stream = None

    def read(self, timeout_s: float = 0.1) -> Block | DeviceNote | None:
        """Return the next block, or what befell the device, or None when neither came within ``timeout_s``."""
        if self._notes:
            return self._notes.pop(0)
        if self._stream is None:
            self._reopen(timeout_s)
            return self._notes.pop(0) if self._notes else None
        if self._held and self._settled():
            return self._release()
        try:
            got = self._queue.get(timeout=timeout_s)
        except queue.Empty:
            return self._watch()
        return self._take(got)

    # -- opening ---------------------------------------------------------------------------------------------------

    def _open(self, rate_hz: int | None) -> None:
        # Each stream has a queue of its own, so that nothing of an old one is taken for the new one's.
        inbox: queue.Queue[Delivered | None] = queue.Queue()
        self._queue = inbox
        dropped = [0]
        self._alive = alive = [self._clock.boot_s()]
        # Each of these two is written by one thread only: their difference is what waits.
        put = [0]
        self._taken = taken = [0]
        limit: list[int] = [int(QUEUE_S * 48_000)]

        def deliver(samples: npt.NDArray[np.int16], overflow: bool) -> None:
            alive[0] = self._clock.boot_s()
            if put[0] - taken[0] > limit[0]:
                dropped[0] += len(samples)
                return
            put[0] += len(samples)
            lost, dropped[0] = dropped[0], 0
            inbox.put(Delivered(samples, alive[0], overflow, lost))

        self._opened_at_s = self._clock.boot_s()
        self._stream = self._backend.open(self._device, rate_hz, deliver, lambda: inbox.put(None))
        limit[0] = int(QUEUE_S * self._stream.rate_hz)
        self._last_at_s, self._lag_s, self._said_silent = None, None, False

    def _reopen(self, timeout_s: float) -> None:
        from clicktimer.errors import DeviceError

        now_s = self._clock.boot_s()
        if now_s < self._try_at_s:
            self._clock.sleep(min(timeout_s, self._try_at_s - now_s))
            return
        try:
            self._open(self.rate_hz)
        except DeviceError:
            wait_s = BACK_OFF_S[min(self._attempt, len(BACK_OFF_S) - 1)]
            self._attempt += 1
            self._try_at_s = self._clock.boot_s() + wait_s

    def _lose(self, code: NoteCode, text: str) -> None:
        """The device is gone: keep what there is, remember since when."""
        if self._was_gone_at_s is None:
            last_s = self._last_at_s if self._last_at_s is not None else self._opened_at_s
            self._was_gone_at_s = last_s
        self.close()
        self._attempt, self._try_at_s = 0, self._clock.boot_s() + BACK_OFF_S[0]
        self._notes.append(DeviceNote(code, text, self.now_s))

    # -- watching --------------------------------------------------------------------------------------------------

    def _watch(self) -> Block | DeviceNote | None:
        """Nothing came: how long has that been so?"""
        if self._held and self._settled():
            return self._release()
        since_s = self._clock.boot_s() - self._alive[0]
        patience_s = QUIET_S if self._last_at_s is not None else FIRST_S
        if since_s >= max(HUNG_S, patience_s):
            self._flush_held()
            self._lose("again", "the device says that it runs but sends no sound: it is opened anew")
        elif since_s >= patience_s and not self._said_silent:
            self._said_silent = True
            self._notes.append(
                DeviceNote("silent", "no sound has come from the device; still waiting for it", self.now_s)
            )
        return self._notes.pop(0) if self._notes else None

    # -- taking ----------------------------------------------------------------------------------------------------

    def _take(self, got: Delivered | None) -> Block | DeviceNote | None:
        if got is None:
            block = self._flush_held()
            self._lose(
                "gone",
                "the microphone is gone (unplugged, or the sound server stopped); it is opened again once it is back",
            )
            return block or self._notes.pop(0)
        self._taken[0] += len(got.samples)
        began_s = got.at_s - len(got.samples) / self.rate_hz
        if self._was_gone_at_s is not None:
            length_s = max(began_s - self._was_gone_at_s, 0.0)
            self._was_gone_at_s = None
            self._add_gap(length_s, "the microphone was gone")
            self._notes.append(
                DeviceNote("back", f"the microphone is back; {length_s:.1f} s of sound are missing", self.now_s)
            )
        if got.lost:
            self._add_gap(got.lost / self.rate_hz, "the computer was too busy to take the sound")
            self._notes.append(
                DeviceNote(
                    "dropped",
                    f"{got.lost / self.rate_hz:.1f} s of sound were lost: the computer was too busy",
                    self.now_s,
                )
            )
        if got.overflow:
            self._add_gap(None, "the sound driver threw sound away")
            self._notes.append(
                DeviceNote("overflow", "the sound driver threw sound away; how much is not known", self.now_s)
            )
        first = self._last_at_s is None
        stalled = not first and began_s - (self._last_at_s or 0.0) >= STALL_S
        self._last_at_s, self._said_silent = got.at_s, False
        if self._held or (stalled and self._lag_s is not None):
            if not self._held:
                self._stall_lag_s = self._lag_s or 0.0
                self._held_since_s = got.at_s
            self._held.append(got)
            return self._release() if self._settled() else (self._notes.pop(0) if self._notes else None)
        return self._block(got)

    def _lag(self, got: Delivered, samples_before: int) -> float:
        """By how much the samples are behind the clock, since this stream began; only its changes mean anything."""
        return (
            got.at_s
            - self._opened_at_s
            - (self._count + samples_before + len(got.samples)) / self.rate_hz
            - self._start_s
        )

    def _settled(self) -> bool:
        """After a stall: have the samples caught up, or will they not any more?"""
        return (
            self._late_s() < LOST_S or max(self._clock.boot_s(), self._held[-1].at_s) - self._held_since_s >= CATCH_UP_S
        )

    def _late_s(self) -> float:
        before = sum(len(h.samples) for h in self._held[:-1])
        return self._lag(self._held[-1], before) - self._stall_lag_s

    def _release(self) -> Block:
        """The blocks that were held back after a stall, with the gap before them if sound was lost."""
        late_s = self._late_s()
        if late_s >= LOST_S:
            self._add_gap(late_s, "sound was lost while the computer slept or the driver hung")
            self._notes.append(
                DeviceNote("slept", f"{late_s:.1f} s of sound were lost (sleep, or the driver hung)", self.now_s)
            )
        held, self._held = self._held, []
        whole = replace(held[-1], samples=np.concatenate([h.samples for h in held]))
        return self._block(whole)

    def _flush_held(self) -> Block | None:
        return self._release() if self._held else None

    def _add_gap(self, length_s: float | None, why: str) -> None:
        """Sound is missing here; what follows moves by a whole number of samples."""
        from_s = self.now_s
        if length_s is None:
            gap = Gap(from_s, None, why)
        else:
            lost = round(length_s * self.rate_hz)
            self._count += lost
            gap = Gap(from_s, self.now_s, why)
        self._gap = merged(self._gap, gap)

    def _block(self, got: Delivered) -> Block:
        samples = got.samples.astype(np.float32) * np.float32(1.0 / 32768.0)
        block = Block(samples, self.rate_hz, self.now_s, self._gap)
        self._gap = None
        self._count += len(samples)
        self._lag_s = self._lag(replace(got, samples=got.samples[:0]), 0)
        return block
