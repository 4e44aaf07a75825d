"""What the guide for authors says of the language is what the language reads."""

from __future__ import annotations

import re
from pathlib import Path
from textwrap import dedent

import pytest
from click.testing import CliRunner
from stillair.authoring.lint import PROFILES
from stillair.cli import main
from stillair.condition.syntax import ConditionError, parse
from stillair.models import ChecklistShape
from stillair.reading import parse_checklist, parse_manifest

README = Path(__file__).parents[2] / "checklists" / "README.md"
TEXT = README.read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^\| [a-z, ]+ \| `([^`]+)` \|", TEXT, re.MULTILINE)


@pytest.mark.parametrize("example", EXAMPLES)
def test_every_example_is_a_condition(example: str) -> None:
    """Read without a fault, and no longer so with something left open."""
    parse(example)
    with pytest.raises(ConditionError):
        parse(f"({example}")


def test_every_section_is_named() -> None:
    """The keys of a checklist file, all of them."""
    listed = TEXT.split("A file holds", 1)[1].split("`leak` uses", 1)[0]
    told = set(re.findall(r"`([a-z ]+)`", listed))
    fields = {f.alias or name for name, f in ChecklistShape.model_fields.items()}
    heading = {"checklist", "before", "title", "about", "cautions", "defers"}
    assert told == {name.replace("_", " ") for name in fields} - heading
    assert len(EXAMPLES) >= 18


def test_the_examples_of_checking_are_read() -> None:
    """A group, an acceptance and the commands of the guide."""
    told = TEXT.split("## Check a pack", 1)[1].split("## Packs that work together", 1)[0]
    blocks = [dedent(b) for b in re.findall(r"(?:^    .+\n)+", told, re.MULTILINE)]
    group = next(b for b in blocks if b.startswith("groups:"))
    rules = "rules:\n" + "".join(
        f"  - {{rule: {n}, finding: f, when: machine is running, source: s}}\n"
        for n in ("too-little-oil", "enough-oil")
    )
    checklist = parse_checklist(f"checklist: a\ntitle: A\n{rules}{group}", "guide")
    assert checklist.groups[0].are == ("exclusive", "complete")
    accepts = next(b for b in blocks if b.startswith("accepts:"))
    head = "pack: a\nversion: 1.0.0\ntitle: A\nengine: '>=0'\nchecklists: [a.yaml]\n"
    assert parse_manifest(head + accepts, "guide").accepts[0].code.text == "SA601"
    for verb in re.findall(r"`?stillair ([a-z][a-z-]*)", TEXT):
        assert CliRunner().invoke(main, [verb, "--help"]).exit_code == 0, verb
    assert set(re.findall(r"^\| `([a-z]+)` \| (?:and )?what", told, re.MULTILINE)) == set(PROFILES)
