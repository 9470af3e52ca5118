"""The synthetic sound: levels by scipy's filters, onsets to the sample, streams without seams, seeds that repeat."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from clicktimer.errors import SettingsError
from clicktimer.simulator.colour import ShapedNoise, ShapedStream, colour_filter
from clicktimer.simulator.household import Timeline, Use, simulate, us_system
from clicktimer.simulator.noises import NOISE_KINDS, Noise
from clicktimer.simulator.sounds import SoundSettings, operations, render, render_all

RATE_HZ = 44_100
QUIET = SoundSettings(pump="none", room_dbfs=-160.0, hum_over_room_db=-100.0)


def _timeline(cut_ins_s: tuple[float, ...], cut_outs_s: tuple[float, ...], duration_s: float) -> Timeline:
    started_on = bool(cut_outs_s) and (not cut_ins_s or cut_outs_s[0] < cut_ins_s[0])
    return Timeline(duration_s, cut_ins_s, cut_outs_s, started_on, (), 0.0, 5.0)


TWO_RUNS = _timeline((2.0123456, 11.3333), (6.98765, 15.5), 18.0)


def _rms_above_1k_db(samples: np.ndarray, rate_hz: int) -> float:
    from scipy.signal import butter, sosfiltfilt

    high = sosfiltfilt(butter(8, 1_000, "high", fs=rate_hz, output="sos"), samples.astype(float))
    return float(10 * np.log10(np.mean(high**2)))


@pytest.mark.parametrize("rate_hz", [8_000, 16_000, 44_100, 48_000])
def test_a_click_begins_at_its_true_time_to_the_sample(rate_hz):
    sound = render_all(TWO_RUNS, replace(QUIET, click_over_room_db=140.0), rate_hz=rate_hz, seed=3)
    assert len(sound) == round(18.0 * rate_hz)
    for time_s in sorted(TWO_RUNS.cut_ins_s + TWO_RUNS.cut_outs_s):
        around = int(time_s * rate_hz) - 40
        loud = np.abs(sound[around : around + 400])
        first = around + int(np.argmax(loud > 1e-5))
        assert 0 <= first / rate_hz - time_s < 1 / rate_hz + 1e-9
        # full strength within a millisecond, and mostly gone within 25
        peak_at_s = np.argmax(np.abs(sound[first : first + rate_hz // 10])) / rate_hz
        late = np.abs(sound[first + int(0.025 * rate_hz) : first + int(0.05 * rate_hz)]).max()
        assert peak_at_s < 0.003
        assert late < 0.35 * loud.max()


@pytest.mark.parametrize(("pump", "over_db"), [("jet", 18.0), ("flow", 2.0), ("none", None)])
def test_room_and_pump_have_the_level_that_was_asked_for(pump, over_db):
    settings = SoundSettings(pump=pump, room_dbfs=-60.0, click_over_room_db=-40.0)
    sound = render_all(_timeline((10.0,), (28.0,), 40.0), settings, rate_hz=RATE_HZ, seed=4)
    quiet_db = _rms_above_1k_db(sound[: 10 * RATE_HZ], RATE_HZ)
    running_db = _rms_above_1k_db(sound[12 * RATE_HZ : 27 * RATE_HZ], RATE_HZ)
    after_db = _rms_above_1k_db(sound[32 * RATE_HZ :], RATE_HZ)
    assert quiet_db == pytest.approx(-60.0, abs=1.0)
    assert after_db == pytest.approx(-60.0, abs=1.0)
    expected_db = -60.0 if over_db is None else -60.0 + 10 * np.log10(1 + 10 ** (over_db / 10))
    assert running_db == pytest.approx(expected_db, abs=2.0)


def test_a_clicks_peak_stands_over_the_room_as_planned():
    settings = SoundSettings(pump="none", room_dbfs=-60.0, click_over_room_db=46.0)
    sound = render_all(TWO_RUNS, settings, rate_hz=RATE_HZ, seed=5)
    for operation in operations(TWO_RUNS, settings, 5):
        at = int(operation.time_s * RATE_HZ)
        peak_db = 20 * np.log10(np.abs(sound[at : at + 2_000]).max())
        assert peak_db == pytest.approx(-60.0 + operation.level_over_room_db, abs=0.8)
        wanted_db = 46.0 - (1.5 if operation.kind == "cut-out" else 0.0)
        assert abs(operation.level_over_room_db - wanted_db) <= 2.0


def _clicks(variation: float, count: int = 12) -> dict[str, list[np.ndarray]]:
    """Clicks of each kind, cut out of a noiseless recording; all at whole samples, so that they can be compared."""
    cut_ins_s = tuple(2.0 + 4 * k for k in range(count))
    timeline = _timeline(cut_ins_s, tuple(t + 2 for t in cut_ins_s), 4.0 * count + 2)
    settings = replace(QUIET, click_over_room_db=120.0, variation=variation)
    sound = render_all(timeline, settings, rate_hz=RATE_HZ, seed=6)
    cut = {"cut-in": timeline.cut_ins_s, "cut-out": timeline.cut_outs_s}
    return {k: [sound[int(t * RATE_HZ) : int(t * RATE_HZ) + 1_100] for t in times] for k, times in cut.items()}


def _likeness(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.dot(one, other) / np.linalg.norm(one) / np.linalg.norm(other))


def test_operations_of_a_kind_are_alike_but_never_the_same_and_the_kinds_differ():
    clicks = _clicks(1.0)
    same = [_likeness(a, b) for kind in clicks.values() for a, b in pairwise(kind)]
    cross = [_likeness(a, b) for a, b in zip(clicks["cut-in"], clicks["cut-out"], strict=True)]
    assert 0.5 < np.median(same) < 0.99
    assert max(same) < 0.9999
    assert np.median(np.abs(cross)) < np.median(same) - 0.3


def test_variation_is_a_setting():
    calm, usual, wild = (
        np.median([_likeness(a, b) for a, b in pairwise(_clicks(v, 8)["cut-in"])]) for v in (0.2, 1.0, 3.0)
    )
    assert calm > usual > wild
    copies = _clicks(0.0, 6)["cut-in"]
    assert min(_likeness(a, b) for a, b in pairwise(copies)) > 0.99999


def test_chatter_is_a_burst_of_snaps_that_begins_at_the_true_time():
    settings = replace(QUIET, click_over_room_db=120.0, chatter=1.0)
    timeline = _timeline((2.0, 12.0), (7.0, 17.0), 20.0)
    planned = operations(timeline, settings, 8)
    assert all(operation.chatter_s for operation in planned)
    sound = render_all(timeline, settings, rate_hz=RATE_HZ, seed=8)
    for operation in planned:
        for after_s in (0.0, *operation.chatter_s):
            at = round((operation.time_s + after_s) * RATE_HZ)
            before, after = np.abs(sound[at - 90 : at - 5]).max(), np.abs(sound[at : at + 90]).max()
            assert after > 1.5 * before
    assert not any(o.chatter_s for o in operations(timeline, replace(settings, chatter=0.0), 8))


def test_nothing_of_a_run_is_heard_before_its_click():
    settings = SoundSettings(pump="jet", room_dbfs=-160.0, hum_over_room_db=-100.0, click_over_room_db=0.0)
    sound = render_all(
        _timeline((5.0,), (9.0,), 12.0), replace(settings, pump_over_room_db=120.0), rate_hz=RATE_HZ, seed=9
    )
    level = np.sqrt(np.mean(sound[: 12 * RATE_HZ].reshape(-1, RATE_HZ // 100) ** 2, axis=1))
    assert level[:499].max() < 1e-5
    assert level[1100:].max() < 1e-5
    full = np.median(level[600:890])
    # swells within half a second, dies away within half a second, and wavers in between
    assert level[502] < 0.7 * full
    assert level[530:600].min() > 0.5 * full
    assert level[905] > 0.1 * full
    assert level[950] < 0.02 * full


def test_the_pump_runs_from_the_first_sample_when_the_recording_begins_inside_a_run():
    settings = SoundSettings(pump="jet", room_dbfs=-60.0, click_over_room_db=0.0)
    sound = render_all(_timeline((), (5.0,), 10.0), settings, rate_hz=RATE_HZ, seed=9)
    assert _rms_above_1k_db(sound[: RATE_HZ // 2], RATE_HZ) > -46
    assert _rms_above_1k_db(sound[6 * RATE_HZ :], RATE_HZ) < -58


def test_the_pump_is_no_loop():
    settings = SoundSettings(pump="jet", room_dbfs=-100.0, pump_over_room_db=40.0, click_over_room_db=0.0)
    sound = render_all(_timeline((0.5,), (), 21.0), settings, rate_hz=8_000, seed=9)[16_000:]
    # the loudest likeness to itself at any delay over a tenth of a second, hum (below 700 Hz) left out
    from scipy.signal import butter, correlate, sosfilt

    hiss = sosfilt(butter(6, 700, "high", fs=8_000, output="sos"), sound)
    alike = correlate(hiss, hiss, method="fft")[len(hiss) - 1 :]
    assert np.abs(alike[800:]).max() < 0.05 * alike[0]


@pytest.mark.parametrize("kind", NOISE_KINDS)
def test_every_noise_is_heard_and_never_repeats(kind):
    settings = replace(QUIET, room_dbfs=-60.0, noises=(Noise(kind, per_min=30.0),))
    silence = _timeline((), (), 30.0)
    bare = render_all(silence, replace(settings, noises=()), rate_hz=16_000, seed=2)
    noise = render_all(silence, settings, rate_hz=16_000, seed=2) - bare
    assert np.abs(noise).max() > 10 ** (-50 / 20)
    pieces = noise[: 30 * 16_000].reshape(30, -1)
    loud = [piece for piece in pieces if np.abs(piece).max() > 10 ** (-60 / 20)]
    assert len(loud) >= 5
    spectra = [np.fft.rfft(piece, 32_000) for piece in loud]
    for number, (piece, one) in enumerate(zip(loud, spectra, strict=True)):
        for later, other in zip(loud[number + 1 :], spectra[number + 1 :], strict=True):
            alike = np.abs(np.fft.irfft(one * np.conj(other))).max()
            assert alike < 0.97 * np.linalg.norm(piece) * np.linalg.norm(later)


def test_rain_has_its_level():
    settings = replace(QUIET, room_dbfs=-60.0, noises=(Noise("rain", 6.0),))
    sound = render_all(_timeline((), (), 120.0), settings, rate_hz=22_050, seed=2)
    assert _rms_above_1k_db(sound, 22_050) == pytest.approx(-53.0, abs=1.0)  # with the room: 10 lg(1 + 10^0.6) = 7 dB


def test_the_stream_has_no_seams_and_a_seed_gives_the_same_sound():
    settings = SoundSettings(pump="flow", noises=(Noise("rain"), Noise("clock"), Noise("speech")))
    blocks = list(render(TWO_RUNS, settings, rate_hz=16_000, seed=7))
    assert len(blocks) > 5
    sound = np.concatenate(blocks)
    assert np.array_equal(sound, render_all(TWO_RUNS, settings, rate_hz=16_000, seed=7))
    assert not np.array_equal(sound, render_all(TWO_RUNS, settings, rate_hz=16_000, seed=8))
    quiet = render_all(_timeline((), (), 18.0), SoundSettings(pump="none"), rate_hz=16_000, seed=7)
    steps = np.abs(np.diff(quiet))
    at_seams = steps[31_999::32_000]
    assert at_seams.max() < steps.max()
    assert np.mean(at_seams) < 4 * np.mean(steps)


def test_filtering_in_blocks_is_filtering_in_one():
    kernel = colour_filter(((100, 0), (8_000, -20)), 16_000)
    noise = np.random.default_rng(1).standard_normal(5_000).astype(np.float32)
    stream = ShapedStream(kernel)
    cuts = [0, 7, 300, 301, 2_500, 5_000]
    pieces = np.concatenate([stream.shape(noise[a:b]) for a, b in pairwise(cuts)])
    assert pieces == pytest.approx(np.convolve(noise, kernel)[:5_000], abs=1e-4)


def test_coloured_noise_has_an_rms_of_one_above_1_khz():
    noise = ShapedNoise(((20, 0), (1_000, -20), (8_000, -30)), 22_050, np.random.default_rng(2)).block(400_000)
    assert _rms_above_1k_db(noise, 22_050) == pytest.approx(0.0, abs=0.3)


@pytest.mark.slow
def test_memory_does_not_grow_with_the_length():
    def peak_mb(minutes: int) -> float:
        timeline = simulate(us_system(20.0), [Use(0, 60.0 * minutes, 12.0)], duration_s=60.0 * minutes)
        tracemalloc.start()
        for _ in render(timeline, SoundSettings(noises=(Noise("clock"),)), rate_hz=8_000, seed=1):
            pass
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak / 1e6

    assert peak_mb(20) < 1.3 * peak_mb(2) + 1.0


def test_wrong_settings_are_refused():
    with pytest.raises(SettingsError, match="pump is"):
        SoundSettings(pump="diesel")  # type: ignore[arg-type]
    with pytest.raises(SettingsError, match="unknown noise"):
        SoundSettings(noises=(Noise("trumpet"),))
    with pytest.raises(SettingsError, match="chatter"):
        SoundSettings(chatter=2.0)
    with pytest.raises(SettingsError, match="rate_hz"):
        render(TWO_RUNS, SoundSettings(), rate_hz=4_000, seed=1)
