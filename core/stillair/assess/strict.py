"""Whether every guard of a program is as strict in another: its gates hold no more often, its stops no less.

Guards are the gates and stops that rest on a safety fact, and what makes a safety fact count. Their texts
are the same in both; what may differ are the limits in them, and what stands behind the names they use. What
is not shown to be as strict counts as loosened.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from stillair import quantity
from stillair.condition import core
from stillair.condition.core import Condition
from stillair.possible import Region

from .program import Cond, Program, Wait
from .uses import Use, uses
from .waits import lasting

__all__ = ["Compared", "Loosening", "Part", "guards", "loosenings"]

_LOSES = {"stop": "would not stop, and did", "caution": "would not warn, and did"}
"""What is looser where it no longer holds; anything else is where it holds and did not."""


class Loosening(NamedTuple):
    """A guard that is looser, or not shown to be as strict; `witness` is where it is looser, if known, and
    `why` says why none is.
    """

    use: Use
    text: str
    witness: str | None
    why: str = ""


class Part(NamedTuple):
    """A part of a condition that is looser: where, or why that is not known."""

    text: str
    witness: str | None
    why: str = ""


def guards(program: Program) -> Iterator[Use]:
    """The uses of conditions that guard safety."""
    facts = program.safety_facts
    return (use for use in uses(program) if use.guards and (use.cond.safety or use.judged in facts))


def guard_said(use: Use) -> str:
    """A use as it is told in a sentence."""
    return f"condition `{' '.join(use.name.split())}`" if use.kind == "inside" else str(use)


def loosenings(old: Program, new: Program) -> Iterator[Loosening]:
    """What the new program loosens of the old one: guards, and cautions that rest on a safety fact.

    What stands inside another guard is looked at there: whether it may hold for more is said by that.
    """
    there = {(use.kind, use.name): use for use in uses(new)}
    compared = Compared(old, new)
    cautions = (use for use in uses(old) if use.kind == "caution" and use.cond.safety)
    for use in (*(use for use in guards(old) if use.kind != "inside"), *cautions):
        other = there.get((use.kind, use.name))
        if other is None:
            yield Loosening(use, use.cond.text, "it is gone")
            continue
        narrow = use.kind not in _LOSES
        for text, witness, why in compared.looser(use.cond.checked, other.cond.checked, narrow):
            verb = _LOSES.get(use.kind, "would hold, and did not")
            yield Loosening(use, text, f"{witness}: the {use} {verb}" if witness else None, why)


class Compared:
    """Conditions of two programs held against each other, with what stands behind their names."""

    def __init__(self, old: Program, new: Program) -> None:
        self.old = old
        self.new = new
        self._same: dict[tuple[str, bool], bool] = {}

    def looser(self, old: Condition, new: Condition, narrow: bool) -> Iterator[Part]:
        """The parts where the new one is true though the old one is not (`narrow`),
        or the other way about.
        """
        joined = core.All | core.Either
        if isinstance(old, joined) and type(old) is type(new) and len(old.parts) == len(new.parts):
            for a, b in zip(old.parts, new.parts, strict=True):
                yield from self.looser(a, b, narrow)
        elif isinstance(old, core.Within) and isinstance(new, core.Within):
            yield from self._number(old, new, narrow)
        elif isinstance(old, core.Test) and isinstance(new, core.Test):
            yield from self._options(old, new, narrow)
        elif old != new:
            yield Part(old.text, None, "it is written otherwise")

    # -- numbers -----------------------------------------------------------------------------------------

    def _number(self, old: core.Within, new: core.Within, narrow: bool) -> Iterator[Part]:
        moved = 0.0
        if old.ref != new.ref or not self.same(old.ref.name):
            alike = old.ref.member == new.ref.member
            shift = self._shift(old.ref.name, new.ref.name) if alike else None
            if shift is None:
                apart = old.ref != new.ref and self.same(old.ref.name)
                why = "it is written otherwise" if apart else self.unlike(old.ref.name)
                yield Part(old.text, None, why)
                return
            moved = shift
        region = Region(tuple((a - moved, a_in, b - moved, b_in) for a, a_in, b, b_in in new.region.pieces))
        more, less = (region, old.region) if narrow else (old.region, region)
        gained = more.intersection(less.complement())
        if gained.pieces:
            yield Part(old.text, self._at(old, gained, less))

    def _at(self, part: core.Within, gained: Region, less: Region) -> str:
        """A number of the region gained, one step of the last digit shown from the other region."""
        low, _, high, _ = gained.pieces[0]
        edges = set(less.edges())
        unit = self._unit(part)
        if low in edges or high == float("inf"):
            value = high if high != float("inf") else low + abs(float(unit.factor))
        else:
            value = low if low != float("-inf") else high - abs(float(unit.factor))
        if value not in gained:
            value = (low + high) / 2
        name = self.old.derived[part.ref.name].text if part.ref.name in self.old.derived else part.ref.name
        return f"with {name} at {quantity.show(value, unit)}"

    def _unit(self, part: core.Within) -> quantity.Unit:
        fact = self.old.facts.get(part.ref.name)
        if fact is not None and fact.unit is not None:
            return fact.unit
        for bound in part.bounds:
            limit = self.old.limits.get(bound.lstrip("±"))
            if limit is not None and limit.unit.dimension == part.dimension:
                return limit.unit
        return quantity.canonical_unit(part.dimension)

    def _shift(self, old: str, new: str) -> float | None:
        """By how much the new number is always the greater; None where that is not known."""
        a, b = self._formula(self.old, old), self._formula(self.new, new)
        return None if a is None or b is None else self._moved(a, b, 1.0)

    @staticmethod
    def _formula(program: Program, name: str) -> core.Expression | None:
        derivation = program.derived.get(name)
        calculation = program.calculations.get(name)
        found = derivation if derivation is not None else calculation[0] if calculation is not None else None
        return found.expression if isinstance(found, core.Formula) else None

    def _moved(self, old: core.Expression, new: core.Expression, sign: float) -> float | None:
        """How far changed constants move a sum; None where they stand anywhere else."""
        if isinstance(old, core.Number) and isinstance(new, core.Number):
            return sign * (new.value - old.value)
        if isinstance(old, core.Operation) and isinstance(new, core.Operation) and old.operator in "+-":
            if old.operator != new.operator:
                return None
            left = self._moved(old.left, new.left, sign)
            right = self._moved(old.right, new.right, sign if old.operator == "+" else -sign)
            return None if left is None or right is None else left + right
        if isinstance(old, core.Value) and isinstance(new, core.Value) and not self.same(new.ref.name):
            shift = self._shift(old.ref.name, new.ref.name)
            return None if shift is None else sign * shift
        same = old == new and all(self.same(ref.name) for ref in core.leaves(old))
        return 0.0 if same else None

    # -- options -----------------------------------------------------------------------------------------

    def _options(self, old: core.Test, new: core.Test, narrow: bool) -> Iterator[Part]:
        name = old.ref.name
        if (old.ref, old.sure, old.never) != (new.ref, new.sure, new.never):
            yield Part(old.text, None, "it is written otherwise")
        elif not self._there(name):
            yield Part(old.text, None, self.unlike(name))
        elif self.same(name) or self._only_stricter(old, narrow):
            return
        elif name in self.old.waits and self._same_start(name):
            yield from self._wait(old, self.old.waits[name], self.new.waits[name], narrow)
        elif isinstance(self.old.derived.get(name), core.Each):
            # `yes` is the first option: the whole rises with the condition inside, or falls with it.
            inner = narrow if old.sure & 1 else not narrow
            yield from self.looser(self.old.inner[name].checked, self.new.inner[name].checked, inner)
        elif name in self.old.findings:
            yield from self._grades(old, narrow)
        else:
            yield Part(old.text, None, self.unlike(name))

    def _grades(self, test: core.Test, narrow: bool) -> Iterator[Part]:
        """A finding has the grade of the strongest rule that holds.

        What gives a grade sought may not hold where it did not, and what gives another must where it did.
        """
        rules = self.old.findings[test.ref.name]
        if self.new.findings[test.ref.name] != rules:
            yield Part(test.text, None, f"other rules give `{test.ref.name}`")
            return
        sought = test.sure if narrow else test.never
        for name in rules:
            was, now = self.old.rules[name], self.new.rules[name]
            if was.grade != now.grade:
                yield Part(test.text, None, f"the rule `{name}` has another grade")
            yield from self.looser(was.when.checked, now.when.checked, bool(was.grade & sought))

    @staticmethod
    def _wait(part: core.Test, old: Wait, new: Wait, narrow: bool) -> Iterator[Part]:
        """A longer wait is running where the old one was ready; a shorter one the other way about."""
        ready, running = 1, 2
        gains, loses = (running, ready) if new.duration > old.duration else (ready, running)
        if not narrow:
            gains, loses = loses, gains
        if part.sure & gains and not part.sure & loses:
            ago = lasting((old.duration + new.duration) / 2)
            yield Part(part.text, f"with {old.spec.name} begun {ago} ago")

    def unlike(self, name: str) -> str:
        """Why nothing is shown of what is not the same in both."""
        if not self._there(name):
            return f"`{name}` is gone"
        for ref in core.refs_in(self.old.derived[name]) if name in self.old.derived else ():
            if not self.same(ref.name):
                return self.unlike(ref.name)
        if name in self.old.facts and self._fewer_count(name):
            return f"where an entry of `{name}` no longer counts, an older one stands in its place"
        if name in self.old.facts:
            conds = [cond.checked for pair in self._counting(name) for cond in pair[:1] if cond is not None]
            behind = (
                ref.name for cond in conds for ref in core.refs_of(cond) if not self.same(ref.name, True)
            )
            why = next((self.unlike(other) for other in behind if other != name), "")
            return f"other entries of `{name}` count" + (f": {why}" if why else "")
        if name in self.old.waits:
            return f"the wait `{name}` begins or lasts otherwise"
        said = self.old.derived[name].text if name in self.old.derived else name
        return f"`{said}` comes out otherwise, and not by one amount throughout"

    # -- what stands behind a name -----------------------------------------------------------------------

    def same(self, name: str, exact: bool = False) -> bool:
        """Whether a name means the same in both, but for what makes it open more often, unless `exact`.

        Open is never a yes, and a stop that rests on a safety fact and is open stops as well.
        """
        if (name, exact) not in self._same:
            self._same[name, exact] = True  # a circle is refused by the compiler
            self._same[name, exact] = self._is_same(name, exact)
        return self._same[name, exact]

    def _there(self, name: str) -> bool:
        """Whether what a name stands for in the old program is in the new one, as the same kind of thing."""
        tables = ("facts", "waits", "findings", "calculations")
        return all(name in getattr(self.new, each) for each in tables if name in getattr(self.old, each))

    def _is_same(self, name: str, exact: bool) -> bool:
        old, new = self.old, self.new
        if not self._there(name):
            return False
        if name in old.derived:
            return self._same_derived(old.derived[name], new.derived.get(name), exact)
        if name in old.calculations:
            return self._same_derived(old.calculations[name][0], new.calculations[name][0], exact)
        if name in old.waits:
            return old.waits[name].duration == new.waits[name].duration and self._same_start(name)
        if name in old.findings:
            if old.findings[name] != new.findings[name]:
                return False
            return all(
                self._same_condition(old.rules[rule].when.checked, new.rules[rule].when.checked, exact)
                for rule in old.findings[name]
            )
        if name in old.facts:
            return self._good_for(name, exact) and all(
                self._counts_alike(x, y, exact) for x, y in self._counting(name)
            )
        return True

    def _same_derived(self, a: core.Derivation, b: core.Derivation | None, exact: bool) -> bool:
        if isinstance(a, core.Entries):
            return a == b  # it counts what was entered, evidence or not
        if isinstance(a, core.Near) and isinstance(b, core.Near) and not exact:
            if (a.window or float("inf")) < (b.window or float("inf")):
                return False
            b = b._replace(window=a.window)  # a narrower window finds the same check, or none
            if a == b and a.kind == "last" and self._fewer_count(a.ref.name):
                return a.anchor is None or self.same(a.anchor.name)  # one that does not count leaves it open
        if isinstance(a, core.Spread) or (isinstance(a, core.Formula) and _takes_series(a.expression)):
            exact = True  # with fewer readings it comes out otherwise, and not only open
        return a == b and all(self.same(ref.name, exact) for ref in core.refs_in(a))

    def _same_start(self, name: str) -> bool:
        """Whether a wait begins when it did, and lasts as long as the same fact says."""
        old, new = self.old.waits[name], self.new.waits[name]
        if (old.lasts, old.since, old.restarted_by) != (new.lasts, new.since, new.restarted_by):
            return False
        facts = [t.name for t in old.since if t.mask is not None]
        return all(self.same(fact, exact=True) for fact in (*facts, old.lasts) if fact is not None)

    def _same_condition(self, old: Condition, new: Condition, exact: bool) -> bool:
        return old == new and all(self.same(ref.name, exact) for ref in core.refs_of(old))

    # -- entries -----------------------------------------------------------------------------------------

    def _only_stricter(self, test: core.Test, narrow: bool) -> bool:
        """Whether a test comes out no looser since fewer entries of its fact count.

        Where one counts no longer, an older one stands in its place, whatever that says. It is no looser
        only if those that may cease to count all made the test true, or all made it false for a stop.
        """
        fact = self.old.facts.get(test.ref.name)
        if fact is None or not self._fewer_count(test.ref.name):
            return False
        return not fact.counted & ~(test.sure if narrow else test.never)

    def _counts_alike(self, old: Cond | None, new: Cond | None, exact: bool) -> bool:
        """Whether the same entries count in both, or some are left undecided.

        One that rests on what did not count is passed over itself, and uncovers an older one: so only a
        narrower window may differ, where all parts must hold.
        """
        if old is None or new is None:
            return old is new
        if old.checked != new.checked:
            return False
        refs = {ref.name for ref in core.refs_of(old.checked)}
        windows = set() if exact or _has_either(old.checked) else {n for n in refs if self._narrower(n)}
        return all(self.same(name, exact=True) for name in refs - windows)

    def _narrower(self, name: str) -> bool:
        """Whether a check is the same, found within a narrower window."""
        a, b = self.old.derived.get(name), self.new.derived.get(name)
        if not isinstance(a, core.Near) or not isinstance(b, core.Near):
            return False
        wide, window = a.window or float("inf"), b.window or float("inf")
        alike = a == b._replace(window=a.window)
        return window <= wide and alike and all(self.same(ref.name, exact=True) for ref in core.refs_in(a))

    def _fewer_count(self, name: str) -> bool:
        """Whether no entry of a fact counts in the new program that did not in the old one."""
        return (self._there(name) and self._good_for(name, exact=False)) and all(
            (x is None) == (y is None)
            and (x is None or y is None or not [*self.looser(x.checked, y.checked, narrow=True)])
            for x, y in self._counting(name)
        )

    def _counting(self, name: str) -> Iterator[tuple[Cond | None, Cond | None]]:
        """What makes entries of a fact count, in the old program and in the new one."""
        a, b = self.old.facts[name], self.new.facts[name]
        yield a.counts, b.counts
        for place in a.place_counts.keys() | b.place_counts.keys():
            yield a.place_counts.get(place), b.place_counts.get(place)

    def _good_for(self, name: str, exact: bool) -> bool:
        """Whether entries of a fact say the same, and no longer: once too old, the newest leaves it open.

        Of what cannot change all entries stand: there a shorter life may end a dispute.
        """
        a, b = self.old.facts[name], self.new.facts[name]
        if (a.tolerance, a.counted) != (b.tolerance, b.counted):
            return False
        if a.good_for == b.good_for:
            return True
        if exact or a.spec.nature == "fixed" or b.good_for is None:
            return False
        return a.good_for is None or b.good_for < a.good_for


def _has_either(condition: Condition) -> bool:
    if isinstance(condition, core.All):
        return any(map(_has_either, condition.parts))
    return isinstance(condition, core.Either)


def _takes_series(expression: core.Expression) -> bool:
    match expression:
        case core.Series():
            return True
        case core.Operation():
            return _takes_series(expression.left) or _takes_series(expression.right)
        case core.Apply():
            return any(map(_takes_series, expression.arguments))
    return False
