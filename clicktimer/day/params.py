"""The parameters of a day's reading: day/params.toml -> one frozen ``DayParams``, handed down and recorded as used."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, ClassVar, Final

from clicktimer.units.parameters import Section, load_sections

PACKAGE: Final = "clicktimer.day"


class DaySection(Section):
    """A section of the day's params.toml; what each parameter means stands there."""

    __slots__ = ()
    package: ClassVar[str] = PACKAGE


@dataclass(frozen=True, slots=True)
class ConstantFlow(DaySection):
    """Constant flows that make the pump cycle."""

    agree_share: float
    least_cycles: int
    brief_cycles: int
    brief_share: float
    brief_duty: float
    brief_agree: float
    law_sd: float
    cool_share: float
    fast_duty: float
    slow_law_sd: float
    fast_law_sd: float


@dataclass(frozen=True, slots=True)
class Consumption(DaySection):
    """Water used, by mass balance."""

    endless_ratio: float
    within: tuple[float, float]
    doubtful: tuple[float, float]
    blur: float
    rough_quantile: float
    rough_wider: float
    lone_run_s: float
    curve: tuple[float, float]


@dataclass(frozen=True, slots=True)
class DemandReconstruction(DaySection):
    """Use of water rebuilt from the cycles."""

    usual_flow: float
    dense_flow: float
    smallest: float
    most_bursts: int


@dataclass(frozen=True, slots=True)
class DurationDensity(DaySection):
    """Densities of runs and rests for the sampled paths."""

    broad: float
    far_part: float
    most_points: int


@dataclass(frozen=True, slots=True)
class Estimate(DaySection):
    """Estimates from sampled paths."""

    drawn_wider: float


@dataclass(frozen=True, slots=True)
class Exclusions(DaySection):
    """When nothing is computed from a log."""

    false_ratio: float
    least_alone: int


@dataclass(frozen=True, slots=True)
class Imputation(DaySection):
    """Sampled paths of a log whose clicks are in doubt."""

    most_paths: int
    least_paths: int
    clicks_all: int


@dataclass(frozen=True, slots=True)
class SlowLeak(DaySection):
    """Water that leaves all the time."""

    edge_share: float
    least_rests: int
    short_rests: int
    few_rests: int
    few_spread: float
    least_sum_s: float
    missed_share: float
    run_share: float
    clockwork_share: float
    safe: float
    same_share: float


@dataclass(frozen=True, slots=True)
class NoUse(DaySection):
    """The run with no water running, from ordinary use."""

    cool_few_share: float
    few: int
    long_share: float
    posterior_part: float
    quiet_share: float
    least_runs: int
    widest: float
    near_share: float
    least_near: int
    sure: float
    sure_runs: int
    sure_near: int
    nobody_least: int


@dataclass(frozen=True, slots=True)
class PathSampling(DaySection):
    """Which clicks are the switch's, and where one was missed."""

    short_ratio: float
    long_ratio: float
    look_back: int
    rounds: int
    prior_clicks: float
    prior_share: float
    prior_even: float
    tilts: tuple[float, float, float]
    run_blur: tuple[float, float]
    rest_blur: tuple[float, float]
    run_fall: float
    usual_odds: float


@dataclass(frozen=True, slots=True)
class RunEdge(DaySection):
    """The edge below which no run lies."""

    blur: tuple[float, float, float]
    short: tuple[float, float, float]
    long: tuple[float, float]
    hump: tuple[float, float, float]
    hump_sd: float
    share: tuple[float, float, float, float]
    stray: tuple[float, float]
    reach: float
    step: float


@dataclass(frozen=True, slots=True)
class StartCounting(DaySection):
    """Counts of starts with clicks in doubt."""

    duty_wider: float
    doubt_runs: float


@dataclass(frozen=True, slots=True)
class Cycling(DaySection):
    """What makes the pump start often."""

    chatter_s: float
    endless_ratio: float
    middle: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Facts(DaySection):
    """Facts for the table of causes."""

    enough_runs: int


@dataclass(frozen=True, slots=True)
class Trend(DaySection):
    """Change over time."""

    chance: float
    least: int
    least_days: int
    close_ratio: float
    least_change: float
    band: tuple[float, float]


@dataclass(frozen=True, slots=True)
class WhatIf(DaySection):
    """The same day through another tank."""

    throws: int
    least_runs: int
    least_on: int
    heat_s: float
    heat_part: float
    adiabatic_loss: float
    run_within: float
    run_blur: float
    law_share: float


@dataclass(frozen=True, slots=True)
class DayParams:
    """All parameters of a day's reading, by section."""

    constant_flow: ConstantFlow
    consumption: Consumption
    demand_reconstruction: DemandReconstruction
    duration_density: DurationDensity
    estimate: Estimate
    exclusions: Exclusions
    imputation: Imputation
    slow_leak: SlowLeak
    no_use: NoUse
    path_sampling: PathSampling
    run_edge: RunEdge
    start_counting: StartCounting
    cycling: Cycling
    facts: Facts
    trend: Trend
    what_if: WhatIf

    def as_dict(self) -> dict[str, dict[str, Any]]:
        """Return every value by section and name."""
        return asdict(self)


DEFAULT_PARAMS: Final = DayParams(**load_sections(DayParams, PACKAGE))
"""The parameters as params.toml states them."""
