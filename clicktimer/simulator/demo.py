"""The demo: an invented household whose owner does the refill test, recorded by the simulator."""

from __future__ import annotations

import wave
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from clicktimer.simulator.colour import FloatArray
from clicktimer.simulator.household import simulate, us_system
from clicktimer.simulator.sounds import SoundSettings, render
from clicktimer.simulator.system import Timeline
from clicktimer.simulator.uses import refill_test

RATE_HZ = 44_100


@dataclass(frozen=True, slots=True)
class DemoFacts:
    """What is true of the invented household, whatever is heard.

    no_use_run_s: the run with every tap shut, by Boyle's law. runs_s: the runs of this recording; each is a little
    longer, since the tap is shut ``hand_delay_s`` after the click while the pump already runs.
    """

    household: str
    tank_gal: float
    pump_gpm: float
    switch_psig: tuple[float, float]
    precharge_psig: float
    no_use_run_s: float
    runs_s: tuple[float, ...]
    hand_delay_s: float
    timeline: Timeline


def demo_recording(path: str | Path, seed: int) -> tuple[Path, DemoFacts]:
    """Write the demo recording (16-bit wav, mono, 44.1 kHz, 4 to 5 minutes) and tell the truth about it.

    A 20 US gal tank, a pump of 8 gpm, a 40/60 psi switch, air charge 38 psi: the tap is opened until the pump cuts in,
    shut, and opened again after the cut-out, three times. seed: the sound and the scatter of the switch.
    Raises OSError when the file cannot be written.
    """
    system = us_system(20.0, switch_psig=(40.0, 60.0), precharge_psig=38.0, pump_gpm=8.0, switch_sd_psi=0.1)
    hand_delay_s = 0.3
    uses, start_kpag, duration_s = refill_test(
        system, runs=3, draw_l_per_min=20.0, hand_delay_s=hand_delay_s, first_draw_s=9.0, seed=seed
    )
    timeline = simulate(system, uses, duration_s=duration_s, seed=seed, start_kpag=start_kpag)
    settings = SoundSettings(click_over_room_db=36.0, pump="flow", pump_over_room_db=5.0, room_dbfs=-66.0)
    path = Path(path)
    write_wav(path, render(timeline, settings, rate_hz=RATE_HZ, seed=seed), RATE_HZ)
    runs_s = tuple(off - on for on, off in zip(timeline.cut_ins_s, timeline.cut_outs_s, strict=True))
    facts = DemoFacts(
        household="an invented cottage with a pump in its well and a pressure tank in the basement",
        tank_gal=20.0,
        pump_gpm=8.0,
        switch_psig=(40.0, 60.0),
        precharge_psig=38.0,
        no_use_run_s=timeline.no_use_run_s,
        runs_s=runs_s,
        hand_delay_s=hand_delay_s,
        timeline=timeline,
    )
    return path, facts


def write_wav(path: Path, blocks: Iterable[FloatArray], rate_hz: int) -> None:
    """Write mono blocks (full scale = 1) as a 16-bit wav file, block by block."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        for block in blocks:
            file.writeframes(to_int16(block).astype("<i2").tobytes())


def to_int16(block: FloatArray) -> np.ndarray[tuple[int, ...], np.dtype[np.int16]]:
    """Round samples of full scale 1 to 16 bits."""
    return np.clip(np.round(block * 32768.0), -32768, 32767).astype(np.int16)
