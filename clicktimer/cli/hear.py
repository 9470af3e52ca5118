"""``clicktimer hear``: is this place good enough? One recording in, a judgement of room and recorder out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from clicktimer.cli.failures import MEASURED, NOT_MEASURED
from clicktimer.cli.output import STDOUT, check_targets, emphasis_for, put
from clicktimer.cli.progress import ProgressBar
from clicktimer.cli.waiting import compiling_is_told
from clicktimer.errors import SettingsError

if TYPE_CHECKING:
    from clicktimer.quality.placement import Place


@click.command("hear", short_help="Say whether a place is good enough to hear the switch.")
@click.argument("recording", metavar="[RECORDING]", required=False)
@click.option("--list", "list_them", is_flag=True, help="List the sound inputs of this computer and stop.")
@click.option("--device", metavar="NAME", help="Sound input: its name, part of it or its number. [the system's]")
@click.option("--for", "for_text", metavar="TIME", help='Hear the microphone so long: "60 s". [one pump cycle]')
@click.option("--prove", is_flag=True, help="Add copies of the clicks to the recording and count how many are caught.")
@click.option("--snaps", is_flag=True, help="You snapped your fingers and the pump did not run: judge by the snaps.")
@click.option("--json", "json_target", metavar="FILE|-", help="Write the result as JSON.")
def hear_command(
    recording: str | None,
    list_them: bool,
    device: str | None,
    for_text: str | None,
    prove: bool,
    snaps: bool,
    json_target: str | None,
) -> int:
    """Say whether a place is good enough to hear the pressure switch.

    Without a RECORDING the microphone is heard, with a level meter, until the pump has
    started and stopped once, or Ctrl-C. RECORDING is a short one made there: best
    with a start and a stop of the pump in it; if the pump does not run, snap your
    fingers a few times beside the switch and say --snaps. It tells how far the clicks stand over the
    room, whether the recorder spoils them, and what to do about it. Exit code 1:
    nothing was heard to judge by.
    """
    from clicktimer.cli.hear_live import hear_microphone, list_inputs
    from clicktimer.reporting.text.placement import place_json, render_place
    from clicktimer.units.parse import parse_time_s

    if list_them:
        list_inputs()
        return MEASURED
    check_targets(json_target, None, [] if recording is None else [recording])
    if recording is None:
        if prove:
            raise SettingsError("--prove needs a recording: make a short one there and give it")
        place = hear_microphone(device, None if for_text is None else parse_time_s(for_text), snapped=snaps)
    elif device is not None or for_text is not None:
        raise SettingsError("--device and --for belong to the microphone; leave them out, or the recording")
    else:
        with compiling_is_told(), ProgressBar(Path(recording).name) as progress:
            place = _judged(recording, prove, snaps, progress)
    if json_target != STDOUT:
        click.echo(render_place(place, emphasis=emphasis_for()), nl=False)
    if json_target is not None:
        from clicktimer import __version__
        from clicktimer.reporting.json.measurement import document_text

        put(json_target, document_text(place_json(place, program_version=__version__)))
    return NOT_MEASURED if place.grade == "unheard" else MEASURED


def _judged(recording: str, prove: bool, snaps: bool, progress: ProgressBar) -> Place:
    from clicktimer.assessment.options import MeasureOptions
    from clicktimer.audio import open_recording
    from clicktimer.pipeline import conclude, hear_blocks
    from clicktimer.quality.placement import judge_place, sharp_sounds

    opened = open_recording(recording)
    hint_s = opened.info.duration_hint_s
    heard = hear_blocks(opened.blocks(), lambda s: progress(s, hint_s))
    measured = conclude(heard, opened.finish(), MeasureOptions(), opened.notices)
    place = judge_place(heard.candidates, heard.levels, measured, snaps=snaps)
    if not prove:
        return place
    from clicktimer.quality.proof import prove_clicks, prove_snaps, recording_again

    again = recording_again([recording])
    if place.what == "clicks":
        return replace(place, proof=prove_clicks(again, measured, progress=progress))
    times_s = heard.candidates.time_s[sharp_sounds(heard.candidates)].tolist()
    proof = prove_snaps(again, times_s, measured.source.duration_s, measured.source.sha256)
    return replace(place, proof=proof)
