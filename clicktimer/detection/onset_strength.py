"""The loops that touch every sample and every frame, compiled when numba is there.

They are strictly sequential and carry their memory in arrays that the caller owns, so that the
result does not depend on how the samples are cut into blocks. Without compiled code
(``NUMBA_DISABLE_JIT=1``) the same functions run as plain Python: same answers, slower.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from clicktimer.detection.compiled import compiled

F32 = npt.NDArray[np.float32]
F64 = npt.NDArray[np.float64]
I64 = npt.NDArray[np.int64]

_TINY = np.float32(1e-20)
_WIDTH = 8
"""Bands that can be filtered side by side. A constant, so that the compiler sees that their values lie apart."""


def band_pass(low_hz: float, high_hz: float, rate_hz: int) -> F32:
    """Design a Butterworth band-pass of two second-order sections.

    Written out here because importing scipy.signal costs a second of start-up. Checked against ``scipy.signal.butter``.

    Parameters
    ----------
    low_hz, high_hz
        Edges of the band, Hz.
    rate_hz
        Sample rate, Hz.

    Returns
    -------
    ndarray, shape (6,)
        Gain, a1, a2 of each section. The numerator of each is gain * (1 - z^-2); the gain at the center is 1.

    Notes
    -----
    The textbook construction: poles of the analog low-pass of order 2, band transform, bilinear transform.
    """
    warp_low, warp_high = (2.0 * rate_hz * math.tan(math.pi * f / rate_hz) for f in (low_hz, high_hz))
    width, centre_squared = warp_high - warp_low, warp_low * warp_high
    pole = complex(-math.sqrt(0.5), math.sqrt(0.5)) * width / 2.0
    root = np.sqrt(pole * pole - centre_squared + 0j)
    centre = 2.0 * math.atan(math.sqrt(centre_squared) / (2.0 * rate_hz))
    z_inverse = complex(math.cos(centre), -math.sin(centre))
    out = np.empty(6, dtype=np.float64)
    for section, analogue in enumerate((pole + root, pole - root)):
        digital = (2.0 * rate_hz + analogue) / (2.0 * rate_hz - analogue)
        a1, a2 = -2.0 * digital.real, abs(digital) ** 2
        response = (1.0 - z_inverse**2) / (1.0 + a1 * z_inverse + a2 * z_inverse**2)
        out[3 * section : 3 * section + 3] = 1.0 / abs(response), a1, a2
    return out.astype(np.float32)


@compiled
def _filter_sample(  # noqa: PLR0913
    value: float,
    gain_1: float,
    a1_1: float,
    a2_1: float,
    gain_2: float,
    a1_2: float,
    a2_2: float,
    memory: tuple[float, float, float, float, float, float, float],
) -> tuple[float, float, float, float, float, float, float]:
    """Filter one sample by two band-pass sections; return the last two values of each stage and the sum of squares."""
    g1, g2, y1, y2, w1, w2, total = memory
    g = gain_1 * value
    y = ((g - g2) - a2_1 * y2) - a1_1 * y1
    w = (gain_2 * (y - y2) - a2_2 * w2) - a1_2 * w1
    return g, g1, y, y1, w, w1, total + w * w


@compiled
def filter_frames(x: F32, coef: F32, state: F32, frame_len: int, per_low: int, frames: F32, low: F32) -> None:  # noqa: C901, PLR0912
    """Compute the band energies of consecutive frames, and the sound itself at a lower rate.

    The bands are the innermost loop, over one flat array, four samples at a time: in this form the compiler handles all
    bands in one vector instruction. That makes it four times as fast as band after band.

    Parameters
    ----------
    x
        Samples of whole frames, shape (n * frame_len,).
    coef
        Shape (6, bands), 8 bands at most: gain, a1, a2 of two band-pass sections in cascade (see ``band_pass``).
    state
        Shape (6, bands): the last two values before, between and after the sections. Changed in place.
    frame_len
        Samples in a frame.
    per_low
        Samples averaged into one sample of ``low``, a divisor of ``frame_len``.
    frames
        Out: mean square of each frame and band, shape (n, bands).
    low
        Out: shape (n * frame_len / per_low,).
    """
    bands = coef.shape[1]
    scale = np.float32(1.0 / frame_len)
    low_scale = np.float32(1.0 / per_low)
    zero = np.float32(0.0)
    # Rows of _WIDTH: the six of coef, the six of state, the sum of squares.
    m = np.zeros(13 * _WIDTH, np.float32)
    for k in range(6):
        for b in range(bands):
            m[k * _WIDTH + b], m[(k + 6) * _WIDTH + b] = coef[k, b], state[k, b]
    for n in range(frames.shape[0]):
        begin, end = n * frame_len, (n + 1) * frame_len
        fours = begin + frame_len // 4 * 4
        for i in range(begin, fours, 4):
            v0, v1, v2, v3 = x[i], x[i + 1], x[i + 2], x[i + 3]
            for b in range(bands):
                c0, c1, c2 = m[b], m[b + _WIDTH], m[b + 2 * _WIDTH]
                d0, d1, d2 = m[b + 3 * _WIDTH], m[b + 4 * _WIDTH], m[b + 5 * _WIDTH]
                kept = (
                    m[b + 6 * _WIDTH],
                    m[b + 7 * _WIDTH],
                    m[b + 8 * _WIDTH],
                    m[b + 9 * _WIDTH],
                    m[b + 10 * _WIDTH],
                    m[b + 11 * _WIDTH],
                    m[b + 12 * _WIDTH],
                )
                kept = _filter_sample(v0, c0, c1, c2, d0, d1, d2, kept)
                kept = _filter_sample(v1, c0, c1, c2, d0, d1, d2, kept)
                kept = _filter_sample(v2, c0, c1, c2, d0, d1, d2, kept)
                kept = _filter_sample(v3, c0, c1, c2, d0, d1, d2, kept)
                m[b + 6 * _WIDTH] = kept[0]
                m[b + 7 * _WIDTH] = kept[1]
                m[b + 8 * _WIDTH] = kept[2]
                m[b + 9 * _WIDTH] = kept[3]
                m[b + 10 * _WIDTH] = kept[4]
                m[b + 11 * _WIDTH] = kept[5]
                m[b + 12 * _WIDTH] = kept[6]
        for i in range(fours, end):
            for b in range(bands):
                kept = (
                    m[b + 6 * _WIDTH],
                    m[b + 7 * _WIDTH],
                    m[b + 8 * _WIDTH],
                    m[b + 9 * _WIDTH],
                    m[b + 10 * _WIDTH],
                    m[b + 11 * _WIDTH],
                    m[b + 12 * _WIDTH],
                )
                kept = _filter_sample(
                    x[i],
                    m[b],
                    m[b + _WIDTH],
                    m[b + 2 * _WIDTH],
                    m[b + 3 * _WIDTH],
                    m[b + 4 * _WIDTH],
                    m[b + 5 * _WIDTH],
                    kept,
                )
                for k in range(7):
                    m[b + (6 + k) * _WIDTH] = kept[k]
        for b in range(bands):
            frames[n, b] = m[b + 12 * _WIDTH] * scale
            m[b + 12 * _WIDTH] = zero
            for k in range(6, 12):  # numbers too small for the processor's fast path cost a hundredfold
                if abs(m[b + k * _WIDTH]) < _TINY:
                    m[b + k * _WIDTH] = zero
        for k in range(begin // per_low, end // per_low):
            total = zero
            for j in range(k * per_low, (k + 1) * per_low):
                total += x[j]
            low[k] = total * low_scale
    for k in range(6):
        for b in range(bands):
            state[k, b] = m[(k + 6) * _WIDTH + b]


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


_TINY_ENERGY = 1e-14
"""Added to energies so that digital silence can be divided by."""


@compiled
def rise_of_frames(  # noqa: PLR0913
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
    first_frames: int,
    first_speed: float,
    cap: float,
    better_discount: float,
    rise: F32,
    floors: F32,
) -> None:
    """Compute the rise of the energy at each frame over the room, and the running level of the room.

    Parameters
    ----------
    level
        Mean square of the frames, shape (n, bands).
    up_sum, back_sum
        The same, summed over the ``after`` frames that begin with each frame, and over ``before`` frames before it.
    floor
        Running quantile of the energy, shape (bands,). Changed in place.
    seen
        Number of frames behind it, shape (1,). Changed in place.
    used
        Number of bands that exist at this sample rate.
    before, after
        Numbers of frames, see above.
    quantile
        The room is this quantile of the energy.
    step
        Most that the floor may change in a frame, as a ratio less 1.
    first_frames, first_speed
        In its first frames a stretch looks for the room this many times as fast.
    cap
        Largest ratio that counts in a band.
    better_discount
        The better half of the bands counts less this, dB.
    rise
        Out: mean rise over the bands, dB, shape (n,).
    floors
        Out: energy of the room, shape (n, bands).
    """
    _follow_room(level, floor, seen, quantile, step, first_frames, first_speed, floors)
    ratio = _rise_ratios(up_sum, back_sum, floors, before, after, cap)
    _mean_rise(ratio, level.shape[1], used, better_discount, rise)


@compiled
def _follow_room(  # noqa: PLR0913
    level: F32, floor: F64, seen: I64, quantile: float, step: float, first_frames: int, first_speed: float, floors: F32
) -> None:
    """Follow a quantile of the energy in each band: up by a little where it is louder, down by less where it is not."""
    tiny = np.float32(_TINY_ENERGY)
    for n in range(level.shape[0]):
        fast = first_speed * step if seen[0] < first_frames else step
        if seen[0] == 0:
            for b in range(level.shape[1]):
                floor[b] = level[n, b] + tiny
        seen[0] += 1
        raise_by = 1.0 + fast * quantile
        lower_by = 1.0 / (1.0 + fast * (1.0 - quantile))
        for b in range(level.shape[1]):
            floor[b] = max(floor[b] * (raise_by if level[n, b] > floor[b] else lower_by), tiny)
            floors[n, b] = floor[b]


@compiled
def _rise_ratios(up_sum: F32, back_sum: F32, floors: F32, before: int, after: int, cap: float) -> F32:
    """Return energy after over energy before or the room, whichever is louder, between 1 and ``cap``: (n * bands,).

    One flat loop, which the processor takes several at a time.
    """
    tiny, least, most = np.float32(_TINY_ENERGY), np.float32(1.0), np.float32(cap)
    per_before, per_after = np.float32(1.0 / before), np.float32(1.0 / after)
    after_flat, before_flat, floor_flat = up_sum.reshape(-1), back_sum.reshape(-1), floors.reshape(-1)
    ratio = np.empty(floor_flat.size, np.float32)
    for k in range(ratio.size):
        base = max(before_flat[k] * per_before, floor_flat[k]) + tiny
        ratio[k] = min(max((after_flat[k] * per_after + tiny) / base, least), most)
    return ratio


@compiled
def _mean_rise(ratio: F32, bands: int, used: int, better_discount: float, rise: F32) -> None:
    """Compute the mean of the bands' rises in dB, or that of their better half less a discount if it is more.

    The better half counts because the noise of a pump hides the others. The mean of decibels is taken as the logarithm
    of the product: one logarithm a frame.
    """
    half = max(used // 2, 1)
    # Below this product the better half cannot lead, so there is no need to sort.
    sort_from = 10.0 ** (0.1 * better_discount / (1.0 / half - 1.0 / used)) if used > half else 1e30
    left = np.empty(bands, np.float32)
    for n in range(rise.shape[0]):
        product = 1.0
        for b in range(used):
            product *= ratio[n * bands + b]
        mean_db = 10.0 * math.log10(product) / used
        if product > sort_from:
            left[:] = ratio[n * bands : (n + 1) * bands]
            better_db = 10.0 * math.log10(_product_of_largest(left, used, half)) / half
            mean_db = max(mean_db, better_db - better_discount)
        rise[n] = mean_db


@compiled
def _product_of_largest(values: F32, used: int, count: int) -> float:
    """Return the product of the ``count`` largest of the first ``used`` values; they are set to 0."""
    product = 1.0
    for _ in range(count):
        top = 0
        for b in range(1, used):
            if values[b] > values[top]:
                top = b
        product *= values[top]
        values[top] = 0.0
    return product


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
