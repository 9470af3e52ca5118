"""Composes a recording whose truth is known. In: setting, split and seed; out: samples, and the true clicks and runs.

The same setting, split, seed, amount and sounds give the same samples.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from tests.benchmarks import backgrounds, phone
from tests.benchmarks.conditions import CONDITIONS, Plan, draw_plan
from tests.benchmarks.sounds import Array, Bank, Clip, Split, load_bank, resampled
from tests.benchmarks.timelines import Timeline, make_timeline
from tests.benchmarks.variation import Placed, add_at, in_room, room_response, tilted, varied

SETTINGS = ("near", "hard", "clean")


@dataclass(frozen=True)
class TrueClick:
    """One event of the switch. chatter: clicks in the burst (1: none).

    own_band_db: peak over the rms of the sound just before it, both in the click's own band.
    """

    time_s: float
    kind: str
    chatter: int
    own_band_db: float


@dataclass(frozen=True)
class Truth:
    """What happened. clicks: those that were put in; none where they cannot be heard, whatever the timeline says.

    pump_audible: its sound stands 1 dB or more over the room in some octave.

    sharp: both clicks have one clear onset (see Clip). sounds: the names of the cut-in's and the cut-out's clip.
    others: when passing sounds began, and what they were.
    """

    clicks: tuple[TrueClick, ...]
    timeline: Timeline
    pump: str
    pump_step_db: float
    pump_audible: bool
    sharp: bool = True
    sounds: tuple[str, str] = ("", "")
    others: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True)
class Recording:
    """Mono samples (full scale 1), what is true of them, and the plan they were made by."""

    samples: Array
    rate_hz: int
    truth: Truth
    plan: Plan
    name: str
    seed: int

    def about(self) -> dict[str, Any]:
        """The plan and the truth as plain values."""
        plan = {**asdict(self.plan), "special": sorted(self.plan.special)}
        return {"name": self.name, "plan": plan, "truth": asdict(self.truth)}


def _seeded(setting: str, split: str, seed: int, real: bool) -> np.random.Generator:
    return np.random.default_rng([SETTINGS.index(setting), 0 if split == "develop" else 1, seed, int(real)])


def octave_step_db(pump: Array, room: Array, rate_hz: int) -> float:
    """The largest step in an octave band from 45 Hz up when the pump's sound is added to the room's."""
    count = min(len(pump), len(room), 5 * rate_hz)
    if count < 1000:
        return 0.0
    f = np.fft.rfftfreq(count, 1 / rate_hz)
    spectra = [np.abs(np.fft.rfft(x[:count] * np.hanning(count))) ** 2 for x in (pump, room)]
    steps, low = [0.0], 45.0
    while low < rate_hz / 2:
        band = (f >= low) & (f < 2 * low)
        steps.append(10 * float(np.log10(1 + spectra[0][band].sum() / (spectra[1][band].sum() + 1e-12))))
        low *= 2
    return max(steps)


def own_band_db(click: Array, around: Array, rate_hz: int) -> float:
    """A click's 1 ms peak over the rms of the sound around it, both in the band that holds 90 % of its energy."""
    count = len(around)
    spectrum = np.fft.rfft(click, max(count, len(click)))[: count // 2 + 1] if len(click) <= count else None
    if spectrum is None:
        spectrum = np.fft.rfft(click[:count], count)
    f = np.fft.rfftfreq(count, 1 / rate_hz)
    share = np.cumsum(np.where(f > 150, np.abs(spectrum) ** 2, 0))
    low, high = f[np.searchsorted(share, 0.05 * share[-1])], f[np.searchsorted(share, 0.95 * share[-1])]
    if high < 2 * low:
        low, high = low / 1.5, high * 1.5
    band = (f >= low) & (f <= high)
    mine = np.fft.irfft(np.where(band, spectrum, 0), count) ** 2
    other = np.fft.irfft(np.where(band, np.fft.rfft(around), 0), count) ** 2
    width = max(1, round(0.001 * rate_hz))
    peak = float(np.convolve(mine, np.ones(width) / width, "same").max())
    return 10 * float(np.log10(peak / (other.mean() + 1e-20)))


def _switch_sounds(plan: Plan, bank: Bank, rng: np.random.Generator, rate_hz: int) -> tuple[list[Clip], list[Clip]]:
    """Cut-in and cut-out, then further clicks of other things, in random order."""
    clips = [bank.at(bank.clicks[int(i)], rate_hz) for i in rng.permutation(len(bank.clicks))]
    first, second = clips[0], clips[1]
    if plan.alike:
        bent = tilted(resampled(first.samples, 1.03), rate_hz, 2.0)
        second = Clip(first.name + "-alike", bent, rate_hz, first.onset_s * 1.03, first.sharp)
    return [first, second], clips[2:]


class _Mix:
    """The recording while it grows: the room first, then what is added to it at true times."""

    def __init__(self, plan: Plan, bank: Bank, rng: np.random.Generator, timeline: Timeline) -> None:
        self.plan, self.bank, self.rng, self.timeline = plan, bank, rng, timeline
        self.rate_hz, self.count = plan.rate_hz, round(plan.duration_s * plan.rate_hz)
        self.room = backgrounds.room_bed(rng, self.count, self.rate_hz, plan.hum_hz, plan.hum)
        for kind, level_db in plan.textures:
            self.room += 10 ** (level_db / 20) * backgrounds.texture(kind, bank, rng, self.count, self.rate_hz)
        self.room /= backgrounds.rms_above_1khz(self.room, self.rate_hz)
        self.sound = self.room.copy()
        self.step_db = 0.0
        self.others: list[tuple[float, str]] = []
        self.unit = 10 ** (plan.click_db / 20)

    def add_pump(self) -> None:
        """The pump's sound in every run."""
        if self.plan.pump == "none":
            return
        pump = backgrounds.Pump(self.plan.pump, self.bank, self.rng, self.rate_hz, self.plan.hum_hz)
        level, steps = 10 ** (self.plan.pump_db / 20), []
        for begin, end in self.timeline.runs():
            sound, delay = pump.run(end - begin, begin > 0, end < self.plan.duration_s)
            sound *= np.float32(level)
            first = round(begin * self.rate_hz) + delay
            last = min(self.count, first + len(sound))
            self.sound[first:last] += sound[: last - first]
            middle = len(sound) // 3
            steps.append(octave_step_db(sound[middle:], self.room[first + middle :], self.rate_hz))
        self.step_db = float(np.median(steps)) if steps else 0.0

    def add_events(self) -> None:
        """Passing sounds at random times; a clock at its pace; latches that open and shut in turn."""
        for kind, per_minute, level_db in self.plan.events:
            gain = self.unit * 10 ** (level_db / 20)
            if kind == "clock":
                self.sound += np.float32(gain) * backgrounds.ticking(self.bank, self.rng, self.count, self.rate_hz)
                continue
            response = room_response(self.rng, self.rate_hz, self.rng.uniform(0.2, 0.6), -4.0)
            latch = [backgrounds.event("door", self.bank, self.rng, self.rate_hz) for _ in range(2)]
            t, k = float(self.rng.exponential(60 / per_minute)), 0
            while t < self.plan.duration_s:
                if kind == "latch":
                    sound = varied(Clip("latch", latch[k % 2], self.rate_hz), self.rng, 0.7).samples
                else:
                    sound = backgrounds.event(kind, self.bank, self.rng, self.rate_hz)
                placed = in_room(Placed(sound, 0.0), response)
                self.others.append((t, kind))
                add_at(self.sound, placed, t * self.rate_hz, gain * 10 ** (self.rng.uniform(-8, 2) / 20))
                t, k = t + float(self.rng.exponential(60 / per_minute)), k + 1

    def add_clicks(
        self, timeline: Timeline, pair: list[Clip], levels_db: tuple[float, float], chatter: bool
    ) -> list[TrueClick]:
        """A switch's clicks along a timeline, each varied, at (cut-in, cut-out) levels over the room above 1 kHz."""
        rng, rate_hz = self.rng, self.rate_hz
        echo = "echo" in self.plan.special
        response = room_response(rng, rate_hz, rng.uniform(0.12, 0.5), rng.uniform(-12, -3), echo)
        peaks = [
            float(np.abs(backgrounds.above_1khz(in_room(Placed(c.samples, 0), response).samples, rate_hz)).max())
            for c in pair
        ]
        events = sorted([(t, 0) for t in timeline.cut_ins_s] + [(t, 1) for t in timeline.cut_outs_s])
        clean, told = self.sound.copy() if len(events) < 400 else self.sound, []
        for t, which in events:
            gain = 10 ** (levels_db[which] / 20) / peaks[which]
            extra = int(rng.integers(1, 5)) if chatter and rng.random() < 0.4 else 0
            placed = in_room(varied(pair[which], rng, self.plan.amount), response)
            around = clean[max(0, round((t - 0.7) * rate_hz)) : max(64, round((t - 0.02) * rate_hz))]
            level_db = own_band_db(placed.samples * np.float32(gain), around, rate_hz)
            add_at(self.sound, placed, t * rate_hz, gain)
            after = t
            for _ in range(extra):
                after += float(rng.uniform(0.05, 0.95 / extra))
                again = in_room(varied(pair[which], rng, self.plan.amount), response)
                add_at(self.sound, again, after * rate_hz, gain * 0.8)
            if not self.plan_owns(timeline):
                self.others.append((t, "another switch"))
            told.append(TrueClick(t, ("cut-in", "cut-out")[which], 1 + extra, level_db))
        return told

    def plan_owns(self, timeline: Timeline) -> bool:
        """True for the timeline of the pressure switch that is asked for."""
        return timeline is self.timeline

    def add_other_clicks(self, others: list[Clip]) -> None:
        """Clicks that are not this switch: a light switch, another pump's switch, a relay that follows the cut-in."""
        rng, special, db = self.rng, self.plan.special, self.plan.click_db
        nothing = (self.plan.duration_s, (), (), False, self.timeline.r0_s, "none")
        if "light switch" in special:
            times = np.sort(rng.uniform(1, self.plan.duration_s - 1, 2 * int(rng.integers(4, 10))))
            lamp = Timeline(nothing[0], tuple(times[0::2]), tuple(times[1::2]), False, 1.0, "none")
            self.add_clicks(lamp, others[:2], (db - 2, db - 2), False)
        if "second switch" in special:
            other = make_timeline("household", float(rng.uniform(15, 60)), self.plan.duration_s, rng)
            level = db - float(rng.uniform(3, 8))
            self.add_clicks(other, others[2:4], (level, level), False)
        if "relay" in special:
            after = float(rng.uniform(0.25, 0.9))
            times = np.array(self.timeline.cut_ins_s) + after + 0.02 * rng.standard_normal(len(self.timeline.cut_ins_s))
            times = times[times < self.plan.duration_s - 0.5]
            relay = Timeline(nothing[0], tuple(times), (), False, 1.0, "none")
            self.add_clicks(relay, [others[4], others[4]], (db - 3, db - 3), False)

    def add_plumbing(self) -> None:
        """Water hammer and a check valve after the cut-out; a relief valve's hiss."""
        rng, rate_hz = self.rng, self.rate_hz
        if "hammer" in self.plan.special:
            valve_s = float(rng.uniform(0.3, 1.5))
            for t in self.timeline.cut_outs_s:
                for delay, low, high in ((rng.uniform(0.03, 0.12), 60, 250), (valve_s + rng.normal(0, 0.02), 150, 600)):
                    knock = backgrounds.thump(rng, rate_hz, low, high)
                    add_at(self.sound, Placed(knock, 0.0), (t + delay) * rate_hz, self.unit * rng.uniform(0.4, 1.5))
        if "hiss" in self.plan.special:
            for _ in range(int(rng.integers(3, 8))):
                at, length = rng.uniform(0, self.plan.duration_s - 25), round(rng.uniform(4, 20) * rate_hz)
                hiss = backgrounds.above_1khz(rng.standard_normal(length, dtype=np.float32), rate_hz)
                hiss *= np.clip(np.arange(length) / (0.02 * rate_hz), 0, 1).astype(np.float32)
                add_at(self.sound, Placed(hiss, 0.0), at * rate_hz, 10 ** (rng.uniform(5, 15) / 20))


def _through_the_phone(plan: Plan, sound: Array, rng: np.random.Generator) -> tuple[Array, int]:
    """Full scale, the phone's own doings, 16 bits, the codec."""
    rate_hz, special = plan.rate_hz, plan.special
    sound *= np.float32(10 ** (plan.room_dbfs / 20))
    if "handled" in special:
        sound = phone.handled(sound, rate_hz, rng)
    if "suppression" in special:
        sound = phone.suppresses(sound, rate_hz)
    if "gain riding" in special:
        sound = phone.rides_gain(sound, rate_hz)
    peak = float(np.abs(sound).max())
    if "clipping" in special:
        click = 10 ** ((plan.room_dbfs + plan.click_db) / 20)
        sound = np.clip(sound * np.float32(10 ** (rng.uniform(4, 12) / 20) / click), -0.98, 0.98)
    elif peak > 0.9:
        sound *= np.float32(0.9 / peak)
    if "dead channel" in special:
        sound = sound * np.float32(0.5)
    sound = (np.rint(sound * 32767 + rng.uniform(-0.5, 0.5, len(sound)).astype(np.float32)) / 32768).astype(np.float32)
    if plan.codec is None:
        return sound, rate_hz
    out, rate_hz = phone.through_codec(sound, rate_hz, *plan.codec)
    return (np.clip(np.rint(out * 32768), -32768, 32767) / 32768).astype(np.float32), rate_hz


def compose(  # noqa: PLR0913
    setting: str,
    split: Split,
    seed: int,
    sounds: str | None = None,
    amount: float = 1.0,
    condition: str | None = None,
    duration_s: float | None = None,
    rate_hz: int | None = None,
) -> Recording:
    """One recording. sounds: the folder, or None for synthetic ones. condition: by the seed in turn when not given.

    duration_s, rate_hz: instead of the drawn ones.
    amount: how much each click differs from the last: 0 exact copies, 1 usual, 2 twice that.
    """
    bank = load_bank(sounds, split)
    names = list(CONDITIONS[setting])
    condition = condition or names[seed % len(names)]
    rng = _seeded(setting, split, seed, bank.real)
    plan = draw_plan(setting, condition, rng, amount)
    plan = replace(plan, duration_s=duration_s or plan.duration_s, rate_hz=rate_hz or plan.rate_hz)
    timeline = make_timeline(plan.pattern, plan.r0_s, plan.duration_s, rng, plan.begin_on)
    mix = _Mix(plan, bank, rng, timeline)
    pair, others = _switch_sounds(plan, bank, rng, plan.rate_hz)
    mix.add_pump()
    mix.add_events()
    mix.add_other_clicks(others)
    mix.add_plumbing()
    clicks: list[TrueClick] = []
    if "no clicks" not in plan.special:
        clicks = mix.add_clicks(timeline, pair, (plan.click_db, plan.cut_out_db), "chatter" in plan.special)
    samples, rate = _through_the_phone(plan, mix.sound, rng)
    truth = Truth(
        tuple(clicks),
        timeline,
        plan.pump,
        mix.step_db,
        mix.step_db >= 1.0,
        pair[0].sharp and pair[1].sharp,
        (pair[0].name, pair[1].name),
        tuple(sorted(mix.others)),
    )
    return Recording(samples, rate, truth, plan, f"{setting}-{split}-{seed:03d}-{condition}", seed)
