"""How soon live listening tells a click's kind, and how often it is right. ``python -m tests.benchmarks.live_kinds``.

Composed recordings (see run.py) are heard piece by piece as from a microphone. Counted of every true click: when it was
first shown, when a kind was first told, whether that kind was right; and the kinds told of sounds that are no click.
"Switch": told as a click of the switch within 3 s, be it of unknown kind. Where no pump is heard nothing tells which
click is which; so the later clicks are counted once more in those recordings alone of which the whole tells kinds. The
times are of the sound: what the sound card adds comes on top.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field, fields
from pathlib import Path

import numpy as np

from clicktimer.pipeline import measure_samples
from clicktimer.records import Block
from clicktimer.storage.batch import Event
from clicktimer.streaming.engine import Engine
from tests.benchmarks.compose import Recording
from tests.benchmarks.conditions import CONDITIONS
from tests.benchmarks.run import commit
from tests.benchmarks.shelf import fetch, usual_shelf

PIECE_S = 0.04
NEAR_S = 0.05
SOON_S = 3.0
STANDINGS = ("first", "second", "later", "tellable")


@dataclass
class Told:
    """What was told of the clicks of one standing (first, second, later) in all recordings."""

    clicks: int = 0
    shown_s: list[float] = field(default_factory=list)
    kind_s: list[float] = field(default_factory=list)
    soon: int = 0
    soon_right: int = 0
    right: int = 0
    switch: int = 0
    withdrawn: int = 0

    def add(self, other: Told) -> None:
        """Take in what was counted elsewhere."""
        for one in fields(self):
            mine = getattr(self, one.name)
            setattr(self, one.name, mine + getattr(other, one.name))


def events_of(recording: Recording) -> list[Event]:
    """Everything that is said while the recording is heard."""
    engine, events = Engine(), list[Event]()
    step = int(PIECE_S * recording.rate_hz)
    for first in range(0, len(recording.samples), step):
        piece = recording.samples[first : first + step]
        events += engine.feed(Block(piece, recording.rate_hz, first / recording.rate_hz)).events
        if engine.due():
            events += engine.decide()
    return events


def count(recording: Recording) -> tuple[dict[str, Told], int, int]:
    """One recording: what was told of its clicks, how many sounds that are no click were given a kind, and how many of
    these within 3 s."""
    told = {name: Told() for name in STANDINGS}
    events = events_of(recording)
    kinds = [e for e in events if e.what == "kind" and e.kind != "unknown"]
    used: set[int] = set()
    for number, true in enumerate(recording.truth.clicks):
        one = told["first" if number == 0 else "second" if number == 1 else "later"]
        one.clicks += 1
        # In a chattering burst any of its snaps may be the one that is shown.
        reach_s = NEAR_S if true.chatter <= 1 else 1.0
        shown = [e.at_s - true.time_s for e in events if e.what == "heard" and abs(e.time_s - true.time_s) < reach_s]
        one.shown_s += [min(shown)] if shown else []
        mine = [e for e in kinds if abs(e.time_s - true.time_s) < reach_s]
        used |= {id(e) for e in mine}
        as_switch = [e for e in events if e.what == "kind" and abs(e.time_s - true.time_s) < reach_s]
        one.switch += bool(as_switch) and as_switch[0].at_s - true.time_s <= SOON_S
        taken = [e for e in events if e.what == "withdrawn" and abs(e.time_s - true.time_s) < reach_s]
        one.withdrawn += bool(mine) and any(e.at_s > mine[0].at_s for e in taken)
        if mine:
            late_s = mine[0].at_s - true.time_s
            one.kind_s.append(late_s)
            one.right += mine[-1].kind == true.kind
            one.soon += late_s <= SOON_S
            one.soon_right += late_s <= SOON_S and mine[0].kind == true.kind
    false = [e for e in kinds if id(e) not in used]
    if any(c.kind != "unknown" for c in measure_samples(recording.samples, recording.rate_hz).clicks):
        told["tellable"].add(told["later"])
    return told, len(false), sum(1 for e in false if e.at_s - e.time_s <= SOON_S)


def main() -> None:
    """Read the options, run, print."""
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("--setting", choices=list(CONDITIONS), default="near")
    p.add_argument("--split", choices=["develop", "report"], default="develop")
    p.add_argument("--sounds", help="folder with clicks/, noise/, impostors/ and pump/; without it synthetic sounds")
    p.add_argument("--count", type=int, default=20)
    p.add_argument("--first", type=int, default=0)
    p.add_argument("--cache")
    given = p.parse_args()
    told = {name: Told() for name in STANDINGS}
    false = false_soon = 0
    hours = 0.0
    for seed in range(given.first, given.first + given.count):
        shelf = Path(given.cache or usual_shelf())
        recording = fetch(shelf, given.setting, given.split, seed, given.sounds, 1.0, None)
        counted, some, soon = count(recording)
        for name, one in counted.items():
            told[name].add(one)
        print(
            seed,
            f"{sum(t.soon for t in counted.values()) - counted['tellable'].soon} of "
            f"{len(recording.truth.clicks)} soon, {some} false",
            flush=True,
        )
        false, false_soon = false + some, false_soon + soon
        hours += len(recording.samples) / recording.rate_hz / 3600.0
    print(f"commit {commit()}: {given.setting}, {given.split} half, {given.count} recordings, {hours:.1f} h")
    print(
        f"{'click':8s}{'clicks':>8s}{'shown':>8s}{'by 300 ms':>11s}{'kind told':>11s}{'right':>7s}"
        f"{'by 3 s':>8s}{'right':>7s}{'median s':>10s}{'95 % s':>8s}{'switch':>8s}{'taken back':>12s}"
    )
    for name, one in told.items():
        quick = sum(1 for s in one.shown_s if s <= 0.3)
        middle, most = np.quantile(one.kind_s, [0.5, 0.95]) if one.kind_s else (np.nan, np.nan)
        print(
            f"{name:8s}{one.clicks:8d}{len(one.shown_s):8d}{quick:11d}{len(one.kind_s):11d}{one.right:7d}"
            f"{one.soon:8d}{one.soon_right:7d}{middle:10.2f}{most:8.2f}"
            f"{one.switch:8d}{one.withdrawn:12d}"
        )
    print(f"sounds that are no click but were given a kind: {false}, {false_soon} of them within {SOON_S:g} s")


if __name__ == "__main__":
    main()
