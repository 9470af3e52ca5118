"""Recordings with a driven pump, or with a second machine, made by the simulator; and how often each is noticed.

    python -m tests.benchmarks.machines --split report --count 30 --sounds DIR

Tables: driven pumps and pairs of machines (noticed or not, and whether a run was judged all the same), and recordings
of one ordinary pump, by the simulator and by compose, in which nothing may be noticed. The report half has other seeds.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import numpy as np

from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.simulator.colour import amplitude
from clicktimer.simulator.household import simulate
from clicktimer.simulator.sounds import Noise, SoundSettings, pump_and_switch, render_all
from clicktimer.simulator.system import Timeline, Use, us_system
from clicktimer.simulator.uses import refill_test
from tests.benchmarks.drives import Drive, DriveSound, driven, lead_and_lag
from tests.benchmarks.sounds import Array

FIRST_SEED = {"develop": 1000, "report": 7000}
KINDS = ("driven", "lead and lag", "booster", "sump", "one pump")
NOISES = (
    (),
    (Noise("speech"),),
    (Noise("doors"), Noise("footsteps")),
    (Noise("clock"),),
    (Noise("rain", 3.0),),
    (Noise("footsteps"), Noise("speech", 34.0)),
)


def _draws(rng: np.random.Generator, length_s: float, most_l_per_min: float, pause_s: float = 40.0) -> list[Use]:
    """Water now and then, now and then by two taps at once."""
    uses, t = [], float(rng.uniform(3, 20))
    while t < length_s - 10:
        last_s = float(rng.uniform(15, 120))
        uses.append(Use(t, last_s, most_l_per_min * float(rng.uniform(0.1, 0.5))))
        if rng.random() < 0.5:
            uses.append(Use(t + 0.3 * last_s, 0.5 * last_s, most_l_per_min * float(rng.uniform(0.15, 0.45))))
        t += last_s + float(rng.exponential(pause_s)) + 5.0
    return uses


def _machine_runs(rng: np.random.Generator, length_s: float) -> Timeline:
    """A machine with its own cycle: a sump pump (seconds of run, minutes of rest) or a booster."""
    run_s, rest_s = float(rng.uniform(8, 40)), float(rng.uniform(40, 150))
    t, ins, outs = float(rng.uniform(5, rest_s)), [], []
    while t + 1.1 * run_s < length_s:
        ins.append(t)
        outs.append(t + run_s * float(rng.uniform(0.93, 1.07)))
        t = outs[-1] + rest_s * float(rng.uniform(0.8, 1.2))
    return Timeline(length_s, tuple(ins), tuple(outs), False, (), 0.0, run_s)


def make(kind: str, split: str, number: int) -> tuple[Array, int, dict[str, Any]]:
    """One recording: samples, rate in Hz, and what is true of it."""
    seed = FIRST_SEED[split] + number
    rng = np.random.default_rng([seed, 91, KINDS.index(kind)])
    rate_hz = int(rng.choice([48_000, 44_100, 16_000, 22_050]))
    length_s = float(rng.uniform(240, 600))
    mains_hz = float(rng.choice([50.0, 60.0]))
    look: dict[str, Any] = {
        "room_dbfs": float(rng.uniform(-66, -56)),
        "mains_hz": mains_hz,
        "reverb_s": float(rng.uniform(0.15, 0.5)),
        "hum_over_room_db": float(rng.uniform(-4, 10)),
        "noises": NOISES[int(rng.integers(len(NOISES)))],
        "click_over_room_db": float(rng.uniform(28, 48)),
    }
    room_rms = amplitude(look["room_dbfs"])
    about: dict[str, Any] = {"kind": kind, "seed": seed, "noises": [n.kind for n in look["noises"]]}
    if kind == "driven":
        drive = Drive(
            set_kpag=float(rng.uniform(270, 420)),
            shutoff_kpa=float(rng.uniform(480, 700)),
            full_l_per_min=float(rng.uniform(40, 90)),
            tank_l_per_kpa=float(rng.uniform(0.01, 0.08)),
            ramp_per_s=float(rng.uniform(0.15, 0.6)),
            sleep_s=float(rng.uniform(4, 20)),
        )
        track = driven(drive, _draws(rng, length_s, drive.full_l_per_min), duration_s=length_s)
        over_db = float(rng.uniform(3, 18))
        sound = DriveSound(track, over_room_db=over_db, room_rms=room_rms, mains_hz=60.0, rate_hz=rate_hz, seed=seed)
        still = Timeline(length_s, (), (), False, (), 0.0, 1.0)
        x = render_all(still, SoundSettings(pump="none", **look), rate_hz=rate_hz, seed=seed, more=[sound])
        running = track.speed[track.speed > 0.3]
        about |= {
            "runs": track.runs_s,
            "over_db": over_db,
            "changes": speeds_held(track.speed),
            "range": (round(float(running.min()), 2), round(float(running.max()), 2)),
        }
        return x, rate_hz, about
    system = us_system(
        float(rng.uniform(10, 30) if kind == "lead and lag" else rng.uniform(15, 60)),
        pump_gpm=float(rng.uniform(5, 12)),
        pump_fall=float(rng.uniform(0, 0.25)),
        switch_sd_psi=0.2,
    )
    first = str(rng.choice(["jet", "jet", "flow"]))
    over = float(rng.uniform(4, 16)) if first == "jet" else float(rng.uniform(-2, 4))
    second: Timeline | None = None
    if kind == "lead and lag":
        length_s = 900.0  # enough for the lag to be wanted several times
        uses = _draws(rng, length_s, 3.5 * system.pump_l_per_min, 25.0)
        line, second = lead_and_lag(
            system,
            uses,
            duration_s=length_s,
            lag_kpa=float(rng.uniform(20, 40)),
            lag_l_per_min=system.pump_l_per_min * float(rng.uniform(0.7, 1.2)),
        )
    elif rng.random() < 0.5:
        plan, start_kpag, length_s = refill_test(
            system, runs=6, draw_l_per_min=0.45 * system.pump_l_per_min, pause_s=15.0, seed=seed, first_draw_s=10.0
        )
        length_s = min(length_s, 700.0)
        line = simulate(system, plan, duration_s=length_s, seed=seed, start_kpag=start_kpag)
    else:
        uses = _draws(rng, length_s, 1.3 * system.pump_l_per_min)
        line = simulate(system, uses, duration_s=length_s, seed=seed)
    more = []
    if kind in ("booster", "sump"):
        second = _machine_runs(rng, length_s)
    if second is not None:
        other: Any = {"booster": "booster", "sump": "sump", "lead and lag": str(rng.choice(["booster", "jet"]))}[kind]
        level = float(rng.uniform(3, 16)) if other != "sump" else float(rng.uniform(0, 8))
        clicks_db = look["click_over_room_db"] - float(rng.uniform(0, 8)) if kind == "lead and lag" else -60.0
        its = {**look, "noises": (), "click_over_room_db": clicks_db}
        more = pump_and_switch(
            second, SoundSettings(pump=other, pump_over_room_db=level, **its), rate_hz=rate_hz, seed=seed + 50_000
        )
        about |= {"second": (second.cut_ins_s, second.cut_outs_s), "second_db": level, "second_kind": other}
    settings = SoundSettings(pump=first, pump_over_room_db=over, **look)  # type: ignore[arg-type]
    x = render_all(line, settings, rate_hz=rate_hz, seed=seed, more=more)
    about |= {"first": (line.cut_ins_s, line.cut_outs_s), "first_kind": first, "first_db": over}
    return x, rate_hz, about


def speeds_held(speed: np.ndarray, step_s: float = 0.02, hold_s: float = 4.0, share: float = 0.05) -> bool:
    """Whether two speeds that differ by ``share`` or more are each held for ``hold_s`` within one run."""
    n = round(hold_s / step_s)
    found: list[float] = []
    for i in range(0, len(speed) - n, n // 2):
        part = speed[i : i + n]
        if part.min() < 0.05:
            if speed[i] < 0.05:
                found = []
            continue
        if part.max() - part.min() < 0.01 * part.mean():
            found.append(float(part.mean()))
            if max(found) / min(found) > 1 + share:
                return True
    return False


def one(job: tuple[str, str, int, str | None]) -> tuple[str, dict[str, Any]]:
    """Make and measure one recording."""
    from clicktimer.pipeline import measure_samples

    kind, split, number, sounds = job
    if kind in KINDS:
        x, rate_hz, about = make(kind, split, number)
    else:
        from tests.benchmarks.compose import compose

        r = compose(kind, split, number, sounds)  # type: ignore[arg-type]
        x, rate_hz, about = r.samples, r.rate_hz, {"kind": kind, "seed": number, "condition": r.plan.condition}
    told = measure_samples(x, rate_hz)
    codes = [w.code for w in told.warnings if w.code in ("variable-speed", "two-pumps", "other-machine")]
    return kind, {
        **about,
        "codes": codes,
        "band": told.verdict.band,
        "sure": told.verdict.sure,
        "clicks": len(told.clicks),
        "cycles": sum(c.complete for c in told.cycles),
        "texts": [Messages().text(w.reason) for w in told.warnings],
    }


def rows(split: str, numbers: range, sounds: str | None, kinds: tuple[str, ...], jobs: int) -> Iterator[Any]:
    """Every recording of every kind."""
    todo = [(kind, split, n, sounds) for kind in kinds for n in numbers]
    if jobs <= 1:
        yield from map(one, todo)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(one, todo)


def main() -> None:
    """Print one line for each kind: recordings, noticed as what, and judged for sure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--split", choices=list(FIRST_SEED), default="develop")
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--kinds", default=",".join((*KINDS, "clean", "near", "hard")))
    parser.add_argument("--sounds")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--each", action="store_true")
    args = parser.parse_args()
    seen: dict[str, Counter[str]] = {}
    numbers = range(args.first, args.first + args.count)
    for kind, row in rows(args.split, numbers, args.sounds, tuple(args.kinds.split(",")), args.jobs):
        count = seen.setdefault(kind, Counter())
        count["recordings"] += 1
        count.update(row["codes"] or ["nothing"])
        count["judged for sure"] += row["sure"]
        count["runs told"] += row["cycles"] > 0
        count["... and noticed"] += row["cycles"] > 0 and bool(row["codes"])
        if kind == "driven":
            count["holds two speeds in a run"] += row["changes"]
            count["... of those noticed"] += row["changes"] and "variable-speed" in row["codes"]
        if args.each:
            print(row, flush=True)
    for kind, count in seen.items():
        print(f"{kind:14}", ", ".join(f"{name} {n}" for name, n in count.items()))


if __name__ == "__main__":
    main()
