"""`tidy`: one form, whatever the author wrote; the meaning and every comment stay."""

from __future__ import annotations

import json
import os
import random
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st
from stillair.authoring.tidy import Untidy, comments, tidied
from stillair.cli import main
from stillair.hooks import Plugins
from stillair.strict_yaml import plain, read_yaml

HERE = Path(__file__).parent

SLOPPY = """\
# A tank, looked after.
facts:
    smell:   {ask: Any smell?,kind:   yes-no }   # first of all
    depth: { ask: "How deep?", quantity: length }


rules:
- rule:   low   # too little
  when: depth < 010 in
  say: >-
      Too little
      is inside
  stop: [ filling,
          stirring ]  # both
-   {rule: late, when: '12:30'}
"""
TIDY = """\
# A tank, looked after.
facts:
  smell: {ask: Any smell?, kind: yes-no}         # first of all
  depth: {ask: "How deep?", quantity: length}


rules:
  - rule: low   # too little
    when: depth < 010 in
    say: >-
      Too little
      is inside
    stop: [ filling,
            stirring ] # both
  - {rule: late, when: '12:30'}
"""


def run(*args: object) -> Result:
    return CliRunner().invoke(main, ["tidy", *map(str, args)])


def test_a_sloppy_file_is_brought_into_the_form() -> None:
    assert tidied(SLOPPY, "tank.yaml") == TIDY
    assert tidied(TIDY, "tank.yaml") == TIDY


@pytest.mark.parametrize(
    ("written", "form"),
    [
        ("a: 1  \r\nb: 2\r\n", "a: 1\nb: 2\n"),
        ("\ufeffa: 1", "a: 1\n"),
        ("a: 1\n\n\n\n", "a: 1\n"),
        ("a:\n- 1\n- 2\n", "a:\n  - 1\n  - 2\n"),
        ("a:\n    [x,\n      y]\n", "a:\n  [x,\n    y]\n"),
        ("a: off\nb: 010\nc: 1_0\nd: ~\ne: 2026-04-15\n", "a: off\nb: 010\nc: 1_0\nd: ~\ne: 2026-04-15\n"),
        ("a:\nb: 1\n", "a:\nb: 1\n"),
        (
            "a:\n# about b\n- b: 1\n  # about c\n  c: 2\n",
            "a:\n  # about b\n  - b: 1\n    # about c\n    c: 2\n",
        ),
        ("a:\n    b: 1\n  # of what is over it\nc: 1\n", "a:\n  b: 1\n  # of what is over it\nc: 1\n"),
        ("{a: 1,\n b: 2}  \n", "{a: 1,\n b: 2}\n"),
        ("a: |\n    x  # no comment\n# one\nb: 1\n", "a: |\n  x  # no comment\n# one\nb: 1\n"),
        ("a: 'it''s'\nb: \"tab\\t\"\n", "a: 'it''s'\nb: \"tab\\t\"\n"),
    ],
)
def test_what_is_made_alike_and_what_is_left(written: str, form: str) -> None:
    assert tidied(written, "x.yaml") == form


def test_a_hash_in_a_text_is_no_comment() -> None:
    assert comments("a: x#y # one\nb: '# no' # two\nc: |\n  # no\n# three\n") == ["# one", "# two", "# three"]


# -- any file ------------------------------------------------------------------------------------------------


class Writer:
    """Writes random YAML as a tired author would: odd indents, spaces, quotes, comments, line breaks."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.names = 0

    def text(self) -> str:
        lines = self.mapping(0, 3)
        end = self.random.choice(["\n", "\r\n"])
        return end.join(line + self.random.choice(["", "", "  "]) for line in lines) + end

    def comment(self) -> str:
        return self.random.choice(["", "", "", "  # why", " # 12: x", '    # "quoted" {odd'])

    def word(self) -> str:
        return self.random.choice(
            [
                "low",
                "010",
                "yes",
                "12:30",
                "~",
                "1e3",
                "a < 3 psi",
                "x#y",
                "'it''s'",
                '"a: b"',
                "2026-04-15",
                "-4",
            ]
        )

    def flow(self, depth: int) -> str:
        space, comma = self.random.choice(["", " "]), self.random.choice([", ", ",  "])
        if depth == 0 or self.random.random() < 0.5:
            return self.word()
        items = [self.flow(depth - 1) for _ in range(self.random.randint(1, 3))]
        if self.random.random() < 0.5:
            return f"[{space}{comma.join(items)}{space}]"
        keyed = [f"k{n}:{self.random.choice([' ', '  '])}{item}" for n, item in enumerate(items)]
        return f"{{{space}{comma.join(keyed)}{space}}}"

    def mapping(self, indent: int, depth: int) -> list[str]:
        lines = []
        for _ in range(self.random.randint(1, 4)):
            self.names += 1
            if self.random.random() < 0.15:
                lines += self.random.choice(
                    [[" " * indent + "# about it"], ["", " " * indent + "# about it"], [""]]
                )
            lines += self.value(f"{' ' * indent}n{self.names}:", indent, depth)
        return lines

    def value(self, head: str, indent: int, depth: int) -> list[str]:
        kind = self.random.randint(0, 7 if depth else 4)
        inner = indent + self.random.choice([1, 2, 4])
        pad = " " * inner
        match kind:
            case 0 | 1:
                return [f"{head}{self.random.choice([' ', '   '])}{self.flow(2)}{self.comment()}"]
            case 2:
                return [f"{head} [{self.word()},", f"{pad}{self.word()}]{self.comment()}"]
            case 3:
                return [head, f"{pad}[{self.word()},", f"{pad} {self.word()}]{self.comment()}"]
            case 4:
                block = self.random.choice(["|", ">-", ">"])
                return [f"{head} {block}{self.comment()}", f"{pad}one # no", f"{pad}two"]
            case 5:
                return [f"{head}{self.comment()}", *self.mapping(inner, depth - 1)]
            case _:
                inner = indent + self.random.choice([0, 2]) if indent else 0
                lines = [f"{head}{self.comment()}"]
                for _ in range(self.random.randint(1, 3)):
                    if self.random.random() < 0.5:
                        lines.append(
                            f"{' ' * inner}-{self.random.choice([' ', '   '])}{self.flow(1)}{self.comment()}"
                        )
                    else:
                        first, *rest = self.mapping(inner + 2, depth - 1)
                        while not first.strip() or first.lstrip().startswith("#"):
                            first, *rest = self.mapping(inner + 2, depth - 1)
                        lines += [f"{' ' * inner}- {first[inner + 2 :]}", *rest]
                return lines


@settings(max_examples=300, deadline=None)
@given(st.integers(0, 10**9))
def test_any_file_keeps_its_meaning_and_comments_and_stays_once_tidy(seed: int) -> None:
    """One that cannot be kept as it is meant is refused; how many, the next test says."""
    text = Writer(seed).text()
    try:
        found = tidied(text, "x.yaml")
    except Untidy:
        return
    assert plain(read_yaml(found, "x.yaml")) == plain(read_yaml(text.replace("\r\n", "\n"), "x.yaml"))
    assert comments(found) == comments(text.replace("\r\n", "\n"))
    assert tidied(found, "x.yaml") == found
    of_blocks = ("one # no", "two")  # their blanks are part of what is read
    others = (line for line in found.split("\n") if not any(part in line for part in of_blocks))
    assert all(line == line.rstrip() for line in others)
    assert found.endswith("\n") and not found.endswith("\n\n")


def test_hardly_any_file_is_refused() -> None:
    """Of files full of comments in odd places some few cannot be written again as they are meant."""
    refused = 0
    for seed in range(300):
        try:
            tidied(Writer(seed).text(), "x.yaml")
        except Untidy:
            refused += 1
    assert refused <= 9


def test_what_would_be_read_as_something_else_is_refused() -> None:
    with pytest.raises(Untidy, match="it would be read as something else"):
        tidied("a: >-\n two\n  \nb: 1\n", "x.yaml")


# -- the verb ------------------------------------------------------------------------------------------------


def test_the_bundled_packs_are_tidy() -> None:
    result = run("--check", *Plugins.load().packs)
    assert result.exit_code == 0, result.output
    assert "0 not tidy" in result.output and int(result.output.split(" files")[0].split()[-1]) > 200


def test_check_names_what_is_not_tidy_and_writes_nothing(tmp_path: Path) -> None:
    tank = Path(shutil.copytree(HERE / "tank", tmp_path / "tank"))
    (tank / "sloppy.yaml").write_text(SLOPPY, encoding="utf-8")
    result = run("--check", tank)
    assert result.exit_code == 1 and f"not tidy: {tank.as_posix()}/sloppy.yaml" in result.output
    assert (tank / "sloppy.yaml").read_text("utf-8") == SLOPPY
    done = run(tank)
    assert done.exit_code == 0 and "1 tidied" in done.output
    assert (tank / "sloppy.yaml").read_text("utf-8") == TIDY
    assert run("--check", tank).exit_code == 0


def test_a_file_that_cannot_be_read_is_left_and_told(tmp_path: Path) -> None:
    for name, text in (("a.yaml", "a: 1\na: 2\n"), ("b.yaml", "a: &x 1\nb: *x\n"), ("c.yaml", "a:  1\n")):
        (tmp_path / name).write_text(text, encoding="utf-8")
    result = run(tmp_path, "--format", "json")
    told = json.loads(result.stdout)
    assert result.exit_code == 1
    assert [Path(each["path"]).name for each in told["refused"]] == ["a.yaml", "b.yaml"]
    assert [Path(each).name for each in told["changed"]] == ["c.yaml"]
    assert (tmp_path / "b.yaml").read_text("utf-8") == "a: &x 1\nb: *x\n"


BLANK = "a:\n  - >-\n    one\n\n    two\nb: 1\nc: [x,\n    y]\nd: 2\t# why\n"


def test_what_the_library_does_not_take_is_refused_with_its_line(tmp_path: Path) -> None:
    """The line is that of the file, whatever was put aside before it."""
    (tmp_path / "a.yaml").write_text(BLANK, encoding="utf-8")
    result = run(tmp_path)
    assert result.exit_code == 1 and isinstance(result.exception, SystemExit)
    assert f"{tmp_path.as_posix()}/a.yaml:9: left as it is: it cannot be written again: " in result.output
    assert (tmp_path / "a.yaml").read_text("utf-8") == BLANK


def test_whatever_the_library_raises_is_a_refusal(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(text: str) -> str:
        raise AssertionError

    monkeypatch.setattr("stillair.authoring.tidy._written", broken)
    with pytest.raises(Untidy, match="cannot be written again: AssertionError") as raised:
        tidied("a: 1\n", "x.yaml")
    assert raised.value.line is None


def test_where_it_cannot_be_kept_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(Untidy) as raised:
        tidied("b: 0\na:\n  c: >-\n   two\n    \nd: 1\n", "x.yaml")
    assert raised.value.line == 3
    monkeypatch.setattr(
        "stillair.authoring.tidy._with_what_follows", lambda found, _: found.replace("#", "# ")
    )
    with pytest.raises(Untidy, match="a comment would be lost or moved") as raised:
        tidied("a: >-\n  one\n\n  two\n\n# about b\nb: 1\n", "x.yaml")
    assert raised.value.line == 6


@pytest.mark.skipif(os.name == "nt", reason="modes are of another kind there")
@pytest.mark.parametrize("mode", [0o640, 0o600, 0o664, 0o755])
def test_who_may_read_a_file_stays_as_it_was(tmp_path: Path, mode: int) -> None:
    path = tmp_path / "a.yaml"
    path.write_text("a:  1\n", encoding="utf-8")
    path.chmod(mode)
    assert run(path).exit_code == 0 and path.read_text("utf-8") == "a: 1\n"
    assert path.stat().st_mode & 0o777 == mode
