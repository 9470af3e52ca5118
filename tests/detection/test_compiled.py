"""Compiled loops work also where compiled code cannot be kept."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

CODE = """
import numba
from clicktimer.detection.compiled import compiled
try:
    numba.njit(cache=True)(compiled)
    print("it can be kept")
except RuntimeError:
    print("it cannot be kept")
@compiled
def doubled(x):
    return 2 * x
print(doubled(21), doubled.stats.cache_hits == {})
"""


@pytest.mark.slow
def test_code_that_cannot_be_kept_is_compiled_all_the_same(tmp_path: Path):
    (tmp_path / "file").touch()  # no folder can be made below a file, not even by root
    (tmp_path / "try_it.py").write_text(CODE, "utf-8")
    nowhere = {
        "NUMBA_CACHE_DIR": str(tmp_path / "file/below"),
        "NUMBA_CACHE_LOCATOR_CLASSES": "UserProvidedCacheLocator",
    }
    told = subprocess.run(
        [sys.executable, "try_it.py"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        env={**os.environ, **nowhere, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    assert told.stdout.split("\n")[:2] == ["it cannot be kept", "42 True"]
