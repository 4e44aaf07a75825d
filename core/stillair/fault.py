"""What is wrong with something a person wrote, where it stands, and the way out."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["CODES", "LARGEST", "MOST_FAULTS", "Fault", "StillairError", "did_you_mean", "printable"]

CODES: Mapping[str, str] = MappingProxyType(
    {
        # 1: the text of a file
        "SA101": "the file cannot be read as YAML",
        "SA102": "a key is written twice in one mapping",
        "SA103": "a tab is used for indentation",
        "SA104": "an anchor, an alias or a merge key is used",
        "SA105": "a tag is used",
        "SA106": "a file holds more than one document, or none",
        "SA107": "a key is not text",
        "SA108": "the file is too large or too deeply nested",
        "SA109": "the file holds characters that do not belong in text",
        "SA110": "the file is not UTF-8",
        # 2: the shape of a checklist
        "SA201": "a key is not known here",
        "SA202": "a required key is missing",
        "SA203": "a value is of the wrong kind",
        "SA204": "a name is not written as names are",
        "SA205": "a name is used twice",
        "SA206": "an option means that the answer is not known",
        "SA207": "a fact has no domain, more than one, or one with nothing to choose",
        "SA208": "keys are combined that do not belong together",
        "SA209": "a value is not one of the choices",
        "SA210": "prose holds raw HTML",
        "SA211": "a range is not written as LOW .. HIGH",
        "SA212": "a text or a list is empty",
        # 3: conditions and what they are about
        "SA300": "a condition is not written as conditions are",
        "SA301": "a name is not defined",
        "SA302": "a name is used in a way that does not fit what it is",
        "SA303": "dimensions do not fit",
        "SA304": "an option does not belong to the fact",
        "SA305": "equality of measurements is tested",
        "SA306": "a number or its unit cannot be read",
        "SA307": "definitions depend on each other in a circle",
        # 4: a pack
        "SA401": "a pack is not a folder with a manifest",
        "SA402": "a file of a pack is missing",
        "SA403": "a file of a pack lies outside its folder",
        "SA404": "a version or a version range is not written as versions are",
        "SA405": "the pack needs another version of the engine",
        "SA406": "the pack needs a plugin that is not installed, or another version of it",
        "SA407": "a checklist is listed twice or not listed",
        "SA408": "learned beliefs are not those of this pack",
        "SA409": "a file is not the one that was listed or sealed",
        "SA410": "the engine or a plugin is not the one the packs were sealed with",
        "SA411": "a folder of packs is not sealed, or something else was asked for",
        # 5: plugins
        "SA501": "a plugin cannot be imported",
        "SA502": "a plugin answers a hook that does not exist",
        "SA503": "a hook of a plugin raised",
        "SA504": "a hook of a plugin gave the wrong type",
        "SA505": "two plugins give the same name",
        "SA506": "a plugin needs another version of the engine",
        "SA507": "a plugin folder cannot be read",
        "SA508": "a calculator of a plugin raised, or gave no number",
        # 6: what a pack says, taken together
        "SA601": "a name is declared and never used",
        "SA602": "a condition can never hold",
        "SA603": "a condition always holds",
        "SA604": "a step can never be done",
        "SA605": "a grade is tested that no rule gives",
        "SA606": "the answer to a question changes nothing",
        "SA607": "a group of rules that is to be complete leaves a gap",
        "SA608": "rules that are to exclude each other overlap",
        "SA609": "a rule adds nothing to another one",
        "SA610": "a source is missing, or names none",
        "SA611": "a safety fact is asked without a caution",
        "SA612": "an answer that cannot be had leads nowhere",
        "SA613": "what a gate needs is asked only behind it",
        "SA614": "an acceptance accepts nothing",
        # 7: what a company adjusts
        "SA701": "an adjustment was made for other texts of the pack",
        "SA702": "an adjustment loosens what guards safety, or is not shown to be as strict",
        "SA703": "a limit is loosened without saying who, why and until when",
        "SA704": "a limit is set beyond its bounds, or has none",
        "SA705": "this may not be adjusted so",
    }
)
"""Every code a fault may carry, with its meaning in one line. A code is never used for anything else."""

LARGEST = 2_000_000
"""Bytes, or characters, of one file read (judgement, no source: a hundred times a large checklist)."""
MOST_FAULTS = 50
"""Faults told of one file (judgement, no source)."""
_LONGEST = 400
"""Characters of a message shown (judgement, no source): a file may hold a name of a million."""
_WIDEST = 76
"""Characters of a source line shown; a longer one is cut around the fault (a terminal of 80 columns)."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: `message` stands alone, in lower case, without full stop.

    `path` is empty where it is of what was asked for and of no file. `line` and `column` count from 1 in
    characters; `line` 0 means the file as a whole.
    """

    code: str
    message: str
    path: str
    line: int = 0
    column: int = 0
    length: int = 1
    source_line: str = ""
    help: str | None = None
    scenario: str | None = None
    """A scenario in which it shows, ready to be kept in a file."""

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise ValueError(f"{self.code} is not in the table of codes")

    def __str__(self) -> str:
        return self.render()

    def render(self) -> str:
        """The fault as printed: place and message, source line, caret under the smallest span, help."""
        where = f"{self.path}:{self.line}:{self.column}" if self.line else self.path
        lead = f"{printable(where)}: " if where else ""
        message = self.message
        if len(message) > _LONGEST:
            message = message[: _LONGEST - 1] + "…"
        parts = [f"{lead}{printable(message)} [{self.code}]"]
        if self.line and self.source_line:
            shown, at = _window(self.source_line, max(self.column - 1, 0))
            indent = "".join("\t" if c == "\t" else " " for c in shown[:at])
            carets = max(1, min(self.length, len(shown) - at))
            parts += [f"  {printable(shown)}", f"  {indent}{'^' * carets}"]
        if self.help:
            parts.append(f"help: {printable(self.help)}")
        if self.scenario:
            parts.append("seen in this scenario:")
            parts += [f"  {printable(line)}" for line in self.scenario.splitlines()]
        return "\n".join(parts)


class StillairError(Exception):
    """One or more faults in what a person wrote or installed."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__(*faults)
        self.faults: tuple[Fault, ...] = faults

    def __str__(self) -> str:
        return "\n".join(fault.render() for fault in self.faults)


def did_you_mean(name: str, known: Iterable[str]) -> str | None:
    """`did you mean X?` for the nearest known name, or None when nothing is near.

    >>> did_you_mean("quantitty", ["quantity", "options"])
    'did you mean `quantity`?'
    """
    import difflib

    names = sorted(set(known))
    folded = {n.casefold().replace("-", "_").replace("_", " "): n for n in names}
    wanted = name.casefold().replace("-", "_").replace("_", " ")
    near = difflib.get_close_matches(wanted, list(folded), n=1, cutoff=0.6)
    return f"did you mean `{folded[near[0]]}`?" if near else None


def printable(text: str) -> str:
    """The text with every character that could steer a terminal replaced, one for one."""
    if text.isascii() and text.isprintable():
        return text
    return "".join("\N{REPLACEMENT CHARACTER}" if _steers(c) else c for c in text)


def _steers(character: str) -> bool:
    return character != "\t" and unicodedata.category(character) in {"Cc", "Cf", "Cs", "Zl", "Zp"}


def _window(line: str, at: int) -> tuple[str, int]:
    """The part of the line around `at`, and where `at` is in it."""
    if len(line) <= _WIDEST:
        return line, min(at, len(line))
    start = max(0, min(at - _WIDEST // 2, len(line) - _WIDEST))
    head = "…" if start else ""
    tail = "…" if start + _WIDEST < len(line) else ""
    return head + line[start : start + _WIDEST] + tail, at - start + len(head)
