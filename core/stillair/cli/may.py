"""`may`: whether a step or an activity may go on, and if not, what is missing or why."""

from __future__ import annotations

from collections.abc import Sequence

import click

from stillair.assess import May, Permission
from stillair.because import lifting, permission_says, resolve
from stillair.wording import Wording

from . import Mistake
from .account_format import format_option, print_json
from .labels import in_order, rule_said, step_said
from .permitting import answer_code, safety_stops
from .screen import Screen
from .session import Session, Settings

__all__ = ["may", "say_permission"]


@click.command()
@click.argument("job", type=click.Path())
@click.argument("step", nargs=-1, required=True)
@format_option
@click.pass_obj
def may(settings: Settings, job: str, step: tuple[str, ...], as_json: bool) -> None:
    """Say whether STEP of JOB (or an activity) may be done: yes; not yet, what is missing; or no, why.

    Exit code 0: yes. 1: not yet, or no. 3: no for safety, or not yet while a safety stop stands.
    """
    with Session.reading(settings, job) as session:
        words = session.words()
    kind, name, member = resolve(words, " ".join(step))
    if kind not in ("step", "activity"):
        raise Mistake(f"`{name}` is a {kind}, not a step", "`stillair why` explains it")
    members: Sequence[str | None] = [member]
    per = words.program.steps[name].per if kind == "step" else None
    if per is not None and member is None:
        members = words.found.view.members(per)[0] or [None]
    is_step = kind == "step"
    answers = [
        (m, words.found.permission(name, m) if is_step else words.found.any_step(name)) for m in members
    ]
    if as_json:
        from stillair import account

        told = [account.permission(words, name, m, a, step=is_step) for m, a in answers]
        if len(told) == 1:
            print_json(told[0])
        else:
            print_json({"format": account.PERMISSION, "step": name, "members": told})
    else:
        screen = Screen()
        said: set[str | None] = set()
        for m, answer in answers:
            title = step_said(words, name, m) if is_step else words.program.activities[name].spec.title
            screen.say(f"{answer.may.value}: {title}", bold=True)
            say_permission(screen, words, answer, name if is_step else None, m)
            said |= {blocked.rule for blocked in answer.blocked}
        for state in safety_stops(words.found):
            if state.rule not in said:
                screen.say(rule_said(words, state)[1], "STOP stands elsewhere: ", bold=True)
    raise click.exceptions.Exit(max(answer_code(words.found, answer) for _, answer in answers))


def say_permission(
    screen: Screen, words: Wording, answer: Permission, step: str | None = None, member: str | None = None
) -> None:
    """What is missing, or what stands against it and what lifts that."""
    if answer.may is May.NOT_YET:
        if answer.missing:
            screen.say("missing:")
        for ref in answer.missing:
            screen.say(f"{words.name(ref)}: {words.question(ref)}", "- ")
        for said in permission_says(words, answer):
            screen.say(said, "because: ")
    for blocked in in_order(words.program, answer.blocked):
        screen.say(blocked.say, "because: ")
        if blocked.lifted_by:
            screen.say(blocked.lifted_by, "lifted by: ")
        if blocked.lines:
            screen.say(", ".join(map(str, blocked.lines)), "rests on line: ")
    if answer.may is May.NO and step is not None:
        if words.program.steps[step].spec.never is not None:
            screen.say("nothing lifts this", "lifted by: ")
            return
        for change in lifting(words, step, member):
            screen.say(change, "lifted by: ")
