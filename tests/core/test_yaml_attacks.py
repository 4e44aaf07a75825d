"""Files made to harm their reader: refused at once, with memory that does not grow with the promise."""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from stillair.cli import main

MANIFEST = (
    'pack: example\nversion: 1.0.0\ntitle: An example\nengine: ">=0.1,<1"\nchecklists: [example.yaml]\n'
)
HEAD = "checklist: example\ntitle: An example\n"
FIFTY_MB = 50_000_000
SECONDS = 2.0
"""Of the processor, for the whole verb (judgement: what a person waits without wondering)."""
MEMORY = 60_000_000
"""Bytes at the peak, loading of the engine included (judgement: thirty times the largest file allowed)."""


def large(path: Path) -> None:
    """Fifty megabytes of a text that never ends."""
    with path.open("wb") as stream:
        stream.write(HEAD.encode() + b"about: ")
        for _ in range(FIFTY_MB // 1_000_000):
            stream.write(b"a" * 1_000_000)


def large_and_binary(path: Path) -> None:
    with path.open("wb") as stream:
        for _ in range(FIFTY_MB // 1_000_000):
            stream.write(b"\x00" * 1_000_000)


def text(content: str | bytes) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        path.write_bytes(content if isinstance(content, bytes) else (HEAD + content).encode("utf-8"))

    return write


def bomb(levels: int, width: int) -> str:
    """Each line stands for `width` of the one before: ten to the ninth in nine lines."""
    lines = ["about: &a0 [x]"]
    lines += [f"k{i}: &a{i} [{', '.join([f'*a{i - 1}'] * width)}]" for i in range(1, levels)]
    return "\n".join(lines) + "\n"


JUST_ALLOWED = "x" * 1_900_000

ATTACKS: dict[str, tuple[Callable[[Path], None], str]] = {
    "fifty megabytes": (large, "SA108"),
    "fifty megabytes of zeros": (large_and_binary, "SA108"),
    "aliases of aliases": (text(bomb(9, 10)), "SA104"),
    "a merge key": (text("about: &a {b: c}\nfacts: {<<: *a}\n"), "SA104"),
    "a deep list": (text("about: " + "[" * 100_000), "SA108"),
    "a deep mapping": (text("about: " + "{a: " * 100_000), "SA108"),
    "a deep block": (text("".join(f"{' ' * i}a{i}:\n" for i in range(1500))), "SA108"),
    "a tag that builds an object": (text("about: !!python/object/apply:os.system [echo]\n"), "SA105"),
    "a huge text where a name is": (text(f"facts: {{{JUST_ALLOWED}: {{ask: X?, kind: yes-no}}}}\n"), "SA101"),
    "a huge key that nobody knows": (text(f"{JUST_ALLOWED}: 1\n"), "SA101"),
    "a huge number": (text(f"limits: {{m: {{is: {'9' * 1_900_000}, safer: lower, source: s}}}}\n"), "SA306"),
    "a huge condition": (text(f"conditions: {{c: x is {JUST_ALLOWED}}}\n"), "SA301"),
    "a deep condition": (text(f"conditions: {{c: {'(' * 50_000}x}}\n"), "SA300"),
    "many keys twice": (text("title: B\n" * 100_000), "SA102"),
    "zero bytes": (text(b"checklist: a\x00\ntitle: A\n"), "SA109"),
    "not UTF-8": (text(b"checklist: a\ntitle: \xff\xfe\n"), "SA110"),
    "two documents": (text("---\n" + HEAD), "SA106"),
    "an unclosed quote": (text('about: "' + "a\n" * 500_000), "SA101"),
}


@pytest.mark.parametrize("name", ATTACKS)
def test_an_attack_is_refused_at_once(name: str, tmp_path: Path) -> None:
    """Its code is told, in time and memory that are bounded beforehand, and what is printed is short."""
    write, code = ATTACKS[name]
    (tmp_path / "manifest.yaml").write_text(MANIFEST)
    write(tmp_path / "example.yaml")
    CliRunner().invoke(main, ["lint", "--help"])  # what is imported is no part of it
    tracemalloc.start()
    begun = time.process_time()
    result = CliRunner().invoke(main, ["lint", str(tmp_path)], catch_exceptions=False)
    taken = time.process_time() - begun
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert result.exit_code == 1
    assert f"[{code}]" in result.stdout, result.stdout[:500]
    assert len(result.stdout) < 60_000
    assert taken < SECONDS * 5, taken  # tracing makes it several times slower
    assert peak < MEMORY, peak


@pytest.mark.parametrize("name", ["fifty megabytes", "aliases of aliases", "a deep list", "many keys twice"])
def test_it_takes_no_time_either(name: str, tmp_path: Path) -> None:
    """The same without tracing."""
    write, _ = ATTACKS[name]
    (tmp_path / "manifest.yaml").write_text(MANIFEST)
    write(tmp_path / "example.yaml")
    begun = time.process_time()
    CliRunner().invoke(main, ["lint", str(tmp_path)])
    assert time.process_time() - begun < SECONDS
