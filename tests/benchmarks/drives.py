"""Pumps that are not one pump on one switch: one whose speed is driven, and two that share a tank.

A drive holds the pressure: it turns the pump faster the more water is drawn, and runs as long as water is. Two pumps on
one tank (lead and lag) have a switch each, the lag's set lower. Both are simple physics in small steps, plausible and
not measured: they give truth to hold the detector against, to about a step.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from clicktimer.errors import SettingsError
from clicktimer.simulator.colour import Colour, FloatArray, ShapedNoise, amplitude
from clicktimer.simulator.physics import water_at
from clicktimer.simulator.system import System, Timeline, Use

STEP_S = 0.02
_SLIP_FULL = 0.04  # an induction motor's slip at full load


@dataclass(frozen=True, slots=True)
class Drive:
    """A pump whose speed holds the pressure.

    set_kpag: the pressure it holds. lift_kpa: what it must give at no flow to hold it, at full speed 1 of
    ``shutoff_kpa`` (affinity laws: pressure goes with speed squared). full_l_per_min: its most at ``set_kpag``.
    tank_l_per_kpa: how much the small tank takes for each kilopascal. ramp_per_s: most change of speed in a second.
    sleep_s: it stops when it has given next to nothing for so long. wakes_below_kpa: it starts at so much below.
    """

    set_kpag: float = 345.0
    shutoff_kpa: float = 520.0
    full_l_per_min: float = 60.0
    tank_l_per_kpa: float = 0.03
    ramp_per_s: float = 0.4
    sleep_s: float = 8.0
    wakes_below_kpa: float = 25.0

    def __post_init__(self) -> None:
        if not 0 < self.set_kpag < self.shutoff_kpa:
            raise SettingsError("a driven pump must be able to give more than the pressure it holds")
        if min(self.full_l_per_min, self.tank_l_per_kpa, self.ramp_per_s, self.sleep_s) <= 0:
            raise SettingsError("a driven pump's rate, tank, ramp and sleep must be above 0")


@dataclass(frozen=True, slots=True)
class SpeedTrack:
    """Speed (1 = full, 0 = standing) at every STEP_S, and the runs (start, end) in seconds, cut at the ends."""

    speed: npt.NDArray[np.float64]
    runs_s: tuple[tuple[float, float], ...]


def driven(drive: Drive, uses: Sequence[Use], *, duration_s: float) -> SpeedTrack:
    """Turn a driven pump by the water drawn: pressure, a control loop with its lag, sleep and wake.

    Flow at speed n against pressure p: Q = Q_full sqrt((n^2 H0 - p) / (H0 - p_set)), none below; H0 the shutoff
    pressure at full speed. The loop is proportional and integral, its output limited in size and in change.
    """
    steps = round(duration_s / STEP_S)
    taps = np.zeros(steps)
    for use in uses:
        first, last = (max(0, round(t / STEP_S)) for t in (use.start_s, use.start_s + use.duration_s))
        taps[first:last] += use.flow_l_per_min
    speed = np.zeros(steps)
    pressure, n, integral, idle_s, on = drive.set_kpag, 0.0, 0.0, 0.0, False
    room = drive.shutoff_kpa - drive.set_kpag
    idle_flow = 0.02 * drive.full_l_per_min
    least = math.sqrt(drive.set_kpag / drive.shutoff_kpa)
    for i in range(steps):
        head = n * n * drive.shutoff_kpa - pressure
        flow = drive.full_l_per_min * math.sqrt(head / room) if head > 0 else 0.0
        drawn = taps[i] if pressure > 5.0 else min(taps[i], flow)
        pressure = max(0.0, pressure + (flow - drawn) / 60.0 * STEP_S / drive.tank_l_per_kpa)
        if not on and pressure < drive.set_kpag - drive.wakes_below_kpa:
            on, idle_s, integral = True, 0.0, 0.7 * least
        if on:
            error = (drive.set_kpag - pressure) / drive.shutoff_kpa
            integral = min(max(integral + 0.5 * error * STEP_S, 0.0), 1.0)
            wanted = min(max(integral + 1.2 * error, 0.3), 1.0)
            idle_s = idle_s + STEP_S if drawn < idle_flow and flow < 5 * idle_flow else 0.0
            on = idle_s < drive.sleep_s
        else:
            wanted = 0.0
        most = drive.ramp_per_s * STEP_S
        n += min(max(wanted - n, -2 * most), most)
        speed[i] = n
    turning = np.concatenate([[False], speed > 0.05, [False]])
    edges = np.flatnonzero(turning[1:] != turning[:-1]) * STEP_S
    return SpeedTrack(speed, tuple((float(a), float(b)) for a, b in zip(edges[0::2], edges[1::2], strict=True)))


class DriveSound:
    """A driven pump as a layer: shaft, blades, the motor's field and hiss, all following the speed; the drive whines.

    Lines: the shaft and its multiples to four; the blades (five to seven of them) and their double; two, four and six
    times the field's frequency. The field is ``mains_hz`` times the speed; the shaft turns slower by the slip, which
    grows with the load (speed squared). Hiss and lines grow by 50 dB for tenfold speed (a usual law of pump noise; no
    source).
    """

    _COLOUR: Colour = ((20, -14), (100, 0), (300, 0), (800, -4), (2_000, -7), (6_000, -12), (16_000, -24))

    def __init__(
        self, track: SpeedTrack, *, over_room_db: float, room_rms: float, mains_hz: float, rate_hz: int, seed: int
    ) -> None:
        rng = np.random.default_rng([seed, 23])
        self._track, self._rate_hz, self._mains_hz = track, rate_hz, mains_hz
        self._gain = room_rms * amplitude(over_room_db)
        self._noise = ShapedNoise(self._COLOUR, rate_hz, rng)
        blades = int(rng.integers(5, 8))
        # (times the shaft or, negative, the field; level in dB against the hiss above 1 kHz)
        self._lines = [
            (1.0, rng.uniform(-6, 4)),
            (2.0, rng.uniform(-10, 2)),
            (3.0, rng.uniform(-18, -4)),
            (4.0, rng.uniform(-18, -4)),
            (float(blades), rng.uniform(-4, 5)),
            (2.0 * blades, rng.uniform(-14, -4)),
            (-2.0, rng.uniform(-6, 6)),
            (-4.0, rng.uniform(-16, -6)),
            (-6.0, rng.uniform(-20, -8)),
        ]
        self._turns = rng.uniform(0, 1, len(self._lines))
        self._whine_hz = float(rng.choice([4_000.0, 6_000.0, 8_000.0])) * float(rng.uniform(0.98, 1.02))
        self._whine_db = float(rng.uniform(-24, -12))

    def add(self, out: FloatArray, start: int) -> None:
        """Add the pump to a block. Blocks must come in order: the phases of its lines run on."""
        time_s = (start + np.arange(len(out))) / self._rate_hz
        n = np.interp(time_s, STEP_S * np.arange(len(self._track.speed)), self._track.speed)
        if n.max() < 0.02:
            self._noise.block(len(out))
            return
        loud = np.where(n > 0.02, np.maximum(n, 0.02) ** 2.5, 0.0)
        field_hz = self._mains_hz * n
        shaft_hz = field_hz * (1.0 - _SLIP_FULL * n * n)
        wave = self._noise.block(len(out)).astype(np.float64)
        for k, (order, level_db) in enumerate(self._lines):
            turns = self._turns[k] + np.cumsum((shaft_hz * order if order > 0 else -order * field_hz) / self._rate_hz)
            self._turns[k] = turns[-1] % 1.0
            wave += math.sqrt(2.0) * amplitude(level_db) * np.sin(2 * np.pi * turns)
        if self._whine_hz < 0.45 * self._rate_hz:
            wave += math.sqrt(2.0) * amplitude(self._whine_db) * np.sin(2 * np.pi * self._whine_hz * time_s)
        out += (self._gain * loud * wave).astype(np.float32)


def lead_and_lag(
    system: System, uses: Sequence[Use], *, duration_s: float, lag_kpa: float, lag_l_per_min: float
) -> tuple[Timeline, Timeline]:
    """Two pumps on one tank: the lag's switch is set ``lag_kpa`` lower at both ends, and it gives ``lag_l_per_min``.

    Isothermal air, constant rates, steps of STEP_S; starts at cut-out with both off. Times are right to a step.
    """
    water = water_at(system, system.cut_out_kpag)
    charge = (system.precharge_kpag + system.atmosphere_kpa) * system.volume_l
    on = [False, False]
    ins: tuple[list[float], list[float]] = ([], [])
    outs: tuple[list[float], list[float]] = ([], [])
    below = (0.0, lag_kpa)
    rates = (system.pump_l_per_min / 60, lag_l_per_min / 60)
    taken = 0.0
    for i in range(round(duration_s / STEP_S)):
        t = i * STEP_S
        drawn = sum(u.flow_l_per_min for u in uses if u.start_s <= t < u.start_s + u.duration_s) / 60
        water = max(0.0, water + STEP_S * (sum(r for r, runs in zip(rates, on, strict=True) if runs) - drawn))
        taken += STEP_S * drawn
        pressure = charge / (system.volume_l - water) - system.atmosphere_kpa
        for k in (0, 1):
            if not on[k] and (pressure <= system.cut_in_kpag - below[k] or water <= 0.0):
                on[k] = True
                ins[k].append(t)
            elif on[k] and pressure >= system.cut_out_kpag - below[k]:
                on[k] = False
                outs[k].append(t)
    run_s = system.drawdown_l / rates[0]
    return tuple(Timeline(duration_s, tuple(ins[k]), tuple(outs[k]), False, tuple(uses), taken, run_s) for k in (0, 1))  # type: ignore[return-value]
