"""The recordings of fixtures_audio/: small, synthetic, each with its truth beside it.

Run ``python -m clicktimer.simulator.fixtures [FOLDER]`` to make them all again. Truth is the physics of the simulated
household; no detector has a part in it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from clicktimer.simulator.demo import to_int16
from clicktimer.simulator.household import System, Timeline, Use, simulate, us_system
from clicktimer.simulator.noises import Noise
from clicktimer.simulator.sounds import SoundSettings, operations, render
from clicktimer.simulator.uses import household_uses, refill_test

# Quiet enough that 16-bit flac stays small, loud enough that the room still moves the last bit.
_ROOM_DBFS = -96.0


@dataclass(frozen=True, slots=True)
class Scene:
    """A household doing something for a while. taps: what the taps did, in plain words."""

    system: System
    timeline: Timeline
    taps: str


@dataclass(frozen=True, slots=True)
class Fixture:
    """One recording: what it shows, how its scene is made, how it sounds."""

    name: str
    shows: str
    scene: Callable[[], Scene]
    sound: SoundSettings
    seed: int
    rate_hz: int = 22_050


def fixtures() -> tuple[Fixture, ...]:
    """List every recording of the folder."""

    def sound(**settings: Any) -> SoundSettings:
        return SoundSettings(room_dbfs=_ROOM_DBFS, **settings)

    short = us_system(20.0, pump_gpm=12.0)  # 25.8 s
    strong = us_system(20.0, pump_gpm=16.0)  # 19.3 s
    busy = (Noise("clock"), Noise("speech", None, 8.0), Noise("footsteps", None, 4.0), Noise("crackle"))
    return (
        Fixture(
            "taps-shut-75s",
            "a healthy system, runs of 75 s with taps shut",
            lambda: _refill(us_system(33.0, pump_gpm=6.81), runs=3, draw_l_per_min=60.0, seed=101),
            sound(pump="flow", click_over_room_db=48.0),
            101,
            16_000,
        ),
        Fixture(
            "short-cycling-12s",
            "short cycling: the tank has lost most of its air charge; a jet pump in the room",
            lambda: _refill(us_system(20.0, precharge_psig=10.0, pump_gpm=12.1), runs=4, draw_l_per_min=60.0, seed=102),
            sound(pump="jet", pump_over_room_db=14.0, click_over_room_db=48.0),
            102,
            16_000,
        ),
        Fixture(
            "steady-tap",
            "one tap left running: three cycles and more that agree",
            lambda: _steady(us_system(6.0, pump_gpm=8.0), 14.0, duration_s=160.0, seed=103),
            sound(pump="flow", click_over_room_db=48.0, mains_hz=50.0),
            103,
            16_000,
        ),
        Fixture(
            "very-short-3s",
            "almost no air in the tank: runs of 3 s; 48 kHz",
            lambda: _refill(
                us_system(33.0, precharge_psig=-11.6, pump_gpm=10.0), runs=4, draw_l_per_min=15.0, seed=104
            ),
            sound(pump="flow", click_over_room_db=48.0, pump_over_room_db=6.0),
            104,
            48_000,
        ),
        Fixture(
            "no-pump-heard",
            "the pump cannot be heard, only the switch",
            lambda: _refill(strong, runs=3, draw_l_per_min=60.0, seed=105),
            sound(pump="none", click_over_room_db=48.0),
            105,
            16_000,
        ),
        Fixture(
            "begins-inside-a-run",
            "the recording begins while the pump runs",
            _begins_inside,
            sound(pump="jet", pump_over_room_db=10.0, click_over_room_db=38.0),
            106,
            16_000,
        ),
        Fixture(
            "moderate-rain",
            "moderate rain",
            lambda: _refill(strong, runs=3, draw_l_per_min=60.0, seed=107),
            sound(pump="flow", pump_over_room_db=8.0, click_over_room_db=36.0, noises=(Noise("rain", 5.0),)),
            107,
            16_000,
        ),
        Fixture(
            "chatter",
            "a worn switch: about every other operation is a burst of snaps",
            lambda: _refill(strong, runs=3, draw_l_per_min=45.0, seed=108),
            sound(pump="flow", pump_over_room_db=5.0, chatter=0.5),
            108,
        ),
        Fixture(
            "telephone-8khz",
            "8 kHz, as a telephone records",
            lambda: _refill(short, runs=3, draw_l_per_min=60.0, seed=109),
            sound(pump="jet", pump_over_room_db=14.0, click_over_room_db=48.0),
            109,
            8_000,
        ),
        Fixture(
            "no-click",
            "no switch operates: a clock, talk, steps and crackle only",
            lambda: _nobody(short, duration_s=60.0, seed=111),
            sound(pump="none", noises=busy),
            111,
            16_000,
        ),
        Fixture(
            "ordinary-use",
            "a morning's ordinary use, a switch that scatters by 0.3 psi and air that warms: runs differ",
            lambda: _ordinary(duration_s=160.0, seed=787),
            sound(pump="flow", pump_over_room_db=6.0, noises=(Noise("doors", 36.0, 0.7), Noise("footsteps", 34.0))),
            787,
            16_000,
        ),
    )


def truth(fixture: Fixture) -> dict[str, Any]:
    """Return what truly happened in a recording, ready for JSON. Times in seconds from the first sample."""
    scene = fixture.scene()
    timeline = scene.timeline
    return {
        "format": "clicktimer-truth",
        "version": 1,
        "name": fixture.name,
        "shows": fixture.shows,
        "duration_s": round(timeline.duration_s * fixture.rate_hz) / fixture.rate_hz,
        "sample_rate_hz": fixture.rate_hz,
        "clicks": [
            {
                "time_s": round(operation.time_s, 6),
                "kind": operation.kind,
                "chatter": 1 + len(operation.chatter_s),
                "level_over_room_db": round(operation.level_over_room_db, 2),
            }
            for operation in operations(timeline, fixture.sound, fixture.seed)
        ],
        "pump_on_at_start": timeline.pump_on_at_start,
        "no_use_run_s": round(timeline.no_use_run_s, 6),
        "taps": scene.taps,
        "water_l": round(timeline.water_l, 3),
        "made": {
            "by": "clicktimer.simulator.fixtures",
            "seed": fixture.seed,
            "system": asdict(scene.system),
            "uses": [asdict(use) for use in timeline.uses],
            "sound": asdict(fixture.sound),
        },
    }


def make(folder: Path) -> None:
    """Make every recording, its truth and the README in a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for fixture in fixtures():
        write_flac(folder / f"{fixture.name}.flac", fixture)
        text = json.dumps(truth(fixture), indent=2) + "\n"
        (folder / f"{fixture.name}.truth.json").write_text(text, encoding="utf-8")
    (folder / "README.md").write_text(readme(), encoding="utf-8")


def write_flac(path: Path, fixture: Fixture) -> None:
    """Write one recording as mono 16-bit flac."""
    import av  # heavy, and only this needs it

    with av.open(str(path), "w", format="flac") as container:
        stream = container.add_stream("flac", rate=fixture.rate_hz, options={"compression_level": "12"})
        assert isinstance(stream, av.AudioStream)
        stream.layout, stream.format = "mono", av.AudioFormat("s16")
        timeline = fixture.scene().timeline
        for block in render(timeline, fixture.sound, rate_hz=fixture.rate_hz, seed=fixture.seed):
            frame = av.AudioFrame.from_ndarray(to_int16(block)[None, :], format="s16", layout="mono")
            frame.rate = fixture.rate_hz
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def readme() -> str:
    """Return the README of the folder: how each recording was made."""
    lines = [
        "# Recordings to test on",
        "",
        "All of this is synthetic: no real pressure switch was recorded. It is made anew, this file included, by",
        "`python -m clicktimer.simulator.fixtures`.",
        "",
        "Each `NAME.flac` (mono, 16 bit) has a `NAME.truth.json` beside it: the switch's operations by the physics of",
        "the simulated household (not by any detector), whether the pump ran at the start, the run with no water in",
        "use (`no_use_run_s`), what the taps did, and everything it was made from, seed included. The recordings are",
        "quiet on purpose, which keeps the files small: turn the volume up. The sound is described in",
        "docs/simulator.md.",
        "",
        "| recording | shows | length | clicks | run with no water in use | taps |",
        "|---|---|---|---|---|---|",
    ]
    for fixture in fixtures():
        facts = truth(fixture)
        lines.append(
            f"| {fixture.name} | {fixture.shows} | {facts['duration_s']:.0f} s at {fixture.rate_hz / 1000:g} kHz "
            f"| {len(facts['clicks'])} | {facts['no_use_run_s']:.1f} s | {facts['taps']} |"
        )
    return "\n".join(lines) + "\n"


def _refill(system: System, *, runs: int, draw_l_per_min: float, seed: int) -> Scene:
    uses, start_kpag, duration_s = refill_test(
        system, runs=runs, draw_l_per_min=draw_l_per_min, pause_s=3.0, lead_s=5.0, first_draw_s=4.0, seed=seed
    )
    timeline = simulate(system, uses, duration_s=duration_s, seed=seed, start_kpag=start_kpag)
    taps = f"{draw_l_per_min:g} L/min drawn until each cut-in and shut at the very click; shut during every run"
    return Scene(system, timeline, taps)


def _steady(system: System, flow_l_per_min: float, *, duration_s: float, seed: int) -> Scene:
    uses = [Use(0.0, duration_s, flow_l_per_min, "one steady tap")]
    middle_kpag = (system.cut_in_kpag + system.cut_out_kpag) / 2
    timeline = simulate(system, uses, duration_s=duration_s, seed=seed, start_kpag=middle_kpag)
    return Scene(system, timeline, f"one tap at a steady {flow_l_per_min:g} L/min throughout")


def _begins_inside() -> Scene:
    system = us_system(20.0, pump_gpm=10.0)  # gives 19.5 L between cut-out and cut-in
    uses = [Use(18.0, 26.3, 45.0, "test draw"), Use(79.0, 26.3, 45.0, "test draw")]
    timeline = simulate(system, uses, duration_s=139.0, pump_on_at_start=True)
    return Scene(system, timeline, "shut at the start; two draws of 45 L/min, each shut within a second after cut-in")


def _nobody(system: System, *, duration_s: float, seed: int) -> Scene:
    return Scene(system, simulate(system, [], duration_s=duration_s, seed=seed), "shut throughout")


def _ordinary(*, duration_s: float, seed: int) -> Scene:
    system = us_system(5.0, pump_gpm=6.0, pump_fall=0.15, tau_s=70.0, switch_sd_psi=0.3, tap_law="root of pressure")
    # a crowded house: the draws of many mornings in one
    uses = [use for k in range(9) for use in household_uses("ordinary", duration_s, seed + 1000 * k, start_hour=7.0)]
    timeline = simulate(system, sorted(uses, key=lambda use: use.start_s), duration_s=duration_s, seed=seed)
    return Scene(system, timeline, "ordinary use, often during runs")


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path("fixtures_audio"))
