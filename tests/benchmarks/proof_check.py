"""The command: is the catch rate that ``--prove`` promises the one that the true clicks of the same recording have?

    python -m tests.benchmarks.proof_check --setting near --split develop --sounds DIR --count 20

Counted are recordings in which clicks were told (elsewhere nothing is promised). Promised and real are means over the
same true clicks. Rates in per cent.
"""

from __future__ import annotations

import argparse
import datetime
import hashlib
import time
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.benchmarks.conditions import CONDITIONS
from tests.benchmarks.run import commit
from tests.benchmarks.score import match
from tests.benchmarks.shelf import fetch, usual_shelf

BLOCK_S = 5.0


def main() -> None:
    """Read the options, run, print."""
    from clicktimer.pipeline import measure_samples
    from clicktimer.quality.proof import prove_clicks
    from clicktimer.records import Block

    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("--setting", choices=list(CONDITIONS), default="near")
    p.add_argument("--split", choices=["develop", "report"], default="develop")
    p.add_argument("--sounds", help="folder with clicks/, noise/, impostors/ and pump/; without it synthetic sounds")
    p.add_argument("--count", type=int, default=20)
    p.add_argument("--first", type=int, default=0)
    p.add_argument("--cache", help="folder for composed recordings")
    args = p.parse_args()
    rows: list[tuple[int, int, float, float]] = []  # told rightly, true, promised, of all
    print(
        f"{datetime.date.today()}, commit {commit()}: {args.setting}, {args.split}, seeds {args.first} to "
        f"{args.first + args.count - 1}, sounds {'real' if args.sounds else 'SYNTHETIC'}"
    )
    for seed in range(args.first, args.first + args.count):
        r = fetch(Path(args.cache or usual_shelf()), args.setting, args.split, seed, args.sounds, 1.0, None)
        m = measure_samples(r.samples, r.rate_hz)
        true_s = [c.time_s for c in r.truth.clicks]
        found = len(match(true_s, [c.time_s for c in m.clicks]))
        if not m.clicks or not true_s:
            print(f"{r.name:40s} {len(true_s):3d} true, {len(m.clicks):3d} told: nothing promised")
            continue
        m = replace(m, source=replace(m.source, sha256=hashlib.sha256(r.samples.tobytes()).hexdigest()))

        def again(r: object = r) -> Iterable[Block]:
            size = round(BLOCK_S * r.rate_hz)  # type: ignore[attr-defined]
            for at in range(0, len(r.samples), size):  # type: ignore[attr-defined]
                yield Block(r.samples[at : at + size], r.rate_hz, at / r.rate_hz)  # type: ignore[attr-defined]

        began = time.process_time()
        proof = prove_clicks(again, m)
        spent = time.process_time() - began
        edges = sum(e.kind != "unknown" for e in m.edges)
        u, f = proof.usual, proof.fainter
        line = f"{r.name:40s} {found:3d}/{len(true_s):3d} = {100 * found / len(true_s):5.1f}"
        if u.rate is None:
            print(f"{line}, {proof.why}", flush=True)
            continue
        rows.append((found, len(true_s), u.rate, proof.of_all or 0.0))
        print(
            f"{line}, edges {edges}; promised {u.caught:3d}/{u.put:3d} = {100 * u.rate:5.1f} "
            f"({100 * (u.low or 0):.0f} to {100 * (u.high or 0):.0f}), fainter {100 * (f.rate or 0):.0f}; told again "
            f"{100 * (proof.told_again or 0):.0f}, silent {proof.silent}/{proof.passes}, others {proof.others};"
            f" {spent:.0f} s",
            flush=True,
        )
    if rows:
        caught, true, rate, of_all = (np.array([row[i] for row in rows], float) for i in range(4))
        real, said, of_all = (100 * float(x @ true) / true.sum() for x in (caught / true, rate, of_all))
        print(
            f"{len(rows)} recordings, {int(true.sum())} true clicks: real {real:.1f}, promised {said:.1f}, of all "
            f"{of_all:.1f}; mean over recordings: real {100 * float(np.mean(caught / true)):.1f}, promised "
            f"{100 * float(rate.mean()):.1f}"
        )


if __name__ == "__main__":
    main()
