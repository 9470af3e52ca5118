"""Stage 2, beside the candidates: blocks of sound -> the strongest steady tones of each second.

A machine that turns hums in lines; which lines, and whether they move, tells one machine from another and a driven
speed from a fixed one. Kept are at most LINES lines of each second, three bytes each. It looks back only, and the
result does not depend on how the sound is cut into blocks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from clicktimer.detection.params import DetectionParams, default_params
from clicktimer.detection.signal_params import SpectralLines
from clicktimer.records import Block, Samples

F32 = npt.NDArray[np.float32]

LINES = 12
STEP_S = 1.0
"""About: a step is a whole number of samples at the low rate."""
_CODE_HZ = 1.0 / 64.0
_GATHER_S = 8.0


@dataclass(frozen=True, slots=True)
class ToneSegment:
    """Lines of each step of a stretch without a hole: freq_hz (n, LINES) and over_db (n, LINES), 0 where there is none.

    start_s: of the first step. step_s: length of a step. Lines stand in order of frequency, the empty places last.
    """

    start_s: float
    step_s: float
    freq_codes: npt.NDArray[np.uint16]
    over_codes: npt.NDArray[np.uint8]

    @property
    def freq_hz(self) -> F32:
        """Return the frequency of each line, Hz; 0: no line."""
        return self.freq_codes.astype(np.float32) * np.float32(_CODE_HZ)

    @property
    def over_db(self) -> F32:
        """Return how far each line stands over the sound around it, dB."""
        return self.over_codes.astype(np.float32) * np.float32(0.25)


class ToneFinder:
    """Find lines in a stream of blocks. Memory grows by three bytes a line, and by nothing else.

    params: of the detector; those of params.toml if None.
    """

    def __init__(self, params: DetectionParams | None = None) -> None:
        self._params = (params or default_params()).spectral_lines
        self._done: list[ToneSegment] = []
        self._stretch: _Stretch | None = None

    def feed(self, block: Block) -> None:
        """Take the next block; one of another sample rate, or after a gap, begins a new segment.

        Parameters
        ----------
        block
            Sound that follows the last block.
        """
        stretch = self._stretch
        if stretch is None or block.gap_before is not None or stretch.rate_hz != block.rate_hz:
            self.flush()
            stretch = self._stretch = _Stretch(self._params, block.rate_hz, block.start_s)
        stretch.feed(block.samples)

    def flush(self) -> None:
        """End the present segment. A step that is not whole is left out."""
        if self._stretch is not None:
            self._done.append(self._stretch.lines())
            self._stretch = None

    def lines(self) -> list[ToneSegment]:
        """Return the lines so far, one segment for each stretch of sound without a gap."""
        return [*self._done, *([self._stretch.lines()] if self._stretch is not None else [])]


class _Stretch:
    def __init__(self, params: SpectralLines, rate_hz: int, start_s: float) -> None:
        self._params = params
        self.rate_hz, self.start_s = rate_hz, start_s
        self._first = max(round(rate_hz / 6000), 1)  # samples averaged into one, then every second one of those
        self._low_hz = rate_hz / self._first / 2
        self._length = round(self._low_hz * STEP_S * params.listened_share / 50) * 50
        bin_hz = self._low_hz / self._length
        self._from, self._to = (
            int(params.lowest_hz / bin_hz),
            min(int(params.highest_hz / bin_hz), self._length // 2 - 30),
        )
        self._around = round(params.around_hz / bin_hz)
        self._bin_hz = bin_hz
        from scipy.fft import rfft  # several pieces at once, where numpy takes one after the other

        self._rfft = rfft
        self._window = np.hanning(self._length).astype(np.float32)
        self._waiting: list[Samples] = []
        self._held = 0
        self._listened = self._length * self._first * 2
        self._need = round(self._listened / params.listened_share)
        self._freq: list[npt.NDArray[np.uint16]] = []
        self._over: list[npt.NDArray[np.uint8]] = []

    def feed(self, samples: Samples) -> None:
        self._waiting.append(np.asarray(samples, np.float32))
        self._held += len(samples)
        if self._held >= max(self._need, round(_GATHER_S * self.rate_hz)):
            self._work()

    def _work(self) -> None:
        x = np.concatenate(self._waiting) if len(self._waiting) > 1 else self._waiting[0]
        steps = len(x) // self._need
        used = steps * self._need
        # A copy: what waits must not hold on to the caller's whole block.
        self._waiting, self._held = [x[used:].copy()], len(x) - used
        if not steps:
            return
        for first in range(0, steps, 8):  # few at a time: what fits into the processor's own memory is quick
            last = min(first + 8, steps)
            part = x[first * self._need : last * self._need].reshape(-1, self._need)[:, : self._listened]
            low = part[:, :: self._first].copy()
            for k in range(1, self._first):
                low += part[:, k :: self._first]
            # Averaged once more, so that little from above comes down among the lines.
            odd = low[:, 1::2]
            mixed = low[:, 0::2] * np.float32(2.0)
            mixed += odd
            mixed[:, 1:] += odd[:, :-1]
            self._note(mixed)

    def _note(self, pieces: F32) -> None:
        spectrum = self._rfft(pieces * self._window)[:, : self._to + 2 * self._around]
        db = (spectrum.real**2 + spectrum.imag**2 + 1e-12).astype(np.float32)
        np.log10(db, out=db)
        db *= np.float32(10.0)
        total = np.cumsum(db, axis=1, dtype=np.float64)
        w, a, b = self._around, self._from, self._to
        middle = db[:, a:b]
        over = (middle - (total[:, a + w : b + w] - total[:, a - w - 1 : b - w - 1]) / (2 * w + 1)).astype(np.float32)
        before, after = db[:, a - 1 : b - 1], db[:, a + 1 : b + 1]
        over *= (middle > before) & (middle >= after)
        row, column = np.nonzero(over >= self._params.least_db)
        height = over[row, column]
        # The loudest few of each row, then in order of frequency.
        order = np.lexsort((-height, row))
        rank = np.arange(len(row)) - np.searchsorted(row, np.arange(len(over)))[row[order]]
        kept = np.sort(order[rank < LINES])
        row, column, height = row[kept], column[kept], height[kept]
        place = np.arange(len(row)) - np.searchsorted(row, np.arange(len(over)))[row]
        y0, y1, y2 = before[row, column], middle[row, column], after[row, column]
        shift = np.clip(0.5 * (y0 - y2) / np.minimum(y0 - 2.0 * y1 + y2, -1e-6), -0.5, 0.5)
        freq = np.zeros((len(over), LINES), np.uint16)
        high = np.zeros((len(over), LINES), np.uint8)
        freq[row, place] = np.round((column + a + shift) * self._bin_hz / _CODE_HZ).astype(np.uint16)
        high[row, place] = np.clip(np.round(height * 4.0), 0, 255).astype(np.uint8)
        self._freq.append(freq)
        self._over.append(high)

    def forget(self) -> None:
        """Forget the lines so far."""
        self._freq.clear()
        self._over.clear()

    def lines(self) -> ToneSegment:
        if self._held >= self._need:
            self._work()
        none = np.zeros((0, LINES))
        freq = np.concatenate(self._freq) if self._freq else none.astype(np.uint16)
        over = np.concatenate(self._over) if self._over else none.astype(np.uint8)
        self._freq, self._over = [freq], [over]
        return ToneSegment(self.start_s, self._need / self.rate_hz, freq, over)
