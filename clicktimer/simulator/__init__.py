"""The simulator: an invented household, the true times of its pressure switch, and the sound of it.

``household`` gives the truth by physics, ``uses`` the water that people draw, ``sounds`` a recording of it.
"""

from clicktimer.simulator.household import Account, System, Timeline, Use, run_household, simulate, us_system

__all__ = ["Account", "System", "Timeline", "Use", "run_household", "simulate", "us_system"]
