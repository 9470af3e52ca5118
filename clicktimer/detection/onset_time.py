"""The onset and shape of a sudden sound, to a fraction of a millisecond, from the samples around it.

The wave less its mean over 1.6 ms (which takes out the motor) is squared and averaged over 0.5 ms. From the loudest
point we go back until this energy has stayed for 1 ms below 5 % of the peak, or below what the noise before allows:
the onset is the end of that quiet. A faint approach before the main click is thus not the onset; nor is one below
20 %, if there was quiet between it and the main click: how much earlier it began is handed on (approach_s).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer.detection.compiled import compiled
from clicktimer.detection.onset_strength import F32, F64, I64
from clicktimer.detection.signal_params import OnsetTime


@dataclass(frozen=True, slots=True)
class Shapes:
    """Of n sounds, each (n,): sample of the onset; seconds from it to the loudest point, from there until the sound is
    over, and that a fainter sound began before it (0: none); largest sample; loudest energy over the noise before.
    """

    onset: I64
    attack_s: F32
    decay_s: F32
    approach_s: F32
    peak: F32
    over_noise: F64


def shapes(raw: F32, near: I64, rate_hz: int, apart_s: float, reach: I64, params: OnsetTime) -> Shapes:
    """Time the onset of the sounds near the given samples, and measure attack, decay and peak.

    Parameters
    ----------
    raw
        Samples, shape (m,). What lies outside of it is silence.
    near
        Sample of each rise, shape (n,).
    rate_hz
        Sample rate, Hz.
    apart_s
        The loudest point lies within this time after the rise, or, where it is louder by far, within ``reach``.
    reach
        Samples after each rise, shape (n,).
    params
        Parameters, see params.toml.
    """
    p = params
    spans = [p.mean_half_s, p.smooth_s, p.hold_s, p.lead_s, p.lag_s, p.noise_s, p.earliest_s, apart_s, p.rings_s]
    samples = np.maximum(np.rint(np.array(spans) * rate_hz).astype(np.int64), 1)
    found = np.zeros((len(near), 6))
    shares = np.array([p.onset_share, p.approach_share, p.decay_share])
    _shapes(raw, near, reach, samples, shares, p.quiet_over_noise, p.slide_s * rate_hz, found)
    attack_s, decay_s, approach_s = (found[:, 1:4] / rate_hz).astype(np.float32).T
    onset, peak = found[:, 0].astype(np.int64), found[:, 4].astype(np.float32)
    return Shapes(onset, attack_s, decay_s, approach_s, peak, found[:, 5])


@compiled
def _quiet_until(energy: F64, top: int, threshold: float, hold: int) -> int:
    """Where the last quiet before the loudest point ends."""
    quiet = 0
    for k in range(top - 1, 0, -1):
        quiet = quiet + 1 if energy[k] < threshold else 0
        if quiet == hold:
            return k + hold - 1
    return top - 1


@compiled
def _shapes(  # noqa: C901, PLR0912, PLR0913
    raw: F32, near: I64, reach: I64, spans: I64, shares: F64, over_noise: float, slide: float, found: F64
) -> None:
    onset, approach, decay = shares
    half, smooth, hold, lead, lag, quiet, earliest, apart, rings = spans
    length = lead + lag + 2 * (half + smooth)
    count = length - 2 * half - smooth
    wave, high, energy = np.zeros(length), np.zeros(length - 2 * half), np.zeros(count)
    # An energy is the mean of ``smooth`` samples from the next one on; its place is their middle.
    first = -lead - half - smooth + half + 1 + smooth // 2
    zero = -first
    for i in range(near.shape[0]):
        begin = near[i] - lead - half - smooth
        wave[:] = 0.0
        low, high_end = max(-begin, 0), min(raw.shape[0] - begin, length)
        for k in range(low, high_end):
            wave[k] = raw[begin + k]
        total = 0.0
        for k in range(1, 2 * half + 1):
            total += wave[k]
        for k in range(length - 2 * half):
            high[k] = (wave[half + k] - total / (2 * half)) ** 2
            if k + 2 * half + 1 < length:
                total += wave[k + 2 * half + 1] - wave[k + 1]
        # Summed afresh now and then: what is left of a bang by rounding would drown the quiet after it.
        for k in range(count):
            if k % smooth == 0:
                total = 0.0
                for j in range(k + 1, k + smooth + 1):
                    total += high[j]
            else:
                total += high[k + smooth] - high[k]
            energy[k] = max(total, 0.0) / smooth
        noise = np.median(energy[:quiet]) + 1e-18
        start, stop = zero - earliest, zero + apart
        top = start
        for k in range(start, stop):
            if energy[k] > energy[top]:
                top = k
        nearer = energy[top]
        for k in range(stop, min(zero + reach[i], count)):
            if approach * energy[k] > nearer and energy[k] > energy[top]:
                top, stop = k, k + 1
        highest = energy[top]
        least = min(over_noise * noise, 0.5 * highest)
        last = _quiet_until(energy, top, max(onset * highest, least), hold)
        main = _quiet_until(energy, top, max(approach * highest, least), hold)
        slid = main - last > slide
        peak = 0.0
        for k in range(half + start, half + stop):
            peak = max(peak, abs(wave[k]))
        loud = max(decay * highest, min(2.0 * noise, 0.7 * highest))
        end = max(top, min(zero + rings, count - 1))
        while end > top and energy[end] < loud:
            end -= 1
        found[i, 0] = near[i] + first + min((main if slid else last) + 1, count - 1)
        found[i, 1] = top - last - 1
        found[i, 2] = end - top
        found[i, 3] = main - last if slid else 0
        found[i, 4] = peak
        found[i, 5] = highest / noise
