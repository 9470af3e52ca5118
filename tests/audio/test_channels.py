"""Several channels become one without losing the click."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from clicktimer.audio import open_recording
from clicktimer.records import Block, Notice
from tests.support.sound_files import click_train, encode
from tests.support.words import said

SAMPLES, TIMES_S = click_train(48000, seconds=15.0)
SILENT = np.zeros_like(SAMPLES)


def mono(
    tmp_path: Path, *channels: np.ndarray, chunk_s: float = 5.0
) -> tuple[np.ndarray, tuple[Notice, ...], list[Block]]:
    path = encode(tmp_path / "x.wav", np.stack(channels), 48000, "pcm_f32le", "flt")
    recording = open_recording(path, chunk_s=chunk_s)
    blocks = list(recording.blocks())
    recording.finish()
    return np.concatenate([block.samples for block in blocks]), recording.notices, blocks


@pytest.mark.parametrize("dead", [0, 1])
def test_a_dead_channel_does_not_halve_the_click(tmp_path: Path, dead: int) -> None:
    got, notices, _ = mono(tmp_path, *([SILENT, SAMPLES] if dead == 0 else [SAMPLES, SILENT]))
    np.testing.assert_allclose(got, SAMPLES, atol=1e-6)
    assert [(notice.code, notice.time_s) for notice in notices] == [("dead-channel", None)]
    assert f"channel {dead + 1} of 2" in said(notices[0].reason)


def test_channels_in_opposite_phase_do_not_cancel(tmp_path: Path) -> None:
    got, notices, _ = mono(tmp_path, SAMPLES, -0.9 * SAMPLES)
    np.testing.assert_allclose(got, SAMPLES, atol=1e-6)
    assert [notice.code for notice in notices] == ["channels-cancel"]


def test_two_live_channels_are_averaged_without_remark(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    other = 0.5 * SAMPLES + 4e-3 * rng.standard_normal(len(SAMPLES))
    got, notices, _ = mono(tmp_path, SAMPLES, other)
    np.testing.assert_allclose(got, (SAMPLES + other) / 2, atol=1e-6)
    assert notices == ()


def test_the_choice_waits_for_the_first_sound(tmp_path: Path) -> None:
    late = np.concatenate([np.zeros(25 * 48000), SAMPLES])
    got, notices, _ = mono(tmp_path, late, np.zeros_like(late))
    np.testing.assert_allclose(got, late, atol=1e-6)
    assert [notice.code for notice in notices] == ["dead-channel", "muted-stretches"]


def test_a_channel_that_falls_silent_later_is_told(tmp_path: Path) -> None:
    stops = SAMPLES.copy()
    stops[12 * 48000 :] = 0.0
    long = np.concatenate([SAMPLES, SAMPLES])
    got, notices, blocks = mono(tmp_path, long, np.concatenate([stops, SILENT]))
    (notice,) = notices
    assert notice.code == "dead-channel"
    assert notice.time_s == pytest.approx(12.0, abs=1.0)
    assert all(block.gap_before is None for block in blocks)
    assert len(got) == len(long)


def test_when_the_only_channel_in_use_falls_silent_the_other_takes_over_behind_a_gap(tmp_path: Path) -> None:
    first = np.concatenate([SAMPLES, SILENT])
    second = np.concatenate([SILENT, SAMPLES])
    _, notices, blocks = mono(tmp_path, first, second)
    (gap,) = [block.gap_before for block in blocks if block.gap_before]
    assert gap.from_s == pytest.approx(15.0, abs=1.0)
    assert gap.to_s == pytest.approx(18.0, abs=1.0)
    rest = np.concatenate([block.samples for block in blocks if block.start_s >= (gap.to_s or 0)])
    assert [block.start_s for block in blocks if block.gap_before] == [gap.to_s]
    np.testing.assert_allclose(rest, second[-len(rest) :], atol=1e-6)
    assert [notice.code for notice in notices][:2] == ["dead-channel", "dead-channel"]


def test_not_a_number_in_one_channel_is_lost_sound_not_a_dead_channel(tmp_path: Path) -> None:
    spoilt = SAMPLES.copy()
    spoilt[5 * 48000 + 7] = np.nan
    _, notices, blocks = mono(tmp_path, SAMPLES, spoilt)
    assert [notice.code for notice in notices] == ["not-a-number"]
    assert sum(block.gap_before is not None for block in blocks) == 1
