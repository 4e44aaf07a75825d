"""Groups of rules against brute force: every answer there can be is tried, by an evaluator of its own."""

from __future__ import annotations

import random
import re
import time
from collections.abc import Callable, Iterator, Mapping
from itertools import combinations, product
from typing import Any

import pytest
from stillair import quantity
from stillair.assess.compiler import Compiler
from stillair.authoring.lint.groups import gap, overlap
from stillair.authoring.lint.sites import Subject
from stillair.authoring.rehearse import play
from stillair.hooks import Plugins
from stillair.pack import Pack, read_pack, read_texts
from stillair.strict_yaml import plain, read_yaml

HIGHEST = 6
OPTIONS = {"a": ("red", "green", "blue"), "b": ("yes", "no"), "c": ("p", "q", "r", "s")}
NUMBERS = ("n", "m")
FACTS = "".join(
    [f"  {name}: {{ask: '?', options: [{', '.join(map(repr, names))}]}}\n" for name, names in OPTIONS.items()]
    + [f"  {n}: {{ask: '?', quantity: length, between: 0 in .. {HIGHEST} in}}\n" for n in NUMBERS]
)
MANIFEST = 'pack: g\nversion: 1.0.0\ntitle: G\nengine: ">=0.1,<1"\nchecklists: [g.yaml]\n'

Answers = Mapping[str, Any]
Asked = tuple[str, Callable[[Answers], bool]]
#: Every number that some bound can tell from another: the bounds, and one between each two.
VALUES: dict[str, tuple[Any, ...]] = {
    **OPTIONS,
    **{n: tuple(i / 2 for i in range(2 * HIGHEST + 1)) for n in NUMBERS},
}


def condition(rng: random.Random, names: list[str], depth: int) -> Asked:
    """A random condition: its text, and what it means."""
    if depth and rng.random() < 0.6:
        word = rng.choice(("and", "or"))
        (one, f), (two, g) = condition(rng, names, depth - 1), condition(rng, names, depth - 1)
        both: Callable[[Answers], bool] = (
            (lambda x: f(x) and g(x)) if word == "and" else (lambda x: f(x) or g(x))
        )
        if rng.random() < 0.25:
            return f"not ({one} {word} {two})", lambda x: not both(x)
        return f"({one} {word} {two})", both
    name = rng.choice(names)
    if name in OPTIONS:
        chosen = rng.sample(OPTIONS[name], rng.randint(1, len(OPTIONS[name]) - 1))
        negated = rng.random() < 0.4
        said = f"{name} is {'not ' if negated else ''}one of {', '.join(chosen)}"
        return said, lambda x: (x[name] in chosen) is not negated
    bound, sign = rng.randint(0, HIGHEST), rng.choice(("<", "<=", ">", ">="))
    test: Callable[[Answers], bool] = {
        "<": lambda x: x[name] < bound,
        "<=": lambda x: x[name] <= bound,
        ">": lambda x: x[name] > bound,
        ">=": lambda x: x[name] >= bound,
    }[sign]
    return f"{name} {sign} {bound} in", test


class Group:
    """Some rules, said to exclude each other and to be complete within a condition."""

    def __init__(self, rng: random.Random, number: int) -> None:
        self.name = f"g{number}"
        self.facts = rng.sample([*OPTIONS, *NUMBERS], rng.randint(1, 3))
        self.rules = {
            f"r{number}-{i}": condition(rng, self.facts, rng.randint(0, 3)) for i in range(rng.randint(2, 4))
        }
        self.within = condition(rng, self.facts, 1) if rng.random() < 0.5 else ("always", lambda x: True)

    def worlds(self) -> Iterator[Answers]:
        for values in product(*(VALUES[name] for name in self.facts)):
            yield dict(zip(self.facts, values, strict=True))

    def has_gap(self, x: Answers) -> bool:
        return self.within[1](x) and not any(means(x) for _, means in self.rules.values())

    def overlaps(self) -> set[tuple[str, str]]:
        worlds = list(self.worlds())
        return {
            pair
            for pair in combinations(self.rules, 2)
            if any(all(self.rules[name][1](x) for name in pair) for x in worlds)
        }

    def said(self) -> str:
        return "".join(
            f"  - {{rule: {n}, finding: f{self.name}, when: '{t}'}}\n" for n, (t, _) in self.rules.items()
        )

    def declared(self) -> str:
        listed = ", ".join(self.rules)
        are = f"are: [exclusive, complete], within: '{self.within[0]}'"
        return f"  - {{group: {self.name}, rules: [{listed}], {are}}}\n"


def checked(text: str) -> Subject:
    pack = read_texts({"manifest.yaml": MANIFEST, "g.yaml": text}, plugins={}, label="g")
    compiler = Compiler([pack], {}, {})
    compiler.check()
    assert compiler.faults == []
    return Subject((pack,), compiler)


def subject_of(groups: list[Group]) -> Subject:
    said = "".join(group.said() for group in groups)
    declared = "".join(group.declared() for group in groups)
    return checked(f"checklist: g\ntitle: G\nfacts:\n{FACTS}rules:\n{said}groups:\n{declared}")


@pytest.mark.parametrize("said", ["n - m", "m - n"])
def test_a_difference_is_said_as_its_author_writes_it(said: str) -> None:
    """Whichever way round: never as what is less than nothing with the signs turned."""
    rules = f"  - {{rule: r, finding: f, when: '{said} < 2 in'}}\n"
    rules += f"  - {{rule: s, finding: f, when: '{said} > 3 in'}}\n"
    text = f"checklist: g\ntitle: G\nfacts:\n{FACTS}rules:\n{rules}groups:\n"
    subject = checked(text + "  - {group: g, rules: [r, s], are: [complete]}\n")
    (fault,) = gap(subject, next(subject.checklists).groups[0])
    remark = re.search(r"(?m)^# and (.*) is ([\d.]+) (\S+)$", fault.scenario or "")
    assert remark is not None and remark[1] == said
    inches = quantity.read(f"{remark[2]} {remark[3]}", quantity.DIMENSIONS["length"]).value / 0.0254
    assert 2 <= inches <= 3


def entered(scenario: str | None) -> dict[str, Any]:
    """What a witness enters, as the evaluator here understands it."""
    assert scenario is not None and "# and" not in scenario
    found: Any = plain(read_yaml(scenario, "witness"))
    answers: dict[str, Any] = {}
    for name, value in found["does"][0].get("note", {}).items():
        number = re.match(r"([\d.]+) in$", str(value))
        answers[name] = float(number[1]) if number else value
    return answers


@pytest.mark.parametrize("seed", range(20))
def test_a_thousand_groups_are_judged_as_by_trying_every_answer(seed: int) -> None:
    """Fifty for each seed: whether there is a gap, which rules overlap, and that each witness is one."""
    rng = random.Random(seed)
    groups = [Group(rng, number) for number in range(50)]
    subject = subject_of(groups)
    specs = {spec.name: spec for checklist in subject.checklists for spec in checklist.groups}
    gaps = 0
    for group in groups:
        found = list(gap(subject, specs[group.name]))
        holes = [x for x in group.worlds() if group.has_gap(x)]
        assert bool(found) is bool(holes), group.declared()
        for fault in found:
            witness = entered(fault.scenario)
            assert any(witness.items() <= x.items() for x in holes)
            rest = {name: VALUES[name][0] for name in group.facts} | witness
            assert group.has_gap(rest), "what a witness leaves out does not matter"
        gaps += len(found)
        told = {
            tuple(fault.message.split("`")[1:4:2]): fault for fault in overlap(subject, specs[group.name])
        }
        assert set(told) == group.overlaps(), group.declared()
        for pair, fault in told.items():
            rest = {name: VALUES[name][0] for name in group.facts} | entered(fault.scenario)
            assert all(group.rules[name][1](rest) for name in pair)
    assert 5 < gaps < 45, "both outcomes must be among the random groups"


def test_a_witness_is_a_scenario_that_passes() -> None:
    """Printed, kept in a file and played: the rules come out as it says."""
    rng = random.Random(99)
    groups = [Group(rng, number) for number in range(30)]
    subject = subject_of(groups)
    program = Compiler(subject.packs, {}, {}).sound().finish()
    played = 0
    for checklist in subject.checklists:
        for spec in checklist.groups:
            for fault in (*gap(subject, spec), *overlap(subject, spec)):
                scenario: Any = plain(read_yaml(fault.scenario or "", "witness"))
                assert play(program, scenario).misses == [], fault.scenario
                played += 1
    assert played > 20


def test_what_cannot_be_is_no_gap() -> None:
    """What the pack calls impossible is no world."""
    text = f"checklist: g\ntitle: G\nfacts:\n{FACTS}rules:\n  - {{rule: r, finding: f, when: n >= 2 in}}\n"
    group = "groups: [{group: x, rules: [r], are: [complete]}]\n"
    subject = checked(text + group)
    assert len(list(gap(subject, next(subject.checklists).groups[0]))) == 1
    subject = checked(text + group + "impossible: [{when: n < 2 in, slip: Too low, facts: [n]}]\n")
    assert list(gap(subject, next(subject.checklists).groups[0])) == []


def test_an_attribute_nobody_knows_is_a_gap() -> None:
    """An entry of a catalogue for which no rule is ever decided is shown by name."""
    from stillair.calculator import Attribute, Catalogue, Entry

    catalogue = Catalogue(
        "stuff",
        (Attribute("burns", "option", ("yes", "no"), source="from memory"),),
        (Entry("oil", {"burns": "yes"}), Entry("sand", {"burns": "no"}), Entry("dust", {"burns": None})),
        "from memory",
    )
    text = (
        "checklist: g\ntitle: G\nfacts: {x: {ask: X?, catalogue: stuff}}\nrules:\n"
        "  - {rule: r, finding: f, when: x.burns is yes}\n  - {rule: q, finding: g, when: x.burns is no}\n"
        "groups: [{group: h, rules: [r, q], are: [exclusive, complete]}]\n"
    )
    pack = read_texts({"manifest.yaml": MANIFEST, "g.yaml": text}, plugins={}, label="g")
    compiler = Compiler([pack], {}, {"stuff": catalogue})
    compiler.check()
    subject = Subject((pack,), compiler)
    (fault,) = gap(subject, pack.checklists[0].groups[0])
    assert "x: dust" in (fault.scenario or "")


def bundled() -> tuple[Plugins, tuple[Pack, ...]]:
    plugins = Plugins.load()
    return plugins, tuple(read_pack(folder, plugins=plugins.versions()) for folder in plugins.packs)


def test_every_stop_of_the_bundled_packs_as_one_group_is_soon_looked_at() -> None:
    """All rules that stop something, said to exclude each other: some ten thousand pairs.

    In less than two seconds on a machine that is not slow; here only that it does not grow out of hand.
    """
    plugins, packs = bundled()
    compiler = Compiler(packs, plugins.calculators, plugins.catalogues)
    compiler.check()
    subject = Subject(packs, compiler)
    stops = [rule for c in subject.checklists for rule in c.rules if rule.stop and rule.per is None]
    from stillair.checklist import GroupSpec, Text

    spec = GroupSpec("stops", Text("stops"), tuple(Text(rule.name) for rule in stops), ("exclusive",), None)
    begun = time.process_time()
    found = list(overlap(subject, spec))
    assert time.process_time() - begun < 10.0
    assert len(stops) > 60 and len(found) > 1000
