"""A strict reader of YAML 1.2 (core schema) that knows where everything stands.

One document, text keys, no duplicates, no tabs for indentation, no anchors, tags or merge keys:
what is written is what is meant. `off`, `yes`, `12:30` and dates are text.
Source: YAML Ain't Markup Language 1.2.2, chapter 10.3 (core schema).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain, islice
from typing import Any

import yaml

from stillair.checklist import Run, Text
from stillair.fault import LARGEST, MOST_FAULTS, Fault, StillairError

__all__ = ["List", "Node", "Scalar", "Table", "at", "plain", "read_yaml"]

DEEPEST = 50
"""Levels of nesting (judgement, no source: a checklist needs eight)."""

_NULL = re.compile(r"(?:null|Null|NULL|~|)\Z")
_BOOL = re.compile(r"(?:true|True|TRUE|false|False|FALSE)\Z")
# No more than 30 digits: a longer one is no measurement, and reading it takes quadratic time.
_INT = re.compile(r"(?:[-+]?[0-9]{1,30}|0o[0-7]{1,30}|0x[0-9a-fA-F]{1,30})\Z")
_FLOAT = re.compile(
    r"(?:[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?|[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN))\Z"
)
# Control characters, line separators of other alphabets, byte order marks, zero-width spaces and
# marks that turn the direction of writing: none of them can be seen, all of them can deceive.
_UNSEEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u2069\ufeff\ud800-\udfff]"
)

_DOUBLED = re.compile("''")
_ESCAPED = re.compile(r"\\(?:x.{2}|u.{4}|U.{8}|.|\Z)")
_KINDS = {"int": "number", "float": "number", "bool": "truth value", "null": "empty value"}

_EXPLAINED: tuple[tuple[str, str, str | None], ...] = (
    (
        "mapping values are not allowed",
        "a `:` stands where no key can be",
        "indent the line as its neighbours are, or put text that holds `: ` in quotes",
    ),
    (
        "expected '-' indicator",
        "the line fits no item of the list above",
        "begin it with `- `, or indent it less",
    ),
    (
        "did not find expected key",
        "this fits neither the mapping above nor the one around it",
        "indent it as its neighbours are, and quote the whole of a text or nothing of it",
    ),
    ("expected <block end>", "this fits nothing that is open here", "indent it as its neighbours are"),
    ("could not find expected ':'", "a key without `:`", "write `key: value`, or indent the line more"),
    ("cannot start any token", "a text cannot begin with this character", "put the text in quotes"),
    ("found unexpected end of stream", "a quote is opened and never closed", "close it"),
    ("expected ',' or ']'", "a list is opened by `[` and not closed", "add `,` or `]`"),
    ("expected ',' or '}'", "a mapping is opened by `{` and not closed", "add `,` or `}`"),
    ("undefined tag handle", "a tag is used", "remove it, or put the text in quotes"),
    ("unknown escape character", "an escape that YAML does not know", "write a backslash as `\\\\`"),
    ("entries are not allowed", "a list item cannot begin here", "put it in a line of its own"),
    ("unexpected ':'", "a `:` without a space after it", "write `key: value`, or put the text in quotes"),
    ("node content", "a value is missing here", None),
    ("maximum nesting depth", f"nested deeper than {DEEPEST} levels", "flatten it"),
)
"""What libyaml and PyYAML say (a part of it), what it means to an author, and the way out."""
_OPENED = ("unexpected end of stream", "expected ',' or", "could not find expected ':'")
"""Problems best shown where the quote, bracket or key began."""


@dataclass(frozen=True, slots=True, eq=False)
class _Page:
    """A file and its lines."""

    path: str
    lines: list[str]

    def line(self, index: int) -> str:
        return self.lines[index] if index < len(self.lines) else ""

    def fault(
        self, code: str, message: str, line: int, column: int, length: int = 1, help: str | None = None
    ) -> Fault:
        """A fault at a line and column counted from 0."""
        return Fault(code, message, self.path, line + 1, column + 1, length, self.line(line), help)


@dataclass(frozen=True, slots=True, eq=False)
class Scalar:
    """A single value. `kind` is text, int, float, bool or null; `text` is what was written."""

    page: _Page
    text: str
    kind: str
    style: str
    start: tuple[int, int]
    end: tuple[int, int]

    def located(self) -> Text:
        """The text with the place of each of its characters, without space around it."""
        found = Text(self.text, self.page.path, tuple(_runs(self)))
        stripped = self.text.strip()
        if stripped == self.text:
            return found
        begin = self.text.find(stripped)
        return found.part(begin, begin + len(stripped))

    def fault(self, code: str, message: str, help: str | None = None) -> Fault:
        """A fault under the whole value, as far as its first line reaches."""
        return self.page.fault(code, message, *self.start, _extent(self), help)


@dataclass(frozen=True, slots=True, eq=False)
class List:
    """A sequence of values."""

    page: _Page
    start: tuple[int, int]
    end: tuple[int, int]
    items: list[Node] = field(default_factory=list)

    def fault(self, code: str, message: str, help: str | None = None) -> Fault:
        """A fault where the list begins."""
        return self.page.fault(code, message, *self.start, _extent(self), help)


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """A mapping: its keys in order, as written, and their values."""

    page: _Page
    start: tuple[int, int]
    end: tuple[int, int]
    keys: dict[str, Scalar] = field(default_factory=dict)
    values: dict[str, Node] = field(default_factory=dict)

    def fault(self, code: str, message: str, help: str | None = None) -> Fault:
        """A fault under the first key, or under the braces of an empty mapping."""
        for key in self.keys.values():
            return key.fault(code, message, help)
        return self.page.fault(code, message, *self.start, _extent(self), help)


Node = Scalar | List | Table


def read_yaml(text: str, path: str) -> Node:
    """The one document of a text; `path` is what faults name.

    Raises StillairError with every fault found.
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    page = _Page(path, text.split("\n"))
    if len(text) > LARGEST:
        raise StillairError(
            Fault(
                "SA108",
                f"the file has {len(text):,} characters, more than {LARGEST:,}",
                path,
                help="split it",
            )
        )
    faults = list(islice(chain(_unseen(page), _tabs(page)), MOST_FAULTS))
    if faults:
        raise StillairError(*faults)
    root, faults = _build(text, page)
    if faults:
        raise StillairError(*faults[:MOST_FAULTS])
    if root is None:
        raise StillairError(Fault("SA106", "the file is empty", path))
    return root


def plain(node: Node) -> object:
    """The node as dict, list, str, int, float, bool and None."""
    if isinstance(node, Table):
        return {key: plain(value) for key, value in node.values.items()}
    if isinstance(node, List):
        return [plain(item) for item in node.items]
    match node.kind:
        case "null":
            return None
        case "bool":
            return node.text.lower() == "true"
        case "int":
            digits = node.text
            return int(digits, 0) if digits[:2] in ("0x", "0o") else int(digits)
        case "float":
            return float(node.text.lower().replace(".inf", "inf").replace(".nan", "nan"))
        case _:
            return node.text


def at(node: Node, path: Sequence[str | int]) -> Node:
    """The node at a path of keys and indexes, or the deepest one on the way there."""
    for part in path:
        if isinstance(node, Table) and part in node.values:
            node = node.values[str(part)]
        elif isinstance(node, List) and isinstance(part, int) and 0 <= part < len(node.items):
            node = node.items[part]
        else:
            break
    return node


def _unseen(page: _Page) -> Iterator[Fault]:
    for number, line in enumerate(page.lines):
        found = _UNSEEN.search(line)
        if found:
            name = f"U+{ord(found[0]):04X}"
            yield page.fault(
                "SA109",
                f"the character {name} does not belong in text",
                number,
                found.start(),
                1,
                "remove it",
            )


def _tabs(page: _Page) -> Iterator[Fault]:
    for number, line in enumerate(page.lines):
        indent = len(line) - len(line.lstrip(" \t"))
        tab = line.find("\t", 0, indent)
        if tab >= 0:
            yield page.fault("SA103", "a tab is used for indentation", number, tab, 1, "use spaces")


def _loader() -> Any:
    # PyYAML is built with or without libyaml; both give the same events.
    return getattr(yaml, "CSafeLoader", yaml.SafeLoader)


def _build(text: str, page: _Page) -> tuple[Node | None, list[Fault]]:
    """The tree of one document. Built from events, because a composed tree forgets anchors and tags."""
    faults: list[Fault] = []
    root: Node | None = None
    open_nodes: list[List | Table] = []
    waiting: list[Scalar | None] = []  # for each open mapping, the key that still lacks its value
    documents = 0
    try:
        for event in yaml.parse(text, Loader=_loader()):
            if len(faults) >= MOST_FAULTS:
                break
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    line, column = _place(event.start_mark)
                    faults.append(
                        page.fault(
                            "SA106",
                            "a second document begins here",
                            line,
                            column,
                            3,
                            "put it in a file of its own",
                        )
                    )
                    return root, faults
            elif isinstance(event, yaml.AliasEvent):
                line, column = _place(event.start_mark)
                length = _place(event.end_mark)[1] - column
                faults.append(
                    page.fault(
                        "SA104",
                        "an alias is used",
                        line,
                        column,
                        length,
                        "write the value out, or quote the text",
                    )
                )
                stand_in = Scalar(page, "", "text", "*", (line, column), _place(event.end_mark))
                root = _attach(stand_in, open_nodes, waiting, faults) or root
            elif isinstance(event, yaml.NodeEvent):
                faults += _marked(event, page)
                start, end = _place(event.start_mark), _place(event.end_mark)
                node: Node
                if isinstance(event, yaml.ScalarEvent):
                    style = event.style or "plain"
                    kind = _kind(event.value) if style == "plain" else "text"
                    node = Scalar(page, event.value, kind, style, start, end)
                    hidden = _UNSEEN.search(event.value)
                    if hidden:
                        faults.append(
                            node.fault(
                                "SA109",
                                f"the text holds U+{ord(hidden[0]):04X}, which cannot be seen",
                                "remove the escape",
                            )
                        )
                elif isinstance(event, yaml.MappingStartEvent):
                    node = Table(page, start, end)
                else:
                    node = List(page, start, end)
                root = _attach(node, open_nodes, waiting, faults) or root
                if not isinstance(node, Scalar):
                    open_nodes.append(node)
                    waiting.append(None)
                    if len(open_nodes) > DEEPEST:
                        faults.append(
                            node.fault("SA108", f"nested deeper than {DEEPEST} levels", "flatten it")
                        )
                        return root, faults
            elif isinstance(event, yaml.MappingEndEvent | yaml.SequenceEndEvent):
                open_nodes.pop()
                waiting.pop()
    except yaml.YAMLError as error:
        faults.append(_explained(error, page))
    return root, faults


def _attach(
    node: Node, open_nodes: list[List | Table], waiting: list[Scalar | None], faults: list[Fault]
) -> Node | None:
    """Puts the node where it belongs; gives it back when it is the root."""
    if not open_nodes:
        return node
    parent = open_nodes[-1]
    if isinstance(parent, List):
        parent.items.append(node)
        return None
    key = waiting[-1]
    if key is not None:
        waiting[-1] = None
        parent.values.setdefault(key.text, node)
        return None
    if isinstance(node, Scalar):
        faults += _key_faults(node, parent)
        parent.keys.setdefault(node.text, node)
        waiting[-1] = node
    else:
        faults.append(
            node.fault(
                "SA107",
                "a key must be text, not a list or a mapping",
                "quote a text that begins with a bracket",
            )
        )
        waiting[-1] = Scalar(node.page, "", "text", "", node.start, node.end)
    return None


def _key_faults(key: Scalar, parent: Table) -> Iterator[Fault]:
    if key.text == "<<":
        yield key.fault("SA104", "a merge key is used", "write the values out")
    elif key.kind != "text":
        if key.text:
            written, help = f"the {_KINDS[key.kind]} `{key.text}`", f'write "{key.text}" in quotes'
        else:
            written, help = "empty", "write a name before the colon"
        yield key.fault("SA107", f"a key must be text, this one is {written}", help)
    elif key.text in parent.keys:
        first = parent.keys[key.text].start[0] + 1
        yield key.fault(
            "SA102", f"`{key.text}` is written twice, first in line {first}", "remove one of them"
        )


def _marked(event: Any, page: _Page) -> Iterator[Fault]:
    """Faults for an anchor or a tag before a value."""
    line, column = _place(event.start_mark)
    written = page.line(line)[column:]
    if event.anchor is not None:
        at_sign = max(written.find("&"), 0)
        yield page.fault(
            "SA104",
            f"an anchor `&{event.anchor}` is used",
            line,
            column + at_sign,
            len(event.anchor) + 1,
            "write the value out, or quote the text",
        )
    if event.tag is not None:
        sign = max(written.find("!"), 0)
        length = len(re.match(r"\S*", written[sign:])[0])  # type: ignore[index]
        yield page.fault(
            "SA105", "a tag is used", line, column + sign, length, "remove it, or put the text in quotes"
        )


def _kind(text: str) -> str:
    """What a plain scalar is in the core schema."""
    for kind, pattern in (("null", _NULL), ("bool", _BOOL), ("int", _INT), ("float", _FLOAT)):
        if pattern.match(text):
            return kind
    return "text"


def _place(mark: Any) -> tuple[int, int]:
    return mark.line, mark.column


def _extent(node: Scalar | List | Table) -> int:
    """Characters of the node in its first line, at least one."""
    line, column = node.start
    if node.end[0] == line:
        return max(1, node.end[1] - column)
    return max(1, len(node.page.line(line).rstrip()) - column)


def _explained(error: yaml.YAMLError, page: _Page) -> Fault:
    problem = str(getattr(error, "problem", None) or error)
    mark = getattr(error, "problem_mark", None)
    if any(part in problem for part in _OPENED):
        mark = getattr(error, "context_mark", None) or mark
    message, help = problem, None
    for part, meaning, way_out in _EXPLAINED:
        if part in problem:
            message, help = meaning, way_out
            break
    code = "SA105" if "tag handle" in problem else "SA108" if "nesting depth" in problem else "SA101"
    if mark is None:
        return Fault(code, message, page.path, help=help)
    return page.fault(code, message, *_place(mark), 1, help)


def _runs(scalar: Scalar) -> Iterator[Run]:
    """Where each stretch of the value stands: one run per line, and one after each escape."""
    (first, column), (last, stop) = scalar.start, scalar.end
    quote = scalar.style if scalar.style in ("'", '"') else ""
    block = scalar.style in ("|", ">")
    cursor = 0
    for number in range(first + 1 if block else first, last + 1):
        line = scalar.page.line(number)
        begin = column + len(quote) if number == first and not block else 0
        end = stop - len(quote) if number == last and not block else len(line)
        begin += len(line[begin:end]) - len(line[begin:end].lstrip(" \t"))
        while number > first and cursor < len(scalar.text) and scalar.text[cursor] in " \n":
            cursor += 1
        for offset, written, length in _stretches(line[begin:end].rstrip(" \t"), quote):
            if (
                scalar.text[cursor : cursor + length] != line[begin + offset : begin + offset + length]
                and not written
            ):
                break
            yield Run(cursor, number + 1, begin + offset + 1, line)
            cursor += length


def _stretches(line: str, quote: str) -> Iterator[tuple[int, str, int]]:
    """(offset in the line, escape as written or "", characters of the value) of each stretch."""
    if not quote:
        if line:
            yield 0, "", len(line)
        return
    cursor = 0
    for found in (_DOUBLED if quote == "'" else _ESCAPED).finditer(line):
        if found.start() > cursor:
            yield cursor, "", found.start() - cursor
        if found[0] != "\\":
            yield found.start(), found[0], 1
        cursor = found.end()
    if cursor < len(line):
        yield cursor, "", len(line) - cursor
