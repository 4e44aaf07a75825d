"""The language of conditions: what is understood, what is refused with which caret, what is exact."""

from __future__ import annotations

import math
from collections.abc import Mapping

import pytest
from stillair import quantity
from stillair.calculator import Attribute, Catalogue, Entry, Example, Input, Source, calculator
from stillair.condition.check import GRADES, Checker, Scope, Symbol
from stillair.condition.compiled import code_of, functions, slots_of
from stillair.condition.core import Condition, NumberDomain, OptionDomain, Ref, Test, Within
from stillair.condition.merge import merged
from stillair.condition.syntax import ConditionError, parse
from stillair.condition.tree import grow, judge, open_tests
from stillair.possible import Number, Options
from stillair.quantity import DIMENSIONS
from stillair.verdict import Verdict

PSI, ATMOSPHERE, FREEZING, POUND = 6894.757293168361, 101325.0, 273.15, 0.45359237
HOLDS, FAILS, OPEN = Verdict.HOLDS, Verdict.FAILS, Verdict.OPEN
GASES = Catalogue(
    "gases",
    (Attribute("burning", "option", ("1", "2L", "3")), Attribute("glide", "temperature difference")),
    (
        Entry("R-1", {"burning": "1", "glide": 0.0}),
        Entry("R-2", {"burning": "2L", "glide": 4.0}),
        Entry("R-3", {"burning": "3", "glide": None}),
        Entry("R-9", {"burning": None, "glide": 9.0}),
    ),
)


@calculator(
    inputs={
        "gas": Input(catalogue="gases"),
        "temperature": Input("temperature"),
        "line": Input(options=("bubble", "dew")),
    },
    output="absolute pressure",
    unit="Pa",
    formula="made up",
    sources=(Source("made for this test"),),
    valid="everywhere",
    rises_with=("temperature",),
    examples=(Example({}, "1", "1"),),
)
def pressure_of(gas: Entry, temperature: float, line: str) -> float:
    """A pressure that rises with temperature."""
    return temperature * 1000 + (0 if line == "bubble" else 1)


def _symbols() -> dict[str, Symbol]:
    found: dict[str, Symbol] = {}

    def add(
        name: str,
        domain: str | tuple[str, ...] | OptionDomain | None,
        kind: str = "fact",
        per: str | None = None,
    ) -> None:
        whole = (
            NumberDomain(DIMENSIONS[domain]) if isinstance(domain, str)
            else OptionDomain(domain) if isinstance(domain, tuple) else domain
        )  # fmt: skip
        found[name] = Symbol(name, kind, whole, per)

    add("blower", ("stopped", "running", "part"))
    add("look", ("none", "seen"))
    add("static_pressure", "gauge pressure")
    add("vessel", "absolute pressure")
    add("indoor_air", "temperature")
    add("superheat", "temperature difference")
    add("charge", "mass")
    add("tries", "number")
    add("more", "number")
    add("gas", OptionDomain(GASES.names, {}, "gases"))
    add("dead", ("yes", "no"), per="source")
    add("amount", "mass", per="source")
    add("probe", "number", per="joint")
    add("opened", None, "event")
    add("pool", ("ready", "running", "not_started"), "wait")
    add("leak", GRADES, "finding")
    add("now", "moment", "now")
    return found


SCOPE = Scope(
    symbols=_symbols(),
    lists={"source": ("indoor", "outdoor"), "joint": None},
    limits={"band": (10 * PSI, DIMENSIONS["pressure difference"]), "pause": (900.0, DIMENSIONS["duration"])},
    calculators={"pressure_of": pressure_of},
    catalogues={"gases": GASES},
)


def _checked(text: str) -> Condition:
    return Checker(SCOPE).condition(text, judged="look")


# -- what is understood -------------------------------------------------------------------------------------


def _number(value: float) -> Number:
    return Number(value, value)


KNOWN: Mapping[str, Number | Options] = {
    "blower": Options(0b001),
    "look": Options(0b01),
    "static_pressure": _number(quantity.read("118 psig", DIMENSIONS["gauge pressure"]).value),
    "vessel": _number(2 * ATMOSPHERE),
    "indoor_air": _number(FREEZING + 25.0),
    "superheat": _number(5.0),
    "charge": _number(7.5 * POUND),
    "tries": _number(3.0),
    "more": _number(4.0),
    "gas": Options(0b0010),
    "pool": Options(0b001),
    "leak": Options(1 << GRADES.index("probable")),
}

UNDERSTOOD = [
    ("blower is stopped", HOLDS),
    ("blower is not stopped", FAILS),
    ("not blower is stopped", FAILS),
    ("not not blower is stopped", HOLDS),
    ("blower is one of running, part", FAILS),
    ("blower is not one of running, part", HOLDS),
    ("blower is stopped and look is seen", FAILS),
    ("blower is stopped or look is seen", HOLDS),
    ("blower is stopped or look is seen and look is seen", HOLDS),  # and binds closer than or
    ("(blower is stopped or look is seen) and look is seen", FAILS),
    ("not look is seen and look is seen", FAILS),  # not binds closest
    ("not (look is seen and look is seen)", HOLDS),
    ("not (blower is stopped and look is seen)", HOLDS),
    ("not (blower is running or look is none)", FAILS),
    ("static_pressure > 100 psig", HOLDS),
    ("100 psig < static_pressure", HOLDS),
    ("static_pressure >= 118 psig", HOLDS),
    ("static_pressure < 118 psig", FAILS),
    ("vessel > 14.7 psia", HOLDS),
    ("indoor_air > 76 °F", HOLDS),
    ("indoor_air > 78 °F", FAILS),
    ("indoor_air - 41 °F > 19 K", HOLDS),
    ("indoor_air + 5 K > 30.1 °C", FAILS),
    ("superheat > 8 °F", HOLDS),
    ("superheat < 3 K", FAILS),
    ("charge agrees with 7 lb 8 oz within 0.1 oz", HOLDS),
    ("charge > 7 lb 9 oz", FAILS),
    ("static_pressure agrees with 125 psig within band", HOLDS),
    ("static_pressure agrees with 130 psig within band", FAILS),
    ("static_pressure + band > 127 psig", HOLDS),
    ("tries + more * 2 > 10", HOLDS),  # times binds closer than plus
    ("(tries + more) * 2 > 13.9", HOLDS),
    ("more - tries - 1 >= 0", HOLDS),  # from the left
    ("more / tries < 1.34", HOLDS),
    ("tries - more < -0.5", HOLDS),
    ("tries − more < −0.5", HOLDS),  # the minus sign of print
    ("abs(tries - more) >= 1", HOLDS),
    ("min(tries, more, 2) < 2", FAILS),
    ("max(tries, more) > 3", HOLDS),
    ("gas is R-2", HOLDS),
    ("gas.burning is one of 2L, 3", HOLDS),
    ("gas.burning is not 1", HOLDS),
    ("gas.glide > 3 K", HOLDS),
    ("pressure_of(gas, indoor_air, bubble) > 43.2 psia", HOLDS),
    ("pressure_of(R-1, 20 °C, dew) > 43.2 psia", FAILS),
    ("pool is ready", HOLDS),
    ("leak is probable", HOLDS),
    ("leak is confirmed", FAILS),
    ("leak is at least suspected", HOLDS),
    ("leak is at least confirmed", FAILS),
    ("always", HOLDS),
    ("never", FAILS),
    ("always and blower is stopped", HOLDS),
    ("never or blower is stopped", HOLDS),
    ("  blower\n  is   stopped  ", HOLDS),
]


def _value(checker: Checker, values: Mapping[str, Number | Options], ref: Ref) -> Number | Options:
    """The value of a fact, or of a formula over facts that are known exactly."""
    if ref.name[0] != "=":
        return values[ref.name]
    from stillair.condition import core

    def number(node: object) -> object:
        match node:
            case core.Number():
                return node.value
            case core.Value():
                found = _value(checker, values, node.ref)
                assert isinstance(found, Number)
                return found.low
            case core.Fixed():
                return node.option if node.catalogue is None else GASES.entry(node.option)
            case core.Chosen() | core.Column():
                options = values[node.ref.name]
                assert isinstance(options, Options)
                bit = options.mask.bit_length() - 1
                return GASES.entries[bit] if isinstance(node, core.Chosen) else node.values[bit]
            case core.Operation():
                a, b = number(node.left), number(node.right)
                assert isinstance(a, float)
                assert isinstance(b, float)
                return {"+": a + b, "-": a - b, "*": a * b}[node.operator] if node.operator != "/" else a / b
            case core.Apply():
                given = [number(each) for each in node.arguments]
                functions = {"abs": abs, "min": min, "max": max, "pressure_of": pressure_of}
                return functions[node.name](*given)  # type: ignore[operator]
        raise AssertionError(node)

    formula = checker.derived[ref.name]
    assert isinstance(formula, core.Formula)
    result = number(formula.expression)
    assert isinstance(result, float)
    return _number(result)


@pytest.mark.parametrize(("text", "expected"), UNDERSTOOD, ids=[text for text, _ in UNDERSTOOD])
def test_understood(text: str, expected: Verdict) -> None:
    """What a condition says of a job in which everything is known."""
    checker = Checker(SCOPE)
    condition = checker.condition(text, judged="look")
    assert judge(condition, lambda ref: _value(checker, KNOWN, ref)) is expected


# -- what is refused ----------------------------------------------------------------------------------------
# The text, the part under the carets, words of the message, words of the help (None: no help).

REFUSED = [
    ("blower is stoped", "stoped", "not an option of `blower`", "did you mean `stopped`?"),
    ("blower is one of stopped, up", "up", "not an option", "one of: stopped, running, part"),
    ("blowr is stopped", "blowr", "`blowr` is not defined", "did you mean `blower`?"),
    ("look is none and blower", "blower", "alone is not a condition", "write `blower is …`"),
    ("static_pressure", "static_pressure", "a number, not a condition", "compare it"),
    ("static_pressure is stopped", "static_pressure", "is a number", "compare it"),
    ("blower > 2", "blower", "not a number", "write `blower is …`"),
    ("opened", "opened", "an event, not a fact", "since opened"),
    ("opened is yes", "opened", "an event, not a fact", "since opened"),
    ("opened > 3 min", "opened", "an event, not a fact", "since opened"),
    ("pause is 3", "pause", "is a number", "compare it"),
    # dimensions
    (
        "static_pressure > 10 psia",
        "static_pressure > 10 psia",
        "gauge pressure against absolute",
        "local atmosphere",
    ),
    (
        "blower is stopped or static_pressure > vessel",
        "static_pressure > vessel",
        "against absolute",
        "atmosphere",
    ),
    ("static_pressure > 10 psi", "static_pressure > 10 psi", "against pressure difference", "psig"),
    ("indoor_air > superheat", "indoor_air > superheat", "against temperature difference", "a point"),
    ("static_pressure + indoor_air > 2 psig", "static_pressure + indoor_air", "has no meaning", None),
    ("indoor_air + indoor_air > 2 °C", "indoor_air + indoor_air", "temperature plus temperature", None),
    ("superheat - indoor_air > 2 K", "superheat - indoor_air", "less temperature has no meaning", "a point"),
    ("indoor_air * 2 > 5 °C", "indoor_air * 2", "has no meaning", None),
    ("charge > 3", "charge > 3", "mass against", None),
    ("tries > -static_pressure", "-static_pressure", "has no negative", None),
    ("min(tries, charge) > 2", "min(tries, charge)", "different dimensions", None),
    ("abs(indoor_air) > 2 K", "abs(indoor_air)", "one difference", None),
    ("sum of probe over joint > 3 lb", "sum of probe over joint > 3 lb", "number against mass", None),
    (
        "static_pressure agrees with vessel within band",
        "static_pressure agrees with vessel within band",
        "against",
        "",
    ),
    ("static_pressure agrees with 3 psig within 5 K", "5 K", "not a pressure difference", None),
    ("tries agrees with more within tries", "tries", "limit or a number", None),
    ("static_pressure agrees with 3 psig within -1 psi", "-1 psi", "not negative", None),
    ("last blower before look within 3 psi is stopped", "3 psi", "a time is wanted", "30 min"),
    # equality
    ("indoor_air = 75 °F", "indoor_air = 75 °F", "never tested", "agrees with"),
    ("indoor_air == 75 °F", "indoor_air == 75 °F", "never tested", "agrees with"),
    ("tries != 2", "tries != 2", "never tested", "agrees with"),
    # units and calls
    ("tries > 2 furlong", "2 furlong", "unknown unit `furlong`", "write a unit"),
    (
        "presure_of(gas, indoor_air, dew) > 1 psia",
        "presure_of",
        "no calculator",
        "did you mean `pressure_of`?",
    ),
    (
        "pressure_of(gas, indoor_air) > 1 psia",
        "pressure_of(gas, indoor_air)",
        "takes 3 inputs, not 2",
        "gas, temperature",
    ),
    ("pressure_of(gas, superheat, dew) > 1 psia", "superheat", "is a temperature, not", "a point"),
    ("pressure_of(blower, indoor_air, dew) > 1 psia", "blower", "not given as gases", None),
    ("pressure_of(gas, indoor_air, wet) > 1 psia", "wet", "not defined", ""),
    # lists
    ("dead is yes", "dead", "kept per source", "write `dead of …`, or `every source has (…)`"),
    ("latest dead is yes", "dead", "kept per source", "write `every source has (…)`"),
    ("count of dead > 1", "dead", "kept per source", "write `every source has (…)`"),
    ("dead of garage is yes", "dead of garage", "not in the list source", None),
    ("blower of indoor is stopped", "blower of indoor", "not kept per member", None),
    (
        "every sourse has (dead is yes)",
        "sourse",
        "no list `sourse`",
        "did you mean `source`?",
    ),
    ("sum of amount over sorce > 3 lb", "sorce", "no list", "did you mean `source`?"),
    ("count of sourec with (dead is yes) > 1", "sourec", "no list", "did you mean `source`?"),
    (
        "sum of indoor_air over source > 3 °C",
        "sum of indoor_air over source",
        "cannot be summed",
        "`highest of …`",
    ),
    ("highest of amount over sorce > 3 lb", "sorce", "no list", "did you mean `source`?"),
    ("highest of amount > 3 lb", ">", "not expected", None),
    ("lowest of dead over source > 3 lb", "dead", "not a number", "write `dead is …`"),
    ("highest of amount over source > 3 K", "highest of amount over source > 3 K", "mass against", None),
    (
        "highest of indoor_air over source > superheat",
        "highest of indoor_air over source > superheat",
        "temperature against",
        "a point",
    ),
    ("sum of amount over source with (dead) > 3 lb", "dead", "alone is not a condition", "write `dead is …`"),
    ("sum of amount over source with (probe > 1) > 3 lb", "probe", "kept per joint", "every joint has"),
    ("lowest of amount over source with dead is yes > 3 lb", "dead", "not expected", None),
    (
        "any source has (any joint has (probe > amount / 1 lb))",
        "probe > amount / 1 lb",
        "two lists",
        "by themselves",
    ),
    # names inside
    ("since blowr > 3 min", "blowr", "not defined", "did you mean `blower`?"),
    ("latest blowr is stopped", "blowr", "not defined", "did you mean `blower`?"),
    (
        "spread of static_presure over 3 min > 2 psi",
        "static_presure",
        "not defined",
        "did you mean `static_pressure`?",
    ),
    ("last opened before look is none", "opened", "an event, not a fact", None),
    ("last blower before charge is stopped", "charge", "neither an event nor the fact judged", None),
    ("static-pressure > 10 psig", "static-pressure", "not defined", "spaces around a minus"),
    ("gas.burnin is 1", "gas.burnin", "no attribute `burnin`", "did you mean `burning`?"),
    ("gas.glide is 1", "gas.glide", "is a number", "compare it"),
    ("gas.burning > 2", "gas.burning", "no number `burning`", None),
    ("blower.burning is 1", "blower.burning", "not from a catalogue", None),
    ("leak is at least ruled_out", "ruled_out", "grade of a finding", None),
    ("blower is at least stopped", "stopped", "grade of a finding", None),
    # syntax
    ("blower is stopped && look is none", "&", "not expected", "write and, or, not"),
    ("!blower is stopped", "!", "not expected", "write and, or, not"),
    ("blower is stopped, running", ",", "not expected", None),
    ("blower ? stopped", "?", "not expected", None),
    ("blower is stopped and", "d", "ends too early", None),
    ("(blower is stopped", "d", "ends too early", None),
    ("tries > ", " ", "ends too early", None),
    ("2", "2", "a number, not a condition", "compare it"),
]


@pytest.mark.parametrize(("text", "under", "message", "help"), REFUSED, ids=[row[0] for row in REFUSED])
def test_refused_with_the_smallest_span(text: str, under: str, message: str, help: str | None) -> None:
    """The carets stand under what is wrong; the message names it; the help is the way out."""
    with pytest.raises(ConditionError) as raised:
        _checked(text)
    error = raised.value
    assert text[error.start : error.end] == under
    assert message in error.message
    assert error.message[0] in "`'(" or error.message[0].islower()
    assert not error.message.endswith(".")
    if help is None:
        assert error.help is None
    else:
        assert help in (error.help or "")
    assert error.code.startswith("SA3")


@pytest.mark.parametrize("text", ["not " * 4000 + "always", "tries" + " + tries" * 4000 + " > 1", ""])
def test_what_is_too_deep_or_empty_is_refused_in_words(text: str) -> None:
    """A hostile pack gets an error, not a crash."""
    with pytest.raises(ConditionError, match=r"nested too deeply|ends too early"):
        _checked(text)


@pytest.mark.parametrize(
    "deep", ["not " * 50 + "blower is stopped", "(" * 999 + "blower is stopped" + ")" * 999]
)
def test_what_is_deep_but_readable_is_compiled(deep: str) -> None:
    """Brackets that change nothing cost nothing."""
    assert judge(_checked(deep), lambda ref: KNOWN[ref.name]) is HOLDS


def test_a_deep_alternation_compiles() -> None:
    """`and` and `or` by turns, as deep as they may go."""
    text = "blower is stopped"
    for level in range(25):
        text = f"({text}) {'and' if level % 2 else 'or'} tries > {level}"
    condition = _checked(text)
    assert functions(code_of([condition]), 1)


@pytest.mark.parametrize("text", [text for text, _ in UNDERSTOOD])
def test_every_part_of_a_parsed_text_knows_its_place(text: str) -> None:
    """Offsets lie inside the text and inside the part around them."""

    def visit(node: object, low: int, high: int) -> None:
        if hasattr(node, "start"):
            assert low <= node.start < node.end <= high, node
            low, high = node.start, node.end
        for name in getattr(node, "__dataclass_fields__", ()):
            value = getattr(node, name)
            for each in value if isinstance(value, tuple) else (value,):
                if hasattr(each, "start"):
                    visit(each, low, high)

    visit(parse(text), 0, len(text))


# -- what is exact ------------------------------------------------------------------------------------------

WHOLE: Mapping[str, Number | Options] = {
    **{
        name: Options(s.domain.whole)
        for name, s in SCOPE.symbols.items()
        if isinstance(s.domain, OptionDomain)
    },
    **{
        name: Number(-math.inf, math.inf)
        for name, s in SCOPE.symbols.items()
        if isinstance(s.domain, NumberDomain)
    },
}

#: Conditions that are decided though nothing is known, and near ones that are not.
NOTHING_KNOWN = [
    ("tries < 5 or tries >= 5", HOLDS),
    ("tries < 5 or tries > 5", OPEN),
    ("tries <= 5 or tries >= 5", HOLDS),
    ("tries < 5 and tries >= 5", FAILS),
    ("tries <= 5 and tries >= 5", OPEN),
    ("not (tries < 5) or tries < 5", HOLDS),
    ("not (tries < 5 and more < 5) or tries < 5", HOLDS),
    ("(tries < 5 and more < 5) or tries >= 5 or more >= 5", OPEN),  # two facts: sound, not exact
    ("tries < 5 or more > 1 or tries >= 5", HOLDS),  # brought together over what stands between
    ("tries < 3 and more > 1 and tries > 4", FAILS),
    ("tries < 3 and (tries > 4 or tries > 5)", FAILS),
    (
        "(tries < 1 or tries > 4) and (tries < 4 or tries > 6) and tries > 1 and tries < 6 and not tries > 4",
        FAILS,
    ),
    ("blower is stopped or blower is running or blower is part", HOLDS),
    ("blower is stopped or blower is running", OPEN),
    ("blower is one of stopped, running and blower is part", FAILS),
    ("blower is not stopped or blower is stopped", HOLDS),
    ("not (blower is stopped or blower is not stopped)", FAILS),
    ("gas.burning is 1 or gas.burning is not 1", OPEN),  # the class of R-9 is not known
    ("gas is R-9 or gas.burning is one of 1, 2L, 3", HOLDS),
    ("gas is R-9 and gas.burning is 1", OPEN),
    ("gas is R-1 and gas.burning is one of 2L, 3", FAILS),
    ("always or tries > 2", HOLDS),
    ("never and tries > 2", FAILS),
    ("never or tries > 2", OPEN),
    ("pool is ready or pool is running or pool is not_started", HOLDS),
    ("leak is at least suspected or leak is one of none, ruled_out, not_found", HOLDS),
]


@pytest.mark.parametrize(("text", "expected"), NOTHING_KNOWN, ids=[text for text, _ in NOTHING_KNOWN])
def test_tests_on_one_fact_are_judged_together(text: str, expected: Verdict) -> None:
    """`x < 5 or x >= 5` holds for an unknown x, compiled and walked alike."""
    condition = _checked(text)
    values = {Ref(name): value for name, value in WHOLE.items()}
    assert judge(condition, values.__getitem__) is expected
    flat: list[float] = []
    for ref, is_number in slots_of(merged(condition)):
        value = values[ref]
        if is_number:
            assert isinstance(value, Number)
            flat.extend(value.span())
        else:
            assert isinstance(value, Options)
            flat.append(value.mask)
    assert Verdict(functions(code_of([condition]), 1)[0](flat)) is expected


def test_merging_keeps_what_is_not_about_one_fact() -> None:
    """Tests on other facts, and what a person reads, stay."""
    flat = merged(_checked("tries > 2 and blower is stopped and tries < 5 and (look is seen or more > 1)"))
    assert [type(part).__name__ for part in flat.parts] == ["Within", "Test", "Either"]  # type: ignore[union-attr]
    within = flat.parts[0]  # type: ignore[union-attr]
    assert isinstance(within, Within)
    assert within.region.pieces == ((2.0, False, 5.0, False),)
    assert within.text == "tries > 2 and tries < 5"


def test_what_keeps_a_condition_open_is_named_and_nothing_else() -> None:
    """A part that can no longer matter is not asked for."""
    condition = _checked("(blower is stopped or tries > 2) and more > 1 and look is none")
    values = dict(WHOLE) | {"blower": Options(0b001), "look": Options(0b01)}
    tests = open_tests(merged(condition), lambda ref: values[ref.name])
    assert [test.text for test in tests] == ["more > 1"]
    values["look"] = Options(0b10)
    assert open_tests(merged(condition), lambda ref: values[ref.name]) == []


def test_the_tree_a_person_reads_has_the_words_of_the_author() -> None:
    """Every part with its own verdict, in the order written."""
    condition = _checked("not (blower is stopped and tries > 2) or look is seen")
    values = dict(WHOLE) | {"blower": Options(0b010)}
    branch = grow(condition, lambda ref: values[ref.name])
    assert branch.verdict is HOLDS
    first, second = branch.parts
    assert (first.text, first.verdict) == ("not (blower is stopped and tries > 2)", HOLDS)
    assert [(part.text, part.verdict) for part in first.parts] == [
        ("not (blower is stopped)", HOLDS), ("not (tries > 2)", OPEN),
    ]  # fmt: skip
    assert (second.text, second.verdict) == ("look is seen", OPEN)
    assert isinstance(second.test, Test)


def test_no_text_of_a_pack_reaches_the_compiler() -> None:
    """The generated source holds numbers and names of slots only."""
    from stillair.condition.compiled import source_of

    source = source_of([_checked("blower is stopped and tries > 2 and gas is R-1")])
    assert "blower" not in source
    assert "R-1" not in source
    assert set(source) <= set("abcdefghijklmnopqrstuvwxyzTF0123456789 ()[]:,=<>&.+-_\n")
