"""For tests only: click trains, and files of every kind written with libav's encoders (not with our own writer)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

STORED = Path(__file__).parents[1] / "data"
Floats = npt.NDArray[np.float64]

# kind: (file name, codec, container format or None, rate, sample format)
KINDS: dict[str, tuple[str, str, str | None, int, str]] = {
    "wav16": ("x.wav", "pcm_s16le", None, 48000, "s16"),
    "wav16-44k": ("x.wav", "pcm_s16le", None, 44100, "s16"),
    "wav16-8k": ("x.wav", "pcm_s16le", None, 8000, "s16"),
    "wav16-192k": ("x.wav", "pcm_s16le", None, 192000, "s16"),
    "wav8": ("x.wav", "pcm_u8", None, 48000, "u8"),
    "wav24": ("x.wav", "pcm_s24le", None, 48000, "s32"),
    "wavfloat": ("x.wav", "pcm_f32le", None, 48000, "flt"),
    "wavdouble": ("x.wav", "pcm_f64le", None, 48000, "dbl"),
    "flac": ("x.flac", "flac", None, 48000, "s16"),
    "flac24": ("x.flac", "flac", None, 96000, "s32"),
    "aiff": ("x.aiff", "pcm_s16be", None, 48000, "s16"),
    "caf": ("x.caf", "pcm_s16be", None, 48000, "s16"),
    "caf-alac": ("x.caf", "alac", None, 48000, "s16p"),
    "m4a-alac": ("x.m4a", "alac", "ipod", 48000, "s16p"),
    "mkv-flac": ("x.mkv", "flac", None, 48000, "s16"),
    "mp3": ("x.mp3", "libmp3lame", None, 48000, "fltp"),
    "m4a": ("x.m4a", "aac", "ipod", 48000, "fltp"),
    "m4a-44k": ("x.m4a", "aac", "ipod", 44100, "fltp"),
    "mp4": ("x.mp4", "aac", None, 48000, "fltp"),
    "mov": ("x.mov", "aac", None, 48000, "fltp"),
    "aac": ("x.aac", "aac", "adts", 48000, "fltp"),
    "opus": ("x.opus", "libopus", "ogg", 48000, "s16"),
    "ogg-vorbis": ("x.ogg", "vorbis", None, 48000, "fltp"),
    "ogg-flac": ("x.ogg", "flac", None, 48000, "s16"),
    "webm": ("x.webm", "libopus", None, 48000, "s16"),
    "3gp": ("x.3gp", "libopencore_amrnb", None, 8000, "s16"),
    "amr": ("x.amr", "libopencore_amrnb", None, 8000, "s16"),
}


def click_train(
    rate_hz: int, seconds: float = 12.0, first_s: float = 1.013, every_s: float = 1.7
) -> tuple[Floats, Floats]:
    """Mono samples with one sharp click every so often over a little noise, and the clicks' times in seconds."""
    rng = np.random.default_rng(7)
    samples = rng.standard_normal(round(seconds * rate_hz)) * 4e-3
    times = np.arange(first_s, seconds - 0.5, every_s)
    times = np.round(times * rate_hz) / rate_hz
    length = round(0.03 * rate_hz)
    age_s = np.arange(length) / rate_hz
    click = 0.7 * np.exp(-age_s / 0.004) * np.cos(2 * np.pi * 1900.0 * age_s)
    for time_s in times:
        start = round(time_s * rate_hz)
        samples[start : start + length] += click
    return samples, times


def found_clicks(samples: npt.NDArray[Any], rate_hz: int, near_s: Floats) -> Floats:
    """Where each click is, seconds: best match with the clean click within 50 ms of where it is expected."""
    length = round(0.012 * rate_hz)
    age_s = np.arange(length) / rate_hz
    shape = np.exp(-age_s / 0.004) * np.cos(2 * np.pi * 1900.0 * age_s)
    reach = round(0.05 * rate_hz)
    found = []
    for time_s in near_s:
        start = round(time_s * rate_hz) - reach
        match = np.correlate(np.asarray(samples[start : start + 2 * reach + length], float), shape, "valid")
        found.append((start + int(np.argmax(match))) / rate_hz)
    return np.array(found)


def encode(  # noqa: C901, PLR0913
    path: Path,
    samples: npt.ArrayLike,
    rate_hz: int,
    codec: str,
    sample_format: str,
    *,
    container: str | None = None,
    change: Callable[[int, av.Packet], av.Packet | None] | None = None,
    metadata: dict[str, str] | None = None,
    options: dict[str, str] | None = None,
    picture: bool = False,
    layout: str | None = None,
) -> Path:
    """Write samples, (n,) or (channels, n). ``change`` may alter or drop (None) the n-th packet on its way."""
    data = np.atleast_2d(np.asarray(samples, np.float32))
    if codec == "vorbis" and len(data) == 1:
        data = np.repeat(data, 2, axis=0)  # libav's own vorbis encoder knows stereo only
    layout = layout or {1: "mono", 2: "stereo"}.get(len(data), f"{len(data)}c")
    numbers = iter(range(1_000_000))
    with av.open(str(path), "w", format=container, options=options or {}) as out:
        out.metadata.update(metadata or {})
        video = None
        if picture:
            video = out.add_stream("mpeg4", rate=5)
            video.width, video.height, video.pix_fmt = 64, 48, "yuv420p"
        strict = {"strict": "experimental"} if codec == "vorbis" else {}
        stream = out.add_stream(codec, rate=rate_hz, layout=layout, options=strict)
        if codec in ("aac", "libopus", "libmp3lame"):
            stream.bit_rate = 64_000 * len(data)
        if codec == "libopencore_amrnb":
            stream.bit_rate = 12_200  # what phones use
        resampler = av.AudioResampler(format=sample_format, layout=layout, rate=rate_hz)

        def send(packets: list[av.Packet]) -> None:
            for packet in packets:
                changed = change(next(numbers), packet) if change else packet
                if changed is not None:
                    out.mux(changed)

        if video is not None:
            for number in range(int(5 * data.shape[1] / rate_hz)):
                image = av.VideoFrame.from_ndarray(np.full((48, 64, 3), number % 200, np.uint8), format="rgb24")
                image.pts = number
                out.mux(video.encode(image))
            out.mux(video.encode(None))
        for start in range(0, data.shape[1], 960):
            piece = np.ascontiguousarray(data[:, start : start + 960].T).reshape(1, -1)
            frame = av.AudioFrame.from_ndarray(piece, format="flt", layout=layout)
            frame.sample_rate, frame.pts = rate_hz, start
            for ready in resampler.resample(frame):
                send(stream.encode(ready))
        for ready in resampler.resample(None):
            send(stream.encode(ready))
        send(stream.encode(None))
    return path


def write_kind(folder: Path, kind: str, samples: npt.ArrayLike, **more: Any) -> Path:
    """Write samples as one of KINDS (at that kind's rate) into a folder.

    AMR is copied from a stored file instead, which holds click_train(8000): not every build of libav can encode it.
    """
    name, codec, container, rate_hz, sample_format = KINDS[kind]
    if codec == "libopencore_amrnb":
        path = folder / name
        path.write_bytes((STORED / f"clicks_8k{path.suffix}").read_bytes())
        return path
    return encode(folder / name, samples, rate_hz, codec, sample_format, container=container, **more)


def later(from_packet: int, seconds: float) -> Callable[[int, av.Packet], av.Packet]:
    """Move the time stamps of all packets from that number on."""

    def change(number: int, packet: av.Packet) -> av.Packet:
        if number >= from_packet:
            by = round(seconds / packet.time_base)
            packet.pts, packet.dts = (packet.pts or 0) + by, (packet.dts or 0) + by
        return packet

    return change


def without(first: int, last: int) -> Callable[[int, av.Packet], av.Packet | None]:
    """Leave out packets, stamps untouched: what was lost between recorder and file."""
    return lambda number, packet: None if first <= number < last else packet


def spoiled(path: Path, at: float, count: int = 400) -> Path:
    """A copy with so many bytes overwritten at that share of its length."""
    data = bytearray(path.read_bytes())
    start = int(len(data) * at)
    data[start : start + count] = np.random.default_rng(3).integers(0, 256, count, dtype=np.uint8).tobytes()
    copy = path.with_name("spoiled" + path.suffix)
    copy.write_bytes(data)
    return copy


def cut(path: Path, share: float) -> Path:
    """A copy of the first part of a file."""
    data = path.read_bytes()
    copy = path.with_name("cut" + path.suffix)
    copy.write_bytes(data[: int(len(data) * share)])
    return copy
