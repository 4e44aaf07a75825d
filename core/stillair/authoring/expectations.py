"""What a scenario expects, held against an assessment: every expectation with what was found."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import tzinfo
from functools import cached_property
from typing import Any, NamedTuple

from stillair import quantity
from stillair.assess import (
    Assessment,
    EntryError,
    Finding,
    May,
    NoSuch,
    Permission,
    RuleState,
    View,
    read_fact,
    read_value,
)
from stillair.assess.uses import Asked, by_name, named_verdict, verdict_in
from stillair.because import resolve
from stillair.condition.core import NumberDomain, Ref
from stillair.fault import did_you_mean
from stillair.job import Line
from stillair.possible import Number, Options
from stillair.verdict import Verdict
from stillair.wording import Wording

from .scenario import ScenarioError, only
from .shapes import listed

__all__ = ["Check", "Expectations", "TrailMaker"]

NEXT_KINDS = ("settle", "ask", "list", "stopped", "finished")
"""What may come next where it is no step."""

#: The trail part by part, each made when it is asked for.
TrailMaker = Callable[[Assessment, Sequence[Line], tzinfo], Iterator[str]]


class Check(NamedTuple):
    """One expectation: what it is about, what was expected and what was found; `name` is what explains it."""

    what: str
    expected: Any
    found: Any
    name: str = ""


class Expectations:
    """What may be expected of one assessment. `members` are those of every list now."""

    def __init__(
        self,
        found: Assessment,
        lines: Sequence[Line],
        members: Mapping[str, list[str]],
        zone: tzinfo,
        trail: TrailMaker | None,
    ) -> None:
        self.program = found.program
        self.found = found
        self.lines = lines
        self.members = members
        self.zone = zone
        self._make_trail = trail
        self._trail = ""
        """As far as it was needed."""

    def checks(self, wanted: Mapping[str, Any]) -> Iterable[Check]:
        """Every expectation of an `expect`. ScenarioError where it asks for what there is not."""
        known: Mapping[str, Callable[[Any], Iterable[Check]]] = {
            "findings": self._findings,
            "rules": self._rules,
            "conditions": self._conditions,
            "because": self._because,
            "may": self._may,
            "stopped": self._stopped,
            "allowed": self._allowed,
            "next": self._next,
            "asks": self._asks,
            "not asked": self._not_asked,
            "awaits": self._awaits,
            "facts": self._facts,
            "calculations": self._calculations,
            "voided": self._voided,
            "suspects": self._suspects,
            "refuses": self._refuses,
            "trail says": self._trail_says,
            "trail does not say": self._trail_silent,
            "places": self._places,
        }
        only(wanted, list(known), "`expect`")
        for key, value in wanted.items():
            yield from known[key](value if isinstance(value, Mapping) or key == "next" else listed(value))

    @cached_property
    def _parts(self) -> Iterator[str]:
        """The parts of the trail that were not needed yet."""
        assert self._make_trail is not None
        return map(_folded, self._make_trail(self.found, self.lines, self.zone))

    def _said_in_trail(self, phrase: str) -> bool:
        """Whether the trail says so; it is made no further than to the part that does."""
        wanted = _folded(phrase)
        while wanted not in self._trail:
            part = next(self._parts, None)
            if part is None:
                return False
            self._trail += f" {part}"
        return True

    def _named(self, text: str) -> tuple[str, str | None]:
        name, _, member = str(text).partition(" of ")
        return name, member or None

    def _findings(self, wanted: Mapping[str, Any]) -> Iterable[Check]:
        for text, grade in wanted.items():
            got = self._finding(text).grade
            yield Check(f"finding {text}", str(grade).replace(" ", "_"), got, text)

    def _finding(self, text: str) -> Finding:
        try:
            return self.found.finding(*self._named(text))
        except NoSuch:
            there = [(f.name, f.member) for f in self.found.findings]
            hint = self._hint(text, self.program.findings, there)
            raise ScenarioError(f"there is no finding `{text}`{hint}") from None

    def _rules(self, wanted: Mapping[str, Any]) -> Iterable[Check]:
        for text, verdict in wanted.items():
            yield Check(f"rule {text}", _verdict(verdict), self._rule(text).verdict.word, text)

    def _rule(self, text: str) -> RuleState:
        try:
            return self.found.rule(*self._named(text))
        except NoSuch:
            there = [(s.rule, s.member) for s in self.found.rules]
            hint = self._hint(text, self.program.rules, there)
            raise ScenarioError(f"there is no rule `{text}`{hint}") from None

    def _hint(self, text: str, known: Iterable[str], there: Iterable[tuple[str, str | None]]) -> str:
        """What to write instead: of a name kept per a list, with each of its members."""
        name, member = self._named(text)
        with_members = [f"`{other} of {each}`" for other, each in there if other == name and each is not None]
        if with_members:
            return f" ({'one of: ' if len(with_members) > 1 else 'write '}{', '.join(with_members[:8])})"
        if name in known:
            return " (it is kept per a list that has no members)" if member is None else ""
        near = did_you_mean(name, known)
        return f" ({near})" if near else ""

    def _conditions(self, wanted: Mapping[str, Any]) -> Iterable[Check]:
        return conditions(self.found.view, wanted)

    def _because(self, wanted: Mapping[str, Any]) -> Iterable[Check]:
        for text, phrases in wanted.items():
            said = self._explanation(text)
            for phrase in listed(phrases):
                got = phrase if phrase.casefold() in said.casefold() else said
                yield Check(f"because {text}", phrase, got)

    def _explanation(self, text: str) -> str:
        _, name, member = resolve(Wording(self.found, self.zone), str(text))
        parts: list[str] = []
        there = False
        for ask in (self.found.rule, self.found.finding):
            # A rule and a finding may have one name, each kept per a list of its own, or per none.
            with suppress(NoSuch):
                parts += [str(r) for r in ask(name, member).reasons]
                there = True
        if not there and name in self.program.rules:
            self._rule(name)
        if not there and name in self.program.findings:
            self._finding(name)
        if name in self.program.facts or name in self.program.calculations or name in self.program.waits:
            parts += [str(r) for r in self.found.view.value(Ref(name, member)).reasons]
        permission = None
        if name in self.program.steps:
            permission = self.found.permission(name, member)
        elif name in self.program.activities:
            permission = self.found.activity(name)
        if permission is not None:
            parts += [str(r) for r in permission.reasons]
            parts += [f"{b.say} {b.lifted_by or ''}" for b in permission.blocked]
            parts += [str(m) for m in permission.missing]
        return "; ".join(parts)

    def _may(self, wanted: Mapping[str, Any]) -> Iterable[Check]:
        for text, answer in wanted.items():
            name, member = self._named(text)
            if name not in self.program.steps:
                raise ScenarioError(f"there is no step `{name}`")
            got = self.found.permission(name, member).may.value
            yield Check(f"may {text}", str(answer), got, text)

    def _activity(self, name: str) -> Permission:
        if name not in self.program.activities:
            near = did_you_mean(name, self.program.activities)
            raise ScenarioError(f"there is no activity `{name}`" + (f" ({near})" if near else ""))
        return self.found.activity(name)

    def _stopped(self, wanted: Sequence[str]) -> Iterable[Check]:
        if not wanted:
            activities = self.program.activities
            yield Check("stopped", [], [n for n in activities if self.found.activity(n).may is May.NO])
        for name in wanted:
            got = self._activity(name).may.value
            yield Check(f"activity {name}", May.NO.value, got, name)

    def _allowed(self, wanted: Sequence[str]) -> Iterable[Check]:
        for name in wanted:
            permission = self._activity(name)
            got = permission.may.value
            if permission.may is not May.YES:
                got += ": " + "; ".join([*map(str, permission.reasons), *(b.say for b in permission.blocked)])
            yield Check(f"activity {name}", May.YES.value, got, name)

    def _next(self, wanted: str) -> Iterable[Check]:
        step, member = self._named(wanted)
        if step not in self.program.steps and step not in NEXT_KINDS:
            near = did_you_mean(step, [*self.program.steps, *NEXT_KINDS])
            raise ScenarioError(f"there is no step `{step}`" + (f" ({near})" if near else ""))
        got = self.found.next.step or self.found.next.kind
        if member is not None:
            got = f"{got} of {self.found.next.member}"
        yield Check("next", str(wanted), got, str(wanted))

    def _asks(self, wanted: Sequence[str]) -> Iterable[Check]:
        asked = [str(r) for r in self.found.next.facts]
        if not wanted:
            yield Check("asks", [], asked)
        for name in wanted:
            yield Check("asks", name, name if name in asked else asked)

    def _not_asked(self, wanted: Sequence[str]) -> Iterable[Check]:
        asked = {str(r) for s in self.found.steps if s.status == "ready" for r in s.asks} | {
            str(r) for r in self.found.next.facts
        }
        for name in wanted:
            fact = self.program.facts.get(self._named(name)[0])
            if fact is None:
                near = did_you_mean(name, self.program.facts)
                raise ScenarioError(f"there is no fact `{name}`" + (f" ({near})" if near else ""))
            if (fact.per is None) is not (self._named(name)[1] is None):
                wanted_as = fact.name if fact.per is None else f"{fact.name} of MEMBER"
                raise ScenarioError(f"`{name}` is no fact as it is asked (write `{wanted_as}`)")
            yield Check(f"not asked {name}", "not asked", "asked" if name in asked else "not asked")

    def _awaits(self, wanted: Sequence[str]) -> Iterable[Check]:
        running = sorted(w.name for w in self.found.running())
        if not wanted:
            yield Check("awaits", [], running)
        for name in wanted:
            yield Check(f"awaits {name}", name, name if name in running else running, name)

    def _facts(self, wanted: Mapping[str, Any]) -> Iterable[Check]:
        for text, value in wanted.items():
            ref = read_fact(self.program, text, self.members)
            yield Check(f"fact {text}", str(value), _shown(self.found, ref, str(value)), text)

    def _calculations(self, wanted: Mapping[str, Any]) -> Iterable[Check]:
        for text, value in wanted.items():
            name, _, member = str(text).partition(" of ")
            if name not in self.program.calculations:
                raise ScenarioError(f"there is no calculation `{name}`")
            number = self.found.view.value(Ref(name, member or None))
            domain = self.program.symbols[name].domain
            assert isinstance(number, Number) and isinstance(domain, NumberDomain)
            yield Check(f"calculation {text}", str(value), _calculated(number, domain, str(value)), text)

    def _voided(self, wanted: Sequence[str]) -> Iterable[Check]:
        for text in wanted:
            ref = read_fact(self.program, text, self.members)
            fact = self.program.facts[ref.name]
            taken = [
                o
                for o in self.found.history.before((ref.name, ref.member), self.found.view.moment)
                if o.value is not None
            ]
            doubt = self.found.view.doubt(fact, ref, taken[-1]) if taken else None
            reasons = {r.why.name for r in self.found.view.value(ref).reasons}
            void = (doubt is not None and doubt.why.name == "VOID") or bool(reasons & {"VOID", "STALE"})
            yield Check(f"voided {text}", "void", "void" if void else f"stands ({doubt})", text)

    def _suspects(self, wanted: Sequence[str]) -> Iterable[Check]:
        yield Check("suspects", sorted(wanted), sorted({str(s.ref) for s in self.found.suspicions}))

    def _refuses(self, wanted: Mapping[str, Any]) -> Iterable[Check]:
        for name, value in wanted.items():
            ref = read_fact(self.program, name, self.members)
            try:
                read_value(self.program, ref, str(value), now=self.found.at, zone=self.zone)
                got = "taken"
            except EntryError:
                got = "refused"
            yield Check(f"refuses {name}", "refused", got)

    def _places(self, wanted: Mapping[str, Any]) -> Iterable[Check]:
        states = {p.place: p.status for p in self.found.places}
        for name, status in wanted.items():
            yield Check(f"place {name}", str(status), states.get(name, "unknown place"), name)

    def _trail_says(self, wanted: Sequence[str]) -> Iterable[Check]:
        for phrase in wanted if self._make_trail is not None else ():
            said = self._said_in_trail(phrase)
            yield Check("trail says", phrase, phrase if said else "no such words")

    def _trail_silent(self, wanted: Sequence[str]) -> Iterable[Check]:
        for phrase in wanted if self._make_trail is not None else ():
            said = self._said_in_trail(phrase)
            yield Check("trail does not say", "silence", phrase if said else "silence")


def conditions(view: View, wanted: Mapping[str, Any]) -> Iterable[Check]:
    """What is expected of the verdicts of conditions, by their uses or their names."""
    known = by_name(view.program)
    for text, verdict in wanted.items():
        name, members = str(text), ""
        if name not in known:
            name, _, members = name.rpartition(" of ")
        if name not in known:
            near = did_you_mean(str(text), known)
            raise ScenarioError(f"there is no condition `{text}`" + (f" ({near})" if near else ""))
        about, of = known[name], members.split(", ") if members else ()
        named = isinstance(about, Asked)
        got = named_verdict(view, about, of) if isinstance(about, Asked) else verdict_in(view, about, of)
        told = str(text) if named else f"condition {text}"
        yield Check(told, _verdict(verdict), "not judged" if got is None else got.word)


def _verdict(word: object) -> str:
    """One of the words for what a condition comes to. ScenarioError for any other."""
    known = [*(verdict.word for verdict in Verdict), "not judged"]
    if str(word) not in known:
        raise ScenarioError(f"`{word}` is no verdict: it is {', '.join(known[:-1])} or {known[-1]}")
    return str(word)


def _folded(text: str) -> str:
    return " ".join(str(text).split()).casefold()


def _shown(found: Assessment, ref: Ref, wanted: str) -> str:
    """What a fact is now, in the words of the expectation where it is a number."""
    value = found.view.value(ref)
    domain = found.program.facts[ref.name].domain
    if isinstance(value, Options):
        names = domain.of_mask(value.mask)  # type: ignore[union-attr]
        return names[0] if len(names) == 1 else "open"
    if value.reasons or value.undefined:
        return "open"
    assert isinstance(domain, NumberDomain)
    if wanted == "open":
        return "known"
    read = quantity.read(wanted, domain.dimension, default=found.program.facts[ref.name].unit)
    if abs(read.value - value.low) <= 1e-9 * max(1.0, abs(value.low)):
        return wanted
    unit = found.program.facts[ref.name].unit
    return quantity.show(value.low, unit) if unit is not None else str(value.low)


def _calculated(number: Number, domain: NumberDomain, wanted: str) -> str:
    """What a calculation gives, in the words of the expectation where it is that number, as far as written.

    `open` is no number at all; `at least 5 oz` and `at most 5 oz` are one end, the other one not known.
    """
    if number.undefined:
        return "open"
    end = next((word for word in ("at least ", "at most ") if wanted.startswith(word)), "")
    if wanted == "open":
        return "known"
    written = wanted.removeprefix(end)
    read = quantity.read(written, domain.dimension)
    digits = re.match(r"-?\d+(?:\.(\d+))?", written)
    assert digits is not None, written
    step = (
        quantity.read(
            re.sub(r"^-?[\d.]+", f"{10.0 ** -len(digits[1] or ''):.9f}", written), domain.dimension
        ).value
        - quantity.read(re.sub(r"^-?[\d.]+", "0", written), domain.dimension).value
    )
    if (number.low == -math.inf, number.high == math.inf) != (end == "at most ", end == "at least "):
        return f"{number.low} to {number.high}"
    ends = {"at least ": (number.low,), "at most ": (number.high,), "": (number.low, number.high)}[end]
    return wanted if all(abs(each - read.value) <= 0.5001 * step for each in ends) else str(ends)
