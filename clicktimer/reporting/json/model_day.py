"""The JSON document of a day, declared: a measurement with more (docs/day.schema.json is made from it)."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from clicktimer.reporting.json.model import Interval, Part, Reason, says
from clicktimer.reporting.json.model_measurement import MeasurementDocument, Run


class DayRun(Run):
    """The run with no water in use, or null where it could not be measured."""

    how: str = says(  # type: ignore[assignment]
        'The estimator: "nobody home", "steady uses", "edge and steady uses", "edge of the runs", or that of a '
        "measurement."
    )


class SteadyUse(Part):
    """A steady use that tells the run with no water."""

    from_s: float = says("From when, s.")
    to_s: float = says("Until when, s.")
    count: int = says("Runs in it.", ge=0)
    no_use_run_s: float = says("The run with no water by this use alone.")
    no_use_run_low_s: float = says("Lower end of its 95 % interval.")
    no_use_run_high_s: float = says("Upper end of its 95 % interval.")
    duty: float = says("The flow over the pump's rate.")
    duty_low: float = says("Lower end of its 95 % interval.")
    duty_high: float = says("Upper end of its 95 % interval.")


class RunRestsOn(Part):
    """How it was reached: the estimator, runs within 5 % of it, and the steady uses found."""

    how: str = says("The estimator.")
    near: int = says("Runs within 5 % of it.", ge=0)
    steady: list[SteadyUse] = says("The steady uses found.")


class Seeping(Part):
    """Water that leaves all the time."""

    told: bool = says("Whether seeping is told.")
    pattern: Literal["none", "constant", "part of the day", "timed restarts"] = says(
        "Only constant is told as seeping."
    )
    flow_l_per_min: float | None = says("Flow, L/min; null when not told or no pump rate is known.")
    low: float | None = says("Lower end of its 95 % interval, L/min.")
    high: float | None = says("Upper end, L/min.")
    share_of_pump_rate: float | None = says("The flow over the pump's rate.")
    limit_l_per_min: float | None = says("No more than this seeps all the time, by the longest rest, L/min.")
    limit_share_of_pump_rate: float | None = says("The same over the pump's rate.")
    from_: str | None = says(
        "Wall time (ISO 8601) of the first rest that shows it, null where the beginning is not known.", alias="from"
    )
    to: str | None = says("Wall time of the end of the last.")
    from_s: float | None = says("The same, s.")
    to_s: float | None = says("The same, s.")
    text: str = says("In words.")


class SteadyFlow(Part):
    """A steady use that makes the pump cycle."""

    from_s: float = says("From when, s.")
    to_s: float = says("Until when, s.")
    starts: int = says("Starts in it.", ge=0)
    remedy: Literal["flow", "tank", "either", "leak"] = says("What would end it.")
    text: str = says("In words.")
    share: float = says("Of all starts.")
    share_low: float = says("Lower end of its 95 % interval.")
    share_high: float = says("Upper end of its 95 % interval.")
    per_h: float = says("Starts an hour while it lasts.")
    per_h_low: float = says("Lower end of its 95 % interval.")
    per_h_high: float = says("Upper end of its 95 % interval.")
    flow_l_per_min: float | None = says("Null without a pump rate.")
    flow_l_per_min_low: float | None = says("Lower end of its 95 % interval.")
    flow_l_per_min_high: float | None = says("Upper end of its 95 % interval.")
    share_of_pump_rate: float = says("The flow over the pump's rate.")
    share_of_pump_rate_low: float = says("Lower end of its 95 % interval.")
    share_of_pump_rate_high: float = says("Upper end of its 95 % interval.")


class MotorLimit(Part):
    """One limit of the motor."""

    what: str = says("Which limit.")
    answer: str = says("Whether it is kept.")
    text: str = says("In words.")
    reasons: list[Reason] = says("The same as codes with figures.")


class Starts(Part):
    """Starts of the pump."""

    count: int = says("As heard, in all.", ge=0)
    worst_hour: int = says("Most in any 3600 s.", ge=0)
    worst_hour_from_s: float | None = says("From when, s.")
    worst_hour_from: str | None = says("From when, wall time.")
    per_day: Interval | None = says("Starts a day with the honest range; null where less than an hour was heard.")
    by_hour: list[Annotated[int, Field(ge=0)]] = says("In each hour from the beginning, as heard.")
    shortest_rest_s: float | None = says("By its two clicks.")
    shortest_run_s: float | None = says("By its two clicks.")
    longest_run_s: float | None = says("By its two clicks.")
    duty: float = says("Share of the time that the pump ran.")
    endless: int = says("Runs over five times the run with no water.", ge=0)
    chatter: int = says("Runs or rests under 2 s, and clicks heard as bursts.", ge=0)
    flows: list[SteadyFlow] = says("Steady uses that make the pump cycle.")
    motor: list[MotorLimit] = says("Limits of the motor held against what was heard.")
    in_all: Interval = says("The same with the clicks that may be false or missed.")
    worst_hour_low: float = says("Lower end of its 95 % interval.")
    worst_hour_high: float = says("Upper end of its 95 % interval.")
    by_hour_low: list[float] = says("Lower ends of their 95 % intervals, for clicks that may be false or missed.")
    by_hour_high: list[float] = says("Upper ends of their 95 % intervals, for clicks that may be false or missed.")
    shortest_rest_low_s: float | None = says("Lower end of its 95 % interval.")
    shortest_rest_high_s: float | None = says("Upper end of its 95 % interval.")
    shortest_run_low_s: float | None = says("Lower end of its 95 % interval.")
    shortest_run_high_s: float | None = says("Upper end of its 95 % interval.")
    longest_run_low_s: float | None = says("Lower end of its 95 % interval.")
    longest_run_high_s: float | None = says("Upper end of its 95 % interval.")
    duty_low: float = says("Lower end of its 95 % interval.")
    duty_high: float = says("Upper end of its 95 % interval.")


class Water(Part):
    """Water used, null without a whole run."""

    unit: Literal["L", "tankfuls", "s of pump"] = says("Unit of the amounts.")
    between: Interval = says("From the first start to the last, where the balance closes.")
    from_s: float = says("Of that first start, seconds of the log.", optional=True)
    to_s: float = says("Of that last start, seconds of the log.", optional=True)
    tankful: float = says("What the tank gives between stop and start, in the same unit.", optional=True)
    total: Interval = says("All of it; at both ends the tank may stand anywhere.")
    by_hour: list[float] = says("In each hour from the beginning.")
    long_runs: Interval | None = says("Of it in runs over five times the run with no water.")
    doubtful: int = says("Clicks taken for false or missed.", ge=0)
    text: str = says("In words.")
    night: float | None = says("Midnight to five, a night; null without a start.")
    night_low: float | None = says("Lower end of its 95 % interval.")
    night_high: float | None = says("Upper end of its 95 % interval.")
    tankful_low: float = says("Lower end of its 95 % interval.")
    tankful_high: float = says("Upper end of its 95 % interval.")
    by_hour_low: list[float] = says(
        "Least that each hour can have had, with the tank anywhere between full and empty at both its ends."
    )
    by_hour_high: list[float] = says(
        "Most that each hour can have had, with the tank anywhere between full and empty at both its ends."
    )


class Change(Part):
    """A change over time."""

    what: Literal["back to back", "over hours", "over days"] = says("Between which runs.")
    share: float | None = says("The end of the stretch over its beginning: 0.1 is ten percent longer.")
    low: float | None = says("Lower end of its 95 % interval.")
    high: float | None = says("Upper end of its 95 % interval.")
    chance: float | None = says("Chance that nothing changed.")
    count: int = says("Runs, pairs of runs or days that it rests on.", ge=0)
    told: bool = says("Whether it is told.")
    text: str = says("In words.")


class Replayed(Part):
    """The same day through another tank."""

    name: str = says("The other tank.")
    times: float = says("Drawdown over that of the tank there.")
    starts: Interval = says("Starts in all.")
    worst_hour: Interval = says("Starts in the worst hour.")
    run_s: Interval = says("The middle run, s.")
    no_use_run_s: float = says("The run with no water of that tank.")
    no_use_run_low_s: float = says("Lower end of its 95 % interval.")
    no_use_run_high_s: float = says("Upper end of its 95 % interval.")


class LeftOut(Part):
    """Clicks that do not count as a run, or are in doubt."""

    at_s: float = says("When it began, or its one click, s.")
    run_s: float | None = says("Its length, s, or null.")
    why: Literal["cut off", "one click alone", "not sure enough", "clicks in doubt", "by the pump's sound"] = says(
        "Why."
    )


class DayDocument(MeasurementDocument):
    """What clicktimer reads in a day: a measurement with more. Times are seconds from the beginning; flows L/min;
    unknown is null. Readers ignore fields they do not know.
    """

    format: Literal["clicktimer-day"] = says("Always this text.")  # type: ignore[assignment]
    run: DayRun | None = says("The run with no water in use, or null where it could not be measured.")
    zone: str | None = says("IANA time zone as given, or null.")
    run_withheld: str | None = says("Why the run with no water in use is not told, or null.")
    run_rests_on: RunRestsOn = says(
        "How it was reached: the estimator, runs within 5 % of it, and the steady uses found."
    )
    seeping: Seeping = says("Water that leaves all the time.")
    starts: Starts = says("Starts of the pump.")
    water: Water | None = says("Water used, null without a whole run.")
    changes: list[Change] = says("Change over time, told or not.")
    replay: list[Replayed] = says(
        "The same day through other tanks; empty without --tank or without the run with no water."
    )
    left_out: list[LeftOut] = says("What of the log does not count as a run, or is in doubt.")
    replay_withheld: str | None = says("Why other tanks that were asked for are not told.")
    untrusted: str | None = says(
        "Why nothing is reckoned from the clicks: more stand alone than runs have both. Run, seeping, water "
        "and replay are then not told."
    )
    parameters: dict[str, dict[str, float | list[float]]] = says(
        "The parameters of the reading as they were used, by section and name (clicktimer/day/params.toml has unit, "
        "meaning, origin and valid range)."
    )
    reasons: list[Reason] = says(
        "Every reason behind the texts of the day: why something is withheld, the leak, what makes the pump "
        "cycle, the water, the changes."
    )
