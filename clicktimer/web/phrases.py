"""10 page: the sentences that only the page has; those of the verdict are the document's."""

from __future__ import annotations

from typing import Final

STATUS: Final = {
    "waiting": "Nobody has listened into this folder yet. It will be shown here once somebody does.",
    "listening": "Listening, since {began}.",
    "silent": "Listening, but no sound has come for {seconds}: {why}",
    "deciding": "The listening has ended; the whole is being decided.",
    "ended": "Ended at {ended} ({why}), after {length}.",
    "recording": "A recording of {length}, taken in whole.",
    "cut-off": "Cut off at {ended}: power, or the program was ended by force. At most a second before it is lost.",
}
WHY_SILENT: Final = "the program that listens may hang, or the computer slept."
WHY_ENDED: Final = {
    "asked": "by hand",
    "time": "the time was up",
    "signal": "the program was told to end",
    "verdict": "the test was complete",
    "end of the recording": "the recording's end",
    "disk full": "the disk was full",
}

PROVISIONAL: Final = "provisional"
SETTLED: Final = "settled"
STANDING: Final = {
    "live": "Provisional: what follows may still change it. It is settled as a whole when the listening ends.",
    "ended": "Settled: decided as a whole at the end, as from a recording of the same sound.",
    "cut-off": "Provisional: the whole was not decided, because the listening was cut off. To settle it, type: "
    'clicktimer measure "{folder}"',
    "older": 'Told while it was listened. For the settled result type: clicktimer measure "{folder}"',
}

PUMP: Final = {
    "on": "The pump is running",
    "off": "The pump is at rest",
    "unknown": "Whether the pump runs is not known",
}
PUMP_ENDED: Final = {
    "on": "The pump was running when it ended",
    "off": "The pump was at rest when it ended",
    "unknown": "Whether the pump was running when it ended is not known",
}
PUMP_SILENT: Final = {
    "on": "The pump was running when the sound stopped",
    "off": "The pump was at rest when the sound stopped",
    "unknown": "Whether the pump runs is not known",
}
UNKNOWN_KINDS: Final = "Clicks of the switch are told, but not which of them start the pump."
NO_CLICK: Final = "No click of the switch has been told yet."
HEARD: Final = "A click was heard at {when}; whether it is the switch is not known yet."
LAST: Final = "Began at {began}; {interval} (95 %). This run alone would be: {band}."
LAST_IN_USE: Final = " Water in use lengthens a run."
STOPPED_AT: Final = "stopped at {when}"
GOES_ON: Final = "runs now"
UNTIL_ENDED: Final = "no end set"
NOT_YET: Final = "Nothing to judge yet"
NOT_YET_SURE: Final = (
    "{count} of the pump {verb} been timed so far, but not by clicks that are sure enough yet to judge by."
)
NOT_YET_FOUND: Final = "No whole run of the pump, from its start to its stop, has been timed so far."
REFILLS: Final = "What the open tap adds to a run of the refill test is taken into account."

RUN_SETTLED: Final = "Run {number} is settled: {run}."
ALL_SETTLED: Final = "The listening has ended and is settled. {title}."

SINCE: Final = "Since {when}"
AT: Final = "At {when}"
GAP: Final = "sound is missing: {length} ({why})"
LENGTH_UNKNOWN: Final = "how much is not known"
ENDLESS: Final = "the pump has not stopped: this run is far longer than it should be (the watch shows how long)"

STRIP_HOUR: Final = "Each line is an hour, its beginning on the left."
STRIP_MINUTES: Final = "Each line is {minutes} minutes, its beginning on the left."
STRIP_CUT: Final = " Shown are the last {hours} hours."
STRIP_MARKS: Final = (
    " Filled: the pump runs. Pale: at rest. Hatched: sound is missing. Blank: not heard yet, or not known. Only "
    "outlined: provisional."
)
STRIP_ALT: Final = "{runs} runs of the pump from {first} to {last}; the times are in the list of runs."

LEVEL: Final = (
    "{now:.0f} dB now, {quiet:.0f} dB in the quietest moments of the last minute (0 dB is the most that fits)"
)
NO_LEVEL: Final = "no sound"
MORE_RUNS: Final = "{count} earlier runs are not shown here; clicktimer measure can write all of them as a table."

CANNOT_READ: Final = "The folder can no longer be read: {reason}"
