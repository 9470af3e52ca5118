"""From what was measured, given and found to facts: name and value, as in facts.toml. What is unknown is absent."""

from __future__ import annotations

from collections.abc import Mapping

from clicktimer.assessment.causes.observations import NOTHING_FOUND, Found
from clicktimer.assessment.causes.run_signs import runs_on, stopped_early
from clicktimer.assessment.causes.table import NO, YES, table
from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.verdict import judge
from clicktimer.cycles.run_time import allowed_interval_s
from clicktimer.errors import SettingsError
from clicktimer.records import (
    RunTime,
    Verdict,
)
from clicktimer.tank.drawdown import water_held_l
from clicktimer.tank.faults import charge_state, intended_switch_kpag, range_state
from clicktimer.tank.observed_rate import rate_against_stated
from clicktimer.tank.sizing import TankSizing
from clicktimer.tank.system import System, Tank
from clicktimer.targets import MARKS_S, Band

Facts = dict[str, str]

RUN_VALUES: dict[Band, str] = {
    "very-short": "very-short",
    "short": "short",
    "short-of-30": "short",
    "under-a-minute": "below-mark",
    "a-minute-or-more": "good",
    "over-three-minutes": "good",
}
# Notices of the detector (their codes) that are facts by themselves.
NOTICES = {"two-pumps": ("second-sound", YES), "variable-speed": ("variable-speed", YES)}


def gather(
    measurement: Measurement | None = None,
    sizing: TankSizing | None = None,
    found: Found = NOTHING_FOUND,
    log: Mapping[str, str] | None = None,
) -> Facts:
    """Return every fact that is known. Each argument may be missing; log: facts of a day's log, by name.

    Raises SettingsError for a log fact that the table does not know.
    """
    facts: Facts = {}
    marks_s = MARKS_S if sizing is None else sizing.system.marks_s
    target_s = marks_s[1] if sizing is None else sizing.target_s
    if measurement is not None:
        facts |= _run(measurement.verdict, measurement.run, target_s) | _from_sound(measurement)
    if sizing is not None:
        if measurement is None and sizing.run is not None:
            facts |= _run(judge(sizing.run, marks_s=marks_s), sizing.run, target_s)
        facts |= _from_tank(sizing) | _from_system(sizing.system)
    return facts | _from_found(found) | _from_log(log or {})


def _run(verdict: Verdict, run: RunTime | None, target_s: float) -> Facts:
    if run is None or run.doubted:
        return {}
    # Which band may be too close to call while it is sure that the run stays below the target.
    below: Facts = {"run": "below-mark"} if allowed_interval_s(run)[1] < target_s else {}
    if verdict.band is None or not verdict.sure:
        return below
    value = RUN_VALUES[verdict.band]
    return below or {"run": value} if value == "good" else {"run": value}


def _from_sound(m: Measurement) -> Facts:
    facts: Facts = {}
    taps = m.settings.get("taps")
    said = taps.get("value") if isinstance(taps, Mapping) else None
    if said is not None:
        facts["taps"] = "shut" if said == "shut" else "one-steady"
    whole = [c for c in m.cycles if c.complete]
    if runs_on(m):
        facts["endless"] = YES
    elif whole:
        facts["endless"] = NO
    if any(c.chatter > 1 for c in m.clicks):
        facts["chatter"] = YES
    elif whole:
        facts["chatter"] = NO
    early = stopped_early(m)
    if early is not None:
        facts["early-stop"] = YES if early else NO
    return facts | dict(NOTICES[n.code] for n in m.warnings if n.code in NOTICES)


def _from_tank(sizing: TankSizing) -> Facts:
    facts: Facts = {}
    found = sizing.judgement
    if found is not None and found.finding != "cannot-tell":
        facts["tank"] = {
            "healthy": "healthy",
            "too-small-but-healthy": "too-small",
            "more-than-label": "more",
            "short-of-air-or-overcharged": "short",
            "charge-wrong": "short",
            "range-wrong": "as-read",
        }[found.finding]
        # Both readings of the first root below open air: no charge, however low, explains it.
        if facts["tank"] == "short" and found.undercharged_kpag is not None and max(found.undercharged_kpag) < 0:
            facts["tank"] = "far-short"
    measured, stated = sizing.pump_measured, sizing.system.stated_pump
    if measured is not None:
        if stated is not None:
            rate = measured.rate
            against = rate_against_stated(rate.l_per_min, rate.sd_l_per_min, stated.l_per_min)
            facts["rate"] = {"below": "below-stated", "above": "above-stated", "agrees": "as-stated"}[against]
        if len(measured.each_l_per_min) >= 3:
            facts["rate-trend"] = "falling" if measured.falling else "steady"
    limits = [t for t in sizing.system.tanks if t.acceptance_l is not None and t.kind == "bladder"]
    if limits:
        facts["bladder-full"] = YES if any(_full(sizing.system, t) for t in limits) else NO
    return facts


def _full(system: System, tank: Tank) -> bool:
    held_l = water_held_l(tank.volume_l, system.charge_of(tank), system.cut_out_kpag, system.atmosphere_kpaa)
    return tank.acceptance_l is not None and tank.acceptance_l < held_l


def _from_system(system: System) -> Facts:
    facts: Facts = {}
    if system.tanks:
        facts["tank-count"] = "one" if len(system.tanks) == 1 else "several"
        kinds = {tank.kind for tank in system.tanks}
        if len(kinds) == 1:
            facts["tank-kind"] = kinds.pop()
    own = [t.precharge_kpag for t in system.tanks if t.precharge_kpag is not None]
    if facts.get("tank-kind") != "plain" and (own or system.came_from("precharge") != "default"):
        # Of several tanks the one that is furthest off counts: it is the one that explains something.
        charges = own or [system.precharge_kpag]
        furthest = max(charges, key=lambda c: abs(c - intended_switch_kpag(system)[0]))
        facts["charge"] = charge_state(furthest, system)
    if (state := range_state(system)) is not None:
        facts["switch-range"] = state
    return facts


def _from_found(found: Found) -> Facts:
    facts: Facts = {} if found.air_valve is None else {"air-valve": found.air_valve}
    return facts | dict.fromkeys(found.seen, YES) | dict.fromkeys(found.not_seen, NO)


def _from_log(log: Mapping[str, str]) -> Facts:
    known = {fact.name: fact.values for fact in table().facts if fact.origin == "log"}
    for name, value in log.items():
        if value not in known.get(name, ()):
            raise SettingsError(f"the log's fact {name} = {value} is not in the table of causes")
    return dict(log)
