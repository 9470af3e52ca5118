"""When the switch works, by the simulator's physics. In: a pattern and r0; out: a stretch of it, a Timeline."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from clicktimer.simulator.household import simulate
from clicktimer.simulator.system import System, Use, us_system
from clicktimer.simulator.uses import refill_test

LITRES_PER_GAL = 3.785411784
Pattern = Literal["steady", "refill", "household", "waterlogged", "long", "never-ends", "single", "nothing"]


@dataclass(frozen=True)
class Timeline:
    """True times in seconds. taps: "steady" (one ran all the time), "shut" (none in the runs), "none" (not said)."""

    duration_s: float
    cut_ins_s: tuple[float, ...]
    cut_outs_s: tuple[float, ...]
    pump_on_at_start: bool
    r0_s: float
    taps: Literal["steady", "shut", "none"]

    def runs(self) -> list[tuple[float, float]]:
        """Stretches with the pump running, cut at the recording's ends."""
        starts = ([0.0] if self.pump_on_at_start else []) + list(self.cut_ins_s)
        ends = list(self.cut_outs_s) + [self.duration_s] * (len(starts) - len(self.cut_outs_s))
        return list(zip(starts, ends, strict=True))

    def cycles(self) -> list[tuple[float, float]]:
        """Runs with both ends inside the recording."""
        outs = self.cut_outs_s[1:] if self.pump_on_at_start else self.cut_outs_s
        return list(zip(self.cut_ins_s, outs, strict=False))

    def heard_r0_s(self) -> float:
        """The run with no water in use as a perfect ear would have it from this recording's own runs.

        It differs from r0_s, the run from settled air, by the heat of the air (some per cent) and the switch's scatter.
        Taps shut: mean run. Steady tap: mean of run x rest / (run + rest). Not said: no longer than any run.
        """
        runs = [b - a for a, b in self.cycles()]
        if not runs:
            return self.r0_s
        if self.taps == "shut":
            return float(np.mean(runs))
        rests = [a - b for (_, b), (a, _) in pairwise(self.cycles())]
        if self.taps == "steady" and rests:
            return float(np.mean([run * rest / (run + rest) for run, rest in zip(runs, rests, strict=False)]))
        return min(self.r0_s, *runs)


def _system(r0_s: float, rng: np.random.Generator) -> System:
    """A tank that this pump refills in about r0 at 40/60 psi; half with the heat of the air, 0.2 psi of scatter."""
    pump_gpm = float(rng.uniform(5, 15))
    one_gal = us_system(1.0, pump_gpm=pump_gpm).drawdown_l
    tank_gal = pump_gpm * LITRES_PER_GAL * r0_s / 60 / one_gal
    tau_s = 90.0 if rng.random() < 0.5 else None
    return us_system(tank_gal, pump_gpm=pump_gpm, pump_fall=float(rng.uniform(0, 0.25)), tau_s=tau_s, switch_sd_psi=0.2)


def _draws(rng: np.random.Generator, pump_l_per_min: float, length_s: float) -> list[Use]:
    """Water drawn now and then, 5 to 60 s at a tenth to two thirds of the pump's rate."""
    uses, t = [], 0.0
    while t < length_s:
        t += float(rng.exponential(25) + 2)
        uses.append(Use(t, float(rng.uniform(5, 60)), pump_l_per_min * float(rng.uniform(0.1, 0.65))))
        t += uses[-1].duration_s
    return uses


def _switching(pattern: Pattern, r0_s: float, length_s: float, rng: np.random.Generator) -> tuple[list[float], float]:
    """Times at which the switch works, first a cut-in, and the true run with no water in use."""
    system, seed = _system(r0_s, rng), int(rng.integers(1 << 30))
    if pattern == "refill":
        uses, start_kpag, length_s = refill_test(
            system,
            runs=max(1, min(12, round(length_s / (r0_s + 50)))),
            draw_l_per_min=system.pump_l_per_min * 0.45,
            pause_s=float(rng.uniform(5, 30)),
            seed=seed,
            first_draw_s=min(20.0, r0_s),
        )
        line = simulate(system, uses, duration_s=length_s, seed=seed, start_kpag=start_kpag)
    else:
        flow = system.pump_l_per_min * float(rng.uniform(0.25, 0.48))
        uses = (
            tuple(_draws(rng, system.pump_l_per_min, length_s)) if pattern == "household" else (Use(0, length_s, flow),)
        )
        line = simulate(system, uses, duration_s=length_s, seed=seed)
    return sorted(line.cut_ins_s + line.cut_outs_s), line.no_use_run_s


def make_timeline(
    pattern: Pattern, r0_s: float, duration_s: float, rng: np.random.Generator, begin_on: bool | None = None
) -> Timeline:
    """A stretch of ``duration_s`` out of a pattern; no click falls in its first or last 0.6 s (or 0.1 of a short run).

    begin_on: True to begin inside a run, False in a rest, None as it comes.
    """
    if pattern == "nothing":
        return Timeline(duration_s, (), (), False, r0_s, "none")
    if pattern in ("never-ends", "single"):
        at = float(rng.uniform(0.15, 0.4)) * duration_s
        last = at + r0_s
        if pattern == "never-ends" or last > duration_s - 2:
            return Timeline(duration_s, (at,), (), False, r0_s, "none")
        return Timeline(duration_s, (at,), (last,), False, r0_s, "shut")
    taps: Literal["steady", "shut", "none"] = "steady"
    if pattern in ("household", "refill"):
        taps = "none" if pattern == "household" else "shut"
    times, r0_s = _switching(pattern, r0_s, 2 * duration_s + 8 * r0_s + 100, rng)
    if len(times) < 2:
        return Timeline(duration_s, (), (), False, r0_s, taps)
    # A random stretch; the margin keeps a click from standing right on an end.
    events, margin = np.array(times), min(0.6, 0.1 * r0_s)
    for _ in range(300):
        begin = float(rng.uniform(events[0] - 0.3 * r0_s - 2, max(events[0], events[-1] - duration_s)))
        inside = events[(events > begin) & (events < begin + duration_s)]
        on = int(np.searchsorted(events, begin)) % 2 == 1
        if begin_on is not None and on != begin_on:
            continue
        if len(inside) and min(inside[0] - begin, begin + duration_s - inside[-1]) < margin:
            continue
        break
    first = int(np.searchsorted(events, begin))
    ins = tuple(float(e - begin) for i, e in enumerate(inside, first) if i % 2 == 0)
    outs = tuple(float(e - begin) for i, e in enumerate(inside, first) if i % 2 == 1)
    return Timeline(duration_s, ins, outs, on, r0_s, taps)
