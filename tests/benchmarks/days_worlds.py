"""Days for the benchmark of ``clicktimer day``: invented households through the simulator, in two worlds.

"isothermal": air that stays at one temperature, a pump of constant rate, taps of constant flow, a switch without
scatter. "field": heat exchange of the air with 80 s, a pump whose rate falls by 20 %, taps by the root of pressure, a
switch that scatters by 0.3 psi. Truth comes from the simulator alone. Litres, seconds, litres a minute.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from clicktimer.cycles.pairing import pair_cycles
from clicktimer.records import Click, Cycle, Kind
from clicktimer.simulator.household import no_use_run, run_household
from clicktimer.simulator.system import L_PER_GAL, System, Use, us_system
from clicktimer.simulator.uses import UseKind, household_uses

World = Literal["isothermal", "field"]
WORLDS: tuple[World, ...] = ("isothermal", "field")
DAY_S = 86_400.0
KINDS = (
    "ordinary",
    "lean",
    "waterlogged",
    "small",
    "large",
    "seeping 0.05",
    "seeping 0.1",
    "seeping 0.2",
    "seeping 0.5",
    "seeping 0.8",
    "failing air",
    "irrigation",
    "softener",
    "weak well",
)
REPLAYED: dict[World, tuple[float, ...]] = {"isothermal": (0.5, 1.0, 2.0, 4.0), "field": (0.5, 1.0, 2.0, 4.0)}
"""Other tanks, in times the tank that is there."""


@dataclass(frozen=True, slots=True)
class TrueDay:
    """A simulated day. rate_l_per_min: mean over the switch's range. leak_l_per_min: 0 without one.

    between_l: water that the taps gave from the first cut-in to the last; None where not reckoned.
    replayed: times the tank -> starts, starts in the worst hour, mean run in seconds.
    """

    world: World
    kind: str
    seed: int
    no_use_run_s: float
    rate_l_per_min: float
    water_l: float
    leak_l_per_min: float
    between_l: float | None
    cut_ins_s: tuple[float, ...]
    cut_outs_s: tuple[float, ...]
    replayed: dict[float, tuple[float, float, float]] = field(default_factory=dict)


def make_day(world: World, kind: str, seed: int) -> TrueDay:
    """Simulate a day of 24 h from midnight."""
    rng = np.random.default_rng([seed, KINDS.index(kind), WORLDS.index(world)])
    system, uses, leak_l_per_min = _household(world, kind, rng)
    cut_ins_s, cut_outs_s, water_l = _simulated(system, uses, int(seed), failing=kind == "failing air")
    replayed = {}
    for times in REPLAYED[world]:
        other = replace(system, tank_l=tuple(times * v for v in system.tank_l))
        ins_s, outs_s, _ = _simulated(other, uses, int(seed), failing=kind == "failing air")
        replayed[times] = _told(ins_s, outs_s)
    return TrueDay(
        world,
        kind,
        seed,
        no_use_run(system),
        system.pump_l_per_min * (1 - system.pump_fall / 2),
        water_l,
        leak_l_per_min,
        _between(system, uses, seed, cut_ins_s, kind),
        cut_ins_s,
        cut_outs_s,
        replayed,
    )


def ordinary_days(world: World, count: int, seed: int) -> tuple[tuple[Cycle, ...], float, float]:
    """Simulate several days of an ordinary household: cycles without errors, the true r0 and the duration, s."""
    system, _, _ = _household(world, "ordinary", np.random.default_rng([seed, 97, WORLDS.index(world)]))
    duration_s = count * DAY_S
    uses = household_uses("ordinary", duration_s, seed)
    line, _ = run_household(system, uses, duration_s=duration_s, seed=seed, start_kpag=_start_kpag(system))
    true: list[tuple[float, Kind]] = [(t, "cut-in") for t in line.cut_ins_s] + [(t, "cut-out") for t in line.cut_outs_s]
    clicks = [Click(t, kind, 0.95, 0.002) for t, kind in sorted(true)]
    return pair_cycles(clicks, start_s=0.0, end_s=duration_s), no_use_run(system), duration_s


def _household(world: World, kind: str, rng: np.random.Generator) -> tuple[System, list[Use], float]:  # noqa: C901
    tank_gal = float(rng.choice([20, 32, 33, 44, 62]))
    pump_gpm = float(rng.uniform(6, 12))
    charge_psi = 38.0
    use: UseKind = "ordinary"
    leak_gpm = 0.0
    if kind == "lean":
        use = "lean"
    elif kind in ("waterlogged", "failing air"):
        charge_psi = float(rng.uniform(2, 10) if kind == "waterlogged" else rng.uniform(18, 28))
    elif kind == "small":
        tank_gal = float(rng.choice([6, 9, 14]))
    elif kind == "large":
        tank_gal = float(rng.choice([86, 119]))
    elif kind.startswith("seeping"):
        leak_gpm = float(kind.split()[1])
        use = "lean"
    elif kind == "irrigation":
        use = "irrigation"
    elif kind == "softener":
        use = "softener"
    elif kind == "weak well":
        pump_gpm = float(rng.uniform(2.5, 4.0))
    if world == "isothermal":
        system = us_system(tank_gal, precharge_psig=charge_psi, pump_gpm=pump_gpm)
    else:
        system = us_system(
            tank_gal,
            precharge_psig=charge_psi,
            pump_gpm=pump_gpm,
            pump_fall=0.2,
            tau_s=80.0,
            switch_sd_psi=0.3,
            tap_law="root of pressure",
        )
    uses = list(household_uses(use, DAY_S, int(rng.integers(1 << 30))))
    if leak_gpm:
        uses.append(Use(0.0, DAY_S, leak_gpm * L_PER_GAL, "leak"))
    return system, uses, leak_gpm * L_PER_GAL


def _between(system: System, uses: list[Use], seed: int, cut_ins_s: tuple[float, ...], kind: str) -> float | None:
    if kind == "failing air" or len(cut_ins_s) < 2:
        return None
    start_kpag = _start_kpag(system)
    first, last = (
        run_household(system, uses, duration_s=at_s, seed=seed, start_kpag=start_kpag)[0].water_l
        for at_s in (cut_ins_s[0], cut_ins_s[-1])
    )
    return last - first


def delivered_l(day: TrueDay, from_s: float, to_s: float) -> float | None:
    """Water that the taps gave between two times of a day, litres; None for a tank that loses air."""
    if day.kind == "failing air" or day.between_l is None:
        return None
    if abs(from_s - day.cut_ins_s[0]) < 0.1 and abs(to_s - day.cut_ins_s[-1]) < 0.1:
        return day.between_l
    rng = np.random.default_rng([day.seed, KINDS.index(day.kind), WORLDS.index(day.world)])
    system, uses, _ = _household(day.world, day.kind, rng)
    given = [
        run_household(system, uses, duration_s=at_s, seed=day.seed, start_kpag=_start_kpag(system))[0].water_l
        for at_s in (from_s, to_s)
        if at_s > 0
    ]
    return given[-1] - (given[0] if from_s > 0 else 0.0)


def known_runs_l(day: TrueDay, cycles: tuple[Cycle, ...]) -> float | None:
    """Water from the first true cut-in to the last, litres, told by somebody who knows which clicks are true.

    A run that lost a click is taken for the mean of the others. What no reading of the same clicks can be better than.
    """
    heard_s = np.array([t for c in cycles for t in (c.cut_in_s, c.cut_out_s) if t is not None])
    pairs = np.array(list(zip(day.cut_ins_s[:-1], day.cut_outs_s, strict=False)))
    if not len(pairs):
        return None
    both = np.array([all(np.min(np.abs(heard_s - t)) < 0.05 for t in pair) for pair in pairs])
    if not both.any():
        return None
    runs_s = pairs[:, 1] - pairs[:, 0]
    return day.rate_l_per_min / 60 * float(runs_s[both].sum() + (~both).sum() * runs_s[both].mean())


def _start_kpag(system: System) -> float:
    return system.cut_in_kpag + 0.6 * (system.cut_out_kpag - system.cut_in_kpag)


def _simulated(
    system: System, uses: list[Use], seed: int, *, failing: bool
) -> tuple[tuple[float, ...], tuple[float, ...], float]:
    """Cut-ins, cut-outs and water. A failing tank loses 6 % of its charge (absolute) over the day, in six steps."""
    start_kpag = _start_kpag(system)
    if not failing:
        line, _ = run_household(system, uses, duration_s=DAY_S, seed=seed, start_kpag=start_kpag)
        return line.cut_ins_s, line.cut_outs_s, line.water_l
    ins_s: list[float] = []
    outs_s: list[float] = []
    water_l, on, steps = 0.0, False, 6
    span_s = DAY_S / steps
    for step in range(steps):
        share = 1.03 - 0.06 * (step + 0.5) / steps
        now = replace(
            system, precharge_kpag=(system.precharge_kpag + system.atmosphere_kpa) * share - system.atmosphere_kpa
        )
        shifted = [replace(u, start_s=u.start_s - step * span_s) for u in uses]
        low, high = system.cut_in_kpag * 1.03, system.cut_out_kpag * 0.98
        line, account = run_household(
            now,
            shifted,
            duration_s=span_s,
            seed=seed + step,
            start_kpag=min(max(start_kpag, low), high),
            pump_on_at_start=on,
        )
        ins_s += [t + step * span_s for t in line.cut_ins_s]
        outs_s += [t + step * span_s for t in line.cut_outs_s]
        water_l += line.water_l
        on = on + len(line.cut_ins_s) - len(line.cut_outs_s) > 0
        start_kpag = account.end_kpag
    return tuple(ins_s), tuple(outs_s), water_l


def _told(ins_s: tuple[float, ...], outs_s: tuple[float, ...]) -> tuple[float, float, float]:
    starts = np.asarray(ins_s)
    worst = max((int(np.sum((starts >= t) & (starts < t + 3600))) for t in starts), default=0)
    runs_s = [o - i for i, o in zip(ins_s, outs_s, strict=False)]
    return float(len(ins_s)), float(worst), float(np.mean(runs_s)) if runs_s else 0.0


def heard(day: TrueDay, error_share: float, seed: int) -> tuple[Cycle, ...]:
    """Give the day's cycles as heard: each click dropped, and as many false ones added, at this share."""
    rng = random.Random(f"{day.seed} {day.kind} {error_share} {seed}")
    true: list[tuple[float, Kind]] = [(t, "cut-in") for t in day.cut_ins_s] + [(t, "cut-out") for t in day.cut_outs_s]
    kinds: tuple[Kind, Kind] = ("cut-in", "cut-out")
    kept = [c for c in true if rng.random() >= error_share]
    kept += [(rng.uniform(0, DAY_S), rng.choice(kinds)) for _ in true if rng.random() < error_share]
    clicks = [Click(t + rng.gauss(0, 0.002), kind, 0.95, 0.002) for t, kind in sorted(kept)]
    clicks.sort(key=lambda c: c.time_s)
    return pair_cycles(clicks, start_s=0.0, end_s=DAY_S)
