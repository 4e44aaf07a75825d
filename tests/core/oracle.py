"""A slow, independent reference for what a checklist means: every possible completion is tried.

Nothing here uses the evaluator under test. A `World` is a small checklist in plain data, with its YAML; a job
is a list of `Entry`. `Situation` says what each fact may still be at one moment by what had been entered by
another; `outcomes` evaluates a condition with ordinary two-valued logic in every completion of what is not
known: every value on the grid, up to two more members of an open list, either answer of a comparison with a
number that does not exist. A verdict is right if it is decided only where all completions agree. Times are
whole minutes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

__all__ = [
    "CALCULATORS",
    "CATALOGUE",
    "GRID",
    "Condition",
    "Entry",
    "Fact",
    "Known",
    "Listed",
    "Rule",
    "Situation",
    "TooMany",
    "Wait",
    "World",
    "outcomes",
    "text_of",
    "walk",
]

#: The numbers a fact may have: on, below, between and above the bounds 1 and 2 that conditions mostly name.
GRID = (0.0, 1.0, 1.5, 2.0, 3.0)
LOW, HIGH = 0, 3
#: The fact that may say how long a wait lasts, and the minutes it may say.
LENGTH = "d1"
LENGTHS = (0.0, 3.0, 5.0, 15.0)
#: How many members beyond the known ones an open list may turn out to have.
FURTHER = 2
#: Completions tried before a case is given up as too large.
MOST = 300
GRADES = ("suspected", "probable", "confirmed")


# -- conditions ---------------------------------------------------------------------------------------------
# Tuples: (operator, …). `text_of` writes them as a checklist does; `Completion.truth` evaluates them.

Condition = tuple[Any, ...]


def text_of(node: Condition) -> str:
    """The condition or expression as a checklist writes it."""
    kind, *rest = node
    match kind:
        case "always" | "never":
            return str(kind)
        case "and" | "or":
            return "(" + f" {kind} ".join(text_of(part) for part in rest) + ")"
        case "not":
            return f"not {text_of(rest[0])}"
        case "is" | "is not":
            subject, options = rest
            words = kind if len(options) == 1 else f"{kind} one of"
            return f"{text_of(subject)} {words} {', '.join(options)}"
        case "<" | "<=" | ">" | ">=":
            return f"{text_of(rest[0])} {kind} {text_of(rest[1])}"
        case "agrees":
            return f"{text_of(rest[0])} agrees with {text_of(rest[1])} within {rest[2]:g}"
        case "every" | "any":
            return f"{kind} {rest[0]} has ({text_of(rest[1])})"
        case "at least":
            return f"{rest[0]} is at least {rest[1]}"
        case "graded":
            return f"{rest[0]} is {rest[1]}"
        case "wait":
            return f"{rest[0]} is {rest[1]}"
        # subjects and numbers
        case "fact":
            name, member = rest
            return name if member is None or member[0] == "@" else f"{name} of {member}"
        case "column":
            return f"{text_of(rest[0])}.{rest[1]}"
        case "latest":
            return f"latest {rest[0]}"
        case "near":
            name, which, anchor, window = rest
            words = f"{which} {name} {'before' if which == 'last' else 'after'} {anchor}"
            return words if window is None else f"{words} within {window:g} min"
        case "number":
            return f"{rest[0]:g}"
        case "minutes":
            return f"{rest[0]:g} min"
        case "+" | "-" | "*" | "/":
            return f"({text_of(rest[0])} {kind} {text_of(rest[1])})"
        case "call":
            return f"{rest[0]}({', '.join(text_of(part) for part in rest[1:])})"
        case "chosen" | "calculated":
            return str(rest[0])
        case "count":
            return f"count of {rest[0]} with ({text_of(rest[1])})"
        case "sum" | "highest" | "lowest":
            having = f" with ({text_of(rest[2])})" if rest[2] is not None else ""
            return f"{kind} of {text_of(rest[1])} over {rest[0]}{having}"
        case "readings":
            return f"count of {rest[0]}"
        case "entries":
            return f"entries of {rest[0]}"
        case "spread":
            return f"spread of {rest[0]} over {rest[1]:g} min"
        case "since":
            return f"since {rest[0]}"
    raise AssertionError(kind)


def walk(node: object) -> Iterator[Condition]:
    """The condition and every part of it."""
    if isinstance(node, tuple):
        if node and isinstance(node[0], str):
            yield node
        for part in node:
            yield from walk(part)


# -- a checklist in plain data -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Fact:
    """A fact: with `options`, or a number on the grid. `counts`: what makes an observation evidence."""

    name: str
    options: tuple[str, ...] | None
    nature: str = "state"
    per: str | None = None
    good_for: int | None = None
    void_after: tuple[str, ...] = ()
    counts: Condition | None = None
    counts_for: tuple[str, ...] = ()
    catalogue: bool = False

    @property
    def values(self) -> tuple[object, ...]:
        if self.name == LENGTH:
            return LENGTHS
        return self.options if self.options is not None else GRID


@dataclass(frozen=True)
class Listed:
    name: str
    members: tuple[str, ...]
    open: bool


@dataclass(frozen=True)
class Wait:
    """It lasts some minutes, or as long as the fact named says."""

    name: str
    minutes: int | str
    since: tuple[str, ...]
    restarted_by: tuple[str, ...]
    witness: bool


@dataclass(frozen=True)
class Rule:
    name: str
    when: Condition
    finding: str | None = None
    grade: str = "confirmed"
    while_: bool = False


#: A catalogue for every world: an attribute with a gap, and a number with one.
CATALOGUE = {"ga": ("one", 1.0), "gb": ("two", 2.0), "gc": (None, None)}


@dataclass(frozen=True)
class World:
    """A checklist. Facts come after those their `counts` mention."""

    facts: tuple[Fact, ...]
    events: tuple[str, ...] = ()
    lists: tuple[Listed, ...] = ()
    waits: tuple[Wait, ...] = ()
    calculations: tuple[tuple[str, Condition], ...] = ()
    rules: tuple[Rule, ...] = ()
    undone: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """For an event, what undoes it."""

    @cached_property
    def fact(self) -> dict[str, Fact]:
        return {fact.name: fact for fact in self.facts}

    @cached_property
    def listed(self) -> dict[str, Listed]:
        return {each.name: each for each in self.lists}

    def yaml(self) -> str:
        """The checklist as its author would write it."""
        out = ["checklist: world", "title: A small world"]
        if self.lists:
            out.append("lists:")
            for each in self.lists:
                members = ", ".join(f"{m}: Member {m}" for m in each.members)
                out.append(
                    f"  {each.name}: {{title: List {each.name}, ask: Any other?, members: {{{members}}}, "
                    f"open: {str(each.open).lower()}}}"
                )
        out.append("facts:")
        for fact in self.facts:
            out += [f"  {fact.name}:", f"    ask: What is {fact.name}?"]
            if fact.catalogue:
                out.append("    catalogue: gases")
            elif fact.name == LENGTH:
                out += ["    quantity: duration", f"    between: 0 min .. {max(LENGTHS):g} min"]
            elif fact.options is not None:
                out.append("    options: {" + ", ".join(f"{o}: Option {o}" for o in fact.options) + "}")
            else:
                out += ["    quantity: number", f"    between: {LOW} .. {HIGH}"]
            out.append(f"    nature: {fact.nature}")
            if fact.per:
                out.append(f"    per: {fact.per}")
            if fact.good_for is not None:
                out.append(f"    good for: {fact.good_for} min")
            if fact.void_after:
                out.append(f"    void after: [{', '.join(fact.void_after)}]")
            if fact.counts is not None:
                values = f", for: [{', '.join(fact.counts_for)}]" if fact.counts_for else ""
                out.append(f'    counts when: {{is: "{text_of(fact.counts)}"{values}, because: it is so}}')
        if self.events:
            out.append("events:")
            for name in self.events:
                undone = ", ".join(dict(self.undone).get(name, ()))
                out.append(f"  {name}: {{say: It happened that {name}, undone by: [{undone}]}}")
        if self.calculations:
            out.append("calculate:")
            out += [f'  {name}: "{text_of(expression)}"' for name, expression in self.calculations]
        if self.waits:
            out.append("waits:")
            for wait in self.waits:
                witness = ", witness: Has anything happened since?" if wait.witness else ""
                since, restarted = ", ".join(wait.since), ", ".join(wait.restarted_by)
                lasts = wait.minutes if isinstance(wait.minutes, str) else f"{wait.minutes} min"
                out.append(
                    f"  {wait.name}: {{title: Wait, for: {lasts}, since: [{since}], "
                    f"restarted by: [{restarted}]{witness}}}"
                )
        if self.rules:
            out.append("rules:")
            for rule in self.rules:
                out.append(f"  - rule: {rule.name}")
                if rule.finding is None:
                    out.append("    caution: Take care")
                else:
                    out += [f"    finding: {rule.finding}", f"    grade: {rule.grade}"]
                if rule.while_:
                    out.append("    while: true")
                out.append(f'    when: "{text_of(rule.when)}"')
        return "\n".join(out) + "\n"


@dataclass(frozen=True)
class Entry:
    """One line of a job. `kind`: observe, unavailable, event, member, listed, correct.

    For a correction `target` is the number of the line corrected; `value` None withdraws it.
    """

    n: int
    kind: str
    name: str
    taken: int
    entered: int
    member: str | None = None
    value: object = None
    target: int | None = None


# -- what a fact may still be -------------------------------------------------------------------------------


class TooMany(Exception):
    """More completions than are worth trying."""


@dataclass(frozen=True)
class Seen:
    """An observation that stands: when it was taken, the line that first said it, and its value (None: cannot
    be had)."""

    taken: int
    line: int
    value: object

    @property
    def when(self) -> tuple[int, int]:
        return (self.taken, self.line)


@dataclass
class Known:
    """What had been entered by one time, corrections applied."""

    seen: dict[tuple[str, str | None], list[Seen]] = field(default_factory=dict)
    events: dict[str, list[tuple[int, int]]] = field(default_factory=dict)
    members: dict[str, list[tuple[int, str]]] = field(default_factory=dict)
    listed: dict[str, list[int]] = field(default_factory=dict)

    @staticmethod
    def by(entries: Sequence[Entry], known: int) -> Known:
        entered = [entry for entry in entries if entry.entered <= known]
        standing = {entry.n: entry for entry in entered if entry.kind != "correct"}
        for entry in entered:
            if entry.kind == "correct":
                assert entry.target is not None
                # A corrected line keeps its place: the same moment, said differently.
                if entry.value is None:
                    standing.pop(entry.target, None)
                else:
                    standing[entry.target] = replace(
                        standing[entry.target], value=entry.value, kind="observe"
                    )
        found = Known()
        for entry in standing.values():
            if entry.kind in ("observe", "unavailable"):
                value = entry.value if entry.kind == "observe" else None
                found.seen.setdefault((entry.name, entry.member), []).append(
                    Seen(entry.taken, entry.n, value)
                )
            elif entry.kind == "event":
                found.events.setdefault(entry.name, []).append((entry.taken, entry.n))
            elif entry.kind == "member":
                found.members.setdefault(entry.name, []).append((entry.taken, str(entry.member)))
            elif entry.kind == "listed":
                found.listed.setdefault(entry.name, []).append(entry.taken)
        for seen in found.seen.values():
            seen.sort(key=lambda s: s.when)
        for events in found.events.values():
            events.sort()
        return found


class Situation:
    """The state of things `at` one time by what is known; `now` bounds the later checks that may be used."""

    def __init__(
        self, world: World, known: Known, at: int, now: int | None = None, judged: Seen | None = None,
        ageless: bool = False, others: dict[object, Situation] | None = None,
        line: float = float("inf"),
    ) -> None:  # fmt: skip
        self.world, self.known, self.at, self.judged, self.ageless = world, known, at, judged, ageless
        self.now = at if now is None else now
        self.moment = (at, line)
        self._possible: dict[tuple[str, str | None], frozenset[object]] = {}
        self._members: dict[str, tuple[tuple[str, ...], bool]] = {}
        self._values: dict[tuple[str, str | None], tuple[object, ...]] = {}
        self._others = {} if others is None else others
        self._standing: dict[str, bool | None] = {}

    def other(self, at: int, judged: Seen | None = None, ageless: bool = False) -> Situation:
        """Another moment: the end of a minute, or, to judge an observation, the line it stands in."""
        key = (at, judged, ageless)
        if key not in self._others:
            line = float("inf") if judged is None else judged.line
            self._others[key] = Situation(
                self.world, self.known, at, self.now, judged, ageless, self._others, line
            )
        return self._others[key]

    def seen(self, name: str, member: str | None, until: int | None = None) -> list[Seen]:
        bound = self.moment if until is None else (until, float("inf"))
        return [s for s in self.known.seen.get((name, member), ()) if s.when <= bound]

    def last_event(self, name: str) -> tuple[int, int] | None:
        past = [event for event in self.known.events.get(name, ()) if event <= self.moment]
        return past[-1] if past else None

    def lasting(self, name: str) -> tuple[int, int] | None:
        """The last time an event happened, if nothing has undone it since."""
        event = self.last_event(name)
        times = [self.triggered(trigger) for trigger in dict(self.world.undone).get(name, ())]
        return None if any(t is not None and event is not None and t > event for t in times) else event

    def triggered(self, trigger: str) -> tuple[int, int] | None:
        """The last time an event happened, or a fact was seen to become an option."""
        name, *rest = trigger.split()
        if not rest:
            return self.last_event(name)
        times = [s.when for s in self.seen(name, None) if s.value == rest[-1]]
        return times[-1] if times else None

    def stale(self, fact: Fact, seen: Seen) -> bool:
        """Whether an observation no longer says what is so now."""
        if self.ageless:
            return False
        if fact.good_for is not None and self.at - seen.taken > fact.good_for:
            return True
        times = [self.triggered(trigger) for trigger in fact.void_after]
        return any(time is not None and time > seen.when for time in times)

    def evidence(self, fact: Fact, member: str | None, seen: Seen) -> set[bool]:
        """Whether an observation counts: as of the moment it was taken, later checks included."""
        if fact.counts is None or (fact.counts_for and seen.value not in fact.counts_for):
            return {True}
        situation = self.other(seen.taken, seen)
        return outcomes(fact.counts, situation, {fact.per: member} if fact.per and member else {})

    def possible(self, name: str, member: str | None) -> frozenset[object]:
        """The values a fact may still have."""
        key = (name, member)
        if key not in self._possible:
            fact = self.world.fact[name]
            seen = self.seen(name, member)
            gather = self._of_fixed if fact.nature == "fixed" else self._of_latest
            self._possible[key] = gather(fact, member, seen)
        return self._possible[key]

    def values(self, name: str, member: str | None) -> tuple[object, ...]:
        """The same in the order of the domain."""
        key = (name, member)
        if key not in self._values:
            possible = self.possible(name, member)
            self._values[key] = tuple(v for v in self.world.fact[name].values if v in possible)
        return self._values[key]

    def _of_fixed(self, fact: Fact, member: str | None, seen: list[Seen]) -> frozenset[object]:
        """Every entry of what cannot change is as good as any other: those that differ dispute."""
        sure: set[object] = set()
        maybe: set[object] = set()
        for each in seen:
            if each.value is None or self.stale(fact, each):
                continue
            counts = self.evidence(fact, member, each)
            if counts == {True}:
                sure.add(each.value)
            elif True in counts:
                maybe.add(each.value)
        return frozenset(sure | maybe) if sure else frozenset(fact.values)

    def _of_latest(self, fact: Fact, member: str | None, seen: list[Seen]) -> frozenset[object]:
        """Newer replaces older; what does not count is as if it had not been said; two at once dispute."""
        whole = frozenset(fact.values)
        if not seen:
            return whole
        last = seen[-1]
        if last.value is None or self.stale(fact, last):
            return whole
        counts = self.evidence(fact, member, last)
        without = self._of_latest(fact, member, seen[:-1]) if counts != {True} else frozenset()
        if True not in counts:
            return without
        values = {last.value}
        for each in seen[:-1]:
            if each.taken == last.taken and each.value is not None and not self.stale(fact, each):
                values |= {each.value} if True in self.evidence(fact, member, each) else set()
        return frozenset(values) | without

    def members(self, name: str) -> tuple[tuple[str, ...], bool]:
        """The members known now, and whether someone has said that these are all."""
        if name not in self._members:
            self._members[name] = self._listed(name)
        return self._members[name]

    def _listed(self, name: str) -> tuple[tuple[str, ...], bool]:
        listed = self.world.listed[name]
        # Naming again a member that was added before adds nothing.
        first: dict[str, int] = {}
        for time, member in self.known.members.get(name, ()):
            first.setdefault(member, time)
        added = [(time, member) for member, time in first.items() if time <= self.at]
        names = tuple(dict.fromkeys((*listed.members, *(member for _, member in added))))
        if not listed.open:
            return names, True
        said = [time for time in self.known.listed.get(name, ()) if time <= self.at]
        return names, bool(said) and all(time <= said[-1] for time, _ in added)

    def wait_states(self, wait: Wait) -> frozenset[str]:
        """What a wait may be now: not started, running or ready."""
        started = None
        for trigger in wait.since:
            name, *rest = trigger.split()
            if not rest:
                event = self.lasting(name)
                if event is None:
                    return frozenset({"not_started"})
                began = event[0]
            else:
                possible = self.possible(name, None)
                if rest[-1] not in possible:
                    return frozenset({"not_started"})
                if possible != {rest[-1]}:
                    return frozenset({"not_started", "running", "ready"})
                began = self._run_began(name, rest[-1])
            started = began if started is None else max(started, began)
        assert started is not None
        for trigger in wait.restarted_by:
            event = self.triggered(trigger)
            if event is not None:
                started = max(started, event[0])
        answers = self.seen(f"{wait.name}_witness", None) if wait.witness else []
        started = max([started, *(a.taken for a in answers if a.value == "yes")])
        minutes: object = wait.minutes
        if isinstance(minutes, str):
            # What is not known, or disputed, never makes it ready: not even after the longest it can be.
            possible = self.possible(minutes, None)
            if len(possible) != 1:
                return frozenset({"running", "ready"})
            minutes = next(iter(possible))
        ready = started + float(minutes)  # type: ignore[arg-type]
        if self.at < ready:
            return frozenset({"running"})
        later = [answer for answer in answers if answer.taken >= ready]
        if not wait.witness or (later and later[-1].value == "no"):
            return frozenset({"ready"})
        return frozenset({"running", "ready"})

    def _run_began(self, name: str, value: object) -> int:
        """When the unbroken run of a state's present value began; what voids a look breaks it, and a gap."""
        fact = self.world.fact[name]
        seen = self.seen(name, None)
        began = seen[-1].taken
        for earlier in reversed(seen[:-1]):
            broken = any(
                (time := self.triggered(trigger)) is not None and time > earlier.when
                for trigger in fact.void_after
            )
            lapsed = fact.good_for is not None and began - earlier.taken > fact.good_for
            if earlier.value is not None and (broken or lapsed or earlier.value != value):
                break
            if earlier.value is not None:
                began = earlier.taken
        return began

    def standing(self, rule: Rule) -> bool | None:
        """What a finding's rule says whatever happens to the age of its facts; None where that is open.

        It must have been decided at some moment, and nothing learnt since may speak against it.
        """
        if rule.name not in self._standing:
            self._standing[rule.name] = self._decide(rule)
        return self._standing[rule.name]

    def _decide(self, rule: Rule) -> bool | None:
        now = outcomes(rule.when, self)
        if len(now) == 1:
            return now.pop()
        if rule.while_:
            return None
        still = outcomes(rule.when, self.other(self.at, None, True))
        if len(still) > 1:
            return None
        moments = sorted({s.taken for seen in self.known.seen.values() for s in seen if s.taken < self.at})
        for moment in reversed(moments):
            then = outcomes(rule.when, self.other(moment))
            if len(then) == 1:
                return then.pop() if then == still else None
        return None


# -- two-valued evaluation in every completion --------------------------------------------------------------


class _Fork(Exception):
    """A choice that the completion has not made yet."""

    def __init__(self, key: object, values: Sequence[object]) -> None:
        super().__init__(key)
        self.key, self.values = key, values


CALCULATORS: dict[str, Callable[..., float | None]] = {
    "twice": lambda x: 2 * x,
    "hump": lambda x: x * (3 - x),
    "root": lambda x: None if x < 1 else x**0.5,
    "capped": lambda x: None if x > 4 else 5 - x,
    "scaled": lambda x, way: x * (2 if way == "a" else 3 if way == "b" else 1),
    "abs": abs,
    "min": min,
    "max": max,
}


class Completion:
    """One way things may be: ordinary true or false for every condition."""

    def __init__(self, situation: Situation, choices: dict[object, object]) -> None:
        self.situation, self.choices = situation, choices

    def choose(self, key: object, values: Sequence[object]) -> object:
        if len(values) == 1:
            return values[0]
        if key not in self.choices:
            raise _Fork(key, values)
        return self.choices[key]

    def value(self, name: str, member: str | None, hand: dict[str, str]) -> object:
        if member is not None and member[0] == "@":
            member = hand[member[1:]]
        return self.choose((name, member), self.situation.values(name, member))

    def members(self, name: str) -> tuple[str, ...]:
        known, closed = self.situation.members(name)
        if closed:
            return known
        further = self.choose(("further", name), range(FURTHER + 1))
        assert isinstance(further, int)
        return (*known, *(f"further{i}" for i in range(further)))

    def either(self, node: Condition, hand: dict[str, str]) -> bool:
        """The truth of something that nobody can know: a comparison of a number that does not exist."""
        return bool(self.choose(("either", id(node), tuple(hand.items())), (True, False)))

    def truth(self, node: Condition, hand: dict[str, str]) -> bool:
        kind, *rest = node
        match kind:
            case "always":
                return True
            case "never":
                return False
            case "and":
                return all(self.truth(part, hand) for part in rest)
            case "or":
                return any(self.truth(part, hand) for part in rest)
            case "not":
                return not self.truth(rest[0], hand)
            case "is" | "is not":
                subject, options = rest
                value = self.option(subject, hand)
                if value is None:
                    return self.either(node, hand)
                return (value in options) is (kind == "is")
            case "<" | "<=" | ">" | ">=":
                left, right = self.number(rest[0], hand), self.number(rest[1], hand)
                if left is None or right is None:
                    return self.either(node, hand)
                return {"<": left < right, "<=": left <= right, ">": left > right, ">=": left >= right}[kind]
            case "agrees":
                left, right = self.number(rest[0], hand), self.number(rest[1], hand)
                return (
                    self.either(node, hand) if left is None or right is None else abs(left - right) <= rest[2]
                )
            case "every":
                members = self.members(rest[0])
                return bool(members) and all(self.truth(rest[1], {**hand, rest[0]: m}) for m in members)
            case "any":
                return any(self.truth(rest[1], {**hand, rest[0]: m}) for m in self.members(rest[0]))
            case "at least":
                grade = self.grade(rest[0])
                return grade is not None and GRADES.index(grade) >= GRADES.index(rest[1])
            case "graded":
                return (self.grade(rest[0]) or "none") == rest[1]
            case "wait":
                wait = next(w for w in self.situation.world.waits if w.name == rest[0])
                states = sorted(self.situation.wait_states(wait))
                return bool(self.choose(("wait", rest[0]), states) == rest[1])
        raise AssertionError(kind)

    def grade(self, finding: str) -> str | None:
        """The strongest grade that a rule gives."""
        rules = [rule for rule in self.situation.world.rules if rule.finding == finding]
        for rule in sorted(rules, key=lambda r: -GRADES.index(r.grade)):
            standing = self.situation.standing(rule)
            if standing is True or (standing is None and self.truth(rule.when, {})):
                return rule.grade
        return None

    def option(self, subject: Condition, hand: dict[str, str]) -> object:
        kind, *rest = subject
        match kind:
            case "fact":
                return self.value(rest[0], rest[1], hand)
            case "latest":
                return self.value(rest[0], None, hand)
            case "column":
                return CATALOGUE[str(self.option(rest[0], hand))][0]
            case "near":
                return self.near(subject)
        raise AssertionError(kind)

    def near(self, node: Condition) -> object:
        """The check nearest to an event, or to the observation being judged; unknown where there is none."""
        _, name, which, anchor, window = node
        situation = self.situation
        when = situation.last_event(anchor) if anchor in situation.world.events else None
        if anchor not in situation.world.events:
            assert situation.judged is not None
            when = situation.judged.when
        found = None
        if when is not None:
            made = [s for s in situation.seen(name, None, situation.now) if s.value is not None]
            near = [s for s in made if (s.when < when if which == "last" else s.when > when)]
            fact = situation.world.fact[name]
            if which == "first":
                # A check that does not count is as if it had not been made.
                near = [s for s in near if situation.evidence(fact, None, s) != {False}]
            if near:
                found = near[-1] if which == "last" else near[0]
                late = window is not None and abs(found.taken - when[0]) > window
                if late or situation.evidence(fact, None, found) != {True}:
                    found = None
        if found is None:
            return self.choose(("near", *node[1:]), situation.world.fact[name].values)
        return found.value

    def number(self, node: Condition, hand: dict[str, str]) -> float | None:
        """The number, or None where it does not exist."""
        kind, *rest = node
        match kind:
            case "number" | "minutes":
                return float(rest[0])
            case "fact":
                return float(self.value(rest[0], rest[1], hand))  # type: ignore[arg-type]
            case "latest":
                return float(self.value(rest[0], None, hand))  # type: ignore[arg-type]
            case "near":
                return float(self.near(node))  # type: ignore[arg-type]
            case "column":
                return CATALOGUE[str(self.option(rest[0], hand))][1]
            case "calculated":
                return self.number(dict(self.situation.world.calculations)[rest[0]], hand)
            case "+" | "-" | "*" | "/":
                left, right = self.number(rest[0], hand), self.number(rest[1], hand)
                if left is None or right is None or (kind == "/" and right == 0):
                    return None
                return (
                    {"+": left + right, "-": left - right, "*": left * right}.get(kind)
                    if kind != "/"
                    else left / right
                )
            case "call":
                given = [
                    self.value(part[1], part[2], hand) if part[0] == "chosen" else self.number(part, hand)
                    for part in rest[1:]
                ]
                return None if None in given else CALCULATORS[rest[0]](*given)
            case "count":
                return float(sum(self.truth(rest[1], {**hand, rest[0]: m}) for m in self.members(rest[0])))
            case "sum" | "highest" | "lowest":
                hands = [{**hand, rest[0]: m} for m in self.members(rest[0])]
                items = [
                    self.number(rest[1], each)
                    for each in hands
                    if rest[2] is None or self.truth(rest[2], each)
                ]
                if None in items or (kind != "sum" and not items):
                    return None
                return {"sum": sum, "highest": max, "lowest": min}[kind](items)  # type: ignore[operator, no-any-return]
            case "entries":
                return float(sum(s.value is not None for s in self.situation.seen(rest[0], None)))
            case "readings":
                fact = self.situation.world.fact[rest[0]]
                made = [s for s in self.situation.seen(rest[0], None) if s.value is not None]
                found = [self.situation.evidence(fact, None, s) for s in made]
                sure, most = found.count({True}), len(found) - found.count({False})
                return float(self.choose(("readings", rest[0]), range(sure, most + 1)))  # type: ignore[arg-type]
            case "spread":
                return self.spread(*rest)
            case "since":
                return self.since(rest[0])
        raise AssertionError(kind)

    def spread(self, name: str, minutes: float) -> float | None:
        situation, fact = self.situation, self.situation.world.fact[name]
        values = [
            float(s.value)  # type: ignore[arg-type]
            for s in situation.seen(name, None)
            if s.value is not None and situation.at - s.taken < minutes and not situation.stale(fact, s)
        ]
        if len(values) < 2:
            return None
        seen = max(values) - min(values)
        covered = any(
            s.value is not None and situation.at - s.taken >= minutes and not situation.stale(fact, s)
            for s in situation.seen(name, None)
        )
        return seen if covered else float(self.choose(("spread", name, minutes), (seen, seen + 1, seen + 9)))  # type: ignore[arg-type]

    def since(self, name: str) -> float | None:
        if name in self.situation.world.events:
            event = self.situation.lasting(name)
            return None if event is None else float(self.situation.at - event[0])
        made = [s for s in self.situation.seen(name, None) if s.value is not None]
        return float(self.situation.at - made[-1].taken) if made else None


def outcomes(node: Condition, situation: Situation, hand: dict[str, str] | None = None) -> set[bool]:
    """What the condition is in the completions: {True}, {False} or both. TooMany where there are too many."""
    found: set[bool] = set()
    pending: list[dict[object, object]] = [{}]
    tried = 0
    while pending and len(found) < 2:
        choices = pending.pop()
        tried += 1
        if tried > MOST:
            raise TooMany
        try:
            found.add(Completion(situation, choices).truth(node, hand or {}))
        except _Fork as fork:
            pending.extend({**choices, fork.key: value} for value in fork.values)
    return found
