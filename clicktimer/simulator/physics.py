"""Air and water in the tank: how they move on until the switch operates, a tap changes, or time is up.

The air is an ideal gas that begins settled at its charge: P V_air = P0 V theta, theta its temperature over that of its
surroundings. It is warmed by being squeezed and gives heat to the wall with one time constant:

    dtheta/dt = (gamma - 1) theta (dW/dt) / V_air - (theta - 1) / tau,    V_air = V - W,    dW/dt = pump - taps.

Isothermal air at constant flows, and a tank at rest, have closed forms. The rest is stepped (Runge-Kutta, 4th order)
and the moment of the switch is searched inside the step, not interpolated.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from clicktimer.simulator.system import GAMMA, System

# A step moves at most this share of the air's volume and lasts at most this share of tau. Halving both moves no event
# by more than a microsecond (tests/simulator/test_household.py holds the whole against another solver).
STEP_OF_VOLUME = 0.02
STEP_OF_TAU = 0.05
EVENT_S = 1e-8


@dataclass(frozen=True, slots=True)
class State:
    """water_l: in the tank. theta: air temperature over its surroundings'. pumped_l, delivered_l: since the start."""

    water_l: float
    theta: float = 1.0
    pumped_l: float = 0.0
    delivered_l: float = 0.0


def pressure_kpa(system: System, state: State) -> float:
    """Absolute pressure of the air, kPa: that of the water too, unless the tank is empty of water."""
    charge_kpa = system.precharge_kpag + system.atmosphere_kpa
    return charge_kpa * system.volume_l * state.theta / (system.volume_l - state.water_l)


def water_at(system: System, pressure_kpag: float) -> float:
    """Water in the tank, litres, when settled at a gauge pressure; 0 at or below the charge."""
    charge_kpa = system.precharge_kpag + system.atmosphere_kpa
    return max(0.0, system.volume_l * (1 - charge_kpa / (pressure_kpag + system.atmosphere_kpa)))


def advance(
    system: System, state: State, *, pump_on: bool, tap_l_per_s: float, target_kpa: float, span_s: float
) -> tuple[State, float, bool]:
    """Move on until the switch operates, or for ``span_s`` at most.

    tap_l_per_s: what the open taps ask for (at mid-range pressure under the root law). target_kpa: the absolute
    pressure at which the switch operates next: cut-out (from below) while the pump is on, cut-in (from above) else.
    A tank that runs empty drops the pressure at once, so it too counts as reaching cut-in.
    Returns the new state, the seconds that passed, and whether the switch operated.
    """
    if not pump_on and tap_l_per_s == 0:
        return _rest(system, state, target_kpa, span_s)
    if system.tau_s is None and system.pump_fall == 0 and system.tap_law == "constant flow":
        return _straight(system, state, pump_on, tap_l_per_s, target_kpa, span_s)
    return _stepped(system, state, pump_on, tap_l_per_s, target_kpa, span_s)


def _rest(system: System, state: State, target_kpa: float, span_s: float) -> tuple[State, float, bool]:
    """Nothing flows: only the air's warmth settles, exponentially."""
    if system.tau_s is None or math.isinf(system.tau_s) or state.theta == 1:
        return state, span_s, False
    theta_at_target = target_kpa * state.theta / pressure_kpa(system, state)
    settles_past = 1 < theta_at_target < state.theta
    if settles_past:
        after_s = system.tau_s * math.log((state.theta - 1) / (theta_at_target - 1))
        if after_s <= span_s:
            return replace(state, theta=theta_at_target), after_s, True
    return replace(state, theta=1 + (state.theta - 1) * math.exp(-span_s / system.tau_s)), span_s, False


def _straight(
    system: System, state: State, pump_on: bool, tap_l_per_s: float, target_kpa: float, span_s: float
) -> tuple[State, float, bool]:
    """Isothermal air, constant flows: the water goes in a straight line, Boyle's law tells where it must arrive."""
    pump_l_per_s = system.pump_l_per_min / 60 if pump_on else 0.0
    net_l_per_s = pump_l_per_s - tap_l_per_s
    goal_l = water_at(system, target_kpa - system.atmosphere_kpa)
    after_s = (goal_l - state.water_l) / net_l_per_s if net_l_per_s else math.inf
    hit = (net_l_per_s > 0) == pump_on and after_s <= span_s
    passed_s = max(0.0, after_s) if hit else span_s
    # A pump that gives less than is asked for empties the tank, and from then on the taps get what it gives.
    flowing_s = passed_s if net_l_per_s >= 0 else min(passed_s, state.water_l / -net_l_per_s)
    delivered_l = tap_l_per_s * flowing_s + pump_l_per_s * (passed_s - flowing_s)
    moved = State(
        goal_l if hit else max(0.0, state.water_l + net_l_per_s * flowing_s),
        state.theta,
        state.pumped_l + pump_l_per_s * passed_s,
        state.delivered_l + delivered_l,
    )
    return moved, passed_s, hit


def _stepped(
    system: System, state: State, pump_on: bool, tap_l_per_s: float, target_kpa: float, span_s: float
) -> tuple[State, float, bool]:
    flows = _flows(system, pump_on, tap_l_per_s)
    tau_s = math.inf if system.tau_s is None else system.tau_s
    thermal = system.tau_s is not None
    volume_l = system.volume_l
    sign = -1.0 if pump_on else 1.0

    def after(s: State, step_s: float) -> State:
        return _step(system, flows, s, step_s, tau_s, thermal)

    def short_of_l(s: State) -> float:
        """Above 0 until the switch operates, in a draw also until the tank is empty (only its sign counts)."""
        to_pressure = sign * (pressure_kpa(system, s) - target_kpa)
        return to_pressure if pump_on else min(to_pressure, s.water_l)

    passed_s = 0.0
    while passed_s < span_s:
        left_s = span_s - passed_s
        pump_l_per_s, out_l_per_s = flows(pressure_kpa(system, state))
        if pump_on and state.water_l <= 0 and pump_l_per_s <= out_l_per_s:
            hold_s = left_s if state.theta == 1 else min(left_s, 0.25)
            state = State(
                0.0,
                1 + (state.theta - 1) * math.exp(-hold_s / tau_s) if thermal else 1.0,
                state.pumped_l + pump_l_per_s * hold_s,
                state.delivered_l + pump_l_per_s * hold_s,
            )
            passed_s += hold_s
            continue
        moving_l_per_s = pump_l_per_s + out_l_per_s
        step_s = min(left_s, STEP_OF_TAU * tau_s)
        if moving_l_per_s > 0:
            step_s = min(step_s, STEP_OF_VOLUME * (volume_l - state.water_l) / moving_l_per_s)
        moved = after(state, step_s)
        if short_of_l(moved) <= 0:
            at_s = _search(short_of_l, after, state, step_s)
            return after(state, at_s), passed_s + at_s, True
        if moved.water_l < 0:  # only with the pump on: a draw would have counted as reaching cut-in
            at_s = _search(_water_l, after, state, step_s)
            moved = replace(after(state, at_s), water_l=0.0)
            step_s = at_s
        state = moved
        passed_s = span_s if step_s == left_s else passed_s + step_s
    return state, span_s, False


def _flows(system: System, pump_on: bool, tap_l_per_s: float) -> Callable[[float], tuple[float, float]]:
    """Return the law: absolute pressure, kPa -> pump and taps, litres a second."""
    full_l_per_s = system.pump_l_per_min / 60 if pump_on else 0.0
    atmosphere_kpa, cut_in_kpag = system.atmosphere_kpa, system.cut_in_kpag
    fall_per_kpa = system.pump_fall / (system.cut_out_kpag - cut_in_kpag)
    middle_kpag = (cut_in_kpag + system.cut_out_kpag) / 2
    root = system.tap_law == "root of pressure"

    def flows(pressure_kpa: float) -> tuple[float, float]:
        gauge_kpa = pressure_kpa - atmosphere_kpa
        pump = full_l_per_s * max(0.0, 1 - fall_per_kpa * (gauge_kpa - cut_in_kpag))
        out = tap_l_per_s * math.sqrt(max(0.0, gauge_kpa) / middle_kpag) if root else tap_l_per_s
        return pump, out

    return flows


def _step(
    system: System,
    flows: Callable[[float], tuple[float, float]],
    state: State,
    step_s: float,
    tau_s: float,
    thermal: bool,
) -> State:
    """One classical Runge-Kutta step of ``step_s`` seconds."""
    volume_l = system.volume_l
    charge = (system.precharge_kpag + system.atmosphere_kpa) * volume_l
    water, theta = state.water_l, state.theta
    sums = [0.0, 0.0, 0.0, 0.0]
    d_water = d_theta = 0.0
    for lead, weight in ((0.0, 1.0), (0.5, 2.0), (0.5, 2.0), (1.0, 1.0)):
        w = water + lead * step_s * d_water
        th = theta + lead * step_s * d_theta
        air_l = volume_l - w
        pump, out = flows(charge * th / air_l)
        d_water = pump - out
        d_theta = (GAMMA - 1) * th * d_water / air_l - (th - 1) / tau_s if thermal else 0.0
        sums[0] += weight * d_water
        sums[1] += weight * d_theta
        sums[2] += weight * pump
        sums[3] += weight * out
    k = step_s / 6
    return State(
        water + k * sums[0], theta + k * sums[1], state.pumped_l + k * sums[2], state.delivered_l + k * sums[3]
    )


def _water_l(state: State) -> float:
    return state.water_l


def _search(
    measure: Callable[[State], float], after: Callable[[State, float], State], state: State, high_s: float
) -> float:
    """Find when ``measure`` falls to 0 in (0, high_s], to EVENT_S (false position, Illinois variant, then halving)."""

    def above(time_s: float) -> float:
        return measure(after(state, time_s))

    low_s, f_low, f_high = 0.0, above(0.0), above(high_s)
    if f_low <= 0:
        return 0.0
    side = 0
    for turn in range(100):
        if high_s - low_s <= EVENT_S:
            break
        straight_s = low_s + (high_s - low_s) * f_low / (f_low - f_high)
        at_s = straight_s if turn < 40 else (low_s + high_s) / 2
        if min(at_s - low_s, high_s - at_s) < EVENT_S / 4:  # already there: close the bracket from the other side
            at_s = low_s + EVENT_S / 2 if at_s - low_s < EVENT_S / 4 else high_s - EVENT_S / 2
        f_at = above(at_s)
        if f_at > 0:
            low_s, f_low = at_s, f_at
            f_high = f_high / 2 if side == 1 else f_high
            side = 1
        else:
            high_s, f_high = at_s, f_at
            f_low = f_low / 2 if side == -1 else f_low
            side = -1
    return high_s
