"""All that a careful reader finds in packs, by how far they have come, less what their author accepts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from stillair.assess.adjusting import untimely
from stillair.assess.compiler import Compiler, checked
from stillair.calculator import Calculator, Catalogue
from stillair.fault import Fault, StillairError
from stillair.pack import Pack

from .groups import grouped
from .reach import out_of_reach
from .settled import settled
from .sites import Subject
from .told import untold
from .unused import unused

__all__ = ["PROFILES", "Accepted", "Report", "lint"]

PROFILES = ("draft", "field", "published")
"""How far a pack has come: being written, carried on jobs, handed to others."""

_FROM: Mapping[str, str] = {
    **dict.fromkeys(
        ("SA602", "SA603", "SA604", "SA605", "SA607", "SA608", "SA609", "SA612", "SA613"), "field"
    ),
    **dict.fromkeys(("SA601", "SA606", "SA610", "SA611", "SA614"), "published"),
}
"""The profile from which a code is told; every other code is told in each."""

_CHECKS = (settled, out_of_reach, grouped, unused, untold)


@dataclass(frozen=True, slots=True)
class Accepted:
    """A fault that its author accepts until a day, and why."""

    fault: Fault
    because: str
    until: str


@dataclass(frozen=True, slots=True)
class Report:
    """What lint says of some packs."""

    profile: str
    faults: tuple[Fault, ...]
    accepted: tuple[Accepted, ...] = ()


def lint(
    packs: Sequence[Pack],
    calculators: Mapping[str, Calculator],
    catalogues: Mapping[str, Catalogue],
    *,
    profile: str,
    today: date,
    scenarios: Mapping[str, Mapping[str, Any]] | None = None,
) -> Report:
    """What is wrong with packs that work together; they are read already.

    They are looked at as a company adjusts them; where it may not, without that, and it is told why.
    Nothing of them is run, unless scenarios are given: then every answer that cannot be had is tried.
    """
    refused: tuple[Fault, ...] = ()
    try:
        compiler = checked(packs, calculators, catalogues)
    except StillairError as error:
        refused = error.faults
        compiler = Compiler(packs, calculators, catalogues)
        compiler.check()
    if compiler.faults:
        return Report(profile, _sorted([*compiler.faults, *refused]))
    subject = Subject(tuple(compiler.packs), compiler)
    found = [*refused, *untimely(compiler.program, today, packs)]
    found += [fault for check in _CHECKS for fault in check(subject) if is_told(fault.code, profile)]
    if scenarios is not None:
        from .nowhere import leads_nowhere

        program = Compiler(compiler.packs, calculators, catalogues).sound().finish()
        found += (f for f in leads_nowhere(subject, program, scenarios) if is_told(f.code, profile))
    return _less_accepted(Report(profile, _sorted(found)), packs, today)


def is_told(code: str, profile: str) -> bool:
    """Whether a code is told of packs of a profile."""
    return PROFILES.index(_FROM.get(code, PROFILES[0])) <= PROFILES.index(profile)


def _sorted(faults: Iterable[Fault]) -> tuple[Fault, ...]:
    return tuple(sorted(dict.fromkeys(faults), key=lambda f: (f.path, f.line, f.column, f.code)))


def _less_accepted(report: Report, packs: Iterable[Pack], today: date) -> Report:
    """The report with each fault that a pack accepts set apart, and each acceptance of nothing added."""
    faults = list(report.faults)
    accepted: list[Accepted] = []
    for pack in packs:
        for each in pack.accepts:
            if not is_told(each.code.text, report.profile):
                continue
            met = [f for f in faults if f.code == each.code.text and each.of.text in _about(f)]
            if not met and is_told("SA614", report.profile):
                message = f"no fault {each.code} of `{each.of}` is there to be accepted"
                faults.append(each.of.fault("SA614", message, help="remove it"))
            elif met and date.fromisoformat(each.until.text) < today:
                for fault in met:
                    told = f"{fault.message}; accepted only until {each.until}"
                    faults[faults.index(fault)] = replace(fault, message=told)
            else:
                faults = [fault for fault in faults if fault not in met]
                accepted += [Accepted(fault, each.because, each.until.text) for fault in met]
    return Report(report.profile, _sorted(faults), tuple(accepted))


def _about(fault: Fault) -> Iterator[str]:
    """The names a fault is about: what stands in its message in backquotes."""
    return iter(fault.message.split("`")[1::2])
