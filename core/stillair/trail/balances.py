"""What went in and what came out, and the difference."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from stillair.checklist import BalanceSpec, Text
from stillair.condition.core import Ref
from stillair.possible import Number
from stillair.quantity import Unit
from stillair.wording import Wording, number

from .document import Block, Code, Part, Strong, Table, line
from .prose import prose

__all__ = ["balances", "total"]


def balances(wording: Wording) -> Iterator[Part]:
    """One part for each balance of which something was entered."""
    entered = {fact for fact, _ in wording.found.view.history.observations}
    for spec in wording.program.balances.values():
        names = {text.text for text, _ in (*spec.into, *spec.out_of)}
        facts = names.union(*(wording.program.supports.get(name, frozenset()) for name in names))
        if facts & entered:
            yield _balance(wording, spec)


def _balance(wording: Wording, spec: BalanceSpec) -> Part:
    view, zone = wording.found.view, wording.zone
    unit = wording.unit(Ref(spec.into[0][0].text))
    rows = []
    open_: list[Block] = []
    for said, given in (("in", spec.into), ("out", spec.out_of)):
        for text, label in given:
            value = view.number(Ref(text.text))
            rows.append((line(prose(label)), line(said), line(_amount(value, unit, wording))))
            if value.undefined or value.ignorant:
                reasons = dict.fromkeys(map(str, value.reasons or view.reasons_of(Ref(text.text))))
                open_.append(line(Code(text.text), " is not settled: ", "; ".join(reasons)))
    for said, given in (("all in", spec.into), ("all out", spec.out_of)):
        value = total(wording, given)
        rows.append((line(Strong(said)), line(), line(Strong(_amount(value, unit, wording)))))
    rest = _less(total(wording, spec.into), total(wording, spec.out_of))
    rows.append((line(Strong("in less out")), line(), line(Strong(number(rest, unit, zone)))))
    blocks: list[Block] = [Table(("What", "", "Amount"), tuple(rows)), *open_]
    if spec.about:
        blocks.append(line(prose(spec.about)))
    return Part(prose(spec.title), tuple(blocks))


def total(wording: Wording, given: Sequence[tuple[Text, str]]) -> Number:
    """The sum of numbers; it is not one where one of them is not."""
    sum_ = Number(0.0, 0.0)
    for text, _ in given:
        sum_ = _less(sum_, wording.found.view.number(Ref(text.text)), -1.0)
    return sum_


def _less(one: Number, other: Number, sign: float = 1.0) -> Number:
    """The difference of two numbers; an error that both share cancels. With `sign` -1 their sum."""
    if one.undefined or other.undefined:
        return Number.nothing(*one.reasons, *other.reasons)
    ends = (sign * other.low, sign * other.high)
    effects = dict(one.effects)
    for source, effect in other.effects.items():
        effects[source] = effects.get(source, 0.0) - sign * effect
    return Number(one.low - max(ends), one.high - min(ends), effects)


def _amount(value: Number, unit: Unit, wording: Wording) -> str:
    return number(value, unit, wording.zone)
