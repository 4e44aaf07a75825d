"""What is open in a guided session: what stands, what is not yet allowed, and facts to answer out of turn."""

from __future__ import annotations

from stillair.assess import Assessment, StepState
from stillair.condition.core import Ref
from stillair.wording import Wording

from .answers import Answers
from .labels import rule_said, standing, step_said
from .typed import number_of

__all__ = ["ask_open"]

_MOST_STEPS, _MOST_FACTS = 2, 5
"""How much is shown at once: with the prompt some twelve lines, what fits a small screen (judgement)."""
_MOST_REASONS = 3
"""Reasons shown of a step when everything is shown (judgement)."""


def ask_open(answers: Answers, found: Assessment) -> None:
    """Show what is open, grouped and short, then all of it on `w`; take one fact by its number."""
    refs = _show(answers, found, everything=False)
    typed = answers.screen.ask()
    if typed.lower() == "w":
        refs = _show(answers, found, everything=True)
        typed = answers.screen.ask()
    if typed.lower() not in ("", "z"):
        answers.one(found, refs[number_of(typed, len(refs)) - 1])


def _show(answers: Answers, found: Assessment, everything: bool) -> list[Ref]:
    """The facts shown, in the order of their numbers."""
    screen, words = answers.screen, Wording(found, answers.session.zone())
    for state in standing(found):
        word, said = rule_said(words, state)
        lifted = found.program.rules[state.rule].spec.lifted_by
        if word == "STOP" or everything:
            screen.say(said, f"{word}: ", bold=word == "STOP")
            if lifted:
                screen.say(lifted, "  lifted when: ")
    if everything:
        answers.asking.waits(found)
    held = _held(found)
    shown = held if everything else held[:_MOST_STEPS]
    for step, count in shown:
        word = "stopped" if step.status == "stopped" else "not yet"
        reasons = [words.reason(reason) for reason in step.permission.reasons]
        title = step_said(words, step.step, step.member if count == 1 else None)
        if count > 1:
            title += f", for each of {count}"
        if not everything:
            screen.short(f"{title}: {reasons[0]}" if reasons else title, f"{word}: ")
            continue
        screen.say(title, f"{word}: ")
        for reason in reasons[:_MOST_REASONS]:
            screen.say(reason, "  ")
    refs, had = _open(found)
    numbered = [*refs, *had] if everything else [*refs, *had][:_MOST_FACTS]
    for number, ref in enumerate(numbered, 1):
        text = words.question(ref)
        if ref in had:
            text += f" (could not be had: {found.history.observations[ref.name, ref.member][-1].why})"
        if everything:
            screen.say(text, f"  {number} ")
        else:
            screen.short(text, f"  {number} ")
    if not numbered:
        screen.say("No fact is missing.")
    more = [
        f"{count} more {what}"
        for count, what in (
            (len(held) - len(shown), "steps"),
            (len(refs) + len(had) - len(numbered), "facts"),
        )
        if count
    ]
    if more:
        screen.say(f"and {' and '.join(more)}; w shows all", "  ")
    screen.say("a number to answer one now; Enter goes back", "  ")
    return numbered


def _held(found: Assessment) -> list[tuple[StepState, int]]:
    """The steps that may not be done yet, and for how many members each; the first member stands for all."""
    first: dict[str, StepState] = {}
    counts: dict[str, int] = {}
    for step in found.steps:
        if step.status in ("stopped", "not yet", "held"):
            first.setdefault(step.step, step)
            counts[step.step] = counts.get(step.step, 0) + 1
    return [(step, counts[name]) for name, step in first.items()]


def _open(found: Assessment) -> tuple[list[Ref], list[Ref]]:
    """The facts that are open, those of the next action first; and those that could not be had."""
    wanted: dict[Ref, None] = dict.fromkeys(found.next.facts)
    for step in found.steps:
        if step.status in ("ready", "waiting"):
            wanted.update(dict.fromkeys(step.asks))
        elif step.status in ("stopped", "not yet", "held"):
            wanted.update(dict.fromkeys(step.permission.missing))
    had = [
        Ref(name, member)
        for (name, member), observations in found.history.observations.items()
        if observations[-1].value is None and name in found.program.facts
    ]
    return [ref for ref in wanted if ref not in had], had
