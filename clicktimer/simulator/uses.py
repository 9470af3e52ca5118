"""Invented water use: random but plausible lists of draws, by kind of household or test.

Flows and times of day are rounded experience of how houses use water, common practice without a source: they are made
to be varied, not to be a survey. Litres, litres a minute, seconds.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np

from clicktimer.errors import SettingsError
from clicktimer.simulator.household import simulate
from clicktimer.simulator.physics import State, pressure_kpa, water_at
from clicktimer.simulator.system import System, Use

UseKind = Literal["ordinary", "lean", "irrigation", "softener", "seeping", "steady tap", "taps shut"]

_DAY_S = 86_400.0
_HOUR_S = 3_600.0
# How often water is drawn in each hour of the day, over the day's mean.
_BY_HOUR = (
    0.2,
    0.1,
    0.1,
    0.1,
    0.2,
    0.6,
    1.6,
    2.2,
    1.8,
    1.1,
    0.9,
    0.9,
    1.2,
    1.0,
    0.8,
    0.8,
    1.0,
    1.5,
    1.9,
    1.7,
    1.4,
    1.2,
    1.0,
    0.7,
)
# label, times a day, litres (low, high), litres a minute (low, high)
_DRAWS = (
    ("hand basin", 22, (0.5, 3.0), (4.0, 7.0)),
    ("toilet", 14, (5.0, 9.0), (6.0, 10.0)),
    ("kitchen tap", 12, (1.0, 8.0), (5.0, 9.0)),
    ("shower", 2.5, (40.0, 90.0), (7.0, 11.0)),
    ("washing machine fill", 2.5, (12.0, 20.0), (8.0, 13.0)),
    ("dishwasher fill", 2, (3.0, 5.0), (3.5, 5.0)),
    ("bath", 0.4, (80.0, 130.0), (12.0, 18.0)),
)


def household_uses(kind: UseKind, duration_s: float, seed: int, *, start_hour: float = 0.0) -> tuple[Use, ...]:
    """Invent the water use of ``duration_s`` seconds that begin at ``start_hour`` o'clock.

    kind: "ordinary" (about 450 L a day), "lean" (a third of it), "irrigation" (ordinary and zones of a garden in turn
    from five in the morning), "softener" (ordinary and one regeneration at two at night), "seeping" (lean and a
    constant leak of 0.4 to 2 L/min), "steady tap" (one tap all the time, nothing else), "taps shut" (nothing).
    The draws that a refill test needs depend on the system: see ``refill_test``.
    Raises SettingsError for an unknown kind.
    """
    if not 0 < duration_s < math.inf:
        raise SettingsError(f"duration_s must be above 0 and finite, got {duration_s:g}")
    rng = np.random.default_rng([seed, 77])
    start_s = start_hour * _HOUR_S

    def daily(share: float) -> list[Use]:
        return _draws(rng, share, start_s, duration_s)

    makers: dict[str, Callable[[], list[Use]]] = {
        "ordinary": lambda: daily(1.0),
        "lean": lambda: daily(1 / 3),
        "irrigation": lambda: [*daily(1.0), *_each_day(_zones(rng), 5.0, start_s, duration_s)],
        "softener": lambda: [*daily(1.0), *_each_day(_regeneration(rng), 2.0, start_s, duration_s)],
        "seeping": lambda: [*daily(1 / 3), Use(0.0, duration_s, round(rng.uniform(0.4, 2.0), 3), "leak")],
        "steady tap": lambda: [Use(0.0, duration_s, round(rng.uniform(5.0, 12.0), 2), "one steady tap")],
        "taps shut": list,
    }
    if kind not in makers:
        raise SettingsError(f"unknown kind of use {kind!r}; the kinds are {', '.join(makers)}")
    return tuple(sorted(makers[kind](), key=lambda use: (use.start_s, use.label)))


def refill_test(  # noqa: PLR0913
    system: System,
    *,
    runs: int,
    draw_l_per_min: float = 12.0,
    hand_delay_s: float = 0.0,
    pause_s: float = 5.0,
    lead_s: float = 8.0,
    first_draw_s: float | None = None,
    seed: int = 0,
) -> tuple[tuple[Use, ...], float, float]:
    """Plan a refill test: open a tap until the pump cuts in, shut it, wait for the cut-out, pause, again.

    hand_delay_s: from the cut-in click to the tap being shut; it lengthens the run by delay x draw / rate.
    pause_s: from cut-out to the next opening, and from the last cut-out to the end. lead_s: quiet before the first.
    first_draw_s: None = the first draw starts from a full tank; else the tank begins so far from cut-in that the first
    draw takes about this long. seed: the same must go to ``simulate``, for the switch's scatter.
    Returns the uses, the start pressure (kPa gauge) and the duration (s), all to be given to ``simulate``.
    Raises SettingsError when the draw keeps the pump from ever cutting out, or the pump is too weak.
    """
    if runs < 1 or draw_l_per_min <= 0 or min(hand_delay_s, pause_s, lead_s) < 0:
        raise SettingsError("a refill test needs one run or more, a draw above 0 and no negative times")
    start_kpag = system.cut_out_kpag
    if first_draw_s is not None:
        # the tank runs from water at cut-in plus what the first draw takes
        water_l = water_at(system, system.cut_in_kpag) + draw_l_per_min * first_draw_s / 60
        start_kpag = min(system.cut_out_kpag, _kpag_at(system, water_l))
    uses: list[Use] = []
    open_s = lead_s
    # enough to empty the tank, also where low pressure slows the tap
    longest_draw_s = 3 * system.volume_l / draw_l_per_min * 60
    for run in range(runs):
        trial = simulate(
            system,
            [*uses, Use(open_s, longest_draw_s, draw_l_per_min, "test draw")],
            duration_s=open_s + longest_draw_s,
            seed=seed,
            start_kpag=start_kpag,
        )
        if len(trial.cut_ins_s) <= run:
            raise SettingsError("the refill test's draw never brings the pump on; draw more")
        # never a hair too early by rounding: the click would not come
        shut_s = trial.cut_ins_s[run] + max(hand_delay_s, 1e-6)
        uses.append(Use(open_s, shut_s - open_s, draw_l_per_min, "test draw"))
        done = simulate(system, uses, duration_s=shut_s + _DAY_S, seed=seed, start_kpag=start_kpag)
        if len(done.cut_outs_s) <= run:
            raise SettingsError("the pump never reaches cut-out in the refill test; give it a higher rate")
        open_s = done.cut_outs_s[run] + pause_s
    return tuple(uses), start_kpag, open_s


def _kpag_at(system: System, water_l: float) -> float:
    return pressure_kpa(system, State(water_l)) - system.atmosphere_kpa


def _draws(rng: np.random.Generator, share: float, start_s: float, duration_s: float) -> list[Use]:
    """Draws scattered over the day: each sort a Poisson process whose rate follows the hour."""
    uses = []
    mean_by_hour = sum(_BY_HOUR) / 24
    for label, per_day, litres, flows in _DRAWS:
        ceiling_per_s = per_day * share / _DAY_S * max(_BY_HOUR) / mean_by_hour
        for at_s in np.sort(rng.uniform(0, duration_s, rng.poisson(ceiling_per_s * duration_s))):
            hour = int((start_s + at_s) % _DAY_S // _HOUR_S)
            kept = rng.random() < _BY_HOUR[hour] / max(_BY_HOUR)
            flow_l_per_min = rng.uniform(*flows)
            if kept:
                lasts_s = rng.uniform(*litres) / flow_l_per_min * 60
                uses.append(Use(float(at_s), float(lasts_s), float(flow_l_per_min), label))
    return uses


def _each_day(pattern: list[Use], hour: float, start_s: float, duration_s: float) -> list[Use]:
    """Repeat a pattern each day at an hour, where it meets the stretch that is simulated."""
    days = range(-1, int((start_s + duration_s) // _DAY_S) + 1)
    placed = [
        replace(use, start_s=use.start_s + day * _DAY_S + hour * _HOUR_S - start_s) for day in days for use in pattern
    ]
    return [use for use in placed if use.start_s < duration_s and use.start_s + use.duration_s > 0]


def _zones(rng: np.random.Generator) -> list[Use]:
    """Garden zones one after the other, each with its own flow."""
    zones, at_s = [], 0.0
    for number in range(1, int(rng.integers(3, 6)) + 1):
        lasts_s = float(rng.integers(12, 26)) * 60
        zones.append(Use(at_s, lasts_s, float(rng.uniform(9.0, 22.0)), f"garden zone {number}"))
        at_s += lasts_s
    return zones


def _regeneration(rng: np.random.Generator) -> list[Use]:
    """A water softener's night: backwash, slow brine rinse, fast rinse, brine tank refill."""
    steps = (("backwash", 10, 8.5), ("brine rinse", 50, 1.6), ("fast rinse", 8, 8.5), ("brine refill", 6, 1.9))
    uses, at_s = [], float(rng.uniform(0, 600))
    for label, minutes, flow_l_per_min in steps:
        lasts_s = minutes * 60 * float(rng.uniform(0.9, 1.1))
        uses.append(Use(at_s, lasts_s, flow_l_per_min * float(rng.uniform(0.85, 1.15)), f"softener {label}"))
        at_s += lasts_s
    return uses
