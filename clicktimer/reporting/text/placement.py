"""A place as text and as JSON: good enough or not, how the sounds stand over the room, what is amiss and what to do."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from clicktimer.reporting.formatting import length_text, table, wrap
from clicktimer.reporting.json.measurement import FORMAT_VERSION, bare_name, jsonable
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.cautions import LISTEN, SURROUNDINGS
from clicktimer.reporting.text.proof import proof_json, proof_lines

FORMAT = "clicktimer-place"

TITLE = {
    "near": "NEAR ENOUGH",
    "far": "FAR: IT MAY DO",
    "faint": "TOO FAINT",
    "unheard": "NOTHING TO JUDGE BY",
}
SAID = {
    "near": "The {what} stand 35 dB and more over the quiet room: a click of this loudness is easy to tell.",
    "far": "The {what} stand less than 35 dB over the quiet room, or little over what sounds just before them: in a "
    "quiet house clicks are found all the same, in a loud one some are missed.",
    "faint": "The {what} hardly stand out: many will be missed here.",
    "unheard": "No click of a pressure switch and no other sharp sound was told, so nothing can be said of this "
    "place but what is listed below.",
}
PERHAPS_SNAPS = (
    "Which of them start the pump could not be told. If they were your finger snaps and the pump did not run, say "
    "--snaps: then room and recorder are judged by these, and not the switch."
)
SNAPS = (
    "No click of a pressure switch was told; judged by {count} other short sharp sounds, as finger snaps are. That "
    "tests room and recorder. How loud your switch is only its own click tells: record a start and a stop of the pump."
)
NEARER = (
    "Go nearer: a hand's width from the switch, outside its cover, the microphone towards it, nothing between. "
    "Halving the distance gains up to 6 dB."
)
QUIETER = "Stop what sounds near by (fan, washing machine, radio, dehumidifier), or record at a quieter hour."
TO_HEAR = (
    "Make a recording in which the pump starts and stops, or snap your fingers a few times right beside the switch, "
    "with some seconds between."
)


def place_steps(place: Any) -> list[str]:
    """Return what to do about a place, most useful first; empty where there is nothing."""
    steps = [finding.advice for finding in place.findings if finding.harms and finding.advice]
    if place.grade == "unheard":
        steps.append(TO_HEAR)
    if place.grade in ("far", "faint"):
        steps += [NEARER, QUIETER]
    steps += [finding.advice for finding in place.findings if not finding.harms and finding.advice]
    return list(dict.fromkeys(steps))


def render_place(place: Any, *, emphasis: Callable[[str], str] = str) -> str:  # noqa: C901
    """Return the report of a place as text that ends in a newline."""
    p = place
    rate = f"{p.source.sample_rate_hz / 1000:g} kHz"
    lines = [*wrap(", ".join([bare_name(p.source.name), length_text(p.source.duration_s), rate])), ""]
    harmed = [finding for finding in p.findings if finding.harms]
    title = TITLE[p.grade] if p.good or not harmed else "NOT LIKE THIS"
    lines += [emphasis(title)]
    if harmed:
        lines += wrap("; ".join(Messages().text(finding.reason) for finding in harmed).capitalize() + ".", "  ")
    lines += wrap(SAID[p.grade].format(what=p.what), "  ")
    if p.what == "sharp sounds":
        lines += wrap(SNAPS.format(count=p.standings[0].count), "  ")
    if p.what == "clicks" and all(s.kind == "unknown" for s in p.standings):
        lines += wrap(PERHAPS_SNAPS, "  ")
    if p.standings:
        rows = [
            (s.kind, str(s.count), *(f"{db:.0f} dB" for db in (s.over_room_db, s.weakest_db, s.over_before_db)), "")
            for s in p.standings
        ]
        header = ("", "heard", "over the quiet room", "weakest", "over what is before", "")
        lines += ["", *table(header, rows, ("<", ">", ">", ">", ">", "<"))]
        lines += wrap("Peak over the rms of the room, both above 1 kHz; 35 dB and more is near.", "  ")
    if p.room_dbfs is not None:
        lines += wrap(f"The quiet room is at {p.room_dbfs:.0f} dB of full scale above 1 kHz.", "  ")
    if p.proof is not None:
        lines += ["", emphasis("Proof"), *proof_lines(p.proof)]
    steps = place_steps(p)
    if steps:
        lines += ["", emphasis("What to do")]
        for step in steps:
            lines += wrap(step, "  - ", "    ")
    others = [finding for finding in p.findings if not finding.harms]
    if others:
        lines += ["", emphasis("About this recording")]
        for finding in others:
            text = Messages().text(finding.reason)
            text = text[:1].upper() + text[1:]
            lines += wrap(f"{text}.", "  - ", "    ")
    lines += ["", emphasis("Cautions")]
    for caution in (LISTEN, SURROUNDINGS):
        lines += wrap(caution, "  ! ", "    ")
    return "\n".join(lines) + "\n"


def place_json(place: Any, *, program_version: str) -> dict[str, Any]:
    """Return the JSON document of a place (docs/placing.md)."""
    p = place
    document = {
        "format": FORMAT,
        "version": FORMAT_VERSION,
        "program": {"version": program_version},
        "source": {
            "name": bare_name(p.source.name),
            "duration_s": p.source.duration_s,
            "sample_rate_hz": p.source.sample_rate_hz,
            "channels": p.source.channels,
            "sha256": p.source.sha256,
        },
        "what": p.what,
        "grade": p.grade,
        "good": p.good,
        "room_dbfs": p.room_dbfs,
        "standings": p.standings,
        "findings": [
            {"code": f.code, "text": Messages().text(f.reason), "advice": f.advice, "harms": f.harms}
            for f in p.findings
        ],
        "steps": place_steps(p),
        "proof": proof_json(p.proof),
    }
    cleaned: dict[str, Any] = jsonable(document)
    return cleaned
