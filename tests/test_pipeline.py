"""The whole chain: the same sound gives the same measurement, however it is cut, stored, amplified or joined."""

from __future__ import annotations

import itertools
import json
import os
import subprocess
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile

import clicktimer
from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.pipeline import Listened, conclude, hear_blocks, measure_samples
from clicktimer.records import (
    Block,
    SourceInfo,
)
from clicktimer.reporting.json.measurement import measurement_json
from tests.support.recordings import measured, path_of, truth_of

NAME = "short-cycling-12s"


@cache
def samples_of(name: str) -> tuple[np.ndarray, int]:
    x, rate_hz = soundfile.read(path_of(name), dtype="float32")
    return x, rate_hz


def concluded(heard: Listened, rate_hz: int) -> Measurement:
    return conclude(heard, SourceInfo("cut", heard.end_s, rate_hz, 1, None), MeasureOptions(taps="shut"), [])


def cut_at(x: np.ndarray, rate_hz: int, cuts: list[int]) -> Measurement:
    edges = [0, *sorted(cuts), len(x)]
    blocks = [Block(x[a:b], rate_hz, a / rate_hz) for a, b in itertools.pairwise(edges)]
    return concluded(hear_blocks(blocks), rate_hz)


@pytest.mark.parametrize("seed", range(3))
def test_any_cutting_gives_the_same_measurement(seed: int) -> None:
    x, rate_hz = samples_of(NAME)
    whole = cut_at(x, rate_hz, [])
    assert len(whole.clicks) == 8
    rng = np.random.default_rng(seed)
    far = rng.integers(0, len(x), 30)
    # Also through the middle of a click, and in pieces of a few samples.
    through = [round(c.time_s * rate_hz) + int(rng.integers(-20, 40)) for c in whole.clicks]
    near = through[0] + np.cumsum(rng.integers(1, 8, 60))
    assert cut_at(x, rate_hz, [*far.tolist(), *through, *near.tolist()]) == whole


def test_a_file_and_its_samples_give_the_same() -> None:
    x, rate_hz = samples_of(NAME)  # decoded by another library
    by_file, by_samples = clicktimer.measure(path_of(NAME), taps="shut"), measure_samples(x, rate_hz, taps="shut")
    assert by_samples.clicks == by_file.clicks
    assert by_samples.cycles == by_file.cycles
    assert by_samples.run == by_file.run
    assert by_samples.verdict == by_file.verdict
    assert measured(NAME, "shut") == by_file, "what the other tests share"


def same_answer(ours: Measurement, other: Measurement) -> None:
    """The same clicks within a tenth of a millisecond, and the same verdict."""
    assert [c.kind for c in ours.clicks] == [c.kind for c in other.clicks]
    np.testing.assert_allclose([c.time_s for c in ours.clicks], [c.time_s for c in other.clicks], atol=1e-4)
    assert ours.verdict.band == other.verdict.band
    assert ours.verdict.sure == other.verdict.sure
    assert ours.run is not None
    assert other.run is not None
    assert ours.run.seconds == pytest.approx(other.run.seconds, abs=2e-4)


@pytest.mark.parametrize(("name", "gain"), [(NAME, 2.0), ("moderate-rain", 0.5), ("moderate-rain", 2.0)])
def test_the_volume_changes_no_result(name: str, gain: float) -> None:
    x, rate_hz = samples_of(name)
    assert np.abs(x).max() * gain < 1.0
    same_answer(measure_samples(np.float32(gain) * x, rate_hz, taps="shut"), measured(name, "shut"))


@pytest.mark.parametrize("name", [NAME, "moderate-rain"])
def test_a_constant_offset_changes_no_result(name: str) -> None:
    x, rate_hz = samples_of(name)
    same_answer(measure_samples(x + np.float32(0.1), rate_hz, taps="shut"), measured(name, "shut"))


def test_the_other_way_up_is_the_same_sound() -> None:
    x, rate_hz = samples_of(NAME)
    same_answer(measure_samples(-x, rate_hz, taps="shut"), measured(NAME, "shut"))


def test_two_recordings_joined_are_measured_apart() -> None:
    """The parts of one recording: all clicks are told, moved by what came before, and no run spans the joint."""
    names = (NAME, "moderate-rain")
    m = clicktimer.measure([path_of(name) for name in names])
    lengths = [measured(name, "shut").source.duration_s for name in names]
    true = [(t, kind) for t, kind in truth_of(names[0]).clicks]
    true += [(t + lengths[0], kind) for t, kind in truth_of(names[1]).clicks]
    assert len(m.gaps) == 1
    assert m.gaps[0].from_s == pytest.approx(lengths[0], abs=1e-6)
    assert m.gaps[0].to_s is None
    for c in m.clicks:
        time_s, kind = min(true, key=lambda click: abs(click[0] - c.time_s))
        assert abs(c.time_s - time_s) < 0.020
        assert c.kind == kind
    assert len(m.clicks) >= len(true) - 2
    for cycle in m.cycles:
        ends = [t for t in (cycle.cut_in_s, cycle.cut_out_s) if t is not None]
        assert min(ends) >= lengths[0] or max(ends) <= lengths[0]


def test_the_beginning_of_a_recording_does_not_hang_on_its_end() -> None:
    """Half of it holds the clicks of that half, at the same times: nothing is scaled by the whole file."""
    x, rate_hz = samples_of(NAME)
    half = measure_samples(x[: 60 * rate_hz], rate_hz, taps="shut")
    early = [c for c in measured(NAME, "shut").clicks if c.time_s < 59.0]
    assert [(c.time_s, c.kind) for c in half.clicks] == [(c.time_s, c.kind) for c in early]


def test_the_document_is_the_same_every_time() -> None:
    one, two = (clicktimer.measure(path_of(NAME), taps="shut") for _ in range(2))
    text = [json.dumps(measurement_json(m, program_version="1")) for m in (one, two)]
    assert text[0] == text[1]


PLAIN = """
import json, sys
import soundfile
from clicktimer.pipeline import measure_samples
x, rate_hz = soundfile.read(sys.argv[1], dtype="float32")
m = measure_samples(x, rate_hz, pump_at_start="off", taps="shut")
json.dump([[[c.time_s, c.kind, c.confidence] for c in m.clicks], m.verdict.band], sys.stdout)
"""


@pytest.mark.slow
def test_without_compiled_code_the_answers_are_the_same(tmp_path: Path) -> None:
    x, rate_hz = samples_of("very-short-3s")
    # 27 s at a third of the rate: two runs, and not too long for plain Python.
    from scipy.signal import resample_poly

    path = tmp_path / "short.wav"
    soundfile.write(path, resample_poly(x[: 27 * rate_hz], 1, 3).astype(np.float32), rate_hz // 3, subtype="FLOAT")
    compiled, plain = (
        json.loads(
            subprocess.run(
                [sys.executable, "-c", PLAIN, str(path)],
                env=env,
                cwd=Path(__file__).parents[1],
                capture_output=True,
                check=True,
                text=True,
            ).stdout
        )
        for env in (dict(os.environ), {**os.environ, "NUMBA_DISABLE_JIT": "1"})
    )
    assert compiled[1] == plain[1]
    assert len(compiled[0]) == 4
    for (t, kind, chance), (plain_t, plain_kind, plain_chance) in zip(compiled[0], plain[0], strict=True):
        assert (kind, t) == (plain_kind, pytest.approx(plain_t, abs=1e-6))
        assert chance == pytest.approx(plain_chance, abs=0.01)


def test_clicks_keep_their_order_and_their_range() -> None:
    for name in (NAME, "ordinary-use"):
        clicks = measured(name, truth_of(name).taps).clicks
        times = [c.time_s for c in clicks]
        assert times == sorted(times)
        assert all(0.0 < c.confidence < 1.0 for c in clicks)
        assert all(a.kind != b.kind for a, b in itertools.pairwise(clicks))
