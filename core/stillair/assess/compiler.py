"""Compile packs: resolve every name, check every condition, and write the flat code."""

from __future__ import annotations

import marshal
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from stillair import quantity
from stillair.calculator import Calculator, Catalogue
from stillair.checklist import (
    BUILT_IN_EVENTS,
    NAMED_IN,
    BalanceSpec,
    Checklist,
    CheckSpec,
    ClueSpec,
    FactSpec,
    GroupSpec,
    LimitSpec,
    PlaceSpec,
    PoweredSpec,
    RuleSpec,
    SearchSpec,
    StepSpec,
    Text,
    WaitSpec,
)
from stillair.condition import core
from stillair.condition.batch_source import batch_code, batch_slots
from stillair.condition.check import Checker, Consequence, Scope
from stillair.condition.compiled import code_of, slots_of
from stillair.condition.core import (
    Condition,
    NumberDomain,
    OptionDomain,
    Ref,
    Symbol,
    leaves,
    refs_in,
)
from stillair.condition.merge import merged
from stillair.condition.syntax import ConditionError
from stillair.fault import Fault, StillairError, did_you_mean
from stillair.quantity import DIMENSIONS, Dimension, QuantityError, Unit

from .circles import shortest_circles
from .program import (
    FINDING,
    FURTHER,
    FURTHER_STATES,
    PRESENCE,
    STRENGTH,
    WAIT_STATES,
    YES_NO,
    Activity,
    Asker,
    Band,
    Check,
    Clue,
    Cond,
    Fact,
    Impossible,
    Kind,
    Limit,
    Links,
    Place,
    Powered,
    Program,
    Rule,
    SetUp,
    Sought,
    Step,
    Suspect,
    Together,
    Trigger,
    Wait,
)
from .searching import rests_on

if TYPE_CHECKING:
    from stillair.pack import Pack

__all__ = ["Compiler", "checked", "compile_packs"]

_NAMED = re.compile(r"[a-z][a-z0-9_]*")
_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_]*")
_TRIGGER = re.compile(r"\s*(any\s+)?([a-z][a-z0-9_]*)(?:\s+(is|becomes)\s+([A-Za-z0-9][\w.-]*))?\s*$")


def compile_packs(
    packs: Sequence[Pack],
    calculators: Mapping[str, Calculator],
    catalogues: Mapping[str, Catalogue],
) -> Program:
    """The program of these packs; StillairError with every fault found."""
    return checked(packs, calculators, catalogues).finish()


def checked(
    packs: Sequence[Pack],
    calculators: Mapping[str, Calculator],
    catalogues: Mapping[str, Catalogue],
) -> Compiler:
    """A compiler that has checked these packs, as adjusted; StillairError with every fault found.

    What a company adjusts is held against the program without it, and refused where it loosens a guard.
    """
    if all(pack.adjusts is None for pack in packs):
        return Compiler(packs, calculators, catalogues).sound()
    from .adjusting import applied, loosened, moved

    faults = [*moved(packs)]
    if faults:
        raise StillairError(*faults)
    bare = [pack for pack in packs if pack.adjusts is None]
    plain = Compiler(bare, calculators, catalogues).sound().program
    adjustments = applied(packs, plain)
    faults = [fault for each in adjustments for fault in each.faults]
    if faults:
        raise StillairError(*faults)
    for each in adjustments:
        packs = [
            pack if pack is each.by else replace(pack, checklists=each.checklists(pack)) for pack in packs
        ]
    compiler = Compiler(packs, calculators, catalogues).sound()
    faults = [*loosened(adjustments, plain, compiler.program)]
    if faults:
        raise StillairError(*faults)
    return compiler


class Compiler:
    """Checks packs and compiles them; after `check`, `faults` has all that is wrong."""

    def __init__(
        self,
        packs: Sequence[Pack],
        calculators: Mapping[str, Calculator],
        catalogues: Mapping[str, Catalogue],
    ) -> None:
        self.packs = packs
        self.calculators = calculators
        self.catalogues = catalogues
        self.faults: list[Fault] = []
        self.program = Program()
        self.scope = Scope(calculators=calculators, catalogues=catalogues)
        self.checker = Checker(self.scope, self.program.derived)
        self.depends: dict[str, set[str]] = {}
        self.groups: dict[str, tuple[GroupSpec, Cond | None]] = {}
        self.inside: dict[str, str] = {}
        """The powered state that each step inside one belongs to."""
        self._said: dict[tuple[str, str | None, str | None], Cond] = {}

    def sound(self) -> Compiler:
        """Itself, checked. Raises StillairError with every fault found."""
        self.check()
        if self.faults:
            raise StillairError(*self.faults)
        return self

    def finish(self) -> Program:
        """The program of what is sound, ready to run."""
        program = self.program
        program.code = marshal.dumps(code_of([c.checked for c in program.conditions]))
        conds = {r.when.number: r.when.flat for r in program.rules.values() if r.per is None}
        flat = list(conds.values())
        program.together = Together(tuple(conds), batch_slots(flat), batch_code(flat))
        return program.bind(self.calculators, self.catalogues)

    def check(self) -> None:
        """Resolve every name and check every condition; the program then lacks only its code."""
        program = self.program
        checklists = self._in_order([c for pack in self.packs for c in pack.checklists])
        for pack in self.packs:
            program.packs[pack.name] = (pack.version, pack.digest)
        self._apart(checklists)
        self._declare(checklists)
        self._calculations(checklists)
        self.program.look = self._look(checklists)
        self._conditions(checklists)
        self._inside(checklists)
        for checklist in checklists:
            self._details(checklist)
        for checklist in checklists:
            for group in checklist.groups:
                self._group(group)
        for name, derivation in program.derived.items():
            inner = getattr(derivation, "condition", None)
            if inner is not None:
                program.inner[name] = self._add(inner, inner.text)
        for pack in self.packs:
            self._learned(pack)
        program.outer = self.checker.outer
        if not self.faults:
            self._order()
        for name, rules in program.findings.items():
            program.findings[name] = tuple(
                sorted(rules, key=lambda r: -STRENGTH.index(program.rules[r].spec.grade))
            )
        program.symbols = self.scope.symbols
        program.checklists = {c.name: _lean(c) for c in checklists}

    def _in_order(self, checklists: Sequence[Checklist]) -> list[Checklist]:
        """The checklists in the order of work: as their manifests list them, but where one says `before`.

        Those of a pack that joins another come after those of that one, whatever the packs are called.
        """
        joining = {c.name for pack in self.packs if pack.joins is not None for c in pack.checklists}
        ordered = [c for c in checklists if c.before is None]
        ordered.sort(key=lambda checklist: checklist.name in joining)
        for checklist in checklists:
            if checklist.before is None:
                continue
            names = [c.name for c in ordered]
            if checklist.before.text in names:
                ordered.insert(names.index(checklist.before.text), checklist)
                continue
            help = did_you_mean(checklist.before.text, names)
            self._fault(checklist.before, f"there is no checklist `{checklist.before}`", help, "SA301")
        return ordered

    def _look(self, checklists: Sequence[Checklist]) -> str | None:
        """The fact that is a look at a place: kept per place, counting only under conditions, and asked by a
        step that has no activity of its own and so takes that of the place; else the first of that kind.
        """
        wandering = {ask.text for c in checklists for s in c.steps if s.activity is None for ask in s.ask}
        kept = [
            f.name
            for c in checklists
            for f in c.facts
            if f.per is not None and f.per.text == "place" and f.counts_when is not None
        ]
        return next((name for name in kept if name in wandering), kept[0] if kept else None)

    def _apart(self, checklists: Sequence[Checklist]) -> None:
        """Packs used together share one namespace: refuse a name that two of them declare."""
        for pack in self.packs:
            names = frozenset(name for c in pack.checklists for _, name, _ in c.names())
            self.scope.packs[pack.name] = names
        if len(self.packs) > 1:
            from stillair.reading import collisions

            self.faults.extend(collisions(checklists))

    # -- names -------------------------------------------------------------------------------------------

    def _declare(self, checklists: Iterable[Checklist]) -> None:
        program, scope = self.program, self.scope
        members: list[PlaceSpec] = [p for c in checklists for p in c.places]
        scope.lists["place"] = tuple(p.name for p in members)
        scope.symbols["now"] = Symbol("now", "now", NumberDomain(DIMENSIONS["moment"]))
        for event in BUILT_IN_EVENTS:
            scope.symbols[event] = Symbol(event, "event", None)
            program.events[event] = None
        for checklist in checklists:
            for each in checklist.lists:
                program.lists[each.name] = _lean(each)
                scope.lists[each.name] = None if each.open else tuple(m.name for m in each.members)
            for limit in checklist.limits:
                self._limit(limit)
            scope.conditions.update((name.text, said.text) for name, said in checklist.conditions)
            for kind in checklist.instruments:
                self._kind(kind)
        for checklist in checklists:
            for event_spec in checklist.events:
                per = self._list_of(event_spec.per)
                scope.symbols[event_spec.name] = Symbol(event_spec.name, "event", None, per)
                program.events[event_spec.name] = _lean(event_spec)
            for powered in checklist.powered:
                for name in (f"{powered.name}_begun", f"{powered.name}_ended"):
                    scope.symbols[name] = Symbol(name, "event", None)
                    program.events[name] = None
            for spec in checklist.facts:
                domain = self._domain(spec)
                if domain is None:
                    scope.broken.add(spec.name)
                else:
                    series = spec.nature == "series"
                    per = self._list_of(spec.per)
                    scope.symbols[spec.name] = Symbol(spec.name, "fact", domain, per, series)
            for wait in checklist.waits:
                scope.symbols[wait.name] = Symbol(wait.name, "wait", WAIT_STATES)
                if wait.witness:
                    name = f"{wait.name}_witness"
                    scope.symbols[name] = Symbol(name, "fact", YES_NO)
            for rule in checklist.rules:
                if rule.finding is not None:
                    per = self._list_of(rule.per)
                    name = rule.finding.text
                    known = scope.symbols.get(name)
                    if known is not None and known.kind == "finding" and known.per != per:
                        self._fault(
                            rule.finding, f"finding `{name}` is kept per {known.per or 'nothing'} elsewhere"
                        )
                    scope.symbols[name] = Symbol(name, "finding", FINDING, per)
            if checklist.search is not None and checklist.search.stop_below is not None:
                scope.symbols[FURTHER] = Symbol(FURTHER, "search", FURTHER_STATES)

    def _domain(self, spec: FactSpec) -> OptionDomain | NumberDomain | None:
        if spec.kind in ("options", "yes-no"):
            names = tuple(o.name for o in spec.options)
            return OptionDomain(names, {o.name: o.label for o in spec.options})
        if spec.kind == "catalogue":
            assert spec.catalogue is not None
            catalogue = self.catalogues.get(spec.catalogue.text)
            if catalogue is None:
                help = did_you_mean(spec.catalogue.text, self.catalogues)
                self._fault(spec.catalogue, f"there is no catalogue `{spec.catalogue}`", help, "SA301")
                return None
            return OptionDomain(catalogue.names, dict(catalogue.labels), catalogue.name)
        if spec.kind == "quantity":
            assert spec.quantity is not None
            dimension = DIMENSIONS.get(spec.quantity.text)
            if dimension is None:
                help = did_you_mean(spec.quantity.text, DIMENSIONS)
                self._fault(spec.quantity, f"there is no quantity `{spec.quantity}`", help, "SA303")
                return None
            if spec.between is None:
                return NumberDomain(dimension)
            low, high = (self._read(t, dimension.name, spec.unit) for t in spec.between)
            if low is None or high is None:
                return None
            if low > high:
                self._downwards(spec.between)
            return NumberDomain(dimension, low, high)
        return PRESENCE

    def _limit(self, spec: LimitSpec) -> None:
        try:
            readings = quantity.read_literal(spec.value.text)
        except QuantityError as error:
            self._fault(spec.value, str(error), error.help, "SA306")
            self.scope.broken.add(spec.name)
            return
        chosen = readings[0]
        if len(readings) > 1:
            chosen = next((r for r in readings if r.dimension.point is None), readings[0])
        lowest = chosen.value
        if spec.between is not None:
            kinds = _kinds(spec.value).intersection(*map(_kinds, spec.between))
            of_bounds = sorted(_kinds(spec.between[0]) & _kinds(spec.between[1]) - {"number"})
            if not kinds and of_bounds:
                message = (
                    f"`{spec.value}` is a {chosen.dimension.name}, and its bounds are each a {of_bounds[0]}"
                )
                self._fault(spec.value, message, "write all three in units of one kind", "SA303")
                self.scope.broken.add(spec.name)
                return
            # A plain number has plain bounds.
            default = chosen.unit if chosen.unit.symbol == "1" else None
            low, high = (self._read(t, chosen.dimension.name, default) for t in spec.between)
            lowest = lowest if low is None else low
            if low is not None and high is not None and low > high:
                self._downwards(spec.between)
            elif low is not None and high is not None and not low <= chosen.value <= high:
                self._fault(
                    spec.value,
                    f"the limit lies outside {spec.between[0]} .. {spec.between[1]}",
                    None,
                    "SA303",
                )
        self.program.limits[spec.name] = Limit(
            _lean(spec), chosen.value, chosen.unit, spec.value.text, lowest
        )
        self.scope.limits[spec.name] = (chosen.value, chosen.dimension)

    def _kind(self, spec: Any) -> None:
        dimension = DIMENSIONS.get(spec.quantity.text)
        if dimension is None:
            help = did_you_mean(spec.quantity.text, DIMENSIONS)
            self._fault(spec.quantity, f"there is no quantity `{spec.quantity}`", help, "SA303")
            return
        difference = quantity.difference_of(dimension) if dimension.point else dimension
        amounts = [
            self._amount(getattr(spec, key), difference.name, f"`{key}` of instrument `{spec.name}`")
            for key in ("offset", "repeat", "resolution")
        ]
        share = self._amount(spec.of_reading, "fraction", f"`of reading` of instrument `{spec.name}`")
        if spec.check_every is not None:
            every = self._read(spec.check_every, "duration", None)
            self._more_than_nothing(spec.check_every, every, f"`check every` of instrument `{spec.name}`")
        if share and dimension.name in ("temperature", "moment"):
            help = "give `offset` or `repeat`"
            self._fault(spec.of_reading, f"no share can be taken of a {dimension.name}", help, "SA303")
        self.program.kinds[spec.name] = Kind(
            spec.name, spec.title, amounts[0], amounts[1], amounts[2], dimension.name, share
        )

    def _list_of(self, text: Text | None) -> str | None:
        if text is None:
            return None
        if text.text not in self.scope.lists:
            help = did_you_mean(text.text, self.scope.lists)
            self._fault(text, f"there is no list `{text}`", help, "SA301")
            return None
        return text.text

    # -- conditions --------------------------------------------------------------------------------------

    def _inside(self, checklists: Iterable[Checklist]) -> None:
        """Which steps lie inside a powered state, in whatever checklist they are declared."""
        declared = {step.name for checklist in checklists for step in checklist.steps}
        for checklist in checklists:
            for powered in checklist.powered:
                for text in powered.steps:
                    if text.text not in declared:
                        help = did_you_mean(text.text, declared)
                        self._fault(text, f"there is no step `{text}`", help, "SA301")
                    elif text.text in self.inside:
                        message = f"`{text}` lies inside the powered state `{self.inside[text.text]}` already"
                        self._fault(text, message, None, "SA205")
                    self.inside[text.text] = powered.name

    def _conditions(self, checklists: Iterable[Checklist]) -> None:
        """Check each named condition where it is written: what uses a faulty one is not at fault itself."""
        for checklist in checklists:
            for name, said in checklist.conditions:
                try:
                    self.checker.condition(name.text)
                except ConditionError:
                    self.cond(said)
                    self.scope.conditions[name.text] = "never"

    def _words(self, text: str) -> set[str]:
        """Every word of a text, and of the named conditions in it."""
        found: set[str] = set()
        waiting = [text]
        while waiting:
            new = set(_WORD.findall(waiting.pop())) - found
            found |= new
            waiting += [self.scope.conditions[name] for name in new & self.scope.conditions.keys()]
        return found

    def _calculations(self, checklists: Iterable[Checklist]) -> None:
        waiting = [spec for c in checklists for spec in c.calculations]
        while waiting:
            names = {spec.name for spec in waiting}
            later = []
            progress = False
            for spec in waiting:
                used = self._words(spec.expression.text)
                if used & names:
                    later.append(spec)
                    continue
                progress = True
                per = self._list_of(spec.per)
                try:
                    formula = self.checker.expression(spec.expression.text, per=per)
                except ConditionError as error:
                    self._fault_in(spec.expression, error)
                    self.scope.broken.add(spec.name)
                    continue
                self.program.calculations[spec.name] = (formula, per, spec.about)
                self.depends[spec.name] = {r.name for r in leaves(formula.expression)}
                domain = NumberDomain(formula.dimension)
                self.scope.symbols[spec.name] = Symbol(spec.name, "calculation", domain, per)
            if not progress:
                rests = {s.name: sorted(self._words(s.expression.text) & names) for s in later}
                for circle in shortest_circles(rests):
                    first = next(spec for spec in later if spec.name in circle)
                    self._circle(first.where, circle)
                self.scope.broken |= names
                return
            waiting = later

    def cond(self, text: Text | None, *, per: str | None = None, judged: str | None = None) -> Cond | None:
        """The condition of a text, one for all places that say the same in the same setting."""
        if text is None:
            return None
        key = (text.text, per, judged)
        cond = self._said.get(key)
        if cond is None:
            try:
                cond = self._add(self.checker.condition(text.text, per=per, judged=judged), text.text)
            except ConditionError as error:
                self._fault_in(text, error)
                return self._add(core.Truth(False, text.text), text.text)
            self._said[key] = cond
        return cond

    def _add(self, checked: Condition, text: str) -> Cond:
        flat = merged(checked)
        slots = slots_of(flat)
        reads = tuple(
            (Ref(r.name), number, r.member[1:]) if r.member and r.member[0] == "@" else (r, number, None)
            for r, number in slots
        )
        kept = any(per is not None for _, _, per in reads)
        cond = Cond(len(self.program.conditions), checked, flat, slots, reads, kept, text)
        self.program.conditions.append(cond)
        return cond

    def _needed(self, text: Text, *, per: str | None = None) -> Cond:
        cond = self.cond(text, per=per)
        assert cond is not None
        return cond

    def _details(self, checklist: Checklist) -> None:
        program = self.program
        for spec in checklist.facts:
            symbol = self.scope.symbols.get(spec.name)
            if symbol is not None:
                self._fact(spec, checklist, symbol)
        for event in checklist.events:
            undone = [self._trigger(text, self._list_of(event.per)) for text in event.undone_by]
            if undone:
                program.undone[event.name] = tuple(t for t in undone if t)
        for wait in checklist.waits:
            self._wait(wait, checklist)
        for activity in checklist.activities:
            program.activities[activity.name] = Activity(_lean(activity), self.cond(activity.gate))
        for powered in checklist.powered:
            at_most = self._read(powered.at_most, "duration", None)
            self._more_than_nothing(powered.at_most, at_most, f"`at most` of `{powered.name}`")
            gate = self._needed(powered.gate)
            program.powered[powered.name] = Powered(
                _lean(powered), gate, at_most or 0.0, self._proof(powered)
            )
        for step in checklist.steps:
            self._step(step, checklist, self.inside.get(step.name))
        for rule in checklist.rules:
            self._rule(rule, checklist)
        for place in checklist.places:
            self._place(place)
        for way, text in checklist.ways:
            if way == "pinned":
                program.pinned = self._needed(text)
            else:
                program.ways[way] = self._needed(text)
        for set_up in checklist.set_ups:
            program.set_ups[set_up.name] = SetUp(_lean(set_up), self.cond(set_up.stands))
        for check in checklist.checks:
            self._check(check)
        if checklist.search is not None:
            self._search(checklist.search)
        for group, bands in checklist.bands:
            program.bands[group] = {band: self._needed(text) for band, text in bands}
        for clue in checklist.clues:
            self._clue(clue)
        for balance in checklist.balances:
            self._balance(balance)
        for impossible in checklist.impossible:
            facts = tuple(t.text for t in impossible.facts)
            self._of_no_list(impossible.facts)
            program.impossible.append(Impossible(self._needed(impossible.when), impossible.slip, facts))
        for suspect in checklist.suspect:
            facts = tuple(t.text for t in suspect.facts)
            self._of_no_list(suspect.facts)
            program.suspects.append(Suspect(facts, self._needed(suspect.expects)))

    def _place(self, spec: PlaceSpec) -> None:
        places = self.scope.lists["place"] or ()
        for text in spec.after:
            if text.text not in places:
                self._fault(text, f"there is no place `{text}`", did_you_mean(text.text, places), "SA301")
        after = frozenset(t.text for t in spec.after)
        self.depends[f"place {spec.name}"] = {f"place {name}" for name in after}
        self.program.places[spec.name] = Place(
            _lean(spec), self.cond(spec.when), self._set_ups(spec.set_ups), after
        )

    def _set_ups(self, texts: Sequence[Text]) -> frozenset[str]:
        known = [s.name for pack in self.packs for c in pack.checklists for s in c.set_ups]
        for text in texts:
            if text.text not in known:
                self._fault(text, f"there is no set-up `{text}`", did_you_mean(text.text, known), "SA301")
        return frozenset(text.text for text in texts)

    def _learned(self, pack: Pack) -> None:
        """What learned beliefs say of kinds of jobs, against what they say of all."""
        learned = pack.learned
        if learned is None:
            return
        self.program.learned[pack.name] = (learned.jobs, learned.faults, learned.strength)
        every = {name.text: belief for name, belief in learned.places}
        for group, band, jobs, faults, beliefs in learned.bands:
            if band.text not in self.program.bands.get(group.text, ()):
                self._fault(band, f"there is no band `{band}` of `{group}`", "learn them again", "SA408")
            factors = {
                name.text: belief / every[name.text] if every[name.text] else 1.0 for name, belief in beliefs
            }
            self.program.learned_bands.append(Band(group.text, band.text, jobs, faults, factors))
        self.program.learned_bands.sort(key=lambda band: -band.faults)

    def _check(self, spec: CheckSpec) -> None:
        symbol = self.scope.symbols.get(spec.fact.text)
        domain = None if symbol is None or symbol.kind != "fact" else symbol.domain
        if symbol is None or not isinstance(domain, OptionDomain) or symbol.per != "place":
            help = did_you_mean(spec.fact.text, self.program.facts)
            self._fault(spec.fact, f"`{spec.fact}` is not a fact with options kept per place", help, "SA301")
            return
        silent = 0
        for text in spec.silent:
            if text.text not in domain.names:
                help = did_you_mean(text.text, domain.names)
                self._fault(text, f"`{text}` is not an option of `{spec.fact}`", help, "SA304")
            else:
                silent |= domain.mask(text.text)
        self._is_share(spec.usual)
        notices = None if spec.notices is None else self._chance_of(spec.notices)
        speaks = self.cond(spec.speaks_when, per="place")
        self.program.checks[spec.name] = Check(
            _lean(spec),
            symbol.name,
            silent,
            notices,
            spec.usual.text,
            speaks,
            self._set_ups(spec.set_ups),
            self._tool(spec.tool),
            self.cond(spec.at_hand),
        )

    def _tool(self, text: Text | None) -> str | None:
        """What a person calls a tool; a single word in small letters names a kind of instrument."""
        if text is None or _NAMED.fullmatch(text.text) is None:
            return None if text is None else text.text
        kind = self.program.kinds.get(text.text)
        if kind is None:
            help = did_you_mean(text.text, self.program.kinds) or "write more than one word, or a capital"
            self._fault(text, f"there is no kind of instrument `{text}`", help, "SA301")
            return None
        return kind.title

    def _chance_of(self, text: Text) -> str:
        """The name of a number from 0 to 1: a limit, or one that may be kept per place."""
        if text.text in self.program.limits:
            self._is_share(text)
            return text.text
        symbol = self.scope.symbols.get(text.text)
        domain = None if symbol is None else symbol.domain
        if symbol is None or symbol.kind not in ("fact", "calculation") or symbol.per not in (None, "place"):
            help = did_you_mean(text.text, self.program.calculations)
            self._fault(text, f"there is no number `{text}` of a place, or of all", help, "SA301")
        elif not isinstance(domain, NumberDomain) or domain.dimension.name not in ("number", "fraction"):
            self._fault(text, f"`{text}` is not a plain number, and a chance is one", None, "SA303")
        return text.text

    def _is_share(self, text: Text) -> None:
        """Refuse what is not the name of a limit from 0 to 1."""
        limit = self.program.limits.get(text.text)
        if limit is None:
            help = did_you_mean(text.text, self.program.limits) or "declare it under `limits`"
            self._fault(text, f"there is no limit `{text}`", help, "SA301")
        elif limit.unit.dimension.name not in ("number", "fraction") or not 0 <= limit.value <= 1:
            self._fault(text, f"`{text}` is {limit.text}, and this is a number from 0 to 1", None, "SA303")

    def _is_below_one(self, text: Text) -> None:
        """Refuse a chance of a second fault that is 1 or may be set to it: nothing is left for one fault."""
        limit = self.program.limits.get(text.text)
        if limit is None:
            return
        bounds = limit.spec.between
        highest = None if bounds is None else self._read(bounds[1], limit.unit.dimension.name, limit.unit)
        if max(limit.value, highest or 0.0) >= 1:
            what = f"is {limit.text}" if limit.value >= 1 or bounds is None else f"may be set to {bounds[1]}"
            self._fault(text, f"`{text}` {what}, and the chance of a second fault is below 1", None, "SA303")

    def _search(self, spec: SearchSpec) -> None:
        if self.program.sought is not None:
            self._fault(spec.where, "there is one `search` in all, and another is declared", None, "SA205")
        symbol = self.scope.symbols.get(spec.finding.text)
        if symbol is None or symbol.kind != "finding" or symbol.per != "place":
            names = [n for n, s in self.scope.symbols.items() if s.kind == "finding" and s.per == "place"]
            help = did_you_mean(spec.finding.text, names)
            self._fault(spec.finding, f"`{spec.finding}` is not a finding kept per place", help, "SA301")
        for text in (spec.suspected, spec.probable):
            if text is not None:
                self._is_weight(text)
        for text in (spec.second, spec.elsewhere, spec.stop_below):
            if text is not None:
                self._is_share(text)
        if spec.second is not None:
            self._is_below_one(spec.second)
        if spec.whole is not None and spec.found is not None:
            self._sizes(spec.whole, spec.found)
        for each in spec.better:
            for number in NAMED_IN.findall(each.say):
                self._number_for_a_text(number, spec.where)

        def name(text: Text | None) -> str | None:
            return None if text is None else text.text

        better = tuple((each.say, self.cond(each.when)) for each in spec.better)
        self.program.sought = Sought(
            spec.finding.text,
            name(spec.suspected),
            name(spec.probable),
            name(spec.second),
            name(spec.elsewhere),
            name(spec.whole),
            name(spec.found),
            name(spec.stop_below),
            better,
        )

    def _sizes(self, whole: Text, found: Text) -> None:
        """Refuse sizes that cannot be compared: of all, and of the fault at one place."""
        all_of_it = self._number_for_a_text(whole.text, whole)
        symbol = self.scope.symbols.get(found.text)
        domain = None if symbol is None else symbol.domain
        if symbol is None or symbol.per != "place" or not isinstance(domain, NumberDomain):
            known = [n for n, s in self.scope.symbols.items() if s.per == "place"]
            help = did_you_mean(found.text, known)
            self._fault(found, f"`{found}` is not a number kept per place", help, "SA301")
        elif all_of_it is not None and domain.dimension != all_of_it:
            self._fault(found, f"`{found}` and `{whole}` are no sizes of one kind", None, "SA303")

    def _clue(self, spec: ClueSpec) -> None:
        weighs: dict[str, str] = {}
        places = self.scope.lists["place"] or ()
        if spec.per is not None and not places:
            self._fault(spec.per, f"`{spec.where}` weighs on places, and there is none", None, "SA301")
        for place, limit in spec.weighs:
            if place is not None and place.text not in places:
                help = did_you_mean(place.text, places)
                self._fault(place, f"there is no place `{place}`", help, "SA301")
            elif self._is_weight(limit):
                weighs["" if place is None else place.text] = limit.text
        when = self._needed(spec.when, per=None if spec.per is None else "place")
        self.program.clues[spec.name] = Clue(_lean(spec), when, weighs)

    def _is_weight(self, text: Text) -> bool:
        """Whether a name is that of a limit that says how many times likelier: a plain number above 0."""
        limit = self.program.limits.get(text.text)
        if limit is None:
            kind = self.scope.symbols[text.text].kind if text.text in self.scope.symbols else None
            if kind is not None:
                message = f"`{text}` is a {kind}, and a weight is a limit that a company may set"
                self._fault(text, message, "declare it under `limits`", "SA302")
                return False
            help = did_you_mean(text.text, self.program.limits) or "declare it under `limits`"
            self._fault(text, f"there is no limit `{text}`", help, "SA301")
            return False
        if limit.unit.symbol != "1":
            message = f"the weight `{text}` is {limit.text}, and a weight is a plain number"
            self._fault(text, message, "write how many times likelier, without a unit", "SA303")
            return False
        if min(limit.value, limit.lowest) <= 0:
            bounds = limit.spec.between
            what = f"is {limit.text}" if limit.value <= 0 or not bounds else f"may be set to {bounds[0]}"
            message = f"the weight `{text}` {what}, and a weight is more than 0"
            self._fault(text, message, "below 1 makes a place less likely, above 1 more", "SA303")
            return False
        return True

    def _proof(self, powered: PoweredSpec) -> tuple[tuple[str, int], ...]:
        """What must be seen to end a powered state: `FACT is OPTION`, or a fact that must only be known."""
        found = []
        for text in powered.proof:
            name, _, option = text.text.partition(" is ")
            symbol = self.scope.symbols.get(name.strip())
            if symbol is None or symbol.kind != "fact" or not isinstance(symbol.domain, OptionDomain):
                help = did_you_mean(name.strip(), self.program.facts)
                self._fault(text, f"`{name.strip()}` is not a fact with options", help, "SA301")
                continue
            mask = symbol.domain.whole
            if option:
                if option.strip() not in symbol.domain.names:
                    help = did_you_mean(option.strip(), symbol.domain.names)
                    self._fault(
                        text, f"`{option.strip()}` is not an option of `{symbol.name}`", help, "SA304"
                    )
                    continue
                mask = symbol.domain.mask(option.strip())
            elif symbol.domain.names == ("yes", "no"):
                mask = symbol.domain.mask("yes")
            found.append((symbol.name, mask))
        return tuple(found)

    def _fact(self, spec: FactSpec, checklist: Checklist, symbol: Symbol) -> None:
        assert symbol.domain is not None
        domain = symbol.domain
        unit: Unit | None = None
        tolerance = 0.0
        if isinstance(domain, NumberDomain):
            unit = self._unit(spec, domain)
            if spec.tolerance is not None:
                point = domain.dimension.point
                named = quantity.difference_of(domain.dimension) if point else domain.dimension
                tolerance = self._amount(spec.tolerance, named.name, f"`tolerance` of `{spec.name}`")
            if spec.read_with is not None and spec.read_with.text not in self.program.kinds:
                help = did_you_mean(spec.read_with.text, self.program.kinds)
                self._fault(
                    spec.read_with, f"there is no kind of instrument `{spec.read_with}`", help, "SA301"
                )
        triggers = [self._trigger(text, symbol.per) for text in spec.void_after]
        for powered in (p for pack in self.packs for c in pack.checklists for p in c.powered):
            if spec.name in {t.text.split()[0] for t in powered.proof}:
                name = f"{powered.name}_begun"
                freed = None
                if symbol.per is not None and symbol.per == powered.of.text:
                    freed = frozenset(t.text for t in powered.frees)
                triggers.append(Trigger(name, None, None, name, freed))
        counts = None
        counted = 0
        if spec.counts_when is not None:
            counts = self.cond(spec.counts_when.condition, per=symbol.per, judged=spec.name)
            counted = self._counted(spec, domain)
        place_counts: dict[str, Cond] = {}
        if spec.name == self.program.look:
            for place in (p for pack in self.packs for c in pack.checklists for p in c.places):
                cond = self.cond(place.counts_when, per="place", judged=spec.name)
                if cond is not None:
                    place_counts[place.name] = cond
        self.program.facts[spec.name] = Fact(
            _lean(spec),
            checklist.name,
            domain,
            symbol.per,
            unit,
            tolerance,
            self._lasting(spec.good_for, f"`good for` of `{spec.name}`"),
            tuple(t for t in triggers if t is not None),
            counts,
            counted,
            place_counts,
        )

    def _counted(self, spec: FactSpec, domain: OptionDomain | NumberDomain) -> int:
        assert spec.counts_when is not None
        if not isinstance(domain, OptionDomain):
            return -1
        mask = 0
        for text in spec.counts_when.values:
            if text.text not in domain.names:
                help = did_you_mean(text.text, domain.names)
                self._fault(text, f"`{text}` is not an option of `{spec.name}`", help, "SA304")
            else:
                mask |= domain.mask(text.text)
        return mask or domain.whole

    def _unit(self, spec: FactSpec, domain: NumberDomain) -> Unit:
        if spec.unit is not None:
            try:
                return quantity.find_unit(spec.unit.text, domain.dimension)
            except QuantityError as error:
                self._fault(spec.unit, str(error), error.help, "SA306")
        if spec.between is not None:
            try:
                return quantity.read(spec.between[1].text, domain.dimension).unit
            except QuantityError:
                pass
        return quantity.canonical_unit(domain.dimension)

    def _wait(self, spec: WaitSpec, checklist: Checklist) -> None:
        lasts = self._lasts(spec.duration, spec.witness is not None)
        duration = (
            0.0
            if lasts is not None
            else self._lasting(spec.duration, f"`for` of wait `{spec.name}`", "fact") or 0.0
        )
        since = [self._trigger(text, None) for text in spec.since]
        restarted = [self._trigger(text, None) for text in spec.restarted_by]
        wait = Wait(
            _lean(spec), duration, tuple(t for t in since if t), tuple(t for t in restarted if t), lasts
        )
        self.program.waits[spec.name] = wait
        self.depends[spec.name] = {t.name for t in (*wait.since, *wait.restarted_by)}
        if lasts is not None:
            self.depends[spec.name].add(lasts)
        if wait.witness is not None:
            self.depends[spec.name].add(wait.witness)
            witness = _witness(spec)
            self.program.facts[wait.witness] = Fact(
                witness, checklist.name, YES_NO, None, None, 0.0, None, ()
            )

    def _lasts(self, text: Text, witnessed: bool) -> str | None:
        """The fact that says how long a wait lasts, where one is named; of 0 only with a witness."""
        symbol = self.scope.symbols.get(text.text)
        if symbol is None or text.text in self.program.limits:
            return None
        domain = symbol.domain
        if symbol.kind != "fact" or not isinstance(domain, NumberDomain):
            message = f"`{text}` is neither a limit nor a fact with a duration"
            self._fault(text, message, "name one, or write the time with its unit", "SA302")
        elif domain.dimension.name != "duration":
            message = f"`{text}` is a {domain.dimension.name}, and a wait lasts a duration"
            self._fault(text, message, "give the fact `quantity: duration`", "SA303")
        elif symbol.per is not None:
            message = f"`{text}` is kept per {symbol.per}, and a wait would not know whose it is"
            self._fault(text, message, "use a fact of its own", "SA302")
        elif domain.low < 0:
            message = f"`{text}` may be less than nothing, and a wait may not"
            self._fault(text, message, "let its `between` begin with 0 or more", "SA303")
        elif domain.low == 0 and not witnessed:
            message = f"`{text}` may be 0, and without a witness the wait is then over at once"
            help = "let its `between` begin with more than 0, or give the wait a `witness`"
            self._fault(text, message, help, "SA303")
        return symbol.name

    def _trigger(self, text: Text, per: str | None) -> Trigger | None:
        found = _TRIGGER.match(text.text)
        if found is None:
            self._fault(text, "this is neither an event nor `FACT becomes OPTION`", None, "SA300")
            return None
        anyone, name, _, option = found.groups()
        symbol = self.scope.symbols.get(name)
        if symbol is None:
            help = did_you_mean(name, self.scope.symbols)
            self._fault(text, f"`{name}` is not defined", help, "SA301")
            return None
        if anyone is not None and (symbol.per is None or option is not None):
            self._fault(text, f"`{name}` is not an event kept per a list", "leave out `any`", "SA302")
            return None
        if option is None:
            if symbol.kind != "event":
                self._fault(text, f"`{name}` is not an event", f"write `{name} becomes …`", "SA302")
                return None
            said = text.text.strip().removeprefix("any ").strip()
            return Trigger(name, None, symbol.per, said, any=anyone is not None)
        if not isinstance(symbol.domain, OptionDomain) or symbol.kind != "fact":
            self._fault(text, f"`{name}` is not a fact with options", None, "SA302")
            return None
        if option not in symbol.domain.names:
            help = did_you_mean(option, symbol.domain.names)
            self._fault(text, f"`{option}` is not an option of `{name}`", help, "SA304")
            return None
        return Trigger(name, symbol.domain.mask(option), symbol.per, text.text)

    def _step(self, spec: StepSpec, checklist: Checklist, powered: str | None) -> None:
        asks = []
        for text in spec.ask:
            if text.text not in self.scope.symbols or self.scope.symbols[text.text].kind != "fact":
                help = did_you_mean(text.text, self.program.facts)
                self._fault(text, f"there is no fact `{text}`", help, "SA301")
            else:
                asks.append(text.text)
        lists = {self.scope.symbols[name].per for name in asks}
        per = next(iter(lists)) if len(lists) == 1 else None
        if len(lists) > 1:
            self._is_no_look(spec)
        for text in (*spec.marks,):
            if text.text not in self.program.events:
                self._fault(
                    text, f"there is no event `{text}`", did_you_mean(text.text, self.program.events), "SA301"
                )
        activity_ok = spec.activity is None or any(
            spec.activity.text == a.name for pack in self.packs for c in pack.checklists for a in c.activities
        )
        if not activity_ok:
            assert spec.activity is not None
            self._fault(spec.activity, f"there is no activity `{spec.activity}`", None, "SA301")
        if (
            spec.wait is not None
            and self.scope.symbols.get(spec.wait.text, Symbol("", "", None)).kind != "wait"
        ):
            self._fault(spec.wait, f"there is no wait `{spec.wait}`", None, "SA301")
        when = self.cond(spec.when, per=per)
        gate = self.cond(spec.gate, per=per)
        every = self._lasting(spec.ask_every, f"`ask every` of step `{spec.name}`")
        self.program.steps[spec.name] = Step(
            _lean(spec), checklist.name, when, gate, tuple(asks), per, powered, every
        )

    def _is_no_look(self, spec: StepSpec) -> None:
        """Refuse a look that is asked with what is not kept per place: all places would be asked at once."""
        looks = {check.fact.text for pack in self.packs for c in pack.checklists for check in c.checks}
        known = [text for text in spec.ask if text.text in self.scope.symbols]
        others = ", ".join(f"`{t}`" for t in known if self.scope.symbols[t.text].per != "place")
        for text in known:
            if text.text in looks:
                message = f"`{text}` is a look at one place after another, and {others} is not kept per place"
                self._fault(text, message, f"ask {others} in a step of its own", "SA302")

    def _rule(self, spec: RuleSpec, checklist: Checklist) -> None:
        per = self._list_of(spec.per)
        when = self._needed(spec.when, per=per)
        given = 0 if spec.finding is None else 1 << core.GRADES.index(spec.grade.replace(" ", "_"))
        self.program.rules[spec.name] = Rule(_lean(spec), checklist.name, when, per, given)
        if spec.finding is not None:
            name = spec.finding.text
            self.program.findings[name] = (*self.program.findings.get(name, ()), spec.name)
        known = {a.name for pack in self.packs for c in pack.checklists for a in c.activities}
        for text in spec.stop:
            if text.text not in known:
                self._fault(text, f"there is no activity `{text}`", did_you_mean(text.text, known), "SA301")

        if spec.owner is not None:
            for told in (spec.owner.say, spec.owner.open or ""):
                for name in NAMED_IN.findall(told):
                    self._number_for_a_text(name, spec.where)

    def _group(self, spec: GroupSpec) -> None:
        rules = self.program.rules
        first: str | None = None
        for text in spec.rules:
            rule = rules.get(text.text)
            if rule is None:
                self._fault(text, f"there is no rule `{text}`", did_you_mean(text.text, rules), "SA301")
                continue
            first = first or text.text
            if rule.per != rules[first].per:
                message = f"`{text}` is kept per {rule.per or 'nothing'}, `{first}` is not"
                self._fault(text, message, "group rules that are kept for the same list", "SA302")
        per = rules[first].per if first is not None else None
        self.groups[spec.name] = (spec, self.cond(spec.within, per=per))

    def _balance(self, spec: BalanceSpec) -> None:
        first: Dimension | None = None
        for text, _ in (*spec.into, *spec.out_of):
            dimension = self._number_for_a_text(text.text, text)
            if dimension is None:
                continue
            first = first or dimension
            if dimension.point is not None or dimension != first:
                message = f"`{text}` is a {dimension.name}"
                help = "a balance is of one kind of quantity, counted from no point"
                self._fault(text, message, help, "SA303")
        self.program.balances[spec.name] = _lean(spec)

    def _number_for_a_text(self, name: str, where: Text) -> Dimension | None:
        """The dimension of a fact or calculation that is a number by itself, and not kept per a list."""
        symbol = self.scope.symbols.get(name)
        if symbol is None or symbol.kind not in ("fact", "calculation"):
            known = [n for n, s in self.scope.symbols.items() if isinstance(s.domain, NumberDomain)]
            self._fault(where, f"there is no number `{name}`", did_you_mean(name, known), "SA301")
        elif not isinstance(symbol.domain, NumberDomain):
            self._fault(where, f"`{name}` is not a number", "name a fact or calculation that is one", "SA303")
        elif symbol.per is not None:
            help = f"make a calculation of it, such as `sum of {name} over {symbol.per}`"
            self._fault(where, f"`{name}` is kept per {symbol.per}", help, "SA302")
        else:
            return symbol.domain.dimension
        return None

    # -- order -------------------------------------------------------------------------------------------

    def _order(self) -> None:
        """Find what each name rests on; refuse circles; mark the conditions that mention a safety fact."""
        program, depends = self.program, self.depends
        for name, derivation in program.derived.items():
            depends[name] = {r.name for r in refs_in(derivation)}
            if isinstance(derivation, core.SinceEvent):
                depends[name] |= program.undoers([derivation.ref.name])
        for name, wait in program.waits.items():
            depends[name] |= program.undoers(t.name for t in wait.since)
        for name, fact in program.facts.items():
            needs = depends.setdefault(name, set())
            needs.update(t.name for t in fact.void_after)
        for name, rules in program.findings.items():
            depends[name] = {ref.name for r in rules for ref, _ in program.rules[r].when.slots}
        if FURTHER in self.scope.symbols:
            depends[FURTHER] = rests_on(program)
        self._link()
        names = [*depends, *program.facts, *program.events]
        try:
            rests = _closure(names, depends)
            for name, fact in program.facts.items():
                for cond in (fact.counts, *fact.place_counts.values()):
                    if cond is not None:
                        depends[name].update(ref.name for ref, _ in cond.slots)
            done = _closure(names, depends)
        except _Circle:
            checklists = [c for p in self.packs for c in p.checklists]
            places = {name: where for c in checklists for _, name, where in c.names()}
            places |= {f"place {spec.name}": spec.where for c in checklists for spec in c.places}
            places |= ((FURTHER, c.search.where) for c in checklists if c.search is not None)
            for names in shortest_circles(depends):
                told = [name for name in names[:-1] if name in places]
                first = min(told, key=list(places).index)
                told = told[told.index(first) :] + told[: told.index(first)]
                self._circle(places[first], [each.removeprefix("place ") for each in (*told, first)])
            return
        self._no_guard_by_belief(done)
        program.supports = {
            name: frozenset(n for n in found if n in program.facts or n in program.events)
            for name, found in done.items()
        }
        program.safety_facts = frozenset(n for n, f in program.facts.items() if f.spec.safety)
        triggers = {t.name for f in program.facts.values() for t in f.void_after}
        triggers |= program.undoers(program.undone)
        for wait in program.waits.values():
            triggers |= {t.name for t in (*wait.since, *wait.restarted_by)}
        for cond in program.conditions:
            cond.mentions = frozenset[str]().union(*(done.get(ref.name, {ref.name}) for ref, _ in cond.slots))
            cond.rests = frozenset[str]().union(*(rests.get(ref.name, {ref.name}) for ref, _ in cond.slots))
            cond.safety = bool(cond.mentions & program.safety_facts)
        self._closing()
        self._ask()
        overs = (core.Each, core.Count, core.Sum, core.Extreme)
        program.quantified = frozenset(d.list for d in program.derived.values() if isinstance(d, overs))
        program.mentioned = frozenset(triggers).union(*(c.mentions for c in program.conditions))

    def _ask(self) -> None:
        """Who needs which fact."""
        program = self.program
        askers = [Asker(rule.when, rule.per) for rule in program.rules.values()]
        askers += [Asker(a.gate, None) for a in program.activities.values() if a.gate is not None]
        askers += [Asker(p.gate, None) for p in program.powered.values()]
        for step in program.steps.values():
            askers += [Asker(c, step.per, step.spec.name) for c in (step.when, step.gate) if c is not None]
        askers += [Asker(s.expects, None) for s in program.suspects]
        askers += [Asker(i.when, None) for i in program.impossible]
        for clue in program.clues.values():
            askers.append(Asker(clue.when, None if clue.spec.per is None else "place"))
        askers += [Asker(cond, None) for bands in program.bands.values() for cond in bands.values()]
        askers += [Asker(check.at_hand, None) for check in program.checks.values() if check.at_hand]
        for asker in askers:
            for name in asker.cond.mentions & program.facts.keys():
                program.askers.setdefault(name, []).append(asker)
        for fact in program.facts.values():
            conds = [c for c in (fact.counts, *fact.place_counts.values()) if c is not None]
            for name in frozenset[str]().union(*(c.mentions for c in conds)) & program.facts.keys():
                program.supporting.setdefault(name, []).append(fact.name)
        for wait in program.waits.values():
            names = {t.name for t in wait.since if t.mask is not None}
            for name in names | {each for each in (wait.witness, wait.lasts) if each is not None}:
                program.starting.setdefault(name, []).append(wait.spec.name)

    def _no_guard_by_belief(self, done: Mapping[str, frozenset[str]]) -> None:
        """Refuse a gate, a stop or what makes an entry count that rests on whether going on is worth it."""
        if FURTHER not in self.scope.symbols:
            return
        from .uses import uses, written

        texts = written(c for pack in self.packs for c in pack.checklists)
        for use in uses(self.program):
            guards = use.guards or use.judged is not None
            if guards and any(FURTHER in done.get(ref.name, ()) for ref, _ in use.cond.slots):
                message = f"the {use.kind} `{use.name}` rests on `{FURTHER}`, which goes by beliefs"
                help = "let a finding, a caution or the order of work rest on it"
                self._fault(texts[use.kind, use.name], message, help, "SA302")

    def _closing(self) -> None:
        """The steps that make a check which must follow a fact: those after the last that asks the fact."""
        program = self.program
        order = list(program.steps.values())
        for check, derived in program.later.items():
            judged = {
                fact.name
                for fact in program.facts.values()
                for cond in (fact.counts, *fact.place_counts.values())
                if cond is not None and any(ref.name in derived for ref, _ in cond.slots)
            }
            for name in judged:
                last = max((i for i, step in enumerate(order) if name in step.asks), default=len(order))
                for step in order[last + 1 :]:
                    if check in step.asks:
                        held = program.closing.get(step.spec.name, frozenset())
                        program.closing[step.spec.name] = held | {check}

    def _link(self) -> None:
        """For each name, what rests on it, and whether for the same member of a list only."""
        program, links = self.program, self.program.links

        def link(dependent: str, per: str | None, ref: Ref, table: Links = links) -> None:
            local = per is not None and ref.member == f"@{per}"
            table.setdefault(ref.name, []).append((dependent, local))

        for name, derivation in program.derived.items():
            per = program.outer.get(name)
            for ref in refs_in(derivation):
                link(name, per, ref)
            if isinstance(derivation, core.Near) and derivation.kind == "first":
                program.later.setdefault(derivation.ref.name, []).append(name)
            if isinstance(derivation, core.SinceEvent | core.Spread):
                program.timed.add(name)
            if isinstance(derivation, core.SinceEvent):
                for undoer in program.undoers([derivation.ref.name]):
                    link(name, per, Ref(undoer))
        for name, (formula, per, _) in program.calculations.items():
            for ref in leaves(formula.expression):
                link(name, per, ref)
        for name, fact in program.facts.items():
            for trigger in fact.void_after:
                same = trigger.per is not None and trigger.per == fact.per
                link(name, fact.per, Ref(trigger.name, f"@{trigger.per}" if same else None))
            for cond in (fact.counts, *fact.place_counts.values()):
                for ref, _ in cond.slots if cond is not None else ():
                    link(name, fact.per, ref, program.evidence)
            if fact.good_for is not None:
                program.timed.add(name)
        for name, wait in program.waits.items():
            program.timed.add(name)
            for each in (*wait.since, *wait.restarted_by):
                link(name, None, Ref(each.name))
            for undoer in program.undoers(t.name for t in wait.since):
                link(name, None, Ref(undoer))
            for fact_name in (wait.witness, wait.lasts):
                if fact_name is not None:
                    link(name, None, Ref(fact_name))
        for name, rules in program.findings.items():
            for rule in (program.rules[r] for r in rules):
                for ref, _ in rule.when.slots:
                    link(name, rule.per, ref)
        if FURTHER in self.scope.symbols:
            for rested_on in self.depends[FURTHER]:
                link(FURTHER, None, Ref(rested_on))
        program.timed.add("now")

    def _circle(self, where: Text, names: list[str]) -> None:
        at = names.index(where.text)
        names = [*names[at:-1], *names[:at], where.text]
        help = "let one of them rest on something else"
        self._fault(where, f"`{where}` depends on itself: {' → '.join(names)}", help, "SA307")

    # -- small things ------------------------------------------------------------------------------------

    def _of_no_list(self, facts: Iterable[Text]) -> None:
        """Refuse facts kept per a list where entries are doubted: the member would not be known."""
        for text in facts:
            symbol = self.scope.symbols.get(text.text)
            if symbol is not None and symbol.per is not None:
                self._fault(
                    text,
                    f"`{text}` is kept per {symbol.per}, and only a fact of its own can be put in doubt",
                    "write a rule with `per` and `caution` instead",
                    "SA302",
                )

    def _lasting(self, text: Text | None, what: str, other: str | None = None) -> float | None:
        """As `_duration`, of what must last."""
        seconds = self._duration(text, other)
        if text is not None:
            self._more_than_nothing(text, seconds, what)
        return seconds

    def _more_than_nothing(self, text: Text, seconds: float | None, what: str) -> None:
        """Refuse a time of nothing, or a limit that is one or may be set to one."""
        limit = self.program.limits.get(text.text)
        if limit is not None and limit.unit.dimension.name != "duration":
            return
        least = seconds if limit is None or seconds is None else min(seconds, limit.lowest)
        if least is None or least > 0:
            return
        message = f"{what} must be more than 0"
        if limit is not None:
            bounds = limit.spec.between
            low = limit.value <= 0 or bounds is None
            said = f"is {limit.text}" if low else f"may be set to {bounds[0]}"  # type: ignore[index]
            message += f", and the limit `{text}` {said}"
        self._fault(text, message, "write how long it is, such as 10 min", "SA303")

    def _amount(self, text: Text | None, dimension: str, what: str) -> float:
        """How far a reading may be off: 0 where nothing is written."""
        amount = 0.0 if text is None else self._read(text, dimension, None) or 0.0
        if text is not None and amount < 0:
            self._fault(text, f"{what} must be 0 or more", "write it without a sign", "SA303")
        return amount

    def _downwards(self, between: tuple[Text, Text]) -> None:
        low, high = between
        self._fault(low, "the range runs downwards", f"write `{high} .. {low}`", "SA303")

    def _duration(self, text: Text | None, other: str | None = None) -> float | None:
        """The seconds of a literal or a limit; `other` is the kind of thing that may be named as well."""
        if text is None:
            return None
        limit = self.program.limits.get(text.text)
        if limit is not None:
            if limit.unit.dimension.name != "duration":
                message = f"the limit `{text}` is {limit.text}, and this is a duration"
                self._fault(text, message, "name a limit that is a time", "SA303")
            return limit.value
        if _NAMED.fullmatch(text.text):
            facts = [n for n, s in self.scope.symbols.items() if s.kind == other and _is_time(s)]
            kinds = "no limit" if other is None else f"no limit and no {other}"
            help = did_you_mean(text.text, [*self.program.limits, *facts])
            self._fault(text, f"there is {kinds} `{text}`", help, "SA301")
            return None
        return self._read(text, "duration", None)

    def _read(self, text: Text, dimension: str, unit: Text | Unit | None) -> float | None:
        try:
            default = quantity.find_unit(unit.text, DIMENSIONS[dimension]) if isinstance(unit, Text) else unit
            return quantity.read(text.text, DIMENSIONS[dimension], default=default).value
        except QuantityError as error:
            self._fault(text, str(error), error.help, "SA306")
            return None

    def _fault(self, text: Text, message: str, help: str | None = None, code: str = "SA302") -> None:
        if code.startswith("SA30") and not self.scope.broken.isdisjoint(_WORD.findall(text.text)):
            return  # a consequence of a fault that is told where it is
        self.faults.append(text.fault(code, message, help=help))

    def _fault_in(self, text: Text, error: ConditionError) -> None:
        if isinstance(error, Consequence):
            return
        length = error.end - error.start
        self.faults.append(
            text.fault(error.code, error.message, start=error.start, length=length, help=error.help)
        )


class _Circle(Exception):
    """Some names rest on each other."""


def _closure(names: Iterable[str], depends: Mapping[str, set[str]]) -> dict[str, frozenset[str]]:
    """For each name, itself and all it depends on, directly or not. Raises _Circle."""
    done: dict[str, frozenset[str]] = {}
    path: list[str] = []

    def visit(name: str) -> frozenset[str]:
        if name in done:
            return done[name]
        if name in path:
            raise _Circle
        path.append(name)
        found = {name}
        for other in depends.get(name, ()):
            found |= visit(other)
        path.pop()
        done[name] = frozenset(found)
        return done[name]

    for name in names:
        visit(name)
    return done


def _is_time(symbol: Symbol) -> bool:
    return isinstance(symbol.domain, NumberDomain) and symbol.domain.dimension.name == "duration"


def _witness(spec: WaitSpec) -> FactSpec:
    return FactSpec(
        name=f"{spec.name}_witness",
        where=Text(f"{spec.name}_witness"),
        ask=spec.witness or "",
        kind="yes-no",
        options=(),
        catalogue=None,
        quantity=None,
        between=None,
        unit=None,
        nature="series",
        per=None,
        safety=False,
        personal=None,
        read_with=None,
        tolerance=None,
        good_for=None,
        void_after=(),
        why="A clock alone cannot know what happened meanwhile.",
        how=None,
        caution=None,
        counts_when=None,
    )


def _kinds(text: Text) -> set[str]:
    """The dimensions that a quantity as written may be of; none where it cannot be read."""
    try:
        return {reading.dimension.name for reading in quantity.read_literal(text.text)}
    except QuantityError:
        return set()


def _lean(record: Any) -> Any:
    """The record without the places of its texts in their file, which only the compiler needs."""
    if isinstance(record, Text):
        return Text(record.text)
    if not isinstance(record, tuple):
        return record
    items = [_lean(item) for item in record]
    return type(record)(*items) if hasattr(record, "_fields") else tuple(items)
