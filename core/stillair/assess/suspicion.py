"""Entries that cannot be, and entries that fit what is expected only in another unit."""

from __future__ import annotations

import copy
from collections.abc import Iterator

from stillair import quantity
from stillair.condition.core import NumberDomain, Ref
from stillair.condition.tree import open_tests
from stillair.possible import Number
from stillair.verdict import Verdict

from .history import History, Observation
from .program import Cond, Program
from .states import Suspicion
from .view import View

__all__ = ["suspicions"]


def suspicions(program: Program, history: History, view: View) -> list[Suspicion]:
    """Entries that cannot be, and entries that fit what is expected only in another unit.

    An entry made again with the same value is taken as confirmed, but not of a safety fact that cannot be.
    """
    found: dict[int, Suspicion] = {}
    for impossible in program.impossible:
        observed = [(name, o) for name in impossible.facts if (o := _latest(history, view, name)) is not None]
        if observed and view.judge(impossible.when) is Verdict.HOLDS:
            for name, observation in observed:
                # What people's safety hangs on is not settled by saying it twice.
                again = not program.facts[name].spec.safety and _confirmed_again(history, observation)
                suspicion = Suspicion(Ref(name), observation, impossible.slip, confirmed=again)
                found.setdefault(observation.line, suspicion)
    for suspect in program.suspects:
        observed = [(name, o) for name in suspect.facts if (o := _latest(history, view, name)) is not None]
        if not observed or view.judge(suspect.expects) is not Verdict.FAILS:
            continue
        for name, observation in observed:
            if _confirmed_again(history, observation):
                continue
            for other, text in _other_readings(program, name, observation):
                tried = copy.copy(history)
                tried.observations = dict(history.observations)
                key = (name, None)
                tried.observations[key] = [
                    _replaced(o, other) if o is observation else o for o in history.observations[key]
                ]
                if _could_fit(View(program, tried, view.moment), suspect.expects):
                    slip = f"{observation.read} does not fit; {text} would. Which was read?"
                    found.setdefault(observation.line, Suspicion(Ref(name), observation, slip, text))
    return list(found.values())


def _could_fit(view: View, expects: Cond) -> bool:
    """Whether what is expected holds, or is open only because something else is not known exactly."""
    verdict = view.judge(expects)
    if verdict is not Verdict.OPEN:
        return verdict is Verdict.HOLDS
    values = [view.value(test.ref) for test in open_tests(expects.flat, view.value)]
    return not any(isinstance(value, Number) and value.undefined for value in values)


def _latest(history: History, view: View, name: str) -> Observation | None:
    found = [o for o in history.before((name, None), view.moment) if o.value is not None]
    return found[-1] if found else None


def _confirmed_again(history: History, observation: Observation) -> bool:
    """Whether the same was read again right after, or before: then it is no slip of the unit."""
    found = history.observations[observation.fact, observation.member]
    place = found.index(observation)
    return any(
        o.value == observation.value for o in (*found[place - 1 : place], *found[place + 1 : place + 2])
    )


def _replaced(observation: Observation, value: float) -> Observation:
    return observation._replace(value=value)


def _other_readings(program: Program, name: str, observation: Observation) -> Iterator[tuple[float, str]]:
    """What the number typed would be under the units it is often confused with."""
    fact = program.facts[name]
    if not isinstance(fact.domain, NumberDomain) or not observation.read:
        return
    try:
        typed = quantity.read(observation.read, fact.domain.dimension, default=fact.unit)
    except quantity.QuantityError:
        return
    for other in quantity.other_units(typed):
        if other.dimension == fact.domain.dimension:
            yield other.value, other.typed
