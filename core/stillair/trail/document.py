"""A document of plain texts, and the one way it becomes Markdown: nothing typed becomes structure."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from stillair.fault import printable

__all__ = [
    "Block",
    "Code",
    "Document",
    "Item",
    "Line",
    "Part",
    "Piece",
    "Raw",
    "Strong",
    "Table",
    "escape",
    "line",
    "to_json",
    "write",
    "written",
]


@dataclass(frozen=True, slots=True)
class Strong:
    """A text shown strong."""

    text: str


@dataclass(frozen=True, slots=True)
class Code:
    """A condition, a formula or a name, shown as it is written."""

    text: str


Piece: TypeAlias = str | Strong | Code
Line: TypeAlias = tuple[Piece, ...]


@dataclass(frozen=True, slots=True)
class Item:
    """One entry of a list, with the entries under it."""

    line: Line
    under: tuple[Item, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells under their headings; an empty cell is to be filled in by hand."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Line, ...], ...]


@dataclass(frozen=True, slots=True)
class Raw:
    """Markdown made by a view of a plugin, taken as it is."""

    markdown: str


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the document: paragraphs (lines), lists (tuples of items), tables and parts under it."""

    title: str
    blocks: tuple[Line | tuple[Item, ...] | Table | Part | Raw, ...]


Block: TypeAlias = Line | tuple[Item, ...] | Table


@dataclass(frozen=True, slots=True)
class Document:
    title: str
    parts: tuple[Part, ...]


def line(*pieces: Piece) -> Line:
    """A line of these pieces."""
    return tuple(pieces)


# -- escaping ------------------------------------------------------------------------------------------------

_SPECIAL = re.compile(
    r"""
    [\\`*\[\]<>|~]                        # always of effect somewhere
    | (?<![^\W_])_ | _(?![^\W_])          # an underscore that does not stand inside a word
    | &                                   # the start of an entity
    | :(?=//)                             # bare addresses, which some readers turn into links
    | (?<=\b[wW]{3})\.
    | @(?=\w)
    """,
    re.VERBOSE,
)
_START = re.compile(r"([#+\-=>])|([0-9]+)([.)])(?=\s|$)")


def plain(text: str) -> str:
    """The text on one line, with every character that could steer a terminal made visible."""
    return printable(" ".join(text.split()))


def escape(text: str) -> str:
    """The text as Markdown that shows exactly it, wherever within a line it stands.

    >>> escape("# not a *heading* <b>")
    '# not a \\\\*heading\\\\* \\\\<b\\\\>'
    """
    return _SPECIAL.sub(r"\\\g<0>", plain(text))


def _at_start(markdown: str) -> str:
    """The same with what would begin a heading, a list or a quote at the start of a block disarmed."""
    found = _START.match(markdown)
    if found is None:
        return markdown
    if found[1]:
        return "\\" + markdown
    return f"{found[2]}\\{markdown[found.start(3) :]}"


def _piece(piece: Piece) -> str:
    if isinstance(piece, Strong):
        text = escape(piece.text).strip()
        return f"**{text}**" if text else ""
    if isinstance(piece, Code):
        text = plain(piece.text)
        if not text:
            return ""
        longest = max((len(run) for run in re.findall(r"`+", text)), default=0)
        fence = "`" * (longest + 1)
        pad = " " if text.startswith("`") or text.endswith("`") else ""
        return f"{fence}{pad}{text}{pad}{fence}"
    # Spaces at the edges join pieces and are kept; inside, the text is one line.
    inner = escape(piece)
    before = " " if piece[:1].isspace() else ""
    after = " " if piece[-1:].isspace() and inner else ""
    return before + inner + after


def _line(pieces: Line) -> str:
    return _at_start("".join(_piece(piece) for piece in pieces).strip())


def write(document: Document) -> str:
    """The document as CommonMark. The same document gives the same text."""
    return "\n".join(written(document.title, document.parts)).rstrip("\n") + "\n"


def written(title: str, parts: Iterable[Part]) -> Iterator[str]:
    """The title, then part by part: the lines of a document of these parts."""
    yield f"# {escape(title)}\n"
    for part in parts:
        yield "\n".join(_part(part, 2))


def _part(part: Part, level: int) -> Iterator[str]:
    yield f"{'#' * level} {escape(part.title)}"
    yield ""
    for block in part.blocks:
        if isinstance(block, Part):
            yield from _part(block, level + 1)
            continue
        if isinstance(block, Raw):
            yield from (printable(each) for each in block.markdown.strip("\n").split("\n"))
        elif isinstance(block, Table):
            yield from _table(block)
        elif block and isinstance(block[0], Item):
            yield from _items(block, "")
        else:
            yield _line(block)  # type: ignore[arg-type]
        yield ""


def _table(table: Table) -> Iterator[str]:
    """A table as pipes; it ends at the blank line that follows every block."""
    yield _row(line(column) for column in table.columns)
    yield "| --- " * len(table.columns) + "|"
    for row in table.rows:
        yield _row(row)


def _row(cells: Iterable[Line]) -> str:
    return "| " + " | ".join("".join(_cell(piece) for piece in cell).strip() for cell in cells) + " |"


def _cell(piece: Piece) -> str:
    """A piece within a cell: a pipe ends a cell even inside of code, unless a backslash stands before it."""
    written = _piece(piece)
    return written.replace("|", "\\|") if isinstance(piece, Code) else written


def _items(items: Iterable[Item | Piece], indent: str) -> Iterator[str]:
    for item in items:
        assert isinstance(item, Item)
        yield f"{indent}- {_line(item.line)}"
        yield from _items(item.under, indent + "  ")


# -- the same as plain data ----------------------------------------------------------------------------------


def to_json(document: Document) -> dict[str, object]:
    """The document as JSON: parts with their title, paragraphs, lists and tables as plain text."""
    return {"title": document.title, "parts": [_part_json(part) for part in document.parts]}


def _part_json(part: Part) -> Mapping[str, object]:
    blocks: list[object] = []
    for block in part.blocks:
        if isinstance(block, Part):
            blocks.append(_part_json(block))
        elif isinstance(block, Raw):
            blocks.append({"markdown": block.markdown})
        elif isinstance(block, Table):
            rows = [[text_of(cell) for cell in row] for row in block.rows]
            blocks.append({"columns": list(block.columns), "rows": rows})
        elif block and isinstance(block[0], Item):
            blocks.append([_item_json(item) for item in block if isinstance(item, Item)])
        else:
            blocks.append(text_of(block))  # type: ignore[arg-type]
    return {"title": part.title, "blocks": blocks}


def _item_json(item: Item) -> object:
    text = text_of(item.line)
    return text if not item.under else {"text": text, "under": [_item_json(each) for each in item.under]}


def text_of(pieces: Line) -> str:
    """The words of a line without their look."""
    return plain("".join(piece if isinstance(piece, str) else piece.text for piece in pieces))
