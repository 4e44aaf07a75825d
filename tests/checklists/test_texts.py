"""What the bundled pack says: short sentences, one thing asked at a time, and a source for every figure."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from stillair.hooks import Plugins
from stillair.strict_yaml import plain, read_yaml

PACKS = Plugins.load().packs
FILES = sorted(path for folder in PACKS for path in folder.glob("*.yaml"))
ROWS = [
    line
    for folder in PACKS
    for line in (folder / "README.md").read_text(encoding="utf-8").splitlines()
    if line.startswith("|")
]
PROSE = {
    *("title", "ask", "why", "how", "say", "about", "do", "caution", "never", "slip", "lifted by"),
    *("because", "then", "witness", "cautions", "defers", "options"),
}
LONGEST = 30


def content(path: Path) -> Mapping[str, Any]:
    found = plain(read_yaml(path.read_text(encoding="utf-8"), path.name))
    assert isinstance(found, Mapping)
    return found


def texts(node: object, where: str, inside: bool = False) -> Iterator[tuple[str, str]]:
    """Every text for people, with its place in the file."""
    if isinstance(node, Mapping):
        for key, value in node.items():
            yield from texts(
                value, f"{where} > {key}", inside or (key in PROSE and not isinstance(value, list))
            )
            if key in ("cautions", "defers"):
                yield from ((f"{where} > {key}", str(each)) for each in value)
    elif isinstance(node, list):
        for each in node:
            name = next(iter(each.values())) if isinstance(each, Mapping) and each else ""
            yield from texts(each, f"{where} > {name}")
    elif inside:
        yield where, str(node)


def questions(found: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for name, fact in found.get("facts", {}).items():
        yield name, str(fact["ask"])
    for name, wait in found.get("waits", {}).items():
        if "witness" in wait:
            yield name, str(wait["witness"])


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_no_sentence_is_long(path: Path) -> None:
    """A sentence is read in one breath, at arm's length."""
    said = list(texts(content(path), path.name))
    assert said
    long = [
        (where, len(sentence.split()), sentence)
        for where, text in said
        for sentence in re.split(r"(?<=[.!?])\s+", text)
        if len(sentence.split()) > LONGEST
    ]
    assert long == []


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_a_question_asks_one_thing(path: Path) -> None:
    """Yes or no to two things at once says nothing of either; `any of these` is one thing."""
    both = re.compile(
        r"\?.*\?|, and |\band (?:is|are|does|did|has|have|nothing|both|each|steady)\b|, then |, with "
    )
    assert [(name, ask) for name, ask in questions(content(path)) if both.search(ask)] == []


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_every_rule_and_limit_has_a_source(path: Path) -> None:
    found = content(path)
    for rule in found.get("rules", ()):
        assert rule.get("source"), rule["rule"]
        assert rule.get("why"), rule["rule"]
    for kind in ("limits", "instruments"):
        for name, each in found.get(kind, {}).items():
            assert each.get("source"), name


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_every_figure_of_a_fact_is_in_the_table(path: Path) -> None:
    """What has no `source` of its own in the language stands in the table of the README."""
    found = content(path)
    figures = [
        (name, str(fact[key]))
        for name, fact in found.get("facts", {}).items()
        for key in ("tolerance", "good for")
        if key in fact and re.match(r"\d", str(fact[key]))
    ]
    figures += [(state["state"], str(state["at most"])) for state in found.get("powered", ())]
    said = {
        (name, figure) for name, figure in figures for row in ROWS if f"`{name}`" in row and figure in row
    }
    assert set(figures) - said == set()
