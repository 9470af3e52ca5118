"""The JSON document of a measurement, declared (docs/measurement.schema.json is made from it)."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from clicktimer.records import Change, How, Kind
from clicktimer.reporting.json.model import Part, Reason, says
from clicktimer.targets import Band

SHA256 = r"^[0-9a-f]{64}( [0-9a-f]{64})*$"


class Program(Part):
    """What measured."""

    version: str = says("Version of clicktimer that measured.")
    settings: dict[str, Any] = says("Every value used, by its name, with where it came from.")


class Source(Part):
    """Where the sound came from."""

    name: str = says("Name of the recording's file, without its folder.", pattern=r"^[^/\\]*$")
    duration_s: float = says("Length of what was decoded, s, known gaps included.", ge=0)
    sample_rate_hz: int = says("Samples a second, Hz.", ge=1)
    channels: int = says("Channels of the recording.", ge=1)
    sha256: str | None = says(
        "SHA-256 of the file (of each part, in order, if they were joined), or null.",
        pattern=SHA256,
    )
    started_at: str | None = says("When the recording began, as given or as the file says, or null.")
    started_how: Literal["given", "container", "clock", "unknown"] = says(
        "Who said so: the user, the file, the computer's clock while listening live, nobody. Some phones "
        "write the end of the recording, or UTC."
    )


class Click(Part):
    """One click."""

    time_s: float = says("When it began, s.")
    kind: Kind = says("Which operation it was.")
    confidence: float = says("Chance that this is the switch and that the kind is right.", ge=0, le=1)
    timing_sd_s: float = says("Standard deviation of time_s, s.", ge=0)
    chatter: int = says("How many clicks of a burst it stands for.", ge=1)
    level_db: float | None = says("Its peak over the room in its own band, dB, or null.")
    note: str = says("Plain words, may be empty.")
    how: Literal["clicks"] = says(
        "What it rests on; a start or stop told by the pump's sound alone is not among the clicks.", optional=True
    )


class Cycle(Part):
    """One run and the rest after it."""

    cut_in_s: float | None = says("When the pump started, s, or null where that was not heard.")
    cut_out_s: float | None = says("When the pump stopped, s, or null where that was not heard.")
    run_s: float | None = says("Cut-in to cut-out, s, or null.", ge=0)
    run_low_s: float | None = says("Lower end of the 95 % interval of this run alone (clicks and clock), s.")
    run_high_s: float | None = says("Upper end of it, s.")
    rest_s: float | None = says("Cut-out to the next cut-in, s, or null.", ge=0)
    complete: bool = says("Both clicks heard and no gap between them. rest_s may still be null.")
    how: How = says("What the times rest on.")
    confidence: float = says("Chance that this run is one and has these ends.", ge=0, le=1)
    note: str = says("Plain words, may be empty.")


class Gap(Part):
    """One gap."""

    from_s: float = says("Where it begins, s.")
    to_s: float | None = says("Where it ends, s, or null where its length is not known.")
    why: str = says("Plain words.")


class Alternative(Part):
    """The first reading: these are the runs, the others the rests."""

    starts_s: list[float] = says("Where each begins, s.")
    lengths_s: list[Annotated[float, Field(ge=0)]] = says("Length of each, s.")


class Ambiguous(Part):
    """Null, or both readings where nothing tells which click starts the pump."""

    text: str = says("Plain words.")
    first: Alternative = says("The first reading: these are the runs, the others the rests.")
    second: Alternative = says("The second reading: these are the runs, the others the rests.")


class Run(Part):
    """The run with no water in use, or null where it could not be measured."""

    seconds: float = says(
        "The run with no water in use, s. With one_sided: the shortest trusted run, which it cannot exceed.", ge=0
    )
    low_s: float = says("Lower end of its 95 % interval, s.")
    high_s: float = says("Upper end, s.")
    count: int = says("Runs or cycles it rests on.", ge=1)
    how: Literal["taps shut", "steady tap", "shortest run"] = says("The estimator (docs/verdict.md).")
    one_sided: bool = says("True: only an upper bound, since water may have been in use.")
    timing_s: float = says("Half width from the clicks and the clock alone, s.", ge=0)
    spread_s: float | None = says("Half width from the spread between runs, s, or null where too few tell it.", ge=0)
    text: str = says("Plain words, may be empty.")
    doubt: str = says("Why the figure may not be what it seems, or empty; while there is one, no verdict is sure.")
    reasons: list[Reason] = says("What it rests on, as codes with figures.", optional=True)
    doubts: list[Reason] = says("Why it may not be what it seems, as codes with figures.", optional=True)


class Verdict(Part):
    """The judgement."""

    band: Band | None = says("Where the run lies, or null where nothing can be said.")
    sure: bool = says("The whole interval lies in that band.")
    text: str = says("The verdict in plain words.")
    settle: str = says("What would settle an open question, may be empty.")
    reasons: list[Reason] = says("What it says, as codes with figures.", optional=True)
    settle_reasons: list[Reason] = says("What would settle it, as codes with figures.", optional=True)


class Warned(Part):
    """One warning."""

    code: str = says("What sort it is.", pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")
    text: str = says("Plain words.")
    time_s: float | None = says("Where, s, or null for the whole recording.")


class CorrectedClick(Part):
    """One click as the person left it."""

    time_s: float = says("When it began, s.")
    kind: Kind = says("Which operation it was.")
    how: How = says("A click, or a start or stop of the pump that only its sound tells.")
    timing_sd_s: float = says("Standard deviation of time_s, s.", ge=0)
    change: Change = says("What the person did; by turns: its kind follows from a click that was named.")
    was_s: float | None = says("Its time as detected, s, or null if it was added.")
    was_kind: Kind | None = says("Its kind as detected, or null.")


class DeletedClick(Part):
    """One of these."""

    time_s: float = says("When it began, s.")
    kind: Kind = says("Kind as detected.")
    how: How = says("As above.")


class BeforeCorrection(Part):
    """What had been told by the clicks as detected."""

    cycles: list[Cycle] = says("As cycles.")
    run: Run | None = says("As run.")
    verdict: Verdict = says("As verdict.")


class Correction(Part):
    """What a person changed (--corrected), or null. With it, cycles, ambiguous, run, verdict and tank rest on its
    clicks; clicks stay as detected.
    """

    file: str = says("Name of the label file.")
    clicks: list[CorrectedClick] = says("The clicks that count, in order of time.")
    deleted: list[DeletedClick] = says("Detected, and struck out.")
    figures: list[str] = says("What rests on a changed click: cycle 1, cycle 2, run, verdict, ambiguous, tank.")
    detected: BeforeCorrection = says("What had been told by the clicks as detected.")


class Copies(Part):
    """Copies as loud as the clicks that were told."""

    put: int = says("Copies laid in.", ge=0)
    caught: int = says("Of these, how many were told.", ge=0)
    rate: float | None = says("Their share, null without any.", ge=0, le=1)
    low: float | None = says("Lower end of its 95 % interval.", ge=0, le=1)
    high: float | None = says("Upper end.", ge=0, le=1)


class MissedRuns(Part):
    """Runs expected to have been missed with both clicks, or null."""

    low: float = says("Lower end.", ge=0)
    high: float = says("Upper end.", ge=0)


class ProvedPart(Part):
    """The part of a long recording in which copies were counted, s from its beginning; null: the whole."""

    from_: float = says("Its beginning.", ge=0, alias="from")
    to: float = says("Its end.", ge=0)


class Proof(Part):
    """How many copies of its own clicks were caught in this recording (--prove), or null."""

    what: Literal["clicks", "sharp sounds"] = says("What was copied.")
    why: str = says("Why nothing could be proved, or empty.")
    usual: Copies = says("Copies as loud as the clicks that were told.")
    fainter: Copies = says("Copies fainter by fainter_db.")
    fainter_db: float = says("By how much, dB.")
    cut_in: Copies = says("Of the usual ones, those that start the pump.")
    cut_out: Copies = says("Of the usual ones, those that stop it.")
    told_before: int = says("Clicks told of the recording as it is.", ge=0)
    told_again: float | None = says("Share of them that were told again, mean over the hearings.", ge=0, le=1)
    others: int = says("Clicks told in all hearings that are neither copies nor were told before.", ge=0)
    hours: float = says("Sound heard for the proof, h.", ge=0)
    passes: int = says("Hearings.", ge=0)
    silent: int = says("Hearings in which nothing at all was told; they count in no rate.", ge=0)
    missed_runs: MissedRuns | None = says("Runs expected to have been missed with both clicks, or null.")
    interval: str = says("Which interval low and high are.")
    without_click: int = says(
        "Starts and stops that the pump's sound told in the recording as it is and no click did.", ge=0
    )
    of_all: float | None = says(
        "Share of all clicks that were told, estimated from the rate and from without_click, whichever says less.",
        ge=0,
        le=1,
    )
    part_s: ProvedPart | None = says(
        "The part of a long recording in which copies were counted, s from its beginning; null: the whole.",
        optional=True,
    )


class MeasurementDocument(Part):
    """What clicktimer measured in one recording. Times are seconds from the first decoded sample; unknown is null.
    Readers ignore fields they do not know; adding one does not raise the version.
    """

    format: Literal["clicktimer-measurement"] = says("Always this text.")
    version: Literal[1] = says("Version of this form; raised only when a field changes its meaning or goes away.")
    program: Program = says("What measured.")
    source: Source = says("Where the sound came from.")
    clicks: list[Click] = says("Operations of the pressure switch, in order of time.")
    cycles: list[Cycle] = says("Runs with the rest after each, in order of time.")
    gaps: list[Gap] = says("Sound that is missing. No run is counted across a gap.")
    ambiguous: Ambiguous | None = says("Null, or both readings where nothing tells which click starts the pump.")
    run: Run | None = says("The run with no water in use, or null where it could not be measured.")
    verdict: Verdict = says("The judgement.")
    tank: dict[str, Any] | None = says(
        "The sizing of the tank, or null where there was no run to size it by (docs/json.md)."
    )
    causes: dict[str, Any] | None = says(
        "The likely causes, ranked, or null where nothing was said of the system (docs/json.md).", optional=True
    )
    warnings: list[Warned] = says("What the user should know, by code (docs/json.md).")
    correction: Correction | None = says(
        "What a person changed (--corrected), or null. With it, cycles, ambiguous, run, verdict and tank rest"
        " on its clicks; clicks stay as detected."
    )
    proof: Proof | None = says("How many copies of its own clicks were caught in this recording (--prove), or null.")
