"""How fast compiled conditions are, as a share of a function written by hand and timed in the same run.

    python tests/bench/bench_conditions.py [--rounds N] [--seeds N]

Rules of one to five comparisons are written at random (fixed seeds) as condition texts and go through the
real parser, checker and compiler. The same rules are written as the function a person would write: facts
unpacked once into local names, one list of answers. A share is the time of that function over the time of
ours on the same facts, so above 1 is faster than by hand. Times are process time, every contender in turn,
the best of all rounds. The answers of both are compared first, and any difference ends the run.

What is not in the shares: making the lists of facts, by hand or ours. For ours its time is given (`build`).
"""

from __future__ import annotations

import argparse
import gc
import marshal
import math
import platform
import random
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stillair.condition.batch import Batch, Narrowing
from stillair.condition.batch_source import batch_code, batch_slots
from stillair.condition.check import Checker, Scope, Symbol
from stillair.condition.compiled import code_of, functions, slots_of
from stillair.condition.core import Condition, NumberDomain, OptionDomain, Ref
from stillair.condition.merge import merged
from stillair.condition.tree import open_tests
from stillair.possible import Number, Options
from stillair.quantity import DIMENSIONS

#: Rules, and the facts they are about: half of them numbers.
SIZES = ((20, 40), (100, 80), (500, 200))
LEARNT = 40
"""Facts learnt in a guided session; fewer where the rules mention fewer."""
MISSING = 0.3
SETS = 40
"""Sets of facts that each timing goes through, so that no one path is favoured."""

#: Which of the two answers, or neither: open here, None by hand.
ANSWERS = (False, True, None)
Values = list[float | None]
Names = list[str | None]
Answers = list[bool | None]
ByHand = Callable[[Values, Names], Answers]


@dataclass(frozen=True)
class Rule:
    """One random rule: our text, and the Python of 'true', and of 'known to be true' and 'to be false'."""

    text: str
    two: str
    true: str
    false: str
    joins: frozenset[str]
    names: tuple[str, ...]

    @property
    def three(self) -> tuple[str, str]:
        """The three-valued answer in both orders, simplified where all joins are the same."""
        missing = " or ".join(f"{name} is None" for name in self.names)
        true_first = f"True if {self.true} else False if {self.false} else None"
        false_first = f"False if {self.false} else True if {self.true} else None"
        if self.joins <= {"or"}:
            true_first = f"True if {self.true} else None if {missing} else False"
        if self.joins <= {"and"}:
            false_first = f"False if {self.false} else None if {missing} else True"
        return true_first, false_first


@dataclass
class Rules:
    """Generated rules in every form that is timed."""

    rules: list[Rule]
    domains: dict[str, tuple[str, ...]]
    """The options of each fact that has them; the others are numbers from 0 to 100."""
    conditions: list[Condition]

    def __post_init__(self) -> None:
        slots = batch_slots(self.conditions)
        self.numbers = [ref.name for ref in slots.numbers]
        self.options = [ref.name for ref in slots.options]
        self.code = batch_code(self.conditions)
        self.batch = Batch(self.code)

    def by_hand(self, answers: Sequence[str]) -> ByHand:
        """The function a person would write, all rules in one."""
        source = (
            "def by_hand(numbers, options):\n"
            f"    {', '.join(self.numbers)}, = numbers\n"
            f"    {', '.join(self.options)}, = options\n"
            f"    return [{', '.join(answers)}]\n"
        )
        return self._function(source)

    def from_dictionary(self) -> Callable[[dict[str, object]], Answers]:
        """The same for facts in a dictionary, looked up where they are wanted."""
        names = {name: f"f[{name!r}]" for name in (*self.numbers, *self.options)}
        answers = [_renamed(rule.two, names) for rule in self.rules]
        source = f"def by_hand(f):\n    return [{', '.join(answers)}]\n"
        return self._function(source)

    @staticmethod
    def _function(source: str) -> Callable[..., Answers]:
        space: dict[str, Callable[..., Answers]] = {}
        exec(compile(source, "<by hand>", "exec"), space)
        return space["by_hand"]

    def two_valued(self) -> ByHand:
        return self.by_hand([rule.two for rule in self.rules])

    def three_valued(self) -> list[ByHand]:
        """Two ways to write it; the faster one counts."""
        return [self.by_hand(answers) for answers in zip(*(rule.three for rule in self.rules), strict=True)]

    def facts(self, dice: random.Random, missing: float) -> tuple[Values, Names]:
        """Random facts in the form the function by hand takes; None is missing."""
        numbers: Values = [None if dice.random() < missing else dice.uniform(0, 100) for _ in self.numbers]
        options: Names = [
            None if dice.random() < missing else dice.choice(self.domains[name]) for name in self.options
        ]
        return numbers, options

    def flat(
        self, numbers: Values, options: Names, tolerance: float = 0.0
    ) -> tuple[list[float], list[float], list[int]]:
        """The same facts as ours takes them: lows, highs and masks; what is missing is the whole domain."""
        lows = [-math.inf if value is None else value - tolerance for value in numbers]
        highs = [math.inf if value is None else value + tolerance for value in numbers]
        masks = []
        for name, option in zip(self.options, options, strict=True):
            known = self.domains[name]
            masks.append((1 << len(known)) - 1 if option is None else 1 << known.index(option))
        return lows, highs, masks

    def dictionary(self, numbers: Values, options: Names) -> dict[str, object]:
        return dict(zip((*self.numbers, *self.options), (*numbers, *options), strict=True))

    def each(self, lows: list[float], highs: list[float], masks: list[int]) -> list[list[float]]:
        """The same facts once more, as the function of each single condition takes them."""
        slots = batch_slots(self.conditions)
        found: list[list[float]] = []
        for condition in self.conditions:
            found.append([])
            for ref, is_number in slots_of(merged(condition)):
                if is_number:
                    found[-1] += [lows[slots.numbers[ref]], highs[slots.numbers[ref]]]
                else:
                    found[-1].append(masks[slots.options[ref]])
        return found

    def values(self, numbers: Values, options: Names, tolerance: float) -> dict[Ref, Number | Options]:
        """The same facts as the engine keeps them: readings with an instrument's offset and repeatability."""
        masks = self.flat(numbers, options)[2]
        found: dict[Ref, Number | Options] = {
            Ref(name): Options(mask) for name, mask in zip(self.options, masks, strict=True)
        }
        for line, (name, value) in enumerate(zip(self.numbers, numbers, strict=True)):
            if value is None:
                found[Ref(name)] = Number(-math.inf, math.inf)
            else:
                effects = {("repeat", str(line)): tolerance / 2, ("offset", "gauge"): tolerance}
                found[Ref(name)] = Number(value, value, effects)
        return found


def _renamed(source: str, names: dict[str, str]) -> str:
    return " ".join(names.get(word, word) for word in source.split(" "))


def generate(rules: int, facts: int, seed: int) -> Rules:
    """`rules` random rules about `facts` facts, through the real parser and checker."""
    dice = random.Random(seed)
    domains = {f"o{i}": tuple("abcdefgh"[: dice.choice((2, 2, 3, 4, 5))]) for i in range(facts // 2)}
    numbers = [f"n{i}" for i in range(facts - len(domains))]
    scope = Scope()
    for name in numbers:
        scope.symbols[name] = Symbol(name, "fact", NumberDomain(DIMENSIONS["number"]))
    for name, options in domains.items():
        scope.symbols[name] = Symbol(name, "fact", OptionDomain(options))
    written = []
    for _ in range(rules):
        about = dice.sample([*numbers, *domains], dice.randint(1, 5))
        written.append(_rule(dice, about, domains))
    checker = Checker(scope)
    return Rules(written, domains, [checker.condition(rule.text) for rule in written])


def _rule(dice: random.Random, about: list[str], domains: dict[str, tuple[str, ...]]) -> Rule:
    """A random rule with a comparison of each fact: two in three joins are `and`, one in eight is turned.

    No fact is named twice, so that three-valued answers by hand are as decided as ours.
    """
    if len(about) == 1:
        return _comparison(dice, about[0], domains)
    left = dice.randint(1, len(about) - 1)
    one, other = _rule(dice, about[:left], domains), _rule(dice, about[left:], domains)
    word, turned = ("and", "or") if dice.random() < 2 / 3 else ("or", "and")
    text, two = f"( {one.text} {word} {other.text} )", f"( {one.two} {word} {other.two} )"
    true = f"( {one.true} {word} {other.true} )"
    false = f"( {one.false} {turned} {other.false} )"
    joins = one.joins | other.joins | {word}
    if dice.random() < 1 / 8:
        turns = {"and": "or", "or": "and"}
        text, two, true, false = f"not {text}", f"( not {two} )", false, true
        joins = frozenset(turns[join] for join in joins)
    return Rule(text, two, true, false, joins, tuple(about))


def _comparison(dice: random.Random, name: str, domains: dict[str, tuple[str, ...]]) -> Rule:
    known = f"{name} is not None and "
    if name not in domains:
        bound = round(dice.uniform(2, 98), 1)
        operator, opposite = dice.choice((("<", ">="), ("<=", ">"), (">", "<="), (">=", "<")))
        yes, no = f"{name} {operator} {bound}", f"{name} {opposite} {bound}"
        return Rule(yes, yes, f"( {known}{yes} )", f"( {known}{no} )", frozenset(), (name,))
    options = domains[name]
    if len(options) < 4 or dice.random() < 0.6:
        option = dice.choice(options)
        text, yes, no = f"{name} is {option}", f"{name} == {option!r}", f"{name} != {option!r}"
    else:
        some = sorted(dice.sample(options, 2))
        text = f"{name} is one of {', '.join(some)}"
        yes, no = (f"{name} {word} ({', '.join(map(repr, some))})" for word in ("in", "not in"))
    # What equals an option is not None: by hand nobody tests that.
    if dice.random() < 0.25:
        return Rule(text.replace(" is ", " is not ", 1), no, f"( {known}{no} )", yes, frozenset(), (name,))
    return Rule(text, yes, yes, f"( {known}{no} )", frozenset(), (name,))


# -- guided session --------------------------------------------------------------------------------------


class Session:
    """Facts learnt one by one from nothing, every verdict wanted after each."""

    def __init__(self, rules: Rules, dice: random.Random) -> None:
        self.batch = rules.batch
        numbers, options = rules.facts(dice, 0.0)
        self.nothing: tuple[Values, Names] = ([None] * len(numbers), [None] * len(options))
        self.whole = rules.flat(*self.nothing)
        lows, highs, masks = rules.flat(numbers, options)
        every = [(True, slot) for slot in range(len(numbers))] + [
            (False, slot) for slot in range(len(options))
        ]
        learnt = dice.sample(every, min(LEARNT, len(every)))
        self.known = [(number, slot, numbers[slot] if number else options[slot]) for number, slot in learnt]
        self.spans = [
            (number, slot, lows[slot], highs[slot], 0) if number else (number, slot, 0.0, 0.0, masks[slot])
            for number, slot in learnt
        ]

    def by_hand(self, function: ByHand, kept: list[Answers] | None = None) -> None:
        """Everything evaluated again after each fact."""
        facts: tuple[list[Any], list[Any]] = (list(self.nothing[0]), list(self.nothing[1]))
        numbers, options = facts
        answers = function(numbers, options)
        for number, slot, value in self.known:
            if number:
                numbers[slot] = value
            else:
                options[slot] = value
            answers = function(numbers, options)
            if kept is not None:
                kept.append(answers)

    def ours(self, kept: list[Answers] | None = None) -> None:
        """What mentions the fact judged again."""
        narrowing = Narrowing(self.batch, *self.whole)
        for number, slot, low, high, mask in self.spans:
            if number:
                narrowing.number(slot, low, high)
            else:
                narrowing.options(slot, mask)
            if kept is not None:
                kept.append(answers_of(narrowing.verdicts))


# -- checking --------------------------------------------------------------------------------------------


def answers_of(verdicts: Sequence[int]) -> Answers:
    return [ANSWERS[verdict] for verdict in verdicts]


def check(rules: Rules, seed: int, sets: int = SETS) -> int:
    """Compare every answer with the functions by hand; AssertionError where one differs."""
    dice = random.Random(seed)
    two, three, named = rules.two_valued(), rules.three_valued(), rules.from_dictionary()
    alone = functions(code_of(rules.conditions), len(rules.conditions))
    compared = 0
    for missing in (0.0, MISSING, 1.0):
        for _ in range(sets):
            facts = rules.facts(dice, missing)
            expected = three[0](*facts)
            flat = rules.flat(*facts)
            found = [three[1](*facts), answers_of(rules.batch.judge(*flat))]
            found.append(answers_of([judge(v) for judge, v in zip(alone, rules.each(*flat), strict=True)]))
            if not missing:
                found += [two(*facts), named(rules.dictionary(*facts))]
            assert all(answers == expected for answers in found), "different answers"
            compared += len(expected)
    session = Session(rules, dice)
    ours: list[Answers] = []
    by_hand: list[Answers] = []
    session.ours(ours)
    session.by_hand(three[0], by_hand)
    assert ours == by_hand, "different answers in a guided session"
    return compared + sum(map(len, ours))


def smoke() -> int:
    """A quick check of every size without timing; the number of answers compared."""
    return sum(check(generate(rules, facts, seed=rules), seed=2, sets=3) for rules, facts in SIZES)


# -- timing ----------------------------------------------------------------------------------------------

Contender = tuple[Callable[..., object], Sequence[tuple[Any, ...]]]


def best(contenders: dict[str, Contender], rounds: int) -> dict[str, float]:
    """Seconds per call of each: all take turns, the best round counts."""
    found = dict.fromkeys(contenders, math.inf)
    clock = time.process_time
    gc.disable()
    for _ in range(rounds):
        for name, (function, arguments) in contenders.items():
            start = clock()
            for each in arguments:
                function(*each)
            found[name] = min(found[name], (clock() - start) / len(arguments))
    gc.enable()
    return found


def measure(rules: Rules, rounds: int) -> dict[str, float]:
    """Seconds of everything that is timed for these rules."""
    dice = random.Random(7)
    complete = [rules.facts(dice, 0.0) for _ in range(SETS)]
    missing = [rules.facts(dice, MISSING) for _ in range(SETS)]
    flat = [rules.flat(*facts) for facts in complete]
    flat_missing = [rules.flat(*facts) for facts in missing]
    alone = functions(code_of(rules.conditions), len(rules.conditions))
    three, judge = rules.three_valued(), rules.batch.judge

    def one_by_one(values: Sequence[Sequence[float]]) -> list[int]:
        return [function(each) for function, each in zip(alone, values, strict=True)]

    found = best(
        {
            "two": (rules.two_valued(), complete),
            "two from dictionary": (rules.from_dictionary(), [(rules.dictionary(*f),) for f in complete]),
            "complete": (judge, flat),
            "tolerance": (judge, [rules.flat(*facts, tolerance=1.5) for facts in complete]),
            "complete one by one": (one_by_one, [(rules.each(*each),) for each in flat]),
            "three, true first": (three[0], missing),
            "three, false first": (three[1], missing),
            "missing": (judge, flat_missing),
            "missing one by one": (one_by_one, [(rules.each(*each),) for each in flat_missing]),
        },
        rounds,
    )
    sessions = [Session(rules, dice) for _ in range(8)]
    found |= best(
        {
            "session": (Session.ours, [(each,) for each in sessions]),
            "session by hand, true first": (Session.by_hand, [(each, three[0]) for each in sessions]),
            "session by hand, false first": (Session.by_hand, [(each, three[1]) for each in sessions]),
        },
        rounds // 2,
    )
    values = [rules.values(*facts, tolerance=1.5) for facts in missing]
    refs = batch_slots(rules.conditions)

    def build(known: dict[Ref, Number | Options]) -> None:
        spans = [known[ref].span() for ref in refs.numbers]  # type: ignore[union-attr]
        _ = [low for low, _ in spans], [high for _, high in spans]
        _ = [known[ref].mask for ref in refs.options]  # type: ignore[union-attr]

    def reasons(known: dict[Ref, Number | Options]) -> None:
        for condition in flat_conditions:
            open_tests(condition, known.__getitem__)

    flat_conditions = [merged(condition) for condition in rules.conditions]
    given = [(known,) for known in values]
    return found | best({"build": (build, given), "reasons": (reasons, given[:8])}, max(3, rounds // 8))


def loading(rules: Rules, rounds: int) -> dict[str, float]:
    """Seconds to load the compiled rules from files."""
    count = len(rules.conditions)
    with tempfile.TemporaryDirectory() as folder:
        one, many = Path(folder, "one"), Path(folder, "many")
        one.write_bytes(marshal.dumps(code_of(rules.conditions)))
        many.write_bytes(rules.code)
        return best(
            {
                "load one by one": (lambda: functions(marshal.loads(one.read_bytes()), count), [()] * 5),
                "load": (lambda: Batch(many.read_bytes()), [()] * 5),
                "load with session": (lambda: Batch(many.read_bytes()).updates(), [()] * 5),
            },
            rounds,
        )


#: Heading of a column, and how its figure comes from one run.
Columns = dict[str, Callable[[dict[str, float]], float]]

THREE = ("three, true first", "three, false first")
SESSIONS = ("session by hand, true first", "session by hand, false first")

SHARES: Columns = {
    "complete": lambda run: run["two"] / run["complete"],
    "missing": lambda run: min(run[name] for name in THREE) / run["missing"],
    "session": lambda run: min(run[name] for name in SESSIONS) / run["session"],
    "load ms": lambda run: run["load"] * 1e3,
    "+session": lambda run: run["load with session"] * 1e3,
    "tolerance": lambda run: run["two"] / run["tolerance"],
    "dictionary": lambda run: run["two from dictionary"] / run["complete"],
}
TIMES: Columns = {
    "by hand": lambda run: run["two"] * 1e6,
    "ours": lambda run: run["complete"] * 1e6,
    "by hand, missing": lambda run: min(run[name] for name in THREE) * 1e6,
    "ours, missing": lambda run: run["missing"] * 1e6,
    "build": lambda run: run["build"] * 1e6,
    "reasons": lambda run: run["reasons"] * 1e6,
}
ALONE: Columns = {
    "complete": lambda run: run["two"] / run["complete one by one"],
    "missing": lambda run: min(run[name] for name in THREE) / run["missing one by one"],
    "load ms": lambda run: run["load one by one"] * 1e3,
}


def table(columns: Columns, results: dict[tuple[int, int], list[dict[str, float]]]) -> str:
    """The middle figure of the runs of each size."""
    lines = ["rules facts  " + "  ".join(f"{heading:>8}" for heading in columns)]
    for (rules, facts), runs in results.items():
        figures = (statistics.median(map(figure, runs)) for figure in columns.values())
        shown = (f"{f:>{max(8, len(h))}.2f}" for f, h in zip(figures, columns, strict=True))
        lines.append(f"{rules:5} {facts:5}  " + "  ".join(shown))
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description="time compiled conditions against functions by hand")
    parser.add_argument("--rounds", type=int, default=200, help="timing rounds, the best counts")
    parser.add_argument("--seeds", type=int, default=3, help="sets of rules; their middle figure is shown")
    given = parser.parse_args()
    results: dict[tuple[int, int], list[dict[str, float]]] = {}
    compared = 0
    for size in SIZES:
        results[size] = []
        for seed in range(given.seeds):
            made = generate(*size, seed=size[0] + seed)
            compared += check(made, seed)
            results[size].append(measure(made, given.rounds) | loading(made, given.rounds // 4 + 1))
    print(f"Python {platform.python_version()}, {platform.machine()}; best of {given.rounds} rounds in turn,")
    print(f"process time, middle of {given.seeds} sets of rules; {compared} answers compared, all identical")
    print("\nShare of the function by hand. complete: two-valued; missing: 30 % of the facts, three-valued;")
    print("session: 40 facts learnt, all evaluated by hand after each; load: all rules from a file, and with")
    print("what a session needs; tolerance: complete, every reading give or take; dictionary: as complete,")
    print("against a function that looks its facts up in a dictionary")
    print(table(SHARES, results))
    print(
        "\nMicroseconds for all rules. build: the lists of spans and masks from readings with the errors of"
    )
    print("their instruments; reasons: the walk that finds what keeps open rules open, done on demand")
    print(table(TIMES, results))
    print("\nShare of the function by hand where each condition is judged by a function of its own")
    print(table(ALONE, results))


if __name__ == "__main__":
    main()
