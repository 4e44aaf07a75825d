"""The prose of a pack as plain text: its Markdown read and its marks dropped."""

from __future__ import annotations

from functools import cache

from markdown_it import MarkdownIt
from markdown_it.token import Token

__all__ = ["prose"]


@cache
def _reader() -> MarkdownIt:
    return MarkdownIt("commonmark", {"html": False})


def prose(text: str | None) -> str:
    """The words of a text of a pack, on one line.

    >>> prose("*Never* start it.\\n\\nSee `step`.")
    'Never start it. See step.'
    """
    if not text:
        return ""
    words: list[str] = []
    for token in _reader().parse(text):
        if token.type == "inline":
            words.append("".join(_words(child) for child in token.children or ()))
        elif token.type in ("fence", "code_block"):
            words.append(token.content)
    return " ".join(" ".join(words).split())


def _words(token: Token) -> str:
    if token.type in ("softbreak", "hardbreak"):
        return " "
    return token.content if token.type in ("text", "code_inline", "text_special", "image") else ""
