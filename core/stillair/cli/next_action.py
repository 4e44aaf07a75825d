"""`next`: the one next action of a job."""

from __future__ import annotations

import click

from stillair.condition.core import OptionDomain, Ref
from stillair.margin import wait_says
from stillair.sought import better_tests, chosen_place, stop_said, why_now
from stillair.wording import Wording

from .account_format import format_option, print_json
from .labels import fits, numbered, rule_said, standing, step_said
from .may import say_permission
from .opening import say_torn_off, torn_off
from .permitting import closed_with, code_of, safety_stops
from .screen import Screen
from .session import Session, Settings
from .settling import dispute_said, disputed
from .stops import say_stood, why_stopped

__all__ = ["next_", "say_next", "say_search"]


@click.command("next")
@click.argument("job", type=click.Path())
@format_option
@click.pass_obj
def next_(settings: Settings, job: str, as_json: bool) -> None:
    """Say the next action of JOB: one step, why, and what it asks.

    Exit code 3: a safety stop stands, whatever else may go on. 1: no step may be done now.
    """
    with Session.reading(settings, job) as session:
        words = session.words()
        end = closed_with(words.found)
        if as_json:
            from stillair import account

            told = {"at": account.moment(words, end[0]), "outcome": end[1]} if end is not None else None
            more = {"torn_off": torn_off(session), "closed": told, "stood": say_stood(session, words)}
            print_json({**account.next_action(words), **more})
        elif end is not None:
            screen = Screen()
            say_torn_off(session, screen)
            screen.say(f"The job was closed at {session.said(end[0])}: {end[1]}", bold=True)
            screen.say(f"`stillair guide {job} --reopen` opens it again, on the record.")
        else:
            screen = Screen()
            say_torn_off(session, screen)
            for text in say_stood(session, words):
                screen.say(text, "STOP stood: ", bold=True)
            say_next(screen, words)
            if words.found.next.kind == "settle":
                for each in disputed(words.found, words.found.next.facts[0]):
                    screen.say(dispute_said(session, words.found, each), "entry: ")
    code = code_of(words.found)
    if code:
        raise click.exceptions.Exit(code)


def say_next(screen: Screen, words: Wording) -> None:
    found, action = words.found, words.found.next
    for state in standing(found):
        word, said = rule_said(words, state)
        if word == "STOP":
            screen.say(said, "STOP: ", bold=True)
            lifted = words.program.rules[state.rule].spec.lifted_by
            if lifted:
                screen.say(lifted, "  lifted by: ")
    if not safety_stops(found) and action.kind != "stopped":
        for said in why_stopped(words):
            screen.say(said, "STOP: ", bold=True)
    step = words.program.steps.get(action.step or "")
    title = step_said(words, step.spec.name, action.member) if step is not None else ""
    match action.kind:
        case "finished":
            screen.say("Nothing is left to do in the open checklists.")
        case "settle":
            assert action.suspicion is not None
            doubted = action.suspicion
            screen.say(f"Settle line {doubted.observation.line}, {doubted.ref}: {doubted.slip}")
            if doubted.other:
                screen.say(f"enter it again as {doubted.other}, or again as it was", "  ")
        case "list":
            spec = words.program.lists.get(action.list or "")
            screen.say(f"Say whether the list is complete: {spec.title if spec is not None else action.list}")
            if spec is not None and spec.ask:
                screen.say(spec.ask, "  ")
        case "stopped":
            screen.say(f"Stopped before: {title}", bold=True)
            say_permission(screen, words, action.permission)
        case "wait":
            screen.say(f"Wait: {title}", bold=True)
        case "begin":
            screen.say(f"Begin the powered state: {action.why}", bold=True)
        case _:
            screen.say(title, bold=True)
    if step is not None and step.spec.do and action.kind in ("do", "ask", "begin", "wait"):
        screen.say(" ".join(step.spec.do.split()))
    if action.why and action.kind != "settle":
        screen.say(action.why, "why: ")
    say_search(screen, words)
    if step is not None and step.spec.caution:
        screen.say(step.spec.caution, "CAUTION: ")
    for ref in action.facts if action.kind != "settle" else ():
        _say_question(screen, words, ref)
    for wait in found.running():
        screen.say(wait_says(words, found.view, wait.name), "wait: ")


def say_search(screen: Screen, words: Wording) -> None:
    """Why the place in hand is next, and that the search is worth no more, where it is not."""
    search = words.found.search
    chosen = chosen_place(words.found.next, search)
    if search is None or chosen is None:
        return
    screen.say(why_now(words, chosen), "why now: ")
    if search.over:
        screen.say(stop_said(words, search), "FOUND: ")
        for said in better_tests(words, search):
            screen.say(said, "better: ")


def _say_question(screen: Screen, words: Wording, ref: Ref) -> None:
    screen.say(words.question(ref), "- ")
    fact = words.program.facts[ref.name]
    domain = fact.domain
    options = numbered(words.program, ref)
    if options and isinstance(domain, OptionDomain):
        said = ", ".join(f"{name} ({domain.labels.get(name, name)})" for name in options)
        if all(domain.labels.get(name, name).casefold() == name for name in options):
            said = ", ".join(options)
    else:
        said = fits(words.program, ref)
    screen.say(f"{words.name(ref)}= {said}", "  ")
