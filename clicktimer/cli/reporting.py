"""What measure, day and report share to write a document: its target checked first, the document written last."""

from __future__ import annotations

import time
from collections.abc import Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from clicktimer.cli.output import write_whole
from clicktimer.cli.progress import ProgressBar
from clicktimer.cli.stopping import Wish, user_may_stop
from clicktimer.cli.waiting import compiling_is_told
from clicktimer.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from clicktimer.pipeline import Stage, Watch
    from clicktimer.reporting.document.compose import Presented
    from clicktimer.reporting.document.remeasure import Asked, Result
    from clicktimer.settings import Progress
    from clicktimer.site.values import Site

KINDS = (".html", ".htm", ".pdf")


def check_report_target(name: str, target: str | None, inputs: Sequence[str], others: Sequence[str | None]) -> None:
    """Refuse a document that cannot be written there, before anything is measured. Raises SettingsError."""
    if target is None:
        return
    path = Path(target)
    if path.suffix.lower() not in KINDS:
        raise SettingsError(f'{name} {target}: give a name that ends in ".html" or ".pdf"')
    if path.is_dir() or not path.parent.is_dir():
        what = "is a folder; give the name of a file" if path.is_dir() else "its folder does not exist; make it first"
        raise SettingsError(f"{name} {target}: {what}")
    if target in others:
        raise SettingsError(f"{name} needs a file of its own; {target} is given twice")
    if any(path.exists() and Path(one).exists() and path.samefile(one) for one in inputs):
        raise SettingsError(f"{name} {target} would overwrite the recording itself; choose another name")
    for package in ("jinja2",) if path.suffix.lower() != ".pdf" else ("typst",):
        _needed(package)
    _needed("matplotlib")


def _needed(package: str) -> None:
    from importlib.util import find_spec

    if find_spec(package) is None:
        raise SettingsError(f"a report needs the package {package}, which is missing: pip install {package}")


def site_given() -> Site | None:
    """The site file of the command that runs, or None."""
    found: Any = click.get_current_context().params.get("site_file")
    return found  # type: ignore[no-any-return]


def house_of(site: Site | None) -> dict[str, Any]:
    """What the site file says of the well and the household."""
    if site is None:
        return {}
    from clicktimer.site.house import house_values

    return house_values(site)


def presented_of(site: Site | None, **more: Any) -> Presented:
    """Who, for whom, where and notes, from the site file where the command line says nothing; and the looks."""
    from clicktimer.reporting.document.compose import Presented

    said = {} if site is None else {key: str(site.values[key]) for key in FREE if key in site.values}
    return Presented(**(said | {name: value for name, value in more.items() if value not in (None, "")}))


FREE = ("who", "client", "where", "notes")


def labels_read(path: str | None) -> tuple[str, str] | None:
    """The name and the text of a label file, checked. Raises InputError."""
    if path is None:
        return None
    from clicktimer.cycles.corrections import decode_labels, read_labels

    name, _ = read_labels(path)
    return name, decode_labels(Path(path).read_bytes(), name)


@contextmanager
def proof_timed(wanted: bool) -> Iterator[None]:
    """Say how long the proof took, where there is one."""
    began = time.monotonic()
    yield
    if wanted:
        click.echo(f"clicktimer: the proof by added clicks took {time.monotonic() - began:.0f} s", err=True)


def watched(name: str, *, prove_told: bool, wish: Wish | None = None) -> Watch:
    """Return a bar for each pass over the sound. name: of the recording. prove_told: say how long the proof took."""

    @contextmanager
    def watch(stage: Stage) -> Iterator[Progress]:
        if stage == "proof":
            with proof_timed(prove_told), ProgressBar(f"{name}, with copies of its clicks") as bar:
                yield bar
        elif wish is None:
            with compiling_is_told(), ProgressBar(name) as bar:
                yield bar
        else:
            with compiling_is_told(), user_may_stop(wish), ProgressBar(name) as bar:
                yield wish.watched(bar)

    return watch


def write_report(target: str, result: Result, asked: Asked, presented: Presented, paths: Sequence[str]) -> None:
    """Write the document of a result, and say where it lies. Raises SettingsError where it cannot be written."""
    from clicktimer import __version__
    from clicktimer.reporting.document.compose import compose
    from clicktimer.reporting.document.evidence import gather_evidence

    with ProgressBar(f"{Path(paths[0]).name} for the sound of its clicks") as bar:
        evidence = gather_evidence(paths, result.measured, every=presented.all_clicks, progress=bar)
    document = compose(result, asked, presented, evidence, program=__version__)
    path = Path(target)
    lacking = ""
    if path.suffix.lower() == ".pdf":
        from clicktimer.reporting.pdf import render_pdf

        pdf = render_pdf(document)
        data, lacking = pdf.data, pdf.lacking
    else:
        from clicktimer.reporting.html import render_html

        data = render_html(document)
    write_whole(path, data)
    click.echo(f"clicktimer: the report is in {target}", err=True)
    if lacking:
        letters = ", ".join(f"U+{ord(c):04X}" for c in lacking[:10])
        click.echo(
            f"clicktimer: the PDF's type lacks {len(lacking)} letter{'' if len(lacking) == 1 else 's'} ({letters}): "
            "they stand as a question mark; write .html to have them",
            err=True,
        )
