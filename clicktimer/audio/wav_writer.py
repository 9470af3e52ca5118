"""Samples in, a flac or wav file out: for the simulator and the demonstration, not part of measuring."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Literal

import av
import numpy as np
import numpy.typing as npt

FRAME_SAMPLES = 4096

Codec = Literal["flac", "pcm_s16le", "pcm_s24le", "pcm_f32le"]

_STORED: dict[Codec, tuple[str, npt.DTypeLike, float]] = {
    "flac": ("s16", np.int16, 2.0**15),
    "pcm_s16le": ("s16", np.int16, 2.0**15),
    "pcm_s24le": ("s32", np.int32, 2.0**31),
    "pcm_f32le": ("flt", np.float32, 1.0),
}
_CONTAINERS = {"flac": "flac"}


def write_sound(
    path: str | Path, samples: npt.ArrayLike, rate_hz: int, *, codec: Codec | None = None, channels_first: bool = True
) -> None:
    """Write samples (full scale = 1) of shape (n,) or (channels, n) as flac (16 bit) or wav.

    codec: None takes flac for a name that ends in .flac, 16-bit wav for any other. What exceeds full scale is clipped
    (not in float wav). Same samples, same bytes. Written beside and moved into place, so that no half file stays.

    Raises ValueError for a shape that is not sound, OSError when the file cannot be written.
    """
    path = Path(path)
    data = np.atleast_2d(np.asarray(samples))
    if data.ndim != 2 or not data.size:
        raise ValueError(f"samples of shape {np.shape(samples)}: give (n,) or (channels, n)")
    if not channels_first:
        data = data.T
    if codec is None:
        codec = "flac" if path.suffix.lower() == ".flac" else "pcm_s16le"
    name, kind, full = _STORED[codec]
    channels = len(data)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        kind_of_file = _CONTAINERS.get(codec, "wav")
        with av.open(str(part), "w", format=kind_of_file, options={"fflags": "+bitexact"}) as container:
            stream = container.add_stream(codec, rate=rate_hz, layout=_layout(channels), options={"flags": "+bitexact"})
            for start in range(0, data.shape[1], FRAME_SAMPLES):
                piece = np.asarray(data[:, start : start + FRAME_SAMPLES].T, np.float64)
                packed = _stored(piece, kind, full).reshape(1, -1)
                frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(packed), format=name, layout=_layout(channels))
                frame.sample_rate, frame.pts = rate_hz, start
                container.mux(stream.encode(frame))
            container.mux(stream.encode(None))
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _stored(piece: npt.NDArray[np.float64], kind: npt.DTypeLike, full: float) -> npt.NDArray[np.generic]:
    if full == 1.0:
        return piece.astype(kind)
    return np.clip(np.rint(piece * full), -full, full - 1.0).astype(kind)


def _layout(channels: int) -> str:
    return {1: "mono", 2: "stereo"}.get(channels, f"{channels}c")
