"""Sound without a gap -> candidates: the memory behind ``OnsetFinder``, which starts a new one after each gap.

Samples become energies of frames (onset_strength.py), frames become rises, peaks of the rise become candidates with
onset (onset_time.py), spectrum and, for the best, waveform (waveforms.py). The level track is level_track.py.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from clicktimer.detection import onset_strength, onset_time, waveforms
from clicktimer.detection.candidates import N_BANDS, N_SLICES, N_WAVE, Candidates, to_codes
from clicktimer.detection.level_track import LevelTrack
from clicktimer.detection.params import DetectionParams
from clicktimer.detection.switch_score import switch_scores
from clicktimer.records import Samples

_RAW_TAIL_S = 0.25
"""Samples that are kept for the onsets and waveforms of candidates that are not settled yet."""


class Stretch:
    """The memory for one stretch of sound without a gap."""

    def __init__(self, params: DetectionParams, rate_hz: int, start_s: float, *, keep_rises: bool = False) -> None:
        """Begin a stretch at ``start_s``, s. keep_rises: forget none of the rises, so that they can be drawn."""
        self._keep_rises = keep_rises
        self.rate_hz = rate_hz
        self.start_s = start_s
        self.params = params
        self.settings = settings = params.candidate_finder
        self.frame_len = max(round(settings.frame_s * rate_hz), 1)
        bands = params.bands
        self.used = bands.count_at(rate_hz)

        def frames(seconds: float) -> int:
            return max(round(seconds * rate_hz / self.frame_len), 1)

        lengths = (settings.before_s, settings.guard_s, settings.after_s)
        self._before, self._guard, self._after = (frames(s) for s in lengths)
        self.apart = frames(settings.apart_s)  # in frames
        self._slices = [0, *(frames(edge) for edge in bands.slice_edges_s[1:])]
        far_s, near_s = bands.context_before_s
        begin_s, end_s = bands.context_after_s
        self._context = [(-frames(far_s), -frames(near_s)), (frames(begin_s), frames(end_s))]
        self._back = self._before + self._guard
        self._behind = max(self._back, -self._context[0][0])
        self._ahead = max(self._context[1][1], self._after, self.apart) + 1  # far more than an onset's window needs
        self._floor_step = 10.0 ** (settings.floor_db_per_s / 10.0 * self.frame_len / rate_hz) - 1.0
        self.level_track = LevelTrack(bands, rate_hz, start_s, self.frame_len, frames(settings.level_s))
        self._coef = np.zeros((6, N_BANDS), np.float32)
        for b, (low_hz, high_hz) in enumerate(pairwise(bands.edges_hz[: self.used + 1])):
            highest_hz = min(high_hz, bands.highest_rate_share * rate_hz)
            self._coef[:, b] = onset_strength.band_pass(low_hz, highest_hz, rate_hz)

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
        self._waiting: list[Candidates] = []
        self._least_score, self._last_s = params.switch_score.lowest, start_s

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
        every = self.level_track.every
        low = np.empty(count * self.frame_len // every, np.float32)
        onset_strength.filter_frames(whole, self._coef, self._state, self.frame_len, every, frames, low)
        self._total += x.size
        self._raw = np.concatenate([self._raw, x])
        self._level = np.concatenate([self._level, frames])
        self.level_track.feed(low, self._level, self._first_frame)
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

    # -- what may be looked at before it is handed out ---------------------------------------------------------------

    def rises(self) -> tuple[int, npt.NDArray[np.float32]]:
        """The mean rise over the room of the frames at hand, dB, (n,), and the number of the first of them."""
        return self._first_frame, self._rise[: max(self._risen - self._first_frame, 0)]

    def waiting(self) -> Candidates:
        """Candidates that are described but not handed out yet: of each whole second only the strongest few will be."""
        return Candidates.join(self._waiting)

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
                s.first_frames,
                s.first_speed,
                10.0 ** (s.rise_cap_db / 10.0),
                s.better_half_discount_db,
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
        n, s = at.size, self.settings
        spans = [*pairwise(self._slices), *self._context, (-self._back, -self._guard)]
        energy = np.empty((n, len(spans), N_BANDS), np.float32)
        onset_strength.mean_levels(self._level, at, np.array(spans, np.int64), energy)
        energy[:, -1] = np.maximum(energy[:, -1], self._floors[at])
        codes = to_codes(energy)
        codes[:, :, self.used :] = 0
        near = (at + self._first_frame) * self.frame_len - self._raw_first
        reach = self._stands_for(at) * self.frame_len
        found = onset_time.shapes(self._raw, near, self.rate_hz, s.apart_s, reach, self.params.onset_time)
        time_s = self.start_s + (found.onset + self._raw_first) / self.rate_hz
        noise_s = s.timing_sd_noise_s / np.sqrt(np.clip(found.over_noise, 1.0, 1e4))
        sd_s = s.timing_sd_least_s + noise_s + s.timing_sd_approach_share * found.approach_s
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
        rise, fall_per_s = self.settings.waveform_rise, self.settings.waveform_fall_per_s
        params, score_range = self.params.waveform, self.params.switch_score
        wave_hz = np.zeros(len(found), np.float32)
        for i, score in enumerate(switch_scores(found, score_range).tolist()):
            time_s = float(found.time_s[i])
            self._least_score = max(self._least_score - fall_per_s * (time_s - self._last_s), score_range.lowest)
            self._last_s = time_s
            if score >= self._least_score:
                self._least_score += rise
                wave_hz[i] = waveforms.rate_of(self.rate_hz, params)[1]
        at = np.rint((found.time_s[wave_hz > 0.0] - self.start_s) * self.rate_hz).astype(np.int64) - self._raw_first
        return replace(found, wave_hz=wave_hz, waves=waveforms.cut(self._raw, at, self.rate_hz, params))

    def _forget(self) -> None:
        """Drop frames and samples that nothing will ask for again."""
        if self._keep_rises:
            return
        need = min(self._picked - self._behind - self.apart, self.level_track.frames_done) - self._first_frame
        if need > 0:
            self._level, self._rise, self._floors = self._level[need:], self._rise[need:], self._floors[need:]
            self._first_frame += need
        raw = self._total - self._raw_first - int(_RAW_TAIL_S * self.rate_hz) - self._ahead * self.frame_len
        if raw > 0:
            self._raw = self._raw[raw:].copy()
            self._raw_first += raw
