"""What a phone or laptop writes is read, and clicks come out where they were put in."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
import soundfile  # libsndfile: a decoder that shares nothing with libav

from clicktimer.audio import open_recording
from clicktimer.errors import SettingsError
from tests.support.sound_files import KINDS, click_train, encode, found_clicks, write_kind

# kind: (shift of all clicks against the source in ms, how far from it an interval may be in ms)
# Lossless: one sample. The others: as measured when this was written, rounded up; see docs/formats.md.
LOSSLESS = {
    kind for kind in KINDS if kind.startswith(("wav", "flac", "aiff", "caf", "m4a-alac", "mkv-flac", "ogg-flac"))
}
BOUNDS_MS = {
    "mp3": (0.1, 0.1),
    "m4a": (0.1, 0.1),
    "m4a-44k": (0.1, 0.1),
    "mp4": (0.1, 0.1),
    "mov": (0.1, 0.1),
    "aac": (21.4, 0.1),  # raw ADTS: 1024 samples that no header tells to leave out
    "opus": (0.1, 0.1),
    "ogg-vorbis": (0.1, 0.1),
    "webm": (0.1, 0.1),
    "3gp": (1.3, 0.15),
    "amr": (5.1, 0.15),
}


def read(path: Path, chunk_s: float = 5.0) -> np.ndarray:
    recording = open_recording(path, chunk_s=chunk_s)
    blocks = list(recording.blocks())
    recording.finish()
    assert recording.notices == ()
    assert [block.gap_before for block in blocks] == [None] * len(blocks)
    return np.concatenate([block.samples for block in blocks])


@pytest.mark.parametrize("kind", KINDS)
def test_clicks_stay_where_they_were(tmp_path: Path, kind: str) -> None:
    rate_hz = KINDS[kind][3]
    samples, times_s = click_train(rate_hz)
    got = read(write_kind(tmp_path, kind, samples))
    assert got.dtype == np.float32
    found_s = found_clicks(got, rate_hz, times_s)
    shift_ms, interval_ms = (1e3 / rate_hz,) * 2 if kind in LOSSLESS else BOUNDS_MS[kind]
    assert np.abs(found_s - times_s).max() * 1e3 <= shift_ms
    assert np.abs(np.diff(found_s) - np.diff(times_s)).max() * 1e3 <= interval_ms


@pytest.mark.parametrize("kind", ["wav16", "wav8", "wav24", "wavfloat", "wavdouble", "flac", "flac24", "aiff", "caf"])
def test_samples_equal_those_of_another_decoder(tmp_path: Path, kind: str) -> None:
    samples, _ = click_train(KINDS[kind][3], seconds=6.3)
    path = write_kind(tmp_path, kind, np.stack([samples, 0.5 * samples[::-1]]))
    theirs, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    ours = read(path)
    assert rate_hz == KINDS[kind][3]
    assert len(ours) == len(theirs)
    np.testing.assert_allclose(ours, theirs.mean(axis=1), atol=1e-7)


@pytest.mark.parametrize("channels", [1, 2, 3, 6, 8, 16])
def test_any_number_of_channels(tmp_path: Path, channels: int) -> None:
    samples, _ = click_train(48000, seconds=3.0)
    path = encode(
        tmp_path / "x.wav", np.stack([samples * (1 + c) / 20 for c in range(channels)]), 48000, "pcm_f32le", "flt"
    )
    recording = open_recording(path)
    assert recording.info.channels == channels
    got = np.concatenate([block.samples for block in recording.blocks()])
    np.testing.assert_allclose(got, samples * (1 + channels) / 40, atol=1e-6)


def test_the_sound_track_of_a_video(tmp_path: Path) -> None:
    samples, times_s = click_train(48000)
    for name in ("clip.mp4", "clip.mov", "clip.mkv"):
        path = encode(tmp_path / name, samples, 48000, "aac", "fltp", picture=True)
        got = read(path)
        assert np.abs(found_clicks(got, 48000, times_s) - times_s).max() <= 2e-4


def test_source_is_told(tmp_path: Path) -> None:
    samples, _ = click_train(44100, seconds=3.0)
    path = write_kind(tmp_path, "wav16-44k", np.stack([samples, samples]))
    recording = open_recording(path)
    assert recording.info.duration_hint_s == pytest.approx(3.0)
    assert sum(len(block.samples) for block in recording.blocks()) == 3 * 44100
    source = recording.finish()
    assert (source.name, source.sample_rate_hz, source.channels) == ("x.wav", 44100, 2)
    assert source.duration_s == 3.0
    assert source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (source.started_at, source.started_how) == (None, "unknown")


def test_start_from_the_container(tmp_path: Path) -> None:
    samples, _ = click_train(48000, seconds=2.0)
    for stamp, want in (
        ("2026-03-14T07:30:12.000000Z", ("2026-03-14T07:30:12+00:00", "container")),
        ("1970-01-01T00:00:00.000000Z", (None, "unknown")),  # a phone that did not know the time
    ):
        path = write_kind(tmp_path, "m4a", samples, metadata={"creation_time": stamp})
        recording = open_recording(path)
        list(recording.blocks())
        source = recording.finish()
        assert (source.started_at, source.started_how) == want


def test_start_as_given_wins(tmp_path: Path) -> None:
    samples, _ = click_train(48000, seconds=2.0)
    path = write_kind(tmp_path, "m4a", samples, metadata={"creation_time": "2026-03-14T07:30:12.000000Z"})
    recording = open_recording(path, started="2026-11-25 06:05")
    source = recording.finish()
    assert (source.started_at, source.started_how) == ("2026-11-25T06:05:00", "given")


@pytest.mark.parametrize(
    "text", ["25.11.2026 06:05", "2026-11-25", "2026-13-25 06:05", "2026-11-25 6:05", "0026-11-25 06:05", ""]
)
def test_start_must_be_a_time(tmp_path: Path, text: str) -> None:
    with pytest.raises(SettingsError, match=r"YYYY-MM-DD HH:MM|the year must lie in"):
        open_recording(tmp_path / "none.wav", started=text)
