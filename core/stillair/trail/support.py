"""What an observation rests on: the tests of its `counts when`, as of the moment it was made."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from stillair.assess import Observation, View
from stillair.assess.program import Fact
from stillair.condition import core
from stillair.condition.core import Condition, OptionDomain, Ref
from stillair.condition.tree import judge
from stillair.possible import Number, Options
from stillair.verdict import Verdict
from stillair.wording import Wording, area, number

from .prose import prose

__all__ = ["Support", "needs_support", "supports"]


@dataclass(frozen=True, slots=True)
class Support:
    """One test: of which fact, when it bears (`before`, `after`, `here` for that of a place), in words."""

    about: str
    bears: str
    says: str
    verdict: Verdict


def needs_support(fact: Fact, observation: Observation) -> bool:
    """Whether an entry is evidence only with what it rests on."""
    if observation.value is None or (fact.counts is None and observation.member not in fact.place_counts):
        return False
    if isinstance(fact.domain, OptionDomain):
        return bool(fact.counted >> fact.domain.names.index(str(observation.value)) & 1)
    return True


def supports(wording: Wording, fact: Fact, observation: Observation) -> list[Support]:
    """What an entry rests on, the checks made for every place first."""
    member = observation.member
    binding = {fact.per: member} if fact.per is not None and member is not None else {}
    found: dict[Support, None] = {}
    for bears, cond in (("before", fact.counts), ("here", fact.place_counts.get(member or ""))):
        if cond is not None:
            reader = _Reader(wording, wording.found.view.supporting(cond, observation), binding)
            found.update(dict.fromkeys(reader.read(cond.checked, bears)))
    return list(found)


class _Reader:
    def __init__(self, wording: Wording, view: View, binding: Mapping[str, str]) -> None:
        self.wording = wording
        self.view = view
        self.binding = binding

    def _lookup(self, ref: Ref) -> Number | Options:
        return self.view.value(ref.bound(self.binding))

    def read(self, condition: Condition, bears: str) -> Iterator[Support]:
        """The tests that bear on the verdict: of one of several that is enough, those that hold."""
        if isinstance(condition, core.Test | core.Within):
            derivation = self.wording.program.derived.get(condition.ref.name)
            verdict = judge(condition, self._lookup)
            if isinstance(derivation, core.Readings) and verdict is Verdict.HOLDS:
                return  # that there is a reading, or none, is told by the reading
            after = isinstance(derivation, core.Near) and derivation.kind == "first"
            about = derivation.ref.name if isinstance(derivation, core.Near) else condition.ref.name
            yield Support(about, "after" if after else bears, self._says(condition, derivation), verdict)
        elif isinstance(condition, core.All | core.Either):
            parts = condition.parts
            if isinstance(condition, core.Either):
                holding = [p for p in parts if judge(p, self._lookup) is Verdict.HOLDS]
                parts = tuple(holding[:1]) or parts
            for part in parts:
                yield from self.read(part, bears)

    def _says(self, test: core.Test | core.Within, derivation: core.Derivation | None) -> str:
        """`known drip: It answers (line 24, 13:15)`."""
        wording = self.wording
        ref = test.ref.bound(self.binding)
        if ref.name in wording.program.waits:
            return self._wait(ref.name)
        value = self.view.value(ref)
        name = derivation.ref.name if isinstance(derivation, core.Near) else wording.name(Ref(ref.name))
        name = name.replace("_", " ")
        open_ = judge(test, self._lookup) is Verdict.OPEN
        if open_ and (reasons := self.view.reasons_of(ref)):
            return f"{name}: not known, {'; '.join(dict.fromkeys(r.text or r.why.value for r in reasons))}"
        if isinstance(value, Number):
            unit = wording.unit(ref)
            said = number(value, unit, wording.zone)
            if isinstance(test, core.Within):
                region = (
                    test.region.complement() if judge(test, self._lookup) is Verdict.FAILS else test.region
                )
                said += f", {area(region, unit, wording.zone)}" if not open_ else ", too close to call"
        else:
            said = self._option(test, value)
        return f"{name}: {said}{self._from(value)}"

    def _option(self, test: core.Test | core.Within, value: Options) -> str:
        domain = test.domain if isinstance(test, core.Test) else None
        labels = domain.labels if domain is not None else {}
        names = domain.of_mask(value.mask) if domain is not None else ()
        return " or ".join(prose(labels.get(n, n.replace("_", " "))) for n in names)

    def _from(self, value: Number | Options) -> str:
        """The lines, the instruments they were read with, and the time."""
        if not value.lines:
            return ""
        serials: dict[str, None] = {}
        for each in value.lines:
            observation = self.wording.observation_of(each)
            if observation is not None and observation.instrument is not None:
                serials[observation.instrument] = None
        word = "line" if len(value.lines) == 1 else "lines"
        at = f", {self.wording.clock(value.taken)}" if value.taken is not None else ""
        with_ = f", with {', '.join(serials)}" if serials else ""
        return f" ({word} {', '.join(map(str, value.lines))}{at}{with_})"

    def _wait(self, name: str) -> str:
        state = self.view.wait(name)
        title = prose(self.wording.program.waits[name].spec.title)
        clock = self.wording.clock
        if state.started is None:
            return f"{title}: not started"
        if state.ready_at is None:
            return f"{title}: how long it lasts is not known"
        if state.options.mask == 1:
            return f"{title}: ready {clock(state.options.taken or state.ready_at)}"
        if self.view.at < state.ready_at:
            return f"{title}: not ready before {clock(state.ready_at)}"
        return f"{title}: time up {clock(state.ready_at)}, nobody said that nothing happened"
