"""Other ways to find clicks, for comparison: librosa's onset detector and a plain gate. Samples in, seconds out."""

from __future__ import annotations

import numpy as np

from tests.benchmarks.sounds import Array


def librosa_default(samples: Array, rate_hz: int) -> list[float]:
    """librosa.onset.onset_detect as it comes, at its usual 22.05 kHz."""
    import librosa

    at_22k = librosa.resample(samples, orig_sr=rate_hz, target_sr=22050, res_type="polyphase")
    return [float(t) for t in librosa.onset.onset_detect(y=at_22k, sr=22050, units="time")]


def librosa_tuned(samples: Array, rate_hz: int) -> list[float]:
    """The same on mel bands above 1 kHz, 2.9 ms steps, with a higher threshold and one onset in 0.5 s at most."""
    import librosa

    hop = round(0.0029 * rate_hz)
    size = 1 << int(np.ceil(np.log2(0.02 * rate_hz)))
    top_hz = min(12000, rate_hz / 2)
    strength = librosa.onset.onset_strength(
        y=samples, sr=rate_hz, hop_length=hop, n_fft=size, n_mels=40, fmin=1000, fmax=top_hz, max_size=3
    )
    floor = float(np.median(strength))
    spread = float(np.median(np.abs(strength - floor))) + 1e-9
    wait = round(0.5 * rate_hz / hop)
    frames = librosa.onset.onset_detect(
        onset_envelope=strength,
        sr=rate_hz,
        hop_length=hop,
        normalize=False,
        delta=25 * spread,
        pre_max=wait // 4,
        post_max=wait // 4,
        pre_avg=wait,
        post_avg=wait,
        wait=wait,
    )
    return [float(f) * hop / rate_hz for f in frames]


def energy_gate(samples: Array, rate_hz: int) -> list[float]:
    """Sound above 1 kHz in 1 ms steps: an onset where it stands 18 dB over its running median of 2 s, 0.5 s apart."""
    from tests.benchmarks.backgrounds import above_1khz

    step = max(1, rate_hz // 1000)
    count = len(samples) // step
    level = 10 * np.log10((above_1khz(samples, rate_hz)[: count * step].reshape(count, step) ** 2).mean(axis=1) + 1e-12)
    coarse = np.median(level[: count // 500 * 500].reshape(-1, 500), axis=1)
    floor = np.array([np.median(coarse[max(0, i - 4) : i + 1]) for i in range(len(coarse))])
    times: list[float] = []
    last = -1.0
    for i in np.flatnonzero(level[: len(floor) * 500] > np.repeat(floor, 500) + 18):
        t = float(i) * step / rate_hz
        if t - last > 0.5:
            times.append(t)
            last = t
    return times


PEERS = {"librosa, default": librosa_default, "librosa, tuned": librosa_tuned, "energy gate": energy_gate}
