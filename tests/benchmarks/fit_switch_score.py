"""Fit detection/switch_score.csv on the develop half: `python -m tests.benchmarks.fit_switch_score --sounds DIR`.

Positives are the true clicks of composed and simulated recordings, negatives all other candidates. Each recording
counts alike. The report half of the sounds and seeds is never touched here.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from clicktimer.detection import switch_score
from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.candidates import Candidates
from clicktimer.records import Block

Sample = tuple[np.ndarray, np.ndarray, np.ndarray]  # features, is a click, weight


def heard(samples: np.ndarray, rate_hz: int) -> Candidates:
    """All candidates of a recording."""
    finder = OnsetFinder()
    return Candidates.join([finder.feed(Block(samples, rate_hz, 0.0)), finder.flush()])


def label(candidates: Candidates, click_times_s: np.ndarray) -> Sample | None:
    """Features of candidates that are, or are well away from, true clicks."""
    if not len(candidates):
        return None
    x = switch_score.features(candidates)
    is_click = np.zeros(len(candidates), bool)
    near = np.zeros(len(candidates), bool)
    for t in click_times_s:
        apart = np.abs(candidates.time_s - t)
        if apart.min() < 0.02:
            is_click[np.argmin(apart)] = True
        near |= apart < 1.2
    keep = is_click | ~near
    weight = np.where(is_click, 1.0 / max(is_click.sum(), 3), 1.0 / max((~is_click).sum(), 1))
    return x[keep], is_click[keep], weight[keep]


def simulated(count: int) -> Iterator[Sample]:
    """Recordings that are synthetic throughout, of all kinds of rooms, pumps and rates."""
    from clicktimer.simulator import simulate, us_system
    from clicktimer.simulator.sounds import Noise, SoundSettings, render_all
    from clicktimer.simulator.uses import refill_test

    for seed in range(count):
        rng = np.random.default_rng([seed, 4711])
        system = us_system(float(rng.uniform(3, 40)), pump_gpm=float(rng.uniform(5, 12)))
        uses, start, duration_s = refill_test(system, runs=3, draw_l_per_min=20.0, seed=seed)
        timeline = simulate(system, uses, duration_s=min(duration_s, 240.0), seed=seed, start_kpag=start)
        kinds = ("rain", "crackle", "clock", "footsteps", "doors", "speech")
        noises = tuple(Noise(k) for k in rng.choice(kinds, size=int(rng.integers(0, 3)), replace=False))
        settings = SoundSettings(
            room_dbfs=float(rng.uniform(-80, -45)),
            click_over_room_db=float(rng.uniform(18, 50)),
            cut_out_less_db=float(rng.uniform(-3, 8)),
            variation=float(rng.uniform(0.3, 2)),
            pump=rng.choice(["jet", "flow", "none"]),
            reverb_s=float(rng.uniform(0.1, 0.6)),
            noises=noises,
        )
        rate = int(rng.choice([8000, 16000, 22050, 44100, 48000]))
        samples = render_all(timeline, settings, rate_hz=rate, seed=seed)
        sample = label(heard(samples, rate), np.array(sorted((*timeline.cut_ins_s, *timeline.cut_outs_s))))
        if sample is not None:
            yield sample


def composed(sounds: str, count: int) -> Iterator[Sample]:
    """Recordings composed from the develop half of the real sounds."""
    from tests.benchmarks.compose import compose

    for setting, share in (("near", 0.3), ("hard", 0.55), ("clean", 0.15)):
        for seed in range(round(count * share)):
            r = compose(setting, "develop", seed, sounds=sounds, amount=1.0, condition=None)
            sample = label(heard(r.samples, r.rate_hz), np.array([c.time_s for c in r.truth.clicks]))
            if sample is not None:
                yield sample


def mixtures(sounds: str, count: int) -> Iterator[Sample]:
    """Short recordings full of switches that were never recorded."""
    from tests.benchmarks.mixtures import mixture
    from tests.benchmarks.sounds import load_bank

    bank = load_bank(sounds, "develop")
    for seed in range(count):
        samples, rate_hz, times_s = mixture(bank, seed)
        sample = label(heard(samples, rate_hz), times_s.astype(np.float64))
        if sample is not None:
            yield sample


def fit(samples: list[Sample], ridge: float = 6.0) -> tuple[np.ndarray, np.ndarray]:
    """Weighted, regularised logistic regression: the table (features, 4) and the weights of the terms."""
    from scipy.optimize import minimize

    x, y, weight = (np.concatenate([s[k] for s in samples]) for k in range(3))
    weight = weight.copy()
    weight[y] *= y.sum() / weight[y].sum()
    weight[~y] *= 3 * y.sum() / weight[~y].sum()
    low, first, second, high = np.quantile(x[y | (np.arange(len(y)) % 20 == 0)], [0.005, 0.33, 0.67, 0.995], axis=0)
    table = np.column_stack([low, high, first, second])
    a = switch_score.terms(x, table)
    scale = np.abs(a).mean(axis=0) + 1e-6
    a /= scale
    target = y.astype(float)

    def loss(b: np.ndarray) -> tuple[float, np.ndarray]:
        z = a @ b
        p = 1.0 / (1.0 + np.exp(-z))
        value = float((weight * (np.logaddexp(0.0, z) - target * z)).sum() + 0.5 * ridge * (b[1:] ** 2).sum())
        return value, a.T @ (weight * (p - target)) + ridge * np.r_[0.0, b[1:]]

    b = minimize(loss, np.zeros(a.shape[1]), jac=True, method="L-BFGS-B", options={"maxiter": 200}).x / scale
    return table, b


def write(path: Path, table: np.ndarray, weights: np.ndarray) -> None:
    """The table as it is read by clicktimer.detection.switch_score."""
    lines = [
        "# How much a candidate resembles a switch: see switch_score.py. By tests/benchmarks/fit_switch_score.py.",
        "# feature,lowest,highest,first bend,second bend; then the weight of each term "
        "in the order of switch_score.terms()",
    ]
    for name, row in zip(switch_score.FEATURES, table, strict=True):
        lines.append(",".join([name, *(f"{v:.5g}" for v in row)]))
    lines += [f"weight,{w:.5g}" for w in weights]
    path.write_text("\n".join(lines) + "\n", encoding="ascii")


def main() -> None:
    """Fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sounds", required=True)
    parser.add_argument("--out", type=Path, default=Path(switch_score.__file__).with_name("switch_score.csv"))
    parser.add_argument("--composed", type=int, default=400)
    parser.add_argument("--mixtures", type=int, default=350)
    parser.add_argument("--simulated", type=int, default=80)
    args = parser.parse_args()
    samples = [
        *simulated(args.simulated),
        *mixtures(args.sounds, args.mixtures),
        *composed(args.sounds, args.composed),
    ]
    table, weights = fit(samples)
    write(args.out, table, weights)
    print(f"fitted on {len(samples)} recordings, {sum(int(s[1].sum()) for s in samples)} clicks")


if __name__ == "__main__":
    main()
