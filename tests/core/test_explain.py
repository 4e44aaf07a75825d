"""The pages of `explain`: every code has one, and what it shows is what the program says."""

from __future__ import annotations

import json
import re
import shlex
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from stillair.authoring.lint.report import PROFILES, is_told
from stillair.authoring.pages import page
from stillair.cli import main
from stillair.fault import CODES
from stillair.hooks import Plugins
from stillair.seal import SEAL

MANIFEST = """\
pack: example
version: 1.0.0
title: An example
engine: ">=0.1,<1"
checklists: [example.yaml]
"""
BLOCK = re.compile(r"^```(\w+) ?(alone)? ?(escaped)? ?([\w./-]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
HEADINGS = ("Smallest example", "A realistic example", "How to fix it")


@pytest.fixture(autouse=True)
def _folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A folder to run in; the plugins of one example are gone before the next."""
    for name in ("HOME", "USERPROFILE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")
    path = list(sys.path)
    yield
    for name in [name for name in sys.modules if name.startswith("plug_")]:
        del sys.modules[name]
    sys.path[:] = path


def sections(code: str) -> dict[str, str]:
    parts = re.split(r"^## (.+)\n", page(code), flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def written(text: str) -> tuple[dict[str, str], str | None, str | None]:
    """The files of a section, the lines of its console, and its differences."""
    files: dict[str, str] = {}
    console = change = None
    alone = False
    for language, sole, escaped, name, body in BLOCK.findall(text):
        if language == "console":
            console = body
        elif language == "diff":
            change = body
        else:
            files[name or "example.yaml"] = raw(body) if escaped else body
            alone = alone or bool(sole)
    if any(name.endswith(".yaml") for name in files) and not alone:
        files.setdefault("manifest.yaml", MANIFEST)
    return files, console, change


def raw(body: str) -> str:
    """The text with `\\x00` and `\\u200b` as the bytes they stand for, kept as surrogates where no UTF-8."""
    found = re.sub(r"\\u([0-9a-f]{4})", lambda m: chr(int(m[1], 16)), body).encode()
    found = re.sub(rb"\\x([0-9a-f]{2})", lambda m: bytes([int(m[1], 16)]), found)
    return found.decode("utf-8", "surrogateescape")


def changed(files: dict[str, str], change: str) -> dict[str, str]:
    """The files with every hunk applied; the lines taken out must stand in one of them, once."""
    found = dict(files)
    for hunk in change.strip("\n").split("\n\n"):
        lines = hunk.split("\n")
        old = "".join(raw(line[1:]) + "\n" for line in lines if line[0] == "-")
        new = "".join(raw(line[1:]) + "\n" for line in lines if line[0] == "+")
        homes = [name for name, text in found.items() if text.count(old) == 1]
        assert len(homes) == 1, hunk
        found[homes[0]] = found[homes[0]].replace(old, new)
    return found


def said(files: dict[str, str], console: str | None, profile: str, play: bool) -> str:
    """What the program says of the files: the console where there is one, else lint.

    A seal names the plugins of now beside its own.
    """
    for path in Path().iterdir():
        if path.is_file():
            path.unlink()
    for name, text in files.items():
        if name == SEAL and "plugins" in (told := json.loads(text)):
            now = {p.name: {"version": p.version, "digest": p.digest} for p in Plugins.load().plugins}
            text = json.dumps({**told, "plugins": {**now, **told["plugins"]}})
        Path(name).parent.mkdir(exist_ok=True)
        Path(name).write_bytes(text.encode("utf-8", "surrogateescape"))
    if console is None:
        python = any(name.endswith(".py") for name in files)
        options = f"--profile {profile}" + (" --play" if play else "")
        console = "stillair --plugin-dir . plugins" if python else f"stillair lint . {options}"
    output = ""
    for line in console.strip().splitlines():
        if line.startswith("mkdir "):
            Path(line.split()[1]).mkdir(exist_ok=True)
            continue
        output = CliRunner().invoke(main, shlex.split(line)[1:]).output
    return output


@pytest.mark.parametrize("code", CODES)
def test_a_page_has_all_its_parts(code: str) -> None:
    assert page(code).startswith(f"# {code}: {CODES[code]}\n\n")
    assert tuple(sections(code)) == HEADINGS


@pytest.mark.parametrize("heading", HEADINGS[:2])
@pytest.mark.parametrize("code", CODES)
def test_an_example_gives_its_fault_and_no_other(code: str, heading: str) -> None:
    """The smallest one in the first profile that tells the code, the realistic one in the strictest."""
    files, console, _ = written(sections(code)[heading])
    profile = next(p for p in PROFILES if is_told(code, p)) if heading == HEADINGS[0] else PROFILES[-1]
    output = said(files, console, profile, play=code == "SA612")
    assert re.findall(r"\[(SA\d+)\]", output) == [code], output


@pytest.mark.parametrize("code", CODES)
def test_the_fix_mends_the_realistic_example(code: str) -> None:
    files, console, _ = written(sections(code)[HEADINGS[1]])
    fixed, new_console, change = written(sections(code)[HEADINGS[2]])
    assert (change is None) is bool(fixed or new_console)
    files = changed(files, change) if change is not None else fixed or files
    output = said(files, new_console or console, PROFILES[-1], play=code == "SA612")
    assert re.findall(r"SA\d+", output) == [], output


def test_explain_prints_the_page() -> None:
    assert CliRunner().invoke(main, ["explain", "sa201"]).stdout == page("SA201")
    told = json.loads(CliRunner().invoke(main, ["explain", "SA201", "--format", "json"]).stdout)
    assert (told["format"], told["code"], told["text"]) == ("stillair.explanation/1", "SA201", page("SA201"))


def test_an_unknown_code_is_answered_with_the_nearest() -> None:
    result = CliRunner().invoke(main, ["explain", "SA20l"])
    assert (result.exit_code, result.stdout) == (2, "")
    assert "there is no code `SA20l`" in result.stderr and "did you mean `SA2" in result.stderr


def test_without_a_code_all_are_listed() -> None:
    listed = CliRunner().invoke(main, ["explain"]).stdout
    assert [line[:5] for line in listed.splitlines() if line.startswith("SA")] == list(CODES)
