"""One calculator from typed inputs: `refrigerant=R-410A`, `temperature="75 °F ± 1.4 °F"`."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from stillair import quantity
from stillair.calculator import Calculator, Catalogue, Entry, Input, OutOfRange, propagate
from stillair.fault import did_you_mean
from stillair.possible import Number, Options, Region, judge_span
from stillair.quantity import DIMENSIONS, Dimension, Quantity, QuantityError, Unit
from stillair.verdict import Reason, Verdict, Why
from stillair.wording import number, precise, with_tolerance

__all__ = ["CalculateError", "Calculated", "Given", "calculate"]

_TOLERANCE = re.compile(r"\s*(?:±|\+/-|\+-)\s*")
_MOST_CASES = 4
"""Cases written out one by one where an option is not given; of more, only the span is said (judgement)."""


class CalculateError(Exception):
    """The inputs do not fit the calculator: what is wrong, and the way out."""

    def __init__(self, message: str, help: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.help = help


@dataclass(frozen=True, slots=True)
class Given:
    """One input as typed and as understood; `possible` has more than one option where none was given."""

    name: str
    typed: str | None
    understood: str
    possible: tuple[str, ...] = ()
    value: float | None = None
    tolerance: float = 0.0
    unit: Unit | None = None


@dataclass(frozen=True, slots=True)
class Calculated:
    """The result: a number that may span what is not given, its working, or the reasons there is none."""

    calculator: Calculator
    inputs: tuple[Given, ...]
    number: Number
    unit: Unit
    result: str
    working: tuple[str, ...]
    reasons: tuple[str, ...]
    remarks: tuple[str, ...] = ()

    @property
    def undecided(self) -> tuple[Given, ...]:
        """The inputs that were not given and could be more than one option."""
        return tuple(given for given in self.inputs if len(given.possible) > 1)


def calculate(
    calculator: Calculator, typed: Mapping[str, str], catalogues: Mapping[str, Catalogue]
) -> Calculated:
    """The value for inputs as a person types them. CalculateError where one is missing or cannot be read.

    An option that is not given leaves all of them possible. A tolerance may follow a number, as in
    `217 psig ± 3.5 psi` or, of what has a zero of its own, `0.40 ft3 ± 30 %`.
    """
    for name in typed:
        if name not in calculator.inputs:
            near = did_you_mean(name, calculator.inputs) or f"its inputs: {', '.join(calculator.inputs)}"
            raise CalculateError(f"`{calculator.name}` has no input `{name}`", near)
    given: list[Given] = []
    values: list[Number | Options] = []
    choices: list[Sequence[object] | None] = []
    monotone: list[bool] = []
    taken: list[tuple[int, tuple[float, ...]]] = []
    for name, wanted in calculator.inputs.items():
        if wanted.series is not None:
            times, reads, amounts = _readings(calculator, name, wanted, typed.get(name))
            given.extend(reads)
            taken.append((len(values), times))
            values.extend(amounts)
            choices.extend([None] * len(amounts))
            monotone.extend([False] * len(amounts))
            continue
        taken.append((len(values), ()))
        monotone.append(name in (*calculator.rises_with, *calculator.falls_with))
        if wanted.dimension is not None:
            each, amount = _amount(calculator, name, wanted, typed.get(name))
            given.append(each)
            values.append(amount)
            choices.append(None)
        else:
            chosen, options, entries = _choice(calculator, name, wanted, typed.get(name), catalogues)
            given.append(chosen)
            values.append(options)
            choices.append(entries)
    unit = quantity.find_unit(calculator.unit, DIMENSIONS[calculator.output])

    def function(flat: Sequence[object]) -> float:
        return calculator(
            *([(t, flat[at + i]) for i, t in enumerate(times)] if times else flat[at] for at, times in taken)
        )

    found = propagate(function, values, choices, monotone, calculator.name)
    reasons = tuple(r.text for r in found.reasons if r.why is Why.OUTSIDE)
    result = f"{calculator.name} = {number(found, unit)}{_as_not_given(given, found)}"
    steps = _working(calculator, function, given, values, choices, found, unit)
    remarks = tuple(_remarks(calculator, found))
    return Calculated(calculator, tuple(given), found, unit, result, tuple(steps), reasons, remarks)


def _remarks(calculator: Calculator, found: Number) -> Iterator[str]:
    """What the result means where it lies beyond a bound, or may."""
    if found.undefined:
        return
    for remark in calculator.remarks:
        edge = quantity.read(remark.bound, DIMENSIONS[calculator.output]).value
        beyond = Region.comparison("<" if remark.side == "below" else ">", edge)
        verdict = judge_span(*found.span(), beyond)
        if verdict is not Verdict.FAILS:
            yield f"{'it may be ' if verdict is Verdict.OPEN else ''}{remark}"


def _as_not_given(given: Sequence[Given], found: Number) -> str:
    """What a result that spans several values lacks to be one."""
    lacking = [each.name for each in given if len(each.possible) > 1]
    if not lacking or found.undefined or not found.ignorant:
        return ""
    return f", as {' and '.join(lacking)} {'is' if len(lacking) == 1 else 'are'} not given"


def _readings(
    calculator: Calculator, name: str, wanted: Input, text: str | None
) -> tuple[tuple[float, ...], list[Given], list[Number]]:
    """A series as typed: `0 min: 310 micron; 2 min: 530`. A unit left out is that of the first reading."""
    assert wanted.series is not None
    example = calculator.examples[0].inputs.get(name, "…")
    way = f'write {name}="{example}"'
    if text is None or not text.strip(" ;"):
        raise CalculateError(f"`{name}` is missing: {_wants(wanted)}", way)
    times: list[float] = []
    given: list[Given] = []
    amounts: list[Number] = []
    for part in text.strip(" ;").split(";"):
        when, colon, value = part.partition(":")
        if not colon:
            raise CalculateError(f"`{name}`: `{part.strip()}` is not TIME: READING", way)
        try:
            time = quantity.read(when, DIMENSIONS["duration"]).value
        except QuantityError as error:
            raise CalculateError(f"`{name}`: {error}", error.help) from None
        if times and time <= times[-1]:
            raise CalculateError(f"`{name}`: `{when.strip()}` does not come after the reading before it", way)
        label = f"{name} at {' '.join(when.split())}"
        each, amount = _number(label, value, DIMENSIONS[wanted.series], given[0].unit if given else None)
        times.append(time)
        given.append(each)
        amounts.append(amount)
    return tuple(time - times[0] for time in times), given, amounts


def _amount(calculator: Calculator, name: str, wanted: Input, text: str | None) -> tuple[Given, Number]:
    assert wanted.dimension is not None
    said = wanted.default if text is None else text
    if said is None:
        example = calculator.examples[0].inputs.get(name, "…")
        raise CalculateError(f"`{name}` is missing: {_wants(wanted)}", f'write {name}="{example}"')
    each, amount = _number(name, said, DIMENSIONS[wanted.dimension])
    return (each if text is not None else replace(each, typed=None)), amount


def _number(name: str, text: str, dimension: Dimension, usual: Unit | None = None) -> tuple[Given, Number]:
    """A number as typed, with the tolerance that may follow it."""
    parts = _TOLERANCE.split(text.strip(), maxsplit=1)
    try:
        read = quantity.read(parts[0], dimension, default=usual)
        tolerance = 0.0
        if len(parts) == 2 and (share := _share_of(parts[1], read)) is not None:
            tolerance = share * abs(read.value)
        elif len(parts) == 2:
            difference = quantity.difference_of(dimension)
            default = quantity.difference_unit(read.unit)
            tolerance = quantity.read(parts[1], difference, default=default).value
    except QuantityError as error:
        raise CalculateError(f"`{name}`: {error}", error.help) from None
    if tolerance < 0:
        raise CalculateError(f"`{name}`: the tolerance {parts[1]} is negative", "write it without the minus")
    effects = {("stated", name): tolerance} if tolerance else {}
    understood = with_tolerance(read.value, tolerance, read.unit)
    given = Given(name, text, understood, value=read.value, tolerance=tolerance, unit=read.unit)
    return given, Number(read.value, read.value, effects)


def _share_of(text: str, read: Quantity) -> float | None:
    """`30 %` of what was read, as a share; None where it is no such tolerance.

    A share of a temperature or of a moment would depend on where its scale begins. Of a fraction, `5 % ± 1 %`
    is from 4 to 6 %, as everywhere else.
    """
    if "%" not in text or read.dimension.name in ("fraction", "temperature", "moment"):
        return None
    return quantity.read(text, DIMENSIONS["fraction"]).value


def _choice(
    calculator: Calculator, name: str, wanted: Input, text: str | None, catalogues: Mapping[str, Catalogue]
) -> tuple[Given, Options, Sequence[object]]:
    entries: Sequence[object]
    if wanted.catalogue is not None:
        catalogue = catalogues.get(wanted.catalogue)
        if catalogue is None:
            raise CalculateError(
                f"`{name}` is an entry of the catalogue `{wanted.catalogue}`, which no plugin gives",
                "install the plugin that gives it",
            )
        names, entries = catalogue.names, catalogue.entries
        labels = dict(catalogue.labels)
    else:
        names, entries, labels = wanted.options, wanted.options, {}
    said = wanted.default if text is None else text
    if said is None:
        if wanted.catalogue is not None:
            example = calculator.examples[0].inputs.get(name, names[0])
            raise CalculateError(f"`{name}` is missing: {_wants(wanted)}", f"write {name}={example}")
        whole = (1 << len(names)) - 1
        given = Given(name, None, f"not given: {' or '.join(names)}", tuple(names))
        return given, Options(whole, (Reason(Why.NOT_ASKED, name),)), entries
    wanted_name = said.strip().casefold()
    for bit, option in enumerate(names):
        if wanted_name in (option.casefold(), labels.get(option, option).casefold()):
            return Given(name, text, option, (option,)), Options(1 << bit), entries
    near = did_you_mean(said, names) or f"one of: {', '.join(names[:8])}{' …' if len(names) > 8 else ''}"
    raise CalculateError(f"`{said}` is not {_wants(wanted)}", near)


def _wants(wanted: Input) -> str:
    if wanted.dimension is not None:
        return f"a number with its unit ({wanted.dimension})"
    if wanted.series is not None:
        return f"readings with their times ({wanted.series})"
    if wanted.catalogue is not None:
        return f"an entry of the catalogue `{wanted.catalogue}`"
    return " or ".join(wanted.options)


def _working(
    calculator: Calculator,
    function: Callable[[Sequence[object]], float],
    given: Sequence[Given],
    values: Sequence[Number | Options],
    choices: Sequence[Sequence[object] | None],
    found: Number,
    unit: Unit,
) -> list[str]:
    """The formula in words, the numbers put in for each case, what is not given, and the tolerance."""
    steps = [calculator.formula]
    for each in given:
        if len(each.possible) > 1:
            steps.append(
                f"{each.name} is not given: {' and '.join(each.possible)} are both possible"
                if len(each.possible) == 2
                else f"{each.name} is not given: {', '.join(each.possible)} are all possible"
            )
    cases = [_open(value, choice) for value, choice in zip(values, choices, strict=True)]
    combined = list(itertools.product(*cases))
    if len(combined) <= _MOST_CASES:
        for case in combined:
            said = ", ".join(_said(each, point) for each, point in zip(given, case, strict=True))
            try:
                steps.append(f"{calculator.name}({said}) = {precise(function(case), unit)}")
            except OutOfRange as error:
                steps.append(f"{calculator.name}({said}): {error}")
    shifted = [each for each in given if each.tolerance]
    if shifted and not found.undefined and found.shape is None:
        steps.extend(_spread(function, given, combined, found, unit))
    if not found.undefined:
        if found.low != found.high:
            low, high = found.span()
            steps.append(f"from {precise(low, unit)} to {precise(high, unit)}, whatever is not given")
        steps.append(f"result: {number(found, unit)}" + (", at 95 %" if shifted else ""))
    return steps


def _spread(
    function: Callable[[Sequence[object]], float],
    given: Sequence[Given],
    cases: Sequence[Sequence[object]],
    found: Number,
    unit: Unit,
) -> list[str]:
    """Half the change from each input less its tolerance to plus its tolerance, and what they come to."""
    difference = quantity.difference_unit(unit)
    steps, parts = [], []
    for index, each in enumerate(given):
        if not each.tolerance or each.unit is None:
            continue
        ends = []
        for case in cases:
            pair = []
            for sign in (1, -1):
                point = list(case)
                base = point[index]
                assert isinstance(base, float)
                point[index] = base + sign * each.tolerance
                pair.append((function(point), precise(base + sign * each.tolerance, each.unit)))
            ends.append(pair)
        effect = found.effects.get(("stated", each.name), 0.0)
        pair = min(ends, key=lambda p: abs((p[0][0] - p[1][0]) / 2 - effect))
        (up, at_up), (down, at_down) = pair
        half = quantity.show(abs(effect), difference, found.tolerance / 10)
        gives = f"{at_up} gives {precise(up, unit)}, {at_down} gives {precise(down, unit)}"
        steps.append(f"{each.name} {gives}: half of the change is {half}")
        parts.append(f"{half} ({each.name})")
    if len(parts) > 1:
        total = quantity.show(found.tolerance, difference, found.tolerance)
        steps.append(f"± {total} = root of the sum of the squares of {', '.join(parts)}")
    return steps


def _open(value: Number | Options, choice: Sequence[object] | None) -> list[object]:
    if isinstance(value, Number):
        return [value.low]
    assert choice is not None
    return [entry for bit, entry in enumerate(choice) if value.mask >> bit & 1]


def _said(given: Given, point: object) -> str:
    if isinstance(point, Entry):
        return point.name
    if isinstance(point, float):
        assert given.unit is not None
        return precise(point, given.unit)
    return str(point)
