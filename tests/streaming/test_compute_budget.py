"""What listening costs: a share of the processor, and memory that does not grow with the time that it lasts."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio import open_recording
from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.spectral_lines import ToneFinder
from clicktimer.records import Block, Gap
from clicktimer.storage.reader import read_folder
from clicktimer.storage.writer import Folder
from clicktimer.streaming.engine import Engine
from clicktimer.streaming.session import RecordingSource, Session
from tests.support.live_parts import ROOT


@pytest.mark.slow
def test_listening_at_48_khz_costs_little_of_a_core(tmp_path: Path):
    began = time.process_time()
    opened = open_recording(ROOT / "fixtures_audio/very-short-3s.flac")
    source = RecordingSource(opened.blocks(), opened.info.rate_hz, "cost", piece_s=0.02)
    session = Session(source, Folder.create(tmp_path / "L", {}), MeasureOptions(), program="test")
    while not source.ended:
        session.step()
    measured = session.finish("end of the recording")
    share = (time.process_time() - began) / measured.source.duration_s
    assert share < 0.06, f"{100 * share:.1f} % of a core"  # the aim is 3 % over hours; a lively minute costs more


def test_memory_is_bounded_by_what_a_decision_looks_at():
    engine = Engine()
    rng = np.random.default_rng(3)
    rate = 8_000
    for second in range(400):
        sound = rng.normal(0.0, 0.01, rate).astype(np.float32)
        sound[rng.integers(0, rate, 4)] = 0.8
        engine.feed(Block(sound, rate, float(second)))
    held = sum(len(p) for p in engine._parts)
    assert held <= 6 * (300 + 61)
    assert len(engine.known) < 700


def test_levels_and_tones_lie_on_disk_and_no_longer_in_memory(tmp_path: Path):
    rate, rng = 16_000, np.random.default_rng(8)
    time_s = np.arange(100 * rate) / rate
    sound = (rng.normal(0.0, 0.01, len(time_s)) + 0.05 * np.sin(2.0 * np.pi * 117.0 * time_s)).astype(np.float32)
    cut = 40 * rate
    blocks = [Block(sound[:cut], rate, 0.0), Block(sound[cut:], rate, 47.0, Gap(40.0, 47.0, "the microphone was gone"))]
    source = RecordingSource(iter(blocks), rate, "long", piece_s=0.1)
    session = Session(source, Folder.create(tmp_path / "L", {}), MeasureOptions(), program="test")
    while not source.ended:
        session.step()
        assert sum(len(s.codes) for s in session.engine.finder.levels()) <= 4
        assert sum(len(s.freq_codes) for s in session._tones._done) == 0 or session.engine.end_s - 47.0 < 12.0
    assert sum(len(s.freq_codes) for s in session._tones.lines()) <= 20
    session.finish("end of the recording")
    stored = read_folder(tmp_path / "L")
    finder, tones = OnsetFinder(), ToneFinder()
    for block in blocks:
        finder.feed(block)
        tones.feed(block)
    finder.flush()
    tones.flush()
    lengths = [[(s.start_s, s.step_s, s.used) for s in levels] for levels in (stored.levels, finder.levels())]
    assert lengths[0] == lengths[1]
    assert [(s.start_s, s.step_s) for s in stored.tones] == [(s.start_s, s.step_s) for s in tones.lines()]
    for kept, whole in zip(stored.levels, finder.levels(), strict=True):
        np.testing.assert_array_equal(kept.codes, whole.codes)
    for mine, all_of in zip(stored.tones, tones.lines(), strict=True):
        np.testing.assert_array_equal(mine.freq_codes, all_of.freq_codes)
        np.testing.assert_array_equal(mine.over_codes, all_of.over_codes)
    assert stored.tones[0].freq_hz[10, 0] == pytest.approx(117.0, abs=0.5)
