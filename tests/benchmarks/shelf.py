"""Composed recordings kept on disk: flac for the samples, pickle for the truth. What to compose in, Recording out.

The name of each file holds a hash of this folder's code and the simulator's physics, so that a change of the composer
never serves old sound (a change of the simulator's sounds does: then empty the shelf or use --no-cache).
The shelf is emptied of its oldest files above 3 GB.
"""

from __future__ import annotations

import hashlib
import pickle
import tempfile
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from tests.benchmarks import phone
from tests.benchmarks.compose import Recording, compose
from tests.benchmarks.sounds import Split

MOST_BYTES = 3_000_000_000
MAKERS = ("sounds", "synthetic", "variation", "timelines", "backgrounds", "phone", "conditions", "compose")
PHYSICS = ("household", "physics", "system", "uses")


@lru_cache(maxsize=1)
def code_hash() -> str:
    """Eight letters that change with the composer's code."""
    here = Path(__file__).parent
    physics = here.parents[1] / "clicktimer" / "simulator"
    files = [here / f"{m}.py" for m in MAKERS] + [physics / f"{m}.py" for m in PHYSICS]
    return hashlib.sha256(b"".join(p.read_bytes() for p in files)).hexdigest()[:8]


def usual_shelf() -> Path:
    """The folder used when none is named."""
    return Path(tempfile.gettempdir()) / "clicktimer-benchmark"


def fetch(
    shelf: Path | None, setting: str, split: Split, seed: int, sounds: str | None, amount: float, condition: str | None
) -> Recording:
    """The recording from the shelf, or composed and put there. shelf None: always composed."""
    if shelf is None:
        return compose(setting, split, seed, sounds, amount, condition)
    shelf.mkdir(parents=True, exist_ok=True)
    place = hashlib.sha256(repr((sounds, amount, condition)).encode()).hexdigest()[:8]
    stem = shelf / f"{code_hash()}-{place}-{setting}-{split}-{seed:04d}"
    facts, sound = stem.with_suffix(".pickle"), stem.with_suffix(".flac")
    if facts.exists() and sound.exists():
        empty: Recording = pickle.loads(facts.read_bytes())  # our own file
        samples, _ = phone.decoded(sound.read_bytes())
        return replace(empty, samples=samples)
    made = compose(setting, split, seed, sounds, amount, condition)
    sound.write_bytes(phone.encoded(made.samples, made.rate_hz, "flac", None))
    facts.write_bytes(pickle.dumps(replace(made, samples=np.zeros(0, np.float32))))
    _keep_small(shelf)
    return made


def _keep_small(shelf: Path) -> None:
    files = sorted(shelf.glob("*.flac"), key=lambda p: p.stat().st_mtime)
    total = sum(p.stat().st_size for p in files)
    for p in files:
        if total <= MOST_BYTES:
            return
        total -= p.stat().st_size
        p.unlink(missing_ok=True)
        p.with_suffix(".pickle").unlink(missing_ok=True)
