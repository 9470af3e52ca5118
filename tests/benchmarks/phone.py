"""What a phone or laptop does to sound: gain riding, suppression, clipping, handling, codecs. Array in, array out."""

from __future__ import annotations

import io
from fractions import Fraction
from typing import Any

import numpy as np

from tests.benchmarks.sounds import Array

CODECS = {"aac": ("ipod", "aac"), "mp3": ("mp3", "libmp3lame"), "opus": ("ogg", "libopus"), "flac": ("flac", "flac")}


def rides_gain(samples: Array, rate_hz: int, strength: float = 0.6) -> Array:
    """Slow automatic gain: falls within 0.3 s of a loud sound, recovers over 4 s, at most 15 dB either way."""
    step = round(0.05 * rate_hz)
    count = len(samples) // step
    level = np.sqrt((samples[: count * step].reshape(count, step) ** 2).mean(axis=1)) + 1e-6
    aim, held, out = float(np.median(level)), float(np.median(level)), np.empty(count)
    for i, now in enumerate(level):
        held += (now - held) * (0.16 if now > held else 0.0125)
        out[i] = np.clip((aim / held) ** strength, 0.18, 5.6)
    gain = np.interp(np.arange(len(samples)), (np.arange(count) + 0.5) * step, out)
    return (samples * gain).astype(np.float32)


def suppresses(samples: Array, rate_hz: int, floor_db: float = -26.0) -> Array:
    """Noise suppression: each frequency is muted to the floor where it stays within 6 dB of its own quiet level."""
    size = 2 * round(0.01 * rate_hz)
    hop, window = size // 2, np.sqrt(np.hanning(size + 1)[:-1]).astype(np.float32)
    out, floor = np.zeros(len(samples) + size, np.float32), np.float32(10 ** (floor_db / 20))
    quiet: Any = None
    held: Any = None
    chunk = 100  # frames: one second
    for first in range(0, len(samples) - size, chunk * hop):
        starts = np.arange(first, min(first + chunk * hop, len(samples) - size + 1), hop)
        spectra = np.fft.rfft(samples[starts[:, None] + np.arange(size)] * window, axis=1)
        power = np.abs(spectra) ** 2
        power = (power + np.roll(power, 1, 1) + np.roll(power, -1, 1)) / 3
        now = np.quantile(power, 0.4, axis=0) + 1e-14
        quiet = now if quiet is None else np.minimum(quiet * 1.25, 0.7 * quiet + 0.3 * now)
        gain = np.clip(1 - 4.0 * quiet / (power + 1e-14), floor, 1).astype(np.float32)
        for i in range(len(gain)):
            held = gain[i] if held is None else np.maximum(gain[i], 0.6 * held)
            gain[i] = held
        pieces = np.fft.irfft(spectra * gain, size, axis=1).astype(np.float32) * window
        for i, at in enumerate(starts):
            out[at : at + size] += pieces[i]
    return out[: len(samples)]


def handled(samples: Array, rate_hz: int, rng: np.random.Generator) -> Array:
    """A phone in the hand: rubs and bumps, and now and then a new distance (up to 6 dB) within half a second."""
    out = samples.copy()
    rms = float(np.sqrt(np.mean(samples**2)))
    t = 0.0
    while True:
        t += float(rng.exponential(9))
        length = round(rng.uniform(0.05, 0.8) * rate_hz)
        at = round(t * rate_hz)
        if at + length >= len(out):
            break
        rub = np.cumsum(rng.standard_normal(length)) if rng.random() < 0.6 else rng.standard_normal(length)
        rub -= np.linspace(rub[0], rub[-1], length)
        rub *= np.hanning(length) ** 0.5 / max(1e-9, float(np.abs(rub).max()))
        out[at : at + length] += (rms * rng.uniform(2, 12) * rub).astype(np.float32)
    moves = np.sort(rng.uniform(0, len(out), 1 + len(out) // (150 * rate_hz)))
    knots, gains, now = [0.0], [0.0], 0.0
    for move in moves:
        knots += [float(move), float(move) + 0.5 * rate_hz]
        gains += [now, now := float(rng.uniform(-4, 2))]
    gain = 10 ** (np.interp(np.arange(len(out)), knots, gains) / 20)
    return (out * gain).astype(np.float32)


def encoded(samples: Array, rate_hz: int, codec: str, bit_rate: int | None) -> bytes:
    """A file of the samples as a phone would write it."""
    import av

    av.logging.set_level(av.logging.PANIC)
    form, name = CODECS[codec]
    buffer = io.BytesIO()
    with av.open(buffer, "w", format=form) as container:
        stream: Any = container.add_stream(name, rate=48000 if codec == "opus" else rate_hz)
        stream.layout = "mono"
        if bit_rate:
            stream.bit_rate = bit_rate
        kind = "s16" if codec == "flac" else "flt"
        whole = np.clip(np.rint(samples * 32768), -32768, 32767).astype(np.int16) if codec == "flac" else samples
        resampler = av.AudioResampler(format=stream.format.name, layout="mono", rate=stream.rate)
        fifo, sent = av.AudioFifo(), 0

        def send(least: int) -> int:
            """Whole frames of the encoder's size, stamped from 0 so that the file tells its priming."""
            done = sent
            while fifo.samples >= least:
                frame: Any = fifo.read(stream.frame_size or 4096, partial=least == 1)
                frame.pts, frame.time_base = done, Fraction(1, stream.rate)
                done += frame.samples
                container.mux(stream.encode(frame))
            return done

        def take(frames: list[Any]) -> None:
            for frame in frames:
                frame.pts = None
                fifo.write(frame)

        for first in range(0, len(whole), 1 << 16):
            block = av.AudioFrame.from_ndarray(whole[None, first : first + (1 << 16)], format=kind, layout="mono")
            block.sample_rate = rate_hz
            block.pts = None
            take(resampler.resample(block))
            sent = send(stream.frame_size or 4096)
        take(resampler.resample(None))
        send(1)
        container.mux(stream.encode(None))
    return buffer.getvalue()


def decoded(data: bytes) -> tuple[Array, int]:
    """A file's samples as mono float32, counted from its first frame, and their rate."""
    import av

    with av.open(io.BytesIO(data), "r") as container:
        stream = container.streams.audio[0]
        rate_hz = int(stream.rate)
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=rate_hz)
        parts: list[Any] = []
        for frame in container.decode(stream):
            parts.extend(f.to_ndarray()[0] for f in resampler.resample(frame))
        parts.extend(f.to_ndarray()[0] for f in resampler.resample(None))
    return np.concatenate(parts).astype(np.float32), rate_hz


def through_codec(samples: Array, rate_hz: int, codec: str, bit_rate: int) -> tuple[Array, int]:
    """The samples after a lossy codec. The rate may change (Opus: 48 kHz)."""
    return decoded(encoded(samples, rate_hz, codec, bit_rate))
