"""A trail for reading: Markdown as one HTML page, or as plain text for a terminal."""

from __future__ import annotations

import html as entities
import unicodedata
from collections.abc import Iterator, Sequence

from markdown_it import MarkdownIt
from markdown_it.token import Token

from stillair.fault import printable

__all__ = ["NARROWEST", "html", "terminal"]

NARROWEST = 60
"""Columns a text is wrapped at when the terminal has fewer, or does not say (judgement: a small phone)."""

_BY_HAND = "_" * 24
"""What an empty cell of a table is on a terminal."""
_STYLE = (
    "body{max-width:44rem;margin:1rem auto;padding:0 1rem;font:1rem/1.5 sans-serif}"
    "body{color:#000;background:#fff}"
    "code{overflow-wrap:anywhere}li{margin:.2rem 0}@media print{body{max-width:none}}"
    "table{border-collapse:collapse;display:block;overflow-x:auto}"
    "td,th{border:1px solid;padding:.2rem .4rem;text-align:left;vertical-align:top}"
    "td:empty{min-width:7rem;height:2.5rem}"
)


def _reader() -> MarkdownIt:
    return MarkdownIt("commonmark", {"html": False}).enable("table")


def html(markdown: str, title: str = "Trail") -> str:
    """One page without scripts or anything fetched. Raw HTML and links of other kinds than http stay text."""
    body = _reader().render("".join(c if c == "\n" else printable(c) for c in markdown))
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{entities.escape(printable(title))}</title>\n<style>{_STYLE}</style>\n</head>\n"
        f"<body>\n{body}</body>\n</html>\n"
    )


def terminal(markdown: str, columns: int = NARROWEST) -> str:
    """Plain text, wrapped; no colour, no control character. Structure shows by indent and by marks."""
    width = max(columns, NARROWEST)
    lines: list[str] = []
    _Writer(width, lines).write(_reader().parse(markdown))
    while lines and not lines[-1]:
        lines.pop()
    return "\n".join(printable(each) for each in lines) + "\n"


class _Writer:
    """Walks the tokens, keeping the indent of the lists it is in."""

    def __init__(self, width: int, lines: list[str]) -> None:
        self.width = width
        self.lines = lines
        self.indent: list[str] = []
        self.first: str | None = None
        self.counts: list[int | None] = []
        self.columns: list[str] = []
        self.cell = 0

    def write(self, tokens: Sequence[Token]) -> None:
        for index, token in enumerate(tokens):
            match token.type:
                case "heading_open":
                    self._blank()
                    self._heading(int(token.tag[1:]), _text(tokens[index + 1]))
                case "bullet_list_open" | "ordered_list_open":
                    start = token.attrGet("start")
                    self.counts.append(None if token.type.startswith("bullet") else int(start or 1))
                case "bullet_list_close" | "ordered_list_close":
                    self.counts.pop()
                    if not self.counts:
                        self._blank()
                case "list_item_open":
                    mark = self._mark()
                    self.first = "".join(self.indent) + mark
                    self.indent.append(" " * len(mark))
                case "list_item_close":
                    self.indent.pop()
                    self.first = None
                case "blockquote_open":
                    self.indent.append("| ")
                case "blockquote_close":
                    self.indent.pop()
                    self._blank()
                case "table_open":
                    self.columns = []
                case "table_close":
                    self._blank()
                case "tr_open":
                    self.cell = 0
                case "inline" if index and tokens[index - 1].type == "th_open":
                    self.columns.append(_text(token))
                case "inline" if index and tokens[index - 1].type == "td_open":
                    self._cell(_text(token))
                case "inline" if index and tokens[index - 1].type != "heading_open":
                    self._paragraph(_text(token))
                    if not self.counts:
                        self._blank()
                case "fence" | "code_block":
                    for each in token.content.rstrip("\n").split("\n"):
                        self.lines.append("".join(self.indent) + "    " + each.expandtabs(4))
                    self._blank()
                case "hr":
                    self.lines.append("-" * 20)
                    self._blank()

    def _mark(self) -> str:
        count = self.counts[-1]
        if count is None:
            return "- "
        self.counts[-1] = count + 1
        return f"{count}. "

    def _heading(self, level: int, text: str) -> None:
        wrapped = list(_wrapped(text, self.width))
        self.lines.extend(wrapped)
        if level < 3:
            longest = max((_columns(each) for each in wrapped), default=0)
            self.lines.append(("=" if level == 1 else "-") * longest)
        self._blank()

    def _paragraph(self, text: str) -> None:
        rest = "".join(self.indent)
        first = self.first if self.first is not None else rest
        self.first = None
        # Deep lists keep at least half of the width for their words.
        room = max(self.width - len(rest), self.width // 2)
        for number, each in enumerate(_wrapped(text, room)):
            self.lines.append((first if number == 0 else rest) + each)

    def _cell(self, text: str) -> None:
        """A cell on a line of its own under the first of its row: side by side none could be read."""
        outer = "".join(self.indent)
        self.first = outer + ("- " if self.cell == 0 else "  ")
        self.indent.append("  " if self.cell == 0 else "    ")
        self._paragraph(f"{self.columns[self.cell]}: {text or _BY_HAND}")
        self.indent.pop()
        self.cell += 1

    def _blank(self) -> None:
        if self.lines and self.lines[-1]:
            self.lines.append("")


def _text(token: Token) -> str:
    """The words of an inline token; the address of a link follows in brackets, so that none is hidden."""
    words: list[str] = []
    for child in token.children or ():
        if child.type in ("softbreak", "hardbreak"):
            words.append(" ")
        elif child.type == "link_close":
            continue
        elif child.type == "link_open":
            words.append(f"<{child.attrGet('href')}> ")
        else:
            words.append(child.content)
    return "".join(words)


def _columns(text: str) -> int:
    """The columns a text takes: none for what combines, two for wide characters."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text
    )


def _wrapped(text: str, width: int) -> Iterator[str]:
    """The text in lines of at most so many columns; a longer word is cut."""
    line, used = "", 0
    for word in text.split():
        for piece in _cut(word, width):
            size = _columns(piece)
            if line and used + 1 + size > width:
                yield line
                line, used = piece, size
            else:
                line, used = (f"{line} {piece}", used + 1 + size) if line else (piece, size)
    if line:
        yield line


def _cut(word: str, width: int) -> Iterator[str]:
    piece, used = "", 0
    for character in word:
        size = _columns(character)
        if piece and used + size > width:
            yield piece
            piece, used = "", 0
        piece += character
        used += size
    yield piece
