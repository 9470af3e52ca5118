"""What each recording is like: a plan drawn for a setting and a condition. In: names and a seed; out: a Plan.

near: a hand's width from the switch. hard: a loud house and everything nasty. clean: the first use, little noise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tests.benchmarks.timelines import Pattern


@dataclass(frozen=True)
class Plan:
    """All that is drawn before a recording is composed.

    click_db, cut_out_db: peak of cut-in and cut-out above 1 kHz over the room's rms there. pump_db: rms of the pump
    against the same. textures: (kind, dB against the room bed). events: (kind, per minute, peak against the cut-in).
    """

    condition: str
    pattern: Pattern
    r0_s: float
    duration_s: float
    rate_hz: int
    pump: str
    pump_db: float
    click_db: float
    cut_out_db: float
    amount: float
    room_dbfs: float
    hum_hz: float
    hum: float
    begin_on: bool | None = None
    alike: bool = False
    textures: tuple[tuple[str, float], ...] = ()
    events: tuple[tuple[str, float, float], ...] = ()
    special: frozenset[str] = field(default_factory=frozenset)
    codec: tuple[str, int] | None = None


def _with(**change: Any) -> Callable[[Plan, np.random.Generator], Plan]:
    return lambda plan, rng: replace(plan, **change)


def _special(*names: str, **change: Any) -> Callable[[Plan, np.random.Generator], Plan]:
    return lambda plan, rng: replace(plan, special=plan.special | set(names), **change)


def _texture(kind: str, low_db: float, high_db: float) -> Callable[[Plan, np.random.Generator], Plan]:
    return lambda plan, rng: replace(plan, textures=((kind, float(rng.uniform(low_db, high_db))),))


def _events(*rows: tuple[str, float, float]) -> Callable[[Plan, np.random.Generator], Plan]:
    return lambda plan, rng: replace(plan, events=(*plan.events, *rows))


def _codec(plan: Plan, rng: np.random.Generator) -> Plan:
    choices = (("aac", 24000), ("aac", 32000), ("mp3", 32000), ("mp3", 48000), ("opus", 16000), ("opus", 24000))
    codec = choices[int(rng.integers(len(choices)))]
    return replace(plan, codec=codec, rate_hz=48000 if codec[0] == "opus" else int(rng.choice([22050, 44100])))


def _low_rate(plan: Plan, rng: np.random.Generator) -> Plan:
    return replace(plan, rate_hz=int(rng.choice([8000, 11025, 16000])))


def _short_runs(plan: Plan, rng: np.random.Generator) -> Plan:
    return replace(plan, pattern="waterlogged", r0_s=float(rng.uniform(2, 5)), duration_s=float(rng.uniform(240, 420)))


def _long_runs(plan: Plan, rng: np.random.Generator) -> Plan:
    return replace(plan, pattern="long", r0_s=float(rng.uniform(150, 220)), duration_s=1500.0, rate_hz=16000)


def _roar(plan: Plan, rng: np.random.Generator) -> Plan:
    click = float(rng.uniform(24, 32))
    return replace(plan, pump="jet", pump_db=click - float(rng.uniform(9, 14)), click_db=click, cut_out_db=click)


def _faint(plan: Plan, rng: np.random.Generator) -> Plan:
    click = float(rng.uniform(15, 18))
    return replace(plan, click_db=click, cut_out_db=click + float(rng.uniform(-1, 2)), pump_db=min(plan.pump_db, 4.0))


def _one_fainter(plan: Plan, rng: np.random.Generator) -> Plan:
    return replace(plan, cut_out_db=plan.click_db - float(rng.uniform(8, 14)))


Change = Callable[[Plan, np.random.Generator], Plan]
LATCH = _events(("latch", 3.0, -2.0), ("door", 1.0, 0.0))
HARD: dict[str, Change] = {
    "plain": _with(),
    "rain": _texture("rain", -2, 6),
    "clock": _events(("clock", 1.0, -6.0)),
    "crackle": _texture("fire_crackling", -2, 5),
    "speech": _events(("speech", 4.0, 4.0), ("cough", 0.5, 6.0)),
    "doors": LATCH,
    "steps": _events(("step", 12.0, 0.0)),
    "dishes": _events(("coin", 6.0, 2.0)),
    "dogs": _events(("dog_bark", 3.0, 8.0), ("rooster", 0.5, 4.0)),
    "sneezes": _events(("person_sneeze", 1.0, 8.0), ("baby_cry", 0.5, 6.0)),
    "light switch": _special("light switch"),
    "second switch": _special("second switch"),
    "relay": _special("relay", pump="jet"),
    "12 dB clicks": _faint,
    "roaring pump": _roar,
    "silent pump": _with(pump="none"),
    "mains": lambda plan, rng: replace(plan, hum=float(rng.uniform(20, 60))),
    "codec": _codec,
    "low rate": _low_rate,
    "gain riding": _special("gain riding"),
    "suppression": _special("suppression", rate_hz=16000),
    "suppression and gain, low rate": _special("suppression", "gain riding", rate_hz=16000, codec=("aac", 24000)),
    "clipping": _special("clipping"),
    "handled": _special("handled"),
    "dead channel": _special("dead channel"),
    "chatter": _special("chatter"),
    "one click fainter": _one_fainter,
    "alike": _with(alike=True),
    "echo": _special("echo"),
    "water hammer": _special("hammer"),
    "relief hiss": _special("hiss"),
    "runs of seconds": _short_runs,
    "runs of minutes": _long_runs,
    "no click for long": _with(pattern="single", r0_s=40.0, duration_s=2400.0, rate_hz=16000),
    "never ends": _with(pattern="never-ends"),
    "one cycle": _with(pattern="single"),
    "begins inside": _with(begin_on=True),
    "waves": _texture("sea_waves", -2, 5),
    "rotor": _texture("helicopter", -4, 4),
    "clicks unheard": lambda plan, rng: replace(
        _special("no clicks")(plan, rng), pump="jet", pump_db=float(rng.uniform(6, 14)), click_db=32.0
    ),
    "quiet": _with(pattern="nothing"),
    "quiet with latches": lambda plan, rng: LATCH(replace(plan, pattern="nothing"), rng),
    "quiet in rain": lambda plan, rng: _texture("rain", 0, 6)(replace(plan, pattern="nothing"), rng),
}
NEAR: dict[str, Change] = {
    "plain": _with(),
    "steady tap": _with(pattern="steady"),
    "taps shut": _with(pattern="refill"),
    "household": _with(pattern="household"),
    "begins inside": _with(begin_on=True),
    "rain": _texture("rain", -2, 4),
    "speech": _events(("speech", 2.0, -8.0)),
    "doors": _events(("latch", 2.0, -10.0), ("door", 0.5, -8.0)),
    "dogs and steps": _events(("dog_bark", 1.0, -6.0), ("step", 4.0, -8.0)),
    "clock": _events(("clock", 1.0, -14.0)),
    "silent pump": _with(pump="none"),
    "loud pump": lambda plan, rng: replace(plan, pump="jet", pump_db=float(rng.uniform(10, 18))),
    "runs of seconds": _short_runs,
    "one click fainter": lambda plan, rng: _one_fainter(replace(plan, click_db=float(rng.uniform(48, 54))), rng),
    "alike": _with(alike=True),
    "chatter": _special("chatter"),
    "hammer": _special("hammer"),
    "low rate": _low_rate,
    "codec": _codec,
    "quiet": _with(pattern="nothing"),
}
CLEAN: dict[str, Change] = {
    "clean": _with(),
    "clean, taps shut": _with(pattern="refill"),
    "clean, begins inside": _with(begin_on=True),
    "moderate noise": lambda plan, rng: _texture("rain", -3, 2)(replace(plan, click_db=30.0, cut_out_db=29.0), rng),
    "moderate, household": lambda plan, rng: replace(plan, pattern="household", events=(("step", 2.0, -10.0),)),
    "moderate, begins inside": lambda plan, rng: _events(("speech", 1.0, -10.0))(replace(plan, begin_on=True), rng),
    "runs of seconds": _short_runs,
    "quiet": _with(pattern="nothing"),
}
CONDITIONS: dict[str, dict[str, Change]] = {"near": NEAR, "hard": HARD, "clean": CLEAN}


def draw_plan(setting: str, condition: str, rng: np.random.Generator, amount: float) -> Plan:
    """The plan of one recording of a setting under a condition."""
    r0_s = float(np.exp(rng.uniform(np.log(7), np.log(95))))
    pattern: Pattern = str(rng.choice(["steady", "refill", "household"], p=[0.45, 0.3, 0.25]))  # type: ignore[assignment]
    cycle_s = {"steady": 4.6 * r0_s, "refill": 3.3 * r0_s + 20, "household": 4.5 * r0_s + 50}[pattern]
    duration_s = float(np.clip(cycle_s * rng.uniform(3.8, 8), 240, 1400))
    pump = str(rng.choice(["jet", "flow", "none"], p=[0.5, 0.35, 0.15]))
    pump_low, pump_high, click_low, click_high = {
        "near": (0.0, 12.0, 41.0, 54.0),
        "hard": (2.0, 14.0, 20.0, 34.0),
        "clean": (0.0, 10.0, 30.0, 45.0),
    }[setting]
    pump_db = float(rng.uniform(pump_low, pump_high) if pump == "jet" else rng.uniform(-6, 1))
    click_db = float(rng.uniform(click_low, click_high))
    plan = Plan(
        condition=condition,
        pattern=pattern,
        r0_s=r0_s,
        duration_s=duration_s,
        rate_hz=int(rng.choice([48000, 44100, 22050, 16000], p=[0.35, 0.4, 0.1, 0.15])),
        pump=pump,
        pump_db=pump_db,
        click_db=click_db,
        cut_out_db=click_db + float(rng.uniform(-4, 2)),
        amount=amount,
        room_dbfs=float(rng.uniform(-64, -56)),
        hum_hz=float(rng.choice([50.0, 60.0])),
        hum=float(rng.uniform(0.3, 4)),
        begin_on=True if rng.random() < 0.2 else None,
    )
    if setting == "hard":
        # A loud house under every hard recording: something woven in, and now and then something that bangs.
        if rng.random() < 0.5:
            kind = str(rng.choice(["rain", "sea_waves", "helicopter", "fire_crackling"]))
            plan = replace(plan, textures=((kind, float(rng.uniform(-12, -3))),))
        house = (("step", 1.5, 0.0), ("door", 0.4, 2.0), ("speech", 0.5, 0.0), ("coin", 0.4, -2.0))
        plan = replace(plan, events=tuple(row for row in (*house, ("dog_bark", 0.3, 6.0)) if rng.random() < 0.6))
    elif setting == "near" and rng.random() < 0.6:
        plan = replace(plan, events=(("step", 1.0, -10.0), ("speech", 0.5, -12.0), ("door", 0.2, -8.0)))
    plan = CONDITIONS[setting][condition](plan, rng)
    if plan.duration_s > 900 and plan.rate_hz > 30000 and rng.random() < 0.5 and plan.codec is None:
        plan = replace(plan, rate_hz=int(rng.choice([22050, 16000])))
    if plan.pattern == "nothing":
        return replace(plan, pump="none")
    if setting == "near":
        # Near the switch everything else is fainter, also than the fainter one of the two clicks.
        fainter_db = min(0.0, plan.cut_out_db - plan.click_db)
        plan = replace(plan, events=tuple((kind, often, db + fainter_db) for kind, often, db in plan.events))
    # A click that the pump drowns altogether tells nothing; only "roaring pump" goes below 12 dB over the pump.
    over_db = 8.0 if condition == "roaring pump" else 12.0
    return replace(plan, pump_db=min(plan.pump_db, min(plan.click_db, plan.cut_out_db) - over_db))
