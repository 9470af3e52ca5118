"""When the switch works: patterns of runs and rests, by their arithmetic. In: a pattern and r0; out: a Timeline.

With water in use at the fraction f of the pump's rate, run = r0 / (1 - f) and rest = r0 / f.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

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


def _household(rng: np.random.Generator, r0_s: float, length_s: float) -> list[float]:
    """Switching times, first a cut-in: draws of random rate and length empty the tank; the pump fills it in r0."""
    step_s, level, on, use, left_s, out = 0.02, float(rng.uniform(0.2, 1)), False, 0.0, 0.0, []
    for i in range(int(length_s / step_s)):
        left_s -= step_s
        if left_s <= 0:
            use = 0.0 if use > 0 and rng.random() < 0.7 else float(rng.uniform(0.1, 0.65))
            left_s = float(rng.uniform(5, 60)) if use else float(rng.exponential(25) + 2)
        change = ((1.0 if on else 0.0) - use) / r0_s * step_s
        level += change
        if not on and level <= 0:
            on = True
            out.append((i + 1) * step_s - (level / change) * step_s)
            level = 0.0
        elif on and level >= 1:
            on = False
            out.append((i + 1) * step_s - ((level - 1) / change) * step_s)
            level = 1.0
    return out


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
    if pattern == "household":
        times, taps = _household(rng, r0_s, duration_s * 2 + 10 * r0_s), "none"
    else:
        fraction, t = float(rng.uniform(0.25, 0.48)), 0.0
        times = []
        while t < 2 * duration_s + 4 * r0_s + 200:
            scatter = 1 + 0.01 * rng.standard_normal(2)
            run_s = r0_s * scatter[0] * (1.0 if pattern == "refill" else 1 / (1 - fraction))
            rest_s = float(rng.uniform(15, 80)) if pattern == "refill" else r0_s / fraction * scatter[1]
            times += [t, t + run_s]
            t += run_s + rest_s
        taps = "shut" if pattern == "refill" else "steady"
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
