"""What the computer may do to an unattended listening: sleep, run out of battery. Asked and told."""

from __future__ import annotations

import contextlib
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

AWAKE = "This computer is kept awake while it listens; the lid must stay open."
MAY_SLEEP = (
    "This computer could not be kept awake ({why}): switch its sleep off in the settings; the lid must stay open."
)


@contextlib.contextmanager
def kept_awake() -> Iterator[str]:
    """Inside, the computer does not go to sleep by itself; yields the sentence that says whether that is so."""
    try:
        from wakepy import keep
    except ImportError:
        yield MAY_SLEEP.format(why="the package wakepy is not installed")
        return
    with keep.running(on_fail="pass") as kept:
        yield AWAKE if kept.active else MAY_SLEEP.format(why="the system offers no way")


def on_battery() -> bool | None:
    """Whether the computer runs on its battery; None where that cannot be told."""
    try:
        if sys.platform == "win32":
            return _windows()
        if sys.platform == "darwin":
            said = subprocess.run(
                ["pmset", "-g", "batt"], capture_output=True, text=True, timeout=5, check=False
            ).stdout
            return "Battery Power" in said if said else None
        return _linux(Path("/sys/class/power_supply"))
    except (OSError, subprocess.SubprocessError, ValueError):
        return None


def _linux(folder: Path) -> bool | None:
    kinds = {p: (p / "type").read_text().strip() for p in folder.iterdir() if (p / "type").exists()}
    mains = [p for p, kind in kinds.items() if kind in ("Mains", "USB") and (p / "online").exists()]
    if any((p / "online").read_text().strip() == "1" for p in mains):
        return False
    batteries = [p for p, kind in kinds.items() if kind == "Battery" and (p / "status").exists()]
    if not batteries:
        return None if not mains else False
    return any((p / "status").read_text().strip() == "Discharging" for p in batteries)


def _windows() -> bool | None:
    import ctypes

    class Status(ctypes.Structure):
        """SYSTEM_POWER_STATUS."""

        _fields_ = (
            ("ac", ctypes.c_ubyte),
            ("flag", ctypes.c_ubyte),
            ("percent", ctypes.c_ubyte),
            ("system", ctypes.c_ubyte),
            ("left_s", ctypes.c_ulong),
            ("full_s", ctypes.c_ulong),
        )

    status = Status()
    windll = getattr(ctypes, "windll", None)
    if windll is None or not windll.kernel32.GetSystemPowerStatus(ctypes.byref(status)):
        return None
    return {0: True, 1: False}.get(status.ac)


def power_text() -> str:
    """One sentence about power, for somebody who is about to go away."""
    battery = on_battery()
    if battery is None:
        return "Leave it on mains power, and put off system updates: they may restart it."
    if battery:
        return "It runs on its battery: plug it in before you go, and put off system updates: they may restart it."
    return "It is on mains power. Put off system updates: they may restart it."
