"""A day says the same of recordings joined, of a listening folder of that sound, and of its list of clicks."""

from __future__ import annotations

import json
import wave
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio import open_recording
from clicktimer.cli import run
from clicktimer.cycles.pairing import pair_cycles
from clicktimer.day.analysis import read_day
from clicktimer.day.cycle_log import DayLog
from clicktimer.records import Click
from clicktimer.streaming.import_recording import measure_into
from tests.support.recordings import path_of, truth_of

NAMES = ("steady-tap", "ordinary-use", "steady-tap")


def day_of(tmp_path: Path, *recordings: Path) -> dict[str, Any]:
    target = tmp_path / "day.json"
    run(["day", *map(str, recordings), "--json", str(target)])
    document: dict[str, Any] = json.loads(target.read_text("utf-8"))
    return document


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The three recordings as one file, sound after sound."""
    target = tmp_path_factory.mktemp("whole") / "whole.wav"
    parts, rate_hz = [], 0
    for name in NAMES:
        recording = open_recording(path_of(name))
        parts += [block.samples for block in recording.blocks()]
        rate_hz = recording.info.rate_hz
    with wave.open(str(target), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(rate_hz)
        out.writeframes((np.clip(np.concatenate(parts), -1, 1) * 32767).astype("<i2").tobytes())
    return target


@pytest.mark.slow
def test_recordings_joined_folder_and_click_list_agree(whole: Path, tmp_path: Path):
    folder = tmp_path / "listening"
    measure_into(whole, folder, MeasureOptions(), program="test")
    of_file, of_folder = day_of(tmp_path, whole), day_of(tmp_path, folder)
    of_parts = day_of(tmp_path, *(path_of(n) for n in NAMES))
    for part in ("run", "run_withheld", "seeping", "starts", "water", "changes"):
        assert of_folder[part] == of_file[part], part

    # The truth of the three, not the detector's: every start of the pump that was simulated.
    true = sum(kind == "cut-in" for name in NAMES for _, kind in truth_of(name).clicks)
    assert of_parts["starts"]["count"] == true
    assert of_file["starts"]["count"] == true
    runs = [c["run_s"] for c in of_parts["cycles"] if c["run_s"] is not None]
    tankfuls = sum(runs) / of_parts["run"]["seconds"]
    assert of_parts["water"]["unit"] == "tankfuls"
    assert of_parts["water"]["total"]["value"] == pytest.approx(tankfuls, rel=0.002)

    clicks = [Click(c["time_s"], c["kind"], c["confidence"], c["timing_sd_s"]) for c in of_file["clicks"]]
    duration_s = of_file["source"]["duration_s"]
    listed = read_day(DayLog(pair_cycles(clicks, start_s=0.0, end_s=duration_s), duration_s))
    assert listed.starts.count == of_file["starts"]["count"]
    assert listed.water is not None
    assert listed.water.total.value == pytest.approx(of_file["water"]["total"]["value"], abs=0.05)
    # The seams cut runs, so clicks are in doubt; rounded times draw other paths: a little other interval.
    assert listed.water.between.high == pytest.approx(of_file["water"]["between"]["high"], rel=0.1)
