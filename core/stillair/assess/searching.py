"""The search: what is believed of each place after the looks that count, and where to look next.

A look counts by the same rules as any observation. One that is void, doubted or waits for a later check
changes nothing; a silence lowers the belief in its place by the chance it had to notice a fault there.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from stillair.condition.core import OptionDomain, Ref
from stillair.possible import Number, Options
from stillair.search import (
    Alarm,
    Check,
    Plan,
    Posterior,
    SetUp,
    Silence,
    Worlds,
    choose,
    posterior,
    second_by_size,
)
from stillair.verdict import Reason, Verdict, Why

from .beliefs import beliefs
from .grades import rules_of
from .history import Moment, Observation
from .program import FURTHER, FURTHER_STATES, Program, Sought
from .program import Check as CheckOf
from .standing import newest_first, settled

if TYPE_CHECKING:
    from .gates import Gates
    from .view import View

__all__ = ["Chosen", "Quiet", "Search", "author_order", "further", "looks", "rests_on"]

#: Two tolerances that hold in 95 % of cases are this many standard deviations apart.
_DEVIATIONS = 2 * 1.96
#: No size of a leak is known better than to this share of itself (judgement, no source).
_LEAST_SPREAD = 0.1
#: The grades of a finding that is followed up, the least first.
_FOLLOWED = ("suspected", "probable", "confirmed")


class Quiet(NamedTuple):
    """A silence that counts: where, by which check, and the chance it had to notice a fault there.

    `known` is false where the chance is the usual one, because it could not be worked out.
    """

    place: str
    check: str
    chance: float
    known: bool
    line: int


class Chosen(NamedTuple):
    """Why a place is next: its chance per minute and that of the one that would be next without it.

    `shares` are the set-ups that stand already, `pays` those that it is the first to need, `tool` what the
    look is made with. `costs` is what keeping the author's order costs, in expected minutes; None where the
    order is not pinned.
    """

    place: str
    rate: float
    other: str | None
    other_rate: float
    shares: tuple[str, ...]
    pays: tuple[str, ...]
    tool: str | None
    costs: float | None


class Search:
    """The search at the moment of a view. `done` says of a look whether it needs no asking any more."""

    def __init__(
        self,
        view: View,
        gates: Gates | None,
        check: CheckOf,
        done: Callable[[Ref], bool],
        pending: bool = False,
    ) -> None:
        self.view = view
        self.program: Program = view.program
        self.gates = gates
        self.check = check
        self._done = done
        self._pending = pending
        self.sought: Sought | None = view.program.sought

    # -- what is believed ----------------------------------------------------------------------------------

    @cached_property
    def quiet(self) -> tuple[Quiet, ...]:
        """The silences that count, check by check."""
        return tuple(self._quiet())

    def _quiet(self) -> Iterator[Quiet]:
        found = {}
        for ref in looks(self.program):
            best = max(self._heard(ref), key=lambda quiet: quiet.chance, default=None)
            if best is not None:
                found[best.check, best.place] = best
        for check in self.program.checks:
            yield from (found[check, p] for p in self.program.places if (check, p) in found)

    def _heard(self, ref: Ref) -> Iterator[Quiet]:
        """What each silence of a look was worth, the newest first; by the first check at hand then.

        Only the greatest of them counts: looks of one kind at one place are not independent, so that what
        one missed the next is likely to miss as well.
        """
        place = ref.member
        assert place is not None
        told: set[int] = set()
        for name, check in self.program.checks.items():
            if check.fact != ref.name or not (entries := self._silences(ref, check.silent)):
                continue
            speaks = check.speaks is None or self.view.judge(check.speaks, {"place": place}) is Verdict.HOLDS
            for made in entries:
                if speaks and made.line not in told and _at_hand(self.view.as_of(made.moment), check):
                    told.add(made.line)
                    yield Quiet(place, name, *self._chance(check, place, made.moment), made.line)

    def _silences(self, ref: Ref, silent: int) -> list[Observation]:
        """The entries of a look that count as silences, the newest first; none where it answered.

        With `pending` also those that wait for a check that must follow.
        """
        value = self.view.options(ref)
        if value.reasons:
            if not (self._pending and awaits(value)):
                return []
        elif value.mask & ~silent:
            return []
        domain = self.program.facts[ref.name].domain
        assert isinstance(domain, OptionDomain)
        found: list[Observation] = []
        for observation, doubtful in newest_first(self.view, ref):
            if doubtful is None or (self._pending and doubtful.why is Why.LATER):
                if domain.mask(str(observation.value)) & ~silent:
                    return [] if self.program.facts[ref.name].spec.nature == "fixed" else found
                found.append(observation)
        return found

    def _chance(self, check: CheckOf, place: str, moment: Moment | None) -> tuple[float, bool]:
        """The chance of a check to notice a fault that is there; as of a moment, else as things are now."""
        views = [self.view] if moment is None else [self.view.as_of(moment), self.view]
        for view in views:
            number = self._number(view, check.notices, place)
            if number is not None:
                return min(1.0, max(0.0, number.span()[0])), True
        return self.program.limits[check.usual].value, False

    def _number(self, view: View, name: str | None, place: str | None = None) -> Number | None:
        """A number that is known; None where it is not, or not quite."""
        if name is None:
            return None
        if name in self.program.limits:
            value = self.program.limits[name].value
            return Number(value, value)
        found = view.number(Ref(name, place if self.program.symbols[name].per is not None else None))
        low, high = found.span()
        if found.reasons or found.undefined or not (math.isfinite(low) and math.isfinite(high)):
            return None
        return found

    def _limit(self, name: str | None, default: float) -> float:
        return default if name is None else self.program.limits[name].value

    @cached_property
    def grades(self) -> dict[str, str]:
        """The grade of what was found at each place where something was."""
        if self.sought is None:
            return {}
        held = {place: self.view.held(self.sought.finding, place) for place in self.program.places}
        return {place: rule[0].spec.grade for place, rule in held.items() if rule is not None}

    @cached_property
    def disputed(self) -> tuple[str, ...]:
        """The places that answered, where it is not settled whether that suspects a fault there.

        An answer after a silence leaves the finding open: it is a suspicion until the entries agree.
        """
        return tuple(place for place in self.program.places if self._disputed(place))

    def _disputed(self, place: str) -> bool:
        if self.sought is None or self.grades.get(place) in _FOLLOWED:
            return False
        given = rules_of(self.view, self.sought.finding)
        least = next((grade for grade in _FOLLOWED if any(r.spec.grade == grade for r in given)), None)
        if not any(
            self.view.rule(rule, place)[0] is Verdict.OPEN for rule in given if rule.spec.grade == least
        ):
            return False
        facts = dict.fromkeys(check.fact for check in self.program.checks.values())
        return any(self._answered(Ref(fact, place)) for fact in facts)

    def _answered(self, ref: Ref) -> bool:
        """Whether an entry that stands, or may once a check was made, is more than a silence."""
        fact = self.program.facts[ref.name]
        assert isinstance(fact.domain, OptionDomain)
        silent = 0
        for check in self.program.checks.values():
            silent |= check.silent if check.fact == ref.name else 0
        for observation, doubtful in newest_first(self.view, ref):
            if fact.domain.mask(str(observation.value)) & ~silent:
                return True
            if doubtful is None and fact.spec.nature != "fixed":
                return False
        return False

    @cached_property
    def confirmed(self) -> tuple[str, ...]:
        """The places where a fault is confirmed."""
        return tuple(place for place, grade in self.grades.items() if grade == "confirmed")

    @property
    def untold(self) -> frozenset[str]:
        """The places these beliefs say nothing of: all others after two faults, all in a contradiction."""
        some = len(self.confirmed) > 1 or self.contradicted
        return frozenset(self.program.places) - frozenset(self.confirmed) if some else frozenset()

    @cached_property
    def by_size(self) -> float | None:
        """How many times likelier a second fault is by what the first cannot explain; None: not known."""
        if self.sought is None or len(self.confirmed) != 1:
            return None
        whole = self._number(self.view, self.sought.whole)
        found = self._number(self.view, self.sought.found, self.confirmed[0])
        if whole is None or found is None or whole.span()[0] <= 0 or found.span()[0] <= 0:
            return None
        logs = [math.log(n.span()[1] / n.span()[0]) / _DEVIATIONS for n in (whole, found)]
        spread = max(_LEAST_SPREAD, math.hypot(*logs))
        middle = [math.sqrt(n.span()[0] * n.span()[1]) for n in (whole, found)]
        return second_by_size(middle[0], middle[1], spread)

    @cached_property
    def posterior(self) -> Posterior:
        """How likely it is that a place holds a fault, by weights, clues, looks and findings."""
        sought = self.sought
        elsewhere = self._limit(sought.elsewhere if sought else None, 0.0)
        second = self._limit(sought.second if sought else None, 0.0)
        weights = {b.place: b.now * (1 - elsewhere) for b in beliefs(self.view)}
        looks: list[Silence | Alarm] = [Silence({q.place: q.chance}) for q in self.quiet]
        for place, grade in self.grades.items():
            if grade == "ruled out" and place not in self.disputed:
                looks.append(Silence({place: 1.0}))
            elif sought is not None and grade in ("suspected", "probable"):
                times = self._limit(sought.suspected if grade == "suspected" else sought.probable, 1.0)
                looks.append(Alarm(place, times))
        if sought is not None:
            times = self._limit(sought.suspected, 1.0)
            looks += [Alarm(place, times) for place in self.disputed]
        size = self.by_size
        worlds = Worlds(weights, elsewhere, second)
        return posterior(worlds, looks, self.confirmed, 1.0 if size is None else size)

    @property
    def contradicted(self) -> bool:
        """Whether beliefs and looks leave no fault possible anywhere, which they cannot both be right in."""
        looked = bool(self.quiet) or "ruled out" in self.grades.values()
        return looked and not self.confirmed and not self.posterior.unfound

    # -- where to look next --------------------------------------------------------------------------------

    @cached_property
    def left(self) -> tuple[str, ...]:
        """The places not looked at yet, in their author's order; without those left out."""
        return tuple(
            place
            for place in author_order(self.view)
            if not self._done(Ref(self.check.fact, place))
            and not self._away(place)
            and not self._skipped(place)
        )

    def _away(self, place: str) -> bool:
        when = self.program.places[place].when
        return when is not None and self.view.judge(when, {"place": place}) is Verdict.FAILS

    def _steps(self) -> list[str]:
        """The steps that are a look at a place."""
        steps = self.program.steps.values()
        return [s.spec.name for s in steps if self.check.fact in s.asks and s.per == "place"]

    def _skipped(self, place: str) -> bool:
        """Whether the look at a place was left out, in every step that is one."""
        skipped = self.view.history.skipped
        said = [skipped.get((step, place)) for step in self._steps()]
        return bool(said) and all(each is not None and each[0] <= self.view.at for each in said)

    def spoils(self, place: str) -> tuple[str, ...]:
        """The places that a look here would spoil: not looked at yet, and not given up."""
        return tuple(other for other in self.left if other in self.program.places[place].after)

    def _allowed(self, place: str) -> bool:
        """Whether the look may be made now, and would count."""
        assert self.gates is not None
        may = any(self.gates.allowed(step, place) for step in self._steps())
        return may and not self.view.evidence(Ref(self.check.fact, place))

    def _way(self, place: str) -> CheckOf:
        """The check that a look at a place is: the first at hand whose silence may speak for it."""
        found = [
            check
            for check in self.program.checks.values()
            if check.fact == self.check.fact
            and (check.speaks is None or self.view.judge(check.speaks, {"place": place}) is not Verdict.FAILS)
        ]
        at_hand = [check for check in found if _at_hand(self.view, check)]
        return next(iter((*at_hand, *found)), self.check)

    def _needs(self, place: str) -> frozenset[str]:
        return self.program.places[place].set_ups | self._way(place).set_ups

    @cached_property
    def standing(self) -> frozenset[str]:
        """The set-ups that stand: said so by their condition, or by a look that needs them and counts."""
        found = {name for place in self._looked for name in self._needs(place)}
        for name, set_up in self.program.set_ups.items():
            if set_up.stands is not None:
                found.discard(name)
                if self.view.judge(set_up.stands) is Verdict.HOLDS:
                    found.add(name)
        return frozenset(found)

    @property
    def _looked(self) -> Iterator[str]:
        """The places looked at since the last handover, where that counts or may once a check was made."""
        left = self.view.history.latest_event(("handover", None), self.view.moment) or (0.0, 0)
        for place in self.program.places:
            made = newest_first(self.view, Ref(self.check.fact, place))
            if any(observation.moment > left for observation, _ in made):
                yield place

    def _scaled(self) -> tuple[dict[str, float], float]:
        """The belief in the places not confirmed as shares of 1 with elsewhere, and what 1 stands for."""
        after = self.posterior
        left = {p: chance for p, chance in after.places.items() if p not in self.confirmed}
        whole = math.fsum(left.values()) + after.elsewhere
        return {p: chance / whole if whole else 0.0 for p, chance in left.items()}, whole

    def _plan(self, places: dict[str, bool]) -> Plan:
        belief, _ = self._scaled()
        checks = [
            Check(
                place,
                self.program.places[place].spec.minutes,
                {place: self._chance(self._way(place), place, None)[0]},
                self._needs(place) - self.standing,
                self.program.places[place].after,
                allowed,
            )
            for place, allowed in places.items()
        ]
        set_ups = [
            SetUp(name, each.spec.minutes)
            for name, each in self.program.set_ups.items()
            if name not in self.standing
        ]
        pinned = self.program.pinned is not None and self.view.judge(self.program.pinned) is Verdict.HOLDS
        return choose(checks, set_ups, belief, self.left, pinned)

    @property
    def lacking(self) -> tuple[tuple[str, Verdict, tuple[Reason, ...]], ...]:
        """The tools of the look that are not at hand, or not known to be: verdict and, while open, reasons.

        Nothing where the look may be made with another.
        """
        found = []
        for check in map(self._way, self.left):
            if check.tool is None or check.at_hand is None or _at_hand(self.view, check):
                return ()
            verdict = self.view.judge(check.at_hand)
            found.append((check.tool, verdict, self.view.reasons(check.at_hand)))
        return tuple(dict.fromkeys(found))

    @cached_property
    def plan(self) -> Plan:
        """The places that may be looked at now, in their order."""
        return self._plan({place: self._allowed(place) for place in self.left})

    @cached_property
    def whole_plan(self) -> Plan:
        """All places not looked at yet, whatever is allowed now."""
        return self._plan(dict.fromkeys(self.left, True))

    @cached_property
    def order(self) -> tuple[str, ...]:
        """All places: those looked at, then those that may be looked at now, then the others."""
        done = [place for place in author_order(self.view) if place not in self.left]
        return tuple(dict.fromkeys((*done, *self.plan.order, *self.whole_plan.order)))

    def chosen(self, place: str) -> Chosen | None:
        """Why this place is next; None where it is not."""
        plan = self.plan
        if not plan.order or plan.order[0] != place:
            return None
        _, whole = self._scaled()
        other = plan.runner_up
        return Chosen(
            place,
            plan.rate * whole,
            None if other is None else plan.order[other],
            0.0 if other is None else plan.rates[other] * whole,
            tuple(sorted(self._needs(place) & self.standing)),
            plan.pays[0],
            self._way(place).tool,
            plan.pin_costs if plan.pinned else None,
        )

    # -- when to stop --------------------------------------------------------------------------------------

    @cached_property
    def rate(self) -> float:
        """The chance per minute of going on, at the best place left."""
        return self.whole_plan.rate * self._scaled()[1]

    @property
    def pointed(self) -> bool:
        """Whether a fault is suspected, or found and the route not gone to its end: that is followed up."""
        if self.disputed or any(grade in ("suspected", "probable") for grade in self.grades.values()):
            return True
        return bool(self.confirmed and self.left)

    @property
    def over(self) -> bool:
        """Whether going on is worth less than the limit, however the looks that wait for a check turn out."""
        if self.sought is None or self.sought.stop_below is None:
            return False
        value = self.view.options(Ref(FURTHER))
        return not value.reasons and value.mask == FURTHER_STATES.mask("spent")

    @property
    def spent(self) -> bool:
        """Whether going on is worth less than the limit by what counts: nothing suspected, some silence."""
        if self.sought is None or self.sought.stop_below is None or not self.quiet or self.pointed:
            return False
        return self.rate < self._limit(self.sought.stop_below, 0.0)

    @property
    def better(self) -> tuple[str, ...]:
        """The tests that are worth more than going on, as their author says them."""
        if self.sought is None:
            return ()
        return tuple(
            say for say, when in self.sought.better if when is None or self.view.judge(when) is Verdict.HOLDS
        )


def further(view: View) -> Options:
    """Whether going on with the search is worth it, by what is believed now and not by what is allowed.

    It is open while no silence counts, and while looks that wait for a check would decide it otherwise: if
    they come to count, or if they are void and their places are to be looked at again. Besides, it is judged
    without either, which is the least that the places left may be worth.
    """
    check = view.program.look_check
    if check is None:
        reason = Reason(Why.NONE, FURTHER, "no check says what a look is worth")
        return Options(FURTHER_STATES.whole, (reason,))
    later = dict.fromkeys(r for ref in looks(view.program) for r in view.value(ref).reasons if _is_later(r))
    ways: list[tuple[Callable[[Ref], bool], bool]] = [(lambda ref: settled(view, ref), False)]
    if later:
        ways.append((ways[0][0], True))
        ways.append((lambda ref: settled(view, ref) and not awaits(view.value(ref)), False))
    mask = 0
    for done, pending in ways:
        search = Search(view, None, check, done, pending)
        if search.pointed:
            mask |= FURTHER_STATES.mask("worth_it")
        elif not search.quiet:
            mask = FURTHER_STATES.whole
        else:
            mask |= FURTHER_STATES.mask("spent" if search.spent else "worth_it")
    if mask != FURTHER_STATES.whole:
        return Options(mask)
    return Options(mask, tuple(later) or (Reason(Why.NOT_YET, FURTHER, "no silence counts yet"),))


def looks(program: Program) -> Iterator[Ref]:
    """All that may be looked at: the facts of the checks, at each place."""
    for fact in dict.fromkeys(check.fact for check in program.checks.values()):
        for place in program.places:
            yield Ref(fact, place)


def awaits(value: Number | Options) -> bool:
    """Whether an entry of what was looked at waits for a check that must follow."""
    return any(map(_is_later, value.reasons))


def _is_later(reason: Reason) -> bool:
    return reason.why is Why.LATER


def rests_on(program: Program) -> set[str]:
    """The names by which the search is judged worth going on."""
    conds = [clue.when for clue in program.clues.values()]
    conds += [cond for check in program.checks.values() for cond in (check.speaks, check.at_hand) if cond]
    conds += [place.when for place in program.places.values() if place.when]
    conds += [set_up.stands for set_up in program.set_ups.values() if set_up.stands]
    conds += [cond for bands in program.bands.values() for cond in bands.values()]
    conds += [*program.ways.values(), *([program.pinned] if program.pinned else [])]
    found = {ref.name for cond in conds for ref, _ in cond.slots}
    found |= {check.fact for check in program.checks.values()}
    found |= {check.notices for check in program.checks.values() if check.notices is not None}
    if program.sought is not None:
        sought = program.sought
        found |= {name for name in (sought.finding, sought.whole, sought.found) if name is not None}
    return found - program.limits.keys()


def _at_hand(view: View, check: CheckOf) -> bool:
    return check.at_hand is None or view.judge(check.at_hand) is Verdict.HOLDS


def author_order(view: View) -> list[str]:
    """The places in the order of their author, for how what is sought moves."""
    places = view.program.places
    way = next((n for n, cond in view.program.ways.items() if view.judge(cond) is Verdict.HOLDS), "sinks")

    def position(item: tuple[int, str]) -> tuple[float, int]:
        order = places[item[1]].spec.order
        return (getattr(order, way) if order is not None else float(item[0]), item[0])

    return [name for _, name in sorted(enumerate(places), key=position)]
