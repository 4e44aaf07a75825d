"""What two versions of a pack declare beside their conditions: what is there, how far it goes, its words.

Less that is stopped, asked, proved or gated is looser; so is what is good or on for longer. Where neither is
plain, as of words, it is different.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from stillair.assess import Program
from stillair.assess.program import Fact
from stillair.assess.uses import guarding
from stillair.assess.waits import lasting
from stillair.checklist import Text
from stillair.condition.core import NumberDomain, OptionDomain

__all__ = ["Outcome", "declared", "flat"]

STRICTER, LOOSER, NEITHER = 1, -1, 0
"""What more of something, or having it at all, makes of a pack."""
_WORDED = ("question of fact", "answer of fact", "words of step", "words of rule", "words of activity")


class Outcome(NamedTuple):
    """How one condition, or what is declared beside it, comes out: same, stricter, looser, different, new,
    gone or not told.

    `witness` are facts for which old and new differ; `edits` is what was changed, each in words.
    """

    kind: str
    name: str
    outcome: str
    witness: str | None
    edits: tuple[str, ...]
    guards: bool


class _Trait(NamedTuple):
    """Names, a number or a text that something is declared with; `more` is what more of it makes."""

    kind: str
    name: str
    value: frozenset[str] | float | str | None
    more: int
    guards: bool
    said: str | None = None

    def __str__(self) -> str:
        if self.said is not None:
            return self.said
        if isinstance(self.value, float):
            return "any time" if self.value == math.inf else lasting(self.value)
        if isinstance(self.value, frozenset):
            return ", ".join(sorted(self.value)) or "nothing"
        return flat(self.value) if self.value is not None else "nothing"


def declared(old: Program, new: Program) -> Iterator[Outcome]:
    """What is declared otherwise in one of the two, or not at all."""
    was, now = (dict(_owners(program)) for program in (old, new))
    for key in dict.fromkeys((*was, *now)):
        if key not in now:
            yield Outcome(*key, "gone", None, (f"left out: {flat(was[key])}",), _guards(old, key))
        elif key not in was:
            yield Outcome(*key, "new", None, (f"added: {flat(now[key])}",), _guards(new, key))
    before, after = ({(t.kind, t.name): t for t in _traits(program)} for program in (old, new))
    for key in (key for key in before if key in after):
        a, b = before[key], after[key]
        if a.value != b.value:
            edit = f"worded otherwise: {a} → {b}" if a.kind in _WORDED else f"{a} → {b}"
            yield Outcome(*key, _word(a, b), None, (edit,), a.guards or b.guards)


def flat(text: str) -> str:
    return " ".join(text.split())


def _guards(program: Program, key: tuple[str, str]) -> bool:
    kind, name = key
    return kind in ("activity", "powered state") or name in guarding(program)


def _word(old: _Trait, new: _Trait) -> str:
    was, now = old.value, new.value
    if isinstance(was, frozenset) and isinstance(now, frozenset):
        more, less = bool(now - was), bool(was - now)
    elif isinstance(was, float) and isinstance(now, float):
        more, less = now > was, now < was
    else:
        more, less = was is None, now is None
    if more is less or old.more == NEITHER:
        return "different"
    return "stricter" if more is (old.more == STRICTER) else "looser"


def _owners(program: Program) -> Iterator[tuple[tuple[str, str], str]]:
    """What is there, with what it is called."""
    for name, fact in program.facts.items():
        yield ("fact", name), fact.spec.ask
    for name, event in program.events.items():
        yield ("event", name), event.say if event is not None else name
    for name, wait in program.waits.items():
        yield ("wait", name), wait.spec.title
    for name, activity in program.activities.items():
        yield ("activity", name), activity.spec.title
    for name, step in program.steps.items():
        yield ("step", name), step.spec.title or name
    for name, powered in program.powered.items():
        yield ("powered state", name), powered.spec.title
    for name, place in program.places.items():
        yield ("place", name), place.spec.title


def _traits(program: Program) -> Iterator[_Trait]:
    yield from _of_facts(program)
    yield from _of_work(program)
    yield from _of_powered(program)
    yield from _of_rules(program)


def _of_facts(program: Program) -> Iterator[_Trait]:
    guards = guarding(program)
    for name, fact in program.facts.items():
        spec, domain, guard = fact.spec, fact.domain, name in guards
        yield _Trait("question of fact", name, flat(spec.ask), NEITHER, guard)
        if isinstance(domain, OptionDomain):
            yield _Trait("options of fact", name, frozenset(domain.names), NEITHER, guard)
            for option, label in domain.labels.items():
                yield _Trait("answer of fact", f"{name}: {option}", flat(label), NEITHER, guard)
            if fact.counts is not None:
                counted = fact.counted or domain.whole
                yield _Trait(
                    "answers that must count of fact", name, _names(domain, counted), STRICTER, guard
                )
        else:
            yield _Trait("options of fact", name, frozenset({domain.dimension.name}), NEITHER, guard)
            low, high = domain.low, domain.high
            yield _Trait("range of fact", name, f"{low:g} .. {high:g}", NEITHER, guard, _between(fact))
            said = "none" if spec.tolerance is None else spec.tolerance.text
            yield _Trait("tolerance of fact", name, fact.tolerance, STRICTER, guard, said)
        yield _Trait("safety of fact", name, "safety" if spec.safety else None, STRICTER, True)
        yield _Trait("void after of fact", name, _texts(spec.void_after), STRICTER, guard)
        life = math.inf if fact.good_for is None else fact.good_for
        yield _Trait("good for of fact", name, life, LOOSER, guard)
        yield _Trait("members of fact", name, fact.per, NEITHER, guard)
    for name, event in program.events.items():
        if event is not None:
            yield _Trait("undone by of event", name, _texts(event.undone_by), NEITHER, name in guards)
    for name, kind in program.kinds.items():
        for part in ("offset", "repeat", "resolution", "of_reading"):
            value = float(getattr(kind, part))
            yield _Trait(
                f"{part.replace('_', ' ')} of instrument", name, value, STRICTER, False, f"{value:g}"
            )


def _of_work(program: Program) -> Iterator[_Trait]:
    for name, step in program.steps.items():
        spec = step.spec
        activity = spec.activity.text if spec.activity is not None else None
        yield _Trait("activity of step", name, activity, STRICTER, True)
        yield _Trait("powered state of step", name, step.powered, NEITHER, True)
        yield _Trait("never of step", name, spec.never, STRICTER, True)
        yield _Trait("asked by step", name, frozenset(step.asks), STRICTER, False)
        yield _Trait("marks of step", name, _texts(spec.marks), NEITHER, False)
        yield _Trait("disturbed by step", name, _texts(spec.disturbs), NEITHER, False)
        every = math.inf if step.every is None else step.every
        yield _Trait("asked again by step", name, every, LOOSER, False)
        yield _Trait("wait of step", name, spec.wait.text if spec.wait is not None else None, STRICTER, False)
        yield _Trait("leave to pass over step", name, "optional" if spec.optional else None, LOOSER, False)
        yield _Trait("caution of step", name, spec.caution, STRICTER, False)
        yield _Trait("words of step", name, flat(f"{spec.title}. {spec.do or ''}"), NEITHER, False)
    for name, activity_ in program.activities.items():
        yield _Trait("words of activity", name, flat(activity_.spec.title), NEITHER, False)
        yield _Trait("caution of activity", name, activity_.spec.caution, STRICTER, False)
    for name, place in program.places.items():
        activity = place.spec.activity.text if place.spec.activity is not None else None
        yield _Trait("activity of place", name, activity, STRICTER, True)
    guards = guarding(program)
    for name, wait in program.waits.items():
        guard = name in guards
        lasts = wait.duration if wait.lasts is None else f"as long as {wait.lasts} says"
        yield _Trait("wait", name, lasts, STRICTER, guard)
        yield _Trait("since of wait", name, _texts(wait.spec.since), STRICTER, guard)
        yield _Trait("restarted by of wait", name, _texts(wait.spec.restarted_by), STRICTER, guard)


def _of_powered(program: Program) -> Iterator[_Trait]:
    for name, powered in program.powered.items():
        spec = powered.spec
        proof = frozenset(
            f"{fact} is {' or '.join(sorted(_names(program.facts[fact].domain, mask)))}"
            for fact, mask in powered.proof
        )
        yield _Trait("proof of powered state", name, proof, STRICTER, True)
        yield _Trait("freed by powered state", name, _texts(spec.frees), LOOSER, True)
        yield _Trait("time of powered state", name, powered.at_most, LOOSER, True, spec.at_most.text)
        yield _Trait("caution of powered state", name, spec.caution, STRICTER, True)


def _of_rules(program: Program) -> Iterator[_Trait]:
    for name, rule in program.rules.items():
        spec, stops = rule.spec, bool(rule.spec.stop)
        if stops:
            yield _Trait("stopped by", name, _texts(spec.stop), STRICTER, True)
        if spec.finding is not None:
            yield _Trait("finding of rule", name, spec.finding.text, NEITHER, False)
            yield _Trait("grade of rule", name, spec.grade, NEITHER, False)
        yield _Trait("members of rule", name, rule.per, NEITHER, stops)
        words = " / ".join(text for text in (spec.say, spec.caution, spec.lifted_by) if text)
        yield _Trait("words of rule", name, flat(words), NEITHER, stops)


def _texts(texts: Iterable[Text]) -> frozenset[str]:
    return frozenset(flat(text.text) for text in texts)


def _names(domain: OptionDomain | NumberDomain, mask: int) -> frozenset[str]:
    return frozenset(domain.of_mask(mask) if isinstance(domain, OptionDomain) else ())


def _between(fact: Fact) -> str:
    between = fact.spec.between
    return "any" if between is None else f"{between[0]} .. {between[1]}"
