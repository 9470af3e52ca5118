"""10 document: every sentence that only the document has, in one place so that it can be translated.

Sentences of the verdict, the tank, the causes and so on are those of the terminal's text; figures come in as text that
is written as there. Rules of thumb are common practice in the trade, without a published source.
"""

from __future__ import annotations

from typing import Final

from clicktimer.reporting.messages import measurement
from clicktimer.tank.finding import Finding
from clicktimer.targets import Band

LANGUAGE: Final = "en"

# --- the head -------------------------------------------------------------------------------------------------------
TITLE: Final = "How long the well pump runs"
TITLE_DAY: Final = "A day of the well pump"
WHERE, WHO, CLIENT, DATE, RECORDED, NOTES = "Place", "Measured by", "For", "Date", "Recording", "Notes"
SIGNER: Final = "Name"
LICENCE: Final = "Licence or registration, if any"
SIGNED: Final = "Signature"
SIGNED_DATE: Final = "Date signed"

LABELS: Final = {
    "meaning": "What it means for the pump",
    "next": "What to do next",
    "what": "What",
    "who": "By whom",
    "cautions": "Before anybody touches anything",
    "terms": "The words used here",
    "prices": "Prices, from the list that was given",
    "signing": "Signed",
    "stand_for": "Whoever signs stands for this: the recording was made at the place named, beside the pressure "
    "switch, and what is called given, said or stated here was so. The measuring is the program's.",
    "rest": "The pages after this one are for a technician; the last one is for the signature.",
    "technician": "For the technician",
    "page": "page {number} of {count}",
    "by_hand": "to be filled in by hand",
    "attached": "The figures of this document, and what is needed to measure them again",
    "check": "The figures of this document are embedded in it. With the recording beside it, clicktimer report --check "
    "measures it again and says whether they still agree.",
}

MONTHS: Final = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

# --- page one: the verdict in a few words ---------------------------------------------------------------------------
VERDICT: Final[dict[Band, str]] = {
    "very-short": "Very short runs: the pump is being worn out",
    "short": "Short runs: they wear the pump out",
    "short-of-30": "Short runs: they wear the pump out in months",
    "under-a-minute": "Below the mark, rarely a trouble",
    "a-minute-or-more": "As it should be",
    "over-three-minutes": "As it should be",
}
CLOSE: Final = "Too close to call"
DOUBTED: Final = "Measured, but in doubt"
ONE_RUN_ONLY: Final = "One run only"
OPEN: Final = "No verdict yet"
NOT_MEASURED: Final = "Not measured"
NOT_JUDGED: Final = "Not judged: this may be another kind of pump"
TWO_READINGS: Final = "Two readings, and no verdict"

# --- page one: what was found, in two sentences ---------------------------------------------------------------------
FOUND: Final = "With no water in use the pump runs {seconds} each time it starts: {basis}."
FOUND_AT_MOST: Final = (
    "With no water in use the pump runs at most {seconds} each time it starts: {basis}, and water that was in use may "
    "have lengthened it."
)
FOUND_BY_DAY: Final = "read from {count} runs of ordinary use"
FOUND_BAND: Final[dict[Band, str]] = {
    "very-short": "That is far under the mark of {mark1} s, under which every start wears the pump and its switch: "
    "have it looked at now.",
    "short": "That is far under the mark of {mark1} s, under which every start wears the pump and its switch.",
    "short-of-30": "That is under the mark of {mark1} s, under which the starts wear the pump and its switch out over "
    "months.",
    "under-a-minute": "That is between the mark of {mark1} s, under which a pump wears out, and the {mark2} s that the "
    "trade aims at.",
    "a-minute-or-more": "That is past the mark of {mark2} s that the trade aims at.",
    "over-three-minutes": "That is far past the mark of {mark2} s that the trade aims at, which does no harm.",
}
FOUND_CLOSE: Final = "Whether that is {lower} or {upper} is too close to call."
FOUND_CLOSE_UNHARMED: Final = " Neither wears the pump out."
FOUND_AT_MOST_SHORT: Final = (
    "Even so it is under the mark of {mark1} s, under which every start wears the pump and its switch."
)
FOUND_AT_MOST_MIDDLE: Final = (
    "At best that is between the marks of {mark1} and {mark2} s; it may be under the first, where the pump wears out."
)
FOUND_AT_MOST_GOOD: Final = "So nothing can be said of the pump yet, neither good nor bad."
FOUND_NOTHING: Final = "No run of the pump could be timed, so nothing is said of the pump or its tank."
FOUND_NO_CLICK: Final = "No click of a pressure switch could be told from the other sounds in this recording."
FOUND_FEW: Final = "Clicks were heard, but no whole run that can be trusted, from a start of the pump to its stop."
FOUND_EITHER: Final = "Clicks of a switch were heard, but nothing tells which of them start the pump."
FOUND_EITHER_2: Final = "Both readings stand below; neither is taken for the answer."
FOUND_STARTS: Final = "In {length} the pump started {count} times, at most {worst} times in one hour."
FOUND_STARTS_FEW: Final = (
    "In {length} the pump started {count} times; less than an hour says nothing of an hour or a day."
)
FOUND_STARTS_ONE: Final = "In {length} the pump started once."
FOUND_STARTS_NONE: Final = "In {length} no start of the pump was told."
FOUND_SEEPING: Final = "Water seeped away all the time while nobody used any: about {flow}."
DOUBT: Final = "This figure is in doubt: {doubt}"
BY_HAND: Final = "Clicks were corrected by hand ({file}); what was detected stands beside them below."

# --- page one: what it means ----------------------------------------------------------------------------------------
WHY_RUNS_MATTER: Final = (
    "A pump wears most when it starts. The pressure tank holds water under air and gives it between two starts: the "
    "more it gives, the longer each run and the fewer the starts. The marks of {mark1} and {mark2} s are common "
    "practice in the trade, without a published source."
)
MEANS_FINDING: Final[dict[Finding, str]] = {
    "healthy": "The tank gives what its label promises.",
    "too-small-but-healthy": "The tank gives what its label promises; it is too small for this pump.",
    "short-of-air-or-overcharged": "The tank gives less than its label promises: its air is wrong, or its bladder has "
    "failed.",
    "more-than-label": "The figures do not fit together: more water came than the tank can give. Something that was "
    "stated is not so.",
    "cannot-tell": "Whether the tank is healthy cannot be told yet.",
}
MEANS_STARTS: Final = (
    "With such a run the pump starts at most {starts} times an hour, at the steady use of water that is worst for it."
)
MEANS_NOT_JUDGED: Final = (
    "It means nothing for the pump, good or bad: this way of measuring does not suit it. Nothing here says that pump "
    "or tank are in order."
)
MEANS_NOTHING: Final = (
    "It means nothing for the pump, good or bad: only the recording did not serve. Nothing here says that pump or tank "
    "are in order."
)

# --- page one: what to do next, and by whom -------------------------------------------------------------------------
OWNER, TECHNICIAN, MEASURER = "the owner", "a well or pump technician", "whoever measures"
NEXT_BAND: Final[dict[Band, tuple[tuple[str, str], ...]]] = {
    "very-short": (
        ("Use little water until it is seen to: every start wears the motor.", OWNER),
        ("Look at tank, air charge and the line to the switch now.", TECHNICIAN),
    ),
    "short": (
        ("Check the air charge and the bladder of the tank before anything else.", TECHNICIAN),
        ("Do not add air or turn the switch's screws on a guess.", OWNER),
    ),
    "short-of-30": (
        ("Find the cause: a tank that has lost its air, or one too small for the pump.{size}", TECHNICIAN),
        ("Do not add air or turn the switch's screws on a guess.", OWNER),
    ),
    "under-a-minute": (
        ("Choose a larger tank at the next change.{size}", OWNER),
        ("Measure again in a year: a run that has become shorter may mean that air is being lost.", OWNER),
    ),
    "a-minute-or-more": (
        ("Keep this document and measure again in a year: a shorter run may mean that air is being lost.", OWNER),
    ),
    "over-three-minutes": (
        ("Keep this document and measure again in a year: a shorter run may mean that air is being lost.", OWNER),
    ),
}
NEXT_LARGER: Final = (
    ("Have a larger tank put in, or a second one beside it.{size}", TECHNICIAN),
    ("Do not add air or turn the switch's screws on a guess.", OWNER),
)
"""In place of looking for the cause, where the tank has been found healthy and too small."""
NEXT_AIR: Final = "Check the tank's air charge and its bladder: the tank gives less than its label promises."
NEXT_STATED: Final = "Look again at what was stated: the tank's volume, the pump's rate, the switch's setting."
NEXT_SIZE: Final = " For {target} with this pump: {size}."
NEXT_SIZE_UP: Final = " For {target} with this pump: {size}, or more surely {next_up}."
"""The first size reaches the mark only where the air has settled; a fast refill takes its run below it."""
NEXT_LEAK: Final = (
    "Look for what takes water while nobody uses any: a tap, a toilet, a valve, a softener; then the well side."
)
NEXT_ENDLESS: Final = "Every tap shut and the pump still runs: switch it off at the disconnect, and call."
SETTLE: Final[dict[str, str]] = {
    measurement.SETTLE_NO_USE: "Record again with every tap shut (a tap is opened only until the pump starts), or with "
    "one tap left running steadily at less than half of the pump's flow.",
}
"""What would settle it, where the terminal's text names options."""
PUMP_AT_START: Final = "Note whether the pump is running when the recording begins: that alone settles it."

# --- page one: the words --------------------------------------------------------------------------------------------
TERMS: Final = (
    ("Run", "", "from the pump's start (cut-in) to its stop (cut-out)."),
    ("Pressure switch", "", "starts and stops the pump, with a click."),
    ("Air charge", r"air charge|\bair is wrong", "the air's pressure in the tank without water."),
    ("Bladder", r"bladder", "the rubber bag that keeps air and water apart."),
    ("Disconnect", r"disconnect", "what cuts off the pump's electricity."),
    ("Plate", r"\bits plate", "the tank's label, with the pressure it may hold."),
    ("gpm", r"\bgpm\b", "US gallons a minute."),
    ("95 %", r"95 %", "right nineteen times of twenty."),
)
"""Name, where on the page it must occur to be told (empty: always), what it means."""

# --- the sections ---------------------------------------------------------------------------------------------------
EVERY_RUN: Final = "Every run"
EVERY_RUN_BELOW: Final = "All {count} runs are in a table at the end."
RUNS, CLICKS, TANK, STARTS, CAUSES, WELL = (
    "The runs",
    "The clicks",
    "The tank",
    "Starts in a day",
    "Likely causes",
    "The well",
)
ARITHMETIC, PRICES, PROOF, OPEN_QUESTIONS, VALUES, EVIDENCE, CAUTIONS = (
    "The tank's arithmetic, step by step",
    "The price list",
    "How well the switch could be heard here",
    "What could not be told",
    "What it rests on",
    "The recording and the program",
    "Cautions in full",
)
STEADY_USE: Final = "Under steady use"
RECORDING, BOTH, CORRECTED, THE_DAY, THE_RUN = (
    "About this recording",
    "Two readings",
    "Corrected by hand",
    "The day",
    "The run with no water in use",
)

CLICKS_OF: Final = "Of {count} runs the clicks of {shown} are shown: {why}."
CLICKS_WHY: Final = "the first and the last, the shortest and the longest, the doubtful ones, and some between"
CLICKS_ALL: Final = "The clicks of every run are shown."
CLICKS_LISTEN: Final = (
    "Each sound holds the click and what sounds just before and after it. A click that cannot be heard in it may be "
    "something else: say so to whoever measured."
)
NO_SOUND: Final = "The sound of these clicks is not at hand: the listening kept none of it."
LACKING: Final = "Letters that this PDF's type lacks stand as a question mark: {letters}. The HTML form shows them."
NO_SOUND_PDF: Final = "The sounds themselves are in the HTML form of this document."
CUT_IN, CUT_OUT = "cut-in, the pump starts", "cut-out, the pump stops"
SOUND_LABEL: Final = "Run {number}: {what}"
HAND_LABEL: Final = "{label} (corrected by hand: {change})"
DETECTED_LABEL: Final = "{label}, as it was detected"

NOT_PROVED: Final = (
    "It was not counted how many such clicks the program catches in this recording (left out by whoever measured)."
)
ONE_SIDED: Final = "How much shorter than told the run is with no water in use: the taps were not said to be shut."
NO_RUN: Final = "The run with no water in use."
TWO_KINDS: Final = "Which clicks start the pump and which stop it."
SPREAD: Final = "How much one run differs from the next: there were too few of them."
MISSING: Final = "{what}. To get it: {how}."
NOT_WHOLE: Final = "{count} of {all} runs were not heard whole; they are in the table with the reason."
NOT_WHOLE_ONE: Final = "1 of {all} runs was not heard whole; it is in the table with the reason."
NOT_WHOLE_ONLY: Final = "The one run was not heard whole; it is in the table with the reason."
NO_SYNTHETIC_CLAIM: Final = (
    "The method has been tried on simulated households and on other mechanical clicks; no collection of recordings of "
    "real pressure switches was to be had. What was measured stands in the program's page on its accuracy."
)
NOT_APPLICABLE: Final = (
    "It does not apply to a variable-speed pump, to a switch without a click, to a valve that holds the flow back, nor "
    "where two pumps are heard. What can be heard of these is told; the rest has to be looked at on the spot."
)
MARKS_SOURCE: Final = "The marks for a run are common practice in the trade; there is no published source."

ORIGINS: Final = {
    "default": "not given; the usual value",
    "option": "given",
    "site file": "site file",
    "measured": "measured",
}
VALUE_HEAD: Final = ("what", "value", "where from")
NAMES: Final = {"taps": "taps", "pump_at_start": "pump at the start", "precharge": "air charge"}
NOT_SAID: Final = "not said"

SETTINGS_DEFAULT = "the defaults of this version"
FILE, LENGTH, RATE, CHANNELS, BEGAN, FINGERPRINT, PROGRAM, SETTINGS, SIZE = (
    "File",
    "Length",
    "Sample rate",
    "Channels",
    "Began",
    "SHA-256",
    "Program",
    "Detector",
    "Size",
)
LIVE: Final = "heard live: a listening folder, not a file, so there is no fingerprint"
BY_FILE: Final = "{when}, by the file's own note, which some phones set to the end or to UTC"
BY_CLOCK: Final = "{when}, by the computer's clock"

# --- the tank's arithmetic ------------------------------------------------------------------------------------------
STEP_HEAD: Final = ("what", "reckoning", "result")
AIR: Final = "Air pressure outside, at {height}"
ABSOLUTE: Final = "{name} with the air's pressure added"
CHARGE, CUT_IN_P, CUT_OUT_P = "Air charge P0", "Cut-in P1", "Cut-out P2"
SHARE: Final = "Share of the tank's volume that it gives, air settled (Boyle): P0 × (1/P1 − 1/P2)"
SHARE_OVER: Final = "Share of the tank's volume that it gives, charge above cut-in: 1 − P0/P2"
SHARE_FAST: Final = (
    "The same, refilled too fast for heat to leave: (P0/Ps) × (1 − (Ps/P2)^(1/1.4)), Ps the larger of P0 and P1"
)
NEW_TANK: Final = "The same shares of a new tank, charged to {charge}, between cut-in and cut-out"
GIVES: Final = "A tank of {size} gives, air settled"
GIVES_FAST: Final = "A tank of {size} gives at least, refilled fast"
GIVES_PLATE: Final = "A tank of {size} gives, as its bladder takes no more than {most}"
DRAWN: Final = "The tank there gives, by pump rate and measured run: Q × run"
DRAWN_MOST: Final = "The tank there gives at most, by pump rate and longest possible run: Q × run"
RATIO: Final = "Of what its label promises, air settled"
NEEDED: Final = "Volume for a run of {target}: Q × run / share"
NEEDED_FAST: Final = "Volume for a run of {target}, even refilled fast"
MOST_STARTS: Final = "Most starts in an hour that a steady use can cause: 900 s / run"
