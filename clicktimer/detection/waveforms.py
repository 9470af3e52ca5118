"""The wave of a candidate: 16 ms of its sound, and how alike two such waves are.

Two operations of one switch ring in the same body: their waves agree as no two different sounds do, far better than
their levels by band (likeness.py) can tell. But each operation is a little faster or duller than the last and stands
in other noise. So waves are compared band by band, as the size of their correlation (which a shift of phase in a band
does not touch), at one lag for all bands give or take 0.3 ms, each band weighed by how far it stands over the room.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from clicktimer.detection.candidates import N_WAVE, Candidates, from_codes
from clicktimer.detection.compiled import compiled
from clicktimer.detection.onset_strength import F32
from clicktimer.detection.params import DetectionParams, default_params
from clicktimer.detection.signal_params import Bands, Waveform

I8 = npt.NDArray[np.int8]

_STRIDE = 2
"""A body is compared at every second of its samples: the product of two bands needs no more."""
_CHUNK = 512


def rate_of(rate_hz: int, params: Waveform) -> tuple[int, float]:
    """Every how many samples of a recording one is kept in a wave, and the rate that comes of it, Hz."""
    every = max(round(rate_hz / params.rate_hz), 1)
    return every, rate_hz / every


def cut(raw: F32, onsets: npt.NDArray[np.int64], rate_hz: int, params: Waveform) -> I8:
    """The waves at the given samples of raw, (n, N_WAVE); what lies outside of raw is silence.

    Twice less its own mean over 2.4 ms, so that the motor's hum is out of it; then every so many samples one.
    """
    every, wave_hz = rate_of(rate_hz, params)
    half = max(round(params.mean_s / 2 * rate_hz), 1)
    count = min(round((params.before_s + params.after_s) * wave_hz), N_WAVE)
    waves = np.zeros((len(onsets), N_WAVE), np.int8)
    first = onsets - round(params.before_s * wave_hz) * every
    _cut(raw, first, every, half, _low_pass(every, params.low_pass_taps), waves[:, :count])
    return waves


@compiled
def _cut(raw: F32, firsts: npt.NDArray[np.int64], every: int, half: int, taps: F32, out: I8) -> None:
    count, width = out.shape[1], taps.shape[0]
    ends = 2 * half + width // 2
    length = (count - 1) * every + 1 + 2 * ends
    wave, kept = np.zeros(length, np.float32), np.zeros(count, np.float32)
    for i in range(firsts.shape[0]):
        begin = firsts[i] - ends
        wave[:] = 0.0
        for k in range(max(-begin, 0), min(raw.shape[0] - begin, length)):
            wave[k] = raw[begin + k]
        size = length
        for _ in range(2):
            total = 0.0
            for k in range(2 * half):
                total += wave[k]
            size -= 2 * half
            for k in range(size):
                total += wave[k + 2 * half]
                mean = total / (2 * half + 1)
                total -= wave[k]
                wave[k] = wave[k + half] - mean  # its own place is not needed again
        top = np.float32(1e-9)
        for k in range(count):
            value = np.float32(0.0)
            for j in range(width):
                value += wave[k * every + j] * taps[j]
            kept[k] = value
            top = max(top, abs(value))
        for k in range(count):
            out[i, k] = np.rint(kept[k] * (np.float32(127.0) / top))


@lru_cache(maxsize=8)
def _low_pass(every: int, length: int) -> F32:
    if every == 1:
        return np.ones(1, np.float32)
    k = np.arange(-length * every // 2, length * every // 2 + 1) / every
    taps = np.sinc(0.9 * k) * np.hanning(len(k) + 2)[1:-1]
    return np.asarray(taps / taps.sum(), np.float32)


@dataclass(frozen=True, slots=True)
class _Plan:
    """How waves of one rate are compared.

    bands: (bands, 6): where a band lies among a wave's parts and how many there are of it; which of them, from the
    first to the last, are the body; how many samples a body is moved either way; width. near:
    (bands, lags of all bands) the first of a band's lags that belong to each; there are ``width`` of them.
    """

    bands: npt.NDArray[np.int64]
    near: npt.NDArray[np.int64]


class Waveforms:
    """The waves of a recording's candidates, ready to be compared."""

    def __init__(self, candidates: Candidates, params: DetectionParams | None = None) -> None:
        """Prepare the waveforms of some candidates.

        Parameters
        ----------
        candidates
            If recordings of several rates were joined, only waveforms of the most frequent rate are compared.
        params
            Parameters; None: as params.toml states them.
        """
        params = params or default_params()
        self._doubt = params.waveform.doubt
        self.size = len(candidates)
        self.rows = np.zeros(0, np.int64)
        self._columns: dict[int, npt.NDArray[np.float16]] = {}
        rates, counts = np.unique(candidates.wave_hz[candidates.wave_hz > 0.0], return_counts=True)
        if not len(rates):
            return
        mine = candidates.wave_hz == rates[np.argmax(counts)]
        self.rows = np.flatnonzero(mine)
        kept = candidates.waves[(np.cumsum(candidates.wave_hz > 0.0) - 1)[mine]]
        wave_hz = float(rates[np.argmax(counts)])
        bands = params.bands
        edges = [
            (low, min(high, bands.highest_rate_share * wave_hz))
            for low, high in pairwise(params.waveform.band_edges_hz)
            if low < bands.least_rate_share * wave_hz
        ]
        self._plan, self._parts = _parted(kept, wave_hz, edges, params.waveform)
        self._clear = _clear(candidates.take(self.rows), edges, bands)

    def has(self, member: int) -> bool:
        """Whether the wave of a candidate is known."""
        at = int(np.searchsorted(self.rows, member))
        return at < len(self.rows) and int(self.rows[at]) == member

    def alike(self, member: int) -> F32:
        """How alike every candidate's wave is to that of one of them, (n,), 0 to 1; NaN where either is not known."""
        return np.asarray(self.all_alike(np.array([member]))[0])

    def all_alike(self, members: npt.NDArray[np.int64]) -> F32:
        """The same for several members, (len(members), n); each is worked out but once."""
        wanted = [int(m) for m in members]
        new = np.array([m for m in dict.fromkeys(wanted) if m not in self._columns], np.int64)
        if len(new):
            columns = np.full((len(new), self.size), np.nan, np.float16)
            known = np.isin(new, self.rows)
            if known.any():
                found = self._compare(new[known], np.arange(len(self.rows)))
                columns[np.ix_(np.flatnonzero(known), self.rows)] = found
            self._columns.update(zip(new.tolist(), columns, strict=True))
        return np.stack([self._columns[m] for m in wanted]).astype(np.float32)

    def among(self, member: int, index: npt.NDArray[np.int64]) -> F32:
        """The same for some candidates only, (len(index),): most of them are never asked for."""
        return np.asarray(self.some_alike(np.array([member]), index)[0])

    def some_alike(self, members: npt.NDArray[np.int64], index: npt.NDArray[np.int64]) -> F32:
        """The same for several members, (len(members), len(index))."""
        out = np.full((len(members), len(index)), np.nan, np.float32)
        new = np.array([int(m) not in self._columns and self.has(int(m)) for m in members], bool)
        known = np.isin(index, self.rows)
        if new.any() and known.any():
            found = self._compare(members[new], np.searchsorted(self.rows, index[known]))
            out[np.ix_(np.flatnonzero(new), np.flatnonzero(known))] = found
        for i, m in enumerate(members.tolist()):
            if m in self._columns:
                out[i] = self._columns[m][index]
        return out

    def _compare(self, members: npt.NDArray[np.int64], rows: npt.NDArray[np.int64]) -> F32:
        out = np.empty((len(members), len(rows)), np.float32)
        mine, plan = np.searchsorted(self.rows, members), self._plan
        _correlate(self._parts, rows, mine, plan.bands, plan.near, self._clear, self._doubt, out)
        return out


def _parted(waves: I8, wave_hz: float, edges: list[tuple[float, float]], p: Waveform) -> tuple[_Plan, I8]:
    """The plan, and each wave band by band at a low rate, real and imaginary: (n, 2, parts).

    The largest part of a wave in each band is 127: how loud it is does not count, and a day has 36 000 waves.
    """
    count, padded = round((p.before_s + p.after_s) * wave_hz), round(p.padded_s * wave_hz)
    grid_s = np.arange(-p.lag_s, p.lag_s + 1e-9, p.lag_step_s)
    bands, near, bins, offset = [], [], [], 0
    for low_hz, high_hz in edges:
        first, last = round(low_hz * padded / wave_hz), round(high_hz * padded / wave_hz)
        points = round(p.oversampled * (last - first))
        step_s = padded / wave_hz / points
        length, lags = int(count / wave_hz / step_s), round(p.lag_s / step_s)
        slack_s = max(p.slack_s, 0.5 * step_s)
        width = int(2.0 * slack_s / step_s) + 1
        lowest = np.rint(grid_s / step_s - 0.5 * (width - 1)).astype(np.int64) + lags
        near.append(np.clip(lowest, 0, 2 * lags + 1 - width))
        bands.append([offset, length, *(round((p.before_s + edge) / step_s) for edge in p.body_s), lags, width])
        bins.append((first, last, points))
        offset += length
    parts = np.empty((len(waves), 2, offset), np.int8)
    for at in range(0, len(waves), _CHUNK):
        x = waves[at : at + _CHUNK, :count].astype(np.float32)
        spectrum = np.fft.rfft(x, padded, axis=1)
        for (first, last, points), (begin, length, *_) in zip(bins, bands, strict=True):
            band = np.fft.ifft(spectrum[:, first:last], points, axis=1)[:, :length]
            band *= 127.0 / np.maximum(np.abs(band).max(axis=1, keepdims=True), 1e-9)
            parts[at : at + _CHUNK, 0, begin : begin + length] = np.rint(band.real)
            parts[at : at + _CHUNK, 1, begin : begin + length] = np.rint(band.imag)
    return _Plan(np.array(bands, np.int64), np.array(near, np.int64)), parts


def _clear(candidates: Candidates, edges: list[tuple[float, float]], bands: Bands) -> F32:
    """Share of each band's energy that is the candidate's and not the room's, (n, bands)."""
    prints = 10.0 ** (from_codes(candidates.prints[:, :3]) / 10.0)
    energy = np.average(prints, axis=1, weights=np.diff(bands.slice_edges_s[:4]))
    room = 10.0 ** (from_codes(candidates.room) / 10.0)
    out = np.zeros((len(candidates), len(edges)), np.float32)
    for b, (low, high) in enumerate(edges):
        shares = [
            max(min(high, top) - max(low, bottom), 0.0) / (top - bottom) for bottom, top in pairwise(bands.edges_hz)
        ]
        heard, hidden = energy @ np.array(shares), room @ np.array(shares)
        out[:, b] = np.clip(1.0 - hidden / np.maximum(heard, 1e-20), 0.0, 1.0)
    return out


@compiled
def _correlation_power(re: F32, im: F32, body_re: F32, body_im: F32, count: int, sums_re: F32, sums_im: F32) -> None:
    """Correlate a complex signal with a body of every second sample at ``count`` lags; squared size into ``sums_re``.

    The lags are the innermost loop, for two samples of the body at a time: in this form the compiler handles several
    lags in one vector instruction. All values are whole numbers that float32 holds exactly, so that the order of the
    sums does not matter.

    Parameters
    ----------
    re, im
        The signal from the first sample of the body at the first lag on.
    body_re, body_im
        Every second sample of the body, an even number of them.
    count
        Number of lags.
    sums_re, sums_im
        Out, shape (count,).
    """
    for lag in range(count):
        sums_re[lag], sums_im[lag] = 0.0, 0.0
    for k in range(0, body_re.shape[0], 2):
        a0, b0, a1, b1 = body_re[k], body_im[k], body_re[k + 1], body_im[k + 1]
        x0, y0 = re[2 * k : 2 * k + count], im[2 * k : 2 * k + count]
        x1, y1 = re[2 * k + 2 : 2 * k + 2 + count], im[2 * k + 2 : 2 * k + 2 + count]
        for lag in range(count):
            sums_re[lag] += (x0[lag] * a0 + y0[lag] * b0) + (x1[lag] * a1 + y1[lag] * b1)
            sums_im[lag] += (y0[lag] * a0 - x0[lag] * b0) + (y1[lag] * a1 - x1[lag] * b1)
    for lag in range(count):
        sums_re[lag] = sums_re[lag] * sums_re[lag] + sums_im[lag] * sums_im[lag]


@compiled
def _energy_at_lags(re: F32, im: F32, length: int, count: int, power: F32, energy: F32) -> None:
    """Sum the squares of every second of ``length`` samples, from each of ``count`` lags on: (count,)."""
    for j in range(length + count - 1):
        power[j] = re[j] * re[j] + im[j] * im[j]
    for lag in range(min(_STRIDE, count)):
        energy[lag] = 0.0
        for at in range(lag, lag + length, _STRIDE):
            energy[lag] += power[at]
    # What comes in less what goes out: exact, since the squares are whole numbers.
    for lag in range(count - _STRIDE):
        energy[lag + _STRIDE] = energy[lag] + (power[lag + length] - power[lag])


@compiled
def _correlate(  # noqa: C901, PLR0912, PLR0913
    parts: I8,
    rows: npt.NDArray[np.int64],
    mine: npt.NDArray[np.int64],
    bands: npt.NDArray[np.int64],
    near: npt.NDArray[np.int64],
    clear: F32,
    doubt: float,
    out: F32,
) -> None:
    """Compute how alike these waveforms are to some of them: the size of their correlation, a weighted mean over bands.

    Parameters
    ----------
    parts
        Each waveform by band, real and imaginary, shape (n, 2, parts).
    rows, mine
        Numbers of the waveforms that are compared, and of those that they are compared with.
    bands, near
        The plan, see ``_Plan``.
    clear
        Share of each band's energy that is not the room's, shape (n, bands).
    doubt
        Weight of a band that agrees in nothing, added to the others.
    out
        Out: 0 to 1 at the lag where all bands agree best, shape (len(mine), len(rows)).
    """
    most = 0
    for b in range(bands.shape[0]):
        most = max(most, bands[b, 1] + 2 * bands[b, 4] + 4 * _STRIDE)
    re, im, power = np.zeros(most, np.float32), np.zeros(most, np.float32), np.zeros(most, np.float32)
    size, best, energy = np.zeros(most, np.float32), np.zeros(most, np.float32), np.zeros(most, np.float32)
    total = np.zeros((mine.shape[0], near.shape[1]), np.float32)
    weights = np.zeros(mine.shape[0], np.float32)
    bodies, own = _bodies(parts, mine, bands)
    for i in range(rows.shape[0]):
        row = rows[i]
        total[:, :] = 0.0
        weights[:] = doubt
        for b in range(bands.shape[0]):
            if clear[row, b] <= 0.0:
                continue
            offset, length, first, last, lags, width = bands[b]
            count = 2 * lags + 1
            halves = (last - first + _STRIDE - 1) // _STRIDE
            # Silence on both sides, as far as a body is moved.
            re[:], im[:] = 0.0, 0.0
            real, imaginary = parts[row, 0, offset : offset + length], parts[row, 1, offset : offset + length]
            into_re, into_im = re[lags : lags + length], im[lags : lags + length]
            for j in range(length):
                into_re[j] = real[j]
                into_im[j] = imaginary[j]
            _energy_at_lags(re[first:], im[first:], _STRIDE * halves, count, power, energy)
            even = halves + halves % 2
            for m in range(mine.shape[0]):
                weight = np.float32(math.sqrt(clear[row, b] * clear[mine[m], b]))
                if weight <= 0.0:
                    continue
                weights[m] += weight
                body_re, body_im = bodies[m, b, 0, :even], bodies[m, b, 1, :even]
                _correlation_power(re[first:], im[first:], body_re, body_im, count, size, best)
                for lag in range(count):
                    size[lag] = weight * np.sqrt(size[lag] / (energy[lag] * own[m, b] + np.float32(1e-3)))
                best[:count] = size[:count]
                for shift in range(1, width):  # the highest of each few neighbors
                    later = size[shift:count]
                    for lag in range(count - shift):
                        best[lag] = max(best[lag], later[lag])
                for g in range(near.shape[1]):
                    total[m, g] += best[near[b, g]]
        for m in range(mine.shape[0]):
            highest = np.float32(0.0)
            for g in range(near.shape[1]):
                highest = max(highest, total[m, g])
            out[m, i] = highest / weights[m]


@compiled
def _bodies(parts: I8, mine: npt.NDArray[np.int64], bands: npt.NDArray[np.int64]) -> tuple[F32, F32]:
    """Return every second sample of some bodies by band, (mine, bands, 2, samples), and their energy, (mine, bands)."""
    most = 0
    for b in range(bands.shape[0]):
        most = max(most, bands[b, 3] - bands[b, 2])
    bodies = np.zeros((mine.shape[0], bands.shape[0], 2, most // _STRIDE + 2), np.float32)
    energy = np.zeros((mine.shape[0], bands.shape[0]), np.float32)
    for m in range(mine.shape[0]):
        for b in range(bands.shape[0]):
            offset, first, last = bands[b, 0], bands[b, 2], bands[b, 3]
            for k in range((last - first + _STRIDE - 1) // _STRIDE):
                for part in range(2):
                    value = np.float32(parts[mine[m], part, offset + first + k * _STRIDE])
                    bodies[m, b, part, k] = value
                    energy[m, b] += value * value
    return bodies, energy
