"""The loops that touch every sample and every frame, compiled when numba is there.

They are strictly sequential and carry their memory in arrays that the caller owns, so that the
result does not depend on how the samples are cut into blocks. Without compiled code
(``NUMBA_DISABLE_JIT=1``) the same functions run as plain Python: same answers, slower.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from clicktimer.detection import vectors
from clicktimer.detection.compiled import compiled

F32 = npt.NDArray[np.float32]
F64 = npt.NDArray[np.float64]
I64 = npt.NDArray[np.int64]

_TINY = np.float32(1e-20)


@compiled
def filter_frames(x: F32, coef: F32, state: F32, frame_len: int, per_low: int, frames: F32, low: F32) -> None:
    """Band energies of consecutive frames, and the sound itself at a lower rate.

    x: samples of whole frames, shape (n * frame_len,). coef: shape (6, bands): gain, a1, a2 of two band-pass sections
    in cascade. state: shape (6, bands): the last two values before, between and after the sections. per_low: samples
    averaged into one, a divisor of frame_len. frames: out, (n, bands), mean square. low: out, (n * frame_len /
    per_low,).
    """
    bands = coef.shape[1]
    scale = np.float32(1.0 / frame_len)
    low_scale = np.float32(1.0 / per_low)
    zero = np.float32(0.0)
    power = np.zeros(bands, np.float32)
    for n in range(frames.shape[0]):
        vectors.cascade(x, n * frame_len, frame_len, coef, state, power)
        for b in range(bands):
            frames[n, b] = power[b] * scale
            power[b] = zero
            for s in range(6):  # numbers too small for the processor's fast path cost a hundredfold
                if abs(state[s, b]) < _TINY:
                    state[s, b] = zero
        for k in range(n * frame_len // per_low, (n + 1) * frame_len // per_low):
            total = zero
            for j in range(k * per_low, (k + 1) * per_low):
                total += x[j]
            low[k] = total * low_scale


def moving_sum(values: F32, width: int) -> F32:
    """Sums of ``width`` consecutive rows, (n - width + 1, columns); each by the same few additions."""
    total: F32 | None = None
    power, done, span = values, 0, 1
    while True:
        if width & span:
            piece = power[done : done + len(values) - width + 1]
            total = piece if total is None else total + piece
            done += span
        if 2 * span > width:
            break
        power, span = power[:-span] + power[span:], 2 * span
    assert total is not None
    return total


@compiled
def rise_of_frames(
    level: F32,
    up_sum: F32,
    back_sum: F32,
    floor: F64,
    seen: I64,
    used: int,
    before: int,
    after: int,
    quantile: float,
    step: float,
    cap: float,
    better_discount: float,
    rise: F32,
    floors: F32,
) -> None:
    """Rise of the energy at each frame over the room, in dB, and the room's running level.

    level: mean square of the frames to be judged, shape (n, bands). up_sum, back_sum: the same, summed over the
    ``after`` frames that begin with each, and over ``before`` frames before it. floor: (bands,) running quantile of
    the energy, seen: (1,) frames behind it. used: number of bands below half the sample rate. step: most that the
    floor may change in a frame, as a ratio - 1. cap: largest ratio that counts. better_discount: dB. rise: out, (n,).
    floors: out, (n, bands), energy.

    The mean of the bands' rises in dB is taken as the logarithm of their product: one logarithm a frame.
    """
    count, bands = level.shape
    tiny = np.float32(1e-14)
    for n in range(count):
        fast = 8.0 * step if seen[0] < 400 else step  # find the room quickly at first
        if seen[0] == 0:
            for b in range(bands):
                floor[b] = level[n, b] + tiny
        seen[0] += 1
        raise_by = 1.0 + fast * quantile
        lower_by = 1.0 / (1.0 + fast * (1.0 - quantile))
        for b in range(bands):
            floor[b] = max(floor[b] * (raise_by if level[n, b] > floor[b] else lower_by), tiny)
            floors[n, b] = floor[b]
    # All ratios in one flat loop, which the processor takes several at a time.
    ratio = np.empty(count * bands, np.float32)
    after_flat, before_flat, floor_flat = up_sum.reshape(-1), back_sum.reshape(-1), floors.reshape(-1)
    per_before, per_after = np.float32(1.0 / before), np.float32(1.0 / after)
    least, most = np.float32(1.0), np.float32(cap)
    for k in range(ratio.size):
        base = max(before_flat[k] * per_before, floor_flat[k]) + tiny
        ratio[k] = min(max((after_flat[k] * per_after + tiny) / base, least), most)
    half = max(used // 2, 1)
    # The better half of the bands counts, less a discount: a pump's hiss hides the others. It cannot lead below this.
    worth_sorting = 10.0 ** (0.1 * better_discount / (1.0 / half - 1.0 / used)) if used > half else 1e30
    left = np.empty(bands, np.float32)
    for n in range(count):
        product = 1.0
        for b in range(used):
            product *= ratio[n * bands + b]
        mean_db = 10.0 * math.log10(product) / used
        if product > worth_sorting:
            left[:] = ratio[n * bands : (n + 1) * bands]
            best = 1.0
            for _ in range(half):
                top = 0
                for b in range(1, used):
                    if left[b] > left[top]:
                        top = b
                best *= left[top]
                left[top] = 0.0
            mean_db = max(mean_db, 10.0 * math.log10(best) / half - better_discount)
        rise[n] = mean_db


@compiled
def pick_peaks(rise: F32, first: int, last: int, apart: int, least: float, out: I64) -> int:
    """Frames between ``first`` and ``last`` whose rise is the highest within ``apart`` frames on both sides.

    Of equal ones the first counts. out: (n,) frame numbers. Returns how many.
    """
    found = 0
    n = first
    while n < last:
        value = rise[n]
        if value >= least:
            highest = True
            for k in range(max(n - apart, 0), n):
                if rise[k] >= value:
                    highest = False
                    break
            if highest:
                for k in range(n + 1, min(n + apart + 1, rise.shape[0])):
                    if rise[k] > value:
                        highest = False
                        break
            if highest:
                out[found] = n
                found += 1
        n += 1
    return found


@compiled
def mean_levels(level: F32, at: I64, spans: I64, out: F32) -> None:
    """Mean energy by band over some spans around each of some frames.

    level: (n, bands). at: frame numbers. spans: (spans, 2), first and end of each from there; before the first frame it
    sounded as in it. out: (len(at), spans, bands).
    """
    for i in range(at.shape[0]):
        for s in range(spans.shape[0]):
            first, end = at[i] + spans[s, 0], at[i] + spans[s, 1]
            for b in range(level.shape[1]):
                out[i, s, b] = 0.0
            for k in range(first, end):
                row = max(k, 0)
                for b in range(level.shape[1]):
                    out[i, s, b] += level[row, b]
            for b in range(level.shape[1]):
                out[i, s, b] /= end - first


@compiled
def geometric_means(level: F32, count: int, out: F32) -> None:
    """The mean of the decibels, as energy, of every ``count`` frames. level: (n * count, bands), out: (n, bands).

    Eight frames are multiplied before the logarithm is taken: it costs more than all the rest, and their product is
    never too small for a number.
    """
    bands = level.shape[1]
    product, total = np.ones(bands), np.zeros(bands)
    for n in range(out.shape[0]):
        total[:] = 0.0
        for first in range(n * count, (n + 1) * count, 8):
            product[:] = 1.0
            for k in range(first, min(first + 8, (n + 1) * count)):
                for b in range(bands):
                    product[b] *= level[k, b] + 1e-14
            for b in range(bands):
                total[b] += math.log(product[b])
        for b in range(bands):
            out[n, b] = math.exp(total[b] / count)
