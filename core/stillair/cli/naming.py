"""Facts and lists by the names that people type, and what is added to a list."""

from __future__ import annotations

from collections.abc import Mapping

from stillair.assess import Assessment, EntryError, Program, read_fact
from stillair.condition.core import Ref
from stillair.fault import did_you_mean
from stillair.job import JSON, Line

from .session import Session

#: What people type where a name is asked, to say that there is no other.
NO_NAMES = frozenset(
    {
        "y",
        "yes",
        "n",
        "no",
        "u",
        "none",
        "nothing",
        "done",
        "all",
        "that is all",
        "no more",
        "complete",
        "empty",
    }
)

__all__ = ["add_member", "fact_named", "list_named", "short_name"]


def fact_named(program: Program, text: str, members: Mapping[str, list[str]]) -> Ref:
    """The fact a person names. EntryError says what the name is instead, or where facts are listed."""
    try:
        return read_fact(program, text, members)
    except EntryError as error:
        help = error.help
        name = text.strip().partition(" of ")[0].partition(".")[0].strip()
        fact = program.facts.get(name)
        if fact is not None:
            if fact.per is not None and list_named(program, fact.per):
                adds = f"one found later is added with {fact.per}=NAME"
                help = f"{help}; {adds}" if help else adds
        elif name in program.findings:
            help = f"`{name}` is a finding, which the rules decide; `stillair why` explains it"
        elif name in program.symbols:
            help = f"`{name}` is worked out, not entered; `stillair why` shows from what"
        elif help is None:
            help = did_you_mean(name, program.lists) or "`stillair next` names what is asked"
        raise EntryError(error.message, help) from None


def list_named(program: Program, name: str) -> bool:
    """Whether it is a list to which members are added."""
    return name not in program.facts and name in program.lists and program.lists[name].open


def short_name(name: str, label: str, members: list[str]) -> str:
    """The short name, in the list `name`, of what a person calls `label`. EntryError where none is left."""
    letters = "".join(c if c.isascii() and c.isalnum() else "_" for c in label.casefold())
    short = "_".join(part for part in letters.split("_") if part)[:40].strip("_")
    if not short:
        raise EntryError(f"`{label}` has no letters or digits to name it by", "such as `second panel`")
    if not short[0].isalpha():
        short = f"{name}_{short}"
    if short in members:
        raise EntryError(f"`{label}` is on the list already", "give it a name of its own")
    return short


def add_member(
    session: Session, assessment: Assessment, name: str, label: str, taken: float | None = None
) -> tuple[Line, str]:
    """Put a member on a list under a short name made from what it is called."""
    if label.casefold() in NO_NAMES or label.isdigit():
        help = (
            "type what it is called, such as `second panel`; that a list is complete is answered in `guide`"
        )
        raise EntryError(f"`{label}` is no name", help)
    short = short_name(name, label, session.members(assessment)[name])
    body: dict[str, JSON] = {"list": name, "member": short, "label": label}
    return session.write("member", body, taken=taken), short
