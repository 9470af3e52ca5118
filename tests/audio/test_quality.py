"""What is odd about the sound itself is told, and nothing is told of a sound recording."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from clicktimer.audio import open_recording
from clicktimer.records import Block, Notice
from tests.support.sound_files import click_train, encode
from tests.support.words import said

RATE_HZ = 48000
SAMPLES, TIMES_S = click_train(RATE_HZ, seconds=15.0)


def read(tmp_path: Path, samples: np.ndarray, codec: str = "pcm_f32le") -> tuple[list[Block], list[Notice]]:
    path = encode(tmp_path / "x.wav", samples, RATE_HZ, codec, {"pcm_f32le": "flt", "pcm_s16le": "s16"}[codec])
    recording = open_recording(path)
    blocks = list(recording.blocks())
    recording.finish()
    return blocks, list(recording.notices)


def codes(notices: list[Notice]) -> list[str]:
    return [notice.code for notice in notices]


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_samples_that_are_not_numbers_are_a_gap(tmp_path: Path, bad: float) -> None:
    samples = SAMPLES.copy()
    samples[round(4.95 * RATE_HZ) : round(5.12 * RATE_HZ)] = bad  # across the border of a window
    samples[round(9.31 * RATE_HZ)] = bad
    blocks, notices = read(tmp_path, samples)
    gaps = [(round(b.gap_before.from_s, 6), round(b.gap_before.to_s or 0, 6)) for b in blocks if b.gap_before]
    assert gaps == [(4.9, 5.2), (9.3, 9.4)]
    assert codes(notices) == ["not-a-number"]
    assert notices[0].time_s == pytest.approx(4.95)
    assert str(round(0.17 * RATE_HZ) + 1) in said(notices[0].reason)
    for block in blocks:
        start = round(block.start_s * RATE_HZ)
        np.testing.assert_allclose(block.samples, SAMPLES[start : start + len(block.samples)], atol=1e-6)


def test_nothing_but_not_numbers_gives_no_block(tmp_path: Path) -> None:
    blocks, notices = read(tmp_path, np.full(RATE_HZ, np.nan))
    assert blocks == []
    assert codes(notices) == ["not-a-number"]


def test_digital_silence(tmp_path: Path) -> None:
    blocks, notices = read(tmp_path, np.zeros(3 * RATE_HZ), "pcm_s16le")
    assert codes(notices) == ["digital-silence"]
    assert sum(len(block.samples) for block in blocks) == 3 * RATE_HZ


@pytest.mark.parametrize(("gain", "want"), [(0.02, []), (0.002, ["very-quiet"])])
def test_very_quiet(tmp_path: Path, gain: float, want: list[str]) -> None:
    assert codes(read(tmp_path, SAMPLES * gain)[1]) == want


def test_a_click_that_clips_is_normal(tmp_path: Path) -> None:
    seldom, _ = click_train(RATE_HZ, seconds=15.0, every_s=6.0)
    seldom = np.clip(seldom * 4, -1, 1)
    assert np.count_nonzero(np.abs(seldom) == 1.0) > 100
    assert read(tmp_path, seldom, "pcm_s16le")[1] == []


def test_clipping_throughout(tmp_path: Path) -> None:
    _, notices = read(tmp_path, np.clip(SAMPLES * 400, -1, 1), "pcm_s16le")
    assert codes(notices) == ["clipping"]
    assert "throughout" in said(notices[0].reason)


def test_clipping_in_places(tmp_path: Path) -> None:
    samples = SAMPLES.copy()
    samples[2 * RATE_HZ : 3 * RATE_HZ] = np.clip(samples[2 * RATE_HZ : 3 * RATE_HZ] * 400, -1, 1)
    _, notices = read(tmp_path, samples, "pcm_s16le")
    assert codes(notices) == ["clipping"]
    assert "in places" in said(notices[0].reason)


@pytest.mark.parametrize(("offset", "want"), [(0.01, []), (-0.2, ["dc-offset"])])
def test_offset(tmp_path: Path, offset: float, want: list[str]) -> None:
    assert codes(read(tmp_path, SAMPLES * 0.5 + offset)[1]) == want


def test_a_wrong_scale_is_told_and_not_called_clipping(tmp_path: Path) -> None:
    assert codes(read(tmp_path, SAMPLES * 32768.0)[1]) == ["beyond-full-scale"]


@pytest.mark.parametrize(("from_s", "to_s"), [(3.2, 3.31), (3.95, 4.06), (5.5, 9.3), (4.0, 5.0)])
def test_muted_stretches(tmp_path: Path, from_s: float, to_s: float) -> None:
    samples = SAMPLES.copy()
    samples[round(from_s * RATE_HZ) : round(to_s * RATE_HZ)] = 0.0
    blocks, notices = read(tmp_path, samples, "pcm_s16le")
    assert codes(notices) == ["muted-stretches"]
    assert notices[0].time_s == pytest.approx(from_s, abs=1e-3)
    assert f"in 1 place, {to_s - from_s:.1f} s" in said(notices[0].reason)
    assert all(block.gap_before is None for block in blocks)


def test_short_silence_and_silence_at_the_ends_are_not_told(tmp_path: Path) -> None:
    samples = SAMPLES.copy()
    samples[round(3.2 * RATE_HZ) : round(3.29 * RATE_HZ)] = 0.0
    samples[: round(0.4 * RATE_HZ)] = 0.0
    samples[-round(0.4 * RATE_HZ) :] = 0.0
    assert read(tmp_path, samples, "pcm_s16le")[1] == []


def test_many_muted_stretches_are_told_once(tmp_path: Path) -> None:
    samples = SAMPLES.copy()
    for start_s in np.arange(2.0, 14.0, 0.5):
        samples[round(start_s * RATE_HZ) : round((start_s + 0.25) * RATE_HZ)] = 0.0
    _, notices = read(tmp_path, samples, "pcm_s16le")
    assert codes(notices) == ["muted-stretches"]
    assert "in 24 places, 6.0 s" in said(notices[0].reason)
