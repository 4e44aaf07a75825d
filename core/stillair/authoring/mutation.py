"""Which mutants of conditions, and of the order of steps, the scenarios notice, and what to ask of the rest.

First every scenario is played once, and each mutant is judged beside its condition at every moment looked at:
one that never differs is noticed by none. Then the scenarios in which it differs are played with the mutant
in the place of its condition until an expectation fails.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, NamedTuple

from stillair import quantity
from stillair.assess import Assessment, Program, View
from stillair.assess.program import Cond
from stillair.assess.uses import Asked, Use, asked, each_view
from stillair.condition import core
from stillair.condition.compiled import code_of, functions, slots_of
from stillair.condition.core import GRADES, NumberDomain, OptionDomain, Ref
from stillair.condition.merge import merged
from stillair.condition.tree import judge_merged
from stillair.possible import Options

from .coverage import units_behind
from .mutants import Case, Mutant, apart, mutants, places, settled
from .ordering import both_to_be_done
from .rehearse import TrailMaker, play
from .scenario import ScenarioError
from .varying import exact_instrument

__all__ = [
    "Mutation",
    "Reorder",
    "Survivor",
    "Tally",
    "Watcher",
    "after",
    "all_mutants",
    "main_use",
    "misses_order",
    "notices",
    "order_survivor",
    "reorders",
    "said",
    "survivor",
]


@dataclass(slots=True)
class Tally:
    """Of some mutants how many were looked at, how many change nothing, and how many were noticed."""

    made: int = 0
    equivalent: int = 0
    noticed: int = 0
    explained: int = 0

    @property
    def share(self) -> float | None:
        """Per cent noticed of those that are not equivalent; None where there are none."""
        return self._share(self.noticed)

    @property
    def accounted(self) -> float | None:
        """Per cent noticed or explained."""
        return self._share(self.noticed + self.explained)

    def _share(self, number: int) -> float | None:
        real = self.made - self.equivalent
        return 100.0 * number / real if real else None


@dataclass(slots=True)
class Mutation:
    """What became of the mutants of guards and of the others, and those that nothing noticed."""

    guards: Tally = field(default_factory=Tally)
    others: Tally = field(default_factory=Tally)
    survivors: list[Survivor] = field(default_factory=list)

    def of(self, about: Use | Reorder) -> Tally:
        """The tally that a mutant is counted in."""
        return self.guards if isinstance(about, Use) and about.guards else self.others

    @property
    def whole(self) -> Tally:
        """Both together."""
        a, b = self.guards, self.others
        return Tally(
            a.made + b.made, a.equivalent + b.equivalent, a.noticed + b.noticed, a.explained + b.explained
        )


class Survivor(NamedTuple):
    """A mutant that no scenario noticed: the question it puts, and a scenario that would settle it.

    `because` says why none notices it, where its author explains that.
    """

    about: Use | Reorder
    part: str
    instead: str
    question: str
    settles: tuple[str, ...]
    because: str | None = None


class Reorder(NamedTuple):
    """Two steps that follow each other in one checklist, to be taken the other way round."""

    first: str
    second: str

    def __str__(self) -> str:
        return f"order of step {self.first}"


def all_mutants(program: Program) -> list[Mutant]:
    """The mutants of every condition; those of a named one once."""
    return [mutant for each in asked(program) for mutant in mutants(program, each)]


class Watcher:
    """Shown assessments, notes in `differ` which mutants differ from their conditions.

    What was found for the same values before is kept, for the next scenario as well.
    """

    def __init__(self, program: Program, made: Sequence[Mutant]) -> None:
        self.differ: set[int] = set()
        self.noticed: set[int] = set()
        """Those that an expectation of the verdict of their very condition tells from it."""
        self.nexts: set[str] = set()
        """The steps that were next."""
        of: dict[int, list[tuple[int, Any]]] = {}
        for number, mutant in enumerate(made):
            of.setdefault(mutant.asked.number, []).append((number, merged(mutant.changed)))
        self._about = [(each, of[each.number]) for each in asked(program) if each.number in of]
        self._flat = {each.number: merged(each.condition) for each, _ in self._about}
        self._refs = {
            each.number: tuple(dict.fromkeys(core.refs_of(each.condition))) for each, _ in self._about
        }
        self._known: dict[tuple[object, ...], tuple[int, ...]] = {}

    def __call__(self, found: Assessment, expected: Mapping[str, Any] | None = None) -> None:
        if found.next.step is not None:
            self.nexts.add(found.next.step)
        named, judged = (expected or {}).get("conditions", ()), set[str]()
        for each, others in self._about:
            for use in each.judged_by if each.named is not None else each.uses:
                newest: dict[tuple[str, ...], tuple[int, ...]] = {}
                if self._of_nobody(each, use, found.view):
                    self.differ.update(self._told(each, others, found.view, {}))
                for view, binding in each_view(found.view, use):
                    told = self._told(each, others, view, binding)
                    self.differ.update(told)
                    newest[tuple(binding[per] for per in each.lists_of(use))] = told
                for members, told in newest.items():
                    name = each.called(use, members)
                    if name in named and name not in judged:
                        judged.add(name)
                        self.noticed.update(told)

    def _of_nobody(self, each: Asked, use: Use, view: View) -> bool:
        """Whether a condition that is for the members of a list says something though there are none."""
        if use.judged is not None or all(view.members(per)[0] for per in use.per):
            return False
        return all(ref.member is None or ref.member[0] != "@" for ref in self._refs[each.number])

    def _told(
        self,
        each: Asked,
        others: Sequence[tuple[int, core.Condition]],
        view: View,
        binding: Mapping[str, str],
    ) -> tuple[int, ...]:
        """The mutants that differ from their condition in a view."""
        values = {ref: view.value(ref.bound(binding)) for ref in self._refs[each.number]}
        spans = (v.mask if isinstance(v, Options) else v.span() for v in values.values())
        key = (each.number, *spans)
        told = self._known.get(key)
        if told is None:
            now = judge_merged(self._flat[each.number], values.__getitem__)
            differ = (n for n, changed in others if judge_merged(changed, values.__getitem__) is not now)
            told = self._known[key] = tuple(differ)
        return told


@contextmanager
def in_place(program: Program, mutant: Mutant) -> Iterator[None]:
    """The program with the mutant in the place of its condition, for as long as this lasts."""
    with ExitStack() as stack:
        for cond, changed in places(program, mutant):
            stack.enter_context(_changed(program, cond, changed))
        kept = dict(program.worked_out)
        program.worked_out.clear()
        try:
            yield
        finally:
            program.worked_out.clear()
            program.worked_out.update(kept)


@contextmanager
def _changed(program: Program, cond: Cond, changed: core.Condition) -> Iterator[None]:
    number = cond.number
    kept = (cond.checked, cond.flat, cond.slots, cond.reads, cond.kept)
    judged, together = program.judges[number], program.together
    flat = merged(changed)
    slots = slots_of(flat)
    try:
        cond.checked, cond.flat, cond.slots = changed, flat, slots
        cond.reads = tuple(
            (Ref(r.name), is_number, r.member[1:])
            if r.member and r.member[0] == "@"
            else (r, is_number, None)
            for r, is_number in slots
        )
        cond.kept = any(per is not None for _, _, per in cond.reads)
        (program.judges[number],) = functions(code_of([changed]), 1)
        # Judged by itself, and not among those that are judged at once.
        program.together = together._replace(
            conditions=tuple(-1 if n == number else n for n in together.conditions)
        )
        yield
    finally:
        cond.checked, cond.flat, cond.slots, cond.reads, cond.kept = kept
        program.judges[number], program.together = judged, together


def notices(
    program: Program, mutant: Mutant, scenarios: Sequence[Mapping[str, Any]], trail: TrailMaker | None
) -> bool:
    """Whether some scenario fails with the mutant; what can no longer be played fails as well."""
    with in_place(program, mutant):
        for make in dict.fromkeys((None, trail)):
            for scenario in scenarios:
                try:
                    if play(program, scenario, make, hasty=True).misses:
                        return True
                except ScenarioError:
                    return True
    return False


def main_use(asked: Asked) -> Use:
    """The use by which a condition is told of: the first that guards, if any does."""
    return next((use for use in asked.uses if use.guards), asked.uses[0])


def survivor(program: Program, mutant: Mutant) -> Survivor | None:
    """The question a mutant puts that was not noticed; None if nothing can tell it from its condition."""
    case = apart(program, mutant)
    if case is False:
        return None
    use = main_use(mutant.asked)
    question = f"would it matter to {_named(use)} if `{mutant.part}` were {mutant.instead}?"
    settles = _settling(program, use, mutant, case) if isinstance(case, dict) else ()
    return Survivor(use, mutant.part, mutant.instead, question, settles)


def reorders(program: Program) -> list[Reorder]:
    """Every two steps that follow each other in one checklist."""
    return [
        Reorder(a.spec.name, b.spec.name)
        for a, b in pairwise(program.steps.values())
        if a.checklist == b.checklist
    ]


@contextmanager
def the_other_way_round(program: Program, pair: Reorder) -> Iterator[None]:
    """The program with two steps in the place of each other, for as long as this lasts."""
    kept = program.steps
    names = list(kept)
    at = names.index(pair.first)
    names[at], names[at + 1] = names[at + 1], names[at]
    try:
        program.steps = {name: kept[name] for name in names}
        yield
    finally:
        program.steps = kept


def misses_order(program: Program, pair: Reorder, scenarios: Sequence[Mapping[str, Any]]) -> bool:
    """Whether some scenario fails with two steps the other way round."""
    with the_other_way_round(program, pair):
        return any(play(program, scenario, None, hasty=True).misses for scenario in scenarios)


def order_survivor(program: Program, pair: Reorder) -> Survivor | None:
    """The question two steps put; None if they are never both to be done."""
    if not both_to_be_done(program, *(program.steps[name] for name in pair)):
        return None
    question = f"would it matter if `{pair.first}` came after `{pair.second}`?"
    settles = ("# when both are to be done", f"- expect: {{next: {pair.first}}}")
    return Survivor(pair, pair.first, after(pair), question, settles)


def after(pair: Reorder) -> str:
    """What two steps the other way round are called."""
    return f"after {pair.second}"


def _named(use: Use) -> str:
    return f"the condition inside `{use.name}`" if use.kind == "inside" else f"the {use}"


def _settling(program: Program, use: Use, mutant: Mutant, case: Case) -> tuple[str, ...]:
    """The entries of a scenario in which the two differ, and what to expect of the condition."""
    notes, others = [], []
    exact: dict[str, Mapping[str, str]] = {}
    refs = [ref for ref in case if ref.member is not None and ref.member[0] == "@"]
    lists = dict.fromkeys((*use.per, *(str(ref.member)[1:] for ref in refs)))
    members = {name: next(iter(_members(program, name)), None) for name in lists}
    binding = {name: member or f"one {name}" for name, member in members.items()}
    added = [f"{name}: [{binding[name]}]" for name, member in members.items() if member is None]
    for ref, value in case.items():
        if value is None:
            continue
        shown = said(program, ref, value)
        name = str(ref.bound(binding))
        if ref.name in program.facts:
            notes.append(f"{name}: {shown}")
            fact = program.facts[ref.name]
            if fact.spec.read_with is not None:
                exact[name] = exact_instrument(fact, fact.spec.read_with.text)
            elif fact.tolerance:
                others.append(f"# so exact that the tolerance of {name} leaves nothing open")
        else:
            text = program.derived[ref.name].text if ref.name in program.derived else name
            others.append(f"# so that `{text}` is {shown}")
    verdict = settled(program, mutant.asked.condition, case).word
    lines = [f"- member: {{{', '.join(added)}}}"] if added else []
    for each in {one["serial"]: one for one in exact.values()}.values():
        lines.append(f"- instrument: {{{', '.join(f'{key}: {text}' for key, text in each.items())}}}")
    lines += [f"- note: {{{', '.join(notes)}}}"] if notes else []
    serials = {name: one["serial"] for name, one in exact.items()}
    if serials:
        lines.append(f"  with: {{{', '.join(f'{name}: {serial}' for name, serial in serials.items())}}}")
    of = f" of {', '.join(binding[name] for name in use.per)}" if use.per else ""
    expect = f"- expect: {{rules: {{{use.name}{of}: {verdict}}}}}"
    if use.kind == "inside":
        expect = f"# then {_named(use)}{of} {verdict}"
    elif use.kind not in ("rule", "stop", "caution"):
        expect = f"- expect: {{conditions: {{{use}{of}: {verdict}}}}}"
    return (*lines, *others, expect)


def _members(program: Program, name: str) -> Iterable[str]:
    """The members that a list has from the start."""
    return program.places if name == "place" else [member.name for member in program.lists[name].members]


def said(program: Program, ref: Ref, value: float | int) -> str:
    """A value as it is entered."""
    if isinstance(value, int):
        symbol = program.symbols.get(ref.name)
        domain = symbol.domain if symbol is not None else None
        if isinstance(domain, OptionDomain):
            name = domain.of_mask(value)[0]
            return f'"{name}"' if name in ("yes", "no") else name
        return ("yes", "no")[value >> 1] if value < 4 else GRADES[value.bit_length() - 1]
    fact = program.facts.get(ref.name)
    if fact is not None and fact.unit is not None:
        return quantity.show(value, fact.unit)
    formula = program.derived.get(ref.name)
    dimension = getattr(formula, "dimension", None)
    if dimension is not None:
        unit = next(units_behind(program, ref), None)
        if unit is not None and unit.dimension != dimension:
            unit = quantity.difference_unit(unit)
        fits = unit is not None and unit.dimension == dimension
        return quantity.show(value, unit if unit is not None and fits else quantity.canonical_unit(dimension))
    symbol = program.symbols.get(ref.name)
    if symbol is not None and isinstance(symbol.domain, NumberDomain):
        return quantity.show(value, quantity.canonical_unit(symbol.domain.dimension))
    return f"{value:g}"
