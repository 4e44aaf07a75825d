"""Two versions of a pack compared by what follows from them, not by their texts.

Of each condition it is said whether it holds for the same facts, for more or for fewer. Where it holds for
fewer, a gate, a finding and what makes an entry count are stricter; a stop and a caution are where for more.
What is declared beside the conditions is held against each other too.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import product

from stillair.assess import Assessment, Program, assess
from stillair.assess.adjusting import named_in
from stillair.assess.strict import Compared, Part
from stillair.assess.uses import Use, each_view, uses
from stillair.condition import core
from stillair.job import Line
from stillair.verdict import Verdict

from .declared import Outcome, declared, flat
from .lost import fitting
from .mutants import MOST, Case, settled, values_of
from .mutation import said

__all__ = ["Outcome", "compared", "fall_in", "in_both"]

_OF_MORE = ("stop", "caution")
"""What is stricter where it holds for more facts."""
_NUMBERED = ("impossible", "suspect")


def compared(old: Program, new: Program) -> Iterator[Outcome]:
    """Every use of a condition that is in one of the two, then what is declared otherwise beside them."""
    before, after = (_by_name(program) for program in (old, new))
    behind = _edits(old, new)
    two = Compared(old, new)
    for key in dict.fromkeys((*before, *after)):
        a, b = before.get(key), after.get(key)
        if a is None or b is None:
            there = a or b
            assert there is not None
            edit = f"{'left out' if b is None else 'added'}: {flat(there.cond.text)}"
            yield Outcome(*key, _left(old, new, there, b is None), None, (edit,), there.guards)
            continue
        outcome, witness = _outcome(old, two, a, b)
        if outcome == "same":
            yield Outcome(*key, "same", None, (), a.guards)
            continue
        edits = (
            [] if flat(a.cond.text) == flat(b.cond.text) else [f"{flat(a.cond.text)} → {flat(b.cond.text)}"]
        )
        names = named_in(old, a.cond.text) | named_in(new, b.cond.text)
        edits += [edit for name, edit in behind.items() if name in names]
        yield Outcome(*key, outcome, witness, tuple(edits), a.guards)
    yield from declared(old, new)


def _left(old: Program, new: Program, use: Use, gone: bool) -> str:
    """What it makes of a pack that a condition is in one of the two only."""
    program = new if gone else old
    there: dict[str, Mapping[str, object]] = {
        "gate of activity": program.activities,
        "gate of powered state": program.powered,
        "gate of step": program.steps,
        "when of step": program.steps,
        "when of place": program.places,
        "counts when of fact": program.facts,
        "counts when of place": program.places,
    }
    if use.kind in _OF_MORE or use.name in there.get(use.kind, {}):
        return "looser" if gone else "stricter"
    return "gone" if gone else "new"


def in_both(old: Program, new: Program) -> set[tuple[str, str]]:
    """The conditions that both have, by kind and name: those a recorded job can be judged by."""
    return _by_name(old).keys() & _by_name(new).keys()


def _by_name(program: Program) -> dict[tuple[str, str], Use]:
    """What has a name of its own; what is numbered goes by what it says."""
    found = {}
    for use in uses(program):
        name = flat(use.cond.text) if use.kind in _NUMBERED else use.name
        if use.kind != "inside":
            found[use.kind, name] = use
    return found


def _outcome(old: Program, two: Compared, a: Use, b: Use) -> tuple[str, str | None]:
    """How the two come out, and facts for which they differ."""
    x, y = a.cond.checked, b.cond.checked
    if not all(_of_one_domain(old, two.new, ref.name) for ref in (*core.refs_of(x), *core.refs_of(y))):
        return "not told", "an answer or a range is another one"
    gained = list(two.looser(x, y, narrow=True))
    lost = list(two.looser(x, y, narrow=False))
    if any(part.witness is None for part in (*gained, *lost)):
        refs = dict.fromkeys((*core.refs_of(x), *core.refs_of(y)))
        unlike = [two.unlike(ref.name) for ref in refs if not two.same(ref.name)]
        if unlike:
            return "not told", _each_told(gained, lost, unlike)
        return _tried(old, two.new, a, b, list(refs))
    witness = next((part.witness for part in (*gained, *lost)), None)
    return _word(a.kind, bool(gained), bool(lost)), witness


def _each_told(gained: Sequence[Part], lost: Sequence[Part], unlike: Sequence[str]) -> str:
    """What is known of each part: where it holds for more or for fewer, or why that is not told; and what
    stands behind it that keeps it from being tried.
    """
    said = {
        f"`{part.text}`: {f'{part.witness} it {verb}' if part.witness else part.why}": None
        for parts, verb in ((gained, "holds, and did not"), (lost, "does not hold, and did"))
        for part in parts
    }
    return "; ".join([*said, *(why for why in dict.fromkeys(unlike) if not any(why in s for s in said))])


def _of_one_domain(old: Program, new: Program, name: str) -> bool:
    """Whether a fact has the same options or range in both, if it is in both."""
    a, b = old.symbols.get(name), new.symbols.get(name)
    if a is None or b is None:
        return True
    names = [getattr(each.domain, "names", each.domain) for each in (a, b)]
    return bool(names[0] == names[1])


def _tried(old: Program, new: Program, a: Use, b: Use, refs: Sequence[core.Ref]) -> tuple[str, str | None]:
    """The two tried with all facts that can tell them apart."""
    x, y = a.cond.checked, b.cond.checked
    choices = {ref: values_of(new if ref.name in new.symbols else old, ref, x, y) for ref in refs}
    if math.prod(map(len, choices.values())) > MOST:
        return "not told", f"more than {MOST:,} cases would have to be tried"
    gained: Case | None = None
    lost: Case | None = None
    for values in product(*choices.values()):
        case = dict(zip(choices, values, strict=True))
        was, now = settled(old, x, case), settled(new, y, case)
        if now is Verdict.HOLDS and was is not Verdict.HOLDS:
            gained = gained or case
        elif was is Verdict.HOLDS and now is not Verdict.HOLDS:
            lost = lost or case
        if gained is not None and lost is not None:
            break
    shown = gained if gained is not None else lost
    return _word(a.kind, gained is not None, lost is not None), None if shown is None else _with(new, shown)


def _word(kind: str, gained: bool, lost: bool) -> str:
    if gained and lost:
        return "different"
    if not gained and not lost:
        return "same"
    return "stricter" if gained is (kind in _OF_MORE) else "looser"


def _with(program: Program, case: Case) -> str:
    """The facts of a case: `with lid shut and bottom at 45 psig`."""
    parts = []
    for ref, value in case.items():
        derivation = program.derived.get(ref.name)
        name = derivation.text if derivation is not None else ref.name
        word = " at " if isinstance(value, float) else " "
        parts.append(f"{name} not known" if value is None else f"{name}{word}{said(program, ref, value)}")
    return f"with {' and '.join(parts)}"


def _edits(old: Program, new: Program) -> dict[str, str]:
    """What stands behind conditions and was changed, by name, in words."""
    found: dict[str, str] = {}

    def note(kind: str, name: str, was: str | None, now: str | None) -> None:
        if was is not None and now is not None and flat(was) != flat(now):
            found[name] = f"{kind} {name}: {flat(was)} → {flat(now)}"

    for name, limit in old.limits.items():
        other = new.limits.get(name)
        note("limit", name, limit.text, other.text if other is not None else None)
    for name, (formula, _, _) in old.calculations.items():
        calculation = new.calculations.get(name)
        note("calculation", name, formula.text, calculation[0].text if calculation is not None else None)
    for name, wait in old.waits.items():
        later = new.waits.get(name)
        note("wait", name, str(wait.spec.duration), str(later.spec.duration) if later is not None else None)
    for name, fact in old.facts.items():
        there = new.facts.get(name)
        if there is None:
            continue
        was, now = (f.counts.text if f.counts is not None else "always" for f in (fact, there))
        note("counts when of", name, was, now)
        lives = (str(f.spec.good_for) if f.spec.good_for is not None else "any time" for f in (fact, there))
        note("good for of", name, *lives)
    return found


def fall_in(lines: Sequence[Line], old: Program, new: Program) -> set[tuple[str, str]]:
    """The conditions that a recorded job, as of its last entry, judges otherwise by the new pack."""
    at = max(line.entered for line in lines)
    was = _judged(old, assess(old, lines, at))
    now = _judged(new, assess(new, fitting(lines, new, old), at))
    return {key for key in was.keys() & now.keys() if was[key] != now[key]}


def _judged(program: Program, found: Assessment) -> dict[tuple[str, str], list[tuple[str, Verdict]]]:
    told = {}
    for key, use in _by_name(program).items():
        told[key] = [
            (f"{view.moment} {sorted(binding.items())}", view.judge(use.cond, binding))
            for view, binding in each_view(found.view, use)
        ]
    return told
