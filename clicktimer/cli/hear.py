"""``clicktimer hear``: is this place good enough? One recording in, a judgement of room and recorder out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from clicktimer.cli.failures import MEASURED, NOT_MEASURED
from clicktimer.cli.output import STDOUT, check_targets, emphasis_for, put
from clicktimer.cli.progress import ProgressBar

if TYPE_CHECKING:
    from clicktimer.place import Place


@click.command("hear", short_help="Say whether a place is good enough to hear the switch.")
@click.argument("recording", metavar="RECORDING")
@click.option("--prove", is_flag=True, help="Add copies of the clicks to the recording and count how many are caught.")
@click.option("--json", "json_target", metavar="FILE|-", help="Write the result as JSON.")
def hear_command(recording: str, prove: bool, json_target: str | None) -> int:
    """Say whether a place is good enough to hear the pressure switch.

    RECORDING is a short one made there: best with a start and a stop of the pump in
    it; if the pump does not run, snap your fingers a few times beside the switch.
    It tells how far the clicks stand over the room, whether the recorder spoils them,
    and what to do about it. Exit code 1: nothing was heard to judge by.
    """
    from clicktimer.report.place import place_json, render_place

    check_targets(json_target, None, [recording])
    with ProgressBar(Path(recording).name) as progress:
        place = _judged(recording, prove, progress)
    if json_target != STDOUT:
        click.echo(render_place(place, emphasis=emphasis_for()), nl=False)
    if json_target is not None:
        from clicktimer import __version__
        from clicktimer.report.machine import document_text

        put(json_target, document_text(place_json(place, program_version=__version__)))
    return NOT_MEASURED if place.grade == "unheard" else MEASURED


def _judged(recording: str, prove: bool, progress: ProgressBar) -> Place:
    from clicktimer.pipeline import conclude, hear_blocks
    from clicktimer.place import judge_place, sharp_sounds
    from clicktimer.settings import MeasureOptions
    from clicktimer.sound import open_recording

    opened = open_recording(recording)
    hint_s = opened.info.duration_hint_s
    heard = hear_blocks(opened.blocks(), lambda s: progress(s, hint_s))
    measured = conclude(heard, opened.finish(), MeasureOptions(), opened.notices)
    place = judge_place(heard.candidates, heard.levels, measured)
    if not prove:
        return place
    from clicktimer.prove import prove_clicks, prove_snaps, recording_again

    again = recording_again([recording])
    if place.what == "clicks":
        return replace(place, proof=prove_clicks(again, measured, progress=progress))
    times_s = heard.candidates.time_s[sharp_sounds(heard.candidates)].tolist()
    proof = prove_snaps(again, times_s, measured.source.duration_s, measured.source.sha256)
    return replace(place, proof=proof)
