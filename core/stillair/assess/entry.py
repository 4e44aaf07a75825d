"""What a person says, as the body of a job line: `dead of indoor = yes`, `static_pressure = 217 psig`."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import tzinfo
from typing import NamedTuple

from stillair import quantity
from stillair.condition.core import NumberDomain, OptionDomain, Ref
from stillair.fault import did_you_mean
from stillair.job import JSON

from .program import PRESENCE, Fact, Program

__all__ = ["Entry", "EntryError", "read_fact", "read_value", "split"]

#: Characters of a value (judgement): more is a paste by mistake, and nobody reads it in a trail.
LONGEST = 2000

_DAY = re.compile(r"\d{4}-\d\d-\d\d")


class EntryError(Exception):
    """What was said cannot be taken: what is wrong, and the way out."""

    def __init__(self, message: str, help: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.help = help


class Entry(NamedTuple):
    """The kind and body of a job line, which of its fields are personal, and how it was understood."""

    kind: str
    body: Mapping[str, JSON]
    personal: frozenset[str]
    understood: str


def split(text: str) -> tuple[str, str]:
    """`NAME=VALUE` in two. EntryError where there is no `=`."""
    name, sign, value = text.partition("=")
    if not sign or not name.strip():
        raise EntryError(
            f"`{text}` is not FACT=VALUE", "such as blower=stopped or static_pressure='217 psig'"
        )
    return name.strip(), value.strip()


def read_fact(program: Program, text: str, members: Mapping[str, list[str]] | None = None) -> Ref:
    """The fact named by `dead of indoor` or `dead.indoor`. EntryError with the nearest known name.

    `members` gives the members of each list now, for lists that may grow.
    """
    name, _, member = text.strip().partition(" of ")
    if not member:
        name, _, member = name.partition(".")
    name, member = name.strip(), member.strip()
    fact = program.facts.get(name)
    if fact is None:
        raise EntryError(f"there is no fact `{name}`", did_you_mean(name, program.facts))
    if fact.per is None:
        if member:
            raise EntryError(f"`{name}` is not kept per member of a list", f"write {name}=…")
        return Ref(name)
    known = list(program.places) if fact.per == "place" else [m.name for m in program.lists[fact.per].members]
    if members is not None:
        known = list(members.get(fact.per, known))
    if not member:
        raise EntryError(
            f"`{name}` is kept per {fact.per}", f"write `{name} of {known[0] if known else '…'}`"
        )
    if member not in known:
        help = did_you_mean(member, known) or (f"one of: {', '.join(known)}" if known else "add it first")
        raise EntryError(f"`{member}` is not in the list {fact.per}", help)
    return Ref(name, member)


def read_value(
    program: Program,
    ref: Ref,
    text: str,
    *,
    instrument: str | None = None,
    now: float | None = None,
    zone: tzinfo | None = None,
) -> Entry:
    """The line for a value typed for a fact. EntryError where it cannot be; nothing is converted silently."""
    fact = program.facts[ref.name]
    body: dict[str, JSON] = {"fact": ref.name}
    if ref.member is not None:
        body["of"] = ref.member
    text = text.strip()
    if not text:
        raise EntryError(f"no value for `{ref}`", "or say that it cannot be had, with the reason")
    if len(text) > LONGEST:
        raise EntryError(f"the value for `{ref}` has {len(text)} characters", f"at most {LONGEST}")
    domain = fact.domain
    personal = frozenset[str]()
    if isinstance(domain, NumberDomain):
        understood = _number(fact, domain, text, body, now, zone)
        if instrument is not None:
            body["instrument"] = instrument
    elif domain is PRESENCE or domain == PRESENCE:
        body["value"] = "present"
        body["read"] = text
        personal = frozenset({"read"}) if fact.spec.is_personal else personal
        understood = text
    else:
        option = _option(domain, text, ref)
        body["value"] = option
        body["read"] = text
        understood = domain.labels.get(option, option)
    return Entry("observe", body, personal, understood)


def _number(
    fact: Fact,
    domain: NumberDomain,
    text: str,
    body: dict[str, JSON],
    now: float | None,
    zone: tzinfo | None,
) -> str:
    try:
        found = quantity.read(text, domain.dimension, default=fact.unit, now=now, zone=zone)
    except quantity.QuantityError as error:
        raise EntryError(f"{fact.name}: {error}", error.help) from None
    if not domain.low <= found.value <= domain.high:
        assert fact.spec.between is not None
        low, high = fact.spec.between
        near = [o for o in quantity.other_units(found) if o.dimension == domain.dimension]
        fits = [o.typed for o in near if domain.low <= o.value <= domain.high]
        help = f"did you read {fits[0]}?" if fits else "read it again, with its unit"
        raise EntryError(f"{fact.name}: {found.typed} is outside {low} .. {high}", help)
    body["value"] = found.value
    body["read"] = text
    body["unit"] = found.unit.symbol
    if domain.dimension.name == "moment" and zone is not None:
        # As it was typed, and not as the day it is in UTC.
        return text if _DAY.fullmatch(text) else quantity.show_moment(found.value, zone)
    return quantity.show(found.value, found.unit)


def _option(domain: OptionDomain, text: str, ref: Ref) -> str:
    wanted = text.casefold()
    for name in domain.names:
        if wanted in (
            name.casefold(),
            name.casefold().replace("_", " "),
            domain.labels.get(name, name).casefold(),
        ):
            return name
    # `y` and `n` answer yes or no: among other answers they were meant for another question.
    meant = wanted not in ("y", "n") or {"yes", "no"} & set(domain.names)
    starts = [n for n in domain.names if n.casefold().startswith(wanted)]
    if len(starts) == 1 and meant:
        return starts[0]
    help = did_you_mean(text, domain.names)
    if help is None:
        shown = ", ".join(domain.names[:8]) + (" …" if len(domain.names) > 8 else "")
        help = f"one of: {shown}"
    raise EntryError(f"`{text}` is not an answer to `{ref}`", help)
