"""Makes docs/causes.md from the table of causes."""

from __future__ import annotations

from clicktimer.assessment.causes import ranking
from clicktimer.assessment.causes.table import Cause, Check, Fact, Table, table
from clicktimer.reporting.messages.catalogue import Messages

SAY = Messages()

INTRODUCTION = """# Causes

Made by `python docs/make.py causes`; do not edit. The rules stand in `clicktimer/assessment/causes/`, the sentences in
`clicktimer/reporting/messages/en/` (`cause.toml`, `fact.toml`, `check.toml`).

What can be behind a short run, a pump that runs on, starts with no water in use and the like; what speaks for
and against each; the one measurement that settles it; and the check by hand. All of it is **common practice in
the trade, without a published source**; the weights are ours, and nobody has counted how often each cause is
met. So the ranking is a sum of weights and no probability.

How it is ranked: first, what is wrong at all (the complaints). Each cause that can be behind one of them starts
with 0 to 2 for how often it is met. Then the weights of all known signs are added; of signs that say the same
(one group) only the heaviest counts; what is not known counts for nothing. From {fits:g} a cause *fits*, from
{possible:g} it is *possible*. One is told as fitting best only if it fits, has one strong sign ({strong:g} or
more) and leads the next by {lead:g}; otherwise the ranking is told as open, with what would settle it. Where
the method does not apply ({method:g} or more), that is told instead.

A sign is given with `--air-valve`, or with `--seen NAME` and `--not-seen NAME` (see [What can be
seen](#what-can-be-seen)), or in the [site file](site.md); the rest comes from the recording and from the tank's
arithmetic ([formulas](formulas.md)).
"""


def page() -> str:
    """Return the text of docs/causes.md."""
    known = table()
    parts = [
        INTRODUCTION.format(
            fits=ranking.FITS,
            possible=ranking.POSSIBLE,
            strong=ranking.STRONG,
            lead=ranking.LEAD,
            method=ranking.DOES_NOT_APPLY,
        )
    ]
    parts.append("## Complaints\n\n| complaint | signs, any of which is enough |\n|---|---|\n" + _complaints(known))
    parts.append("## The causes\n")
    parts += [_cause(cause, known) for cause in known.causes]
    parts.append("## Checks by hand\n")
    parts += [_check(check) for check in known.checks]
    parts.append("## What can be seen\n\nNames for `--seen` and `--not-seen`.\n\n" + _facts(known, ("seen",)))
    parts.append("## Other signs\n\n" + _facts(known, ("sound", "tank", "site", "valve", "log"), with_origin=True))
    return "\n".join(parts).rstrip() + "\n"


def _complaints(known: Table) -> str:
    rows = []
    for complaint in known.complaints:
        signs = "; ".join(f"`{name}` {' or '.join(values)}" for name, values in complaint.signs.items())
        rows.append(f"| {SAY.text(f'complaint.{complaint.name}')} (`{complaint.name}`) | {signs} |")
    return "\n".join(rows) + "\n"


def _cause(cause: Cause, known: Table) -> str:
    words = {c.name: SAY.text(f"complaint.{c.name}") for c in known.complaints}
    lines = [f"### {SAY.text(cause.title)}", "", f"`{cause.name}`. {SAY.text(cause.what)}", ""]
    if cause.method:
        lines += ["**The method does not apply then**, and that is told in place of a ranking.", ""]
    lines += [
        f"Can be behind: {'; '.join(words[c] for c in cause.explains)}. Met: "
        f"{('seldom', 'now and then', 'often')[int(cause.common)]} ({cause.common:g}).",
        "",
        "| sign | is | weight | it means |",
        "|---|---|---|---|",
    ]
    for e in sorted(cause.evidence, key=lambda e: -e.weight):
        group = f" (group {e.group})" if e.group else ""
        says = SAY.text(e.reason(cause.name, e.values[0]))
        lines.append(f"| `{e.fact}` | {' or '.join(e.values)} | {e.weight:+g}{group} | {says} |")
    known_too = "".join(
        f" With `{name}` known: {SAY.text(cause.settle_for({name: ''}))}" for name in cause.settle_known
    )
    lines += ["", f"**What settles it.** {SAY.text(cause.settle_for({}))}{known_too}", ""]
    title = SAY.text(known.check(cause.check).title)
    lines += [f"**Check by hand.** [{title}](#{_anchor(title)})", ""]
    if cause.licensed:
        lines += [f"**Stop and call.** {SAY.texts(cause.stop)}", ""]
    return "\n".join(lines)


def _check(check: Check) -> str:
    lines = [f"### {SAY.text(check.title)}", ""]
    lines += [f"> **Caution.** {SAY.text(caution)}\n>" for caution in check.caution_reasons]
    lines[-1] = lines[-1].removesuffix("\n>")
    lines += ["", *(f"{number}. {SAY.text(step)}" for number, step in enumerate(check.steps, start=1)), ""]
    return "\n".join(lines)


def _facts(known: Table, origins: tuple[str, ...], *, with_origin: bool = False) -> str:
    origin_words = {
        "sound": "the recording",
        "tank": "the tank's arithmetic",
        "site": "options, site file",
        "valve": "`--air-valve`",
        "log": "a day or more of runs",
    }
    head = "| name | from | values | what it is | how to learn it |" if with_origin else "| name | what it is | how |"
    lines = [head, "|" + "---|" * (head.count("|") - 1)]
    for fact in known.facts:
        if fact.origin in origins:
            lines.append(_fact(fact, origin_words.get(fact.origin, "") if with_origin else ""))
    return "\n".join(lines) + "\n"


def _fact(fact: Fact, origin: str) -> str:
    between = f" {origin} | {', '.join(fact.values)} |" if origin else ""
    known_too = "".join(f" With `{name}` known: {SAY.text(fact.how_for({name: ''}))}" for name in fact.how_known)
    return (
        f"| `{fact.name}` |{between} {SAY.text(f'fact.{fact.name}.asks')} | {SAY.text(fact.how_for({}))}{known_too} |"
    )


def _anchor(title: str) -> str:
    return "".join(c for c in title.lower().replace(" ", "-") if c.isalnum() or c == "-")


def made() -> dict[str, str]:
    return {"docs/causes.md": page()}
