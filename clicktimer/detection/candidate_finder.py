"""Stage 2: blocks of sound -> candidates (anything that could be a click) and the level track (for the pump).

``OnsetFinder.feed(block)`` takes sound in pieces of any size, ``flush()`` the rest; the result does not depend on
the cutting. It looks back only: a rise is measured against a running estimate of the room, never against the whole
file, so that one bang cannot hide a click ten seconds away. What is kept is small and of fixed size for each
candidate.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from clicktimer.detection import onset_strength, onset_time, waveforms
from clicktimer.detection.candidates import (
    N_BANDS,
    N_LEVELS,
    N_SLICES,
    N_WAVE,
    U8,
    Candidates,
    LevelSegment,
    to_codes,
)
from clicktimer.detection.params import DetectionParams, default_params
from clicktimer.detection.switch_score import LOWEST, snap_score
from clicktimer.records import Block, Samples
from clicktimer.settings import BAND_EDGES_HZ, CONTEXT_S, LOW_EDGES_HZ, SLICE_EDGES_S

_LONGEST_FEED_S = 10.0
_LOW_HZ = 8000.0
"""About the rate at which a motor's hum is looked at: what lies above it folds down with 17 dB less."""
_RAW_TAIL_S = 0.25
_SNAP_RISE, _SNAP_FALL_PER_S = 0.02, 0.02
"""How fast what is asked of a candidate's snap score, for its wave to be kept, follows what there is."""


class OnsetFinder:
    """Candidates and levels from a stream of blocks. Memory does not grow but by what it returns."""

    def __init__(self, params: DetectionParams | None = None) -> None:
        """params: those of params.toml if None."""
        self.params = params or default_params()
        self._stretch: Stretch | None = None
        self._done_segments: list[LevelSegment] = []

    def feed(self, block: Block) -> Candidates:
        """Take the next block; return the candidates that are now settled (about 0.1 s behind the sound)."""
        found: list[Candidates] = []
        stretch = self._stretch
        if stretch is None or block.gap_before is not None or stretch.rate_hz != block.rate_hz:
            if stretch is not None:
                found.append(self.flush())
            stretch = self._stretch = Stretch(self.params, block.rate_hz, block.start_s)
        step = int(_LONGEST_FEED_S * block.rate_hz)
        for first in range(0, len(block.samples), step):
            found.append(stretch.feed(block.samples[first : first + step]))
        return Candidates.join([f for f in found if len(f)])

    def flush(self) -> Candidates:
        """No more sound (or a gap): the rest of the candidates. What comes next starts afresh."""
        if self._stretch is None:
            return Candidates.none()
        rest = self._stretch.flush()
        self._done_segments.append(self._stretch.levels())
        self._stretch = None
        return rest

    @property
    def stretch(self) -> Stretch | None:
        """The memory of the present stretch of sound; None between stretches."""
        return self._stretch

    def levels(self) -> list[LevelSegment]:
        """The level track so far, one segment for each stretch of sound without a gap."""
        return [*self._done_segments, *([self._stretch.levels()] if self._stretch is not None else [])]


class Stretch:
    """The memory for one stretch of sound without a gap."""

    def __init__(self, params: DetectionParams, rate_hz: int, start_s: float, *, keep_rises: bool = False) -> None:
        """keep_rises: forget none of them, for whoever draws them."""
        self._keep_rises = keep_rises
        self.rate_hz = rate_hz
        self.start_s = start_s
        self.params = params
        self.settings = settings = params.candidate_finder
        self.frame_len = max(round(settings.frame_s * rate_hz), 1)
        self.used = sum(1 for low in BAND_EDGES_HZ[:-1] if low < 0.4 * rate_hz)

        def frames(seconds: float) -> int:
            return max(round(seconds * rate_hz / self.frame_len), 1)

        lengths = (settings.before_s, settings.guard_s, settings.after_s)
        self._before, self._guard, self._after = (frames(s) for s in lengths)
        self.apart = frames(settings.apart_s)  # in frames
        self._slices = [0, *(frames(edge) for edge in SLICE_EDGES_S[1:])]
        self._context = [
            (-frames(-CONTEXT_S[0][0]), -frames(-CONTEXT_S[0][1])),
            (frames(CONTEXT_S[1][0]), frames(CONTEXT_S[1][1])),
        ]
        self._back = self._before + self._guard
        self._behind = max(self._back, -self._context[0][0])
        self._ahead = max(self._context[1][1], self._after, self.apart) + 1  # far more than an onset's window needs
        self._floor_step = 10.0 ** (settings.floor_db_per_s / 10.0 * self.frame_len / rate_hz) - 1.0
        self._level_frames = frames(settings.level_s)
        self._design()

        self._state = np.zeros((6, N_BANDS), np.float32)
        self._rest = np.zeros(0, np.float32)  # samples that are not a whole frame yet
        self._floor = np.zeros(N_BANDS)
        self._seen = np.zeros(1, np.int64)
        # Frames not yet done with, preceded by enough history; a stretch begins as if the room had been there before.
        self._level = np.zeros((0, N_BANDS), np.float32)
        self._rise = np.zeros(0, np.float32)
        self._floors = np.zeros((0, N_BANDS), np.float32)
        self._first_frame = 0
        self._risen = 0  # frames (absolute) whose rise is known
        self._picked = 0  # frames (absolute) in which peaks were looked for
        self._raw = np.zeros(0, np.float32)
        self._raw_first = 0
        self._total = 0
        self._low = np.zeros(0, np.float32)
        self._low_first = 0
        self._levels_done = 0
        self._level_codes: list[U8] = []
        self._waiting: list[Candidates] = []
        self._least_snap, self._last_s = LOWEST, start_s

    def _design(self) -> None:
        rate = self.rate_hz
        coef = np.zeros((6, N_BANDS), np.float32)
        for b in range(self.used):
            coef[:, b] = onset_strength.band_pass(BAND_EDGES_HZ[b], min(BAND_EDGES_HZ[b + 1], 0.47 * rate), rate)
        self._coef = coef
        divisors = [d for d in range(1, self.frame_len + 1) if self.frame_len % d == 0]
        self._every = min(divisors, key=lambda d: abs(d - rate / _LOW_HZ))
        from scipy.fft import rfft  # several pieces at once, where numpy takes one after the other

        self._rfft = rfft
        low_rate = rate / self._every
        self._low_len = self._level_frames * self.frame_len // self._every
        bins = np.fft.rfftfreq(self._low_len, 1.0 / low_rate)
        self._low_bins = np.searchsorted(bins, LOW_EDGES_HZ)
        self._low_window = np.hanning(self._low_len).astype(np.float32)

    # -- sound in --------------------------------------------------------------------------------------------------

    def feed(self, samples: Samples) -> Candidates:
        """Take further samples; return the candidates that are done with."""
        x = np.ascontiguousarray(samples, dtype=np.float32)
        if not x.size:
            return Candidates.none()
        whole = np.concatenate([self._rest, x]) if self._rest.size else x
        count = whole.size // self.frame_len
        self._rest = whole[count * self.frame_len :].copy()
        frames = np.empty((count, N_BANDS), np.float32)
        low = np.empty(count * self.frame_len // self._every, np.float32)
        onset_strength.filter_frames(whole, self._coef, self._state, self.frame_len, self._every, frames, low)
        self._total += x.size
        self._raw = np.concatenate([self._raw, x])
        self._level = np.concatenate([self._level, frames])
        self._low = np.concatenate([self._low, low])
        self._note_levels()
        return self._advance(last=False)

    def flush(self) -> Candidates:
        """No more samples will come: return the rest."""
        # The last candidates' prints reach past the end: the room goes on, as far as a print is concerned.
        pad = self._ahead + self._after
        if self._level.shape[0] == 0:
            return Candidates.none()
        room = np.maximum(np.median(self._level[-100:], axis=0), 0.0).astype(np.float32)
        self._level = np.concatenate([self._level, np.repeat(room[None, :], pad, axis=0)])
        return self._advance(last=True)

    def levels(self) -> LevelSegment:
        """Return the level track so far."""
        codes = np.concatenate(self._level_codes) if self._level_codes else np.zeros((0, N_LEVELS), np.uint8)
        self._level_codes = [codes]  # instead of its pieces: a day of them is no less
        return LevelSegment(self.start_s, self._level_frames * self.frame_len / self.rate_hz, codes, self.used)

    def forget_levels(self) -> None:
        """Let go of the level track so far: ``levels`` gives only what comes after it."""
        self._level_codes.clear()

    # -- what may be looked at before it is handed out ---------------------------------------------------------------

    def rises(self) -> tuple[int, npt.NDArray[np.float32]]:
        """The mean rise over the room of the frames at hand, dB, (n,), and the number of the first of them."""
        return self._first_frame, self._rise[: max(self._risen - self._first_frame, 0)]

    def waiting(self) -> Candidates:
        """Candidates that are described but not handed out yet: of each whole second only the strongest few will be."""
        return Candidates.join(self._waiting)

    def newer_levels(self, skip: int) -> LevelSegment | None:
        """The level track after its first ``skip`` steps; None where there is no more of it."""
        parts: list[npt.NDArray[np.uint8]] = []
        left, at = self._levels_done - skip, len(self._level_codes)
        while left > 0:
            at -= 1
            parts.append(self._level_codes[at][-left:])
            left -= len(parts[-1])
        if not parts:
            return None
        step_s = self._level_frames * self.frame_len / self.rate_hz
        return LevelSegment(self.start_s + skip * step_s, step_s, np.concatenate(parts[::-1]), self.used)

    def level_db(self, seconds: float) -> float | None:
        """The room's level in the click's bands over the last ``seconds``, dB of full scale; None without any sound."""
        if not len(self._level):
            return None
        frames = max(round(seconds * self.rate_hz / self.frame_len), 1)
        energy = self._level[-frames:, : self.used].mean(axis=0).sum()
        return float(10.0 * np.log10(max(float(energy), 1e-13)))

    # -- frames to candidates --------------------------------------------------------------------------------------

    def _advance(self, *, last: bool) -> Candidates:
        s = self.settings
        have = self._first_frame + self._level.shape[0]
        grow = self._level.shape[0] - self._rise.size
        self._rise = np.concatenate([self._rise, np.zeros(grow, np.float32)])
        self._floors = np.concatenate([self._floors, np.zeros((grow, N_BANDS), np.float32)])
        first = max(self._risen, self._back) - self._first_frame
        until = have - self._after - self._first_frame
        if until > first:
            up = onset_strength.moving_sum(self._level[first : until + self._after - 1], self._after)
            back = onset_strength.moving_sum(self._level[first - self._back : until - self._guard - 1], self._before)
            onset_strength.rise_of_frames(
                self._level[first:until],
                up,
                back,
                self._floor,
                self._seen,
                self.used,
                self._before,
                self._after,
                s.floor_quantile,
                self._floor_step,
                10.0 ** (s.rise_cap_db / 10.0),
                2.5,
                self._rise[first:until],
                self._floors[first:until],
            )
            self._risen = self._first_frame + until
        judged = have - self._ahead - self._after
        found = Candidates.none()
        if judged > self._picked:
            out = np.zeros(judged - self._picked, np.int64)
            span = (self._picked - self._first_frame, judged - self._first_frame)
            n = onset_strength.pick_peaks(self._rise, *span, self.apart, s.least_rise_db, out)
            self._picked = judged
            if n:
                self._waiting.append(self._describe(out[:n]))
            found = self._release(last)
            self._forget()
        elif last:
            found = self._release(last)
        return found

    def _release(self, last: bool) -> Candidates:
        """Of the candidates of each whole second, the strongest few."""
        waiting = Candidates.join(self._waiting)
        settled_s = self.start_s + self._picked * self.frame_len / self.rate_hz - 0.05
        slot = np.floor(waiting.time_s - self.start_s)
        done = np.ones(len(waiting), bool) if last else slot < np.floor(settled_s - self.start_s)
        self._waiting = [waiting.take(~done)]
        ready = waiting.take(done)
        if not len(ready):
            return ready
        slot = slot[done]
        order = np.lexsort((ready.time_s, -ready.rise_db, slot))
        rank = np.arange(len(order)) - np.searchsorted(slot[order], slot[order], side="left")
        keep = np.sort(order[rank < self.settings.most_per_s])
        return ready.take(keep)

    def _describe(self, at: npt.NDArray[np.int64]) -> Candidates:
        n = at.size
        spans = [*pairwise(self._slices), *self._context, (-self._back, -self._guard)]
        energy = np.empty((n, len(spans), N_BANDS), np.float32)
        onset_strength.mean_levels(self._level, at, np.array(spans, np.int64), energy)
        energy[:, -1] = np.maximum(energy[:, -1], self._floors[at])
        codes = to_codes(energy)
        codes[:, :, self.used :] = 0
        near = (at + self._first_frame) * self.frame_len - self._raw_first
        reach = self._stands_for(at) * self.frame_len
        found = onset_time.shapes(self._raw, near, self.rate_hz, self.settings.apart_s, reach)
        time_s = self.start_s + (found.onset + self._raw_first) / self.rate_hz
        sd_s = 0.0002 + 0.004 / np.sqrt(np.clip(found.over_noise, 1.0, 1e4)) + 0.5 * found.approach_s
        peak_db = 20.0 * np.log10(np.maximum(found.peak, 1e-7))
        return self._with_waves(
            Candidates(
                time_s,
                self._rise[at].copy(),
                sd_s.astype(np.float32),
                found.attack_s,
                found.decay_s,
                peak_db.astype(np.float32),
                codes[:, :N_SLICES],
                codes[:, N_SLICES:-1],
                codes[:, -1],
                np.full(n, self.used, np.uint8),
                found.approach_s,
                np.zeros(n, np.float32),
                np.zeros((0, N_WAVE), np.int8),
            )
        )

    def _stands_for(self, at: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
        """Frames from each candidate in which its loudest point may lie.

        No other candidate lies within ``apart``. What rises just before that is loudest a little later, which counts
        as long as nothing rises more in between: that might be a candidate of its own.
        """
        about = self._rise[at[:, None] + np.arange(self.apart - self._after, self.apart + self._after + 1)]
        ended = about[:, self._after + 1 :].max(axis=1) <= about[:, : self._after + 1].max(axis=1)
        return self.apart + np.where(ended, self._after, 0)

    def _with_waves(self, found: Candidates) -> Candidates:
        """The same with the waves of those that stand out as snaps: over a long time about one in a second."""
        wave_hz = np.zeros(len(found), np.float32)
        for i, score in enumerate(snap_score(found).tolist()):
            time_s = float(found.time_s[i])
            self._least_snap = max(self._least_snap - _SNAP_FALL_PER_S * (time_s - self._last_s), LOWEST)
            self._last_s = time_s
            if score >= self._least_snap:
                self._least_snap += _SNAP_RISE
                wave_hz[i] = waveforms.rate_of(self.rate_hz)[1]
        at = np.rint((found.time_s[wave_hz > 0.0] - self.start_s) * self.rate_hz).astype(np.int64) - self._raw_first
        return replace(found, wave_hz=wave_hz, waves=waveforms.cut(self._raw, at, self.rate_hz))

    # -- the level track -------------------------------------------------------------------------------------------

    def _note_levels(self) -> None:
        """Level by band of each whole step: the motor's low bands by FFT, the click's bands by their mean in dB.

        A mean of decibels, not of energies: a click or a cough inside the step then hardly moves it.
        """
        count = self._level_frames
        done = self._levels_done
        frame = done * count - self._first_frame
        steps = (self._level.shape[0] - frame) // count
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
            onset_strength.geometric_means(self._level[frame : frame + steps * count], count, high)
            high[:, self.used :] = 0.0
            self._level_codes.append(to_codes(np.concatenate([sums, high], axis=1)))
            self._levels_done += steps
        if len(self._level_codes) > 4096:
            self._level_codes = [np.concatenate(self._level_codes)]
        keep = self._low_start(self._levels_done)
        if keep > 0:
            self._low = self._low[keep:]
            self._low_first += keep

    def _low_start(self, step: int) -> int:
        """Where a level step begins in the low-rate samples at hand."""
        return (step * self._level_frames * self.frame_len) // self._every - self._low_first

    def _forget(self) -> None:
        """Drop frames and samples that nothing will ask for again."""
        if self._keep_rises:
            return
        need = min(self._picked - self._behind - self.apart, self._levels_done * self._level_frames) - self._first_frame
        if need > 0:
            self._level, self._rise, self._floors = self._level[need:], self._rise[need:], self._floors[need:]
            self._first_frame += need
        raw = self._total - self._raw_first - int(_RAW_TAIL_S * self.rate_hz) - self._ahead * self.frame_len
        if raw > 0:
            self._raw = self._raw[raw:].copy()
            self._raw_first += raw
