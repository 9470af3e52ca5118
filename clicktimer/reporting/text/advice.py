"""What to do next, and the cautions that belong to it: which of them, by the result. Common practice, no source."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from clicktimer.assessment.causes.run_signs import runs_on
from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.needed_cautions import cautions_for
from clicktimer.assessment.verdict import below_motor_limit, denied
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.targets import SHORT_BANDS

__all__ = [
    "cautions",
    "next_steps",
    "reads_as_a_day",
    "runs_on",
    "tank_denies",
    "to_try",
]

LONG_S: Final = 2 * 3600.0  # so much ordinary use may tell what a test with the taps would; common practice, no source


def next_steps(measurement: Measurement, messages: Messages = Messages()) -> tuple[str, ...]:
    """Return what to do next, most useful first: what would settle an open question, then what the band asks for."""
    m = measurement
    as_a_day = (messages.text("verdict.settle.long-recording"),) if reads_as_a_day(m) else ()
    if m.run is None:
        return (*to_try(m, messages), *as_a_day)
    steps: list[str] = []
    if m.verdict.settle:
        steps += [messages.texts(m.verdict.settle), *as_a_day]
    if m.tank is not None and m.tank.judgement is not None and tank_denies(m):
        return (*steps, Messages(units=m.tank.units).texts(m.tank.judgement.settle))
    if below_motor_limit(m.verdict):
        return (messages.text("advice.larger-for-motor"), *steps)
    if m.verdict.band is not None and (m.verdict.sure or m.verdict.band in SHORT_BANDS or not m.verdict.settle):
        steps.append(messages.text(f"advice.band.{m.verdict.band}"))
    return tuple(steps)


def reads_as_a_day(m: Measurement, least_s: float = LONG_S) -> bool:
    """Whether it is ordinary use that was heard, for ``least_s`` seconds or more: read as a day it tells more."""
    taps = m.settings.get("taps")
    said = isinstance(taps, Mapping) and taps.get("value") is not None
    driven = any(w.code == "variable-speed" for w in m.warnings)
    return m.source.duration_s >= least_s and bool(m.clicks) and not said and not driven


def to_try(measurement: Measurement, messages: Messages = Messages()) -> tuple[str, ...]:
    """Return what to try where no run could be timed, by what was heard."""
    m = measurement
    if m.ambiguous is not None:
        codes: tuple[str, ...] = ("advice.try.pump-at-start", "advice.try.other-place")
    elif any(w.code == "variable-speed" for w in m.warnings):
        return (messages.texts(m.verdict.settle),)
    elif any(w.code == "digital-silence" for w in m.warnings):
        codes = ("advice.try.no-sound",)
    elif not m.clicks:
        codes = ("advice.try.closer", "advice.try.quiet", "advice.try.three-runs")
    else:
        codes = ("advice.try.longer", "advice.try.pump-at-start-too")
    return tuple(messages.text(code) for code in codes)


def tank_denies(m: Measurement) -> bool:
    """Whether the tank's figures speak against a run that is not short: water in use would have lengthened it."""
    judgement = None if m.tank is None else m.tank.judgement
    return m.run is not None and judgement is not None and denied(m.verdict, judgement.finding)


def cautions(measurement: Measurement, messages: Messages = Messages()) -> tuple[str, ...]:
    """Return the cautions that belong to what this result may make somebody do, most urgent first."""
    return tuple(messages.text(caution) for caution in cautions_for(measurement))
