"""Frames -> the level track: the sound level by band at a coarse step, by which the pump is followed."""

from __future__ import annotations

import numpy as np

from clicktimer.detection import onset_strength
from clicktimer.detection.candidates import N_BANDS, N_LEVELS, U8, LevelSegment, to_codes
from clicktimer.detection.onset_strength import F32
from clicktimer.detection.signal_params import Bands


class LevelTrack:
    """The level track of one stretch of sound without a gap.

    Parameters
    ----------
    bands
        Edges of the bands.
    rate_hz
        Sample rate, Hz.
    start_s
        Start of the stretch, s.
    frame_len
        Samples in a frame.
    frames_per_step
        Frames in a step of the track.
    """

    def __init__(self, bands: Bands, rate_hz: int, start_s: float, frame_len: int, frames_per_step: int) -> None:
        self.start_s, self.step_s = start_s, frames_per_step * frame_len / rate_hz
        self._frames, self._frame_len = frames_per_step, frame_len
        self._used = bands.count_at(rate_hz)
        divisors = [d for d in range(1, frame_len + 1) if frame_len % d == 0]
        self.every = min(divisors, key=lambda d: abs(d - rate_hz / bands.hum_rate_hz))
        """Samples that are averaged into one sample of the sound at a low rate."""
        from scipy.fft import rfft  # several pieces at once, where numpy takes one after the other

        self._rfft = rfft
        self._low_len = frames_per_step * frame_len // self.every
        bins = np.fft.rfftfreq(self._low_len, 1.0 / (rate_hz / self.every))
        self._low_bins = np.searchsorted(bins, bands.hum_edges_hz)
        self._low_window = np.hanning(self._low_len).astype(np.float32)
        self._low = np.zeros(0, np.float32)
        self._low_first = 0
        self._done = 0
        self._codes: list[U8] = []

    @property
    def frames_done(self) -> int:
        """Number of frames whose level is noted."""
        return self._done * self._frames

    def feed(self, low: F32, level: F32, first_frame: int) -> None:
        """Note the level by band of each whole step: hum bands by FFT, click bands by the mean of decibels.

        A mean of decibels, not of energies: a click or a cough inside the step then hardly moves it.

        Parameters
        ----------
        low
            Further samples at the low rate, see ``every``.
        level
            Mean square of the frames at hand, shape (n, bands).
        first_frame
            Number of the first of them.
        """
        self._low = np.concatenate([self._low, low])
        count = self._frames
        done = self._done
        frame = done * count - first_frame
        steps = (level.shape[0] - frame) // count
        while steps > 0 and self._low_start(done + steps - 1) + self._low_len > self._low.size:
            steps -= 1
        if steps > 0:
            starts = np.array([self._low_start(done + k) for k in range(steps)])
            pieces = self._low[starts[:, None] + np.arange(self._low_len)[None, :]] * self._low_window
            spectrum = self._rfft(pieces)
            power = spectrum.real**2 + spectrum.imag**2
            scale = self._low_len * float((self._low_window**2).sum()) / 2.0
            sums = np.add.reduceat(power, self._low_bins, axis=1)[:, :-1] / scale
            high = np.empty((steps, N_BANDS), np.float32)
            onset_strength.geometric_means(level[frame : frame + steps * count], count, high)
            high[:, self._used :] = 0.0
            self._codes.append(to_codes(np.concatenate([sums, high], axis=1)))
            self._done += steps
        if len(self._codes) > 4096:
            self._codes = [np.concatenate(self._codes)]
        keep = self._low_start(self._done)
        if keep > 0:
            self._low = self._low[keep:]
            self._low_first += keep

    def _low_start(self, step: int) -> int:
        """Return where a step begins in the low-rate samples at hand."""
        return (step * self._frames * self._frame_len) // self.every - self._low_first

    def segment(self) -> LevelSegment:
        """Return the level track so far."""
        codes = np.concatenate(self._codes) if self._codes else np.zeros((0, N_LEVELS), np.uint8)
        self._codes = [codes]  # instead of its pieces: a day of them is no less
        return LevelSegment(self.start_s, self.step_s, codes, self._used)

    def newer(self, skip: int) -> LevelSegment | None:
        """Return the level track after its first ``skip`` steps, or None if there is no more of it."""
        parts: list[U8] = []
        left, at = self._done - skip, len(self._codes)
        while left > 0:
            at -= 1
            parts.append(self._codes[at][-left:])
            left -= len(parts[-1])
        if not parts:
            return None
        return LevelSegment(self.start_s + skip * self.step_s, self.step_s, np.concatenate(parts[::-1]), self._used)

    def forget(self) -> None:
        """Drop the level track so far: ``segment`` gives only what comes after it."""
        self._codes.clear()
