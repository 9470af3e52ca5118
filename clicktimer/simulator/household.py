"""Simulator, first half: a water system and a list of uses -> the true times of cut-in and cut-out.

The truth that tests and demos are held against comes from here, by physics, and never from the detector.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from clicktimer.errors import SettingsError
from clicktimer.simulator.physics import State, advance, pressure_kpa, water_at
from clicktimer.simulator.system import System, TapLaw, Timeline, Use, us_system

__all__ = ["Account", "System", "TapLaw", "Timeline", "Use", "no_use_run", "run_household", "simulate", "us_system"]

_DAY_S = 86_400.0  # longer than any real refill: a pump still running after it will never reach cut-out


@dataclass(frozen=True, slots=True)
class Account:
    """The water account of a simulated household, litres, and the gauge pressure at its end."""

    stored_at_start_l: float
    stored_at_end_l: float
    pumped_l: float
    delivered_l: float
    end_kpag: float


def simulate(
    system: System,
    uses: Sequence[Use],
    *,
    duration_s: float,
    seed: int = 0,
    start_kpag: float | None = None,
    pump_on_at_start: bool = False,
) -> Timeline:
    """Run a household for ``duration_s`` and tell when the switch operated (to well under 0.1 ms).

    seed: for the scatter of the switch; without scatter it changes nothing.
    start_kpag: gauge pressure at time 0, air settled. None: at cut-out when the pump is off, half way when it is on.
    Raises SettingsError when the start is outside what the switch allows.
    """
    return run_household(
        system, uses, duration_s=duration_s, seed=seed, start_kpag=start_kpag, pump_on_at_start=pump_on_at_start
    )[0]


def run_household(
    system: System,
    uses: Sequence[Use],
    *,
    duration_s: float,
    seed: int = 0,
    start_kpag: float | None = None,
    pump_on_at_start: bool = False,
) -> tuple[Timeline, Account]:
    """Do what ``simulate`` does and give the water account as well."""
    if not 0 < duration_s < math.inf:
        raise SettingsError(f"duration_s must be above 0 and finite, got {duration_s:g}")
    if start_kpag is None:
        middle_kpag = (system.cut_in_kpag + system.cut_out_kpag) / 2
        start_kpag = middle_kpag if pump_on_at_start else system.cut_out_kpag
    targets = _targets_kpa(system, seed)
    target_kpa = next(targets[pump_on_at_start])
    start_kpa = start_kpag + system.atmosphere_kpa
    if (start_kpa >= target_kpa) if pump_on_at_start else (start_kpa <= target_kpa):
        side = "below cut-out while the pump is on" if pump_on_at_start else "above cut-in while the pump is off"
        raise SettingsError(f"the start pressure must be {side}, got {start_kpag:g} kPa gauge")

    state = State(water_at(system, start_kpag))
    stored_at_start_l = state.water_l
    pump_on = pump_on_at_start
    operations: dict[bool, list[float]] = {True: [], False: []}
    for from_s, to_s, tap_l_per_min in _tap_settings(uses, duration_s):
        time_s = from_s
        while time_s < to_s:
            state, passed_s, operated = advance(
                system,
                state,
                pump_on=pump_on,
                tap_l_per_s=tap_l_per_min / 60,
                target_kpa=target_kpa,
                span_s=to_s - time_s,
            )
            time_s = time_s + passed_s if operated else to_s
            if operated:
                pump_on = not pump_on
                operations[pump_on].append(time_s)
                target_kpa = next(targets[pump_on])
    timeline = Timeline(
        duration_s=duration_s,
        cut_ins_s=tuple(operations[True]),
        cut_outs_s=tuple(operations[False]),
        pump_on_at_start=pump_on_at_start,
        uses=tuple(uses),
        water_l=state.delivered_l,
        no_use_run_s=no_use_run(system),
    )
    end_kpag = pressure_kpa(system, state) - system.atmosphere_kpa
    return timeline, Account(stored_at_start_l, state.water_l, state.pumped_l, state.delivered_l, end_kpag)


@lru_cache(maxsize=256)
def no_use_run(system: System) -> float:
    """Tell the run with every tap shut, seconds, from settled air at cut-in; ``math.inf`` if cut-out is never reached.

    The switch is taken exactly at its settings. A charge above cut-in makes the run begin with an empty tank.
    """
    _, run_s, operated = advance(
        system,
        State(water_at(system, system.cut_in_kpag)),
        pump_on=True,
        tap_l_per_s=0.0,
        target_kpa=system.cut_out_kpag + system.atmosphere_kpa,
        span_s=_DAY_S,
    )
    return run_s if operated else math.inf


def _targets_kpa(system: System, seed: int) -> dict[bool, Iterator[float]]:
    """Give the absolute pressures of coming operations: under True the cut-outs, under False the cut-ins."""

    def draws(setting_kpag: float, stream: int) -> Iterator[float]:
        rng = np.random.default_rng([seed, stream])
        while True:
            away = float(np.clip(rng.standard_normal(), -3, 3)) if system.switch_sd_kpa else 0.0
            yield setting_kpag + system.atmosphere_kpa + system.switch_sd_kpa * away

    return {True: draws(system.cut_out_kpag, 2), False: draws(system.cut_in_kpag, 1)}


def _tap_settings(uses: Sequence[Use], duration_s: float) -> Iterator[tuple[float, float, float]]:
    """Give stretches of constant demand: from_s, to_s, litres a minute asked for."""
    changes: list[tuple[float, int, bool]] = []
    for index, use in enumerate(uses):
        from_s, to_s = max(0.0, use.start_s), min(duration_s, use.start_s + use.duration_s)
        if from_s < to_s and use.flow_l_per_min > 0:
            changes += [(from_s, index, True), (to_s, index, False)]
    changes.sort()
    open_taps: dict[int, float] = {}
    time_s = 0.0
    for at_s, index, opens in [*changes, (duration_s, -1, False)]:
        if at_s > time_s:
            # summed anew each time: running sums would leave a trickle of rounding behind
            yield time_s, at_s, math.fsum(open_taps.values())
            time_s = at_s
        if opens:
            open_taps[index] = uses[index].flow_l_per_min
        else:
            open_taps.pop(index, None)
