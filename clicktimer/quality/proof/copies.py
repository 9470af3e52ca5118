"""Proof, first part: the sound of a click cut from the recording -> the click without its room, and varied copies
of it.
"""

from __future__ import annotations

import numpy as np

from clicktimer.records import Samples

LEAD_S = 0.080
"""Cut so long before the onset: what the room sounds like in the first half of it is taken off the click."""

APPROACH_S = 0.035
"""A switch may creak before it snaps; that belongs to the click."""

TAIL_S = 0.160
"""... and so long after it: switch and room have rung out, or are under the noise."""

LEVEL_SD_DB = 1.0
"""Copies are drawn from all told clicks and carry what these differ by; this and the next two come on top."""
TILT_SD_DB = 0.5
"""Decibels an octave about 2 kHz."""
DECAY_SD_PER_S = 3.0
"""A copy is multiplied by exp(-a t) with a of this deviation: 1.3 dB at 50 ms."""


def bare(cut: Samples, rate_hz: int) -> Samples:
    """The click alone, from a cut that begins LEAD_S before its onset: short spectra less what the room has before it.

    Silent until APPROACH_S before the onset, and where the click has sunk into the noise.
    """
    size = 2 * max(round(0.002 * rate_hz), 8)
    hop = size // 4
    window = np.sqrt(np.hanning(size + 1)[:-1])
    x = np.concatenate([cut.astype(np.float64), np.zeros(size)])
    starts = np.arange(0, len(x) - size + 1, hop)
    spectra = np.fft.rfft(x[starts[:, None] + np.arange(size)] * window, axis=1)
    power = np.abs(spectra) ** 2
    lead = round(LEAD_S * rate_hz)
    before = power[starts + size <= lead - round(APPROACH_S * rate_hz)]
    noise = np.median(before, axis=0) / 0.693 + 1e-20  # the power of noise is exponential: its mean from its median
    # Averaged over neighbours, so that the noise's own peaks are not taken for sound; no more than the noise is taken
    # off, or a faint click would come out fainter than it was.
    smooth = (power + np.roll(power, 1, 0) + np.roll(power, -1, 0)) / 3.0
    smooth = (smooth + np.pad(smooth, ((0, 0), (1, 0)))[:, :-1] + np.pad(smooth, ((0, 0), (0, 1)))[:, 1:]) / 3.0
    gain = np.sqrt(np.clip(1.0 - noise / np.maximum(smooth, 1e-20), 0.0, 1.0))
    pieces = np.fft.irfft(spectra * gain, size, axis=1) * window
    out = np.zeros(len(x))
    for at, piece in zip(starts, pieces, strict=True):
        out[at : at + size] += piece
    out = out[: len(cut)] / (float((window**2).sum()) / hop)
    index = np.arange(len(out))
    rise = np.clip((index - (lead - round(APPROACH_S * rate_hz))) / (0.004 * rate_hz), 0.0, 1.0)
    fall = np.clip((len(out) - index) / (0.03 * rate_hz), 0.0, 1.0)
    shaped: Samples = (out * rise * fall).astype(np.float32)
    return shaped


def varied(click: Samples, rate_hz: int, rng: np.random.Generator, *, level_db: float = 0.0) -> Samples:
    """A copy that differs as one operation of a switch does from the next: level, tilt, decay, place between samples.

    level_db: by so much louder on the whole.
    """
    n = len(click)
    time_s = np.maximum(np.arange(n) / rate_hz - LEAD_S, 0.0)
    shaped = click * np.exp(-np.clip(rng.normal(0.0, DECAY_SD_PER_S), -15.0, 15.0) * time_s)
    spectrum = np.fft.rfft(shaped, n + 64)
    f = np.maximum(np.fft.rfftfreq(n + 64, 1.0 / rate_hz), 1.0)
    octaves = np.clip(np.log2(f / 2000.0), -3.0, 3.0)
    tilt_db = float(np.clip(rng.normal(0.0, TILT_SD_DB), -2.5, 2.5)) * octaves
    change_db = float(np.clip(rng.normal(0.0, LEVEL_SD_DB), -4.0, 4.0)) + level_db
    turned = spectrum * 10.0 ** (tilt_db / 20.0) * np.exp(-2j * np.pi * f / rate_hz * rng.uniform(0.0, 1.0))
    copy = np.fft.irfft(turned, n + 64)[:n]
    # A tilt changes the level too; the copy is to be as loud as the click, but for the change that was drawn.
    was, now = float(np.sum(shaped**2)), float(np.sum(copy**2))
    out: Samples = (copy * np.sqrt(was / max(now, 1e-30)) * 10.0 ** (change_db / 20.0)).astype(np.float32)
    return out
