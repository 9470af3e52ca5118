"""What can go wrong that the user can do something about.

Every message is one line: what was given, what is allowed, what to try. The command line
prints it as it stands and never shows a traceback for one of these.
"""

from __future__ import annotations


class ClicktimerError(Exception):
    """Base of every error that clicktimer raises on purpose."""


class InputError(ClicktimerError):
    """A recording cannot be read: missing, empty, damaged from the start, or no sound in it."""


class QuantityError(ClicktimerError, ValueError):
    """A quantity cannot be understood or has an impossible value ("33 gallos", "-5 psi")."""


class SettingsError(ClicktimerError, ValueError):
    """Options contradict each other or describe a system that cannot work (cut-out below cut-in)."""


class DeviceError(ClicktimerError):
    """A microphone cannot be used: none there, not allowed, busy, or PortAudio is missing."""


class StoreError(ClicktimerError):
    """A listening folder cannot be used: not one of ours, newer than this program, in use, or the disk is full."""


class PlaceTakenError(StoreError):
    """Something is there already where a new listening folder was to be made; nothing is ever overwritten."""


class StopHearingError(Exception):
    """Raised by a Progress to end the hearing: what was heard so far is measured, and that is told. No error of ours:
    it never reaches the user.
    """
