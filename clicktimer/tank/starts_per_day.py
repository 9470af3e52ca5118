"""How often the pump starts in a day, from a household's use and what the tank gives: the most, never a forecast."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from clicktimer.cycles.run_time import allowed_interval_s
from clicktimer.errors import SettingsError
from clicktimer.records import Reason, RunTime
from clicktimer.tank.motors import MotorFinding, Seen, judge_motor
from clicktimer.tank.sizing import TankSizing, best_drawdown


def most_starts_per_day(use_l_per_day: float, drawdown_l: float) -> float:
    """Give the most starts in a day that a household's use can cause.

    starts = W / D

    Parameters
    ----------
    use_l_per_day : all the water used in a day, litres. drawdown_l : water between cut-out and cut-in, litres.

    Returns
    -------
    starts in a day.

    Assumes that every draw is small. A cycle gives at least D, and more while water runs during the run, so long draws
    cause fewer; how many fewer only a day's log tells. Source: conservation of water (grade A).

    >>> most_starts_per_day(1200.0, 30.0)
    40.0
    """
    if not (math.isfinite(use_l_per_day) and use_l_per_day >= 0):
        raise SettingsError("a day's use cannot be below zero")
    if not drawdown_l > 0:
        raise SettingsError("a tank that gives no water cannot be reckoned with: check charge and switch")
    return use_l_per_day / drawdown_l


@dataclass(frozen=True, slots=True)
class DayStarts:
    """Starts of the pump by a household's use, and the motor's limits.

    what: of which drawdown; drawdown_l: litres, None unknown. use_low_l, use_high_l: a day's use by the figures that
    apply, litres, None unknown. most_low, most_high: the most starts in a day by each. figures: names of the figures of
    use. motor: the limits compared with the run and with these starts. run: the run that they were compared with, None
    where there was none. rarely: the run lies between the marks, which the trade calls rarely a trouble.
    """

    what: Reason
    drawdown_l: float | None
    use_low_l: float | None
    use_high_l: float | None
    most_low: float | None
    most_high: float | None
    figures: tuple[str, ...]
    motor: tuple[MotorFinding, ...]
    run: RunTime | None = None
    rarely: bool = False


def day_starts(
    sizing: TankSizing, uses_l: Sequence[tuple[str, float, float]] = (), *, with_motor: bool = True
) -> DayStarts | None:
    """Compute the most starts in a day and compare what is known with the motor's limits; None with nothing to compute.

    uses_l: figures of a household's use in a day, (name, low, high) in litres. The drawdown is the measured one where
    there is one, else the label's, else that of the size chosen. The motor's limits are held against a measured run
    only: a run expected of a tank that is not there is no finding.
    """
    what, drawn_l = best_drawdown(sizing)
    motor = _motor(sizing, uses_l, drawn_l) if with_motor else ()
    if not uses_l and not motor:
        return None
    low_l = min((low for _, low, _ in uses_l), default=None)
    high_l = max((high for _, _, high in uses_l), default=None)
    known = drawn_l if drawn_l else None
    return DayStarts(
        what=what,
        drawdown_l=known,
        use_low_l=low_l,
        use_high_l=high_l,
        most_low=None if low_l is None or known is None else most_starts_per_day(low_l, known),
        most_high=None if high_l is None or known is None else most_starts_per_day(high_l, known),
        figures=tuple(name for name, _, _ in uses_l),
        motor=motor,
        run=sizing.run if motor else None,
        rarely=sizing.run is not None
        and _between_marks(sizing.run, sizing.system.marks_s)
        and sizing.target_s <= sizing.system.marks_s[1],
    )


def _between_marks(run: RunTime, marks_s: tuple[float, float]) -> bool:
    return marks_s[0] <= run.seconds < marks_s[1] and not run.one_sided


def _motor(sizing: TankSizing, uses_l: Sequence[tuple[str, float, float]], drawn_l: float) -> tuple[MotorFinding, ...]:
    motor, run = sizing.system.motor, sizing.run
    said = motor.power_w is not None or motor.phase is not None or motor.least_run_s is not None
    if not said or run is None or run.doubted:
        return ()
    low_s, high_s = allowed_interval_s(run)
    low_s = 0.0 if run.one_sided else max(low_s, 0.0)
    starts = Seen(900.0 / run.seconds, 900.0 / high_s, math.inf if low_s == 0 else 900.0 / low_s)
    high_l = max((high for _, _, high in uses_l), default=None)
    most = None if high_l is None or not drawn_l or run.one_sided else most_starts_per_day(high_l, drawn_l)
    return judge_motor(
        motor.power_w,
        motor.phase,
        starts_per_day=None if most is None else Seen(most, 0.0, most),
        least_run_s=Seen(run.seconds, low_s, high_s),
        could_start_per_h=None if run.one_sided else starts,
        maker_least_run_s=motor.least_run_s,
    )
