"""The two loops that touch every sample and every frame, compiled when numba is there.

Both are strictly sequential and carry their memory in arrays that the caller owns, so that the
result does not depend on how the samples are cut into blocks. Without compiled code
(``NUMBA_DISABLE_JIT=1``) the same functions run as plain Python: same answers, slower.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from clicktimer.compiled import compiled

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

    Four samples are taken at a time, so that the memory between them stays in the processor's registers, and the
    sections are of the form in which a value waits for the one before it but once.
    """
    bands = coef.shape[1]
    scale = np.float32(1.0 / frame_len)
    low_scale = np.float32(1.0 / per_low)
    zero = np.float32(0.0)
    acc = np.zeros(bands, np.float32)
    for n in range(frames.shape[0]):
        i = n * frame_len
        stop = i + frame_len
        while i + 4 <= stop:
            v0, v1, v2, v3 = x[i], x[i + 1], x[i + 2], x[i + 3]
            for b in range(bands):
                c0, c1, c2, d0, d1, d2 = coef[0, b], coef[1, b], coef[2, b], coef[3, b], coef[4, b], coef[5, b]
                ga, gb, ya, yb, wa, wb = state[0, b], state[1, b], state[2, b], state[3, b], state[4, b], state[5, b]
                g0 = c0 * v0
                y0 = ((g0 - gb) - c2 * yb) - c1 * ya
                w0 = (d0 * (y0 - yb) - d2 * wb) - d1 * wa
                g1 = c0 * v1
                y1 = ((g1 - ga) - c2 * ya) - c1 * y0
                w1 = (d0 * (y1 - ya) - d2 * wa) - d1 * w0
                g2 = c0 * v2
                y2 = ((g2 - g0) - c2 * y0) - c1 * y1
                w2 = (d0 * (y2 - y0) - d2 * w0) - d1 * w1
                g3 = c0 * v3
                y3 = ((g3 - g1) - c2 * y1) - c1 * y2
                w3 = (d0 * (y3 - y1) - d2 * w1) - d1 * w2
                acc[b] = acc[b] + w0 * w0 + w1 * w1 + w2 * w2 + w3 * w3
                state[0, b], state[1, b], state[2, b], state[3, b], state[4, b], state[5, b] = g3, g2, y3, y2, w3, w2
            i += 4
        while i < stop:
            v0 = x[i]
            for b in range(bands):
                g0 = coef[0, b] * v0
                y0 = ((g0 - state[1, b]) - coef[2, b] * state[3, b]) - coef[1, b] * state[2, b]
                w0 = (coef[3, b] * (y0 - state[3, b]) - coef[5, b] * state[5, b]) - coef[4, b] * state[4, b]
                acc[b] = acc[b] + w0 * w0
                state[0, b], state[1, b], state[2, b], state[3, b], state[4, b], state[5, b] = (
                    g0, state[0, b], y0, state[2, b], w0, state[4, b],
                )  # fmt: skip
            i += 1
        for b in range(bands):
            frames[n, b] = acc[b] * scale
            acc[b] = zero
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
    bands = level.shape[1]
    half = max(used // 2, 1)
    # The better half of the bands counts, less a discount: a pump's hiss hides the others. It cannot lead below this.
    worth_sorting = 10.0 ** (0.1 * better_discount / (1.0 / half - 1.0 / used)) if used > half else 1e30
    up = np.zeros(bands, dtype=np.float64)
    tiny = 1e-14
    per_before, per_after = 1.0 / before, 1.0 / after
    for n in range(level.shape[0]):
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
            base = max(back_sum[n, b] * per_before, floor[b]) + tiny
            up[b] = min(max((up_sum[n, b] * per_after + tiny) / base, 1.0), cap)
        product = 1.0
        for b in range(used):
            product *= up[b]
        mean_db = 10.0 * math.log10(product) / used
        if product > worth_sorting:
            best = 1.0
            for _ in range(half):
                top = 0
                for b in range(1, used):
                    if up[b] > up[top]:
                        top = b
                best *= up[top]
                up[top] = 0.0
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
