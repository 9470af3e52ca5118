"""The stored recordings are what the simulator makes, and their truth is the physics of the household."""

from __future__ import annotations

import json
import time
import wave
from pathlib import Path

import av
import numpy as np
import pytest

from clicktimer.simulator.demo import demo_recording, to_int16
from clicktimer.simulator.fixtures import fixtures, readme, truth
from clicktimer.simulator.household import System, Use, simulate
from clicktimer.simulator.sounds import render_all

FOLDER = Path(__file__).parents[2] / "fixtures_audio"
BY_NAME = {fixture.name: fixture for fixture in fixtures()}


def _decoded(path: Path) -> tuple[np.ndarray, int]:
    with av.open(str(path)) as container:
        stream = container.streams.audio[0]
        assert stream.format.name in ("s16", "s16p")
        assert stream.channels == 1
        return np.concatenate([frame.to_ndarray()[0] for frame in container.decode(stream)]), stream.rate


def test_the_folder_holds_every_recording_and_nothing_else():
    found = {path.name for path in FOLDER.iterdir()}
    wanted = {f"{name}{ending}" for name in BY_NAME for ending in (".flac", ".truth.json")}
    assert found == {*wanted, "README.md"}
    assert sum(path.stat().st_size for path in FOLDER.iterdir()) < 12e6
    assert (FOLDER / "README.md").read_text(encoding="utf-8") == readme()


def _regenerated(name: str) -> None:
    fixture = BY_NAME[name]
    stored, rate_hz = _decoded(FOLDER / f"{name}.flac")
    assert rate_hz == fixture.rate_hz
    made = to_int16(render_all(fixture.scene().timeline, fixture.sound, rate_hz=rate_hz, seed=fixture.seed))
    assert len(stored) == len(made)
    # the last bit may differ where another machine's Fourier transform rounds otherwise
    assert np.abs(stored.astype(int) - made).max() <= 1


def test_a_recording_can_be_made_again():
    _regenerated("telephone-8khz")


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in BY_NAME if name != "telephone-8khz"])
def test_every_recording_can_be_made_again(name):
    _regenerated(name)


@pytest.mark.parametrize("name", BY_NAME)
def test_the_stored_truth_is_what_the_maker_says(name):
    stored = json.loads((FOLDER / f"{name}.truth.json").read_text(encoding="utf-8"))
    made = json.loads(json.dumps(truth(BY_NAME[name])))
    times = [
        (click.pop("time_s"), again.pop("time_s"))
        for click, again in zip(stored["clicks"], made["clicks"], strict=True)
    ]
    assert all(abs(a - b) < 2e-6 for a, b in times)
    for key in ("name", "clicks", "pump_on_at_start", "sample_rate_hz", "taps"):
        assert stored[key] == made[key]
    assert stored["made"]["seed"] == made["made"]["seed"]
    assert stored["made"]["sound"] == made["made"]["sound"]


@pytest.mark.parametrize("name", BY_NAME)
def test_the_stored_truth_agrees_with_boyles_law(name):
    """Worked from the stored system and draws alone, without the simulator, where air and flows are constant."""
    facts = json.loads((FOLDER / f"{name}.truth.json").read_text(encoding="utf-8"))
    system = facts["made"]["system"]
    p0, p1, p2 = (system[k] + system["atmosphere_kpa"] for k in ("precharge_kpag", "cut_in_kpag", "cut_out_kpag"))
    drawdown_l = sum(system["tank_l"]) * p0 * (1 / p1 - 1 / p2)
    boyle_s = drawdown_l / system["pump_l_per_min"] * 60
    runs_s, on_s = [], None
    for click in facts["clicks"]:
        if click["kind"] == "cut-in":
            on_s = click["time_s"]
        elif on_s is not None:
            runs_s.append(click["time_s"] - on_s)
    if system["tau_s"] is None:
        assert facts["no_use_run_s"] == pytest.approx(boyle_s, abs=2e-6)
        flow = facts["made"]["uses"][0]["flow_l_per_min"] if facts["made"]["uses"] else 0.0
        if "steady" in facts["taps"]:
            boyle_s *= system["pump_l_per_min"] / (system["pump_l_per_min"] - flow)
        # within a second after cut-in: that second's draw comes on top
        late_s = flow / system["pump_l_per_min"] if "within a second" in facts["taps"] else 0.0
        assert all(boyle_s - 1e-4 <= run_s <= boyle_s + late_s + 1e-4 for run_s in runs_s)
    else:
        # hot air takes less, a falling pump more, water in use more still: no less than the adiabatic share
        assert all(run_s > 0.74 * boyle_s * 0.9 for run_s in runs_s)
        assert facts["no_use_run_s"] < boyle_s
    assert facts["clicks"] or "shut throughout" in facts["taps"]


def test_a_stored_timeline_follows_from_the_stored_household():
    facts = json.loads((FOLDER / "short-cycling-12s.truth.json").read_text(encoding="utf-8"))
    made = facts["made"]
    system = System(**{**made["system"], "tank_l": tuple(made["system"]["tank_l"])})
    uses = [Use(**use) for use in made["uses"]]
    first = uses[0]
    stored_l = system.volume_l * (
        1 - (system.precharge_kpag + system.atmosphere_kpa) / (system.cut_in_kpag + system.atmosphere_kpa)
    )
    water_l = stored_l + first.flow_l_per_min * (facts["clicks"][0]["time_s"] - first.start_s) / 60
    charge = system.precharge_kpag + system.atmosphere_kpa
    start_kpag = charge * system.volume_l / (system.volume_l - water_l) - system.atmosphere_kpa
    timeline = simulate(system, uses, duration_s=facts["duration_s"], start_kpag=start_kpag)
    times = sorted(timeline.cut_ins_s + timeline.cut_outs_s)
    assert times == pytest.approx([click["time_s"] for click in facts["clicks"]], abs=1e-4)


def test_the_demo_is_a_wav_of_four_to_five_minutes_and_its_runs_are_told(tmp_path):
    began = time.perf_counter()
    path, facts = demo_recording(tmp_path / "demo.wav", 7)
    took_s = time.perf_counter() - began
    with wave.open(str(path)) as file:
        assert file.getframerate() == 44_100
        length_s = file.getnframes() / 44_100
    assert 240 <= length_s <= 300
    # 20 gal, 40/60, 38 psi: 5.16 gal; at 8 gpm 38.7 s. A late hand adds 0.3 s x 20 L/min / 30.28 L/min = 0.2 s, the
    # switch's scatter of 0.1 psi about 0.8 % (one sd)
    assert facts.no_use_run_s == pytest.approx(38.69, abs=0.01)
    assert len(facts.runs_s) == 3
    assert all(run_s == pytest.approx(38.9, abs=1.2) for run_s in facts.runs_s)
    assert took_s < 15  # about 1.5 s on an idle machine


@pytest.mark.slow
def test_another_seed_is_another_demo(tmp_path):
    one, two = (demo_recording(tmp_path / f"{seed}.wav", seed) for seed in (1, 2))
    assert one[1].runs_s != two[1].runs_s
