"""The law of the engine: a verdict is decided only where every completion of what is not known agrees.

Random small checklists and jobs are judged by the engine and by the brute-force reference of `oracle`. The
seeds are fixed, so a failure repeats; what is printed is the smallest job that was found to show it.
"""

from __future__ import annotations

import random
import re
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path
from typing import NamedTuple

import pytest
from stillair.assess import Assessment, Program, assess, compile_packs
from stillair.calculator import (
    Attribute,
    Calculator,
    Catalogue,
    Example,
    Input,
    OutOfRange,
    Source,
    calculator,
)
from stillair.calculator import Entry as Row
from stillair.condition import tree
from stillair.fault import StillairError
from stillair.job import Line
from stillair.pack import read_texts
from stillair.verdict import Verdict

sys.path.insert(0, str(Path(__file__).parent))
import oracle
from oracle import Condition, Entry, Fact, Listed, Rule, Situation, TooMany, Wait, World, text_of, walk

# -- the plugins of the small worlds ------------------------------------------------------------------------

_SOURCE = (Source("made for this test"),)
_X = {"x": Input("number")}


@calculator(
    inputs=_X, output="number", unit="1", formula="2 x", sources=_SOURCE, valid="everywhere",
    rises_with=("x",), examples=(Example({"x": "1"}, "2", "0"),),
)  # fmt: skip
def twice(x: float) -> float:
    """Twice the number."""
    return 2 * x


@calculator(
    inputs=_X, output="number", unit="1", formula="x (3 - x)", sources=_SOURCE, valid="everywhere",
    examples=(Example({"x": "1"}, "2", "0"),),
)  # fmt: skip
def hump(x: float) -> float:
    """Rises, then falls."""
    return x * (3 - x)


@calculator(
    inputs=_X, output="number", unit="1", formula="root of x", sources=_SOURCE, valid="from 1",
    rises_with=("x",), examples=(Example({"x": "1"}, "1", "0"),),
)  # fmt: skip
def root(x: float) -> float:
    """The root, from 1."""
    if x < 1:
        raise OutOfRange("below 1")
    return float(x**0.5)


@calculator(
    inputs=_X, output="number", unit="1", formula="5 - x", sources=_SOURCE, valid="up to 4",
    falls_with=("x",), examples=(Example({"x": "1"}, "4", "0"),),
)  # fmt: skip
def capped(x: float) -> float:
    """Falls, up to 4."""
    if x > 4:
        raise OutOfRange("above 4")
    return 5 - x


@calculator(
    inputs={"x": Input("number"), "way": Input(options=("a", "b", "c"))}, output="number", unit="1",
    formula="x times 2, 3 or 1", sources=_SOURCE, valid="everywhere", rises_with=("x",),
    examples=(Example({"x": "1", "way": "a"}, "2", "0"),),
)  # fmt: skip
def scaled(x: float, way: str) -> float:
    """Times what the way says."""
    return x * {"a": 2, "b": 3, "c": 1}[way]


CALCULATORS: dict[str, Calculator] = {each.name: each for each in (twice, hump, root, capped, scaled)}
GASES = Catalogue(
    "gases",
    (Attribute("kind", "option", ("one", "two")), Attribute("weight", "number")),
    tuple(Row(name, {"kind": kind, "weight": weight}) for name, (kind, weight) in oracle.CATALOGUE.items()),
)


def program_of(world: World) -> Program:
    """The engine's program for a small world."""
    manifest = "pack: world\nversion: 1.0.0\ntitle: A world\nengine: '>=0.1'\nchecklists: [world.yaml]\n"
    texts = {"manifest.yaml": manifest, "world.yaml": world.yaml()}
    return compile_packs([read_texts(texts, plugins={}, label="world")], CALCULATORS, {"gases": GASES})


def seconds(minutes: float) -> float:
    """Minutes of a job as seconds since 1970."""
    return 1_780_000_000.0 + 60 * minutes


def canonical(entry: Entry) -> object:
    """The value as a job file keeps it: a duration in seconds."""
    return 60 * entry.value if entry.name == oracle.LENGTH else entry.value  # type: ignore[operator]


def lines_of(entries: Sequence[Entry]) -> list[Line]:
    """The job as the engine reads it; minutes become seconds."""
    lines = []
    for entry in entries:
        body: dict[str, object] = {}
        match entry.kind:
            case "observe":
                body = {"fact": entry.name, "value": canonical(entry), "read": str(entry.value)}
            case "unavailable":
                body = {"fact": entry.name, "reason": "it was dark"}
            case "event":
                body = {"event": entry.name}
            case "member":
                body = {"list": entry.name, "member": entry.member, "label": f"Member {entry.member}"}
            case "listed":
                body = {"list": entry.name}
            case "correct":
                body = {"line": entry.target, "why": "misread", "body": None}
                if entry.value is not None:
                    body["body"] = {"fact": entry.name, "value": canonical(entry), "read": str(entry.value)}
                    if entry.member is not None:
                        body["body"]["of"] = entry.member  # type: ignore[index]
        if entry.member is not None and entry.kind in ("observe", "unavailable"):
            body["of"] = entry.member
        lines.append(
            Line(
                n=entry.n,
                kind=entry.kind,
                taken=seconds(entry.taken),
                entered=seconds(entry.entered),
                offset=0,
                by="A. Tech",
                body=body,  # type: ignore[arg-type]
            )
        )
    return lines


# -- random worlds ------------------------------------------------------------------------------------------

OPTIONS = (("a", "b"), ("a", "b", "c"))
OVER = ("sum", "highest", "lowest")


class Maker:
    """Makes worlds, conditions and jobs from a seed."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.pick = self.random.choice
        self.undoing = random.Random(f"undoing {seed}")

    def chance(self, share: float) -> bool:
        return self.random.random() < share

    def some(self, options: Sequence[str]) -> tuple[str, ...]:
        return tuple(self.random.sample(list(options), self.random.randint(1, len(options) - 1)))

    def world(self) -> World:
        """A checklist of a dozen facts with every feature that conditions can rest on."""
        events = ("e1", "e2")
        lists = (
            Listed("la", self.pick(((), ("m1",), ("m1", "m2"))), True),
            Listed("lb", self.pick((("m1",), ("m1", "m2"), ("m2", "k1"))), self.chance(0.3)),
        )
        facts = [
            Fact("f1", self.pick(OPTIONS), "state", good_for=self.age()),
            Fact("f2", self.pick(OPTIONS), "state", void_after=self.voids("f1")),
            Fact("f3", self.pick(OPTIONS), "fixed", good_for=self.age(0.5)),
            Fact("n1", None, "state", good_for=self.age(), void_after=self.voids("f1")),
            Fact("n2", None, "series", good_for=self.age(0.5), void_after=self.voids("f2")),
            Fact("n3", None, "fixed"),
            Fact("o1", self.pick(OPTIONS), "series", counts=self.counted(), counts_for=("a",)),
            Fact("gas", tuple(oracle.CATALOGUE), "fixed", catalogue=True),
            Fact("p1", self.pick(OPTIONS), "state", "la", good_for=self.age(0.5)),
            Fact("q1", None, "series", "la", void_after=self.voids()),
            Fact("p2", self.pick(OPTIONS), "fixed", "lb"),
            Fact("q2", None, "state", "lb"),
            Fact(
                oracle.LENGTH,
                None,
                self.pick(("fixed", "state", "series")),
                good_for=self.age(0.3),
                void_after=self.voids(),
            ),
        ]
        undone = (
            ("e1", self.undoing.choice(((), ("e2",), ("f2 becomes a",), ("e2", "f1 becomes b")))),
            ("e2", self.undoing.choice(((), (), ("e1",)))),
        )
        base = World(tuple(facts), events, lists, undone=undone)
        waits = (
            self.wait("w1", ("e1",), ((("e2",), True), (("f2 becomes a",), True), ((), False))),
            self.wait("w2", ("f1 is a",), ((("e2",), True), ((), False))),
        )
        counting = Conditions(self, replace(base, waits=waits), judged="c1")
        facts.append(
            Fact(
                "c1",
                ("a", "b"),
                "state",
                counts=counting.support(),
                counts_for=self.pick(((), ("a",))),
                good_for=self.age(0.5),
            )
        )
        counting = Conditions(self, base, judged="c2", here=("la",))
        facts.append(Fact("c2", ("a", "b"), "state", "la", counts=counting.support(), counts_for=("a",)))
        witnesses = [Fact(f"{w.name}_witness", ("yes", "no"), "series") for w in waits if w.witness]
        world = replace(base, facts=tuple(facts), waits=waits)
        writer = Conditions(self, world)
        world = replace(world, calculations=(("k1", ("+", ("fact", "n1", None), writer.expression(1))),))
        plain = Conditions(self, base)
        plain.dated = False
        free = Conditions(self, world)
        rules = [
            Rule("g-confirmed", plain.any(2), "found", "confirmed"),
            Rule("g-suspected", plain.any(1), "found", "suspected"),
            Rule("h-probable", free.any(2), "held", "probable", True),
        ]
        whole = Conditions(self, replace(world, rules=tuple(rules)))
        rules += [Rule(f"t{i}", whole.any(self.pick((1, 2, 2, 3)))) for i in range(6)]
        rules += [Rule(f"s{i}", whole.single()) for i in range(4)]
        rules += [Rule(f"o{i}", whole.over_alone()) for i in range(2)]
        return replace(world, rules=tuple(rules), facts=(*world.facts, *witnesses))

    def age(self, share: float = 0.75) -> int | None:
        return self.pick((5, 5, 10)) if self.chance(share) else None

    def wait(self, name: str, since: tuple[str, ...], ways: Sequence[tuple[tuple[str, ...], bool]]) -> Wait:
        """One that may last nothing at all has a witness."""
        minutes = self.pick((5, 15, oracle.LENGTH))
        restarted_by, witness = self.pick(ways)
        return Wait(name, minutes, since, restarted_by, witness or minutes == oracle.LENGTH)

    def counted(self) -> Condition | None:
        """What a check itself may rest on."""
        return ("is", ("fact", self.pick(("f1", "f2")), None), ("a",)) if self.chance(0.4) else None

    def voids(self, fact: str | None = None) -> tuple[str, ...]:
        if self.chance(0.25):
            return ()
        return (self.pick(("e1", "e2", *(() if fact is None else (f"{fact} becomes b",)))),)

    def job(self, world: World) -> list[Entry]:
        """A partial job of an hour: late entries, corrections, disputes, what could not be had."""
        entries: list[Entry] = []
        time = 0
        known = {each.name: list(each.members) for each in world.lists}
        wanted = self.random.sample(world.facts, len(world.facts) // 3)
        # What voids, restarts and counts meets itself only if a few facts are said again and again.
        groups = (
            ("c1", "f1", "f2", "o1"),
            ("n1", "n2", "f1", "f2"),
            ("f1", "w1_witness", "w2_witness"),
            (oracle.LENGTH, "f1", "w1_witness"),
            ("f3", "n3", "c2"),
            ("q1", "q2", "p1", "p2"),
        )
        group = self.pick(groups)
        often = [fact for fact in world.facts if fact.name in group]
        if self.chance(0.35):
            entries = list(self.gone_through(world, known))
        for n in range(len(entries) + 1, len(entries) + self.random.randint(8, 28)):
            time += self.pick((0, 0, 1, 2, 4, 8))
            taken = max(0, time - (self.random.randint(1, 25) if self.chance(0.15) else 0))
            entry = Entry(n, "event", self.pick(world.events), taken, time)
            roll = self.random.random()
            if roll < 0.16:
                pass
            elif roll < 0.20:
                name = self.pick(world.lists).name
                member = self.pick(("m1", "m3", "k1"))
                if member not in known[name]:
                    known[name].append(member)
                entry = replace(entry, kind="member", name=name, member=member)
            elif roll < 0.23:
                entry = replace(entry, kind="listed", name=self.pick(world.lists).name)
            elif roll < 0.30 and (old := self.correctable(entries)) is not None:
                value = None if self.chance(0.3) else self.other(world, old)
                entry = Entry(n, "correct", old.name, time, time, old.member, value, old.n)
            else:
                fact = self.pick(often if self.chance(0.6) else wanted)
                again = [e for e in entries if e.kind == "observe" and e.name == fact.name]
                members = known[fact.per] if fact.per else [None]
                if not members:
                    members = ["m9"]
                entry = replace(entry, kind="observe", name=fact.name, member=self.pick(members))
                if again and self.chance(0.6):
                    # Said again of the same moment: a dispute where the values differ.
                    entry = replace(entry, taken=again[-1].taken, member=again[-1].member)
                if self.chance(0.1):
                    entry = replace(entry, kind="unavailable")
                else:
                    entry = replace(entry, value=self.value(fact))
            entries.append(entry)
        return entries

    def gone_through(self, world: World, known: dict[str, list[str]]) -> Iterator[Entry]:
        """Both lists at the start: a further member perhaps, most of what is kept for each, that is all."""
        n = 0
        for each in world.lists:
            if self.chance(0.6) and "m3" not in known[each.name]:
                known[each.name].append("m3")
                yield Entry(n := n + 1, "member", each.name, 0, 0, "m3")
            for fact in world.facts:
                for member in known[each.name] if fact.per == each.name else ():
                    if self.chance(0.8):
                        yield Entry(n := n + 1, "observe", fact.name, 0, 0, member, self.value(fact))
            if self.chance(0.7):
                yield Entry(n := n + 1, "listed", each.name, 0, 0)

    def value(self, fact: Fact) -> object:
        return self.pick(fact.values)

    def other(self, world: World, entry: Entry) -> object:
        return None if entry.kind == "event" else self.value(world.fact[entry.name])

    def correctable(self, entries: Sequence[Entry]) -> Entry | None:
        gone = {e.target for e in entries if e.kind == "correct"}
        fit = [e for e in entries if e.kind in ("observe", "event") and e.n not in gone]
        return self.pick(fit) if fit else None

    def clocks(self, entries: Sequence[Entry]) -> list[tuple[int, int]]:
        """The end of the job; what is known now of an earlier moment; what was known then."""
        end = entries[-1].entered + self.pick((0, 0, 2, 8))
        earlier = self.random.randint(0, end)
        return [(end, end), (earlier, end), (end, self.random.randint(0, end))]


class Conditions:
    """Writes random conditions over a world."""

    def __init__(
        self, maker: Maker, world: World, judged: str | None = None, here: tuple[str, ...] = ()
    ) -> None:
        self.maker, self.world, self.judged, self.here = maker, world, judged, here
        self.dated = True
        """Whether conditions may rest on the time itself: since, waits, spreads, checks near an event."""

    def any(self, depth: int) -> Condition:
        pick, chance = self.maker.pick, self.maker.chance
        if depth > 0 and chance(0.75):
            roll = self.maker.random.random()
            if roll < 0.2:
                return ("not", self.any(depth - 1))
            if roll < 0.35 and self.world.lists and len(self.here) < 2:
                name = pick([each.name for each in self.world.lists if each.name not in self.here] or ["la"])
                return (pick(("every", "any")), name, self.within(name).any(depth - 1))
            parts = [self.any(depth - 1) for _ in range(pick((2, 2, 3)))]
            if chance(0.3) and (twin := self.twin(parts[0])) is not None:
                parts[1] = twin
            return (pick(("and", "or")), *parts)
        return self.test()

    def support(self) -> Condition:
        """What an observation may rest on: a state of that moment, a check before or after, or anything."""
        pick = self.maker.pick
        state = ("is", ("fact", pick(("f1", "f2")), None), (pick(("a", "b")),))
        check = ("near", "o1", pick(("last", "first")), self.judged, pick((None, 15)))
        answered = ("is", check, (pick(("a", "b")),))
        return pick((state, answered, ("and", state, answered), self.any(2)))

    def single(self) -> Condition:
        """One test on what is hardest to get right, with nothing beside it that could keep it open."""
        pick = self.maker.pick
        number = ("number", pick((1, 2)))
        match pick(("counted", "void", "void number", "wait", "spread", "near", "nested", "attribute")):
            case "counted":
                subject = pick((("fact", "c1", None), ("fact", "c2", "m1"), ("fact", "c2", "m2")))
                return ("is", subject, (pick(("a", "b")),))
            case "void":
                return ("is", ("fact", pick(("f1", "f2", "f3")), None), (pick(("a", "b")),))
            case "void number":
                return (pick(("<", "<=", ">", ">=")), ("fact", pick(("n1", "n2", "n3")), None), number)
            case "wait":
                return ("wait", pick(("w1", "w2")), pick(("ready", "running")))
            case "spread":
                return (pick(("<", ">=")), ("spread", "n2", pick((4.5, 9.5))), number)
            case "near":
                near = (
                    "near",
                    pick(("f1", "f2")),
                    pick(("last", "first")),
                    pick(self.world.events),
                    pick((None, 5)),
                )
                return ("is", near, (pick(("a", "b")),))
            case "attribute":
                return (pick(("is", "is not")), ("column", ("fact", "gas", None), "kind"), ("one",))
        first = (pick(("<", ">=")), ("fact", "q1", "@la"), number)
        second = (pick(("<", ">=")), ("fact", "q2", "@lb"), number)
        inner = (pick(("every", "any")), "lb", (pick(("and", "or")), first, second))
        return (pick(("every", "any")), "la", inner)

    def within(self, name: str) -> Conditions:
        inner = Conditions(self.maker, self.world, self.judged, (*self.here, name))
        inner.dated = self.dated
        return inner

    def twin(self, node: Condition) -> Condition | None:
        """Another test on the same fact, so that tests have to be judged together."""
        pick = self.maker.pick
        if node[0] in ("is", "is not") and node[1][0] == "fact":
            names = self.world.fact[node[1][1]].values
            return (pick(("is", "is not")), node[1], self.maker.some(names))  # type: ignore[arg-type]
        if node[0] in ("<", "<=", ">", ">=") and node[2][0] == "number":
            return (pick(("<", "<=", ">", ">=")), node[1], pick((node[2], ("number", pick((1, 2))))))
        return None

    def test(self) -> Condition:
        pick, chance, roll = self.maker.pick, self.maker.chance, self.maker.random.random()
        if roll < 0.04:
            return (pick(("always", "never")),)
        if roll < 0.10 and any(rule.finding for rule in self.world.rules):
            if chance(0.5):
                return ("at least", pick(("found", "held")), pick(oracle.GRADES))
            return ("graded", pick(("found", "held")), pick(("none", *oracle.GRADES)))
        if roll < 0.20 and self.world.waits and self.dated:
            return ("wait", pick(self.world.waits).name, pick(("ready", "ready", "running", "not_started")))
        if roll < 0.58:
            subject = self.subject()
            names = ("one", "two") if subject[0] == "column" else self.world.fact[subject[1]].values
            return (pick(("is", "is not")), subject, self.maker.some(names))  # type: ignore[arg-type]
        if roll < 0.65:
            return ("agrees", self.expression(0), self.expression(1), pick((0, 1, 2)))
        if self.dated and roll < 0.71:
            moment = pick([*self.world.events, *(f.name for f in self.world.facts if f.per is None)])
            return (pick(("<", "<=", ">", ">=")), ("since", moment), ("minutes", pick((2, 5, 10, 20))))
        right = ("number", pick((0, 1, 1, 2, 2, 3))) if chance(0.7) else self.expression(1)
        return (pick(("<", "<=", ">", ">=")), self.expression(1), right)

    def reachable(self, numbers: bool) -> list[Condition]:
        """The facts that can be named here: of the world, of a member by name, of the member in hand."""
        found: list[Condition] = []
        for fact in self.world.facts:
            if (
                (fact.options is None) is not numbers
                or fact.name in (self.judged, oracle.LENGTH)
                or (fact.counts and self.judged)
            ):
                continue
            if fact.per is None:
                found.append(("fact", fact.name, None))
            elif fact.per in self.here:
                found += [("fact", fact.name, "@" + fact.per)] * 3
            else:
                members = self.world.listed[fact.per].members
                found += [("fact", fact.name, member) for member in members[:1]]
        return found

    def subject(self) -> Condition:
        pick, chance = self.maker.pick, self.maker.chance
        if chance(0.12):
            return ("column", ("fact", "gas", None), "kind")
        if chance(0.08):
            return ("latest", "o1")
        if self.dated and chance(0.5 if self.judged else 0.12):
            name = pick(("f1", "f2", "o1"))
            anchor = self.judged if self.judged and chance(0.8) else pick(self.world.events)
            return ("near", name, pick(("last", "first")), anchor, pick((None, 5, 15)))
        return pick(self.reachable(False))

    def expression(self, depth: int) -> Condition:
        pick, chance, roll = self.maker.pick, self.maker.chance, self.maker.random.random()
        if depth > 0 and roll < 0.45:
            named = ("twice", "hump", "root", "capped", "scaled", "abs", "min", "max")
            form = pick(("+", "-", "*", "/", *named))
            inner = self.expression(depth - 1)
            if form in ("twice", "hump", "root", "capped"):
                return ("call", form, inner)
            if form == "scaled":
                return ("call", form, inner, ("chosen", pick(("f1", "f2")), None))
            if form == "abs":
                return ("call", "abs", ("-", inner, self.expression(depth - 1)))
            second = ("number", pick((1, 2))) if chance(0.4) else self.expression(depth - 1)
            return ("call", form, inner, second) if form in ("min", "max") else (form, inner, second)
        if roll < 0.52 and self.world.lists and len(self.here) < 2:
            name = pick([each.name for each in self.world.lists])
            if name not in self.here:
                if chance(0.3):
                    return ("count", name, self.within(name).any(1))
                return self.over(name)
        if roll < 0.60:
            return pick((("latest", "n2"), ("readings", "n2"), ("readings", "o1"), ("entries", "n2")))
        if self.dated and roll < 0.68:
            return ("spread", "n2", pick((4.5, 9.5, 19.5)))
        if roll < 0.72:
            return ("column", ("fact", "gas", None), "weight")
        if self.world.calculations and roll < 0.78:
            return ("calculated", "k1")
        return pick(self.reachable(True))

    def over(self, name: str) -> Condition:
        """A sum, a highest or a lowest over a list, of members that are often picked by what is open."""
        pick, chance = self.maker.pick, self.maker.chance
        item: Condition = ("fact", {"la": "q1", "lb": "q2"}[name], "@" + name)
        if chance(0.3):
            item = ("-", item, ("number", 2))
        having: Condition | None = None
        if chance(0.3):
            having = self.within(name).any(pick((0, 0, 1)))
        elif chance(0.5):
            having = ("is", ("fact", {"la": "p1", "lb": "p2"}[name], "@" + name), ("a",))
        return (pick(("sum", "highest", "lowest")), name, item, having)

    def over_alone(self) -> Condition:
        """One comparison of a sum, a highest or a lowest, or of what is worked out from it."""
        pick, chance = self.maker.pick, self.maker.chance
        over = self.over(pick(("la", "lb")))
        number = ("number", pick((1, 2)))
        if chance(0.3):
            over = (pick(("+", "-", "*", "/")), *self.maker.random.sample((over, number), 2))
        elif chance(0.3):
            over = ("call", pick(("twice", "root", "capped")), over)
        return (pick(("<", "<=", ">", ">=")), over, ("number", pick((0, 1, 2, 3))))


# -- comparing ----------------------------------------------------------------------------------------------


class Case(NamedTuple):
    """One job of one world at one time, by what had been entered by another."""

    world: World
    entries: Sequence[Entry]
    at: int
    known: int


@dataclass
class Disagreement:
    case: Case
    rule: Rule
    engine: Verdict
    reference: set[bool]

    def __str__(self) -> str:
        entries = "\n".join(f"  {entry}" for entry in self.case.entries)
        facts = "\n".join(f"  {fact}" for fact in self.case.world.facts if fact.name in _mentioned(self))
        return (
            f"engine: {self.engine.word}; completions give {sorted(self.reference)}\n"
            f"{self.rule.name}: {text_of(self.rule.when)}\n"
            f"at {self.case.at} known {self.case.known}\n{entries}\n"
            f"{facts}\n{self.case.world.waits}\n{self.case.world.lists}\n{self.case.world.calculations}\n"
            f"{[r for r in self.case.world.rules if _needs(self.rule, r)]}\n"
        )


def _mentioned(found: Disagreement) -> set[str]:
    """The facts that a condition names, those entered in the job, and those that these rest on."""
    nodes = [rule.when for rule in found.case.world.rules if rule is found.rule or _needs(found.rule, rule)]
    names = {str(part[1]) for node in nodes for part in walk(node) if len(part) > 1}
    for fact in reversed(found.case.world.facts):
        if fact.name in names and fact.counts is not None:
            names |= {str(part[1]) for part in walk(fact.counts) if len(part) > 1}
    return names


def judged(program: Program, case: Case) -> Assessment:
    """What the engine makes of a case."""
    return assess(program, lines_of(case.entries), seconds(case.at), seconds(case.known))


def compare(program: Program, case: Case, tally: Counter[str]) -> Iterator[Disagreement]:
    """The rules on which the engine is decided and the reference is not, or decided otherwise."""
    assessment = judged(program, case)
    verdicts = {state.rule: state.verdict for state in assessment.rules}
    known = oracle.Known.by(case.entries, case.known)
    situation = Situation(case.world, known, case.at)
    for rule in case.world.rules:
        if rule.finding is not None:
            continue
        try:
            reference = oracle.outcomes(rule.when, situation)
        except TooMany:
            tally["too many completions"] += 1
            continue
        tally["conditions"] += 1
        verdict = verdicts[rule.name]
        if verdict is not Verdict.OPEN:
            tally["decided"] += 1
            if reference != {verdict is Verdict.HOLDS}:
                yield Disagreement(case, rule, verdict, reference)
        elif len(reference) == 1:
            tally["exact decided, engine open"] += 1
            if exact_here(rule.when, situation):
                yield Disagreement(case, rule, verdict, reference)


def exact_here(node: Condition, situation: Situation) -> bool:
    """Whether the engine must judge exactly: tests on one plain fact that is no disputed number."""
    subjects: set[tuple[str, str | None]] = set()
    for part in walk(node):
        compared = part[0] in ("<", "<=", ">", ">=") and part[2][0] == "number"
        if (part[0] in ("is", "is not") or compared) and part[1][0] == "fact":
            subjects.add(part[1][1:])
        elif part[0] not in ("and", "or", "not", "fact", "number", "always", "never"):
            return False
    if len(subjects) != 1:
        return False
    name, member = subjects.pop()
    fact = situation.world.fact[name]
    possible = situation.possible(name, member)
    # A number that two entries dispute is a span from one to the other.
    return fact.counts is None and (fact.options is not None or len(possible) in (1, len(fact.values)))


def features(case: Case) -> set[str]:
    """Which of the hard matters the conditions of a case meet in its job."""
    known = oracle.Known.by(case.entries, case.known)
    situation = Situation(case.world, known, case.at)
    found = {"two clocks"} if case.at != case.known else set()
    named = [part for rule in case.world.rules for part in walk(rule.when)]
    lists = {part[1] for part in named if part[0] in ("every", "any", "count", *OVER)}
    if any(not situation.members(name)[1] for name in lists):
        found.add("open lists")
    facts = {
        part[1] for part in named if part[0] in ("fact", "latest", "readings", "entries", "spread", "near")
    }
    facts |= {part[1] for part in named if part[0] == "since" and part[1] in case.world.fact}
    for (name, member), _ in known.seen.items():
        if name not in facts:
            continue
        fact, seen = case.world.fact[name], situation.seen(name, member)
        if seen and fact.nature == "series":
            found.add("series")
        if seen and seen[-1].value is not None and situation.stale(fact, seen[-1]):
            found.add("expiry")
        fresh = [s for s in seen if s.value is not None and not situation.stale(fact, s)]
        if fact.nature != "fixed":
            fresh = [s for s in fresh if s.taken == seen[-1].taken]
        if len({s.value for s in fresh}) > 1:
            found.add("disputes")
    anchors = {part[3] for part in named if part[0] == "near"} | {p[1] for p in named if p[0] == "since"}
    anchors |= {trigger.split()[0] for name in facts for trigger in case.world.fact[name].void_after}
    if any(part[0] == "wait" for part in named):
        anchors |= {"e1", "e2"}
    if any(event in anchors and situation.last_event(event) for event in case.world.events):
        found.add("events")
    if any(situation.last_event(event) and not situation.lasting(event) for event in case.world.events):
        found.add("events undone")
    return found


def cases(seed: int) -> tuple[Program, list[Case]]:
    """The cases of one seed: one world, two jobs, three pairs of clocks each."""
    maker = Maker(seed)
    while True:
        world = maker.world()
        try:
            program = program_of(world)
            break
        except StillairError as error:
            # A formula over facts of two lists in hand is refused when the pack is read.
            assert all("two lists at once" in fault.message for fault in error.faults), error
    found = []
    for _ in range(2):
        entries = maker.job(world)
        found += [Case(world, entries, at, known) for at, known in maker.clocks(entries)]
    return program, found


def smallest(found: Disagreement) -> Disagreement:
    """The same disagreement with as few lines and as small a condition as simple cutting gives."""
    best, progress = found, True
    while progress:
        progress = False
        for case, rule in _smaller(best):
            world = replace(
                case.world,
                rules=(*(r for r in case.world.rules if r.finding and _needs(rule, r)), rule),
            )
            try:
                tried = list(compare(program_of(world), case._replace(world=world), Counter()))
            except (KeyError, AssertionError, TooMany):
                continue
            if tried:
                best, progress = tried[0], True
                break
    return best


def _needs(rule: Rule, other: Rule) -> bool:
    return any(part[0] in ("at least", "graded") and part[1] == other.finding for part in walk(rule.when))


def _smaller(found: Disagreement) -> Iterator[tuple[Case, Rule]]:
    yield from ((found.case, replace(found.rule, when=part)) for part in _parts(found.rule.when))
    for entry in found.case.entries:
        if all(other.target != entry.n for other in found.case.entries):
            yield found.case._replace(entries=[e for e in found.case.entries if e is not entry]), found.rule


def _parts(node: Condition) -> Iterator[Condition]:
    if node[0] in ("and", "or"):
        yield from node[1:]
        if len(node) > 3:
            yield from ((node[0], *node[1:i], *node[i + 1 :]) for i in range(1, len(node)))
        for i in range(1, len(node)):
            yield from ((*node[:i], part, *node[i + 1 :]) for part in _parts(node[i]))
    elif node[0] == "not":
        yield node[1]
        yield from (("not", part) for part in _parts(node[1]))
    elif node[0] in ("every", "any"):
        yield from ((node[0], node[1], part) for part in _parts(node[2]))


def disagreements(seeds: range, tally: Counter[str], met: Counter[str]) -> Iterator[Disagreement]:
    """All disagreements of some seeds; what the cases meet is counted in `met`."""
    for seed in seeds:
        program, found = cases(seed)
        for case in found:
            met.update(features(case) | {"cases"})
            yield from compare(program, case, tally)


# -- the tests ----------------------------------------------------------------------------------------------

#: Worlds tried. Each gives two jobs, three pairs of clocks and ten conditions: about 7000 verdicts.
SEEDS = range(150)
#: The share of cases that must meet each hard matter, so that none is tested by chance only.
LEAST_SHARE = 1 / 3


@pytest.fixture(scope="module")
def run() -> tuple[list[Disagreement], Counter[str], Counter[str]]:
    """All worlds judged by both: disagreements, tally of conditions, tally of cases by what they meet."""
    tally: Counter[str] = Counter()
    met: Counter[str] = Counter()
    wrong = list(disagreements(SEEDS, tally, met))
    return wrong, tally, met


def test_a_decided_verdict_is_true_of_every_completion(
    run: tuple[list[Disagreement], Counter[str], Counter[str]], record_property: Callable[[str, object], None]
) -> None:
    """HOLDS only where all completions are true, FAILS only where none is; one plain fact is exact."""
    wrong, tally, _ = run
    for name, number in sorted(tally.items()):
        record_property(name, number)
    record_property("open where exact decides", tally["exact decided, engine open"] / tally["conditions"])
    shown = "\n".join(str(smallest(found)) for found in kinds(wrong)[:4])
    assert not wrong, f"{len(wrong)} of {tally['decided']} decided verdicts are wrong, such as:\n{shown}"


def test_the_cases_are_hard_enough(run: tuple[list[Disagreement], Counter[str], Counter[str]]) -> None:
    """Open lists, series, events, expiry, disputes and two clocks are each met in a third of the cases."""
    _, tally, met = run
    for name in ("open lists", "series", "events", "expiry", "disputes", "two clocks"):
        assert met[name] >= LEAST_SHARE * met["cases"], f"{name}: {met[name]} of {met['cases']}"
    assert met["events undone"] >= 0.1 * met["cases"]
    assert tally["decided"] >= 0.15 * tally["conditions"]
    assert tally["too many completions"] <= 0.12 * tally["conditions"]


def kinds(wrong: Sequence[Disagreement]) -> list[Disagreement]:
    """One disagreement for each set of words in its condition, shortest conditions first."""
    found: dict[frozenset[str], Disagreement] = {}
    for each in sorted(wrong, key=lambda d: len(text_of(d.rule.when))):
        found.setdefault(frozenset(part[0] for part in walk(each.rule.when)), each)
    return list(found.values())


def test_the_compiled_judge_and_the_tree_walk_agree() -> None:
    """What decides fast and what explains slowly are one evaluator, inside lists too."""
    compared = 0
    for seed in range(60):
        program, found = cases(seed)
        for case in found[::2]:
            view = judged(program, case).view
            for cond in program.conditions:
                if re.search(r"(before|after) c[12]", cond.text):
                    continue  # rests on the observation being judged
                for members in product(("m1", "m2"), ("m1", "k1")):
                    binding = dict(zip(("la", "lb"), members, strict=True))
                    walked = tree.judge(
                        cond.checked, lambda ref, hand=binding, view=view: view.value(ref.bound(hand))
                    )
                    assert view.judge(cond, binding) is walked, cond.text
                    grown = tree.grow(
                        cond.checked, lambda ref, hand=binding, view=view: view.value(ref.bound(hand))
                    )
                    assert grown.verdict is walked, cond.text
                    compared += 1
    assert compared > 3000


def test_learning_never_flips_a_decided_verdict() -> None:
    """What nobody had asked is asked at the same moment: open verdicts may be decided, decided ones stay."""
    learnt = 0
    narrowed = 0
    for seed in range(1000, 1080):
        program, found = cases(seed)
        maker = Maker(seed)
        for case in found[::3]:
            before = {state.rule: state.verdict for state in judged(program, case).rules}
            for fact in case.world.facts:
                if not learnable(fact, case):
                    continue
                members: Sequence[str | None] = [None]
                if fact.per is not None:
                    known = oracle.Known.by(case.entries, case.known)
                    members = list(Situation(case.world, known, case.at).members(fact.per)[0])
                for member in members:
                    n = len(case.entries) + 1
                    entry = Entry(n, "observe", fact.name, case.at, case.at, member, maker.value(fact))
                    told = case._replace(entries=[*case.entries, entry])
                    after = {state.rule: state.verdict for state in judged(program, told).rules}
                    learnt += 1
                    for rule, verdict in before.items():
                        if verdict is Verdict.OPEN:
                            narrowed += after[rule] is not Verdict.OPEN
                        else:
                            assert after[rule] is verdict, (
                                f"seed {seed}: {rule} was {verdict.word}\n{entry}\n"
                                + str(
                                    Disagreement(
                                        case,
                                        next(r for r in case.world.rules if r.name == rule),
                                        verdict,
                                        set(),
                                    )
                                )
                            )
    assert learnt > 300
    assert narrowed > 100


def learnable(fact: Fact, case: Case) -> bool:
    """Whether telling a fact is only learning: nobody asked it, and saying it is no event by itself."""
    if case.at != case.known or any(entry.name == fact.name for entry in case.entries):
        return False
    triggers = {t.split()[0] for f in case.world.facts for t in f.void_after}
    triggers |= {t.split()[0] for w in case.world.waits for t in (*w.since, *w.restarted_by)}
    triggers |= {t.split()[0] for _, undone in case.world.undone for t in undone}
    counted = {
        part[1]
        for condition in (*(r.when for r in case.world.rules), *(e for _, e in case.world.calculations),
                          *(f.counts for f in case.world.facts))
        for part in walk(condition)
        if part[0] in ("since", "readings", "entries", "spread", "near")
    }  # fmt: skip
    return fact.name not in triggers | counted and not fact.name.endswith("_witness")
