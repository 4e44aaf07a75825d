"""What the strict reader takes, what it refuses, and where it says things stand."""

from __future__ import annotations

import math
from textwrap import dedent

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from stillair import strict_yaml
from stillair.fault import LARGEST, StillairError
from stillair.strict_yaml import Scalar, Table, at, plain, read_yaml

REFUSED = [
    (
        "a second colon",
        "when: blower: stopped\n",
        """
        f.yaml:1:13: a `:` stands where no key can be [SA101]
          when: blower: stopped
                      ^
        help: indent the line as its neighbours are, or put text that holds `: ` in quotes
        """,
    ),
    (
        "list not closed",
        "ask: [look, listen\nmarks: x\n",
        """
        f.yaml:1:6: a list is opened by `[` and not closed [SA101]
          ask: [look, listen
               ^
        help: add `,` or `]`
        """,
    ),
    (
        "mapping not closed",
        "options: {yes: Yes\nkind: text\n",
        """
        f.yaml:1:10: a mapping is opened by `{` and not closed [SA101]
          options: {yes: Yes
                   ^
        help: add `,` or `}`
        """,
    ),
    (
        "quote not closed",
        'ask: "Is it still?\nwhy: x\n',
        """
        f.yaml:1:6: a quote is opened and never closed [SA101]
          ask: "Is it still?
               ^
        help: close it
        """,
    ),
    (
        "deeper than its neighbour",
        "ask: Is it still\n  why: because\n",
        """
        f.yaml:2:6: a `:` stands where no key can be [SA101]
            why: because
               ^
        help: indent the line as its neighbours are, or put text that holds `: ` in quotes
        """,
    ),
    (
        "shallower item",
        "steps:\n  - step: a\n  step: b\n",
        """
        f.yaml:3:3: the line fits no item of the list above [SA101]
            step: b
            ^
        help: begin it with `- `, or indent it less
        """,
    ),
    (
        "begins with an at sign",
        "do: @once\n",
        """
        f.yaml:1:5: a text cannot begin with this character [SA101]
          do: @once
              ^
        help: put the text in quotes
        """,
    ),
    (
        "begins with a backtick",
        "do: `pool`\n",
        """
        f.yaml:1:5: a text cannot begin with this character [SA101]
          do: `pool`
              ^
        help: put the text in quotes
        """,
    ),
    (
        "text after a quote",
        "ask: 'Is it' still\n",
        """
        f.yaml:1:14: this fits neither the mapping above nor the one around it [SA101]
          ask: 'Is it' still
                       ^
        help: indent it as its neighbours are, and quote the whole of a text or nothing of it
        """,
    ),
    (
        "unknown escape",
        'do: "C:\\gauge"\n',
        """
        f.yaml:1:8: an escape that YAML does not know [SA101]
          do: "C:\\gauge"
                 ^
        help: write a backslash as `\\\\`
        """,
    ),
    (
        "item in the line of its key",
        "ask: - look\n",
        """
        f.yaml:1:6: a list item cannot begin here [SA101]
          ask: - look
               ^
        help: put it in a line of its own
        """,
    ),
    (
        "colon without space",
        "options: {stopped:, running: It turns}\n",
        """
        f.yaml:1:18: a `:` without a space after it [SA101]
          options: {stopped:, running: It turns}
                           ^
        help: write `key: value`, or put the text in quotes
        """,
    ),
    (
        "bracket of the other kind",
        "ask: [}\n",
        """
        f.yaml:1:7: a value is missing here [SA101]
          ask: [}
                ^
        """,
    ),
    (
        "key without colon",
        "about: |\n  prose\nlimits\n",
        """
        f.yaml:3:1: a key without `:` [SA101]
          limits
          ^
        help: write `key: value`, or indent the line more
        """,
    ),
    (
        "anchor",
        "gate: &still blower is stopped\n",
        """
        f.yaml:1:7: an anchor `&still` is used [SA104]
          gate: &still blower is stopped
                ^^^^^^
        help: write the value out, or quote the text
        """,
    ),
    (
        "alias",
        "gate: *still\n",
        """
        f.yaml:1:7: an alias is used [SA104]
          gate: *still
                ^^^^^^
        help: write the value out, or quote the text
        """,
    ),
    (
        "merge key",
        "<<: {gate: always}\n",
        """
        f.yaml:1:1: a merge key is used [SA104]
          <<: {gate: always}
          ^^
        help: write the values out
        """,
    ),
    (
        "tag",
        "limit: !!str 15\n",
        """
        f.yaml:1:8: a tag is used [SA105]
          limit: !!str 15
                 ^^^^^
        help: remove it, or put the text in quotes
        """,
    ),
    (
        "own tag",
        "limit: !quantity 15 min\n",
        """
        f.yaml:1:8: a tag is used [SA105]
          limit: !quantity 15 min
                 ^^^^^^^^^
        help: remove it, or put the text in quotes
        """,
    ),
    (
        "tag with handle",
        "limit: !q!psi 15\n",
        """
        f.yaml:1:8: a tag is used [SA105]
          limit: !q!psi 15
                 ^
        help: remove it, or put the text in quotes
        """,
    ),
    (
        "key twice",
        "blower: 1\nlook: 2\nblower: 3\n",
        """
        f.yaml:3:1: `blower` is written twice, first in line 1 [SA102]
          blower: 3
          ^^^^^^
        help: remove one of them
        """,
    ),
    (
        "key twice in braces",
        "options: {yes: A, no: B, yes: C}\n",
        """
        f.yaml:1:26: `yes` is written twice, first in line 1 [SA102]
          options: {yes: A, no: B, yes: C}
                                   ^^^
        help: remove one of them
        """,
    ),
    (
        "number as key",
        "options:\n  1: One\n",
        """
        f.yaml:2:3: a key must be text, this one is the number `1` [SA107]
            1: One
            ^
        help: write "1" in quotes
        """,
    ),
    (
        "true as key",
        "options: {true: It turns}\n",
        """
        f.yaml:1:11: a key must be text, this one is the truth value `true` [SA107]
          options: {true: It turns}
                    ^^^^
        help: write "true" in quotes
        """,
    ),
    (
        "nothing as key",
        "options: {null: Nothing}\n",
        """
        f.yaml:1:11: a key must be text, this one is the empty value `null` [SA107]
          options: {null: Nothing}
                    ^^^^
        help: write "null" in quotes
        """,
    ),
    (
        "empty key",
        ": x\n",
        """
        f.yaml:1:1: this fits neither the mapping above nor the one around it [SA101]
          : x
          ^
        help: indent it as its neighbours are, and quote the whole of a text or nothing of it
        """,
    ),
    (
        "list as key",
        "[a, b]: x\n",
        """
        f.yaml:1:1: a key must be text, not a list or a mapping [SA107]
          [a, b]: x
          ^
        help: quote a text that begins with a bracket
        """,
    ),
    (
        "second document",
        "title: a\n---\ntitle: b\n",
        """
        f.yaml:2:1: a second document begins here [SA106]
          ---
          ^^^
        help: put it in a file of its own
        """,
    ),
    (
        "empty file",
        "",
        """
        f.yaml: the file is empty [SA106]
        """,
    ),
    (
        "comments only",
        "# nothing yet\n",
        """
        f.yaml: the file is empty [SA106]
        """,
    ),
    (
        "tab for indentation",
        "facts:\n\tblower: x\n",
        """
        f.yaml:2:1: a tab is used for indentation [SA103]
          \tblower: x
          ^
        help: use spaces
        """,
    ),
    (
        "tab after spaces",
        "facts:\n  \tblower: x\n",
        """
        f.yaml:2:3: a tab is used for indentation [SA103]
            \tblower: x
            ^
        help: use spaces
        """,
    ),
    (
        "escape character",
        "title: \x1b[31mred\n",
        """
        f.yaml:1:8: the character U+001B does not belong in text [SA109]
          title: �[31mred
                 ^
        help: remove it
        """,
    ),
    (
        "escaped escape character",
        'title: "\\e[31mred"\n',
        """
        f.yaml:1:8: the text holds U+001B, which cannot be seen [SA109]
          title: "\\e[31mred"
                 ^^^^^^^^^^^
        help: remove the escape
        """,
    ),
    (
        "turned direction",
        "title: safe\u202e\n",
        """
        f.yaml:1:12: the character U+202E does not belong in text [SA109]
          title: safe�
                     ^
        help: remove it
        """,
    ),
    (
        "carriage return",
        "title: safe\rnot safe\n",
        """
        f.yaml:1:12: the character U+000D does not belong in text [SA109]
          title: safe�not safe
                     ^
        help: remove it
        """,
    ),
    (
        "too deep",
        "a: " + "[" * 60 + "\n",
        """
        f.yaml:1:53: nested deeper than 50 levels [SA108]
          a: [[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[
                                                              ^
        help: flatten it
        """,
    ),
    (
        "long line",
        "about: {title: " + "word " * 30 + ", of: *there, and: " + "word " * 30 + "}\n",
        """
        f.yaml:1:172: an alias is used [SA104]
          …d word word word word word word , of: *there, and: word word word word word …
                                                 ^^^^^^
        help: write the value out, or quote the text
        """,
    ),
    (
        "several at once",
        "a: 1\na: 2\n3: x\n",
        """
        f.yaml:2:1: `a` is written twice, first in line 1 [SA102]
          a: 2
          ^
        help: remove one of them
        f.yaml:3:1: a key must be text, this one is the number `3` [SA107]
          3: x
          ^
        help: write "3" in quotes
        """,
    ),
]


@pytest.mark.parametrize(("text", "expected"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED])
def test_refused_with_its_place_and_the_way_out(text: str, expected: str) -> None:
    """Each refusal shows the smallest span, and most of them how to mend it."""
    with pytest.raises(StillairError) as raised:
        read_yaml(text, "f.yaml")
    assert str(raised.value) == dedent(expected).strip("\n")


# The two parsers read `stopped:,` differently, and libyaml is right: a colon needs a space after it.
SAME = [row for row in REFUSED if row[0] != "colon without space"]


@pytest.mark.parametrize("text", [row[1] for row in SAME], ids=[row[0] for row in SAME])
def test_the_parser_without_libyaml_refuses_the_same(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where PyYAML is built without libyaml, the same texts are refused for the same reason."""
    with pytest.raises(StillairError) as with_libyaml:
        read_yaml(text, "f.yaml")
    monkeypatch.setattr(strict_yaml, "_loader", lambda: yaml.SafeLoader)
    with pytest.raises(StillairError) as without:
        read_yaml(text, "f.yaml")
    assert without.value.faults[0].code == with_libyaml.value.faults[0].code
    assert without.value.faults[0].line == with_libyaml.value.faults[0].line


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("off", "off"),
        ("on", "on"),
        ("yes", "yes"),
        ("no", "no"),
        ("y", "y"),
        ("12:30", "12:30"),
        ("2024-05-01", "2024-05-01"),
        ("1_000", "1_000"),
        ("0b1", "0b1"),
        ("tRue", "tRue"),
        ("1.0.0", "1.0.0"),
        ("3/8 in", "3/8 in"),
        ("'1'", "1"),
        ('"true"', "true"),
        ("1" + "0" * 31, 1e31),
        ("true", True),
        ("False", False),
        ("null", None),
        ("~", None),
        ("", None),
        ("017", 17),
        ("0o17", 15),
        ("0x1F", 31),
        ("-5", -5),
        ("+1e3", 1000.0),
        (".5", 0.5),
        ("1.", 1.0),
        ("-.inf", -math.inf),
    ],
)
def test_the_core_schema_says_what_a_value_is(written: str, value: object) -> None:
    """Only true, false, null and numbers are anything but text."""
    found = plain(read_yaml(f"key: {written}\n", "f.yaml"))
    assert found == {"key": value}
    assert isinstance(found, dict)
    assert type(found["key"]) is type(value)


def test_a_byte_order_mark_and_windows_line_ends_change_nothing() -> None:
    """A file saved by a Windows editor reads as it looks."""
    windows = read_yaml("\ufeffa: 1\r\nb: |\r\n  x\r\n  y\r\n", "f.yaml")
    assert plain(windows) == plain(read_yaml("a: 1\nb: |\n  x\n  y\n", "f.yaml"))


def test_a_file_too_large_is_refused_before_it_is_parsed() -> None:
    """A hostile file costs no time."""
    with pytest.raises(StillairError) as raised:
        read_yaml("a" * (LARGEST + 1), "f.yaml")
    assert str(raised.value) == (
        "f.yaml: the file has 2,000,001 characters, more than 2,000,000 [SA108]\nhelp: split it"
    )


def test_fifty_levels_are_still_read() -> None:
    """The limit of depth is what it says."""
    assert read_yaml("[" * 50 + "]" * 50, "f.yaml")
    with pytest.raises(StillairError, match="deeper than 50"):
        read_yaml("[" * 51 + "]" * 51, "f.yaml")


def test_no_more_than_fifty_faults_are_told() -> None:
    """A file that is no YAML at all does not fill the screen."""
    with pytest.raises(StillairError) as raised:
        read_yaml("a: 1\n" * 500, "f.yaml")
    assert len(raised.value.faults) == 50


def test_a_path_leads_to_the_node_or_as_near_as_there_is() -> None:
    """Keys and indexes lead down; where the path breaks off, the last node is given."""
    root = read_yaml("steps:\n  - {step: a}\n  - {step: b}\n", "f.yaml")
    found = at(root, ("steps", 1, "step"))
    assert isinstance(found, Scalar)
    assert (found.text, found.start) == ("b", (2, 11))
    assert isinstance(at(root, ("steps", 1, "missing", 3)), Table)


WORDS = st.lists(st.text("abcXYZé\u4e2d0189", min_size=1, max_size=6), min_size=1, max_size=4).map(" ".join)
LINES = st.lists(WORDS, min_size=1, max_size=4)


def _written(lines: list[str], style: str) -> str:
    """The lines as one value in a style of YAML, each line in a line of its own."""
    if style in "|>":
        return f"key: {style}-\n" + "".join(f"    {line}\n" for line in lines)
    quote = style if style in "'\"" else ""
    return f"key:   {quote}" + "\n     ".join(lines) + f"{quote}\n"


@given(LINES, st.sampled_from(["plain", "'", '"', "|", ">"]))
def test_every_character_is_found_where_it_stands(lines: list[str], style: str) -> None:
    """The place given for any character of a value is the place of that character in the file."""
    lines = ["q" + lines[0], *lines[1:]]  # so that a plain value is text and not a number
    root = read_yaml(_written(lines, style), "f.yaml")
    assert isinstance(root, Table)
    node = root.values["key"]
    assert isinstance(node, Scalar)
    text = node.located()
    assert text.text.split() == " ".join(lines).split()
    for offset, character in enumerate(text.text):
        if not character.isspace():
            fault = text.fault("SA101", "x", start=offset, length=1)
            assert fault.source_line[fault.column - 1] == character
            assert fault == text.part(offset, len(text.text)).fault("SA101", "x", length=1)


@pytest.mark.parametrize(
    ("written", "word", "line", "column"),
    [
        ("key: 'it''s shut'\n", "shut", 1, 13),
        ('key: "a \\x41 b"\n', "b", 1, 14),
        ('key: "a\\\n   bc"\n', "bc", 2, 4),
        ("key: |\n\n  one\n    two\n# three\n", "two", 4, 5),
        ("- key: >-\n    one\n    two\n", "two", 3, 5),
    ],
)
def test_quotes_escapes_and_blank_lines_do_not_shift_places(
    written: str, word: str, line: int, column: int
) -> None:
    """A word after an escape or a blank line is still found under the caret."""
    root = read_yaml(written, "f.yaml")
    node = at(root, ("key",)) if isinstance(root, Table) else at(root, (0, "key"))
    assert isinstance(node, Scalar)
    text = node.located()
    fault = text.fault("SA101", "x", start=text.text.index(word), length=len(word))
    assert (fault.line, fault.column, fault.length) == (line, column, len(word))
