"""The records of the simulator: a water system, a use of water, and the true times that come of both.

Inside the simulator volumes are litres, pressures kilopascals, flows litres a minute and times seconds;
``us_system`` takes the units that the trade speaks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from clicktimer.errors import SettingsError

L_PER_GAL = 3.785411784  # exact: the US gallon is 231 cubic inches
KPA_PER_PSI = 6.894757293168  # by definition of pound, inch and standard gravity
SEA_LEVEL_KPA = 101.325  # 1976 standard atmosphere
M_PER_FT = 0.3048  # exact
GAMMA = 1.4  # ratio of heats of air, a diatomic gas: 7/5

TapLaw = Literal["constant flow", "root of pressure"]


@dataclass(frozen=True, slots=True)
class System:
    """A private well's pump, pressure switch and tank.

    tank_l: volume of each tank as labelled; all have the same air charge, so only the sum counts.
    precharge_kpag, cut_in_kpag, cut_out_kpag: gauge. atmosphere_kpa: absolute, at the site.
    pump_l_per_min: the pump's rate at the cut-in pressure. pump_fall: the share of it that is lost, in a straight line
    with pressure, on the way to cut-out (0 = constant rate).
    tau_s: time constant with which the air in the tank exchanges heat with its wall and water; None = at once
    (isothermal), ``math.inf`` = never (adiabatic).
    switch_sd_kpa: standard deviation with which the switch scatters about each of its two settings, cut at 3 sd.
    tap_law: "constant flow", or "root of pressure": flow goes as the square root of the gauge pressure and has its
    stated value half way between cut-in and cut-out.

    Raises SettingsError for a system that cannot exist or whose switch would cut out at once.
    """

    tank_l: tuple[float, ...]
    precharge_kpag: float
    cut_in_kpag: float
    cut_out_kpag: float
    pump_l_per_min: float
    pump_fall: float = 0.0
    atmosphere_kpa: float = SEA_LEVEL_KPA
    tau_s: float | None = None
    switch_sd_kpa: float = 0.0
    tap_law: TapLaw = "constant flow"

    def __post_init__(self) -> None:
        numbers = (
            *self.tank_l,
            self.precharge_kpag,
            self.cut_in_kpag,
            self.cut_out_kpag,
            self.pump_l_per_min,
            self.pump_fall,
            self.atmosphere_kpa,
            self.switch_sd_kpa,
        )
        if not all(math.isfinite(number) for number in numbers):
            raise SettingsError("a simulated system needs finite numbers throughout; check its settings")
        if not self.tank_l or min(self.tank_l) <= 0:
            raise SettingsError(f"every tank needs a volume above 0 L, got {self.tank_l}")
        if not 0 < self.cut_in_kpag < self.cut_out_kpag:
            raise SettingsError(
                f"cut-in must be above 0 and below cut-out, got {self.cut_in_kpag:g} and {self.cut_out_kpag:g} kPa"
            )
        if not -self.atmosphere_kpa < self.precharge_kpag < self.cut_out_kpag:
            raise SettingsError(
                f"the air charge must be above vacuum and below cut-out, got {self.precharge_kpag:g} kPa; "
                f"at or above cut-out the switch would cut out at once"
            )
        if self.pump_l_per_min <= 0 or not 0 <= self.pump_fall <= 1:
            raise SettingsError("the pump rate must be above 0 and its fall between 0 and 1")
        if self.tau_s is not None and not self.tau_s >= 0.05:
            raise SettingsError(f"tau_s must be 0.05 s or more, or None for isothermal, got {self.tau_s:g}")
        if not 0 <= 8 * self.switch_sd_kpa <= self.cut_out_kpag - self.cut_in_kpag:
            raise SettingsError("the switch may scatter (sd) by no more than an eighth of its range")
        if self.tap_law not in ("constant flow", "root of pressure"):
            raise SettingsError(f'tap_law is "constant flow" or "root of pressure", got {self.tap_law!r}')

    @property
    def volume_l(self) -> float:
        """Volume of all tanks together, litres."""
        return math.fsum(self.tank_l)

    @property
    def drawdown_l(self) -> float:
        """Water between cut-out and cut-in when the air is settled at both (Boyle), litres.

        D = V P0 (1/max(P1, P0) - 1/P2), absolute pressures. The most a refill can take; a fast one takes less.
        """
        p0, p1, p2 = (g + self.atmosphere_kpa for g in (self.precharge_kpag, self.cut_in_kpag, self.cut_out_kpag))
        return self.volume_l * p0 * (1 / max(p1, p0) - 1 / p2)


@dataclass(frozen=True, slots=True)
class Use:
    """Water drawn: ``flow_l_per_min`` from ``start_s`` for ``duration_s``; may reach beyond the timeline."""

    start_s: float
    duration_s: float
    flow_l_per_min: float
    label: str = ""

    def __post_init__(self) -> None:
        numbers = (self.start_s, self.duration_s, self.flow_l_per_min)
        if not all(math.isfinite(n) for n in numbers) or self.duration_s < 0 or self.flow_l_per_min < 0:
            raise SettingsError(f"a use of water needs a finite start and a duration and flow of 0 or more: {numbers}")


@dataclass(frozen=True, slots=True)
class Timeline:
    """What truly happened, by physics.

    cut_ins_s, cut_outs_s: times of the switch's operations within [0, duration_s]. uses: as they were given.
    water_l: water that the taps gave in that time. no_use_run_s: the run of this system with every tap shut, from air
    that is settled (at the temperature of its surroundings) when the pump cuts in, switch exactly at its settings:
    Boyle's drawdown over the rate for an isothermal tank and a constant rate, the shorter real one with heat;
    ``math.inf`` for a pump too weak to reach cut-out.
    """

    duration_s: float
    cut_ins_s: tuple[float, ...]
    cut_outs_s: tuple[float, ...]
    pump_on_at_start: bool
    uses: tuple[Use, ...]
    water_l: float
    no_use_run_s: float


def us_system(  # noqa: PLR0913
    tank_gal: float | tuple[float, ...],
    *,
    switch_psig: tuple[float, float] = (40.0, 60.0),
    precharge_psig: float | None = None,
    pump_gpm: float = 10.0,
    pump_fall: float = 0.0,
    height_ft: float = 0.0,
    tau_s: float | None = None,
    switch_sd_psi: float = 0.0,
    tap_law: TapLaw = "constant flow",
) -> System:
    """Build a System from US gallons, psi (gauge), gallons a minute and feet.

    precharge_psig: None = 2 psi below cut-in (common practice). height_ft: height of the site, to 36,000 ft; sets the
    atmosphere by the 1976 standard atmosphere, P = 101.325 kPa (1 - 0.0065 h / 288.15)^5.25588, h in m.
    Raises SettingsError as System does.
    """
    cut_in, cut_out = switch_psig
    height_m = height_ft * M_PER_FT
    if not -500 <= height_m <= 11_000:
        raise SettingsError(f"height must be between -1,600 and 36,000 ft, got {height_ft:g}")
    volumes = tank_gal if isinstance(tank_gal, tuple) else (tank_gal,)
    return System(
        tank_l=tuple(v * L_PER_GAL for v in volumes),
        precharge_kpag=(cut_in - 2.0 if precharge_psig is None else precharge_psig) * KPA_PER_PSI,
        cut_in_kpag=cut_in * KPA_PER_PSI,
        cut_out_kpag=cut_out * KPA_PER_PSI,
        pump_l_per_min=pump_gpm * L_PER_GAL,
        pump_fall=pump_fall,
        atmosphere_kpa=SEA_LEVEL_KPA * (1 - 0.0065 * height_m / 288.15) ** 5.25588,
        tau_s=tau_s,
        switch_sd_kpa=switch_sd_psi * KPA_PER_PSI,
        tap_law=tap_law,
    )
