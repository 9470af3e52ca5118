"""The command lines of the regression lock, by corpus. Each corpus runs in a folder of its own, prepared here."""

from __future__ import annotations

import shutil
import wave
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from tests.benchmarks.compose import compose
from tests.benchmarks.conditions import CONDITIONS
from tests.benchmarks.days_worlds import make_day
from tests.benchmarks.lock_figures import Case
from tests.benchmarks.lock_tank import PRICES, SITE, YIELD_TEST, tank_and_well

ROOT = Path(__file__).parents[2]
SHORT = ("very-short-3s", "telephone-8khz")
FIXTURES = (
    "begins-inside-a-run", "chatter", "moderate-rain", "no-click", "no-pump-heard", "ordinary-use",
    "short-cycling-12s", "steady-tap", "taps-shut-75s", "telephone-8khz", "very-short-3s",
)  # fmt: skip
SYSTEM = ("--tank", "20 gal", "--pump-rate", "8 gpm", "--switch", "40/60", "--precharge", "30 psi", "--motor", "3/4 hp")
METRIC = ("--tank", "125 L", "--pump-rate", "30 L/min", "--switch", "2.8/4.1 bar", "--units", "metric",
          "--height", "365 m", "--marks", "25/50", "--phase", "three", "--motor", "1.1 kW")  # fmt: skip
FOUND = ("--gauge-at-clicks", "41/59", "--gauge-settled", "40/57", "--gauge-error", "0.5 psi", "--air-valve", "water",
         "--relief-valve", "tested", "--seen", "tap-goes-dead", "--not-seen", "needle-swings",
         "--least-run", "1 min", "--caught", "4 gal in 38 s", "--precharge", "38 psi", "--tank", "33 gal")  # fmt: skip
DAY_HOURS = 6
DAYS = (
    ("isothermal", "ordinary"), ("field", "lean"), ("isothermal", "waterlogged"), ("field", "small"),
    ("isothermal", "seeping 0.2"), ("field", "seeping 0.8"), ("isothermal", "failing air"), ("field", "softener"),
    ("isothermal", "weak well"), ("field", "irrigation"),
)  # fmt: skip
IN_NEAR_TOO = ("plain", "rain", "clock", "speech", "doors", "low rate", "codec", "chatter", "begins inside", "quiet",
               "runs of seconds", "silent pump")  # fmt: skip
COMPOSED_S = 600.0


def prepare(corpus: str, folder: Path) -> None:
    """Put the inputs of a corpus into its folder, so that every name on a command line is relative."""
    if corpus == "composed":
        return
    for name in FIXTURES if corpus == "repository" else SHORT:
        shutil.copy(ROOT / f"fixtures_audio/{name}.flac", folder)
    for name, text in (("house.toml", SITE), ("prices.csv", PRICES), ("yield.csv", YIELD_TEST)):
        (folder / name).write_text(text, "utf-8")
    shutil.copytree(ROOT / "tests/data/listening-v1", folder / "listening")


def case(name: str, *arguments: str, keep: str = "json") -> Case:
    """One case. keep: outputs to ask for, of "json csv labels html"; their options are put behind the arguments."""
    stem = "".join(c if c.isalnum() else "-" for c in name)
    html = "-o" if arguments[0] == "report" else "--report"
    options = {"json": ("--json", "json"), "csv": ("--csv", "csv"), "labels": ("--labels", "txt"),
               "html": (html, "html")}  # fmt: skip
    more, files = [], []
    for what in keep.split():
        option, suffix = options[what]
        files.append(f"{stem}.{suffix}")
        more += [option, files[-1]]
    return Case(name, (*arguments, *more), tuple(files))


def small(folder: Path, sounds: str | None) -> Iterator[Case]:
    """Two short fixtures, a listening folder, and the arithmetic of tank, well and causes."""
    short, telephone = (f"{name}.flac" for name in SHORT)
    yield case("short plain", "measure", short, keep="json csv labels")
    yield case("short with system", "measure", short, "--taps-shut", *SYSTEM, keep="json csv")
    yield case("short with findings", "measure", short, "--taps-shut", "--pump-at-start", "off", *FOUND)
    yield case("telephone plain", "measure", telephone)
    yield case("telephone metric", "measure", telephone, "--steady-tap", "--tap-flow", "8 L/min", *METRIC)
    yield case("short as a day", "day", short, "--started", "2031-05-04 06:30", "--zone", "America/Halifax", *SYSTEM)
    yield case("folder measured", "measure", "listening", "--taps-shut", keep="json csv")
    yield case("two compared", "compare", "short-plain.json", "short-with-system.json")
    yield case("short corrected", "measure", short, "--corrected", corrected(folder, "short-plain.txt"), *SYSTEM)
    yield case("no such recording", "measure", "absent.wav", keep="json")
    yield case("taps said twice", "measure", short, "--taps-shut", "--steady-tap", keep="json")
    yield from tank_and_well(case)


def corrected(folder: Path, labels: str) -> str:
    """Change a label file as a person would: one click moved by 50 ms, one struck out, one renamed. Return its name."""
    lines = (folder / labels).read_text("utf-8").splitlines()
    rows = [line.split("\t") for line in lines]
    if len(rows) > 3:
        moved = f"{float(rows[1][0]) + 0.05:.6f}"
        rows[1][0] = rows[1][1] = moved
        rows[2][2] = "click"
        del rows[-1]
    name = f"changed-{labels}"
    (folder / name).write_text("".join("\t".join(row) + "\n" for row in rows), "utf-8")
    return name


def repository(folder: Path, sounds: str | None) -> Iterator[Case]:
    """All fixtures with several settings, `hear`, reports, days, comparisons and a listening folder."""
    for name in FIXTURES:
        sound = f"{name}.flac"
        yield case(f"{name} plain", "measure", sound, keep="json csv labels")
        yield case(f"{name} taps shut", "measure", sound, "--taps-shut", *SYSTEM, keep="json csv")
        yield case(f"{name} steady tap", "measure", sound, "--steady-tap", "--tap-flow", "2 gpm", *METRIC)
        for state in ("on", "off"):
            yield case(f"{name} pump {state}", "measure", sound, "--pump-at-start", state, *FOUND)
        labels = corrected(folder, f"{name}-plain.txt")
        yield case(f"{name} corrected", "measure", sound, "--corrected", labels, *SYSTEM)
        yield case(f"{name} heard", "hear", sound)
        yield case(f"{name} as a day", "day", sound, "--started", "2031-05-04 06:30", *SYSTEM, keep="json csv")
    for name in ("short-cycling-12s", "moderate-rain"):
        yield case(f"{name} proved", "measure", f"{name}.flac", "--prove", "--taps-shut")
    yield case("place proved", "hear", "telephone-8khz.flac", "--prove")
    yield case("snaps", "hear", "chatter.flac", "--snaps")
    parts = ("short-cycling-12s.flac", "ordinary-use.flac")
    yield case("two at once", "measure", *parts, "--taps-shut")
    yield case("two joined", "measure", *parts, "--joined", "--started", "2031-05-04 06:30", keep="json csv labels")
    yield case("by a site file", "measure", "short-cycling-12s.flac", "--site", "house.toml", "--taps-shut")
    report = ("report", "short-cycling-12s.flac")
    yield case("report", *report, "--taps-shut", *SYSTEM, "--prices", "prices.csv", "--no-prove", keep="html json")
    yield case("report proved", *report, "--site", "house.toml", "--decimal", "comma", keep="html")
    yield case("report of a day", *report, "--day", "--started", "2031-05-04 06:30", *SYSTEM, "--no-prove",
               keep="html json")  # fmt: skip
    yield case("report of silence", "report", "no-click.flac", "--no-prove", keep="html")
    yield Case("report checked", ("report", "--check", "report.html", "short-cycling-12s.flac"))
    yield from folders()
    yield from days(folder)


def folders() -> Iterator[Case]:
    """A listening folder of the first format, read by each command that takes one, and a folder made now."""
    yield case("folder measured", "measure", "listening", keep="json csv labels")
    yield case("folder as a day", "day", "listening", "--started", "2031-05-04 06:30", *SYSTEM)
    yield case("folder reported", "report", "listening", *SYSTEM, "--no-prove", keep="html")
    yield case("folder compared", "compare", "listening", "short-cycling-12s-plain.json", *SYSTEM)
    yield case("valve test", "compare", "ordinary-use-as-a-day.json", "steady-tap-as-a-day.json", "--valve-test")
    yield case("measurements compared", "compare", "moderate-rain-taps-shut.json", "short-cycling-12s-taps-shut.json")
    yield case("taken into a folder", "measure", "chatter.flac", "--into", "taken")
    yield case("taken folder measured", "measure", "taken", "--taps-shut", *SYSTEM)
    yield Case("clicks given", ("give", "given", "chatter.flac", "--yes"), ("given/about-1.json",))


def days(folder: Path) -> Iterator[Case]:
    """Hours of silence, taken into a listening folder once, and read as days by the true clicks of households."""
    write_wav(folder / "hours.wav", np.zeros(DAY_HOURS * 3600 * 8000, np.int16), 8000)
    yield case("hours of silence", "measure", "hours.wav", "--into", "hours")
    for seed, (world, kind) in enumerate(DAYS):
        day = make_day(world, kind, 9100 + seed)  # type: ignore[arg-type]
        clicks = [(t, "cut-in") for t in day.cut_ins_s] + [(t, "cut-out") for t in day.cut_outs_s]
        squeezed = seed not in (1, 3, 5)  # 24 h of clicks in 6 h: no true day, but more to lock than a few runs
        shifted = sorted((t / 4 if squeezed else t - 6 * 3600, text) for t, text in clicks)
        rows = [f"{t:.6f}\t{t:.6f}\t{text}\n" for t, text in shifted if 0 <= t < DAY_HOURS * 3600]
        labels = f"day-{seed}.txt"
        (folder / labels).write_text("".join(rows), "utf-8")
        read = ("day", "hours", "--corrected", labels, "--started", "2031-05-04 06:00", "--zone", "America/Halifax")
        yield case(f"day {kind}", *read, *SYSTEM, "--other-tank", "62 gal", "--other-charge", "28 psi",
                   "--other-switch", "30/50", keep="json csv")  # fmt: skip
        if seed % 3 == 0:
            yield case(f"day {kind} plain", *read)
            yield case(f"day {kind} at night", *read, "--nobody", "09:00-10:00", *METRIC)
    yield case("days compared", "compare", "day-ordinary.json", "day-waterlogged.json")
    yield case("leaks compared", "compare", "day-seeping-0-8.json", "day-lean.json", "--valve-test")


def composed(folder: Path, sounds: str | None) -> Iterator[Case]:
    """59 composed recordings: each condition of near and clean, and those of hard that near has not."""
    number = 0
    for setting in ("near", "clean", "hard"):
        for seed, condition in enumerate(CONDITIONS[setting]):
            if setting == "hard" and condition in IN_NEAR_TOO:
                continue
            made = compose(setting, "develop", 7000 + seed, sounds, condition=condition, duration_s=COMPOSED_S)
            name = f"{setting} {condition}"
            whole = np.rint(made.samples * 32768.0).clip(-32768, 32767).astype("<i2")
            write_wav(folder / "composed.wav", whole, made.rate_hz)
            line, said = made.truth.timeline, []
            if number % 2 and line.taps != "none":
                said.append({"shut": "--taps-shut", "steady": "--steady-tap"}[line.taps])
            if number % 3 == 2:
                said += ["--pump-at-start", "on" if line.pump_on_at_start else "off"]
            number += 1
            yield case(name, "measure", "composed.wav", *said)


def write_wav(path: Path, samples: np.ndarray, rate_hz: int) -> None:
    """Write 16-bit mono samples with the standard library: the same bytes everywhere."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes(samples.tobytes())


CORPORA: dict[str, Callable[[Path, str | None], Iterator[Case]]] = {
    "small": small, "repository": repository, "composed": composed,
}  # fmt: skip
