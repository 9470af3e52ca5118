"""Judging a place: levels against the simulator's own, and each thing that spoils a recording against one without."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio import open_recording, write_sound
from clicktimer.audio.quality import Watch
from clicktimer.cli import run
from clicktimer.pipeline import conclude, hear_blocks
from clicktimer.quality.placement import Place, judge_place
from clicktimer.quality.placement.params import default_placement
from clicktimer.records import Block, Gap, SourceInfo
from clicktimer.reporting.text.placement import place_json, place_steps, render_place
from tests.support.words import said

ROOT = Path(__file__).parents[2]
FIXTURES = ROOT / "fixtures_audio"
RATE_HZ = 16_000


def of_file(path: Path) -> Place:
    recording = open_recording(path)
    heard = hear_blocks(recording.blocks())
    measured = conclude(heard, recording.finish(), MeasureOptions(), recording.notices)
    return judge_place(heard.candidates, heard.levels, measured)


def of_samples(samples: np.ndarray, rate_hz: int = RATE_HZ, gap: Gap | None = None, snapped: bool = True) -> Place:
    half = len(samples) // 2
    second = Block(samples[half:], rate_hz, half / rate_hz + 0.5 * bool(gap), gap)
    blocks = [Block(samples[:half], rate_hz, 0.0), second]
    watch = Watch()
    seen = [piece for block in blocks for piece in watch.feed(block)]
    heard = hear_blocks(seen)
    source = SourceInfo("made.wav", len(samples) / rate_hz, rate_hz, 1, None)
    measured = conclude(heard, source, MeasureOptions(), watch.notices())
    return judge_place(heard.candidates, heard.levels, measured, snaps=snapped)


def codes(place: Place) -> set[str]:
    return {finding.code for finding in place.findings}


@pytest.mark.parametrize("name", ["very-short-3s", "steady-tap", "begins-inside-a-run", "short-cycling-12s"])
def test_the_click_stands_over_the_room_as_far_as_the_simulator_set_it(name: str):
    truth = json.loads((FIXTURES / f"{name}.truth.json").read_text("utf-8"))
    place = of_file(FIXTURES / f"{name}.flac")
    assert place.what == "clicks"
    for standing in place.standings:
        levels = [c["level_over_room_db"] for c in truth["clicks"] if c["kind"] == standing.kind]
        assert standing.over_room_db == pytest.approx(np.median(levels), abs=3.0)
    assert place.grade == "near"
    assert place.good


def test_rain_and_a_fainter_click_are_far():
    place = of_file(FIXTURES / "moderate-rain.flac")
    assert place.grade == "far"
    assert all(standing.over_room_db < default_placement().grading.near_db for standing in place.standings)
    assert any("nearer" in step for step in place_steps(place))


def room(seconds: float, seed: int = 1, rms: float = 1e-3) -> np.ndarray:
    noise = np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))
    return (rms * noise).astype(np.float32)


def snaps(sound: np.ndarray, times_s: list[float], peak: float, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Short broad sounds, each a little different: a burst of noise that dies away within some milliseconds."""
    out = sound.copy()
    rng = np.random.default_rng(7)
    for t in times_s:
        n = round(0.02 * rate_hz)
        burst = rng.standard_normal(n) * np.exp(-np.arange(n) / (0.0025 * rate_hz))
        at = round(t * rate_hz)
        out[at : at + n] += (peak * burst / np.abs(burst).max()).astype(np.float32)
    return out


SNAP_TIMES = [3.0, 5.2, 8.1, 11.7, 14.0, 18.3]


def test_finger_snaps_serve_where_no_pump_runs():
    place = of_samples(snaps(room(22.0), SNAP_TIMES, 0.3))
    assert place.what == "sharp sounds"
    assert place.standings[0].count == len(SNAP_TIMES)
    # Peak 0.3 over a room of rms 0.001, of which the part above 1.1 kHz (0.86 of the energy) counts: 50 dB.
    assert place.standings[0].over_room_db == pytest.approx(20 * np.log10(300 / np.sqrt(0.86)), abs=3.0)
    text = render_place(place)
    assert "finger snaps" in text
    assert all(len(line) <= 80 for line in text.splitlines())


def test_noise_alone_is_nothing_to_judge_by():
    place = of_samples(room(20.0))
    assert (place.what, place.grade, place.good, place.standings) == ("nothing", "unheard", False, ())
    assert any("snap your fingers" in step for step in place_steps(place))


def test_what_reaches_full_scale_is_said():
    loud = snaps(room(22.0), SNAP_TIMES, 3.0)
    assert "clicks-clip" in codes(of_samples(np.clip(loud, -1, 1)))
    assert "clicks-clip" not in codes(of_samples(loud / 4))


def test_a_gain_that_rides_is_told_from_one_that_does_not():
    times = [2.0 + 4.7 * i for i in range(16)]
    steady = snaps(room(80.0), times, 0.3)
    t = np.arange(len(steady)) / RATE_HZ
    gain_db = np.zeros(len(t))
    for at in times:  # down by 6 dB at once, back over 3 s
        after = t - at - 0.05
        gain_db -= np.where((after > 0) & (after < 4.5), 6.0 * np.exp(-np.maximum(after, 0) / 1.2), 0.0)
    riding = (steady * 10 ** (gain_db / 20)).astype(np.float32)
    assert "gain-riding" in codes(of_samples(riding))
    assert "gain-riding" not in codes(of_samples(steady))


def test_noise_suppression_is_told_from_a_plain_room():
    from tests.benchmarks.phone import suppresses

    plain = snaps(room(40.0), [2.0 + 4.7 * i for i in range(8)], 0.3)
    suppressed = of_samples(suppresses(plain, RATE_HZ))
    assert "noise-suppression" in codes(suppressed)
    assert not suppressed.good
    (found,) = [f for f in suppressed.findings if f.code == "noise-suppression"]
    # What flickers may as well be talk or music: both are named, and what to do about either.
    assert "or where other sound (talk, music) goes on" in said(found.reason)
    assert "make it quiet and try again" in found.advice
    assert "noise suppression and voice features off" in found.advice
    assert "noise-suppression" not in codes(of_samples(plain))


def test_muted_stretches_and_lost_sound_spoil_a_place():
    sound = snaps(room(22.0), SNAP_TIMES, 0.3)
    muted = sound.copy()
    for t in (4.0, 6.5, 9.5):
        muted[round(t * RATE_HZ) : round((t + 0.6) * RATE_HZ)] = 0.0
    assert "muted-stretches" in codes(of_samples(muted))
    assert not of_samples(muted).good
    lost = of_samples(sound, gap=Gap(11.0, 11.5, "sound was lost"))
    assert "lost-sound" in codes(lost)
    assert not lost.good
    assert of_samples(sound).good


def test_a_low_sample_rate_is_said():
    place = of_file(FIXTURES / "telephone-8khz.flac")
    assert "low-rate" in codes(place)
    assert any("44100" in step for step in place_steps(place))


def test_every_finding_and_field_is_in_the_page():
    page = (ROOT / "docs/placing.md").read_text("utf-8")
    document = place_json(of_file(FIXTURES / "telephone-8khz.flac"), program_version="0.1.0")
    names = [*document, *document["standings"][0], *document["findings"][0]]
    from clicktimer.quality.placement import findings

    names += [*findings._ADVICE, "lost-sound", "noise-suppression", "gain-riding", "clicks-clip", "low-rate"]
    for name in names:
        assert f"`{name}`" in page, name


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["hear", str(FIXTURES / "very-short-3s.flac"), "--json", str(tmp_path / "p.json")]) == 0
    shown = capsys.readouterr().out
    assert "NEAR ENOUGH" in shown
    assert "never open it" in shown
    document = json.loads((tmp_path / "p.json").read_text("utf-8"))
    assert document["grade"] == "near"
    assert document["proof"] is None
    assert run(["hear", str(FIXTURES / "no-click.flac")]) == 1
    assert "NOTHING TO JUDGE BY" in capsys.readouterr().out


def test_the_command_proves_snaps(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    write_sound(tmp_path / "snaps.wav", snaps(room(60.0), SNAP_TIMES, 0.3), RATE_HZ)
    assert run(["hear", str(tmp_path / "snaps.wav"), "--snaps", "--prove", "--json", "-"]) == 0
    proof = json.loads(capsys.readouterr().out)["proof"]
    assert proof["what"] == "sharp sounds"
    assert proof["usual"]["put"] > 30
    assert proof["usual"]["rate"] > 0.9
