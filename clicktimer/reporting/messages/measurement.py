"""Every sentence of stages 4 and 5 (cycles, run time, verdict), in one place so that they can be translated.

Templates take their figures by name through ``str.format``.
"""

from __future__ import annotations

from typing import Final

from clicktimer.reporting.messages.figures import (  # on their way into the catalogue
    at_most_text,
    decimals_for,
    how_often,
    list_seconds,
    plain_seconds,
    seconds_text,
    seconds_texts,
)

__all__ = [
    "at_most_text",
    "decimals_for",
    "how_often",
    "list_seconds",
    "plain_seconds",
    "seconds_text",
    "seconds_texts",
]

# --- cycles: why a run is not complete -------------------------------------------------------------------------------
BEGAN_INSIDE: Final = "the recording began inside this run, {seconds} or more before its cut-out"
BEGAN_OR_MISSED: Final = "no cut-in before it: the recording began inside this run, or the click was missed"
ENDED_INSIDE: Final = "the recording ended inside this run, {seconds} after its cut-in"
CUT_OUT_MISSED: Final = "its cut-out was not heard: another cut-in came at {at}"
CUT_IN_MISSED: Final = "its cut-in was not heard: no cut-in after the cut-out before it"
CUT_IN_MISSED_OFF: Final = "its cut-in was not heard: the pump was said to be off at the start"
GAP_AFTER_CUT_IN: Final = "sound is missing after its cut-in, at {at}"
GAP_BEFORE_CUT_OUT: Final = "sound is missing before its cut-out, at {at}"
UNKNOWN_AFTER_CUT_IN: Final = "a click of unknown kind came after its cut-in, at {at}"
UNKNOWN_BEFORE_CUT_OUT: Final = "a click of unknown kind came before its cut-out, at {at}"
NO_TIME_BETWEEN: Final = "its two clicks have the same time"
SAID_TO_BE_ON: Final = (
    "the pump was said to be running at the start, yet the first click is a cut-in: a cut-out was missed"
)

EITHER_READING: Final = (
    "Which click is which could not be told. Either the pump ran {first} and rested {second}, or the other way round. "
    "Say whether the pump was running at the start."
)
EITHER_READING_ONE: Final = (
    "Which click is which could not be told: the {first} between the two clicks are a run or a rest. "
    "Say whether the pump was running at the start."
)
EITHER_READING_PART: Final = " Sound is missing: only the longest unbroken stretch is told."

# --- run time: what the figure rests on ------------------------------------------------------------------------------
FIRST_LEFT_OUT: Final = "The first run was left out, as is usual: the tank has not settled to repeats yet."
ONE_RUN: Final = "It rests on one run: the interval holds timing and clock only; the spread between runs is unknown."
TWO_RUNS: Final = "It rests on two runs: the interval covers both, but two are too few to tell the spread between runs."
RUNS_DIFFER: Final = "The two runs differ by {percent} %: water may have been in use, or a run was cut short."
OUTLIERS_LEFT_OUT: Final = (
    "Left out: {count} of {total} runs ({which}), far from the others at {median}: "
    "water in use, a missed click or a power cut would do that."
)
MANY_LEFT_OUT: Final = "Many of the runs do not agree ({count} of {total} were left out)."
FAINT_LEFT_OUT: Final = "Left out: {count} of {total} runs whose clicks are doubtful."
FAINT_CLICKS: Final = "The clicks that it rests on are not certain (confidence {confidence})."
STEADY_CYCLES: Final = (
    "From run x rest / (run + rest) of {count} cycles in a row that agree within {percent} %: it needs no tank size, "
    "no pump rate and no tap flow, and is the same whichever click is which."
)
STEADY_LEFT_OUT: Final = (
    "{count} of {total} cycles were left out: another tap ran in them, or they lie outside that stretch."
)
STEADY_FAST_TAP: Final = (
    "The tap took more than 60 % of what the pump gives, where this method reads long: open it less."
)
STEADY_NONE: Final = (
    "A steady tap was stated, but no {least} cycles in a row agree within {percent} %: "
    "the shortest run is told instead, as an upper bound."
)
STEADY_FEW: Final = (
    "A steady tap was stated, which needs {least} whole cycles (a run and the rest after it); heard: {count}. Record "
    "on until the pump has started once more after them. The shortest run is told instead, as an upper bound."
)
SHORTEST: Final = (
    "The shortest of {count} trusted runs. "
    "Water in use only lengthens a run, so with every tap shut it is at most this."
)
SHORTEST_ONE: Final = (
    "The only trusted run. Water in use only lengthens a run, so with every tap shut it is at most this."
)
STANDS_ALONE: Final = (
    "The shortest run stands alone: the next is {next}. A false click or a power cut may have made it."
)

# --- verdict ---------------------------------------------------------------------------------------------------------
BAND_NAMES: Final = {
    "very-short": "very short cycling (under {edge1} s)",
    "short": "short cycling ({edge1} to {edge2} s)",
    "short-of-30": "short cycling ({edge2} to {edge3} s)",
    "under-a-minute": "a run under the {edge4} s mark ({edge3} to {edge4} s)",
    "a-minute-or-more": "a good run ({edge4} to {edge5} s)",
    "over-three-minutes": "a long run ({edge5} s and more)",
}
MEANINGS: Final = {
    "very-short": "Almost surely the tank has lost its air, or the line to the switch is blocked. "
    "Have it looked at now.",
    "short": "Have the air charge and the bladder of the tank checked before anything else.",
    "short-of-30": "Runs this short wear pump and switch out over months. Have the cause found.",
    "under-a-minute": "Rarely a trouble. Choose a larger tank at the next change.",
    "a-minute-or-more": "This is what the trade aims at.",
    "over-three-minutes": "Nothing to do. The tank is larger than the pump needs.",
}
CAUTION: Final = (
    "Caution: live terminals are under the switch cover, never open it. Work on tank or switch is for a licensed "
    "person, with the power off at the disconnect and the pressure let down first."
)
BASIS: Final = {
    ("taps shut", 1): "one run with every tap shut",
    ("taps shut", 2): "the mean of {count} runs with every tap shut",
    ("steady tap", 1): "one cycle with a tap running steadily",
    ("steady tap", 2): "{count} cycles with a tap running steadily",
    ("shortest run", 1): "the only trusted run",
    ("shortest run", 2): "the shortest of {count} trusted runs",
    ("edge of the runs", 2): "read from {count} runs of ordinary use",
    ("edge and steady uses", 2): "read from {count} runs of ordinary use",
    ("steady uses", 2): "read from {count} runs of ordinary use",
    ("nobody home", 2): "{count} runs while nobody used water",
}
BASIS_OTHER: Final = "{how}, {count} in number"
CLEAR: Final = "{band}. With no water in use the pump runs {seconds}: {basis}. {meaning}"
TOO_CLOSE: Final = (
    "Too close to call between {lower} and {upper}. With no water in use the pump runs {seconds}: {basis}."
)
AT_MOST_SHORT: Final = (
    "{band}, or worse. With no water in use the pump runs at most {seconds}: {basis}, "
    "and water in use only lengthens a run. {meaning}"
)
AT_MOST_CLOSE: Final = (
    "Too close to call between {lower} and {upper}. With no water in use the pump runs at most {seconds}: {basis}."
)
AT_MOST_MIDDLE: Final = (
    "At most {seconds} ({basis}): {band} at best. Water may have been in use, which only lengthens a run, "
    "so it may be short cycling."
)
AT_MOST_GOOD: Final = (
    "At most {seconds} ({basis}). This is not told as good, because water may have been in use, "
    "which only lengthens a run."
)
HEADLINE_NOT_SURE: Final = "Not sure: {band}"
NOT_MEASURED: Final = "Not measured: no complete run that can be trusted was heard, so nothing is said of the tank."
ALLOW_SPREAD: Final = (
    "The spread between runs is unknown; up to {percent} % from run to run is allowed for here "
    "(the air in the tank warms and cools)."
)
ALLOW_STEADY: Final = (
    "The steady-tap method can read {low} % short (heat of the air) to {high} % long (falling pump rate): "
    "allowed for here."
)
MOTOR_LARGE: Final = (
    "For motors above 3/4 hp many makers ask for runs of 120 s (common practice, no source): {relation}. "
    "The motor maker's own figure wins."
)
MOTOR_MET: Final = "this run meets it"
MOTOR_NOT_MET: Final = "this run does not meet it"
MOTOR_OPEN: Final = "whether this run meets it cannot be told yet"

SETTLE_MORE_SHUT: Final = (
    "Record at least {count} runs with every tap shut: "
    "open a tap until the pump cuts in, shut it, wait for the cut-out, repeat."
)
SETTLE_MORE_STEADY: Final = (
    "Record at least {count} runs with every tap shut. Leaving the one tap running for more cycles narrows the "
    "interval, but not what the steady-tap method itself may read short or long."
)
SETTLE_NO_USE: Final = (
    "Shut every tap and record again (open a tap only until the pump cuts in), and say so (--taps-shut); "
    "or leave one tap running steadily at less than half of the pump's flow for some cycles, and say so (--steady-tap)."
)
LONG_RECORDING: Final = (
    "Or read this same recording as a day: that tells the run, the leak and the water of a day from the household's "
    "ordinary use (clicktimer day FILE)."
)
SETTLE_NOT_MEASURED: Final = (
    "Record again nearer to the switch (a hand's width from its cover, touching nothing), "
    "from before the pump cuts in until after it cuts out, several times."
)


# -- notices of the detector -------------------------------------------------------------------------------------------

CHATTER = "The switch clicked {count} times within a second: chatter. It counts as one click, at its first."
NO_CLICKS = (
    "No click of a pressure switch could be told from the other sounds. Put the microphone a hand's width from the "
    "switch, outside its cover, and record three or more cycles of the pump."
)
ORDER_UNKNOWN = (
    "The pump could not be heard, so which click is cut-in and which is cut-out is not known. "
    "If you know whether the pump was running when the recording began, say --pump-at-start off or on."
)
START_CONTRADICTED = "What was said of the pump at the start does not fit what is heard: please check --pump-at-start."
BY_PUMP_SOUND = "one end was not heard as a click: timed by the pump's sound, to about half a second"

# --- corrected by hand -----------------------------------------------------------------------------------------------
HAND_ADDED = "added by hand"
HAND_MOVED = "moved by hand from {was} s"
HAND_RENAMED = "named by hand; detected as {was}"
HAND_TURNS = "its kind follows, by turns, from clicks that were named by hand"
HAND_CYCLE = "rests on clicks corrected by hand"
HAND_RUN = (
    "It rests on clicks that were corrected by hand; one set by hand is taken as right to {sd} s (an assumption)."
)
HAND_VERDICT = "This rests on clicks that were corrected by hand."
DOUBT_PUMP_SOUND = (
    "The runs were timed by the pump's sound, not by the switch: something else that runs would look the same."
)
PUMP_SOUND_ONLY = (
    "No click of the switch could be told, but something that sounds like the pump starts and stops. Its runs are "
    "timed by that sound, to about half a second. Put the microphone closer to the switch for more."
)
NO_SURE_CLICKS = (
    "Something clicked again and again, but nothing tells the switch from the other sounds. "
    "Put the microphone closer to the switch, outside its cover, and record again."
)
STOPPED = "You stopped the measuring at {time}: only what was heard until then is measured."

# --- a day -----------------------------------------------------------------------------------------------------------
JOINED_TIMES = (
    "How long nothing was heard between the parts is not known: times of day after the first break may be too early by "
    "so much. Runs, rests and what is counted are not touched by it."
)

# --- not one pump on one switch ------------------------------------------------------------------------------------
VARIABLE_SPEED = (
    "Something here changes its speed while it runs: {lines} of its tones moved together by {percent} % at {at} (one "
    "of them from {from_hz} to {to_hz} Hz), and its speed changed {times} in all. A pump on a variable-speed drive "
    "sounds so; a washing machine or a fan may, too."
)
VARIABLE_SPEED_VERDICT = (
    "Not judged. No click of a switch was told, and what runs here changes its speed, as a pump on a variable-speed "
    "drive does. Such a pump runs as long as water is used: its run time says nothing of the tank, so none is told. "
    "The drive's maker tells which tank and which air charge it needs."
)
SETTLE_VARIABLE_SPEED = (
    "Look for a box with a display, or a pressure sensor in place of the switch; never open it: a drive holds "
    "dangerous voltage after it is switched off. If there is a pressure switch after all, record a hand's width from "
    "its cover."
)
TWO_PUMPS = (
    "Something else ran beside the pump {times} (at {at}), in {shared} of its {runs} runs or right before or after "
    "them: a second pump, or another machine. Two pumps that fill one tank make its runs shorter than one alone would."
)
RUNS_UNLIKE = (
    "By their sound the runs are not all of one machine: those at {at} are unlike the others. There may be two pumps, "
    "or another machine that clicks."
)
COMES_AT_STOPS = (
    "Where the pump was told to stop, sound comes instead of going (at {at}): something else starts there, a second "
    "pump, say. These runs may begin with one and end with the other."
)
OTHER_MACHINE = (
    "Something else started or stopped beside the pump {times} (at {at}): another machine, running water, or a second "
    "pump. The runs are those of the one that clicks."
)
DOUBT_ONE_RUN = "It is the only whole run that was heard: nothing else in the recording bears it out."
TANK_DENIES = (
    "But so long a run is more than the tank can give by what was stated of it: if water was in use during it, the run "
    "with no water in use is shorter."
)
DOUBT_TWO_PUMPS = "A second pump or another machine may have a part in these runs."
SETTLE_TWO_PUMPS = (
    "Count the pumps and switches. With two, record each by itself, the other switched off at its disconnect (by a "
    "licensed person where that is not plain); with one, switch other machines off and record again."
)
