"""`why`: a finding, fact, rule, step or calculation explained, with its margins."""

from __future__ import annotations

import click

from stillair.because import Because, because
from stillair.margin import Judgement
from stillair.wording import Wording

from .account_format import format_option, print_json
from .screen import Screen
from .session import Session, Settings, job_zone

__all__ = ["why"]


@click.command()
@click.argument("job", type=click.Path())
@click.argument("name", nargs=-1, required=True)
@click.option("--at", metavar="TIME", help="As it was at that moment, by what had been entered then.")
@format_option
@click.pass_obj
def why(settings: Settings, job: str, name: tuple[str, ...], at: str | None, as_json: bool) -> None:
    """Explain NAME of JOB: a fact, finding, rule, calculation, step, activity, wait, place or limit.

    Every test is shown with its value and its margin; then what would decide it, or change it.
    """
    with Session.reading(settings, job) as session:
        moment = session.at(at) if at is not None else None
        found = session.assess(moment, moment)
        words = Wording(found, job_zone(session.lines))
    told = because(words, " ".join(name))
    if as_json:
        from stillair import account

        print_json(account.why(told))
        return
    _say_because(Screen(), told)


def _say_because(screen: Screen, told: Because, indent: str = "") -> None:
    screen.say(f"{told.kind} {told.name}: {told.state}", indent, bold=not indent)
    if told.title != told.name:
        screen.say(told.title, indent)
    for said in told.says:
        screen.say(said, indent + "- ")
    if told.working is not None:
        for step in (*told.working.steps, told.working.result):
            screen.say(step, indent + "  ")
        if told.working.doubt:
            screen.say(f"{told.working.doubt}, at 95 %", indent + "  ± ")
        for formula in told.working.formulas:
            screen.say(formula, indent + "formula: ")
        for valid in told.working.valid:
            screen.say(valid, indent + "valid: ")
    for heading, tree in told.trees:
        screen.say(f"{heading}: {tree.verdict.word}", indent)
        _say_tree(screen, tree, indent + "  ")
    for member in told.members:
        _say_because(screen, member, indent + "  ")
    for text in told.decides:
        screen.say(text, indent + "would decide it: ")
    for text in told.changes:
        screen.say(text, indent + "would change it: ")
    if told.source:
        screen.say(told.source, indent + "source: ")


def _say_tree(screen: Screen, tree: Judgement, indent: str) -> None:
    word = f"{tree.verdict.word:<5} "
    screen.say(f"{tree.join}:" if tree.join else tree.text, indent + word)
    # Deep trees keep their words in sight on a narrow screen.
    inner = indent + "  " if len(indent) < 20 else indent
    if tree.says:
        screen.say(tree.says, inner)
    for step in tree.working:
        screen.say(step, inner + "= ")
    if tree.doubt:
        screen.say(f"{tree.doubt}, at 95 %", inner + "± ")
    if tree.settles:
        screen.say(tree.settles, inner + "settled: ")
    for part in tree.parts:
        _say_tree(screen, part, inner)
