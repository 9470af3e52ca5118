"""What to do next, and the cautions that belong to it. Sentences only; no arithmetic.

What each band means is said with the verdict; this adds what to do about it. Common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from clicktimer.assessment.causes.run_signs import runs_on
from clicktimer.assessment.cautions import cautions_for
from clicktimer.assessment.verdict import denied
from clicktimer.records import Measurement
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.targets import SHORT_BANDS, Band

__all__ = [
    "BAND_NEXT",
    "cautions",
    "next_steps",
    "reads_as_a_day",
    "runs_on",
    "tank_denies",
    "to_try",
]

BAND_NEXT: dict[Band, str] = {
    "very-short": "Use little water until it is seen to: every start wears the motor.",
    "short": "Do not add air or turn the switch's screws on a guess: the check of the charge comes first.",
    "short-of-30": "The tank's size and the pump's rate tell lost air from a tank that is too small: give --tank and "
    "--pump-rate.",
    "under-a-minute": "Measure again in a year: a run that has become shorter may mean that air is being lost.",
    "a-minute-or-more": "Keep this figure: a shorter run a year from now may mean that air is being lost.",
    "over-three-minutes": "Keep this figure: a shorter run a year from now may mean that air is being lost.",
}

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
    if m.tank is not None and tank_denies(m):
        return (*steps, Messages(units=m.tank.units).texts(m.tank.judgement.settle))
    if m.verdict.band is not None and (m.verdict.sure or m.verdict.band in SHORT_BANDS or not m.verdict.settle):
        steps.append(BAND_NEXT[m.verdict.band])
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
        return (
            "If you know whether the pump was running when the recording began, say so: --pump-at-start on or "
            "--pump-at-start off.",
            "Or record where the pump, or water in its pipe, can be heard as well as the click.",
        )
    if any(w.code == "variable-speed" for w in m.warnings):
        return (messages.texts(m.verdict.settle),)
    if any(w.code == "digital-silence" for w in m.warnings):
        return (
            "The recording holds no sound at all: allow the app to use the microphone, unmute it, play a short "
            "recording back to hear that it works, and record again.",
        )
    if not m.clicks:
        return (
            "Place the phone or computer by the pressure switch, a hand's width from its cover and outside it, and "
            "listen: can you hear the click yourself?",
            "Turn off noise suppression, and stop other sounds near by.",
            "Make a recording that holds at least three whole runs: open a tap until the pump starts, shut every "
            "tap, wait until it stops, and do it again.",
        )
    return (
        "Make a longer recording, so that it holds at least three whole runs, from the click that starts the pump "
        "to the click that stops it.",
        "If you know whether the pump was running when the recording began, say so: --pump-at-start on or off.",
    )


def tank_denies(m: Measurement) -> bool:
    """Whether the tank's figures speak against a run that is not short: water in use would have lengthened it."""
    judgement = None if m.tank is None else m.tank.judgement
    return m.run is not None and judgement is not None and denied(m.verdict, judgement.finding)


def cautions(measurement: Measurement, messages: Messages = Messages()) -> tuple[str, ...]:
    """Return the cautions that belong to what this result may make somebody do, most urgent first."""
    return tuple(messages.text(caution) for caution in cautions_for(measurement))
