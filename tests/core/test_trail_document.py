"""Tables of a trail: as Markdown, as plain data, on a page and on a narrow terminal."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from stillair.fault import printable
from stillair.render import html, terminal
from stillair.trail import Document, to_json, write
from stillair.trail.document import Code, Part, Strong, Table, line

ANY_TEXT = st.one_of(
    st.text(alphabet="|\\`*_<>[]()#-:&~ \n\tab1", min_size=1, max_size=30), st.text(min_size=1, max_size=20)
)


def document(*rows: tuple[Any, ...]) -> Document:
    columns = ("First", "Second")
    return Document("T", (Part("P", (Table(columns, rows), line("After."))),))


def cells(markdown: str) -> list[list[tuple[str, list[str]]]]:
    """Rows of cells below the heading: the words of each, and the kinds of what it is made of."""
    tokens = MarkdownIt("gfm-like", {"linkify": False}).parse(markdown)
    found: list[list[tuple[str, list[str]]]] = []
    for index, token in enumerate(tokens):
        if token.type == "tr_open":
            found.append([])
        elif token.type == "td_open":
            children = tokens[index + 1].children or []
            kinds = [c.type for c in children if c.type not in ("text", "text_special")]
            found[-1].append(("".join(c.content for c in children), kinds))
    return found[1:]


@given(ANY_TEXT.filter(lambda t: bool(printable(" ".join(t.split())).strip())))
def test_whatever_a_cell_holds_is_shown_as_typed_in_that_cell(typed: str) -> None:
    shown = printable(" ".join(typed.split()))
    rows = cells(write(document((line(typed), line("x")), (line(Strong("y")), line(typed)))))
    assert [[text for text, _ in row] for row in rows] == [[shown, "x"], ["y", shown]]
    assert [kinds for row in rows for _, kinds in row] == [[], [], ["strong_open", "strong_close"], []]


@pytest.mark.parametrize("code", ["a|b", "a\\|b", "a \\", "`|`", "|"])
def test_code_with_a_pipe_stays_one_cell(code: str) -> None:
    assert cells(write(document((line(Code(code)), line("x"))))) == [[(code, ["code_inline"]), ("x", [])]]


def test_what_follows_a_table_is_not_part_of_it() -> None:
    page = html(write(document((line("a"), line("b")))))
    assert "</table>\n<p>After.</p>" in page


def test_a_table_is_plain_data() -> None:
    told: Any = to_json(document((line(Strong("a"), " b"), ())))
    assert told["parts"][0]["blocks"][0] == {"columns": ["First", "Second"], "rows": [["a b", ""]]}


def test_on_a_terminal_each_cell_has_its_own_line_and_an_empty_one_a_place_to_write() -> None:
    shown = terminal(write(document((line("tap"), line("word " * 20)), (line("attic"), ()))))
    lines = shown.splitlines()
    assert "- First: tap" in lines
    start = next(i for i, each in enumerate(lines) if each.startswith("  Second: word"))
    assert lines[start + 1].startswith("    word")
    assert lines[lines.index("- First: attic") + 1] == "  Second: " + "_" * 24
    assert lines[-2:] == ["", "After."]
    assert max(map(len, lines)) <= 60
