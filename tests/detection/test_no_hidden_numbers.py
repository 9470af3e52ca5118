"""No number that tunes the detector stands outside params.toml."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "clicktimer"
MODULES = (
    sorted((PACKAGE / "detection").glob("*.py"))
    + sorted((PACKAGE / "quality" / "placement").glob("*.py"))
    + [PACKAGE / "streaming" / f"{name}.py" for name in ("engine", "finder", "level_step", "template_match")]
)

FREE = {
    "what a stored candidate, level or tone looks like": "N_BANDS N_SLICES N_HUM_BANDS N_WAVE CODE_DB CHANGE_DB "
    "_LOWEST_DB LINES STEP_S _CODE_HZ _CODES _ENERGY _ENERGY_LN _LESS_ROOM_LN",
    "bins of histograms": "WAVE_STEP WAVE_STEPS LEVEL_LOWEST_DB LEVEL_STEP_DB LEVEL_STEPS DISTANCE_STEP_DB "
    "DISTANCE_MOST_DB RISE_STEP_DB RISE_MOST_DB SCORE_LOWEST SCORE_STEP SCORE_STEPS",
    "physics and mathematics": "SQRT_TWO_PI MAD_TO_SD MAINS_HZ NEVER UNKNOWN_START _TINY _TINY_ENERGY _NONE",
    "how much is worked on at once; results do not depend on it": "AT_ONCE PIECE_STEPS OVERLAP_STEPS MOST_HEARD_PARTS "
    "_WIDTH _CHUNK _STRIDE _LONGEST_FEED_S _RAW_TAIL_S _GATHER_S",
    "how many times of day a sentence names": "MOST_TIMES",
}
"""Module-level numbers that tune nothing, by what they are."""


def numbers(path: Path) -> Iterator[tuple[int, str]]:
    """Yield (line, name) of each module-level name whose value holds a number."""
    for node in ast.parse(path.read_text("utf-8")).body:
        if isinstance(node, ast.Assign):
            targets: list[ast.expr] = list(node.targets)
        elif isinstance(node, ast.AnnAssign) and node.value is not None:
            targets = [node.target]
        else:
            continue
        values = (n.value for n in ast.walk(node.value) if isinstance(n, ast.Constant))  # type: ignore[arg-type]
        if any(isinstance(v, int | float) and not isinstance(v, bool) for v in values):
            names = [n.id for target in targets for n in ast.walk(target) if isinstance(n, ast.Name)]
            yield from ((node.lineno, name) for name in names)


def test_no_module_holds_a_tuning_constant():
    found = [(path, line, name) for path in MODULES for line, name in numbers(path)]
    assert len(found) > 20, "the numbers were found"
    free = {name for names in FREE.values() for name in names.split()}
    offenders = [f"{path.name}:{line}: {name}" for path, line, name in found if name not in free]
    assert not offenders, "move these to params.toml:\n" + "\n".join(offenders)


def test_every_free_number_is_there():
    free = {name for names in FREE.values() for name in names.split()}
    assert free <= {name for path in MODULES for _, name in numbers(path)}, "take what is gone out of FREE"


def test_no_function_of_the_detector_has_a_number_as_default():
    """A default would be a second home of a parameter. 0 and 1 may stand for "none" and "one"."""
    offenders = []
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.FunctionDef):
                for default in (*node.args.defaults, *(d for d in node.args.kw_defaults if d is not None)):
                    value = default.value if isinstance(default, ast.Constant) else 0
                    if isinstance(value, int | float) and not isinstance(value, bool) and value not in (0, 1):
                        offenders.append(f"{path.name}:{node.lineno}: {node.name}")
    assert not offenders, "\n".join(offenders)
