"""What a company adjusts in a pack: applied to its checklists, refused where it loosens what guards safety.

An adjustment may set limits within their bounds, add notes, photos and shorter lives, and reword what no
guard rests on. What it adds beside that, in checklists of its own, may not give, mark or free
anything that a guard of the pack rests on.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

from stillair import quantity
from stillair.checklist import (
    Adjusting,
    Checklist,
    FactSpec,
    LimitChange,
    LimitSpec,
    SetLimit,
    StepSpec,
    Text,
)
from stillair.condition import core
from stillair.fault import Fault, did_you_mean

from .behind import Freed, freed, weaker
from .program import Limit, Program
from .strict import guard_said, guards, loosenings
from .uses import guarding, uses

if TYPE_CHECKING:
    from stillair.pack import Pack

__all__ = ["Applied", "applied", "is_looser", "loosened", "moved", "named_in", "untimely"]

MOST_DAYS_AHEAD = 2 * 365 + 1
"""For how long a limit may be loosened before it is looked at again: two years. Source: judgement."""
MOST_LIKELIER = 10
"""How many times likelier or less likely a company's clues may make a place. Source: judgement."""
_SHORTEST = 3
"""Letters and digits of a reason (judgement): fewer are no word."""
_WORDS = {"fact": ("ask", "why", "how"), "step": ("title", "do", "why"), "rule": ("say", "why")}
"""What may be said in other words."""


def moved(packs: Sequence[Pack]) -> Iterator[Fault]:
    """A fault for each adjustment that was made for other texts than are here."""
    here = {pack.name: pack for pack in packs}
    for pack in packs:
        if pack.adjusts is None:
            continue
        base = here.get(pack.adjusts.pack.text)
        if base is None:
            text = f"the pack `{pack.adjusts.pack}` that `{pack.name}` adjusts is not here"
            yield pack.adjusts.pack.fault("SA701", text, help="install it, or name its folder")
        elif base.written != pack.adjusts.digest.text:
            text = f"`{pack.name}` adjusts other texts of `{base.name}` than are here: {base.written}"
            help = "`stillair adjust FOLDER --was OLD` says what is stale; then write the new digest"
            yield pack.adjusts.digest.fault("SA701", text, help=help)


def is_looser(limit: Limit, value: float) -> bool:
    """Whether a limit set to another value is looser: moved against its safer direction, or at all where
    it has none.
    """
    if value == limit.value:
        return False
    # Of a unit that counts downwards, such as a vacuum, the greater number is the lower value.
    rises = (value > limit.value) is (limit.unit.factor > 0)
    match limit.spec.safer:
        case "higher" | "longer":
            return not rises
        case "lower" | "shorter":
            return rises
    return True


class Applied:
    """The packs with an adjustment applied to them; `faults` are what is refused."""

    def __init__(self, packs: Sequence[Pack], by: Pack, base: Program) -> None:
        assert by.adjusts is not None
        self.by = by
        self.adjusts: Adjusting = by.adjusts
        self.base = base
        self.faults: list[Fault] = []
        self.limits: dict[str, LimitSpec] = {}
        self.facts: dict[str, dict[str, Any]] = {}
        self.steps: dict[str, dict[str, Any]] = {}
        self.rules: dict[str, dict[str, Any]] = {}
        self.photos: dict[str, tuple[Text, str]] = {}
        self._declared = {spec.name: spec for p in packs for c in p.checklists for spec in c.limits}
        self._guards = list(guards(base))
        self._rests = {name: guard_said(use) for use in reversed(self._guards) for name in use.cond.mentions}
        for name, change in self.adjusts.limits:
            self._limit(name, change)
        for name, life in self.adjusts.good_for:
            self._life(name, life)
        for name, note in self.adjusts.notes:
            self._note(name, note)
        for name, said in self.adjusts.wording:
            self._words(name, said)
        for name, what in self.adjusts.photos:
            self._photo(name, what)
        self.faults += self._added()

    def checklists(self, pack: Pack) -> tuple[Checklist, ...]:
        """The checklists of a pack as adjusted; those of the adjusting pack itself as they are."""
        return pack.checklists if pack is self.by else tuple(map(self._adjusted, pack.checklists))

    def _adjusted(self, checklist: Checklist) -> Checklist:
        steps: list[StepSpec] = []
        photos: list[FactSpec] = []
        for step in checklist.steps:
            steps.append(step._replace(**self.steps.get(step.name, {})))
            if step.name in self.photos:
                fact, own = _photo(step, *self.photos[step.name], self.by.title)
                photos.append(fact)
                steps.append(own)
        return checklist._replace(
            limits=tuple(self.limits.get(spec.name, spec) for spec in checklist.limits),
            facts=(
                *(fact._replace(**self.facts.get(fact.name, {})) for fact in checklist.facts),
                *photos,
            ),
            steps=tuple(steps),
            rules=tuple(rule._replace(**self.rules.get(rule.name, {})) for rule in checklist.rules),
        )

    # -- each kind of adjustment -------------------------------------------------------------------------

    def _limit(self, name: Text, change: LimitChange) -> None:
        limit = self._known(name, "limit", self.base.limits)
        if limit is None:
            return
        spec = self._declared[name.text]
        plain = limit.unit if limit.unit.symbol == "1" else None
        dimension = limit.unit.dimension
        try:
            value = quantity.read(change.value.text, dimension, default=plain).value
            if spec.between is None:
                self._fault(name, "SA704", f"the pack gives no bounds for `{name}`", "ask its author")
                return
            low, high = (quantity.read(t.text, dimension, default=plain).value for t in spec.between)
        except quantity.QuantityError as error:
            self._fault(change.value, "SA306", str(error), error.help)
            return
        if not min(low, high) <= value <= max(low, high):
            bounds = f"{spec.between[0]} .. {spec.between[1]}"
            message = f"`{name}` is set to {change.value}, outside its bounds {bounds}"
            self._fault(change.value, "SA704", message, "set it within them")
            return
        looser = is_looser(limit, value)
        if looser and not self._allowed(name, change):
            return
        until = change.until.text if change.until is not None else None
        was = SetLimit(self.by.title, limit.text, looser, change.who, change.why, until)
        self.limits[name.text] = spec._replace(value=change.value, set_by=was)

    def _allowed(self, name: Text, change: LimitChange) -> bool:
        """Whether a looser limit says who allows it, why, and until which day."""
        missing = [key for key in ("who", "why", "until") if getattr(change, key) is None]
        if missing:
            safer = self.base.limits[name.text].spec.safer
            says = "has no safer direction" if safer == "neither" else f"is safer {safer}"
            message = f"`{name}` {says}, and is set looser without {', '.join(missing)}"
            self._fault(change.value, "SA703", message, "write who allows it, why, and until which day")
            return False
        assert change.until is not None
        try:
            date.fromisoformat(change.until.text)
        except ValueError:
            self._fault(change.until, "SA703", f"`{change.until}` is not a day", "write it like 2027-03-31")
            return False
        if sum(letter.isalnum() for letter in change.why or "") < _SHORTEST:
            message = f"`{change.why}` is no reason to set `{name}` looser"
            self._fault(change.value, "SA703", message, "write why, in a few words")
            return False
        return True

    def _life(self, name: Text, life: Text) -> None:
        fact = self._known(name, "fact", self.base.facts)
        if fact is None:
            return
        try:
            found = quantity.read(life.text, quantity.DIMENSIONS["duration"]).value
        except quantity.QuantityError as error:
            self._fault(life, "SA306", str(error), error.help)
            return
        if found <= 0:
            self._fault(life, "SA702", f"`{name}` would never be good", "write how long it is good for")
            return
        if fact.good_for is not None and found > fact.good_for:
            was = fact.spec.good_for
            self._fault(life, "SA702", f"`{name}` is good for {was}; it may only be less", "shorten it")
            return
        self.facts.setdefault(name.text, {})["good_for"] = life

    def _note(self, name: Text, note: str) -> None:
        fact = self._known(name, "fact", self.base.facts)
        if fact is not None:
            how = f"{fact.spec.how} " if fact.spec.how else ""
            self.facts.setdefault(name.text, {})["how"] = f"{how}{self.by.title}: {note}"

    def _words(self, name: Text, said: Sequence[tuple[Text, str]]) -> None:
        base = self.base
        kind = next((k for k in ("fact", "step", "rule") if name.text in getattr(base, f"{k}s")), None)
        if kind is None:
            self._unknown(name, "fact, step or rule", [*base.facts, *base.steps, *base.rules])
            return
        held = self._held(kind, name.text)
        if held is not None:
            self._fault(name, "SA705", f"`{name}` {held}", "add a note, a photo or a shorter life")
            return
        table: dict[str, dict[str, Any]] = getattr(self, f"{kind}s")
        for key, words in said:
            if key.text not in _WORDS[kind]:
                help = f"of a {kind}: {', '.join(_WORDS[kind])}"
                self._fault(key, "SA705", f"`{key}` of `{name}` may not be worded otherwise", help)
                continue
            table.setdefault(name.text, {})[key.text] = words

    def _held(self, kind: str, name: str) -> str | None:
        """Why the words of something stand as they are."""
        base = self.base
        if kind == "fact":
            if name in base.safety_facts:
                return "is a safety fact"
            return f"is what the {self._rests[name]} rests on" if name in self._rests else None
        if kind == "rule":
            rule = base.rules[name]
            said = rule.spec.stop or rule.spec.caution is not None or rule.when.safety
            return "stops, cautions, or rests on a safety fact" if said else None
        step = base.steps[name]
        held = base.safety_facts & set(step.asks)
        if held or step.powered is not None or step.spec.never is not None or step.spec.caution is not None:
            return "asks a safety fact, is powered, or warns"
        for each in (*step.asks, *(event.text for event in step.spec.marks)):
            if each in self._rests:
                return f"asks or marks `{each}`, on which the {self._rests[each]} rests"
        gates = {f"gate of step {name}", f"gate of activity {step.spec.activity}"}
        behind = next((str(use) for use in self._guards if str(use) in gates), None)
        return f"is done behind the {behind}, which guards safety" if behind else None

    def _photo(self, name: Text, what: str) -> None:
        step = self._known(name, "step", self.base.steps)
        if step is None:
            return
        if step.per is not None and step.when is not None:
            self._fault(
                name, "SA705", f"`{name}` is for some members of a list, and a photo would be asked always",
                "add a step of your own",
            )  # fmt: skip
            return
        for own in _photo_names(name.text):
            if own in self.base.symbols or own in self.base.steps:
                text = f"the photo of `{name}` would be called `{own}`, which is there already"
                self._fault(name, "SA205", text, "add a step of your own")
                return
        self.photos[name.text] = name, what

    # -- what is added -----------------------------------------------------------------------------------

    def _added(self) -> Iterator[Fault]:
        """What stands in the checklists of the company and touches what a guard rests on."""
        rests = self._rests
        over: dict[str, str] = {}
        for use in self._guards:
            for name in use.cond.mentions:
                derivation = self.base.derived.get(name)
                if isinstance(derivation, core.Each | core.Count | core.Sum | core.Extreme):
                    over.setdefault(derivation.list, str(use))
        for checklist in self.by.checklists:
            for rule in checklist.rules:
                if rule.finding is not None and rule.finding.text in rests:
                    guard = rests[rule.finding.text]
                    yield _touches(rule.finding, f"gives `{rule.finding}`, on which the {guard} rests")
            for step in checklist.steps:
                for event in step.marks:
                    if event.text in rests:
                        yield _touches(event, f"marks `{event}`, on which the {rests[event.text]} rests")
            for powered in checklist.powered:
                yield _touches(powered.where, "frees from the lockout")
            yield from self._doubted(checklist)
            if "place" in over:
                for place in checklist.places:
                    yield _touches(place.where, f"adds to the places, over which the {over['place']} goes")

    def _doubted(self, checklist: Checklist) -> Iterator[Fault]:
        """What is called a slip and so no longer stands, though a guard rests on it: a stop would be lifted,
        or an older answer uncovered.
        """
        base = self.base
        held = guarding(base)
        # A stop is named first: it is what doubt lifts.
        every = sorted((use for use in uses(base) if use.guards), key=lambda use: use.kind == "stop")
        behind = {name: f"the {guard_said(use)} rests" for use in every for name in use.cond.mentions}
        behind |= {f: f"the proof of {n} rests" for n, p in base.powered.items() for f, _ in p.proof}
        said = [*(each.facts for each in checklist.impossible), *(each.facts for each in checklist.suspect)]
        for fact in (fact for facts in said for fact in facts if fact.text in held):
            why = behind.get(fact.text, "safety rests")
            what = f"would be put in doubt, and no longer stand, and on it {why}"
            yield _touches(fact, what, "let a stop or a caution of your own say it")

    # -- small things ------------------------------------------------------------------------------------

    def _known(self, name: Text, kind: str, table: Mapping[str, Any]) -> Any:
        if name.text not in table:
            self._unknown(name, kind, table)
        return table.get(name.text)

    def _unknown(self, name: Text, kind: str, known: Any) -> None:
        help = did_you_mean(name.text, known) or f"name one of the pack `{self.adjusts.pack}`"
        self._fault(name, "SA301", f"there is no {kind} `{name}`", help)

    def _fault(self, text: Text, code: str, message: str, help: str | None) -> None:
        self.faults.append(text.fault(code, message, help=help))


def applied(packs: Sequence[Pack], base: Program) -> list[Applied]:
    """Each adjustment of these packs, held against the program without any; no two are of one name."""
    found = [Applied(packs, pack, base) for pack in packs if pack.adjusts is not None]
    first: dict[str, Applied] = {}
    for each in found:
        ours = each.adjusts
        for part in (ours.limits, ours.good_for, ours.notes, ours.photos, ours.wording):
            for name, _ in part:
                other = first.setdefault(name.text, each)
                if other is not each:
                    text = f"`{name}` is adjusted by `{other.by.name}` as well"
                    each.faults.append(name.fault("SA205", text, help="let one of the packs adjust it"))
    return found


def loosened(adjustments: Sequence[Applied], old: Program, new: Program) -> Iterator[Fault]:
    """A fault for each guard that is loosened, under each limit or life that does it.

    Where several stand in one part of a guard, it is those that are set against their safer direction. Under
    each a part is told once, and a guard once: by a witness if there is one.

    A caution may fall silent by a limit set in its safer direction, such as one that trusts a gauge less.
    """
    said: set[tuple[str, str]] = set()
    specs = [spec for each in adjustments for spec in each.limits.values()]
    looser = {spec.name for spec in specs if spec.set_by is not None and spec.set_by.looser}
    for found in sorted(loosenings(old, new), key=lambda each: each.witness is None):
        names = named_in(old, found.text)
        if found.use.kind == "caution" and not looser & (names | named_in(old, found.use.cond.text)):
            continue
        ours = [
            n for a in adjustments for n, _ in (*a.adjusts.limits, *a.adjusts.good_for) if n.text in names
        ]
        blamed = [n for n in ours if n.text in looser] or ours or [adjustments[0].adjusts.pack]
        shown = found.witness or f"it is not shown that it does not, since {found.why}"
        for where in blamed:
            told = {(where.text, found.text), (where.text, str(found.use))}
            if told & said:
                continue
            said |= told
            others = " and ".join(f"`{other}`" for other in blamed if other is not where)
            beside = f", with {others}," if others else ""
            message = f"`{where}`{beside} loosens what guards safety: {shown}, at `{found.text}`"
            yield where.fault("SA702", message, help=f"the {found.use} may only become stricter; leave it")
    for each in adjustments:
        yield from _done_before(each, old, new)
        yield from _outweighed(each, new)


def _done_before(by: Applied, old: Program, new: Program) -> Iterator[Fault]:
    """The steps of a company, or those it words otherwise, that do with less before it what the pack does
    behind a gate only.
    """
    where = {step.name: step.where for checklist in by.by.checklists for step in checklist.steps}
    worded = {name.text: name for name, _ in by.adjusts.wording}
    told: dict[str, list[Freed]] = {}
    for found in freed(old, new):
        told.setdefault("has no gate", []).append(found)
    told["is not shown to have as strict a gate"] = list(weaker(old, new, where))
    for what, every in told.items():
        for name, gated, shared in {(f.step, f.shared): f for f in reversed(every)}.values():
            text = where.get(name, worded.get(name))
            if text is not None:
                said = f"{what}, and does what `{gated}` does behind one: {shared}"
                help = f"give it activity and gate of `{gated}`, or leave that to it"
                yield _touches(text, said, help)


def _outweighed(by: Applied, new: Program) -> Iterator[Fault]:
    """The clue with which those of a company make a place too unlikely to be searched, or too likely."""
    for place in new.places:
        for less in (True, False):
            found = 1.0
            for spec in (clue for checklist in by.by.checklists for clue in checklist.clues):
                limit = new.clues[spec.name].limit(place)
                weight = new.limits[limit].value if limit is not None else 1.0
                if (weight < 1) is not less:
                    continue
                found *= weight
                if not 1 / MOST_LIKELIER <= found <= MOST_LIKELIER:
                    text = (
                        f"`{spec.name}` makes `{place}` {found:g} times as likely, with the clues beside it"
                    )
                    help = (
                        f"the clues of a company weigh from {1 / MOST_LIKELIER:g} to {MOST_LIKELIER} together"
                    )
                    yield spec.where.fault("SA704", text, help=help)
                    break


def untimely(program: Program, today: date, packs: Sequence[Pack] = ()) -> Iterator[Fault]:
    """A fault for each limit whose loosening has ended, or is to last for too long, where the packs say so:
    no job begins with it.
    """
    days = {
        name.text: change.until
        for pack in packs
        if pack.adjusts is not None
        for name, change in pack.adjusts.limits
    }
    for name, limit in program.limits.items():
        by = limit.spec.set_by
        if by is None or not by.looser or by.until is None:
            continue
        where, until = days.get(name) or Text(name, "--pack"), date.fromisoformat(by.until)
        said = f"loosened by {by.who} of {by.company} until {by.until}"
        if until < today:
            yield where.fault("SA703", f"`{name}` was {said}", help="renew it, or take it back")
        elif (until - today).days > MOST_DAYS_AHEAD:
            text = f"`{name}` is {said}, more than {MOST_DAYS_AHEAD} days ahead"
            yield where.fault("SA703", text, help="name an earlier day, and renew it then")


def named_in(program: Program, text: str) -> set[str]:
    """The limits behind a text, directly or through named conditions, calculations, waits and findings."""
    meant = {name.text: said.text for c in program.checklists.values() for name, said in c.conditions}
    found: set[str] = set()
    waiting = [text]
    while waiting:
        for name in set(re.findall(r"[a-z][a-z0-9_]*", waiting.pop())) - found:
            found.add(name)
            if name in meant:
                waiting.append(meant[name])
            if name in program.calculations:
                waiting.append(program.calculations[name][0].text)
            if name in program.waits:
                waiting.append(program.waits[name].spec.duration.text)
            waiting += [program.rules[rule].when.text for rule in program.findings.get(name, ())]
            fact = program.facts.get(name)
            if fact is not None:
                waiting += [c.text for c in (fact.counts, *fact.place_counts.values()) if c is not None]
                waiting += [fact.spec.good_for.text] if fact.spec.good_for is not None else []
    return found


def _touches(where: Text, what: str, help: str = "a company's own steps and rules leave that alone") -> Fault:
    return where.fault("SA702", f"`{where}` {what}", help=help)


def _photo_names(step: str) -> tuple[str, str]:
    """The fact and the step of a photo."""
    return f"{step.replace('-', '_')}_photo", f"{step}-photo"


def _photo(step: StepSpec, where: Text, what: str, company: str) -> tuple[FactSpec, StepSpec]:
    """The photo wanted after a step, and the step that asks for it; both stand where it is wanted."""
    name, step_name = _photo_names(step.name)
    asked, asks = replace(where, text=name), replace(where, text=step_name)
    fact = FactSpec(
        name=name, where=asked, ask=what, kind="photo", options=(), catalogue=None, quantity=None,
        between=None, unit=None, nature="fixed", per=None, safety=False, personal=None, read_with=None,
        tolerance=None, good_for=None, void_after=(), why=f"{company} wants it in the record.", how=None,
        caution=None, counts_when=None,
    )  # fmt: skip
    own = StepSpec(
        name=step_name, where=asks, title=f"Photo: {step.title}", activity=None, do=None, why=None,
        ask=(asked,), ask_every=None, when=step.when, gate=None, wait=None,
        disturbs=(), marks=(), optional=False, caution=None, never=None,
    )  # fmt: skip
    return fact, own
