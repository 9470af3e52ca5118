"""A supply held against what is asked of it: rules, and the household's need over two hours and day after day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from clicktimer.errors import SettingsError
from clicktimer.records import Reason
from clicktimer.well.household import DAY_S, PEAK_S, HouseholdNeed
from clicktimer.well.rules import Demand, Rule
from clicktimer.well.supply import Supply, drawn_down_growing_s, pumped_l, supply_over

Answer = Literal["met", "not met", "too close to call", "met only with standing water", "cannot tell"]


@dataclass(frozen=True, slots=True)
class SupplySide:
    """All that gives water. yield_range_l_per_min: (low, high), None unknown. standing_l, draw_l_per_min: None unknown.

    tank_l: drawdown of the pressure tanks there, zero when not given. storage_l: a storage tank that is there, full.
    """

    yield_range_l_per_min: tuple[float, float] | None
    standing_l: float | None
    draw_l_per_min: float | None
    tank_l: float = 0.0
    storage_l: float = 0.0

    def over(self, time_s: float) -> Supply | None:
        """What can be had over a time, seconds, pressure tank and all but the storage tank; None without a yield."""
        if self.yield_range_l_per_min is None:
            return None
        return supply_over(time_s, self.yield_range_l_per_min, self.standing_l, self.draw_l_per_min, self.tank_l)

    def range_l(self, time_s: float) -> tuple[float, float] | None:
        """Least and most that can be had over a time, seconds, from everything, litres; None without a yield."""
        supply = self.over(time_s)
        return None if supply is None else (supply.low_l + self.storage_l, supply.high_l + self.storage_l)


@dataclass(frozen=True, slots=True)
class DemandJudged:
    """One demand of a rule and whether it is met. asked: what it asks for. reason: the answer, with what is there.

    short_l: at the worst, what lacks within its time, litres; zero when met; None where it has no time or is unknown.
    """

    demand: Demand
    asked: Reason
    answer: Answer
    reason: Reason
    short_l: float | None


@dataclass(frozen=True, slots=True)
class RuleJudged:
    """A rule and its demands judged. count: homes or persons it was reckoned for. answer: the worst of them."""

    rule: Rule
    count: int
    answer: Answer
    demands: tuple[DemandJudged, ...]

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """Why, demand by demand."""
        return tuple(judged.reason for judged in self.demands)


def judge_rule(
    rule: Rule,
    supply: SupplySide,
    *,
    homes: int = 1,
    bedrooms: int | None = None,
    well_depth_m: float | None = None,
) -> RuleJudged:
    """Compare a supply with a rule.

    Parameters
    ----------
    rule : Rule
        What is asked for: litres, litres per minute, seconds.
    supply : SupplySide
        What is there.
    homes, bedrooms : int
        What the rule is multiplied by where it says so.
    well_depth_m : float, optional
        Metres, for a rule that goes by it.

    Returns
    -------
    RuleJudged
        The worst answer of its demands, and each of them.

    Raises
    ------
    SettingsError
        Where the rule needs a count or a depth that is not given.
    """
    count = _count(rule, homes, bedrooms)
    demands = rule.demands
    if any(d.by_depth for d in demands):
        if well_depth_m is None:
            raise SettingsError(
                f'the rule "{rule.name}" goes by the depth of the well: give it such as --well-depth "250 ft"'
            )
        demands = tuple(d for d in demands if d.applies_to(well_depth_m))
    entered = rule.status == "ENTERED"
    judged = tuple(_judge(d.times(count), supply, entered=entered) for d in demands)
    worst: Answer = "met"
    for order in ("met only with standing water", "too close to call", "cannot tell", "not met"):
        if any(j.answer == order for j in judged):
            worst = order
    return RuleJudged(rule, count, worst, judged)


def _count(rule: Rule, homes: int, bedrooms: int | None) -> int:
    if homes < 1:
        raise SettingsError("the number of homes must be 1 or more")
    if rule.most_homes is not None and homes > rule.most_homes:
        raise SettingsError(f'the rule "{rule.name}" is for {rule.most_homes} homes at the most; {homes} were given')
    if rule.per == "home":
        return homes
    if rule.per == "person":
        if bedrooms is None:
            raise SettingsError(f'the rule "{rule.name}" goes by the bedrooms: give --bedrooms')
        return bedrooms + 1
    return 1


def _asked(demand: Demand) -> Reason:
    """Return what a demand asks for, such as 1 gpm for 6 h (360 gal)."""
    if demand.storage_l is not None:
        return Reason("well-asked.storage", storage_l=demand.storage_l)
    if demand.volume_l is not None:
        if demand.over_s is None:
            return Reason("well-asked.volume-at-once", volume_l=demand.volume_l)
        return Reason("well-asked.volume", volume_l=demand.volume_l, over_s=demand.over_s)
    if demand.flow_l_per_min is None:
        return Reason("well-asked.nothing")
    if demand.water_l is None:
        return Reason("well-asked.steady", flow_l_per_min=demand.flow_l_per_min)
    return Reason("well-asked.flow", flow_l_per_min=demand.flow_l_per_min, over_s=demand.over_s, water_l=demand.water_l)


def _compare(got: tuple[float, float], needed: float) -> Answer:
    # A supply that equals the demand to the last figures meets it.
    least = needed * (1.0 - 1e-9)
    return "met" if got[0] >= least else "not met" if got[1] < least else "too close to call"


def _judge(demand: Demand, supply: SupplySide, *, entered: bool) -> DemandJudged:
    asked = _asked(demand)

    def done(answer: Answer, got: Reason, short_l: float | None, *, pump_short: bool = False) -> DemandJudged:
        code = "well-demand.pump-short" if pump_short else "well-demand.judged"
        reason = Reason(code, asked=asked, answer=answer.replace(" ", "-"), got=got)
        return DemandJudged(demand, asked, answer, reason, short_l)

    if demand.storage_l is not None:
        short = max(demand.storage_l - supply.storage_l, 0.0)
        there = Reason("well-got.storage", storage_l=supply.storage_l)
        got_storage = Reason("well-got.no-storage") if supply.storage_l == 0 else there
        return done("met" if short == 0 else "not met", got_storage, short)
    rates = supply.yield_range_l_per_min
    if rates is None:
        return done("cannot tell", Reason("well-got.yield-unknown"), None)
    water, over = demand.water_l, demand.over_s
    if water is None or over is None:
        answer = _compare(rates, demand.flow_l_per_min or 0.0)
        return done(answer, Reason("well-got.yields", rate_l_per_min=rates), None)
    inflow = (rates[0] * over / 60.0, rates[1] * over / 60.0)
    every = _kept_up(demand, supply, over)
    if every is None:
        return done("cannot tell", Reason("well-got.yield-unknown"), None)
    got = inflow if demand.counts == "inflow" else every
    answer = _compare(got, water)
    more = Reason("well-got.inflow" if demand.counts == "inflow" else "well-got.all", water_l=got)
    if demand.counts == "unsaid" and answer == "met" and _compare(inflow, water) != "met":
        answer = "met only with standing water"
        code = "well-got.or-stored-entered" if entered else "well-got.or-stored"
        more = Reason(code, water_l=every, inflow_l=inflow)
    if demand.counts != "inflow" and supply.standing_l is None and answer in ("not met", "too close to call"):
        # What stands in the bore might make up for what is short.
        return done("cannot tell", Reason("well-got.standing-unknown", water_l=got), max(water - got[0], 0.0))
    short = max(water - got[0], 0.0) if answer in ("not met", "too close to call") else 0.0
    draw = supply.draw_l_per_min
    return done(answer, more, short, pump_short=draw is not None and draw * over / 60.0 < water and short > 0)


def _kept_up(demand: Demand, supply: SupplySide, over_s: float) -> tuple[float, float] | None:
    """Least and most to be had over the demand's time, litres.

    A flow drawn slowly lowers the level slowly, so where the inflow grows with the drawdown less comes in than under
    the pump's full rate; the least is reckoned with the flow that is asked for.
    """
    got, rates, flow = supply.range_l(over_s), supply.yield_range_l_per_min, demand.flow_l_per_min
    if got is None or rates is None or flow is None or supply.standing_l is None:
        return got
    draw = flow if supply.draw_l_per_min is None else min(flow, supply.draw_l_per_min)
    if drawn_down_growing_s(supply.standing_l, rates[0], draw) >= over_s:
        return got
    slow = pumped_l(supply.standing_l, rates[0], draw, over_s, growing=True) + supply.tank_l + supply.storage_l
    return min(slow, got[0]), got[1]


@dataclass(frozen=True, slots=True)
class HouseholdJudged:
    """One figure of use against the supply. peak: the day's use within two hours; daily: day after day, inflow alone.

    short_peak_l: what lacks in the two hours by the figure's high end and the supply's low end, litres; short_day_l:
    what the inflow of a day lacks.
    """

    need: HouseholdNeed
    peak: Answer
    daily: Answer
    short_peak_l: float | None
    short_day_l: float | None


def judge_household(need: HouseholdNeed, supply: SupplySide) -> HouseholdJudged:
    """Hold a household's need against the supply over two hours (all that is there) and a day (inflow alone).

    Standing water and tanks are used once and must be filled again: day after day only the inflow counts.
    """
    rates, two_hours = supply.yield_range_l_per_min, supply.range_l(PEAK_S)
    if rates is None or two_hours is None:
        return HouseholdJudged(need, "cannot tell", "cannot tell", None, None)
    day = (rates[0] * DAY_S / 60.0, rates[1] * DAY_S / 60.0)
    if supply.draw_l_per_min is not None:
        most = supply.draw_l_per_min * DAY_S / 60.0
        day = (min(day[0], most), min(day[1], most))
    peak = _both_ends(two_hours, need)
    if peak != "met" and supply.standing_l is None:
        peak = "cannot tell"  # what stands in the bore might make up for what is short
    return HouseholdJudged(
        need,
        peak,
        _both_ends(day, need),
        max(need.high_l - two_hours[0], 0.0),
        max(need.high_l - day[0], 0.0),
    )


def _both_ends(got: tuple[float, float], need: HouseholdNeed) -> Answer:
    if _compare(got, need.high_l) == "met":
        return "met"
    return "not met" if _compare(got, need.low_l) == "not met" else "too close to call"
