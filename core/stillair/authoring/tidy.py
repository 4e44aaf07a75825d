"""The YAML of packs and scenarios in one form: the meaning and every comment as they were.

Blocks are indented by two, items of a list by two more. Spaces inside brackets and after colons, line ends,
blanks at the ends of lines and the end of the file are made alike. Left as the author wrote them are quotes,
the order of keys, blank lines, texts over several lines, and where a line is broken inside brackets.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import zip_longest
from typing import Any, NamedTuple

import yaml

from stillair.fault import StillairError
from stillair.strict_yaml import List, Node, Table, plain, read_yaml

__all__ = ["Untidy", "comments", "tidied"]

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_INDENT = 2
_BLOCKS = ("|", ">")
_MARK = "kept-as-written-"
_WIDE = 2**20
"""Characters beyond which the writer would break a line of its own accord: never."""


class Untidy(ValueError):
    """A text that cannot be brought into the form: something would be read otherwise, or a comment lost.

    `line` is the first line of the text, counted from 1, at which that is so; None where it is not known.
    """

    def __init__(self, message: str, line: int | None) -> None:
        super().__init__(message)
        self.line = line


def tidied(text: str, path: str) -> str:
    """The text in the one form. StillairError if it cannot be read, Untidy if its meaning could not be kept.

    >>> tidied("a:   [x,y]  # why\\r\\nb: { c: 1 }", "example.yaml")
    'a: [x, y]   # why\\nb: {c: 1}\\n'
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    meant = read_yaml(text, path)
    found = _rewritten(_without_blanks(text))
    try:
        same = read_yaml(found, path)
    except StillairError as error:
        raise Untidy("it could not be read again", _line_of(error)) from None
    if plain(same) != plain(meant):
        raise Untidy("it would be read as something else", _first_unlike(meant, same))
    found = _with_what_follows(found, text)
    was, now = _comments(text), _comments(found)
    if [comment for _, comment in was] != [comment for _, comment in now]:
        kept = zip_longest(was, now, fillvalue=(None, ""))
        line = next(old[0] for old, new in kept if old[1] != new[1])
        raise Untidy("a comment would be lost or moved", line)
    return found


def _line_of(error: StillairError) -> int | None:
    return error.faults[0].line or None


def _first_unlike(was: Node, now: Node) -> int:
    """The line of the first value that is another one."""
    pairs: Iterable[tuple[Node, Node]] = ()
    if isinstance(was, Table) and isinstance(now, Table):
        pairs = ((value, now.values[key]) for key, value in was.values.items() if key in now.values)
    elif isinstance(was, List) and isinstance(now, List):
        pairs = zip(was.items, now.items, strict=False)
    for old, new in pairs:
        if plain(old) != plain(new):
            return _first_unlike(old, new)
    return was.start[0] + 1


def comments(text: str) -> list[str]:
    """Every comment, in order: from its `#` to the end of its line."""
    return [comment for _, comment in _comments(text)]


def _comments(text: str) -> list[tuple[int | None, str]]:
    """Every comment with its line, counted from 1."""
    found: list[tuple[int | None, str]] = []
    at = 0
    for token in yaml.scan(text, Loader=_LOADER):
        if isinstance(token, yaml.ScalarToken):
            begin = token.start_mark.index
            found += _comments_in(text, at, begin)
            at = token.end_mark.index
            if token.style in _BLOCKS:
                # The end of a block is where the next line that is not of it begins.
                at = max(begin, at)
                found += _comments_in(text, begin, f"{text}\n".index("\n", begin))
    return found + _comments_in(text, at, len(text))


def _comments_in(text: str, start: int, end: int) -> list[tuple[int | None, str]]:
    return [
        (text.count("\n", 0, start + found.start()) + 1, found[0].rstrip())
        for found in re.finditer(r"(?:^|(?<=\s))#.*", text[start:end])
    ]


def _without_blanks(text: str) -> str:
    """The text without blanks at the ends of lines, but for those within a block or a quoted text."""
    lines = text.split("\n")
    kept: set[int] = set()
    for token in yaml.scan(text, Loader=_LOADER):
        if isinstance(token, yaml.ScalarToken) and token.style:
            kept.update(range(token.start_mark.line + (token.style in _BLOCKS), token.end_mark.line))
    return "\n".join(line if number in kept else line.rstrip() for number, line in enumerate(lines))


def _with_what_follows(found: str, text: str) -> str:
    """The text found, in which each comment that stood over what follows it does so again."""
    lines = found.split("\n")
    places = _alone(found)
    alone = {number for number, _ in places}
    for (number, _), (_, over) in zip(places, _alone(text), strict=False):
        if over:
            rest = (lines[n] for n in range(number + 1, len(lines)) if n not in alone and lines[n].strip())
            lines[number] = " " * _indent(next(rest, "")) + lines[number].lstrip(" ")
    return "\n".join(lines)


def _alone(text: str) -> list[tuple[int, bool]]:
    """The lines that hold a comment and nothing else, and whether it stands over what follows it."""
    lines = text.split("\n")
    inside: set[int] = set()
    for token in yaml.scan(text, Loader=_LOADER):
        if isinstance(token, yaml.ScalarToken):
            inside.update(range(token.start_mark.line, token.end_mark.line + (token.end_mark.column > 0)))
    places = [n for n, line in enumerate(lines) if line.lstrip().startswith("#") and n not in inside]
    found = []
    for number in places:
        rest = (lines[n] for n in range(number + 1, len(lines)) if n not in places and lines[n].strip())
        over = _indent(next(rest, " ")) == _indent(lines[number])
        found.append((number, over))
    return found


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


class _Kept(NamedTuple):
    """A part that is left as written, from where to where; `column` is that of the key or item it hangs on.

    `inner` is the column of what is to stand one step further in, where that is known: a part that begins a
    line of its own (`broken`), or the text of a `block`.
    """

    start: int
    end: int
    column: int
    inner: int | None = None
    broken: bool = False
    block: bool = False


_HEAD = re.compile(r" *(?:- +)*")


def _rewritten(text: str) -> str:
    node = yaml.compose(text, Loader=_LOADER)
    if not isinstance(node, yaml.CollectionNode) or node.flow_style:
        return "".join(f"{line.rstrip()}\n" for line in text.rstrip().split("\n"))
    mark = _MARK
    while mark in text:
        mark += "-"
    kept = list(_kept(node, text))
    parts, at = [], 0
    for number, each in enumerate(kept):
        parts += [text[at : each.start], " " * each.broken, f"{mark}{number}-"]
        at = each.end
    marked = re.compile(re.escape(mark) + "([0-9]+)-")
    lines: list[str] = []
    one = "".join([*parts, text[at:]])
    try:
        written = _written(one)
    except Exception as error:
        # The library has errors of its own kinds, and raises others where it does not know a form.
        raise _refused(error, one, [text[each.start : each.end] for each in kept], marked) from error
    for line in written.split("\n"):
        found = marked.search(line)
        if found is None:
            lines.append(line)
        else:
            each = kept[int(found[1])]
            lines += _put_back(line[: found.start()], text[each.start : each.end], line[found.end() :], each)
    return "\n".join(lines).rstrip("\n") + "\n"


def _refused(error: Exception, text: str, kept: Sequence[str], marked: re.Pattern[str]) -> Untidy:
    """What the library does not take, with its line in the file: `text` has a mark for each part `kept`."""
    problem = str(getattr(error, "problem", None) or error) or type(error).__name__
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    if mark is None:
        return Untidy(f"it cannot be written again: {problem}", None)
    before = "\n".join(text.split("\n")[: mark.line])
    hidden = sum(kept[int(found[1])].count("\n") for found in marked.finditer(before))
    return Untidy(f"it cannot be written again: {problem}", mark.line + hidden + 1)


def _kept(node: yaml.Node, text: str, value: bool = False) -> Iterator[_Kept]:
    """What stands over several lines in brackets, or as a text that is no block; the outermost of each.

    So does a `value` that begins a line of its own.
    """
    if isinstance(node, yaml.MappingNode) and not node.flow_style:
        for key, inner in node.value:
            yield from _kept(key, text)
            yield from _kept(inner, text, value=True)
    elif isinstance(node, yaml.SequenceNode) and not node.flow_style:
        for item in node.value:
            yield from _kept(item, text)
    else:
        start, end = node.start_mark.index, node.end_mark.index
        line = text.rfind("\n", 0, start) + 1
        head = text[line:start]
        if isinstance(node, yaml.ScalarNode) and node.style in _BLOCKS:
            rows = text[start:end].split("\n")
            inner = next((_indent(row) for row in rows[1:] if row.strip()), None)
            while not rows[-1].strip() and len(rows[-1]) <= (inner or 0):
                rows.pop()
            yield _Kept(start, start + len("\n".join(rows)), _column(head), inner, block=True)
        elif value and start < end and not head.strip():
            # The break before it is the author's as well.
            first = len(text[:line].rstrip())
            column = _column(text[text.rfind("\n", 0, first) + 1 : first])
            yield _Kept(first, end, column, start - line, broken=True)
        elif "\n" in text[start:end]:
            yield _Kept(start, end, _column(head))


def _column(line: str) -> int:
    found = _HEAD.match(line)
    return len(found[0]) if found is not None else 0


def _put_back(before: str, kept: str, after: str, how: _Kept) -> Iterator[str]:
    """The lines with what was kept in the place of its mark, moved as far as what it hangs on has moved."""
    column = _column(before)
    item = how.block and len(before.rstrip()) < column
    step = 0 if item else _INDENT
    moved = column - how.column if how.inner is None else column + step - how.inner
    first, *others = f"{before.rstrip() if how.broken else before}{kept}{after}".split("\n")
    yield first.rstrip()
    for row in others:
        inside = row.lstrip(" ")
        line = f"{' ' * max(0, _indent(row) + moved)}{inside}" if inside else ""
        yield line if how.block else line.rstrip()


def _written(text: str) -> str:
    """The text read and written again, with its comments; every plain word stays as it is."""
    from ruamel.yaml import YAML
    from ruamel.yaml.resolver import VersionedResolver

    class AsWritten(VersionedResolver):
        """Takes no plain word for a number or a date, which might be written in another way."""

        @property
        def versioned_resolver(self) -> Any:
            return {"": [("tag:yaml.org,2002:null", re.compile(r"\Z"))]}

    reader = YAML()
    reader.Resolver = AsWritten
    reader.preserve_quotes = True
    reader.width = _WIDE
    reader.indent(mapping=_INDENT, sequence=2 * _INDENT, offset=_INDENT)
    out = io.StringIO()
    reader.dump(reader.load(text), out)
    return "\n".join(line if line.strip() else "" for line in out.getvalue().split("\n"))
