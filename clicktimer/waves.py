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

from clicktimer.candidates import N_WAVE, Candidates, from_codes
from clicktimer.compiled import compiled
from clicktimer.kernel import F32
from clicktimer.settings import BAND_EDGES_HZ, SLICE_EDGES_S

C64 = npt.NDArray[np.complex64]
I8 = npt.NDArray[np.int8]

BEFORE_S, AFTER_S = 0.004, 0.012
"""What a wave holds of the sound before and after the onset."""

_BOX_S = 0.0024
_TAPS = 8
_BANDS_HZ = ((400.0, 1200.0), (1200.0, 2500.0), (2500.0, 4500.0), (4500.0, 7200.0))
_PADDED_S = 0.020
_BODY_S = (-0.001, 0.008)
"""The part of a wave that another is searched for: before it only noise, after it only the room."""
_LAG_S = 0.003
_LAG_STEP_S = 0.00025
_SLACK_S = 0.0003
_CHUNK = 2048


def rate_of(rate_hz: int) -> tuple[int, float]:
    """Every how many samples of a recording one is kept in a wave, and the rate that comes of it, Hz."""
    every = max(round(rate_hz / 14_000), 1)
    return every, rate_hz / every


def cut(raw: F32, onsets: npt.NDArray[np.int64], rate_hz: int) -> I8:
    """The waves at the given samples of raw, (n, N_WAVE); what lies outside of raw is silence.

    Twice less its own mean over 2.4 ms, so that the motor's hum is out of it; then every so many samples one.
    """
    every, wave_hz = rate_of(rate_hz)
    half = max(round(_BOX_S / 2 * rate_hz), 1)
    taps = _low_pass(every)
    ends = 2 * half + len(taps) // 2
    count = min(round((BEFORE_S + AFTER_S) * wave_hz), N_WAVE)
    first = onsets - round(BEFORE_S * wave_hz) * every - ends
    index = first[:, None] + np.arange((count - 1) * every + 1 + 2 * ends)[None, :]
    x = np.where((index >= 0) & (index < raw.size), raw[np.clip(index, 0, raw.size - 1)], np.float32(0.0))
    for _ in range(2):
        total = np.cumsum(x, axis=1, dtype=np.float64)
        mean = (total[:, 2 * half :] - np.pad(total, ((0, 0), (1, 0)))[:, : -2 * half - 1]) / (2 * half + 1)
        x = (x[:, half:-half] - mean).astype(np.float32)
    steps = np.lib.stride_tricks.sliding_window_view(x, len(taps), axis=1)[:, ::every]
    out = np.einsum("nkt,t->nk", steps, taps)
    top = np.abs(out).max(axis=1, keepdims=True)
    waves = np.zeros((len(onsets), N_WAVE), np.int8)
    waves[:, :count] = np.rint(out * (np.float32(127.0) / np.maximum(top, 1e-9)))
    return waves


@lru_cache(maxsize=8)
def _low_pass(every: int) -> F32:
    if every == 1:
        return np.ones(1, np.float32)
    k = np.arange(-_TAPS * every // 2, _TAPS * every // 2 + 1) / every
    taps = np.sinc(0.9 * k) * np.hanning(len(k) + 2)[1:-1]
    return np.asarray(taps / taps.sum(), np.float32)


@dataclass(frozen=True, slots=True)
class _Band:
    """One band of all waves at a low rate, complex: samples (n, k).

    The body is samples ``first`` to ``last``, of which every ``stride``-th is compared. lags: how many samples a
    body is moved either way. near: (lags of all bands, 2) which of this band's lags belong to each.
    """

    samples: C64
    first: int
    last: int
    stride: int
    lags: int
    near: npt.NDArray[np.int64]


class Waves:
    """The waves of a recording's candidates, ready to be compared."""

    def __init__(self, candidates: Candidates) -> None:
        """Where several rates were joined, only the waves of the most frequent one are compared."""
        self.size = len(candidates)
        self.rows = np.zeros(0, np.int64)
        self._columns: dict[int, F32] = {}
        self._bands: list[_Band] = []
        rates, counts = np.unique(candidates.wave_hz[candidates.wave_hz > 0.0], return_counts=True)
        if not len(rates):
            return
        mine = candidates.wave_hz == rates[np.argmax(counts)]
        self.rows = np.flatnonzero(mine)
        kept = candidates.waves[(np.cumsum(candidates.wave_hz > 0.0) - 1)[mine]]
        wave_hz = float(rates[np.argmax(counts)])
        edges = [(low, min(high, 0.47 * wave_hz)) for low, high in _BANDS_HZ if low < 0.4 * wave_hz]
        self._bands = [_band(kept, wave_hz, low, high) for low, high in edges]
        self._clear = _clear(candidates.take(self.rows), edges)

    def has(self, member: int) -> bool:
        """Whether the wave of a candidate is known."""
        at = int(np.searchsorted(self.rows, member))
        return at < len(self.rows) and int(self.rows[at]) == member

    def alike(self, member: int) -> F32:
        """How alike every candidate's wave is to that of one of them, (n,), 0 to 1; NaN where either is not known."""
        if member not in self._columns:
            column = np.full(self.size, np.nan, np.float32)
            if self.has(member):
                column[self.rows] = self._compare(member, np.arange(len(self.rows)))
            self._columns[member] = column
        return self._columns[member]

    def among(self, member: int, index: npt.NDArray[np.int64]) -> F32:
        """The same for some candidates only, (len(index),): most of them are never asked for."""
        if member in self._columns:
            return self._columns[member][index]
        out = np.full(len(index), np.nan, np.float32)
        known = np.isin(index, self.rows)
        if self.has(member) and known.any():
            out[known] = self._compare(member, np.searchsorted(self.rows, index[known]))
        return out

    def _compare(self, member: int, rows: npt.NDArray[np.int64]) -> F32:
        mine, n = int(np.searchsorted(self.rows, member)), len(rows)
        total = np.zeros((n, len(self._bands[0].near)), np.float32)
        weight = np.full(n, 0.3, np.float32)
        for b, band in enumerate(self._bands):
            both = np.sqrt(self._clear[rows, b] * self._clear[mine, b]).astype(np.float32)
            body = band.samples[mine, band.first : band.last : band.stride].copy()
            _correlate(band.samples, rows, body, band.first, band.stride, band.lags, band.near, both, total)
            weight += both
        return np.asarray(total.max(axis=1) / weight, np.float32)


def _band(waves: I8, wave_hz: float, low_hz: float, high_hz: float) -> _Band:
    count = round((BEFORE_S + AFTER_S) * wave_hz)
    padded = round(_PADDED_S * wave_hz)
    first, last = round(low_hz * padded / wave_hz), round(high_hz * padded / wave_hz)
    points = 4 * (last - first)
    step_s = padded / wave_hz / points
    lags = round(_LAG_S / step_s)
    samples = np.zeros((len(waves), int(count / wave_hz / step_s)), np.complex64)
    for at in range(0, len(waves), _CHUNK):
        x = waves[at : at + _CHUNK, :count].astype(np.float32) / np.float32(127.0)
        spectrum = np.fft.rfft(x, padded, axis=1)[:, first:last]
        samples[at : at + _CHUNK] = np.fft.ifft(spectrum, points, axis=1)[:, : samples.shape[1]]
    grid_s = np.arange(-_LAG_S, _LAG_S + 1e-9, _LAG_STEP_S)
    slack_s = max(_SLACK_S, 0.5 * step_s)
    near = np.column_stack([np.ceil((grid_s - slack_s) / step_s - 1e-9), np.floor((grid_s + slack_s) / step_s + 1e-9)])
    near = np.clip(near.astype(np.int64) + lags, 0, 2 * lags)
    body = [round((BEFORE_S + edge) / step_s) for edge in _BODY_S]
    return _Band(samples, body[0], body[1], 3, lags, near)


def _clear(candidates: Candidates, edges: list[tuple[float, float]]) -> F32:
    """Share of each band's energy that is the candidate's and not the room's, (n, bands)."""
    prints = 10.0 ** (from_codes(candidates.prints[:, :3]) / 10.0)
    energy = np.average(prints, axis=1, weights=np.diff(SLICE_EDGES_S[:4]))
    room = 10.0 ** (from_codes(candidates.room) / 10.0)
    out = np.zeros((len(candidates), len(edges)), np.float32)
    for b, (low, high) in enumerate(edges):
        shares = [max(min(high, top) - max(low, bottom), 0.0) / (top - bottom)
                  for bottom, top in pairwise(BAND_EDGES_HZ)]  # fmt: skip
        heard, hidden = energy @ np.array(shares), room @ np.array(shares)
        out[:, b] = np.clip(1.0 - hidden / np.maximum(heard, 1e-20), 0.0, 1.0)
    return out


@compiled
def _correlate(
    samples: C64, rows: npt.NDArray[np.int64], body: C64, first: int, stride: int, lags: int,
    near: npt.NDArray[np.int64], weight: F32, total: F32,
) -> None:  # fmt: skip
    """Add to total (len(rows), lags of all bands) the weighted size of the correlation of these waves with a body."""
    length = samples.shape[1]
    own = 0.0
    for k in range(body.shape[0]):
        own += body[k].real ** 2 + body[k].imag ** 2
    found = np.zeros(2 * lags + 1, np.float32)
    for i in range(rows.shape[0]):
        if weight[i] <= 0.0:
            continue
        for lag in range(2 * lags + 1):
            at = first + lag - lags
            re = np.float32(0.0)
            im = np.float32(0.0)
            energy = np.float32(0.0)
            for k in range(body.shape[0]):
                j = at + k * stride
                if 0 <= j < length:
                    a = samples[rows[i], j]
                    re += a.real * body[k].real + a.imag * body[k].imag
                    im += a.imag * body[k].real - a.real * body[k].imag
                    energy += a.real * a.real + a.imag * a.imag
            found[lag] = math.sqrt((re * re + im * im) / (energy * own + 1e-20))
        for g in range(near.shape[0]):
            top = np.float32(0.0)
            for lag in range(near[g, 0], near[g, 1] + 1):
                top = max(top, found[lag])
            total[i, g] += weight[i] * top
