"""The command: composes, measures, scores, prints tables by condition, by pump and in all.

    python -m tests.benchmarks.run --setting near --split develop --sounds DIR --count 20

The report half is for reporting only: never tune on it.
"""

from __future__ import annotations

import argparse
import datetime
import json
import subprocess
import time
import traceback
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from functools import reduce
from operator import add
from pathlib import Path
from typing import Any

from tests.benchmarks import tables
from tests.benchmarks.conditions import CONDITIONS
from tests.benchmarks.peers import PEERS
from tests.benchmarks.score import Score, match, score_one
from tests.benchmarks.shelf import fetch, usual_shelf


def one(job: dict[str, Any]) -> dict[str, Any]:
    """Compose, measure and score one recording; in a worker process."""
    from clicktimer.pipeline import measure_samples

    r = fetch(job["shelf"], job["setting"], job["split"], job["seed"], job["sounds"], job["amount"], job["condition"])
    line = r.truth.timeline
    at_start: Any = ("on" if line.pump_on_at_start else "off") if job["hint"] else None
    taps = None if line.taps == "none" or not job["taps"] else line.taps
    row: dict[str, Any] = {
        "name": r.name,
        "seed": r.seed,
        "condition": r.plan.condition,
        "pump": r.truth.pump,
        "codec": bool(r.plan.codec),
        "sharp": r.truth.sharp,
        "sounds": r.truth.sounds,
        "audible": r.truth.pump_audible,
        "counts": r.truth.pump_audible or job["hint"] or not r.truth.clicks,
        "taps": line.taps,
        "step_db": r.truth.pump_step_db,
        "error": None,
        "peers": {},
        "rate_hz": r.rate_hz,
        "r0_s": line.r0_s,
    }
    began, worked = time.perf_counter(), time.process_time()
    try:
        told = measure_samples(r.samples, r.rate_hz, pump_at_start=at_start, taps=taps)
        row["score"] = score_one(r.truth, told, job["hint"])
        row["told"] = {
            "clicks": [(round(c.time_s, 4), c.kind, round(c.confidence, 3)) for c in told.clicks],
            "cycles": [(c.cut_in_s, c.cut_out_s, c.complete, c.how) for c in told.cycles],
            "run": told.run and (told.run.seconds, told.run.low_s, told.run.high_s, told.run.how, told.run.one_sided),
            "verdict": (told.verdict.band, told.verdict.sure),
            "ambiguous": told.ambiguous is not None,
            "warnings": [w.code for w in told.warnings],
        }
    except Exception:
        if job["stop"]:
            raise
        row["error"] = traceback.format_exc()
        row["score"] = Score(
            recordings=1,
            hours=line.duration_s / 3600,
            true_clicks=len(r.truth.clicks),
            true_cycles=len(line.cycles()),
            missed_cycles=len(line.cycles()),
        )
    row["score"].seconds = time.process_time() - worked
    row["wall_s"] = time.perf_counter() - began
    row["others"] = [(round(t, 2), kind) for t, kind in r.truth.others]
    row["truth"] = [(round(c.time_s, 4), c.kind, c.chatter, round(c.own_band_db, 1)) for c in r.truth.clicks]
    if job["peers"]:
        true_s = [c.time_s for c in r.truth.clicks]
        for name, find in PEERS.items():
            began = time.perf_counter()
            times = find(r.samples, r.rate_hz)
            took = time.perf_counter() - began
            pairs = match(true_s, times)
            row["peers"][name] = (len(pairs), len(true_s), len(times), took, [times[j] - true_s[i] for i, j in pairs])
    return row


def run(args: argparse.Namespace) -> list[dict[str, Any]]:
    """All rows, in order of seed."""
    only = args.only.split(",") if args.only else None
    names = list(CONDITIONS[args.setting])
    unknown = [c for c in only or [] if c not in names]
    if unknown:
        raise SystemExit(f"no such condition: {', '.join(unknown)}; there are: {', '.join(names)}")
    jobs = []
    for seed in range(args.first, args.first + args.count):
        condition = only[seed % len(only)] if only else None
        jobs.append(
            {
                "setting": args.setting,
                "split": args.split,
                "seed": seed,
                "sounds": args.sounds,
                "amount": args.amount,
                "condition": condition,
                "hint": args.hint,
                "taps": args.taps,
                "peers": args.peers,
                "shelf": None if args.no_cache else Path(args.cache or usual_shelf()),
                "stop": args.stop,
            }
        )
    if args.jobs <= 1:
        return [_seen(one(job), args) for job in jobs]
    with ProcessPoolExecutor(args.jobs) as pool:
        return [_seen(row, args) for row in pool.map(one, jobs)]


def _seen(row: dict[str, Any], args: argparse.Namespace) -> dict[str, Any]:
    if args.each:
        print(tables.row_line(row), flush=True)
    return row


def sweep(args: argparse.Namespace) -> str:
    """The counted recordings of the same seeds with clicks that differ more and more."""
    lines: list[tuple[str, ...]] = [tables.HEAD]
    for amount in (0.0, 0.5, 1.0, 2.0):
        args.amount = amount
        counted = [row for row in run(args) if row["counts"]]
        lines.append(tables.score_cells(f"variation {amount:g}", tables.total(counted)))
    return f"{datetime.date.today()}, commit {commit()}: {args.setting}, {args.split} half\n" + tables.grid(lines)


def commit() -> str:
    """The commit the tables were made from, with a plus when the tree had changes."""

    def git(*words: str) -> str:
        return subprocess.run(["git", *words], capture_output=True, text=True, check=False).stdout.strip()

    return git("rev-parse", "--short", "HEAD") + ("+" if git("status", "--porcelain", "-uno") else "")


def main() -> None:
    """Read the options, run, print."""
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("--setting", choices=list(CONDITIONS), default="near")
    p.add_argument("--split", choices=["develop", "report"], default="develop")
    p.add_argument("--sounds", help="folder with clicks/, noise/, impostors/ and pump/; without it synthetic sounds")
    p.add_argument("--count", type=int, default=20, help="recordings; the conditions come in turn")
    p.add_argument("--first", type=int, default=0, help="first seed")
    p.add_argument("--jobs", type=int, default=1)
    p.add_argument(
        "--hint", action=argparse.BooleanOptionalAction, default=False, help="tell if the pump ran at the start"
    )
    p.add_argument("--taps", action=argparse.BooleanOptionalAction, default=True, help="tell whether a tap ran or none")
    p.add_argument("--amount", type=float, default=1.0, help="how much each click differs from the last: 0, 0.5, 1, 2")
    p.add_argument("--sweep", action="store_true", help="one line for each amount of click variation: 0, 0.5, 1, 2")
    p.add_argument("--only", help="conditions to run, with commas")
    p.add_argument("--json", help="write every row to this file")
    p.add_argument("--peers", action="store_true", help="run librosa and a plain gate beside")
    p.add_argument("--each", action="store_true", help="print a line for every recording")
    p.add_argument("--stop", action="store_true", help="stop at the first error of the detector")
    p.add_argument("--cache", help="folder for composed recordings (3 GB at most)")
    p.add_argument("--no-cache", action="store_true")
    args = p.parse_args()
    began = time.perf_counter()
    if args.sweep:
        print(sweep(args))
        return
    rows = run(args)
    sounds = "real sounds of a folder" if args.sounds else "SYNTHETIC sounds only (no --sounds folder given)"
    print(
        f"{datetime.date.today()}, commit {commit()}: {args.setting}, {args.split} half, seeds {args.first} to "
        f"{args.first + args.count - 1}, {sounds}, click variation {args.amount:g}, "
        f"pump at start {'given' if args.hint else 'not given'}, {time.perf_counter() - began:.0f} s"
    )
    print(tables.all_tables(rows))
    if args.json:
        keep = [{**row, "score": asdict(row["score"])} for row in rows]
        Path(args.json).write_text(json.dumps(keep, indent=1, default=float))
    total = reduce(add, (row["score"] for row in rows), Score())
    failed = [row for row in rows if row["error"]]
    if failed:
        print(f"\n{len(failed)} of {total.recordings} recordings ended in an error; the first:\n{failed[0]['error']}")


if __name__ == "__main__":
    main()
