"""The same checklist and job give the same assessment, whatever the order of rules, hash seed or process."""

from __future__ import annotations

import copy
import os
import random
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from pathlib import Path
from typing import Any

import pytest
from stillair.assess import Assessment, Program, assess
from stillair.assess.assessment import follow
from stillair.condition.core import Ref
from stillair.hooks import Plugins

sys.path.insert(0, str(Path(__file__).parent))
import test_soundness as soundness
from oracle import Entry, World

SEEDS = (3, 11, 29)
#: What belongs to the way and not to the result: caches, the program itself, the lazy evaluator.
NOT_SHOWN = ("program", "history", "view")
SAID = (
    "at", "count", "rules", "findings", "stops", "cautions", "waits", "places", "suspicions", "next", "steps"
)  # fmt: skip


def plain(value: object) -> Any:
    """A value as text and lists that two processes can compare; sets sorted, mappings in their order."""
    if isinstance(value, Enum):
        return value.name
    if is_dataclass(value) and not isinstance(value, type):
        return [
            (f.name, plain(getattr(value, f.name)))
            for f in fields(value)
            if f.name not in NOT_SHOWN and not f.name.startswith("_")
        ]
    if isinstance(value, dict):
        return [(plain(k), plain(v)) for k, v in value.items()]
    if isinstance(value, frozenset | set):
        return sorted(str(plain(v)) for v in value)
    if isinstance(value, tuple | list):
        return [plain(v) for v in value]
    return repr(value)


def whole(assessment: Assessment) -> str:
    """Everything an assessment says, also what is worked out only when asked for."""
    view = assessment.view
    rules = [
        (plain(view.reasons(rule.when)), plain(view.missing(rule.when)))
        for rule in assessment.program.rules.values()
        if rule.per is None
    ]
    said = [plain(getattr(assessment, name)) for name in SAID]
    return repr((said, rules))


def printed() -> Iterator[str]:
    """The assessments of some worlds, one text each."""
    for seed in SEEDS:
        program, cases = soundness.cases(seed)
        for case in cases:
            yield whole(soundness.judged(program, case))


def test_assessing_twice_gives_the_same() -> None:
    """No state is left behind in the program."""
    assert list(printed()) == list(printed())


def test_other_times_and_jobs_in_between_change_nothing() -> None:
    """A program may serve many jobs, as in a replay."""
    for seed in SEEDS:
        program, cases = soundness.cases(seed)
        first = [whole(soundness.judged(program, case)) for case in cases]
        backwards = [whole(soundness.judged(program, case)) for case in reversed(cases)]
        assert first == backwards[::-1]


def test_two_processes_with_other_hash_seeds_give_the_same_bytes() -> None:
    """Nothing rests on the order of a set."""
    script = (
        "import hashlib, sys; sys.path.insert(0, sys.argv[1]); import test_determinism as t\n"
        "print(hashlib.sha256('\\n'.join(t.printed()).encode()).hexdigest())"
    )
    running = [
        subprocess.Popen(
            [sys.executable, "-W", "error", "-c", script, str(Path(__file__).parent)],
            env={**os.environ, "PYTHONHASHSEED": seed},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for seed in ("0", "1", "4242")
    ]
    said = [process.communicate(timeout=120) for process in running]
    assert [error for _, error in said] == ["", "", ""]
    assert len({out for out, _ in said}) == 1


def _shuffled(world: World, seed: int) -> World:
    """The same checklist with rules, facts, events and lists written in another order."""
    shuffler = random.Random(seed)

    def mixed(items: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(shuffler.sample(items, len(items)))

    return replace(
        world, rules=mixed(world.rules), facts=mixed(world.facts), events=mixed(world.events),
        lists=mixed(world.lists), waits=mixed(world.waits),
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(12))
def test_the_order_in_a_file_decides_nothing(seed: int) -> None:
    """Verdicts, findings, dates and what is missing are the same for rules in any order."""
    program, cases = soundness.cases(seed)
    other = soundness.program_of(_shuffled(cases[0].world, seed))
    for case in cases:
        a, b = soundness.judged(program, case), soundness.judged(other, case)
        assert sorted(plain(a.rules)) == sorted(plain(b.rules))
        assert sorted(plain(a.findings)) == sorted(plain(b.findings))
        assert {n: plain(w) for n, w in a.waits.items()} == {n: plain(w) for n, w in b.waits.items()}
        for name, rule in program.rules.items():
            assert a.view.missing(rule.when) == b.view.missing(other.rules[name].when)


def test_lines_entered_at_one_time_in_another_order() -> None:
    """Facts that have nothing to do with each other may be said in any order."""
    compared = 0
    for seed in range(40):
        program, cases = soundness.cases(seed)
        case = cases[0]
        seen: dict[str, Entry] = {}
        for entry in case.entries:
            if entry.kind == "observe":
                seen.setdefault(entry.name, entry)
        together = [
            replace(entry, n=number, taken=5, entered=5)
            for number, entry in enumerate(seen.values(), start=1)
        ]
        # Only those that no other observation or event may be void after, or be counted from.
        plain_facts = ("n1", "n3", "f3", "gas", "p1", "q1", "p2", "q2")
        together = [
            replace(e, n=i) for i, e in enumerate((e for e in together if e.name in plain_facts), start=1)
        ]
        turned = [replace(e, n=i) for i, e in enumerate(reversed(together), start=1)]
        if len(together) < 2:
            continue
        verdicts = []
        for entries in (together, turned):
            found = assess(program, soundness.lines_of(entries), soundness.seconds(6))
            verdicts.append([(r.rule, r.member, r.verdict) for r in found.rules])
        assert verdicts[0] == verdicts[1]
        compared += 1
    assert compared > 20


def test_following_a_job_line_by_line_is_assessing_it_from_scratch() -> None:
    """What a session works out again after an entry, or as time passes, is all that could have changed."""
    followed = 0
    for seed in range(36):
        program, cases = soundness.cases(seed)
        for case in cases[::3]:
            lines = soundness.lines_of(case.entries)
            now = soundness.seconds(0)
            before = assess(program, [], now)
            for count, line in enumerate(lines, start=1):
                for at in (line.entered, line.entered + 60 * (count % 4)):
                    fresh = assess(program, lines[:count], at)
                    before = follow(before, lines[:count], at)
                    assert verdicts(before) == verdicts(fresh), f"seed {seed}, after line {line}"
                    followed += 1
    assert followed > 1000


def verdicts(assessment: Assessment) -> object:
    """What a technician would see of an assessment."""
    return [
        [(r.rule, r.member, r.verdict.word, r.decided) for r in assessment.rules],
        plain(assessment.findings),
        plain(list(assessment.waits.values())),
        plain(assessment.next),
        [plain(assessment.view.reasons(rule.when)) for rule in assessment.program.rules.values()],
        [plain(assessment.view.missing(rule.when)) for rule in assessment.program.rules.values()],
    ]


def test_each_program_keeps_to_its_own_calculators(
    tank_program: Program, tank_plugins: Plugins, new_tank: Callable[[], Any]
) -> None:
    """Programs share the function made of a formula, but never with one that has another plugin behind it."""
    twice = dict(tank_plugins.calculators)
    held = twice["weight_pressure"]
    twice["weight_pressure"] = replace(held, function=lambda *given: 2 * held.function(*given))
    other = copy.copy(tank_program).bind(twice, tank_plugins.catalogues)
    other.closures = {}
    tank = new_tank()
    tank.note("liquid", "water")
    tank.note("depth", "30 ft")
    once, double, again = (
        assess(program, tank.lines, tank.at).view.number(Ref("expected")).middle
        for program in (tank_program, other, tank_program)
    )
    assert once == again > 0
    assert double == 2 * once
