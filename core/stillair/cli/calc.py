"""`calc`: one calculator, with its working; alone, what there is to calculate."""

from __future__ import annotations

from collections.abc import Mapping

import click

from stillair.calculate import Calculated, CalculateError, calculate
from stillair.calculator import Calculator
from stillair.fault import did_you_mean
from stillair.hooks import Plugins

from . import NO, Mistake
from .account_format import format_option, print_json
from .screen import Screen
from .session import Settings

__all__ = ["calc"]


@click.command()
@click.argument("name", required=False)
@click.argument("inputs", nargs=-1, metavar="[INPUT=VALUE]...")
@format_option
@click.pass_obj
def calc(settings: Settings, name: str | None, inputs: tuple[str, ...], as_json: bool) -> None:
    """Calculate NAME from inputs such as temperature="75 °F ± 1.4 °F", and show the working.

    A tolerance may be a share of what was read, as in volume="0.40 ft3 ± 30 %", but not of a temperature. Of
    a share it is in points: "5 % ± 1 %" is from 4 to 6 %.

    NAME alone shows its formula, inputs, valid range, sources and example. Without NAME all are listed.
    An option that is not given leaves all of them possible. Exit code 1: there is no value here.
    """
    from stillair import account

    plugins = Plugins.load(settings.plugin_dirs)
    screen = Screen()
    if name is None:
        if as_json:
            print_json(account.calculators(plugins.calculators))
        else:
            _list(screen, plugins.calculators)
        return
    chosen = plugins.calculators.get(name)
    if chosen is None:
        near = did_you_mean(name, plugins.calculators) or "`stillair calc` lists them"
        raise Mistake(f"there is no calculator `{name}`", near)
    if not inputs:
        if as_json:
            print_json(account.calculator(chosen))
        else:
            _document(screen, chosen)
        return
    try:
        found = calculate(chosen, _typed(inputs), plugins.catalogues)
    except CalculateError as error:
        raise Mistake(error.message, error.help) from None
    if as_json:
        print_json(account.calculation(found))
    else:
        _show(screen, found)
    if found.number.undefined:
        raise click.exceptions.Exit(NO)


def _typed(inputs: tuple[str, ...]) -> dict[str, str]:
    typed: dict[str, str] = {}
    for text in inputs:
        name, sign, value = text.partition("=")
        if not sign or not name.strip() or not value.strip():
            raise Mistake(f"`{text}` is not INPUT=VALUE", "such as temperature='75 °F'")
        if name.strip() in typed:
            raise Mistake(f"`{name.strip()}` is given twice", "give it once")
        typed[name.strip()] = value.strip()
    return typed


def _list(screen: Screen, calculators: Mapping[str, Calculator]) -> None:
    if not calculators:
        screen.say("no plugin gives a calculator")
    for name, each in sorted(calculators.items()):
        screen.say(f"{name}({', '.join(each.inputs)})", bold=True)
        if each.about:
            screen.say(each.about, "  ")


def _document(screen: Screen, each: Calculator) -> None:
    screen.say(f"{each.name}({', '.join(each.inputs)})", bold=True)
    if each.about:
        screen.say(each.about)
    screen.say(each.formula, "formula: ")
    for name, given in each.inputs.items():
        said = given.dimension or " or ".join(given.options)
        if given.series is not None:
            said = f"readings of {given.series}, as TIME: READING; TIME: READING; …"
        elif given.catalogue is not None:
            said = f"from the catalogue {given.catalogue}"
        if given.default is not None:
            said += f", {given.default} unless given"
        screen.say(f"{name}: {said}" + (f" ({given.about})" if given.about else ""), "input: ")
    screen.say(f"{each.output}, shown in {each.unit}", "gives: ")
    screen.say(each.valid, "valid: ")
    if each.rises_with:
        screen.say(", ".join(each.rises_with), "rises with: ")
    if each.falls_with:
        screen.say(", ".join(each.falls_with), "falls with: ")
    for remark in each.remarks:
        screen.say(str(remark), "result ")
    for source in each.sources:
        screen.say(source.text, "source: ")
    for example in each.examples:
        inputs = " ".join(
            f"{name}={value!r}" if " " in value else f"{name}={value}"
            for name, value in example.inputs.items()
        )
        within = f", within {example.within}" + (f" ({example.source})" if example.source else "")
        screen.say(f"stillair calc {each.name} {inputs}", "example: ")
        screen.say(f"{example.result}{within}", "  gives: ")


def _show(screen: Screen, found: Calculated) -> None:
    for reason in found.reasons:
        screen.say(reason, "no value: ")
    if not found.number.undefined:
        screen.say(found.result, bold=True)
    for remark in found.remarks:
        screen.say(remark)
    for given in found.inputs:
        typed = (
            f" (typed: {given.typed})" if given.typed is not None and given.typed != given.understood else ""
        )
        screen.say(f"{given.name}: {given.understood}{typed}", "- ")
    for step in found.working:
        screen.say(step, "  ")
    screen.say(found.calculator.valid, "valid: ")
    for source in found.calculator.sources:
        screen.say(source.text, "source: ")
