"""Holes in a recording: told, with their length where it is known, and never bridged."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest

from clicktimer.audio import Recording, open_recording
from clicktimer.records import Block, Gap, Notice
from tests.support.sound_files import KINDS, click_train, cut, found_clicks, later, spoiled, without, write_kind

SAMPLES, TIMES_S = click_train(48000)
# kind: how long one packet is, in samples
PACKETS = {"webm": 960, "mkv-flac": 4608, "m4a": 1024, "mov": 1024, "opus": 960, "ogg-flac": 4608}


def read(path: Path, chunk_s: float = 5.0) -> tuple[list[Block], list[Gap], tuple[Notice, ...], Recording]:
    recording = open_recording(path, chunk_s=chunk_s)
    blocks = list(recording.blocks())
    recording.finish()
    return blocks, [block.gap_before for block in blocks if block.gap_before], recording.notices, recording


def codes(notices: tuple[Notice, ...]) -> list[str]:
    return [notice.code for notice in notices]


def from_block_times(blocks: list[Block], near_s: np.ndarray) -> np.ndarray:
    """The clicks' times by the blocks' own start_s; sound placed where the blocks say it is, silence between."""
    rate_hz = blocks[0].rate_hz
    end_s = max(block.start_s + len(block.samples) / rate_hz for block in blocks)
    laid = np.zeros(round(end_s * rate_hz) + rate_hz)
    for block in blocks:
        start = round(block.start_s * rate_hz)
        laid[start : start + len(block.samples)] = block.samples
    return found_clicks(laid, rate_hz, near_s)


@pytest.mark.parametrize("kind", PACKETS)
@pytest.mark.parametrize("chunk_s", [5.0, 0.7])
def test_a_jump_of_the_time_stamps_is_a_gap_of_that_length(tmp_path: Path, kind: str, chunk_s: float) -> None:
    number = round(6.0 * 48000 / PACKETS[kind])
    path = write_kind(tmp_path, kind, SAMPLES, change=later(number, 2.5))
    blocks, gaps, notices, recording = read(path, chunk_s)
    (gap,) = gaps
    assert gap.from_s == pytest.approx(6.0, abs=0.1)
    assert gap.to_s == pytest.approx(gap.from_s + 2.5, abs=0.002)
    assert notices == ()
    moved_s = np.where(gap.from_s < TIMES_S, TIMES_S + 2.5, TIMES_S)
    assert np.abs(from_block_times(blocks, moved_s) - moved_s).max() < 0.002
    assert recording.now_s == pytest.approx(14.5, abs=0.05)


@pytest.mark.parametrize("kind", sorted(set(PACKETS) - {"opus"}))  # libav's ogg writer stamps pages, not packets
def test_lost_packets_move_what_follows(tmp_path: Path, kind: str) -> None:
    first = round(3.0 * 48000 / PACKETS[kind])
    last = first + round(0.6 * 48000 / PACKETS[kind])
    path = write_kind(tmp_path, kind, SAMPLES, change=without(first, last))
    blocks, gaps, _, _ = read(path)
    (gap,) = gaps
    assert gap.to_s is not None
    assert gap.to_s - gap.from_s == pytest.approx((last - first) * PACKETS[kind] / 48000, abs=0.025)
    assert np.abs(from_block_times(blocks, TIMES_S) - TIMES_S).max() < 0.003


@pytest.mark.parametrize("kind", ["webm", "m4a", "mkv-flac"])
def test_a_jump_of_twenty_milliseconds_is_not_a_gap(tmp_path: Path, kind: str) -> None:
    _, gaps, notices, _ = read(write_kind(tmp_path, kind, SAMPLES, change=later(60, 0.02)))
    assert (gaps, notices) == ([], ())


def test_a_clock_that_drifts_is_told_and_is_not_a_gap(tmp_path: Path) -> None:
    long, _ = click_train(48000, seconds=50.0)

    def drift(number: int, packet):  # the stamping clock runs 0.3 % fast
        packet.pts = packet.dts = round(packet.pts * 1.003)
        return packet

    path = write_kind(tmp_path, "webm", long, change=drift)
    _, gaps, notices, _ = read(path)
    assert gaps == []
    assert codes(notices) == ["clock-drift"]


@pytest.mark.parametrize("kind", ["m4a", "mov", "webm", "flac", "mkv-flac", "ogg-vorbis", "opus", "ogg-flac"])
def test_damage_is_a_gap_of_the_length_that_the_stamps_tell(tmp_path: Path, kind: str) -> None:
    path = spoiled(write_kind(tmp_path, kind, SAMPLES), 0.55)
    blocks, gaps, _, recording = read(path)
    assert len(gaps) >= 1
    lost_s = [(gap.from_s, gap.to_s) for gap in gaps]
    assert all(to_s is not None and 0.0 < to_s - from_s < 5.5 for from_s, to_s in lost_s)
    kept = [t for t in TIMES_S if not any(a - 0.1 < t < b + 0.1 for a, b in lost_s)]
    assert len(kept) >= 5
    assert np.abs(from_block_times(blocks, np.array(kept)) - kept).max() < 0.003
    assert recording.now_s == pytest.approx(12.0, abs=0.05)


@pytest.mark.parametrize("kind", ["m4a", "flac", "mkv-flac", "mp3"])
def test_damage_is_told_with_its_time(tmp_path: Path, kind: str) -> None:
    _, _, notices, _ = read(spoiled(write_kind(tmp_path, kind, SAMPLES), 0.55))
    assert codes(notices) == ["damaged"]
    assert notices[0].time_s == pytest.approx(6.6, abs=0.6)


@pytest.mark.parametrize("kind", ["mp3", "amr"])
def test_damage_in_a_file_without_times_is_a_gap_of_unknown_length(tmp_path: Path, kind: str) -> None:
    rate_hz = KINDS[kind][3]
    samples, _ = click_train(rate_hz)
    _, gaps, notices, _ = read(spoiled(write_kind(tmp_path, kind, samples), 0.55))
    assert gaps
    assert all(gap.to_s is None for gap in gaps)
    assert "damaged" in codes(notices)


def test_damage_in_raw_aac_is_told_even_where_no_packet_fails(tmp_path: Path) -> None:
    _, _, notices, _ = read(spoiled(write_kind(tmp_path, "aac", SAMPLES), 0.55))
    assert "damaged" in codes(notices)


def test_one_wrong_byte_in_flac_is_no_burst_of_noise(tmp_path: Path) -> None:
    path = write_kind(tmp_path, "flac", SAMPLES)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0x55
    path.write_bytes(data)
    blocks, gaps, notices, _ = read(path)
    assert (len(gaps), codes(notices)) == (1, ["damaged"])
    for block in blocks:  # bit for bit the sound that was written, wherever there is sound
        start = round(block.start_s * 48000)
        np.testing.assert_allclose(block.samples, SAMPLES[start : start + len(block.samples)], atol=2e-5)


@pytest.mark.parametrize("kind", ["wav16", "wav24", "aiff", "flac", "mp3", "webm", "mkv-flac", "aac"])
def test_what_is_there_of_a_cut_file_is_read_and_the_cut_is_told(tmp_path: Path, kind: str) -> None:
    blocks, gaps, notices, recording = read(cut(write_kind(tmp_path, kind, SAMPLES), 0.6))
    assert (gaps, codes(notices)) == ([], ["truncated"])
    assert recording.now_s == pytest.approx(7.2, abs=0.4)
    there = TIMES_S[np.less(TIMES_S, recording.now_s - 0.5)]
    assert np.abs(from_block_times(blocks, there) - there).max() < (0.022 if kind == "aac" else 0.001)


@pytest.mark.parametrize("length", [0, 1000, 0xFFFF_FFFF])
def test_a_wav_whose_header_was_never_brought_up_to_date_is_read_to_its_end(tmp_path: Path, length: int) -> None:
    path = write_kind(tmp_path, "wav16", SAMPLES)
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[at : at + 4] = length.to_bytes(4, "little")
    path.write_bytes(data)
    blocks, gaps, notices, recording = read(path)
    assert (gaps, codes(notices)) == ([], ["wrong-length"])
    assert recording.now_s == 12.0
    assert np.abs(from_block_times(blocks, TIMES_S) - TIMES_S).max() < 1e-4


def test_words_after_the_sound_of_a_wav_are_not_sound(tmp_path: Path) -> None:
    path = write_kind(tmp_path, "wav16", SAMPLES)
    note = b"note" + (100_000).to_bytes(4, "little") + bytes(range(250)) * 400
    path.write_bytes(path.read_bytes() + note)
    _, gaps, notices, recording = read(path)
    assert (gaps, notices, recording.now_s) == ([], (), 12.0)


def test_a_change_of_rate_inside_a_file_starts_afresh(tmp_path: Path) -> None:
    fast, _ = click_train(48000, seconds=4.0)
    slow, _ = click_train(24000, seconds=4.0)
    for rate_hz, samples in ((48000, fast), (24000, slow)):
        (tmp_path / str(rate_hz)).mkdir()
        from tests.support.sound_files import encode

        encode(tmp_path / str(rate_hz) / "x.aac", samples, rate_hz, "aac", "fltp", container="adts")
    both = tmp_path / "both.aac"
    both.write_bytes(b"".join((tmp_path / r / "x.aac").read_bytes() for r in ("48000", "24000")))
    blocks, gaps, _, recording = read(both)
    assert [block.rate_hz for block in blocks] == [48000, 24000]
    (gap,) = gaps
    assert gap.from_s == gap.to_s == blocks[1].start_s == pytest.approx(4.0, abs=0.06)
    assert recording.now_s == pytest.approx(8.0, abs=0.15)


def several(every: int, seconds: float) -> Callable[[int, av.Packet], av.Packet]:
    """Move the time stamps of all packets once more after each so many packets."""

    def change(number: int, packet: av.Packet) -> av.Packet:
        by = round(number // every * seconds / packet.time_base)
        packet.pts, packet.dts = (packet.pts or 0) + by, (packet.dts or 0) + by
        return packet

    return change


@pytest.mark.parametrize("kind", ["m4a", "mkv-flac"])
def test_jumps_that_are_credible_one_by_one_are_not_in_sum(tmp_path: Path, kind: str) -> None:
    path = write_kind(tmp_path, kind, SAMPLES, change=several(20, 20_000.0))
    _, gaps, _, recording = read(path)
    assert len(gaps) > 4
    assert sum(gap.to_s - gap.from_s for gap in gaps if gap.to_s is not None) < 86_400.0
    assert any(gap.to_s is None for gap in gaps)
    assert recording.now_s < 86_400.0 + 13.0  # seven packets of a phone's file once were "373 days"


def test_a_file_of_nothing_but_holes_is_read_to_a_bound(tmp_path: Path) -> None:
    path = write_kind(tmp_path, "webm", np.tile(SAMPLES, 5), change=several(1, 0.2))
    _, gaps, notices, recording = read(path)
    assert 1000 <= len(gaps) <= 1001
    (notice,) = notices
    assert (notice.code, notice.reason.code) == ("truncated", "notice.too-many-gaps")
    assert recording.now_s < 1002 * 0.22 + 1.0
