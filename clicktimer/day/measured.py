"""The reading of a measurement of a day: its log read, and run, verdict, tank and causes by that reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from clicktimer.assessment.causes.ranking import likely_causes
from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.day.analysis import DayReading, leak_first, read_day
from clicktimer.day.cycle_log import DayLog
from clicktimer.day.params import DEFAULT_PARAMS, DayParams
from clicktimer.day.wall_time import parse_zone, started_seconds, twice_reasons
from clicktimer.errors import SettingsError
from clicktimer.records import Reason
from clicktimer.tank.sizing import size_tank


def read_measured_day(
    m: Measurement,
    options: MeasureOptions,
    *,
    zone: str | None = None,
    nobody: Sequence[str] = (),
    others: Sequence[tuple[str, float]] = (),
    params: DayParams = DEFAULT_PARAMS,
) -> tuple[Measurement, DayReading]:
    """Read the day of a measurement; its run replaces the measurement's, unless the user said how the taps were.

    Parameters
    ----------
    m : Measurement
        What was measured.
    options : MeasureOptions
        Those it was measured with, with a system.
    zone : str or None
        IANA name of the zone of the wall clock.
    nobody : sequence of str
        Stretches of the day with all taps closed, "01:00-05:00".
    others : sequence of (str, float)
        Other tanks: name, and drawdown over that of the tank that is there.
    params : DayParams
        The parameters of the reading.

    Raises
    ------
    SettingsError
        If a zone or a stretch of the day is not possible, or no system is given.
    """
    described = options.system
    if described is None:
        raise SettingsError("a day is judged for a system: give options.system")
    # What a file notes of its own start may be its end, or UTC: only what the user said counts here, and the clock of
    # the computer that listened.
    started_at = m.source.started_at if m.source.started_how in ("given", "clock") else None
    started_s = started_seconds(started_at, parse_zone(zone))
    log = DayLog(m.cycles, max(m.source.duration_s, 1.0), m.gaps, started_s, zone)
    # A listening folder notes how the taps were: what it was measured with counts, said again or not.
    taps = options.taps or (m.settings.get("taps") or {}).get("value")
    said = m.run if taps is not None and m.run is not None and not m.run.one_sided else None
    reading = read_day(
        log,
        system=described.system,
        nobody=nobody,
        others=others,
        marks_s=options.marks_s,
        bursts=sum(c.chatter > 1 for c in m.clicks),
        said=said,
        params=params,
    )
    twice = twice_reasons(started_at, nobody, log.duration_s, parse_zone(zone))
    reading = replace(reading, clock_reasons=twice)
    if said is not None:
        if said.how == "taps shut":
            reading = without_uses(reading)
        reading = replace(reading, run=said, verdict=leak_first(reading, m.verdict))
    tank = size_tank(described.system, reading.run, described.units, m.cycles)
    m = replace(m, run=reading.run, verdict=reading.verdict, tank=tank)
    return replace(m, causes=likely_causes(m, tank, described.found, log=reading.log_facts)), reading


def without_uses(reading: DayReading) -> DayReading:
    """A reading of sound in which every tap was said to be shut: what looks like a steady use is none.

    Then whoever tested made the starts, and there is no use of water to run through another tank.
    """
    facts = {name: value for name, value in reading.log_facts.items() if name != "steady-use"}
    return replace(
        reading,
        no_use=replace(reading.no_use, steady=()),
        starts=replace(reading.starts, flows=()),
        log_facts=facts,
        replayed=(),
        replay_withheld=Reason("day.what-if-taps-closed") if reading.replayed or reading.replay_withheld else None,
    )
