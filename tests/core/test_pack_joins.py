"""Packs that work together: one joins another, and its checklists find their place in the order of work."""

from __future__ import annotations

from pathlib import Path

import pytest
from stillair.assess import Program, compile_packs
from stillair.cli.packs import choose
from stillair.fault import StillairError
from stillair.hooks import Plugins
from stillair.pack import read_pack

BASE = """\
pack: base
version: 1.0.0
title: A work
engine: ">=0.1"
checklists: [opening.yaml, closing.yaml]
"""
PART = """\
pack: {name}
version: 1.0.0
title: A part of it
joins: {joins}
engine: ">=0.1"
checklists: [between.yaml]
"""
CHECKLIST = """\
checklist: {name}
{before}title: A checklist
facts:
  {fact}: {{ask: Is it so?, kind: yes-no}}
steps:
  - step: see-{name}
    ask: [{fact}]
"""


def write(folder: Path, manifest: str, *checklists: tuple[str, str, str]) -> Path:
    folder.mkdir()
    (folder / "manifest.yaml").write_text(manifest, encoding="utf-8")
    for name, before, fact in checklists:
        text = CHECKLIST.format(name=name, before=f"before: {before}\n" if before else "", fact=fact)
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def base(tmp_path: Path) -> Path:
    return write(tmp_path / "base", BASE, ("opening", "", "one"), ("closing", "", "two"))


def part(tmp_path: Path, name: str = "part", joins: str = "base", before: str = "closing") -> Path:
    return write(tmp_path / name, PART.format(name=name, joins=joins), ("between", before, f"in_{name}"))


def installed(*packs: Path) -> Plugins:
    return Plugins(plugins=(), calculators={}, catalogues={}, packs=packs, views={}, givers={})


def program(*packs: Path) -> Program:
    return compile_packs([read_pack(p, plugins={}) for p in packs], {}, {})


def test_a_checklist_comes_before_the_one_it_names(base: Path, tmp_path: Path) -> None:
    steps = list(program(base, part(tmp_path)).steps)
    assert steps == ["see-opening", "see-between", "see-closing"]


def test_a_checklist_that_is_not_there_is_a_fault_with_its_place(base: Path, tmp_path: Path) -> None:
    with pytest.raises(StillairError) as raised:
        program(base, part(tmp_path, before="closng"))
    (fault,) = raised.value.faults
    assert "there is no checklist `closng`" in str(fault)
    assert "closing" in (fault.help or "")
    assert "between.yaml:2" in str(fault)


def test_the_one_work_is_taken_with_what_joins_it(base: Path, tmp_path: Path) -> None:
    """A pack that joins another is no second work to choose between."""
    assert sorted(choose(installed(base, part(tmp_path)), [])) == ["base", "part"]


@pytest.mark.parametrize("wanted", [["part"], ["base"], ["base", "part"]])
def test_either_name_takes_both(base: Path, tmp_path: Path, wanted: list[str]) -> None:
    assert sorted(choose(installed(base, part(tmp_path)), wanted)) == ["base", "part"]


def test_of_several_that_join_one_is_named(base: Path, tmp_path: Path) -> None:
    """Nobody guesses which equipment stands there."""
    both = installed(base, part(tmp_path), part(tmp_path, "other"))
    with pytest.raises(StillairError, match="several packs are installed"):
        choose(both, [])
    with pytest.raises(StillairError, match="several packs join `base`"):
        choose(both, ["base"])
    assert sorted(choose(both, ["other"])) == ["base", "other"]


def test_what_is_joined_must_be_there(tmp_path: Path) -> None:
    with pytest.raises(StillairError, match="joins `base`, which is not installed"):
        choose(installed(part(tmp_path)), ["part"])


def test_a_name_declared_in_both_is_refused(base: Path, tmp_path: Path) -> None:
    """What joins a pack cannot put a fact of its own in the place of another."""
    thief = write(tmp_path / "thief", PART.format(name="thief", joins="base"), ("between", "closing", "one"))
    with pytest.raises(StillairError, match="`one`"):
        program(base, thief)
