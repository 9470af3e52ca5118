"""Proof on the spot: the interval against scipy's, laying in against plain addition, counting where it is known."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio.cutting import cut_spans
from clicktimer.cli import run
from clicktimer.pipeline import measure_recording
from clicktimer.quality.proof import Count, count_of, prove_recording, wilson
from clicktimer.quality.proof import runs as proof_runs
from clicktimer.quality.proof.compose import FADE_S, Composer, Insert
from clicktimer.quality.proof.copies import LEAD_S, TAIL_S, bare, varied
from clicktimer.quality.proof.part import busiest_part, only, state_at
from clicktimer.quality.proof.stretches import known_stretches
from clicktimer.records import (
    Block,
    Click,
    Gap,
    Reason,
)
from clicktimer.reporting.text.proof import proof_lines

FIXTURES = Path(__file__).parents[2] / "fixtures_audio"
RATE_HZ = 16_000


@given(st.integers(1, 400), st.data())
def test_the_interval_is_wilson_s(put: int, data: st.DataObject):
    from scipy.stats import binomtest

    caught = data.draw(st.integers(0, put))
    low, high = wilson(caught, put)
    reference = binomtest(caught, put).proportion_ci(0.95, method="wilson")
    assert low == pytest.approx(reference.low, abs=1e-9)
    assert high == pytest.approx(reference.high, abs=1e-9)
    assert low <= caught / put <= high


def test_passes_that_differ_by_more_than_chance_widen_the_interval():
    alike = count_of([(20, 16), (20, 15), (20, 17), (20, 16)])
    apart = count_of([(20, 20), (20, 4), (20, 20), (20, 20)])
    assert (alike.put, alike.caught) == (apart.put, apart.caught) == (80, 64)
    assert alike.low is not None
    assert apart.low is not None
    assert (alike.low, alike.high) == wilson(64, 80)
    assert apart.low < alike.low - 0.1
    assert count_of([]) == Count(0, 0, None, None, None)


@pytest.mark.slow
def test_the_interval_covers_when_passes_share_their_luck():
    """A made-up detector whose chance differs by pass: the widened interval covers its mean, not the plain."""
    rng = np.random.default_rng(5)
    widened, plain, trials = 0, 0, 2000
    for _ in range(trials):
        chances = rng.beta(4.0, 1.0, 10)  # mean 0.8
        passes = [(10, int(rng.binomial(10, c))) for c in chances]
        count = count_of(passes)
        if count.low is not None and count.high is not None:
            widened += count.low <= 0.8 <= count.high
        low, high = wilson(count.caught, count.put)
        plain += low <= 0.8 <= high
    assert widened / trials > 0.90
    assert plain / trials < widened / trials - 0.05


def blocks_of(samples: np.ndarray, size: int = 5 * RATE_HZ) -> Iterable[Block]:
    for at in range(0, len(samples), size):
        yield Block(samples[at : at + size], RATE_HZ, at / RATE_HZ)


@given(st.integers(1000, 200_000), st.lists(st.tuples(st.floats(0, 11), st.floats(0.001, 3)), min_size=1, max_size=8))
@settings(max_examples=30)
def test_cuts_are_the_recording_s_own_samples_however_it_comes_in_blocks(size: int, wanted: list[tuple[float, float]]):
    sound = np.arange(12 * RATE_HZ, dtype=np.float32)
    spans = [(begin, begin + length) for begin, length in wanted]
    for (begin, end), cut in zip(spans, cut_spans(blocks_of(sound, size), spans), strict=True):
        first, count = round(begin * RATE_HZ), max(round((end - begin) * RATE_HZ), 1)
        if first + count > len(sound):
            assert cut is None
        else:
            assert cut is not None
            assert abs(int(cut.samples[0]) - first) <= 1
            np.testing.assert_array_equal(cut.samples, np.arange(count, dtype=np.float32) + cut.samples[0])


def test_cuts_from_blocks_of_a_few_samples():
    sound = np.arange(RATE_HZ // 4, dtype=np.float32)
    (cut,) = cut_spans(blocks_of(sound, 3), [(0.1, 0.2)])
    assert cut is not None
    np.testing.assert_array_equal(cut.samples, np.arange(len(cut.samples), dtype=np.float32) + cut.samples[0])
    assert abs(len(cut.samples) - 0.1 * RATE_HZ) <= 1


def test_nothing_is_cut_across_a_gap():
    sound = np.ones(2 * RATE_HZ, np.float32)
    blocks = [Block(sound, RATE_HZ, 0.0), Block(sound, RATE_HZ, 2.5, Gap(2.0, 2.5, "lost"))]
    spans = [(0.5, 1.0), (1.9, 2.6), (2.1, 2.2), (3.0, 3.5), (4.4, 4.6)]
    assert [cut is not None for cut in cut_spans(blocks, spans)] == [True, False, False, True, False]


def click_sound() -> np.ndarray:
    """A decaying knock of 3 kHz, its onset LEAD_S after the beginning."""
    n = round((LEAD_S + TAIL_S) * RATE_HZ)
    t = np.arange(n) / RATE_HZ - LEAD_S
    return np.where(t >= 0, np.sin(2 * np.pi * 3000 * t) * np.exp(-np.maximum(t, 0) / 0.004), 0.0)


@pytest.mark.parametrize("over_db", [15.0, 25.0, 40.0])
def test_a_click_is_freed_of_its_room_and_keeps_its_level(over_db: float):
    rng = np.random.default_rng(3)
    clean = click_sound()
    ratios, before = [], []
    for _ in range(20):
        noise = 10 ** (-over_db / 20) * rng.standard_normal(len(clean))
        freed = bare((clean + noise).astype(np.float32), RATE_HZ)
        ratios.append(float(freed @ clean) / float(clean @ clean))  # its share along the true click
        lead = freed[: round((LEAD_S - 0.010) * RATE_HZ)]
        before.append(float(np.mean(lead**2)) / float(np.mean(noise**2)))
    assert 20 * np.log10(np.median(ratios)) == pytest.approx(0.0, abs=1.0)
    assert 10 * np.log10(np.mean(before)) < -6.0


def test_copies_differ_as_said_and_a_fainter_one_is_fainter():
    rng = np.random.default_rng(4)
    click = click_sound().astype(np.float32)
    whole = float(click @ click)

    def levels(level_db: float) -> np.ndarray:
        return np.array(
            [
                10 * np.log10(float(c @ c) / whole)
                for c in (varied(click, RATE_HZ, rng, level_db=level_db) for _ in range(300))
            ]
        )

    usual = levels(0.0)
    assert np.std(usual) == pytest.approx(1.0, abs=0.3)
    assert np.mean(usual) == pytest.approx(0.0, abs=0.4)
    assert np.mean(levels(-6.0)) == pytest.approx(-6.0, abs=0.4)


def test_the_states_between_clicks_follow_from_them_and_never_from_a_guess():
    clicks = [Click(10, "cut-in", 1), Click(20, "cut-out", 1), Click(30, "cut-out", 1), Click(50, "cut-in", 1)]
    found = known_stretches(clicks, (Gap(40.0, 41.0, "lost"),), 60.0)
    assert [(s.from_s, s.to_s, s.on) for s in found] == [
        (0.0, 10, False),
        (10, 20, True),
        (30, 40.0, False),
        (41.0, 50, False),
        (50, 60.0, True),
    ]
    unknown = [Click(t, "unknown", 1) for t in (10.0, 20.0, 30.0)]
    assert [s.on for s in known_stretches(unknown, (), 60.0)] == [False, True, False, True]


def test_what_is_laid_in_moves_the_rest_and_changes_nothing_else():
    sound = np.random.default_rng(2).standard_normal(20 * RATE_HZ).astype(np.float32)
    between = np.full(round((2.0 + FADE_S) * RATE_HZ), 5.0, np.float32)
    copy = np.zeros(round((LEAD_S + TAIL_S) * RATE_HZ), np.float32)
    copy[round(LEAD_S * RATE_HZ)] = 100.0
    inserts = [
        Insert(6.0, ("cut-in", "cut-out"), copy, copy, between),
        Insert(12.0, ("cut-out", "cut-in"), None, copy, between),
    ]
    composer = Composer(inserts, RATE_HZ)
    blocks = list(composer.blocks(blocks_of(sound)))
    out = np.concatenate([block.samples for block in blocks])
    assert len(out) == len(sound) + 2 * 2 * RATE_HZ
    for block, after in pairwise(blocks):
        assert after.start_s == pytest.approx(block.start_s + len(block.samples) / RATE_HZ)
    assert [(p.time_s, p.kind) for p in composer.placed] == [
        (6.0, "cut-in"),
        (8.0, "cut-out"),
        (16.0, "cut-in"),
    ]
    for placed in composer.placed:
        assert np.argmax(np.abs(out[round((placed.time_s - 0.5) * RATE_HZ) :][:RATE_HZ])) == RATE_HZ // 2
    for moment in (1.0, 5.9, 6.5, 11.9, 12.5, 19.9):
        assert out[round(composer.moved(moment) * RATE_HZ)] == sound[round(moment * RATE_HZ)]


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(proof_runs, "COPIES", 16)


def measured(name: str) -> tuple[list[Path], Measurement]:
    path = FIXTURES / f"{name}.flac"
    return [path], measure_recording(path)


def test_loud_copies_are_caught_and_such_as_nobody_could_hear_are_not(few: None, monkeypatch: pytest.MonkeyPatch):
    paths, m = measured("short-cycling-12s")
    monkeypatch.setattr(proof_runs, "FAINTER_DB", 60.0)
    proof = prove_recording(paths, m, MeasureOptions())
    assert proof.usual.put >= 16
    assert proof.usual.rate is not None
    assert proof.usual.rate > 0.9
    assert proof.cut_in.put == proof.cut_out.put == proof.usual.put / 2
    assert proof.fainter.put >= 8
    assert proof.fainter.caught == 0  # a catch is never counted for a click that is not there
    assert proof.told_before == len(m.clicks)


def test_the_same_recording_gives_the_same_proof(few: None):
    paths, m = measured("very-short-3s")
    assert prove_recording(paths, m, MeasureOptions()) == prove_recording(paths, m, MeasureOptions())


def test_without_clicks_nothing_is_proved():
    paths, m = measured("no-click")
    proof = prove_recording(paths, m, MeasureOptions())
    assert proof.usual.rate is None
    assert proof.why == Reason("proof.few-clicks")
    assert "Nothing could be proved" in " ".join(proof_lines(proof))


def test_missed_runs_follow_from_the_rate():
    _, m = measured("short-cycling-12s")
    whole = sum(c.complete for c in m.cycles)
    assert proof_runs._missed(m, Count(100, 90, 0.9, 0.8, 1.0)) == pytest.approx((0.0, whole * 0.2**2 / 0.8**2))
    # Thrown: of 100 000 runs whose clicks are each told with 0.8, so many per whole one have neither.
    both = np.random.default_rng(3).random((100_000, 2)) < 0.8
    neither = float((~both).all(axis=1).sum() / both.all(axis=1).sum())
    missed = proof_runs._missed(m, Count(100, 90, 0.9, 0.8, 1.0))
    assert missed is not None
    assert missed[1] == pytest.approx(whole * neither, rel=0.05)
    assert proof_runs._missed(dataclasses.replace(m, cycles=()), Count(100, 90, 0.9, 0.8, 1.0)) is None


def test_the_command_tells_the_rate_in_text_and_json(few: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    recording = str(FIXTURES / "short-cycling-12s.flac")
    assert run(["measure", recording, "--prove", "--json", str(tmp_path / "m.json")]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    proof = json.loads((tmp_path / "m.json").read_text("utf-8"))["proof"]
    assert f"Here it hears {proof['usual']['caught']} of {proof['usual']['put']} such clicks" in shown
    assert proof["interval"].startswith("Wilson")
    assert proof["usual"]["low"] <= proof["usual"]["rate"] <= proof["usual"]["high"]


def test_the_busiest_part_is_the_one_with_most_clicks_and_short_recordings_are_heard_whole():
    assert busiest_part([10.0, 20.0], 3600.0) is None
    assert busiest_part([10.0, 80_000.0], 86_400.0) is None, "one click alone gives no copies of a whole run"
    rng = np.random.default_rng(4)
    for _ in range(20):
        times = sorted(rng.uniform(0.0, 50_000.0, 40))
        part = busiest_part(times, 50_000.0, 5_000.0)
        assert part is not None
        counts = [sum(t < x < t + 5_000.0 for x in times) for t in np.linspace(0.0, 45_000.0, 4_501)]
        # A part begins 300 s before a click, so it may miss the very best place by what lies in these.
        assert sum(part[0] < x < part[1] for x in times) >= max(counts) - 2
        assert 0.0 <= part[0] <= part[1] - 5_000.0 + 1e-6 <= 45_000.0 + 1e-6


@pytest.mark.parametrize("size", [700, 4096, 100_000])
def test_a_part_holds_the_recording_s_own_samples_and_times(size: int):
    sound = np.arange(20 * RATE_HZ, dtype=np.float32)
    blocks = [
        Block(sound[i : i + size], RATE_HZ, i / RATE_HZ, Gap(1.0, 1.0, "x") if i == 0 else None)
        for i in range(0, len(sound), size)
    ]
    out = list(only(lambda: blocks, (3.25, 7.5))())
    assert out[0].gap_before is None
    together = np.concatenate([b.samples for b in out])
    np.testing.assert_array_equal(together, sound[round(3.25 * RATE_HZ) : round(7.5 * RATE_HZ)])
    for block in out:
        assert block.samples[0] == pytest.approx((block.start_s + 3.25) * RATE_HZ, abs=0.6)


@pytest.mark.slow
def test_a_long_recording_is_proved_on_a_part_and_that_is_said(few: None, monkeypatch: pytest.MonkeyPatch):
    paths, m = measured("short-cycling-12s")
    whole = m.source.duration_s
    monkeypatch.setattr(proof_runs, "busiest_part", lambda times, end_s: busiest_part(times, end_s, 0.8 * whole))
    heard: list[tuple[float, float | None]] = []
    proof = prove_recording(paths, m, MeasureOptions(), progress=lambda s, all_s: heard.append((s, all_s)))
    assert proof.part_s is not None
    assert proof.part_s[1] - proof.part_s[0] == pytest.approx(0.8 * whole)
    assert proof.usual.put >= 8
    assert proof.usual.rate is not None
    assert proof.usual.rate > 0.8
    assert proof.told_before == len(m.clicks)
    assert "The recording is long" in " ".join(proof_lines(proof))
    assert all(all_s is not None and s <= all_s for s, all_s in heard), "the length is known at first"
    assert heard[-1][0] == pytest.approx(heard[0][1], rel=0.3)


def test_what_is_known_of_the_pump_where_a_part_begins():
    _, m = measured("short-cycling-12s")
    first, second = m.clicks[0], m.clicks[1]
    assert (first.kind, second.kind) == ("cut-in", "cut-out")
    for from_s, state in ((first.time_s - 1.0, "off"), (first.time_s + 1.0, "on"), (second.time_s + 1.0, "off")):
        assert state_at(m, (from_s, from_s + 50.0), "off") == state
        assert state_at(m, (from_s, from_s + 50.0), None) is None
