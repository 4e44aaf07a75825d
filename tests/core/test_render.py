"""A trail as one HTML page and as plain text for a terminal."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stillair.render import NARROWEST, html, terminal
from stillair.trail import escape

ANY_TEXT = st.text(alphabet=st.characters(codec="utf-8"), max_size=80)


def test_a_text_is_wrapped_with_its_lists_and_headings_in_sight() -> None:
    markdown = (
        "# One\n\n## Two\n\n"
        + "word " * 30
        + "\n\n- first "
        + "more " * 20
        + "\n  - inner\n\n3. third\n4. fourth\n"
    )
    shown = terminal(markdown)
    lines = shown.splitlines()
    assert lines[:2] == ["One", "==="]
    assert "Two" in lines and "---" in lines
    assert max(map(len, lines)) <= NARROWEST
    start = next(i for i, each in enumerate(lines) if each.startswith("- first"))
    assert lines[start + 1].startswith("  more")
    assert "  - inner" in lines
    assert "3. third" in lines and "4. fourth" in lines


def test_a_wide_terminal_is_used_and_a_narrow_one_is_not_believed() -> None:
    markdown = "word " * 60
    assert 90 < max(map(len, terminal(markdown, 100).splitlines())) <= 100
    assert max(map(len, terminal(markdown, 20).splitlines())) > 40


def test_a_word_longer_than_a_line_is_cut() -> None:
    assert max(map(len, terminal("x" * 200).splitlines())) == NARROWEST


def test_the_address_behind_a_link_is_shown() -> None:
    assert "<https://example.org/a> here" in terminal("Look [here](https://example.org/a)")


@given(ANY_TEXT)
def test_nothing_shown_can_steer_a_terminal(text: str) -> None:
    shown = terminal("# Head\n\n- " + escape(text) + "\n\n" + text)
    assert all(c == "\n" or unicodedata.category(c) not in {"Cc", "Cf", "Cs", "Zl", "Zp"} for c in shown)


@given(ANY_TEXT)
def test_a_page_holds_no_markup_but_its_own(text: str) -> None:
    """Raw HTML, scripts and other kinds of links stay words, even in Markdown that is not ours."""
    page = html(text, text)
    body = page[page.index("<body>") :]
    assert "<script" not in body.casefold()
    assert 'href="javascript' not in body.casefold()
    assert page.startswith("<!DOCTYPE html>\n")


@pytest.mark.parametrize(
    "text", ["<script>alert(1)</script>", "<img src=x onerror=y>", "[x](javascript:alert(1))"]
)
def test_what_tries_to_be_markup_is_words(text: str) -> None:
    body = html(text).split("<body>")[1]
    assert "<script" not in body
    assert "<img" not in body
    assert "<a " not in body


def test_a_title_cannot_leave_its_place() -> None:
    assert "<title>&lt;/title&gt;&lt;b&gt;</title>" in html("x", "</title><b>")
