"""Blocks: the same sound however it is cut, flat memory, parts joined, files written."""

from __future__ import annotations

import hashlib
import itertools
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clicktimer.audio import JoinedRecording, joined, open_recording, write_sound
from clicktimer.errors import InputError
from clicktimer.records import Gap
from tests.support.sound_files import click_train, encode, later, write_kind
from tests.support.words import said

Laid = tuple[list[tuple[float, Gap | None]], np.ndarray, tuple]


def laid_out(path: Path, chunk_s: float) -> Laid:
    """All that must not depend on the cut: places of gaps, samples, notices, source."""
    recording = open_recording(path, chunk_s=chunk_s)
    blocks = list(recording.blocks())
    source = recording.finish()
    gaps = [(round(block.start_s, 9), block.gap_before) for block in blocks if block.gap_before]
    longest = max(len(block.samples) for block in blocks)
    assert longest <= max(1, round(chunk_s * source.sample_rate_hz))
    for before, block in itertools.pairwise(blocks):
        if block.gap_before is None:  # blocks meet exactly
            end_s = before.start_s + len(before.samples) / before.rate_hz
            assert block.start_s == pytest.approx(end_s, abs=1e-9)
    return gaps, np.concatenate([block.samples for block in blocks]), (recording.notices, source)


@pytest.fixture(scope="module")
def awkward(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two channels (one dies), a jump of the stamps, exact silence."""
    samples, _ = click_train(8000, seconds=40.0)
    other = samples.copy()
    other[20 * 8000 :] = 0.0
    samples[30 * 8000 : 33 * 8000] = 0.0
    path = tmp_path_factory.mktemp("awkward") / "x.mkv"
    return encode(path, np.stack([samples, other]), 8000, "flac", "s16", change=later(40, 3.0))


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(chunk_s=st.one_of(st.floats(0.002, 30.0), st.sampled_from([1 / 48000, 0.5, 1.0, 5.0, 1e6])))
def test_any_length_of_block_gives_the_same(awkward: Path, chunk_s: float) -> None:
    gaps, samples, rest = laid_out(awkward, chunk_s)
    want_gaps, want_samples, want_rest = laid_out(awkward, 5.0)
    assert gaps == want_gaps
    assert len(gaps) == 1
    np.testing.assert_array_equal(samples, want_samples)
    assert rest == want_rest


def test_blocks_can_be_read_once_only(awkward: Path) -> None:
    recording = open_recording(awkward)
    list(recording.blocks())
    with pytest.raises(RuntimeError, match="once"):
        recording.blocks()
    recording.finish()


def test_a_reader_who_stops_early_is_told_how_far_he_came(awkward: Path) -> None:
    recording = open_recording(awkward)
    next(iter(recording.blocks()))
    source = recording.finish()
    assert 5.0 <= source.duration_s < 40.0
    assert all(notice.code != "truncated" for notice in recording.notices)


_PEAK = """
import sys
from pathlib import Path
from clicktimer.audio import open_recording
recording = open_recording(sys.argv[1])
for block in recording.blocks():
    pass
recording.finish()
print(next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM")).split()[1])
"""


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the peak is read from Linux's own account")
def test_ten_minutes_need_no_more_memory_than_one(tmp_path: Path) -> None:
    minute, _ = click_train(48000, seconds=60.0)
    peaks_kb = []
    for name, minutes in (("one.flac", 1), ("ten.flac", 10)):
        write_sound(tmp_path / name, np.tile(minute, minutes), 48000)
        command = [sys.executable, "-c", _PEAK, str(tmp_path / name)]
        peaks_kb.append(int(subprocess.run(command, capture_output=True, text=True, check=True).stdout))
    assert peaks_kb[1] - peaks_kb[0] <= 6_000  # ten minutes of float32 would be 115,000


@pytest.mark.slow
def test_longer_than_a_day(tmp_path: Path) -> None:
    hours = 25
    hour, _ = click_train(8000, seconds=3600.0, every_s=600.0)
    path = tmp_path / "day.flac"
    write_sound(path, np.tile(hour.astype(np.float32), hours), 8000)
    recording = open_recording(path)
    starts_s = [block.start_s for block in recording.blocks()]
    assert starts_s == pytest.approx(np.arange(0.0, hours * 3600.0, 10.0), abs=1e-9)
    assert recording.finish().duration_s == hours * 3600.0
    assert recording.notices == ()


def test_joined_parts_have_gaps_of_unknown_length_between(tmp_path: Path) -> None:
    paths = []
    for number, kind in enumerate(("wav16", "wav16-44k", "wav16-8k")):
        (tmp_path / str(number)).mkdir()
        samples, _ = click_train({0: 48000, 1: 44100, 2: 8000}[number], seconds=3.0 + number)
        paths.append(write_kind(tmp_path / str(number), kind, samples))
    whole = JoinedRecording([open_recording(path) for path in paths])
    blocks = list(whole.blocks())
    gaps = [(block.start_s, block.gap_before) for block in blocks if block.gap_before]
    why = "next part of the recording"
    assert gaps == [(3.0, Gap(3.0, None, why)), (7.0, Gap(7.0, None, why))]
    assert {block.start_s: block.rate_hz for block in blocks} == {0.0: 48000, 3.0: 44100, 7.0: 8000}
    source = whole.finish()
    assert source.duration_s == 12.0
    assert source.name == "x.wav + x.wav + x.wav"
    assert source.sha256 == hashlib.sha256(b"".join(path.read_bytes() for path in paths)).hexdigest()


def test_gaps_and_notices_of_a_later_part_move_with_it(tmp_path: Path) -> None:
    samples, _ = click_train(48000, seconds=4.0)
    first = write_kind(tmp_path, "wav16", samples)
    samples[2 * 48000 : 3 * 48000] = 0.0
    second = write_kind(tmp_path, "mkv-flac", samples, change=later(30, 1.0))
    whole = JoinedRecording([open_recording(first), open_recording(second)])
    gaps = [block.gap_before for block in whole.blocks() if block.gap_before]
    whole.finish()
    assert gaps[0].to_s is None
    assert gaps[1].to_s == pytest.approx(gaps[1].from_s + 1.0, abs=2e-3)
    assert gaps[1].from_s == pytest.approx(4.0 + 30 * 4608 / 48000, abs=2e-3)
    (notice,) = whole.notices
    assert said(notice.reason).startswith("x.mkv: ")
    assert notice.time_s == pytest.approx(6.0, abs=0.01)


def test_joined_is_the_blocks(tmp_path: Path) -> None:
    samples, _ = click_train(48000, seconds=3.0)
    path = write_kind(tmp_path, "wav16", samples)
    assert [block.start_s for block in joined([open_recording(path), open_recording(path)])] == [0.0, 3.0]
    with pytest.raises(InputError, match="no recordings"):
        joined([])


@pytest.mark.parametrize(
    ("name", "codec", "step"), [("a.flac", None, 2**-15), ("a.wav", None, 2**-15), ("a.wav", "pcm_s24le", 2**-23)]
)
def test_what_is_written_is_read_by_another_library(tmp_path: Path, name: str, codec: None, step: float) -> None:
    samples = np.stack([click_train(44100, seconds=3.0)[0], np.linspace(-1.2, 1.2, 3 * 44100)])
    write_sound(tmp_path / name, samples, 44100, codec=codec)
    theirs, rate_hz = soundfile.read(tmp_path / name, always_2d=True)
    assert rate_hz == 44100
    np.testing.assert_allclose(theirs.T, np.clip(samples, -1, 1), atol=1.01 * step)


def test_writing_twice_gives_the_same_bytes(tmp_path: Path) -> None:
    samples, _ = click_train(48000, seconds=3.0)
    for name in ("a.flac", "b.flac", "a.wav", "b.wav"):
        write_sound(tmp_path / name, samples, 48000)
    assert (tmp_path / "a.flac").read_bytes() == (tmp_path / "b.flac").read_bytes()
    assert (tmp_path / "a.wav").read_bytes() == (tmp_path / "b.wav").read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.flac", "a.wav", "b.flac", "b.wav"]


def test_float_wav_is_written_unchanged(tmp_path: Path) -> None:
    samples = np.array([0.0, 1.5, -2.0, 1e-9], np.float32)
    write_sound(tmp_path / "a.wav", samples, 48000, codec="pcm_f32le")
    np.testing.assert_array_equal(soundfile.read(tmp_path / "a.wav", dtype="float32")[0], samples)


def test_nothing_to_write_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="samples of shape"):
        write_sound(tmp_path / "a.wav", np.zeros((2, 2, 2)), 48000)
    assert list(tmp_path.iterdir()) == []
