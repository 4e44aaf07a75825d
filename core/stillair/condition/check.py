"""Resolve the names of a condition and check its dimensions: syntax in, checked condition out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from stillair import quantity
from stillair.calculator import Calculator, Catalogue
from stillair.fault import did_you_mean
from stillair.possible import Region
from stillair.quantity import DIMENSIONS, Dimension, QuantityError

from . import core, syntax
from .core import (
    GRADES,
    Condition,
    Derivation,
    Domain,
    NumberDomain,
    OptionDomain,
    Ref,
    Symbol,
    refs_in,
)
from .syntax import ConditionError, Node, parse

__all__ = ["Checker", "Consequence", "Scope", "Symbol"]

_RISING = GRADES[:4]
YES_NO = OptionDomain(("yes", "no"))
BUILT_IN = ("abs", "min", "max")
NUMBER = DIMENSIONS["number"]
_PLAIN = {"fraction", "number"}
DURATION = DIMENSIONS["duration"]


@dataclass(slots=True)
class Scope:
    """The names a checklist may use. `limits` gives canonical value and dimension of each limit."""

    symbols: dict[str, Symbol] = field(default_factory=dict)
    lists: dict[str, tuple[str, ...] | None] = field(default_factory=dict)
    limits: dict[str, tuple[float, Dimension]] = field(default_factory=dict)
    packs: dict[str, frozenset[str]] = field(default_factory=dict)
    """The names each pack declares, for `pack.name`."""
    conditions: dict[str, str] = field(default_factory=dict)
    """The texts of conditions that have a name."""
    calculators: Mapping[str, Calculator] = field(default_factory=dict)
    catalogues: Mapping[str, Catalogue] = field(default_factory=dict)
    broken: set[str] = field(default_factory=set)
    """Names whose own declaration is at fault: what uses one is not at fault itself."""

    def names(self) -> Iterator[str]:
        yield from self.symbols
        yield from self.limits
        yield from self.conditions
        yield from self.calculators


class Consequence(ConditionError):
    """A condition that cannot be checked since a name in it is broken: told there, and not again here."""

    def __init__(self, start: int, end: int) -> None:
        super().__init__("this rests on something that is at fault itself", start, end)


@dataclass(frozen=True, slots=True)
class _Typed:
    dimension: Dimension
    expression: core.Expression


class Checker:
    """Checks texts against a scope and collects the derived facts they need in `derived`."""

    def __init__(self, scope: Scope, derived: dict[str, Derivation] | None = None) -> None:
        self.scope = scope
        self.derived: dict[str, Derivation] = {} if derived is None else derived
        self.outer: dict[str, str] = {}
        """The list each derived fact is itself kept for, where it depends on the member in hand."""
        self._text = ""
        self._here: tuple[str, ...] = ()
        self._judged: str | None = None
        self._within: tuple[str, ...] = ()
        """The named conditions that are being checked, the outermost first."""
        self._checked: dict[tuple[str, tuple[str, ...], str | None], Condition] = {}
        """Each named condition by where it stands: the same wherever the same members are in hand."""

    # -- entry points ------------------------------------------------------------------------------------

    def condition(self, text: str, *, per: str | None = None, judged: str | None = None) -> Condition:
        """The checked condition. `per` is the list whose member is in hand, `judged` the fact judged."""
        self._enter(text, per, judged)
        return self._condition(parse(text))

    def expression(self, text: str, *, per: str | None = None) -> core.Formula:
        """The checked formula of a calculation."""
        self._enter(text, per, None)
        typings = self._typings(parse(text))
        return core.Formula(typings[0].expression, typings[0].dimension, text)

    def _enter(self, text: str, per: str | None, judged: str | None) -> None:
        self._text = text
        self._here = () if per is None else (per,)
        self._judged = judged

    def _said(self, node: Node) -> str:
        return " ".join(self._text[node.start : node.end].split())

    def _derive(self, derivation: Derivation, node: Node) -> Ref:
        lists = sorted({ref.member for ref in refs_in(derivation) if ref.member and ref.member[0] == "@"})
        if isinstance(derivation, core.Each | core.Count | core.Sum | core.Extreme):
            lists = [name for name in lists if name != "@" + derivation.list]
        if len(lists) > 1:
            # A derived fact is kept for the members of one list at most.
            raise self._error(
                node,
                f"this rests on members of two lists at once: {lists[0][1:]} and {lists[1][1:]}",
                "test the facts of each list by themselves, or name one of the members: `… of …`",
                "SA302",
            )
        key = "=" + derivation.text + (f" [{self._judged}]" if isinstance(derivation, core.Near) else "")
        while key in self.derived and self.derived[key] != derivation:
            key += "'"
        self.derived[key] = derivation
        if lists:
            self.outer[key] = lists[0][1:]
        return Ref(key, lists[0] if lists else None)

    # -- conditions --------------------------------------------------------------------------------------

    def _condition(self, node: Node) -> Condition:
        match node:
            case syntax.Constant():
                return core.Truth(node.value, self._said(node))
            case syntax.Join():
                parts = tuple(self._condition(part) for part in node.parts)
                kind = core.All if node.operator == "and" else core.Either
                return kind(parts, self._said(node))
            case syntax.Not():
                return self._negated(self._condition(node.operand), self._said(node))
            case syntax.Is():
                return self._is(node)
            case syntax.Compare():
                return self._compare(node)
            case syntax.Agrees():
                return self._agrees(node)
            case syntax.Quantified():
                self._known_list(node.list, node)
                inner = self._inside(node.list, node.inner)
                ref = self._derive(core.Each(node.quantifier, node.list, inner, self._said(node)), node)
                return core.Test(ref, 1, 2, YES_NO, self._said(node))
            case syntax.Name() if node.name in self.scope.conditions and node.member is None:
                return self._named(node)
            case syntax.Name():
                symbol = self.scope.symbols.get(node.name)
                self._no_event(symbol, node)
                if symbol is not None and isinstance(symbol.domain, OptionDomain):
                    raise self._error(
                        node, f"`{node.name}` alone is not a condition", f"write `{node.name} is …`"
                    )
                self._ref(node)
        raise self._error(node, "this is a number, not a condition", "compare it: <, <=, >, >=")

    def _named(self, node: syntax.Name) -> Condition:
        """What a named condition says, as if it were written here."""
        if node.name in self._within:
            circle = " → ".join([*self._within[self._within.index(node.name) :], node.name])
            message = f"`{node.name}` depends on itself: {circle}"
            raise self._error(node, message, "let one of them rest on something else", "SA307")
        place = (node.name, self._here, self._judged)
        if place in self._checked:
            return self._checked[place]
        text, within = self._text, self._within
        self._text, self._within = self.scope.conditions[node.name], (*within, node.name)
        try:
            found = self._condition(parse(self._text))
            if isinstance(found, core.All | core.Either):
                found = found._replace(name=node.name)
            self._checked[place] = found
            return found
        except ConditionError as error:
            if within or isinstance(error, Consequence):
                raise
            raise self._error(node, error.message, error.help, error.code) from None
        finally:
            self._text, self._within = text, within

    def _inside(self, list_name: str, node: Node) -> Condition:
        self._here = (*self._here, list_name)
        try:
            return self._condition(node)
        finally:
            self._here = self._here[:-1]

    def _negated(self, condition: Condition, text: str) -> Condition:
        match condition:
            case core.Truth():
                return core.Truth(not condition.value, text)
            case core.Test():
                return core.Test(condition.ref, condition.never, condition.sure, condition.domain, text)
            case core.Within():
                region = condition.region.complement()
                return core.Within(condition.ref, region, condition.dimension, text, condition.bounds)
            case core.All() | core.Either():
                parts = tuple(self._negated(part, f"not ({part.text})") for part in condition.parts)
                kind = core.Either if isinstance(condition, core.All) else core.All
                return kind(parts, text, core.name_negated(condition.name))

    def _is(self, node: syntax.Is) -> Condition:
        ref, domain, values = self._subject(node.subject)
        sure = never = 0
        wanted: set[str] = set()
        allowed = sorted({v for v in values if v is not None}, key=values.index)
        for name, start, end in node.options:
            if name not in allowed:
                help = did_you_mean(name, allowed) or f"one of: {', '.join(allowed)}"
                raise ConditionError(
                    f"`{name}` is not an option of `{self._said(node.subject)}`", start, end, help, "SA304"
                )
            if node.at_least:
                if name not in _RISING or domain.names != GRADES:
                    raise ConditionError(
                        "`at least` is for the grade of a finding", start, end, None, "SA304"
                    )
                wanted.update(_RISING[_RISING.index(name) :])
            else:
                wanted.add(name)
        for bit, value in enumerate(values):
            if value is None:
                continue
            if (value in wanted) is not node.negated:
                sure |= 1 << bit
            else:
                never |= 1 << bit
        return core.Test(ref, sure, never, domain, self._said(node))

    def _subject(self, node: Node) -> tuple[Ref, OptionDomain, tuple[str | None, ...]]:
        """What is tested by `is`: the reference, its domain, and the value of each of its options."""
        node = self._unpacked(node)
        if isinstance(node, syntax.Attribute):
            ref, symbol = self._ref(node.of)
            catalogue = self._catalogue(symbol, node)
            column = next((a for a in catalogue.attributes if a.name == node.attribute), None)
            assert isinstance(symbol.domain, OptionDomain)
            if column is None:
                known = [a.name for a in catalogue.attributes]
                raise self._error(
                    node,
                    f"{catalogue.name} has no attribute `{node.attribute}`",
                    did_you_mean(node.attribute, known) or f"one of: {', '.join(known)}",
                    "SA302",
                )
            if column.kind not in ("option", "text"):
                raise self._error(node, f"`{node.attribute}` is a number", "compare it: <, <=, >, >=")
            found = [catalogue.entry(name)[node.attribute] for name in symbol.domain.names]
            return ref, symbol.domain, tuple(v if isinstance(v, str) else None for v in found)
        if isinstance(node, syntax.Nearest):
            ref, near_domain = self._nearest(node)
            if isinstance(near_domain, OptionDomain):
                return ref, near_domain, near_domain.names
        elif isinstance(node, syntax.Aggregate) and node.kind == "latest":
            ref, symbol = self._ref(node.named, alone=True)
            if isinstance(symbol.domain, OptionDomain):
                return ref, symbol.domain, symbol.domain.names
        elif isinstance(node, syntax.Name):
            if node.name in self.scope.limits:
                raise self._error(node, f"`{node.name}` is a number", "compare it: <, <=, >, >=")
            ref, symbol = self._ref(node)
            self._no_event(symbol, node)
            if isinstance(symbol.domain, OptionDomain):
                return ref, symbol.domain, symbol.domain.names
        raise self._error(
            node,
            f"`{self._said(node)}` is a number",
            "compare it: <, <=, >, >=, or `agrees with … within …`",
            "SA303",
        )

    def _compare(self, node: syntax.Compare) -> Condition:
        if node.operator in ("=", "==", "!="):
            raise self._error(
                node,
                "equality of measurements is never tested",
                "write `agrees with … within …`, or `is` for an option",
                "SA305",
            )
        left, right = self._matched(node.left, node.right, node)
        text = self._said(node)
        if isinstance(right.expression, core.Number):
            bound = right.expression
            region = Region.comparison(node.operator, bound.value)
            return core.Within(self._number_ref(left, node.left), region, left.dimension, text, (bound.text,))
        if isinstance(left.expression, core.Number):
            flipped = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}[node.operator]
            bound = left.expression
            region = Region.comparison(flipped, bound.value)
            return core.Within(
                self._number_ref(right, node.right), region, right.dimension, text, (bound.text,)
            )
        difference = _Typed(
            _difference(left.dimension), core.Operation("-", left.expression, right.expression)
        )
        said = f"{self._said(node.left)} - {self._said(node.right)}"
        ref = self._derive(core.Formula(difference.expression, difference.dimension, said), node)
        region = Region.comparison(node.operator, 0.0)
        return core.Within(ref, region, difference.dimension, text, ("0",))

    def _agrees(self, node: syntax.Agrees) -> Condition:
        left, right = self._matched(node.left, node.right, node)
        dimension = _difference(left.dimension)
        band = next((t for t in self._typings(node.band) if t.dimension == dimension), None)
        if band is None:
            raise self._error(node.band, f"the band is not a {dimension.name}", None, "SA303")
        if not isinstance(band.expression, core.Number) or band.expression.value < 0:
            raise self._error(node.band, "a band is a limit or a number, not negative", None, "SA303")
        expression = core.Operation("-", left.expression, right.expression)
        said = f"{self._said(node.left)} - {self._said(node.right)}"
        ref = self._derive(core.Formula(expression, dimension, said), node)
        region = Region.within(-band.expression.value, band.expression.value)
        return core.Within(ref, region, dimension, self._said(node), (f"±{band.expression.text}",))

    def _number_ref(self, typed: _Typed, node: Node) -> Ref:
        if isinstance(typed.expression, core.Value):
            return typed.expression.ref
        return self._derive(core.Formula(typed.expression, typed.dimension, self._said(node)), node)

    def _matched(self, left: Node, right: Node, whole: Node) -> tuple[_Typed, _Typed]:
        lefts, rights = self._typings(left), self._typings(right)
        for a in lefts:
            for b in rights:
                if a.dimension == b.dimension or {a.dimension.name, b.dimension.name} == _PLAIN:
                    return a, b
        raise self._error(
            whole,
            f"{lefts[0].dimension.name} against {rights[0].dimension.name}",
            _conversion(lefts[0].dimension, rights[0].dimension),
            "SA303",
        )

    # -- expressions -------------------------------------------------------------------------------------

    def _typings(self, node: Node) -> list[_Typed]:
        """Every reading of an expression (a literal `5 °F` is a temperature or a difference), best first."""
        node = self._unpacked(node)
        match node:
            case syntax.Literal():
                try:
                    readings = quantity.read_literal(node.text)
                except QuantityError as error:
                    raise self._error(node, str(error), error.help, "SA306") from None
                return [_Typed(r.dimension, core.Number(r.value, node.text)) for r in readings]
            case syntax.Negative():
                negative = [t for t in self._typings(node.operand) if t.dimension.point is None]
                if not negative:
                    raise self._error(node, "a point on a scale has no negative", None, "SA303")
                zero = core.Number(0.0, "0")
                return [
                    _Typed(t.dimension, _folded("-", zero, t.expression, self._said(node))) for t in negative
                ]
            case syntax.Binary():
                return self._binary(node)
            case syntax.Name() if node.name in self.scope.limits and node.member is None:
                value, dimension = self.scope.limits[node.name]
                return [_Typed(dimension, core.Number(value, node.name))]
            case syntax.Name():
                ref, symbol = self._ref(node)
                return [self._value(ref, symbol, node)]
            case syntax.Attribute():
                return [self._column(node)]
            case syntax.Call():
                return [self._call(node)]
            case syntax.Aggregate():
                return [self._aggregate(node)]
            case syntax.Nearest():
                ref, domain = self._nearest(node)
                if isinstance(domain, NumberDomain):
                    return [_Typed(domain.dimension, core.Value(ref))]
        raise self._error(node, "a number is wanted here", None, "SA303")

    def _value(self, ref: Ref, symbol: Symbol, node: Node) -> _Typed:
        self._no_event(symbol, node)
        if not isinstance(symbol.domain, NumberDomain):
            raise self._error(
                node, f"`{symbol.name}` is not a number", f"write `{symbol.name} is …`", "SA303"
            )
        return _Typed(symbol.domain.dimension, core.Value(ref))

    def _binary(self, node: syntax.Binary) -> list[_Typed]:
        found: list[_Typed] = []
        lefts, rights = self._typings(node.left), self._typings(node.right)
        for a in lefts:
            for b in sorted(rights, key=lambda t: t.dimension.point is not None):
                dimension = _combined(node.operator, a.dimension, b.dimension)
                if dimension is not None and all(dimension != t.dimension for t in found):
                    folded = _folded(node.operator, a.expression, b.expression, self._said(node))
                    found.append(_Typed(dimension, folded))
        if not found:
            words = {"+": "plus", "-": "less", "*": "times", "/": "over"}[node.operator]
            left, right = lefts[0].dimension, rights[0].dimension
            raise self._error(
                node, f"{left.name} {words} {right.name} has no meaning", _conversion(left, right), "SA303"
            )
        return found

    def _call(self, node: syntax.Call) -> _Typed:
        if node.name in BUILT_IN:
            return self._built_in(node)
        function = self.scope.calculators.get(node.name)
        if function is None:
            raise ConditionError(
                f"there is no calculator `{node.name}`",
                node.start,
                node.start + len(node.name),
                did_you_mean(node.name, [*self.scope.calculators, *BUILT_IN]),
                "SA301",
            )
        inputs = list(function.inputs.items())
        needed = [name for name, given in inputs if given.default is None]
        if not len(needed) <= len(node.arguments) <= len(inputs):
            raise self._error(
                node,
                f"`{node.name}` takes {len(inputs)} inputs, not {len(node.arguments)}",
                f"{node.name}({', '.join(function.inputs)})",
                "SA303",
            )
        arguments: list[core.Expression] = []
        for (name, wanted), argument in zip(inputs, node.arguments, strict=False):
            if wanted.series is not None:
                arguments.append(self._series_argument(argument, name, wanted.series))
                continue
            if wanted.dimension is None:
                arguments.append(self._option_argument(argument, name, wanted.options, wanted.catalogue))
                continue
            dimension = DIMENSIONS[wanted.dimension]
            typings = self._typings(argument)
            typed = next((t for t in typings if t.dimension == dimension), None)
            if typed is None:
                raise self._error(
                    argument,
                    f"`{name}` of {node.name} is a {dimension.name}, not a {typings[0].dimension.name}",
                    _conversion(typings[0].dimension, dimension),
                    "SA303",
                )
            arguments.append(typed.expression)
        return _Typed(DIMENSIONS[function.output], core.Apply(node.name, tuple(arguments)))

    def _built_in(self, node: syntax.Call) -> _Typed:
        typings = [self._typings(argument) for argument in node.arguments]
        if node.name == "abs":
            first = typings[0][0]
            if len(typings) != 1 or first.dimension.point is not None:
                raise self._error(node, "abs takes one difference or plain number", None, "SA303")
            return _Typed(first.dimension, core.Apply("abs", (first.expression,)))
        for candidate in typings[0]:
            chosen = [next((t for t in ts if t.dimension == candidate.dimension), None) for ts in typings]
            if all(chosen):
                expressions = tuple(t.expression for t in chosen if t is not None)
                return _Typed(candidate.dimension, core.Apply(node.name, expressions))
        raise self._error(node, f"the inputs of {node.name} are of different dimensions", None, "SA303")

    def _option_argument(
        self, node: Node, name: str, options: Sequence[str], catalogue: str | None
    ) -> core.Expression:
        node = self._unpacked(node)
        allowed = tuple(options) if catalogue is None else self.scope.catalogues[catalogue].names
        if isinstance(node, syntax.Name) and node.name in allowed and node.name not in self.scope.symbols:
            return core.Fixed(node.name, catalogue)
        if isinstance(node, syntax.Name):
            ref, symbol = self._ref(node)
            domain = symbol.domain
            if isinstance(domain, OptionDomain) and (
                domain.catalogue == catalogue if catalogue else set(domain.names) <= set(allowed)
            ):
                return core.Chosen(ref, domain, catalogue)
        raise self._error(
            node, f"`{name}` is not given as {catalogue or ' or '.join(allowed)}", None, "SA303"
        )

    def _series_argument(self, node: Node, name: str, dimension: str) -> core.Expression:
        node = self._unpacked(node)
        if isinstance(node, syntax.Name) and node.name in self.scope.symbols:
            ref, symbol = self._ref(node)
            domain = symbol.domain
            fact = symbol.kind == "fact" and symbol.series
            if fact and isinstance(domain, NumberDomain) and domain.dimension == DIMENSIONS[dimension]:
                return core.Series(ref)
        raise self._error(
            node, f"`{name}` takes a series", f"name a fact with `nature: series` and `quantity: {dimension}`"
        )

    def _column(self, node: syntax.Attribute) -> _Typed:
        ref, symbol = self._ref(node.of)
        catalogue = self._catalogue(symbol, node)
        column = next((a for a in catalogue.attributes if a.name == node.attribute), None)
        if column is None or column.kind not in DIMENSIONS:
            numbers = [a.name for a in catalogue.attributes if a.kind in DIMENSIONS]
            raise self._error(
                node,
                f"{catalogue.name} has no number `{node.attribute}`",
                did_you_mean(node.attribute, numbers),
                "SA302",
            )
        assert isinstance(symbol.domain, OptionDomain)
        found = [catalogue.entry(name)[node.attribute] for name in symbol.domain.names]
        values = tuple(float(v) if isinstance(v, float | int) else None for v in found)
        return _Typed(DIMENSIONS[column.kind], core.Column(ref, node.attribute, values))

    def _catalogue(self, symbol: Symbol, node: Node) -> Catalogue:
        if not isinstance(symbol.domain, OptionDomain) or symbol.domain.catalogue is None:
            raise self._error(node, f"`{symbol.name}` is not from a catalogue", None, "SA302")
        return self.scope.catalogues[symbol.domain.catalogue]

    def _aggregate(self, node: syntax.Aggregate) -> _Typed:
        text = self._said(node)
        name = node.named
        match node.kind:
            case "count" if node.inner is not None:
                self._known_list(name.name, name)
                inner = self._inside(name.name, node.inner)
                return _Typed(NUMBER, core.Value(self._derive(core.Count(name.name, inner, text), node)))
            case "count" if name.name in self.scope.lists:
                everyone = core.Truth(True, "always")
                return _Typed(NUMBER, core.Value(self._derive(core.Count(name.name, everyone, text), node)))
            case "count":
                ref, _ = self._ref(name, alone=True)
                return _Typed(NUMBER, core.Value(self._derive(core.Readings(ref, text), node)))
            case "entries":
                ref, symbol = self._ref(name)
                if symbol.kind != "fact":
                    raise self._error(node, f"`{name.name}` is not a fact", None, "SA302")
                if node.option is not None:
                    names = symbol.domain.names if isinstance(symbol.domain, OptionDomain) else ()
                    if node.option not in names:
                        help = did_you_mean(node.option, names)
                        raise self._error(
                            node, f"`{node.option}` is not an option of `{name.name}`", help, "SA304"
                        )
                return _Typed(NUMBER, core.Value(self._derive(core.Entries(ref, node.option, text), node)))
            case "sum" | "highest" | "lowest":
                return self._over_members(node)
            case "latest":
                ref, symbol = self._ref(name, alone=True)
                return self._value(ref, symbol, node)
            case "spread":
                ref, symbol = self._ref(name, alone=True)
                typed = self._value(ref, symbol, node)
                window = self._seconds(node.window)
                dimension = _difference(typed.dimension)
                spread = core.Spread(ref, window, dimension, text)
                return _Typed(dimension, core.Value(self._derive(spread, node)))
            case "since":
                ref, _ = self._ref(name, alone=True)
                return _Typed(DURATION, core.Value(self._derive(core.SinceEvent(ref, text), node)))
        raise AssertionError(node.kind)

    def _over_members(self, node: syntax.Aggregate) -> _Typed:
        """The sum, the highest or the lowest of a number over the members of a list."""
        text, name = self._said(node), node.named.name
        self._known_list(name, node.named)
        assert node.inner is not None
        self._here = (*self._here, name)
        try:
            item = self._typings(node.inner)[0]
            ref = self._number_ref(item, node.inner)
            having = None if node.having is None else self._condition(node.having)
        finally:
            self._here = self._here[:-1]
        derivation: core.Sum | core.Extreme
        if node.kind == "sum":
            if item.dimension.point is not None:
                raise self._error(
                    node,
                    f"{item.dimension.name} cannot be summed",
                    "`highest of …` and `lowest of …` take it",
                    "SA303",
                )
            derivation = core.Sum(name, ref, item.dimension, text, having)
        else:
            derivation = core.Extreme(node.kind, name, ref, item.dimension, text, having)
        return _Typed(item.dimension, core.Value(self._derive(derivation, node)))

    def _nearest(self, node: syntax.Nearest) -> tuple[Ref, Domain]:
        ref, symbol = self._ref(node.fact, alone=True)
        if symbol.domain is None:
            raise self._error(node.fact, f"`{symbol.name}` is an event, not a fact", None, "SA303")
        anchor: Ref | None = None
        if node.anchor.name != self._judged:
            anchor, anchored = self._ref(node.anchor, alone=True)
            if anchored.kind != "event":
                raise self._error(
                    node.anchor,
                    f"`{node.anchor.name}` is neither an event nor the fact judged here",
                    None,
                    "SA303",
                )
        window = None if node.window is None else self._seconds(node.window)
        near = core.Near(node.kind, ref, anchor, window, symbol.domain, self._said(node))
        return self._derive(near, node), symbol.domain

    def _seconds(self, node: Node | None) -> float:
        assert node is not None
        for typed in self._typings(node):
            if typed.dimension == DURATION and isinstance(typed.expression, core.Number):
                if typed.expression.value <= 0:
                    raise self._error(node, "a time must be more than 0 here", "such as 30 min", "SA303")
                return typed.expression.value
        raise self._error(node, "a time is wanted here", "such as 30 min", "SA303")

    # -- names -------------------------------------------------------------------------------------------

    def _ref(self, node: syntax.Name, alone: bool = False) -> tuple[Ref, Symbol]:
        """What a name stands for; `alone` where it is written without a member."""
        symbol = self.scope.symbols.get(node.name)
        if node.name in self.scope.broken:
            raise Consequence(node.start, node.end)
        if symbol is None:
            help = did_you_mean(node.name, self.scope.names())
            if "-" in node.name:
                help = "put spaces around a minus"
            if node.name in self.scope.conditions:
                raise self._error(
                    node, f"`{node.name}` is a condition, not a fact", "write it alone", "SA302"
                )
            raise ConditionError(
                f"`{node.name}` is not defined", node.start, node.start + len(node.name), help, "SA301"
            )
        if symbol.per is None:
            if node.member is not None:
                raise self._error(node, f"`{node.name}` is not kept per member of a list", None, "SA302")
            return Ref(node.name), symbol
        if node.member is not None:
            members = self.scope.lists.get(symbol.per)
            if members is not None and node.member not in members:
                raise self._error(
                    node,
                    f"`{node.member}` is not in the list {symbol.per}",
                    did_you_mean(node.member, members),
                    "SA302",
                )
            return Ref(node.name, node.member), symbol
        if symbol.per not in self._here:
            raise self._error(
                node,
                f"`{node.name}` is kept per {symbol.per}",
                f"write {'' if alone else f'`{node.name} of …`, or '}`every {symbol.per} has (…)`",
                "SA302",
            )
        return Ref(node.name, "@" + symbol.per), symbol

    def _no_event(self, symbol: Symbol | None, node: Node) -> None:
        if symbol is not None and symbol.kind == "event":
            raise self._error(
                node,
                f"`{symbol.name}` is an event, not a fact",
                f"such as `since {symbol.name} > 10 min`",
                "SA302",
            )

    def _unpacked(self, node: Node) -> Node:
        """`pack.name` as the name it stands for; anything else as it is."""
        if not isinstance(node, syntax.Attribute) or node.of.name in self.scope.symbols:
            return node
        declared = self.scope.packs.get(node.of.name)
        if declared is None:
            return node
        if node.attribute not in declared:
            raise self._error(
                node,
                f"the pack {node.of.name} has no `{node.attribute}`",
                did_you_mean(node.attribute, declared),
                "SA301",
            )
        return syntax.Name(node.start, node.end, node.attribute, node.of.member)

    def _known_list(self, name: str, node: Node) -> None:
        if name not in self.scope.lists:
            help = did_you_mean(name, self.scope.lists) or "declare it under `lists`"
            start = max(node.start, self._text.find(name, node.start))
            raise ConditionError(f"there is no list `{name}`", start, start + len(name), help, "SA301")

    def _error(
        self, node: Node, message: str, help: str | None = None, code: str = "SA303"
    ) -> ConditionError:
        return ConditionError(message, node.start, node.end, help, code)


def _difference(dimension: Dimension) -> Dimension:
    return quantity.difference_of(dimension) if dimension.point is not None else dimension


def _combined(operator: str, left: Dimension, right: Dimension) -> Dimension | None:
    """The dimension of a sum, difference, product or quotient; None where it has no meaning."""
    if operator in "*/":
        if left.point is not None or right.point is not None:
            return None
        return quantity.multiply(left, right) if operator == "*" else quantity.divide(left, right)
    if left.point is None and right.point is None:
        return left if left == right else None
    if left.point is not None and right.point is not None:
        return quantity.difference_of(left) if operator == "-" and left == right else None
    point, other = (left, right) if left.point is not None else (right, left)
    if quantity.difference_of(point) != other or (operator == "-" and point is right):
        return None
    return point


def _folded(operator: str, left: core.Expression, right: core.Expression, text: str) -> core.Expression:
    if isinstance(left, core.Number) and isinstance(right, core.Number):
        a, b = left.value, right.value
        if operator == "+":
            return core.Number(a + b, text)
        if operator == "-":
            return core.Number(a - b, text)
        if operator == "*":
            return core.Number(a * b, text)
        if b:
            return core.Number(a / b, text)
    return core.Operation(operator, left, right)


def _conversion(left: Dimension, right: Dimension) -> str | None:
    names = {left.name, right.name}
    if names == {"gauge pressure", "absolute pressure"}:
        return "gauge pressure needs the local atmosphere to become absolute; convert one of the two"
    if "pressure difference" in names and names & {"gauge pressure", "absolute pressure"}:
        return "a pressure is a point, a difference is not; write psig or psia for a pressure"
    if {"temperature", "temperature difference"} == names:
        return (
            "a temperature is a point, a difference is not, and a limit in °C or °F is one; "
            "subtract two temperatures first, or zero: `x - 0 °C < limit`"
        )
    return None
