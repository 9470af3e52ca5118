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
def filter_frames(
    x: F32,
    coef: F32,
    state: F32,
    low_coef: F32,
    low_state: F32,
    acc: F32,
    pos: I64,
    frame_len: int,
    every: int,
    frames: F32,
    low: F32,
) -> tuple[int, int]:
    """Band energies of consecutive frames, and the low-passed signal at a lower rate.

    x: samples, shape (n,). coef: shape (6, bands): gain, a1, a2 of two band-pass sections in cascade. state: shape
    (4, bands). low_coef: (5,) one low-pass section. low_state: (2,). acc: (bands,) energy of the frame begun. pos:
    (2,) samples into the frame, samples since the last low-rate sample. frames: out, (k, bands), mean square. low:
    out, (m,). Returns how many frames and low-rate samples were written.
    """
    bands = coef.shape[1]
    n_frames = 0
    n_low = 0
    in_frame = pos[0]
    in_low = pos[1]
    scale = np.float32(1.0 / frame_len)
    zero = np.float32(0.0)
    b0, b1, b2, a1, a2 = low_coef[0], low_coef[1], low_coef[2], low_coef[3], low_coef[4]
    l1, l2 = low_state[0], low_state[1]
    for i in range(x.shape[0]):
        v = x[i]
        for b in range(bands):
            g = coef[0, b] * v
            y = g + state[0, b]
            state[0, b] = state[1, b] - coef[1, b] * y
            state[1, b] = -g - coef[2, b] * y
            g = coef[3, b] * y
            w = g + state[2, b]
            state[2, b] = state[3, b] - coef[4, b] * w
            state[3, b] = -g - coef[5, b] * w
            acc[b] += w * w
        y = b0 * v + l1
        l1 = b1 * v - a1 * y + l2
        l2 = b2 * v - a2 * y
        in_low += 1
        if in_low == every:
            in_low = 0
            low[n_low] = y
            n_low += 1
        in_frame += 1
        if in_frame == frame_len:
            in_frame = 0
            for b in range(bands):
                frames[n_frames, b] = acc[b] * scale
                acc[b] = zero
                for s in range(4):  # numbers too small for the processor's fast path cost a hundredfold
                    if abs(state[s, b]) < _TINY:
                        state[s, b] = zero
            if abs(l1) < _TINY:
                l1 = zero
            if abs(l2) < _TINY:
                l2 = zero
            n_frames += 1
    pos[0] = in_frame
    pos[1] = in_low
    low_state[0], low_state[1] = l1, l2
    return n_frames, n_low


@compiled
def rise_of_frames(
    level: F32,
    first: int,
    last: int,
    floor: F64,
    seen: I64,
    used: int,
    before: int,
    guard: int,
    after: int,
    quantile: float,
    step: float,
    cap: float,
    better_discount: float,
    rise: F32,
    floors: F32,
) -> None:
    """Rise of the energy at each frame over the room, in dB, and the room's running level.

    level: mean square of the frames, shape (n, bands). Frames ``first`` to ``last`` are judged: before them there
    must be ``before + guard`` frames, after them ``after - 1``. floor: (bands,) running quantile of the energy,
    seen: (1,) frames behind it. used: number of bands below half the sample rate. step: most that the floor may
    change in a frame, as a ratio - 1. cap: largest ratio that counts. better_discount: dB. rise: out, (n,). floors:
    out, (n, bands), energy.

    The mean of the bands' rises in dB is taken as the logarithm of their product: one logarithm a frame.
    """
    bands = level.shape[1]
    half = max(used // 2, 1)
    up = np.zeros(bands, dtype=np.float64)
    back = np.zeros(bands, dtype=np.float64)
    tiny = 1e-14
    for n in range(first, last):
        fast = 8.0 * step if seen[0] < 400 else step  # find the room quickly at first
        if seen[0] == 0:
            for b in range(bands):
                floor[b] = level[n, b] + tiny
        seen[0] += 1
        raise_by = 1.0 + fast * quantile
        lower_by = 1.0 / (1.0 + fast * (1.0 - quantile))
        for b in range(bands):
            up[b] = 0.0
            back[b] = 0.0
            floor[b] = max(floor[b] * (raise_by if level[n, b] > floor[b] else lower_by), tiny)
            floors[n, b] = floor[b]
        for k in range(n, n + after):
            for b in range(bands):
                up[b] += level[k, b]
        for k in range(n - guard - before, n - guard):
            for b in range(bands):
                back[b] += level[k, b]
        product = 1.0
        for b in range(used):
            base = max(back[b] / before, floor[b]) + tiny
            ratio = (up[b] / after + tiny) / base
            ratio = min(max(ratio, 1.0), cap)
            up[b] = ratio
            product *= ratio
        # The better half of the bands, less a discount: a pump's hiss hides the others.
        best = 1.0
        for _ in range(half):
            top = 0
            for b in range(1, used):
                if up[b] > up[top]:
                    top = b
            best *= up[top]
            up[top] = 0.0
        mean_db = 10.0 * math.log10(product) / used
        if product > 1.5:
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
