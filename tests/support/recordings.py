"""For tests only: the stored recordings with their truth, and scenes made by the simulator."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio import open_recording
from clicktimer.pipeline import Listened, conclude, hear_blocks
from clicktimer.records import (
    Block,
    Notice,
    SourceInfo,
)
from clicktimer.settings import (
    PumpState,
    Taps,
)
from clicktimer.simulator import Use, simulate, us_system
from clicktimer.simulator.sounds import Noise, SoundSettings, render_all
from clicktimer.site.options import parse_system_options

FOLDER = Path(__file__).parents[2] / "fixtures_audio"
NAMES = sorted(path.stem for path in FOLDER.glob("*.flac"))
HOUSE = tuple(Noise(kind) for kind in ("crackle", "clock", "footsteps", "doors"))
SCENE_RATE_HZ = 16_000


@dataclass(frozen=True)
class Truth:
    """What truly happened. clicks: time in seconds, kind, in order."""

    clicks: tuple[tuple[float, str], ...]
    no_use_run_s: float
    taps: Taps | None
    start: PumpState

    @property
    def runs_s(self) -> dict[float, float]:
        """Length of each whole run by the time of its cut-in."""
        pairs = zip(self.clicks, self.clicks[1:], strict=False)
        return {a: b - a for (a, kind), (b, _) in pairs if kind == "cut-in"}


def path_of(name: str) -> Path:
    return FOLDER / f"{name}.flac"


def truth_of(name: str) -> Truth:
    facts = json.loads((FOLDER / f"{name}.truth.json").read_text("utf-8"))
    taps: Taps | None = None
    if "steady" in facts["taps"]:
        taps = "steady"
    elif facts["taps"].endswith("shut during every run"):
        taps = "shut"
    return Truth(
        tuple((c["time_s"], c["kind"]) for c in facts["clicks"]),
        facts["no_use_run_s"],
        taps,
        "on" if facts["pump_on_at_start"] else "off",
    )


@cache
def heard(name: str) -> tuple[Listened, SourceInfo, tuple[Notice, ...]]:
    """A stored recording heard once, for all that is asked of it."""
    recording = open_recording(path_of(name))
    listened = hear_blocks(recording.blocks())
    return listened, recording.finish(), tuple(recording.notices)


@cache
def measured(name: str, taps: Taps | None = None, pump_at_start: PumpState | None = None) -> Measurement:
    """What ``clicktimer.measure`` gives for a stored recording; a test holds the two together."""
    listened, source, notices = heard(name)
    system = parse_system_options()
    options = MeasureOptions(taps=taps, pump_at_start=pump_at_start, marks_s=system.marks_s, system=system)
    return conclude(listened, source, options, list(notices))


@cache
def scene(
    pump: str, *, noises: tuple[Noise, ...] = (), click_db: float = 36.0, seed: int = 1, duration_s: float = 170.0
) -> tuple[Listened, Truth]:
    """What is heard of 6 gal at 8 gpm with one steady tap (runs of 21.6 s, rests of 25.1 s), and the truth."""
    timeline = simulate(us_system(6.0, pump_gpm=8.0), [Use(0.0, duration_s, 14.0)], duration_s=duration_s, seed=seed)
    sound = SoundSettings(pump=pump, click_over_room_db=click_db, noises=noises)  # type: ignore[arg-type]
    x = render_all(timeline, sound, rate_hz=SCENE_RATE_HZ, seed=seed)
    clicks = [(t, "cut-in") for t in timeline.cut_ins_s] + [(t, "cut-out") for t in timeline.cut_outs_s]
    heard = hear_blocks([Block(x, SCENE_RATE_HZ, 0.0)])
    return heard, Truth(tuple(sorted(clicks)), timeline.no_use_run_s, "steady", "off")


def nearest(truth: Truth, time_s: float) -> tuple[float, str]:
    return min(truth.clicks, key=lambda click: abs(click[0] - time_s))
